"""Hostile scripts drawn from a seed: scenes about water, and what goes wrong around them.

A script has 20 to 200 steps over one to four days. Each seed has a theme, in turn, so that rare
things occur in every hundred or so; within it all is drawn. The weights are our own.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from typing import Any

from sim.faults import WAYS, Kind, What
from tests.scripts.gardens import BEDS, KINDS, USUAL_KPA, garden_of
from tests.scripts.script import Script, Step
from tests.scripts.seen import BAD_READINGS, RESTARTS, STRANGERS

DAY_S = 86_400.0
LASTS_S = (15.0, 60.0, 300.0, 1800.0, 9000.0, 40_000.0)
AFTER_S = (0.0, 0.5, 3.0, 8.0, 16.0, 31.0, 62.0, 95.0, 140.0, 300.0, 700.0)
GAPS_S = (0.1, 5.0, 60.0, 100.0, 400.0, 4000.0, 30_000.0)
LITRES = (2.0, 3.3, 5.0, 10.0, 20.0, 40.0, 60.0, 80.0, 95.0)
VALUES = {
    What.SPIKE: (-0.3, 0.3),
    What.OFFSET: (-0.2, 0.2),
    What.JUMP: (0.1, 500.0),
    What.LOW: (0.0, 1.0),
    What.LEAK: (0.05, 20.0),
    What.STEP: (-400_000.0, 400_000.0),
}
Scene = Callable[[random.Random, str], list[Step]]


def draw(seed: int) -> Script:
    """The script of a seed."""
    lots = random.Random(f"hostile/{seed}")
    theme = THEMES[seed % len(THEMES)]
    name, gardens, scenes = theme
    garden = lots.choice(gardens)
    span_s = lots.choice((1.0, 1.0, 1.0, 1.0, 1.5, 2.0, 3.0, 4.0)) * DAY_S
    most = round(20.0 * math.exp(lots.random() * math.log(10.0)))
    steps: list[Step] = []
    while len(steps) < most:
        scene = lots.choice(scenes) if lots.random() < 0.4 else lots.choice(SCENES)
        begin_s = lots.uniform(300.0, span_s)
        if lots.random() < 0.6:
            steps.append([round(begin_s - 200.0, 1), "", 0.0, "look_after"])
        for step in scene(lots, garden):
            steps.append([round(begin_s + step[0], 1), *step[1:]])
    kept = sorted(steps[:200], key=lambda step: step[0])
    return Script(
        seed=seed,
        garden=garden,
        start=lots.choice(("july", "july", "july", "march", "november")),
        span_s=span_s,
        tick_s=lots.choice((5.0, 10.0, 10.0, 20.0, 20.0)),
        theme=name,
        steps=tuple(_pressed(seed, garden, _skied(seed, span_s, _noted(seed, span_s, kept)))),
    )


def _noted(seed: int, span_s: float, steps: list[Step]) -> list[Step]:
    """In one script of four somebody also writes down a few words, or none; by lots of their own,
    so that all else stays as it was drawn before notes were."""
    lots = random.Random(f"notes/{seed}")
    if lots.random() < 0.75 or len(steps) >= 200:
        return steps
    words = lots.choice(("tied up the leaders", "first fruit  set", " ", "n" * 400))
    fields = {"bed": lots.choice((*BEDS, "nowhere")), "text": words}
    note: Step = [round(lots.uniform(0.0, span_s), 1), "", 0.0, "order", "note", fields]
    return sorted([*steps, note], key=lambda step: step[0])


def _skied(seed: int, span_s: float, steps: list[Step]) -> list[Step]:
    """In one script of four somebody also types the sky to come, sound or not, and may take it
    back; by lots of their own likewise."""
    lots = random.Random(f"sky/{seed}")
    if lots.random() < 0.75 or len(steps) >= 199:
        return steps
    told = {
        "hours": lots.choice((6.0, 24.0, 24.0, 48.0, 1e6)),
        "rain_mm": lots.choice((0.0, 4.0, 15.0, 60.0, -1.0)),
        "chance_frac": lots.choice((0.3, 0.8, 1.0, 1.0, 7.0)),
    }
    at_s = lots.uniform(0.0, span_s)
    more: list[Step] = [[round(at_s, 1), "", 0.0, "order", "outlook", {"span": told}]]
    if lots.random() < 0.5:
        back_s = lots.uniform(at_s, span_s)
        more.append([round(back_s, 1), "", 0.0, "order", "forget_outlook", {}])
    return sorted([*steps, *more], key=lambda step: step[0])


def _pressed(seed: int, garden: str, steps: list[Step]) -> list[Step]:
    """In one script of three, where the meter's node tells it, the pressure is odd when water has
    run for a while or at any time; by lots of their own likewise."""
    lots = random.Random(f"pressure/{seed}")
    tells = garden_of(garden).supply.pressure_kpa is not None
    if not tells or lots.random() < 0.67 or len(steps) >= 198:
        return steps
    begin_s = lots.choice(steps)[0]
    frac = lots.choice((0.0, 0.3, 0.49, 0.51, 1.49, 1.6, 4.0, 1e6))
    odd = ["pressure", frac * USUAL_KPA, lots.choice((6.0, 60.0, 600.0, 9000.0))]
    wait = lots.choice(("opened", "opened", "opened", ""))
    more: list[Step] = [[begin_s, wait, lots.choice((2.0, 30.0, 100.0, 300.0)), *odd]]
    if lots.random() < 0.3:
        more.append([begin_s, "started", 20.0, *odd])
    return sorted([*steps, *more], key=lambda step: step[0])


# -- single troubles


def _fault(lots: random.Random, garden: str, which: tuple[Kind, What] | None = None) -> Step:
    kind, what = which or lots.choice([(k, w) for k, ways in WAYS.items() for w in ways])
    setting = garden_of(garden)
    names: dict[Kind, list[str]] = {
        Kind.VALVE: list(setting.valves),
        Kind.PROBE: list(setting.probes),
        Kind.METER: list(setting.meters),
        Kind.WEATHER: list(setting.weather),
    }
    known = names.get(kind, [""])
    if not known:
        return _network(lots)
    value = round(lots.uniform(*VALUES[what]), 3) if what in VALUES else 0.0
    lasts_s = lots.choice(LASTS_S)
    return ["fault", str(kind), lots.choice(known), str(what), value, lasts_s]


def _network(lots: random.Random) -> Step:
    if lots.random() < 0.15:
        return ["deaf_to_close", lots.choice((*BEDS, "master")), lots.choice(LASTS_S)]
    return [
        "network",
        lots.choice(("lossy", "late", "late", "doubled", "held", "stalled")),
        lots.choice(LASTS_S),
    ]


def _restart(lots: random.Random, how: str | None = None) -> Step:
    usual = lots.choice(("kill", "kill", "tail", "tail", "stop", "synced", "unsynced", "version"))
    rare = lots.choice(RESTARTS)
    return ["restart", how or (usual if lots.random() < 0.8 else rare), lots.choice(GAPS_S)]


def _wall(lots: random.Random) -> Step:
    how = lots.choice(("forward", "back", "1970", "right", "right"))
    seconds = lots.choice((600.0, 3600.0, 25 * 3600.0, 3 * DAY_S))
    return ["wall", how, -seconds if how == "back" else seconds]


def _closing_order(lots: random.Random) -> Step:
    what = lots.choice(("stop", "stop_all", "lock", "pause", "pause"))
    fields: dict[str, Any] = {"why": "a test"}
    if what == "stop" or (what == "pause" and lots.random() < 0.5):
        fields["bed"] = lots.choice(BEDS)
    if what == "pause":
        fields["ahead_s"] = lots.choice((100.0, 3000.0, 50_000.0))
    return ["order", what, fields]


TOLD: tuple[tuple[str, dict[str, Any]], ...] = (
    ("resume", {}),
    ("unlock", {}),
    ("lock", {"why": " "}),
    ("forget", {"bed": "?"}),
    ("soil", {"bed": "?", "feel": "dry", "depth_cm": 20.0}),
    ("soil", {"bed": "?", "feel": "wet", "depth_cm": 20.0}),
    ("soil", {"bed": "?", "feel": "odd"}),
    ("look", {"bed": "?", "leaves": 0, "when": "morning"}),
    ("look", {"bed": "?", "leaves": 2, "when": "morning"}),
    ("forget_looks", {"bed": "?"}),
    ("stage", {"bed": "?", "stage": "first_flower", "on": "2026-06-20"}),
    ("stage", {"bed": "?", "stage": "first_colour", "on": "2026-07-10"}),
    ("forget_stage", {"bed": "?", "stage": "first_flower"}),
    ("poured", {"bed": "?", "litres": 30.0}),
    ("poured", {"bed": "?", "litres": "nan"}),
    ("forget_poured", {"bed": "?"}),
    ("miss", {"bed": "?"}),
    ("forget_miss", {"bed": "?"}),
    ("tank", {}),
    ("tank", {"litres": 100.0}),
    ("tank", {"litres": "inf"}),
    ("pick", {"bed": "?", "on": "2026-07-19"}),
    ("forget_pick", {"bed": "?", "on": "2026-07-19"}),
    ("pause", {"ahead_s": -5.0}),
    ("clear", {"alert": "no-such-thing", "why": "x"}),
    ("walk", {"yes": True}),
    ("walk_answer", {"bed": "?", "yes": True}),
    ("walk_backflow", {"device": "air_gap", "on": ""}),
    ("walk_backflow", {"device": "a rag", "on": ""}),
    ("walk_end", {}),
    ("hose", {"open_s": 1800.0}),
    ("hose", {"open_s": "nan"}),
    ("hose_end", {}),
    ("flow_answer", {"yes": True}),
    ("flow_answer", {"yes": False}),
    ("pair", {"pair": "p1", "role": "helper", "name": "phone", "secret_sha256": "ab" * 32}),
    ("unpair", {"pair": "p1"}),
)


def _other_order(lots: random.Random) -> Step:
    what, fields = lots.choice(TOLD)
    bed = lots.choice((*BEDS, *BEDS, "nowhere"))
    return ["order", what, {key: bed if value == "?" else value for key, value in fields.items()}]


def _odd_order(lots: random.Random) -> Step:
    fields = lots.choice(
        (
            {"litres": "nan"},
            {"litres": "inf"},
            {"litres": -5.0},
            {"litres": 1e9},
            {"litres": 1.0},
            {"open_s": 1e7},
            {"open_s": 20.0},
            {"litres": 5.0, "refill": True},
            {"litres": 95.0},
            {},
        )
    )
    return ["order", "water", {"bed": lots.choice((*BEDS, None, "nowhere")), **fields}]


def _stranger(lots: random.Random) -> Step:
    valve = lots.choice((*BEDS, "master"))
    how = lots.choice(STRANGERS if lots.random() < 0.3 else ("replayed", "guessed", "retained"))
    return ["stranger", how, valve, lots.choice((0, 1, 2, 5))]


def _trouble(lots: random.Random, garden: str) -> Step:
    lot = lots.random()
    if lot < 0.34:
        return _fault(lots, garden)
    if lot < 0.46:
        return _network(lots)
    if lot < 0.60:
        return _restart(lots)
    if lot < 0.68:
        return _closing_order(lots)
    if lot < 0.74:
        return ["record", lots.choice(("fail", "hold")), lots.choice(LASTS_S)]
    if lot < 0.80:
        return _wall(lots)
    if lot < 0.86:
        return _stranger(lots)
    return lots.choice(
        (
            _other_order(lots),
            _odd_order(lots),
            ["junk", lots.randrange(60)],
            ["reload", lots.choice(("same", "tight", "tight", "refused"))],
            ["told", f"{lots.choice(BEDS)}-{lots.choice((20, 40))}", lots.choice(BAD_READINGS)],
            ["spam", lots.choice((4, 12)), lots.choice(LITRES)],
            ["clear", lots.choice(("", "looked"))],
            ["contract", lots.choice((*BEDS, "master"))],
            ["alarm_way", lots.random() < 0.5],
            ["stumble", lots.choice((1, 1, 3))],
            ["weeks_later", 7.5],
        )
    )


# -- scenes


def _around(lots: random.Random, garden: str, most: int = 5) -> list[Step]:
    """Troubles about an opening or a close."""
    found: list[Step] = []
    for _ in range(lots.randint(1, most)):
        wait = lots.choice(("", "opened", "opened", "closed", "started"))
        at_s = lots.choice((0.0, 0.0, 10.0, 400.0))
        found.append([at_s, wait, lots.choice(AFTER_S), *_trouble(lots, garden)])
    return found


def by_hand(lots: random.Random, garden: str) -> list[Step]:
    """Somebody waters, and things go wrong around it."""
    fields: dict[str, Any] = {"bed": lots.choice(BEDS), "litres": lots.choice(LITRES)}
    if lots.random() < 0.2:
        del fields["litres"]
        fields |= lots.choice(({"refill": True}, {"open_s": lots.choice((90.0, 700.0, 2500.0))}))
    found: list[Step] = [[1.0, "", 0.0, "order", "water", fields]]
    if lots.random() < 0.4:
        other = {"bed": lots.choice(BEDS), "litres": lots.choice(LITRES)}
        found.append([lots.choice((2.0, 100.0, 400.0)), "", 0.0, "order", "water", other])
    return found + _around(lots, garden)


def thirst(lots: random.Random, garden: str) -> list[Step]:
    """A bed, or all, comes to its line or past its floor."""
    bed = lots.choice((None, *BEDS))
    depletion_frac = lots.choice((0.35, 0.45, 0.6, 0.6, 0.9))
    found: list[Step] = [[0.0, "", 0.0, "dry", bed, depletion_frac]]
    if lots.random() < 0.5:
        found.append([1200.0, "", 0.0, "order", "unlock", {}])
    return found + _around(lots, garden)


def calm(lots: random.Random, garden: str) -> list[Step]:
    """Somebody looks after the garden and it is left alone with its thirst."""
    del garden
    bed = lots.choice((None, *BEDS))
    return [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, "dry", bed, lots.choice((0.45, 0.6, 0.7))],
    ]


def nagging(lots: random.Random, garden: str) -> list[Step]:
    """Somebody orders a little every eleven minutes."""
    del garden
    bed = lots.choice(BEDS)
    nag = ["nag", bed, lots.choice((6, 16)), lots.choice((400.0, 900.0, 950.0)), 3.3]
    return [[0.0, "", 0.0, "look_after"], [1.0, "", 0.0, "dry", None, 0.2], [2.0, "", 0.0, *nag]]


def greed(lots: random.Random, garden: str) -> list[Step]:
    """Somebody orders as much as there is, bed after bed."""
    del garden
    litres = lots.choice((40.0, 60.0, 80.0, 95.0))
    nags = [["nag", bed, 6, lots.choice((1900.0, 2500.0)), litres] for bed in BEDS]
    return [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, "dry", None, 0.3],
        *([2.0 + n, "", 0.0, *nag] for n, nag in enumerate(nags)),
    ]


def dry_pipe(lots: random.Random, garden: str) -> list[Step]:
    """No water comes, in one bed or in all."""
    bad = _fault(lots, garden, (Kind.SUPPLY, What.LOST))
    if lots.random() < 0.3:
        bad = _fault(lots, garden, (Kind.VALVE, What.STUCK_CLOSED))
    bad[-1] = lots.choice((1800.0, 9000.0))
    return [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, *bad],
        [2.0, "", 0.0, "order", "water", {"bed": "south", "litres": 20.0}],
        [700.0, "", 0.0, "order", "water", {"bed": "wall", "litres": 20.0}],
        [1000.0, "", 0.0, "dry", None, 0.6],
    ]


def wet_pipe(lots: random.Random, garden: str) -> list[Step]:
    """Water runs where none should: a leak, a burst, a valve that sticks."""
    which = lots.choice(
        ((Kind.SUPPLY, What.LEAK), (Kind.SUPPLY, What.BURST), (Kind.VALVE, What.STUCK_OPEN))
    )
    bad = _fault(lots, garden, which)
    bad[-1] = lots.choice((300.0, 1800.0, 9000.0))
    return [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, "order", "water", {"bed": lots.choice(BEDS), "litres": 20.0}],
        [2.0, "opened", lots.choice((10.0, 90.0, 200.0)), *bad],
        [800.0, "", 0.0, *_trouble(lots, garden)],
        [2500.0, "", 0.0, "order", "water", {"bed": lots.choice(BEDS), "litres": 20.0}],
    ]


def cold(lots: random.Random, garden: str) -> list[Step]:
    """A night of frost, or rain."""
    del garden
    sky = ["sky", lots.choice((-3.0, 1.0, 15.0)), lots.choice((0.0, 0.0, 8.0)), 9000.0]
    return [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, *sky],
        [2.0, "", 0.0, "outlook", 9.0, lots.choice((0.3, 0.9)), 24.0],
        [700.0, "", 0.0, "order", "water", {"bed": "wall", "litres": 10.0}],
        [800.0, "", 0.0, "dry", None, 0.6],
    ]


def forgotten(lots: random.Random, garden: str) -> list[Step]:
    """The record is lost, or an old one, after water was given."""
    how = lots.choice(("lost", "old", "old", "version", "unarmed"))
    found: list[Step] = [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, "order", "water", {"bed": lots.choice(BEDS), "litres": 60.0}],
        [2.0, lots.choice(("", "opened", "closed")), 30.0, *_restart(lots, how)],
        [4000.0, "", 0.0, "order", "water", {"bed": lots.choice(BEDS), "litres": 60.0}],
        [4100.0, "", 0.0, "dry", None, 0.7],
    ]
    if lots.random() < 0.4:
        silent = ["fault", "valve", lots.choice(BEDS), "silent", 0.0, 3000.0]
        found.append([2.0, "", 0.0, *silent])
    return found


def blind(lots: random.Random, garden: str) -> list[Step]:
    """All probes of a bed fall silent, or go wrong."""
    del garden
    bed = lots.choice(BEDS)
    what = lots.choice(("silent", "silent", "stuck", "dry", "offset", "spike"))
    value = 0.12 if what in {"offset", "spike"} else 0.0
    return [
        [0.0, "", 0.0, "look_after"],
        *(
            [1.0, "", 0.0, "fault", "probe", f"{bed}-{depth}", what, value, 60_000.0]
            for depth in (20, 40)
        ),
        [2.0, "", 0.0, "dry", bed, 0.6],
    ]


def exchanged(lots: random.Random, garden: str) -> list[Step]:
    """Two beds' probes change places, and both are watered in turn."""
    del garden
    one, other = lots.sample(BEDS, 2)
    found: list[Step] = [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, "dry", None, 0.4],
        [600.0, "", 0.0, "swap", one, other],
    ]
    for n in range(3):
        bed = one if n % 2 == 0 else other
        water = ["order", "water", {"bed": bed, "litres": 35.0}]
        found.append([4000.0 + n * 30_000.0, "", 0.0, *water])
    return found


def walked(lots: random.Random, garden: str) -> list[Step]:
    """A garden that was never walked is, with troubles on the way; then its flow falls."""
    found: list[Step] = [
        [0.0, "", 0.0, "look_after"],
        [200.0, "", 0.0, "restart", "unarmed", 1.0],
        [400.0, "", 0.0, "order", "water", {"bed": "south", "litres": 5.0}],
        [410.0, "", 0.0, "order", "walk_backflow", {"device": "air_gap", "on": ""}],
        [420.0, "", 0.0, "order", "walk", {"yes": lots.random() < 0.7}],
        [460.0, "", 0.0, "order", "water", {"bed": "wall", "litres": 5.0}],
    ]
    for n in range(8):
        found.append([700.0 + 150.0 * n, "", 0.0, "order", "walk_answer", {"yes": n != 6}])
    if lots.random() < 0.5:
        found += [[step[0] + 420.0, *step[1:]] for step in _around(lots, garden, 2)]
    else:
        found.append([2990.0, "", 0.0, "dry", None, 0.1])
        found.append([3000.0, "", 0.0, "fault", "supply", "", "low", 0.75, 40_000.0])
        for n in range(5):
            water = ["order", "water", {"bed": "wall", "litres": 32.0}]
            found.append([3100.0 + 2500.0 * n, "", 0.0, *water])
    if lots.random() < 0.3:
        found.append([lots.uniform(430.0, 1500.0), "", 0.0, "order", "walk_end", {}])
    return found


def proved(lots: random.Random, garden: str) -> list[Step]:
    """The weekly proof of the master is due, and sometimes it fails."""
    found: list[Step] = [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, "dry", None, 0.1],
        [2.0, "", 0.0, "weeks_later", lots.choice((7.5, 7.5, 16.0))],
    ]
    if lots.random() < 0.5:
        found.append([1.0, "", 0.0, "fault", "valve", "master", "stuck_open", 0.0, 90_000.0])
    if lots.random() < 0.5:
        found += _around(lots, garden, 2)
    return found


def falling(lots: random.Random, garden: str) -> list[Step]:
    """The process falls over again and again, at rest or in the doses of one bed."""
    del garden
    found: list[Step] = [[0.0, "", 0.0, "look_after"], [1.0, "", 0.0, "dry", None, 0.2]]
    if lots.random() < 0.3:
        return [*found, [2.0, "", 0.0, "stumble", lots.choice((1, 3))]]
    if lots.random() < 0.5:
        return [*found, [2.0, "", 0.0, "crashes", 6, 60.0]]
    for n in range(4):
        begin_s = 1000.0 + 2000.0 * n
        water = ["order", "water", {"bed": "hedge", "litres": 20.0}]
        found.append([begin_s, "", 0.0, *water])
        found.append([begin_s + 100.0, "", 0.0, "restart", "kill", 1.0])
    return found


def flicker(lots: random.Random, garden: str) -> list[Step]:
    """The link blinks while a valve that hears nothing is open; somebody waters the next bed."""
    del garden
    one, other = lots.sample(BEDS, 2)
    begin_s = lots.choice((5.0, 20.0, 40.0))
    return [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, "dry", None, 0.2],
        [2.0, "", 0.0, "order", "water", {"bed": one, "litres": 40.0}],
        [3.0, "opened", begin_s, "fault", "valve", one, "deaf", 0.0, 300.0],
        [3.0, "opened", begin_s + 1.0, "fault", "network", "", "down", 0.0, 15.0],
        [3.0, "opened", begin_s + 20.0, "order", "water", {"bed": other, "litres": 20.0}],
        [3.0, "opened", begin_s + 50.0, "order", "water", {"bed": other, "litres": 20.0}],
    ]


def short_night(lots: random.Random, garden: str) -> list[Step]:
    """Beds come to their line, and the clock is set past the hours while one drinks."""
    del garden
    return [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, "wall", "right", 0.0],
        [2.0, "", 0.0, "dry", None, 0.38],
        [600.0, "opened", lots.choice((60.0, 200.0)), "wall", "forward", 30_000.0],
        [20_000.0, "", 0.0, "wall", "right", 0.0],
    ]


def at_the_pipes(lots: random.Random, garden: str) -> list[Step]:
    """Somebody locks the garden, or pauses it; it thirsts meanwhile, and somebody else orders."""
    hold: list[Any] = ["order", "lock", {"why": "at the pipes"}]
    if lots.random() < 0.5:
        hold = ["order", "pause", {"ahead_s": 40_000.0}]
    return [
        [0.0, "", 0.0, "look_after"],
        [1.0, "", 0.0, "dry", None, 0.45],
        [2.0, lots.choice(("", "opened")), 100.0, *hold],
        [900.0, "", 0.0, *_trouble(lots, garden)],
        [3000.0, "", 0.0, "order", "water", {"bed": lots.choice(BEDS), "litres": 10.0}],
        [7000.0, "", 0.0, "order", "water", {"bed": lots.choice(BEDS), "litres": 10.0}],
    ]


def talk(lots: random.Random, garden: str) -> list[Step]:
    """People tell many things, and probes odd ones."""
    del garden
    found: list[Step] = [[0.0, "", 0.0, "look_after"]]
    for n in range(10):
        found.append([lots.choice((60.0, 700.0)) * n, "", 0.0, *_other_order(lots)])
    for how in lots.sample(BAD_READINGS, 3):
        probe = f"{lots.choice(BEDS)}-{lots.choice((20, 40))}"
        found.append([lots.uniform(0.0, 3000.0), "", 0.0, "told", probe, how])
    return found


def hosed(lots: random.Random, garden: str) -> list[Step]:
    """Somebody waters with a hose, announced or not, and answers what is asked."""
    del garden
    found: list[Step] = [
        [0.0, "", 0.0, "look_after"],
        [300.0, "", 0.0, "fault", "supply", "", "leak", lots.choice((2.0, 8.0)), 1800.0],
        [
            lots.choice((400.0, 900.0)),
            "",
            0.0,
            "order",
            "flow_answer",
            {"yes": lots.random() < 0.5},
        ],
        [
            500.0,
            lots.choice(("", "opened")),
            0.0,
            "order",
            "water",
            {"bed": "wall", "litres": 20.0},
        ],
        [2500.0, "", 0.0, "order", "hose_end", {}],
    ]
    if lots.random() < 0.6:
        found.append([200.0, "", 0.0, "order", "hose", {"open_s": lots.choice((600.0, 7200.0))}])
    return found


SCENES: tuple[Scene, ...] = (
    by_hand, by_hand, by_hand, by_hand, by_hand, thirst, thirst, thirst, calm, dry_pipe, wet_pipe,
    blind, walked, proved, falling, talk, hosed, flicker,
    at_the_pipes,
)  # fmt: skip
WITH_METER = ("meter", "all", "night", "scarce", "shared")
ALL = tuple(KINDS)
THEMES: tuple[tuple[str, tuple[str, ...], tuple[Scene, ...]], ...] = (
    ("mixed", ALL, SCENES),
    ("hands", ALL, (by_hand, flicker)),
    ("nagging", ALL, (nagging, calm)),
    ("greed", (*ALL, "slow", "slow"), (greed,)),
    ("dry pipe", WITH_METER, (dry_pipe,)),
    ("wet pipe", WITH_METER, (wet_pipe,)),
    ("thirst", ALL, (thirst, calm, at_the_pipes)),
    ("cold", ("all", "night", "scarce"), (cold,)),
    ("forgotten", ALL, (forgotten,)),
    ("blind", ALL, (blind,)),
    ("exchanged", ALL, (exchanged,)),
    ("nights", ("night",), (short_night, thirst, greed, calm)),
    ("talk", ALL, (talk,)),
    ("hosed", ("shared", "shared", "all"), (hosed,)),
    ("walked", WITH_METER, (walked,)),
    ("proved", ("all", "night"), (proved, calm)),
    ("falling", ALL, (falling,)),
    ("master", ("master", "all", "night"), (by_hand, wet_pipe)),
)
