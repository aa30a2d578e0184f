"""What scripts met: how often each fault, state, refusal, alert, order and restart occurred."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from api.page.advice import ADVICE
from controller.events import OrderKind
from controller.watering.limits import Refused
from sim.faults import WAYS, Fault

NETWORK = ("lossy", "late", "doubled", "held", "stalled", "deaf_to_close")
RECORD = ("fail", "hold")
RESTARTS = (
    "kill", "tail", "stop", "synced", "unsynced", "version", "lost", "old", "unarmed",
)  # fmt: skip
WALL = ("forward", "back", "1970", "right")
STRANGERS = ("foreign", "replayed", "guessed", "retained", "stolen")
BAD_READINGS = ("retained", "future", "repeated", "huge", "unit", "battery", "frozen")
OTHERS = (
    "contract", "reload", "reload_tight", "reload_refused", "junk", "outlook", "rain", "frost",
    "swapped", "alarm_way", "stumble", "weeks_later", "pressure",
)  # fmt: skip
VALVE_MOVES = (
    "unknown>closed", "unknown>told_to_close", "told_to_close>closed", "closed>opening",
    "opening>open", "opening>told_to_close", "open>told_to_close", "open>closed", "open>unknown",
    "opening>unknown", "told_to_close>unknown", "told_to_close>opening",
    "closed>told_to_close", "opening>closed",
)  # fmt: skip
PHASES = ("reserving", "master", "running", "closing")
PULSE_ENDS = (
    "litres", "time", "hours", "down", "dry", "node", "master", "silent", "stopped", "paused",
    "locked", "fault", "supply", "pressure", "proved",
)  # fmt: skip
ENDS = (
    "done", "cap", "hours", "down", "dry", "silent", "master", "stopped", "paused", "locked",
    "link", "other", "fault", "supply", "pressure", "unrecorded", "restart",
)  # fmt: skip
BY = ("hand", "walk", "proof")
OUTCOMES = ("CONFIRMED", "ASSUMED_FULL", "NEVER_SENT")
STATUSES = ("accepted", "refused", "invalid", "unknown", "unrecorded")


def wanted() -> dict[str, tuple[str, ...]]:
    """Everything that a run has to meet, by family."""
    return {
        "fault": tuple(f"{kind}/{what}" for kind, ways in WAYS.items() for what in ways),
        "network": NETWORK,
        "message": ("lost", "late", "doubled"),
        "record": RECORD,
        "restart": RESTARTS,
        "wall clock": WALL,
        "stranger": STRANGERS,
        "reading": BAD_READINGS,
        "other": OTHERS,
        "order": tuple(OrderKind),
        "answer": STATUSES,
        "refusal": tuple(Refused),
        "valve": VALVE_MOVES,
        "pulse": PHASES,
        "pulse ended by": PULSE_ENDS,
        "ended by": ENDS,
        "by": BY,
        "outcome": OUTCOMES,
        "alert": tuple(sorted(ADVICE)),
    }


# What no script can meet, and what holds it instead.
NOT_HERE: dict[tuple[str, str], str] = {
    ("refusal", "too_long"): "pulses are split to fit: tests/unit/test_limits.py",
    ("alert", "broker_open"): "needs a broker: tests/hazards/test_board.py",
    ("alert", "pressure_high"): "no virtual meter tells one: tests/hazards/test_pressure.py",
}


class Seen:
    """Counts of one script or of many."""

    def __init__(self) -> None:
        self.counts: Counter[tuple[str, str]] = Counter()

    def one(self, family: str, name: str) -> None:
        """Count one occurrence."""
        self.counts[family, name] += 1

    def fault(self, fault: Fault) -> None:
        """Count a fault."""
        self.counts["fault", f"{fault.kind}/{fault.what}"] += 1

    def message(self, kind: str, delays_s: tuple[float, ...]) -> None:
        """Count what a network did to a message."""
        del kind
        if not delays_s:
            self.counts["message", "lost"] += 1
        elif len(delays_s) > 1:
            self.counts["message", "doubled"] += 1
        elif delays_s[0] > 0.0:
            self.counts["message", "late"] += 1

    def add(self, others: Iterable[tuple[tuple[str, str], int]]) -> None:
        """Take another's counts in."""
        for key, count in others:
            self.counts[key] += count

    def missing(self) -> list[tuple[str, str]]:
        """What should have occurred and did not."""
        return [
            (family, name)
            for family, names in wanted().items()
            for name in names
            if not self.counts[family, name] and (family, name) not in NOT_HERE
        ]

    def table(self) -> str:
        """All counts, family by family."""
        lines = []
        for family, names in wanted().items():
            known = [*names, *sorted(n for f, n in self.counts if f == family and n not in names)]
            told = [
                f"{name} {self.counts[family, name]}"
                + (" (not here)" if (family, name) in NOT_HERE else "")
                for name in known
            ]
            lines.append(f"{family}: {', '.join(told)}")
        others = sorted({f for f, _ in self.counts} - wanted().keys())
        for family in others:
            told = [f"{n} {c}" for (f, n), c in sorted(self.counts.items()) if f == family]
            lines.append(f"{family}: {', '.join(told)}")
        return "\n".join(lines)
