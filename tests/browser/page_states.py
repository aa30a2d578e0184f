"""Every state of a bed, its valve and the garden, and the words that the page shows for it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from api.desk import FakeDesk
from api.page.states import REASONS, STATES, VALVES

BED = "south"
UNTIL = "2026-07-18T01:00:00Z"
RUNNING = {"want_l": 122.0, "given_l": 12.0, "pulse": 1, "pulses": 4, "by": "policy"}
HELD = frozenset(
    {
        "not_armed",
        "other_controller",
        "cannot_record",
        "link_lost",
        "valve_latched",
        "frost",
        "probes_swapped",
        "supply_lost",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One state, and what is read of it.

    Attributes:
        name: of the state.
        bed: parts of the view of `BED`.
        garden: parts of the view.
        holds: parts of its holds.
        label: of the bed.
        valve: in words.
        more: words that stand anywhere on the page.
        never: words that must not stand there.
    """

    name: str
    label: str
    bed: dict[str, Any] = field(default_factory=dict)
    garden: dict[str, Any] = field(default_factory=dict)
    holds: dict[str, Any] = field(default_factory=dict)
    valve: str = "closed"
    more: tuple[str, ...] = ()
    never: tuple[str, ...] = ()

    def desk(self) -> FakeDesk:
        """A garden in this state."""
        desk = FakeDesk()
        desk.set_bed(BED, **self.bed)
        desk.set(**self.garden, holds={**desk.view()["holds"], **self.holds})
        return desk


def _because(code: str) -> dict[str, Any]:
    return {"reason": {"code": code, "text": f"Told: {code}.", "numbers": {}}}


def _dry(depletion_frac: float, state: str = "drying") -> dict[str, Any]:
    return {"depletion_frac": depletion_frac, "state": state}


def _alert(code: str, text: str) -> dict[str, Any]:
    return {
        "id": "a1",
        "code": code,
        "bed": BED,
        "valve": BED,
        "probe": None,
        "since": "2026-07-15T17:12:00Z",
        "text": text,
        "person_needed": True,
    }


STOP = ("Stop",)
ON_ITS_WAY = (
    Shown(
        name="resting",
        bed=_dry(0.12),
        label="Well supplied",
        more=("South drinks next, tonight", "Nothing for you to do."),
    ),
    Shown(
        name="waits-with-window",
        bed=_dry(0.36),
        label="Near its thirst line",
        more=("tonight from",),
    ),
    Shown(name="at-line", bed=_dry(0.41, "due"), label="Due"),
    Shown(name="at-line-drying", bed=_dry(0.41), label="At its thirst line"),
    Shown(name="past-line", bed=_dry(0.45), label="Past its thirst line"),
    Shown(name="past-floor", bed=_dry(0.52), label="Past its floor"),
    Shown(name="unknown", bed={"depletion_frac": None}, label="Not known"),
)
WITH_WATER = (
    Shown(
        name="drinking",
        bed={"state": "watering", "valve": "open", "watering": RUNNING},
        label="Drinking",
        valve="open, 12 of 122 L, pulse 1 of 4",
        more=("South drinks now: 12 of 122 L.", *STOP),
        never=("drinks next",),
    ),
    Shown(
        name="opening",
        bed={"state": "watering", "valve": "opening", "watering": {**RUNNING, "given_l": 0.0}},
        label="Drinking",
        valve="opening, 0 of 122 L, pulse 1 of 4",
        more=STOP,
    ),
    Shown(
        name="soaking",
        bed={"state": "soaking", "watering": {**RUNNING, "given_l": 30.5, "pulse": 2}},
        label="Soaking in",
        valve="closed, 30 of 122 L, next pulse 2 of 4",
        more=("South lets it soak in: 30 of 122 L.", *STOP),
    ),
    Shown(
        name="watered-a-while-ago",
        bed={
            **_dry(0.12),
            "reason": {
                "code": "at_line",
                "text": "South comes to its thirst line. It gets 122 L, deeply.",
                "numbers": {"depletion_frac": 0.41, "sunrise_frac": 0.43, "dose_l": 122.0},
            },
            "last_watering": {"at": "2026-07-15T11:12:00Z", "litres": 118.0},
        },
        label="Well supplied",
        more=("South got 118 L until 04:12. It is judged anew before it drinks again.",),
        never=("It gets 122 L",),
    ),
    Shown(
        name="closing",
        bed={"state": "watering", "valve": "told_to_close", "watering": RUNNING},
        label="Closing…",
        valve="told to close, not verified, 12 of 122 L, pulse 1 of 4",
        more=STOP,
        never=("All is well.",),
    ),
    Shown(
        name="told-to-close",
        bed={"valve": "told_to_close"},
        label="Closing…",
        valve="told to close, not verified",
        never=("All is well.",),
    ),
    Shown(
        name="valve-unknown",
        bed={**_dry(0.36), "valve": "unknown"},
        label="Near its thirst line",
        valve="not known, treated as open until proved closed",
        never=("All is well.",),
    ),
    Shown(
        name="latched",
        bed={"state": "held", "valve": "latched", **_because("valve_latched")},
        garden={"alerts": [_alert("valve_stuck_open", "Water flowed after the close.")]},
        label="Latched shut",
        valve="latched shut until a person lifts it",
        more=("South needs you.", "It is mended…", "none while latched", "Look here:"),
        never=("All is well.",),
    ),
)
BY_PEOPLE = (
    Shown(
        name="bed-paused",
        bed={"state": "paused", **_because("paused")},
        holds={"beds_paused": {BED: {"until": UNTIL, "why": "fruit picking"}}},
        label="Paused",
        more=("South is paused until Fri 18:00 (fruit picking).", "End pause"),
    ),
    Shown(
        name="pause-not-judged-yet",
        holds={"beds_paused": {BED: {"until": UNTIL, "why": ""}}},
        label="Paused",
        more=("South is paused until Fri 18:00.",),
    ),
    Shown(
        name="garden-paused",
        bed={"state": "paused", **_because("paused")},
        holds={"paused_until": UNTIL, "pause_why": "away"},
        label="Paused",
        more=("Paused until Fri 18:00.", "Every bed is paused until Fri 18:00 (away)."),
    ),
    Shown(
        name="locked",
        bed={"state": "locked", **_because("locked")},
        holds={"locked": True, "lock_why": "new pipe"},
        label="Locked",
        more=("Locked: new pipe", "none while locked", "Unlock…"),
        never=("All is well.",),
    ),
)
OF_PROBES = (
    Shown(name="blind", bed={"state": "blind", "quality": "none"}, label="No probe to go by"),
    Shown(name="learning", bed={"state": "learning", "quality": "none"}, label="Learning"),
    Shown(
        name="probe-out",
        bed={
            **_dry(0.36),
            "quality": "doubtful",
            "probes": {"s20": {"flags": [{"text": "Probe s20 of South stands still."}]}},
        },
        label="Near its thirst line",
        more=("Probe s20 of South stands still.", "in doubt"),
    ),
    Shown(name="cleared", bed={"state": "cleared"}, label="Cleared"),
)
OF_CONTACT = (
    Shown(
        name="no-contact",
        garden={"link_up": False},
        bed={"state": "held", **_because("link_lost")},
        label="No contact",
        valve="last seen closed",
        more=("No contact with the valves and probes.",),
        never=("All is well.",),
    ),
    Shown(
        name="in-contact-again",
        bed={"state": "held", **_because("link_lost")},
        label="In contact again",
        more=("It is back, and the bed is judged again soon.",),
        never=("No contact", "All is well."),
    ),
    Shown(
        name="valve-not-heard",
        bed={**_dry(0.36), "valve_heard": False},
        label="Near its thirst line",
        valve="last seen closed",
        more=("No word from the valve of South.", "If this lasts, look at the node."),
        never=("All is well.", "Nothing for you to do."),
    ),
    Shown(
        name="valve-not-heard-while-it-drinks",
        bed={"state": "watering", "valve": "open", "watering": RUNNING, "valve_heard": False},
        label="No contact",
        valve="last seen open, 12 of 122 L, pulse 1 of 4",
        more=("No word from the valve of South.", *STOP),
        never=("All is well.", "drinks now"),
    ),
    Shown(
        name="master-not-heard",
        bed=_dry(0.36),
        garden={"master": "closed", "master_heard": False},
        label="Near its thirst line",
        more=("No word from the master valve.",),
        never=("All is well.",),
    ),
    Shown(
        name="silence-is-called",
        bed=_dry(0.36),
        garden={"alerts": [{**_alert("valve_silent", "It is silent."), "person_needed": False}]},
        label="Near its thirst line",
        more=("Look here:",),
        never=("All is well.", "Well, but"),
    ),
    Shown(
        name="no-contact-while-it-drinks",
        garden={"link_up": False},
        bed={"state": "watering", "valve": "open", "watering": RUNNING},
        label="No contact",
        valve="last seen open, 12 of 122 L, pulse 1 of 4",
        more=STOP,
        never=("All is well.", "drinks now"),
    ),
    Shown(
        name="just-started",
        garden={"ready": False},
        bed={"valve": "unknown", **_because("quiet_start")},
        label="Just started",
        valve="not known, treated as open until proved closed",
        more=("For two minutes valves are only closed.",),
        never=("All is well.",),
    ),
)
BY_REASON = tuple(
    Shown(
        name=f"reason-{code}",
        bed={"state": "held" if code in HELD else "due", **_because(code)},
        label=label,
        more=(f"Told: {code}.",),
    )
    for code, label in REASONS.items()
    if code != "link_lost"  # `OF_CONTACT` has it, with contact and without
)
HELD_OTHERWISE = (
    Shown(name="held-by-something-new", bed={"state": "held", **_because("new")}, label="Held"),
)
ALL = (
    *ON_ITS_WAY,
    *WITH_WATER,
    *BY_PEOPLE,
    *OF_PROBES,
    *OF_CONTACT,
    *BY_REASON,
    *HELD_OTHERWISE,
)


def told() -> tuple[set[str], set[str], set[str]]:
    """Which states, valves and reasons of the page's table stand here."""
    beds = [shown.desk().view()["beds"][BED] for shown in ALL]
    return (
        {bed["state"] for bed in beds} & set(STATES),
        {bed["valve"] for bed in beds} & set(VALVES),
        {bed["reason"]["code"] for bed in beds} & set(REASONS),
    )
