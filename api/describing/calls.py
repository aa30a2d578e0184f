"""Every call of the API: its name, what to send for example, and what comes back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from api.describing import shapes
from api.describing.shapes import Shape


@dataclass(frozen=True, slots=True)
class Call:
    """One call.

    Attributes:
        summary: its name, in few words.
        answer: the shape of what comes back when it is accepted.
        example: such an answer.
        sends: bodies that it takes, by what they are good for; none where it takes none but a
            reason.
    """

    summary: str
    answer: Shape
    example: Any
    sends: dict[str, Any] | None = None


def _record(what: str, text: str, **fields: Any) -> dict[str, Any]:  # noqa: ANN401 - any JSON value
    return {"order": "o-5b1c9e07aa42", "what": what, "who": "operator", **fields, "text": text}


def _noted(summary: str, what: str, text: str, **fields: Any) -> Call:  # noqa: ANN401
    """A call that takes nothing but a reason, for the whole garden."""
    return Call(summary, shapes.RECORD, _record(what, text, **fields))


def _bed_noted(summary: str, what: str, text: str) -> Call:
    """The same for one bed."""
    return Call(summary, shapes.RECORD, _record(what, text, bed="south"))


def _told(summary: str, what: str, text: str, fields: Shape, **sends: Any) -> Call:  # noqa: ANN401
    """A call that takes a body and gives the record made."""
    first = next(iter(sends.values()))
    shown = {key: value for key, value in first.items() if key in fields}
    return Call(summary, {**shapes.RECORD, **fields}, _record(what, text, **shown), sends)


NOON = "2026-07-15T19:00:00Z"
UNTIL = "2026-07-20T06:00:00Z"
PAUSE = {"until": "instant", "why": "text"}
PICK = {
    "on": "day",
    "kg": "number?",
    "cracked": "count?",
    "black_ended": "count?",
    "variety": "text",
}
BED_EXAMPLE = {
    "state": "drying",
    "stage": "setting",
    "depletion_frac": 0.31,
    "thirst_line_frac": 0.42,
    "line_drawn_in": None,
    "floor_frac": 0.52,
    "next_watering": {
        "from": "2026-07-17T05:00:00Z",
        "to": "2026-07-18T12:30:00Z",
        "or_later": False,
    },
    "usual_night": {"from": "2026-07-17T05:00:00Z", "to": "2026-07-17T12:30:00Z"},
    "reason": {
        "code": "drying",
        "text": "South has water enough: 33 % used by sunrise, its line is 42 %.",
        "numbers": {"depletion_frac": 0.31, "sunrise_frac": 0.33, "thirst_line_frac": 0.42},
    },
    "valve": "closed",
    "quality": "ok",
}
WALK_EXAMPLE = {
    "armed": True,
    "needed": False,
    "now": None,
    "said": "",
    "beds": {
        "south": {"armed": True, "verdict": "as_rated", "text": "Walked.", "flow_l_min": 1.62}
    },
}
WATER_SENDS = {
    "litres": {"litres": 40},
    "minutes": {"minutes": 10},
    "refill": {"refill": True},
}
OUTLOOK = [
    {"from": NOON, "hours": 24, "rain_mm": 6.0, "chance": 0.6, "tmin_c": 14, "tmax_c": 31},
]

READS: dict[str, Call] = {
    "GET /api/health": Call("Whether the engine steps", {"ok": "yes"}, {"ok": True}),
    "GET /api/garden": Call(
        "The garden now",
        shapes.GARDEN,
        {"at": NOON, "waterings": 3, "litres": 312.0, "beds": {"south": BED_EXAMPLE}, "alerts": []},
    ),
    "GET /api/log": Call(
        "The record, in pages",
        shapes.LOG,
        {
            "rows": [
                {
                    "id": 17,
                    "at": NOON,
                    "what": "order",
                    "bed": "south",
                    "code": "poured",
                    "text": "operator: 40 L poured by hand",
                    "numbers": {},
                    "clock_synced": True,
                }
            ],
            "after": 17,
            "more": False,
        },
    ),
    "GET /api/beds/{bed}/history": Call(
        "A bed's hours",
        shapes.HISTORY,
        {
            "bed": "south",
            "from": "2026-07-14T19:00:00Z",
            "to": NOON,
            "points": [
                {
                    "at": "2026-07-14T19:00:00Z",
                    "depletion_frac": 0.31,
                    "line_frac": 0.42,
                    "rain_mm": 0.0,
                    "given_l": 0.0,
                    "clock_synced": True,
                }
            ],
        },
    ),
    "GET /api/season": Call(
        "The season book",
        shapes.BOOK,
        {
            "first": "2026-05-09",
            "last": "2026-07-15",
            "beds": {"south": {"plants": 24, "litres": 1500.0, "waterings": 5, "rain_mm": 61.0}},
            "waterings": [
                {
                    "bed": "south",
                    "from": "2026-07-08T05:10:00Z",
                    "pulses": 2,
                    "litres": 300.0,
                    "most_litres": 324.0,
                    "by": "policy",
                }
            ],
            "varieties": [],
        },
    ),
    "GET /api/walk": Call("The commissioning walk", shapes.WALK, WALK_EXAMPLE),
    "GET /api/pairs": Call(
        "The paired browsers",
        shapes.PAIRED,
        {"pairs": [{"id": "0badcafe", "role": "helper", "name": "Ann's phone", "since": NOON}]},
    ),
    "GET /api/alarm": Call(
        "How alarms get out",
        shapes.ALARM,
        {
            "ways": ["mail to me@example.org"],
            "lines": {"mail": {"waiting": 0, "failing": "", "last_out": NOON}},
            "quiet": "22:00-07:00",
            "weekly": "sun",
        },
    ),
}
WATERS: dict[str, Call] = {
    "POST /api/beds/{bed}/water": Call(
        "Water a bed by hand",
        shapes.WATERED,
        {"dose": "12-4", "litres": 40.0, "seconds": 1500.0},
        WATER_SENDS,
    ),
    "POST /api/beds/{bed}/stop": _bed_noted("Close a bed now", "stop", "Told to close."),
    "POST /api/stop": _noted("Close every valve now", "stop_all", "Told to close.", bed=None),
    "DELETE /api/beds/{bed}/stop": _bed_noted(
        "Let a stopped bed go on", "resume", "The stop is over."
    ),
    "DELETE /api/stop": _noted(
        "Let the stopped garden go on", "resume", "The stop is over.", bed=None
    ),
    "PUT /api/beds/{bed}/pause": _told(
        "Pause a bed",
        "pause",
        "Paused by a person: no watering of its own until the pause ends.",
        PAUSE,
        days={"until": UNTIL, "why": "new straw"},
    ),
    "DELETE /api/beds/{bed}/pause": _bed_noted("End a bed's pause", "resume", "The pause is over."),
    "PUT /api/pause": _told(
        "Pause the garden", "pause", "Paused by a person.", PAUSE, days={"until": UNTIL}
    ),
    "DELETE /api/pause": _noted("End the garden's pause", "resume", "The pause is over."),
    "PUT /api/lock": _told(
        "Lock: people at the pipes",
        "lock",
        "Locked: everything is told to close.",
        {"why": "text"},
        pipes={"why": "a new filter goes in"},
    ),
    "DELETE /api/lock": _noted("Lift the lock", "unlock", "Unlocked."),
    "POST /api/alerts/{alert}/clear": _told(
        "Lift an alert",
        "clear",
        "Lifted.",
        {"alert": "text", "why": "text"},
        mended={"why": "the leak is mended, I looked"},
    ),
    "POST /api/beds/{bed}/forget": _bed_noted(
        "Let a bed forget what it learned", "forget", "South begins anew."
    ),
    "PUT /api/hose": _told(
        "Announce a hose",
        "hose",
        "For 30 min other water may flow behind the meter.",
        {"minutes": "number"},
        half_an_hour={"minutes": 30},
    ),
    "DELETE /api/hose": _noted("The hose is off", "hose_end", "The hose is off."),
    "POST /api/flow": _told(
        "Say whose flow it is",
        "flow_answer",
        "Then it is no leak.",
        {"ours": "yes"},
        ours={"ours": True},
        nobodys={"ours": False},
    ),
}
TELLS: dict[str, Call] = {
    "PUT /api/outlook": Call(
        "Say what the sky will do",
        {**shapes.RECORD, "spans": [shapes.SPAN]},
        _record("outlook", "Noted: this counts until Thu 16 Jul, 12:00.", spans=OUTLOOK),
        {"rain_tonight": OUTLOOK},
    ),
    "DELETE /api/outlook": _noted(
        "Take the typed sky back", "forget_outlook", "What was typed counts no more."
    ),
    "POST /api/beds/{bed}/soil": _told(
        "Tell what the soil feels like",
        "soil",
        "South was felt dry at 20 cm.",
        {"feel": "text", "depth_cm": "number"},
        dry={"feel": "dry", "depth_cm": 20},
    ),
    "POST /api/beds/{bed}/look": _told(
        "Tell how the leaves look",
        "look",
        "By your look this bed uses 1 % less of its water before it drinks.",
        {"leaves": "count", "when": "text"},
        rolled={"leaves": 1, "when": "morning"},
    ),
    "DELETE /api/beds/{bed}/look": _bed_noted(
        "Undo what looks taught", "forget_looks", "Its looks are forgotten."
    ),
    "POST /api/beds/{bed}/stage": _told(
        "Mark an event of the season",
        "stage",
        "Marked.",
        {"stage": "text", "on": "text"},
        flower={"stage": "first_flower", "on": "2026-06-12"},
        today={"stage": "first_set"},
    ),
    "DELETE /api/beds/{bed}/stage": _told(
        "Take a mark back",
        "forget_stage",
        "Taken back.",
        {"stage": "text"},
        flower={"stage": "first_flower"},
    ),
    "POST /api/beds/{bed}/pick": _told(
        "Plan or tell a pick",
        "pick",
        "Picked.",
        PICK,
        picked={"on": "2026-07-15", "kg": 6.5, "cracked": 3, "black_ended": 0},
        planned={"on": "2026-08-01"},
    ),
    "DELETE /api/beds/{bed}/pick": _told(
        "Take a pick back",
        "forget_pick",
        "Taken back.",
        {"on": "day"},
        planned={"on": "2026-08-01"},
    ),
    "POST /api/beds/{bed}/note": _told(
        "Write into the season book", "note", "Noted.", {}, straw={"text": "straw laid"}
    ),
    "POST /api/beds/{bed}/poured": _told(
        "Tell what was poured by hand",
        "poured",
        "South got 40 L by hand.",
        {"litres": "number"},
        two_cans={"litres": 20},
    ),
    "DELETE /api/beds/{bed}/poured": _bed_noted(
        "Take the last pouring back", "forget_poured", "Taken back."
    ),
    "POST /api/beds/{bed}/miss": _bed_noted("Miss a turn", "miss", "South misses its next turn."),
    "DELETE /api/beds/{bed}/miss": _bed_noted(
        "Give the turn back", "forget_miss", "South has its turn."
    ),
    "PUT /api/tank": _told(
        "Say what the tank holds",
        "tank",
        "The tank holds 300 L.",
        {"litres": "number?"},
        part={"litres": 300},
        full={},
    ),
    "POST /api/walk": _told(
        "Begin or go on with the walk",
        "walk",
        "The walk begins.",
        {"yes": "yes"},
        all_beds={},
        one_bed={"bed": "south", "yes": False},
    ),
    "POST /api/walk/answer": _told(
        "Answer the walk",
        "walk_answer",
        "South is walked.",
        {"yes": "yes"},
        right={"right": True},
    ),
    "POST /api/walk/backflow": _told(
        "Tell the backflow device",
        "walk_backflow",
        "Noted.",
        {"device": "text", "on": "text"},
        tested={"device": "reduced_pressure", "tested": "2026-04-20"},
        air_gap={"device": "air_gap"},
    ),
    "DELETE /api/walk": _noted("End the walk", "walk_end", "The walk is ended."),
    "POST /api/pairs": Call(
        "Make a link that lets a browser in",
        shapes.CODE,
        {
            "link": "http://thirstline.local:8470/open?code=…",
            "role": "helper",
            "name": "Ann's phone",
            "seconds": 600.0,
            "text": "Opened within 10 min, once, this lets one browser in.",
        },
        {"helper": {"role": "helper", "name": "Ann's phone"}, "operator": {}},
    ),
    "DELETE /api/pairs/{pair}": Call(
        "Let a browser in no more",
        {**shapes.RECORD, "pair": "text"},
        _record("unpair", "Withdrawn.", pair="0badcafe"),
    ),
    "POST /api/alarm/test": Call(
        "Test the ways out of the house",
        shapes.TESTED,
        {
            "ways": [{"way": "mail", "outcome": "delivered", "text": "Taken by the server."}],
            "text": "It got out by mail. Look whether it arrived.",
        },
    ),
}
CALLS: dict[str, Call] = {**READS, **WATERS, **TELLS}
