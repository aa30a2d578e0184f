"""What the web needs of the daemon: one small protocol, and a fake of it beside it.

The fake plays an invented garden of four beds in high summer. It serves tests and looking at the
page; its numbers are made up and smooth on purpose.
"""

from __future__ import annotations

import math
from collections.abc import Awaitable, Mapping
from copy import deepcopy
from datetime import UTC, datetime
from typing import Any, Protocol

from api.desk_book import fake_book
from controller.effects import Answer
from controller.events import OrderKind
from controller.garden import Garden
from controller.told_state import Paired


class Desk(Protocol):
    """The daemon as the web sees it.

    `view()` is JSON-able and cheap:

        at, garden {id, name, timezone, units}, speed, broker, link_up, ready, readings, waterings,
        litres, last_reading_at,
        beds {id: {state, stage, depletion_frac, depletion_sd_frac, thirst_line_frac,
            line_drawn_in | null, floor_frac, taw_mm, taw_l,
            learned {full_m3_m3, full_sd_m3_m3 | null, full_told_m3_m3,
                full_since | null, wilting_m3_m3, wilting_told_m3_m3, drank_at_m3_m3 | null, thirst,
                dose_stays_frac, dose_cut_frac,
                probes {name: {counts_per_mm | null, dry_spells, since | null}}},
            follows | null, felt {feel, depth_cm, at} | null,
                looks {looks, shift_frac, text, worth},
            marks {event: date}, picks [date], varieties [name],
            poured {litres, at} | null, miss {since, tonight} | null,
            next_watering {from, to, or_later} | null, usual_night {from, to} | null,
            scarce {by, from | null, stress_days | null} | null,
            reason {code, text, numbers}, would_change [{code, text, numbers}], valve,
            quality, watering {want_l, given_l, pulse, pulses, by} | null,
            last_watering {at, litres} | null}},
        sky {source | null, assumed [], refused {field: value}, eto_sd_frac, text},
        holds {locked, lock_why, paused_until, pause_why, beds_paused {bed: {until, why}},
            beds_stopped {bed: until},
            hose {since, until, who} | null},
        alerts [{id, code, bed, valve, probe, since, text, person_needed}],
        supply {week_l | null, week_left_l | null, tank_l | null, tank_left_l | null, days | null},
        walk {armed, needed, now {kind, bed | null, test, phase, asks | null, left, text} | null,
            said, beds {id: {armed, verdict | null, text, probes_answered {name: bool}, ...}},
            all_closed {at, who, verdict, flow_l_min | null, stands} | null,
            backflow {device, tested | null, who, at, text} | null,
            proof {provable, due_from | null, last {at, code, text} | null}},
        limits {site_left_l, beds {id: {left_l, dose_l, flow_l_min,
            barred {reason, text, next_possible | null} | null}}}

    Instants are RFC 3339. Everything under `limits`, `supply` and `walk` may be absent.
    """

    @property
    def setting(self) -> Garden | None:
        """The garden file in force; None for a garden without one."""

    def view(self) -> dict[str, Any]:
        """The garden now."""

    def version(self) -> str:
        """Changes whenever `view()` does."""

    async def order(self, order_fields: dict[str, Any]) -> Answer:
        """Put an order to the engine: the fields of `Order` but its kind and times.

        Raises:
            TimeoutError: no answer within 5 s.
        """

    def stop_now(self, bed: str | None, who: str) -> Answer | Awaitable[Answer]:
        """Close one bed's valve or all, waiting for nothing but the engine (2 s at most).

        Raises:
            TimeoutError: the engine did not confirm.
        """

    def log(self, after: int, limit: int) -> list[dict[str, Any]]:
        """At most `limit` rows of the record with an `id` above `after`, in order."""

    def history(self, bed: str, from_utc_s: float, to_utc_s: float) -> list[dict[str, Any]]:
        """Rows {at_utc_s, depletion_frac, line_frac, rain_mm, given_l, clock_synced} in order.

        Rain and water are what came since the row before.
        """

    def season(
        self, from_utc_s: float | None = None, to_utc_s: float | None = None
    ) -> dict[str, Any]:
        """The season book as `controller/book/plain.py` says, from the first planting until now."""

    def healthy(self) -> bool:
        """Whether the engine steps."""

    def pairs(self) -> Mapping[str, Paired]:
        """The paired browsers that may come in now, by id."""


HOUR_S = 3600.0
DAY_S = 86_400.0
FAKE_NOW_UTC_S = datetime(2026, 7, 15, 18, 5, tzinfo=UTC).timestamp()
FAKE_LATCH = "latch-north"

# bed: days since its last refill, use a day [frac], thirst line [frac], TAW [L]
_FAKE_BEDS: dict[str, tuple[float, float, float, float]] = {
    "wall-side": (6.6, 0.058, 0.42, 350.0),
    "south": (7.65, 0.055, 0.40, 310.0),
    "old-compost": (3.6, 0.041, 0.42, 420.0),
    "tunnel": (2.6, 0.062, 0.36, 180.0),
}


def _rfc(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).isoformat().replace("+00:00", "Z")


def _fake_depletion(bed: str, at_utc_s: float) -> float:
    """A saw: full after a refill, then down mostly by day."""
    since_d, use_frac_d, line_frac, _ = _FAKE_BEDS[bed]
    refill_utc_s = FAKE_NOW_UTC_S - since_d * DAY_S
    every_d = (line_frac - 0.03) / use_frac_d
    gone_d = (at_utc_s - refill_utc_s) / DAY_S
    gone_d = gone_d if gone_d >= 0.0 else gone_d % every_d
    by_day = 0.11 * math.sin(2.0 * math.pi * (at_utc_s / DAY_S - 0.04))
    return 0.05 + use_frac_d * max(0.0, gone_d + by_day)


class FakeDesk:
    """An invented garden whose answers a test can set.

    Args:
        beds: which beds it has; those that are not invented copy the first invented one.
    """

    def __init__(self, beds: tuple[str, ...] = tuple(_FAKE_BEDS)) -> None:
        self.orders: list[dict[str, Any]] = []
        self.stops: list[tuple[str | None, str]] = []
        self.answer: Answer | None = None  # the next answers, None for the usual ones
        self.slow = False  # answers come too late
        self.well = True
        self.setting: Garden | None = None
        self.paired: dict[str, Paired] = {}
        self.rows: list[dict[str, Any]] = [
            {"id": 1, "at": _rfc(FAKE_NOW_UTC_S), "what": "decision", "code": "drying", "text": "-"}
        ]
        self.book: dict[str, Any] = fake_book(beds)
        self._version = 1
        self._view = _fake_view(beds)

    def view(self) -> dict[str, Any]:
        """The garden now."""
        return deepcopy(self._view)

    def version(self) -> str:
        """Changes whenever `view()` does."""
        return str(self._version)

    def set(self, **parts: object) -> None:
        """Change parts of the view."""
        self._view.update(parts)
        self._version += 1

    def set_bed(self, bed: str, **parts: object) -> None:
        """Change parts of one bed."""
        self._view["beds"][bed].update(parts)
        self._version += 1

    def take_over(self, other: FakeDesk) -> None:
        """Be in the state of another such garden."""
        self._view = other.view()
        self._version += 1

    async def order(self, order_fields: dict[str, Any]) -> Answer:
        """Keep it and answer as told."""
        if self.slow:
            raise TimeoutError
        self.orders.append(order_fields)
        return self.answer or self._usual(order_fields)

    async def stop_now(self, bed: str | None, who: str) -> Answer:
        """Keep it and say yes."""
        if self.slow:
            raise TimeoutError
        self.stops.append((bed, who))
        return Answer(order="stop", status="accepted", text="Told to close.")

    def log(self, after: int, limit: int) -> list[dict[str, Any]]:
        """Its rows."""
        return [row for row in self.rows if row["id"] > after][:limit]

    def history(self, bed: str, from_utc_s: float, to_utc_s: float) -> list[dict[str, Any]]:
        """Half-hourly rows, silent for half a day in one bed."""
        like = bed if bed in _FAKE_BEDS else next(iter(_FAKE_BEDS))
        rows = []
        at_utc_s = math.ceil(from_utc_s / 1800.0) * 1800.0
        while at_utc_s <= min(to_utc_s, FAKE_NOW_UTC_S):
            rows.append(_fake_row(like, at_utc_s))
            at_utc_s += 1800.0
        return rows

    def season(
        self, from_utc_s: float | None = None, to_utc_s: float | None = None
    ) -> dict[str, Any]:
        """The invented book."""
        del from_utc_s, to_utc_s
        return deepcopy(self.book)

    def healthy(self) -> bool:
        """As told."""
        return self.well

    def pairs(self) -> Mapping[str, Paired]:
        """Those that were paired."""
        return self.paired

    def _pair(self, fields: dict[str, Any]) -> Answer:
        if fields["what"] == OrderKind.UNPAIR:
            known = self.paired.pop(fields["pair"], None)
            return Answer(order=fields["order"], status="accepted" if known else "unknown")
        self.paired[fields["pair"]] = Paired(
            role=fields["role"],
            name=fields["name"],
            secret_sha256=fields["secret_sha256"],
            since_utc_s=FAKE_NOW_UTC_S,
            since_trusted_s=0.0,
        )
        return Answer(order=fields["order"], status="accepted", text="Paired.")

    def _usual(self, fields: dict[str, Any]) -> Answer:
        order = str(fields["order"])
        if fields["what"] in {OrderKind.PAIR, OrderKind.UNPAIR}:
            return self._pair(fields)
        if fields["what"] == OrderKind.CLEAR and not any(
            alert["id"] == fields["alert"] for alert in self._view["alerts"]
        ):
            return Answer(order=order, status="unknown", reason="no_such_alert")
        if fields["what"] != OrderKind.WATER:
            return Answer(order=order, status="accepted", text="Noted.")
        litres = fields["litres"] or 100.0
        return Answer(
            order=order, status="accepted", dose="d-17", litres=litres, open_s=litres / 14.0 * 60.0
        )


def _fake_row(bed: str, at_utc_s: float) -> dict[str, Any]:
    _, _, line_frac, taw_l = _FAKE_BEDS[bed]
    depletion: float | None = _fake_depletion(bed, at_utc_s)
    fallen = _fake_depletion(bed, at_utc_s - 1800.0) - _fake_depletion(bed, at_utc_s)
    ago_d = (FAKE_NOW_UTC_S - at_utc_s) / DAY_S
    if bed == "tunnel" and 1.1 < ago_d < 1.8:
        depletion = None
    return {
        "at_utc_s": at_utc_s,
        "depletion_frac": depletion,
        "line_frac": line_frac,
        "rain_mm": 2.5 if bed != "tunnel" and (8.0 < ago_d < 8.1 or 4.2 < ago_d < 4.23) else 0.0,
        "given_l": fallen * taw_l if fallen > 0.15 else 0.0,
        "clock_synced": True,
    }


def _fake_window(left_d: float) -> dict[str, dict[str, str]]:
    due_utc_s = math.floor((FAKE_NOW_UTC_S + left_d * DAY_S) / DAY_S) * DAY_S + 10.5 * HOUR_S
    return {
        "next_watering": {
            "from": _rfc(due_utc_s - 0.12 * left_d * DAY_S),
            "to": _rfc(due_utc_s + (0.16 * left_d + 0.1) * DAY_S),
        },
        "usual_night": {
            "from": _rfc(due_utc_s - 5.5 * HOUR_S),
            "to": _rfc(due_utc_s + 2.0 * HOUR_S),
        },
    }


CLOSED = {"valve": "closed", "valve_heard": True}


def _fake_bed(bed: str) -> dict[str, Any]:
    like = bed if bed in _FAKE_BEDS else next(iter(_FAKE_BEDS))
    since_d, use_frac_d, line_frac, taw_l = _FAKE_BEDS[like]
    depletion = _fake_depletion(like, FAKE_NOW_UTC_S)
    left_d = max(0.45, (line_frac - depletion) / use_frac_d)
    name = bed.replace("-", " ").capitalize()
    return {
        "state": "drying",
        "stage": "setting",
        "depletion_frac": depletion,
        "depletion_sd_frac": 0.03,
        "thirst_line_frac": line_frac,
        "floor_frac": line_frac + 0.1,
        "day_use_frac": use_frac_d,
        "taw_mm": 66.0,
        "taw_l": taw_l,
        **_fake_window(left_d),
        "reason": {
            "code": "drying",
            "text": f"{name} has water enough: {100 * depletion:.0f} % used by sunrise, "
            f"its line is {100 * line_frac:.0f} %.",
            "numbers": {
                "depletion_frac": depletion,
                "sunrise_frac": depletion + 0.02,
                "thirst_line_frac": line_frac,
                "floor_frac": line_frac + 0.1,
                "day_use_frac": use_frac_d,
            },
        },
        **CLOSED,
        "quality": "ok",
        "watering": None,
        "last_watering": {
            "at": _rfc(FAKE_NOW_UTC_S - since_d * DAY_S),
            "litres": (line_frac - 0.05) * taw_l,
        },
    }


def _fake_view(beds: tuple[str, ...]) -> dict[str, Any]:
    return {
        "at": _rfc(FAKE_NOW_UTC_S),
        "garden": {
            "id": "hollin-lane",
            "name": "Hollin Lane plot",
            "timezone": "America/Los_Angeles",
            "units": "metric",
        },
        "speed": 1.0,
        "broker": "mqtt://127.0.0.1:1883",
        "link_up": True,
        "ready": True,
        "readings": 1234,
        "waterings": 3,
        "litres": 312.0,
        "last_reading_at": _rfc(FAKE_NOW_UTC_S - 240.0),
        "beds": {bed: _fake_bed(bed) for bed in beds},
        "sky": {
            "source": "half-mast",
            "assumed": ["wind_m_s"],
            "refused": {},
            "eto_sd_frac": 0.08,
            "text": "Water use is reckoned from the weather instruments; wind is missing, 2 m/s "
            "taken.",
        },
        "holds": {
            "locked": False,
            "lock_why": "",
            "paused_until": None,
            "pause_why": "",
            "beds_paused": {},
        },
        "alerts": [],
        "limits": {
            "site_left_l": 1800.0,
            "beds": {bed: {"left_l": 420.0, "dose_l": 380.0, "flow_l_min": 12.0} for bed in beds},
        },
    }
