"""The shapes of answers, and how they become JSON schemas.

A shape is a type's name (a `?` behind it allows null), a list of one shape, an object's fields, a
map `{"*": shape}` by names of the garden's own, or `Maybe(shape)` for an object that may be null.
Answers may grow by fields: nothing is forbidden in them, and nothing is required.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

Shape = Any  # str | list | dict | Maybe

TYPES: dict[str, dict[str, Any]] = {
    "text": {"type": "string"},
    "number": {"type": "number"},
    "count": {"type": "integer"},
    "yes": {"type": "boolean"},
    "instant": {"type": "string", "format": "date-time"},
    "day": {"type": "string", "format": "date"},
}


@dataclass(frozen=True, slots=True)
class Maybe:
    """An object that may be null."""

    shape: Shape


def schema_of(shape: Shape) -> dict[str, Any]:
    """The JSON schema of a shape."""
    if isinstance(shape, Maybe):
        return {"anyOf": [schema_of(shape.shape), {"type": "null"}]}
    if isinstance(shape, list):
        return {"type": "array", "items": schema_of(shape[0])}
    if isinstance(shape, dict):
        if set(shape) == {"*"}:
            return {"type": "object", "additionalProperties": schema_of(shape["*"])}
        return {"type": "object", "properties": {key: schema_of(one) for key, one in shape.items()}}
    base = dict(TYPES[shape.removesuffix("?")])
    if shape.endswith("?"):
        base["type"] = [base["type"], "null"]
    return base


SAID = {"code": "text", "text": "text", "numbers": {"*": "number"}}
TIMED = {"at": "instant", "text": "text"}
PROBE = {
    "theta_m3_m3": "number?",
    "trust": "text",
    "flags": [{"code": "text", "since": "instant", "text": "text"}],
    "refused": "count",
    "battery_v": "number?",
    "counts": {"*": "count"},
}
LEARNED = {
    "full_m3_m3": "number",
    "full_sd_m3_m3": "number?",
    "full_told_m3_m3": "number",
    "full_since": "instant?",
    "wilting_m3_m3": "number",
    "wilting_told_m3_m3": "number",
    "drank_at_m3_m3": "number?",
    "thirst": "number",
    "dose_stays_frac": "number",
    "dose_cut_frac": "number",
    "probes": {"*": {"counts_per_mm": "number?", "dry_spells": "count", "since": "instant?"}},
}
BED = {
    "state": "text",
    "stage": "text",
    "varieties": ["text"],
    "untried": ["text"],
    "depletion_frac": "number",
    "depletion_sd_frac": "number",
    "thirst_line_frac": "number",
    "line_drawn_in": "text?",
    "floor_frac": "number",
    "day_use_frac": "number",
    "taw_mm": "number",
    "taw_l": "number",
    "next_watering": Maybe({"from": "instant", "to": "instant", "or_later": "yes"}),
    "usual_night": Maybe({"from": "instant", "to": "instant"}),
    "scarce": Maybe({"by": "text", "from": "instant?", "stress_days": "number?"}),
    "learned": LEARNED,
    "follows": "text?",
    "looks": {"looks": "count", "shift_frac": "number", "text": "text", "worth": "yes"},
    "felt": Maybe({"feel": "text", "depth_cm": "number", "at": "instant"}),
    "marks": {"*": "day"},
    "picks": ["day"],
    "poured": Maybe({"litres": "number", "at": "instant"}),
    "miss": Maybe({"since": "instant", "tonight": "yes"}),
    "reason": SAID,
    "would_change": [SAID],
    "valve": "text",
    "valve_heard": "yes",
    "may_flow": "yes",
    "quality": "text",
    "probes": {"*": PROBE},
    "watering": Maybe(
        {
            "want_l": "number",
            "given_l": "number",
            "pulse": "count",
            "pulses": "count",
            "by": "text",
        }
    ),
    "last_watering": Maybe({"at": "instant", "litres": "number"}),
    "limit_l_day": "number",
}
SPAN = {
    "from": "instant",
    "hours": "number",
    "rain_mm": "number",
    "chance": "number",
    "tmin_c": "number?",
    "tmax_c": "number?",
}
SKY = {
    "source": "text?",
    "assumed": ["text"],
    "refused": {"*": "number"},
    "eto_sd_frac": "number",
    "text": "text",
    "foretold": {
        "from": "text?",
        "who": "text?",
        "at": "instant?",
        "spans": [{**SPAN, "by": "text"}],
        "text": "text",
    },
}
HOLDS = {
    "locked": "yes",
    "lock_why": "text",
    "paused_until": "instant?",
    "pause_why": "text",
    "beds_paused": {"*": {"until": "instant", "why": "text"}},
    "beds_stopped": {"*": "instant"},
    "hose": Maybe({"since": "instant", "until": "instant", "who": "text"}),
}
WALK = {
    "armed": "yes",
    "needed": "yes",
    "now": Maybe(
        {
            "kind": "text",
            "bed": "text?",
            "test": "text",
            "phase": "text",
            "asks": "text?",
            "left": "count",
            "text": "text",
        }
    ),
    "said": "text",
    "beds": {
        "*": {
            "armed": "yes",
            "verdict": "text?",
            "text": "text",
            "probes_answered": {"*": "yes"},
            "at": "instant",
            "who": "text",
            "flow_l_min": "number?",
            "expected_l_min": "number?",
            "fill_l": "number?",
            "confirmed": "text?",
            "trend_l_min": "number?",
        }
    },
    "all_closed": Maybe(
        {
            "at": "instant",
            "who": "text",
            "verdict": "text",
            "flow_l_min": "number?",
            "stands": "yes",
        }
    ),
    "backflow": Maybe({"device": "text", "tested": "day?", "who": "text", **TIMED}),
    "proof": {"provable": "yes", "due_from": "instant?", "last": Maybe({"code": "text", **TIMED})},
}
ALERT = {
    "id": "text",
    "code": "text",
    "bed": "text?",
    "valve": "text?",
    "probe": "text?",
    "since": "instant",
    "text": "text",
    "person_needed": "yes",
}
GARDEN = {
    "at": "instant",
    "garden": {"id": "text", "name": "text", "timezone": "text", "units": "text"},
    "speed": "number",
    "broker": "text",
    "link_up": "yes",
    "ready": "yes",
    "clock_synced": "yes",
    "epoch": "count",
    "readings": "count",
    "waterings": "count",
    "litres": "number",
    "last_reading_at": "instant?",
    "beds": {"*": BED},
    "sky": SKY,
    "master": "text?",
    "master_heard": "yes?",
    "holds": HOLDS,
    "supply": {
        "week_l": "number?",
        "week_left_l": "number?",
        "tank_l": "number?",
        "tank_left_l": "number?",
        "days": Maybe(["text"]),
    },
    "walk": WALK,
    "alerts": [ALERT],
    "limits": {
        "site_left_l": "number",
        "beds": {
            "*": {
                "left_l": "number",
                "dose_l": "number",
                "flow_l_min": "number",
                "barred": Maybe({"reason": "text", "text": "text", "next_possible": "instant?"}),
            }
        },
    },
}
ROW = {
    "id": "count",
    "at": "instant",
    "what": "text",
    "bed": "text?",
    **SAID,
    "clock_synced": "yes",
}
LOG = {"rows": [ROW], "after": "count", "more": "yes"}
POINT = {
    "at": "instant",
    "depletion_frac": "number?",
    "line_frac": "number?",
    "rain_mm": "number",
    "given_l": "number",
    "clock_synced": "yes",
}
HISTORY = {"bed": "text", "from": "instant", "to": "instant", "points": [POINT]}
SWING = {"back_frac": "number", "on": "day"}
FRUIT = {"picks": "count", "kg": "number", "cracked": "count", "black_ended": "count"}
PICKED = {
    "on": "day",
    "variety": "text",
    "kg": "number?",
    "cracked": "count?",
    "black_ended": "count?",
    "swing": Maybe(SWING),
}
BED_BOOK = {
    "plants": "count",
    "litres": "number",
    "most_litres": "number",
    "waterings": "count",
    "tested_l": "number",
    "by_hand_l": "number",
    "median_days_between": "number?",
    "poured_l": "number",
    "rain_mm": "number",
    "dawns": "count",
    "dawns_past_line": "count",
    "driest_frac": "number?",
    "swing": Maybe(SWING),
    "swings": [SWING],
    "looks": "count",
    "litres_per_kg": "number?",
    "notes": [{"on": "day", "text": "text"}],
    "fruit": FRUIT,
    "picks": [PICKED],
}
BOOK = {
    "first": "day",
    "last": "day",
    "record_begins": "day?",
    "record_ends": "day?",
    "beds": {"*": BED_BOOK},
    "waterings": [
        {
            "bed": "text",
            "from": "instant",
            "pulses": "count",
            "litres": "number",
            "most_litres": "number",
            "by": "text",
            "clock_synced": "yes",
        }
    ],
    "varieties": [{"variety": "text", "fruit": FRUIT}],
    "drier": Maybe(
        {
            "shift_frac": "number",
            "reckoned_beds": "count",
            "litres": "number",
            "waterings": "count",
            "days_past_floor": "count",
            "same_litres": "number",
            "same_waterings": "count",
            "same_days_past_floor": "count",
            "given_litres": "number",
            "given_waterings": "count",
            "miss_litres": "number",
        }
    ),
}
PAIRED = {"pairs": [{"id": "text", "role": "text", "name": "text", "since": "instant"}]}
CODE = {"link": "text", "role": "text", "name": "text", "seconds": "number", "text": "text"}
ALARM = {
    "ways": ["text"],
    "lines": {"*": {"waiting": "count", "failing": "text", "last_out": "instant?"}},
    "quiet": "text",
    "weekly": "text",
}
TESTED = {"ways": [{"way": "text", "outcome": "text", "text": "text"}], "text": "text"}
WATERED = {"dose": "text?", "litres": "number?", "seconds": "number?"}
RECORD = {
    "order": "text",
    "what": "text",
    "who": "text",
    "bed": "text?",
    "why": "text",
    "text": "text",
}
PROBLEM = {
    "type": "text",
    "title": "text",
    "status": "count",
    "detail": "text",
    "reason": "text",
    "allowed_litres": "number?",
    "next_possible": "instant?",
}
