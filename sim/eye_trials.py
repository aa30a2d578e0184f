"""Do ten looks in the morning right a bed whose thirst is modelled wrongly?

    python -m sim.eye_trials [--seeds N | --seeds A-B] [--weather NAME ...] [--case NAME]
        [--mornings worth|on-end] [--out FILE] [--jobs J] [--json]

Worlds are as the file says but for the plants. `sooner` and `later`: their leaves begin to close
20 % of the line before or after what they would, and the probes are sound. `more` and `less`: they
use 20 % more or less than the controller's balance thinks, and there are no probes, so that nothing
tells it so and the books drift apart until rain fills the bed. From a day drawn from the seed,
between mid June and mid July, somebody looks at the leaves an hour after sunrise and tells honestly
what the plants of the world look like, ten times at each bed: on the mornings on which the page
calls it worth a look (`worth`), or on ten on end, whatever they can tell (`on-end`).

Beside it lives the same garden without looks. The place where a line should be is where the bed's
plants first roll, less what the eye allows for nobody seeing its first hour (`ROLLED_BEYOND_FRAC`),
in the balance's own depletion: *error* is how far a bed's line is from there on the mornings of the
ten days after its tenth look, of those on which both believe the bed at least `DRY_FRAC` used;
the median of each bed, then of all. So it counts whether the line was wrong or the books were. Beds
that were not looked at ten times by the end of August tell nothing.

And ten looks at random (any of the three answers alike) in the same garden with its probes and
plants as told: how far the line moves, what becomes of the floor, and litres to the same without
looks. Trials that stand in FILE are not run again. Targets are this project's own.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import sys
import tomllib
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from datetime import date, timedelta
from functools import partial
from itertools import product
from pathlib import Path
from statistics import median
from typing import Any

from controller.agronomy.sun import sun_times_utc_s
from controller.errors import ThirstlineError
from controller.events import Order, OrderKind
from controller.garden import Garden
from controller.watering.eye import (
    ROLLED_BEYOND_FRAC,
    SHIFT_MOST_FRAC,
    is_worth,
    line_frac,
    shift_frac,
)
from sim.bed_truth import BedTruth
from sim.examples import find_garden
from sim.kept_lines import KeptLines
from sim.plant import ROLLED_BELOW, WILTING_TENSION_KPA
from sim.policy_trials import CASES, cases_named, garden_of
from sim.replay import GRID_S, EngineReplay
from sim.season_run import prepare
from sim.sureness import seeds_of, with_probes
from sim.sweep_rows import code_digest
from sim.verdicts import Target, Verdict, as_markdown, as_values

BIAS_FRAC = 0.20
LOOKS = 10
AFTER_D = 10
DRY_FRAC = 0.20  # believed depletion from which a morning tells where the line should be; ours
FIRST_MONTH_DAY, DAYS_DRAWN = (6, 15), 30
LAST_MONTH_DAY = (8, 31)
LOOKED_AFTER_S = 3600.0  # after sunrise
WEATHER = ("seattle-2015", "ewr-2013")
CASE = "loam 1.2 m"  # a bed that comes to its line: narrow strips drink for their floor before
SEEDS = 4
MORNINGS = ("worth", "on-end")
LINE_FRAC = 0.40  # of the setting stage: what a fifth of it is
KINDS = ("sooner", "later", "more", "less", "random")
FAR_FRAC = 0.05

Trial = Mapping[str, Any]


def onset_frac(truth: BedTruth) -> float:
    """The true depletion at which a bed's plants first roll today [of the available water]."""
    closing_kpa = truth.closing_kpa()
    rolled_kpa = WILTING_TENSION_KPA * (closing_kpa / WILTING_TENSION_KPA) ** ROLLED_BELOW
    full = truth.soil_kind.field_capacity_m3_m3
    return (full - truth.soil.curve.theta_m3_m3(rolled_kpa)) / truth.available_m3_m3


def _mornings(garden: Garden, first: date, days: int) -> list[float]:
    """An hour after each sunrise, on the grid [s, Unix]."""
    found = []
    for n in range(days):
        sun = sun_times_utc_s(garden.garden.latitude, garden.garden.longitude, first + timedelta(n))
        if sun is not None:
            found.append(math.ceil((sun[0] + LOOKED_AFTER_S) / GRID_S) * GRID_S)
    return found


def _look(live: EngineReplay, bed: str, leaves: int) -> None:
    """Tell the engine what was seen, as a person would."""
    at_utc_s = live.at_utc_s
    live.hands.step(
        Order(
            at_utc_s=at_utc_s,
            mono_s=live.now_s,
            order=f"look-{bed}-{at_utc_s:.0f}",
            what=OrderKind.LOOK,
            who="trial",
            bed=bed,
            leaves=leaves,
            when="morning",
        )
    )


def _line_frac(live: EngineReplay, bed: str) -> float:
    """Where the bed's line stands now, with what its looks taught."""
    day = live.engine.run.days[bed]
    return line_frac(live.engine.state.beds[bed].eye, day.line_frac, day.floor_frac)


def _believed_frac(live: EngineReplay, bed: str) -> float:
    run = live.engine.run
    return run.state.water[bed].depletion_mm / run.days[bed].taw_mm


def _beyond_frac(live: EngineReplay, bed: str) -> float | None:
    """How far a bed's line lies past where it should; None where the bed is too wet to tell."""
    truth, believed_frac = live.world.truth.beds[bed], _believed_frac(live, bed)
    if believed_frac < DRY_FRAC:
        return None
    wanted = believed_frac + onset_frac(truth) - ROLLED_BEYOND_FRAC - truth.depletion_frac
    return _line_frac(live, bed) - wanted


class _Looked:
    """One bed's looks, and what its line was off on the mornings after them."""

    def __init__(self) -> None:
        self.looks, self.mornings = 0, 0
        self.off_frac: tuple[list[float], list[float]] = ([], [])  # with looks, without

    def morning(self, live: EngineReplay, plain: EngineReplay, bed: str) -> None:
        """After the tenth look: hold both gardens' lines against the truth."""
        self.mornings += 1
        pair = [_beyond_frac(garden, bed) for garden in (live, plain)]
        for one, found in zip(pair, self.off_frac, strict=True):
            found += [one] if one is not None and None not in pair else []


def lived(garden: Garden, mornings: str, job: tuple[str, int, str]) -> dict[str, Any]:
    """One summer with ten looks at every bed, and the same without.

    Args:
        garden: of a case, with its probes.
        mornings: on which is looked, one of `MORNINGS`.
        job: season, seed, and one of `KINDS`.

    Returns:
        The trial, as plain values.

    Raises:
        SeasonError: the season cannot be used.
    """
    weather, seed, kind = job
    lots = random.Random(f"{seed}/eye/{weather}")
    live, plain = _begun(garden, weather, kind), _begun(garden, weather, kind)
    year = _last(live).year
    first = date(year, *FIRST_MONTH_DAY) + timedelta(days=lots.randrange(DAYS_DRAWN))
    told = {bed: _Looked() for bed in live.garden.beds}
    for at_utc_s in _mornings(live.garden, first, (_last(live) - first).days):
        if all(one.mornings == AFTER_D for one in told.values()):
            break
        live.go(at_utc_s)
        plain.go(at_utc_s)
        for bed, one in told.items():
            if one.looks == LOOKS:
                if one.mornings < AFTER_D:
                    one.morning(live, plain, bed)
            elif mornings == "on-end" or is_worth(_believed_frac(live, bed), _line_frac(live, bed)):
                seen = live.world.truth.posture(bed) if kind != "random" else lots.randrange(3)
                _look(live, bed, seen)
                one.looks += 1
    shifts = {bed: shift_frac(live.engine.state.beds[bed].eye) for bed in told}
    return {
        "weather": weather,
        "seed": seed,
        "kind": kind,
        "beds": {
            bed: {
                "shift_frac": round(shifts[bed], 4),
                "beyond_frac": [
                    round(median(off), 4) if off and one.mornings == AFTER_D else None
                    for off in one.off_frac
                ],
            }
            for bed, one in told.items()
        },
        **(_ended(live, plain, weather) if kind == "random" else {}),
    }


def _begun(garden: Garden, weather: str, kind: str) -> EngineReplay:
    """The garden at its transplanting, its plants as thirsty as the kind says."""
    told = with_probes(garden, "none") if kind in {"more", "less"} else garden
    year = prepare(told, weather, sure=True).span.first.year
    replay = prepare(told, weather, sure=True, last=date(year, *LAST_MONTH_DAY))
    world = replay.world()
    uses = {"more": BIAS_FRAC, "less": -BIAS_FRAC}.get(kind, 0.0)
    closes = {"sooner": -BIAS_FRAC, "later": BIAS_FRAC}.get(kind, 0.0)
    for truth in world.truth.beds.values():
        truth.plant.kc_factor *= 1.0 + uses
        truth.plant.p_offset_frac += closes * LINE_FRAC
    return EngineReplay(replay.garden, world, replay.span)


def _ended(live: EngineReplay, plain: EngineReplay, weather: str) -> dict[str, Any]:
    """What became of a garden that was looked at at random, and of the same without looks."""
    end_utc_s = prepare(live.garden, weather, sure=True, last=_last(live)).span.to_utc_s
    for one in (live, plain):
        one.go(end_utc_s)
    past = [
        dawn.depletion_frac - dawn.floor_frac
        for dawns in live.account.dawns.values()
        for dawn in dawns
    ]
    litres = [sum(one.world.truth.litres(bed) for bed in one.garden.beds) for one in (live, plain)]
    return {
        "past_floor_frac": round(max(0.0, *past), 4),
        "litres_to_plain": round(litres[0] / litres[1], 4),
        "relative_yield": live.account.result()["relative_yield"],
    }


def _last(live: EngineReplay) -> date:
    return date(next(iter(live.garden.beds.values())).transplanted.year, *LAST_MONTH_DAY)


def errors(found: Sequence[Trial], *, learned: bool) -> list[float]:
    """How far each bed's line is from where it should be, in the garden with looks or without."""
    pairs = [bed["beyond_frac"] for one in found for bed in one["beds"].values()]
    return [abs(pair[0 if learned else 1]) for pair in pairs if None not in pair]


def _halved(found: Sequence[Trial]) -> float:
    before, after = errors(found, learned=False), errors(found, learned=True)
    if not (before and median(before) > 0.0):
        return math.nan
    return float(median(after) / median(before))


def _most_shift(found: Sequence[Trial]) -> float:
    return max(abs(float(bed["shift_frac"])) for one in found for bed in one["beds"].values())


HONEST: tuple[Target[Trial], ...] = (
    Target(
        words="median error without looks",
        of=lambda found: median(errors(found, learned=False) or [math.nan]),
    ),
    Target(
        words="median error with ten",
        of=lambda found: median(errors(found, learned=True) or [math.nan]),
    ),
    Target(words="with over without", of=_halved, most_value=0.5),
    Target(words="beds that tell", of=lambda found: len(errors(found, learned=True))),
)
RANDOM: tuple[Target[Trial], ...] = (
    Target(words="furthest that a line moved", of=_most_shift, most_value=SHIFT_MOST_FRAC),
    Target(
        words="furthest past the floor",
        of=lambda found: max(one["past_floor_frac"] for one in found),
        most_value=FAR_FRAC,
    ),
    Target(
        words="litres to the same without looks",
        of=lambda found: median(one["litres_to_plain"] for one in found),
    ),
    Target(
        words="relative yield, lowest",
        of=lambda found: min(one["relative_yield"] for one in found),
        least_value=0.97,
    ),
)


def verdicts(found: Sequence[Trial]) -> list[Verdict]:
    """Every target: plants that use more or less than modelled, and looks at random."""
    return [
        Verdict(
            case=kind,
            words=target.words,
            asked=target.asked,
            value=(value := target.of(mine)),
            holds=target.holds(value),
        )
        for kind in KINDS
        for mine in [[one for one in found if one["kind"] == kind]]
        if mine
        for target in (RANDOM if kind == "random" else HONEST)
    ]


def _asked(argv: Sequence[str] | None) -> argparse.Namespace:
    ask = argparse.ArgumentParser(prog="python -m sim.eye_trials", description=__doc__)
    ask.formatter_class = argparse.RawDescriptionHelpFormatter
    ask.add_argument("--seeds", type=seeds_of, default=range(1, SEEDS + 1), help="N or A-B")
    ask.add_argument("--weather", nargs="+", default=list(WEATHER))
    ask.add_argument("--case", default=CASE, help=", ".join(one.name for one in CASES))
    ask.add_argument("--mornings", choices=MORNINGS, default=MORNINGS[0], help="of the looks")
    ask.add_argument("--out", type=Path, help="a file: trials that stand in it are not run again")
    ask.add_argument("--jobs", type=int, default=1, help="processes")
    ask.add_argument("--json", action="store_true", help="one JSON document, nothing else")
    return ask.parse_args(argv)


def run_all(asked: argparse.Namespace) -> list[Trial]:
    """Run all trials that are asked for and not kept yet.

    Raises:
        ThirstlineError: a case is unknown, the file is another's, or a season cannot be used.
    """
    (case,) = cases_named([asked.case])
    document = tomllib.loads(find_garden("hollin-lane").read_text(encoding="utf-8"))
    made = {"trials": "eye", "case": case.name, "mornings": asked.mornings}
    kept = KeptLines(asked.out, {**made, "program": code_digest()})
    jobs = list(product(asked.weather, asked.seeds, KINDS))
    keys = ["/".join(map(str, job)) for job in jobs]
    missing = [job for job, key in zip(jobs, keys, strict=True) if key not in kept.kept]
    one = partial(lived, garden_of(case, document), asked.mornings)
    with ProcessPoolExecutor(max_workers=asked.jobs) as pool:
        for ended in as_completed([pool.submit(one, job) for job in missing]):
            trial = ended.result()
            kept.add(f"{trial['weather']}/{trial['seed']}/{trial['kind']}", trial)
            sys.stderr.write(f"\r{len(kept.kept)} of {len(jobs)} trials")
    sys.stderr.write("\n")
    return [kept.kept[key] for key in keys]


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trials and print the table.

    Args:
        argv: the words after the command; the process's own where None.

    Returns:
        0, or 2 for wrong use.
    """
    asked = _asked(argv)
    try:
        found = run_all(asked)
    except ThirstlineError as exc:
        sys.stderr.write(f"{exc}\n")
        return 2
    judged = verdicts(found)
    if asked.json:
        told = as_values(judged, "kind")
        sys.stdout.write(json.dumps({"trials": found, "verdicts": told}) + "\n")
        return 0
    sys.stdout.write(as_markdown(judged) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
