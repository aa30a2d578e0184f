"""All probes dead for two weeks: does a garden still get about what it needs?

    python -m sim.blind_trials [--seeds N | --seeds A-B] [--sure] [--weather NAME ...]
        [--sky known|unknown|both] [--case NAME] [--counted F] [--out FILE] [--jobs J] [--json]

In each drawn world every probe falls silent for fourteen days, from a day and hour drawn from the
seed. With `known` the mast goes on; with `unknown` it is silent for the same days. What a bed then
took from the tap and from its store together (litres given, and by how much what it lacks of full
grew) is held against what `hindsight` took in the same world in the same days; the plan of
`hindsight` is of its whole season. Trials that stand in FILE are not run again.

`--counted` bends `controller.unseen_rain.COUNTED_FRAC`, the share of a bed's use that the books
count in the dark: what less water there costs.

Beside it stands what the same garden takes in those days with its probes and its mast: what is ours
and what is the blindness's.

A fortnight in which `hindsight` takes less than `LEAST_SHARE` of a bed's available water is too wet
for a ratio: it is counted, and only flood, alarm and yield are judged. Flood: more of the
irrigation than a smallest deep dose drains in those days and the two after. The alarm is
`bed_blind`. Targets are this project's own.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from functools import partial
from itertools import product
from pathlib import Path
from statistics import median
from typing import Any

from controller import unseen_rain
from controller.errors import ThirstlineError
from controller.garden import Garden
from controller.watering.policy import SMALLEST_DOSE_FRAC
from sim.bending import bent
from sim.examples import find_garden
from sim.faults import Fault, FaultScript, Kind, What
from sim.garden_world import midnight_utc_s
from sim.hindsight_bucket import Sight, look
from sim.kept_lines import KeptLines
from sim.policy_trials import CASES, STANDARD, WEATHER, cases_named, garden_of
from sim.replay import EngineReplay, run_policy
from sim.season_account import HourTruth
from sim.season_run import Replay, prepare
from sim.sureness import seeds_of
from sim.sweep_rows import code_digest
from sim.verdicts import Target, Verdict, as_markdown, as_values

DAY_S = 86_400.0
BLIND_S = 14.0 * DAY_S
CALLED_WITHIN_S = 3_600.0
AFTER_S = 2.0 * DAY_S  # drained water may come so much later than it was given
LEAST_SHARE = 0.25  # [-] of the available water; ours
SKIES = ("known", "unknown")
SEEDS = 4


def begin_utc_s(replay: Replay) -> float:
    """When the probes die [s, Unix]: any hour from which two weeks and two days still fit."""
    days = (replay.span.last - replay.span.first).days + 1
    lots = random.Random(f"{replay.seed}/blind/{replay.season.source}")
    day = lots.randrange(days - round((BLIND_S + AFTER_S) / DAY_S) - 1)
    first_s = midnight_utc_s(replay.garden, replay.span.first)
    return first_s + day * DAY_S + lots.randrange(24) * 3_600.0


def blindness(garden: Garden, from_s: float, sky: str) -> FaultScript:
    """Every probe silent for two weeks, with an unknown sky the masts too.

    Args:
        garden: whose.
        from_s: since the replay began [s].
        sky: `known` or `unknown`.
    """
    names = [(Kind.PROBE, name) for name in garden.probes]
    if sky == "unknown":
        names += [(Kind.WEATHER, name) for name in garden.weather]
    return FaultScript(
        faults=tuple(
            Fault(start_s=from_s, end_s=from_s + BLIND_S, kind=kind, name=name, what=What.SILENT)
            for kind, name in names
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Store:
    """The size of a bed's store at both ends of its fortnight [L]."""

    begin_l: float
    end_l: float


def taken_l(hours: Iterable[HourTruth], begin_s: float, store: Store) -> float:
    """What a bed took from tap and store together in its fortnight [L].

    Args:
        hours: of a season, by the world's truth.
        begin_s: of the fortnight, on a full hour [s, Unix].
        store: available water at both ends.
    """
    end_s = begin_s + BLIND_S
    inside = [hour for hour in hours if begin_s <= hour.at_utc_s <= end_s]
    given_l = sum(hour.irrigation_l for hour in inside[1:])
    lacks_l = inside[-1].depletion_frac * store.end_l - inside[0].depletion_frac * store.begin_l
    return given_l + lacks_l


def _litres(live: EngineReplay, bed: str, sight: Sight) -> float:
    return sight.taw_mm * live.world.truth.beds[bed].spec.strip_m2


def lived(
    garden: Garden,
    sure: bool,
    share: float,
    job: tuple[str, int, tuple[str, ...]],
    held_against: Garden | None = None,
) -> list[dict[str, Any]]:
    """One world under hindsight once, and blind under each sky that is asked for.

    Args:
        garden: of a case.
        sure: whether the world is as the file says.
        share: of a bed's use that its books count in the dark [0..1].
        job: season, seed, skies.
        held_against: the garden of `hindsight`, where another one's lines are to be compared.

    Returns:
        One trial a sky, as plain values.

    Raises:
        SeasonError: the season cannot be used.
    """
    weather, seed, skies = job
    replay = prepare(garden, weather, seed=seed, sure=sure)
    usual = replay if held_against is None else prepare(held_against, weather, seed=seed, sure=sure)
    best, sighted = run_policy(usual, "hindsight"), _sighted(replay)
    with bent(unseen_rain, "COUNTED_FRAC", share):
        trials = [
            {"weather": weather, "seed": seed, "sky": sky, **_blind(replay, sky, best.hours)}
            for sky in skies
        ]
    for trial in trials:
        for bed, one in trial["beds"].items():
            one |= sighted[bed]
    return trials


def _blind(replay: Replay, sky: str, best: Mapping[str, Sequence[HourTruth]]) -> dict[str, Any]:
    """A garden that is blind for a fortnight, beside what `hindsight` took in those days."""
    begin_s = begin_utc_s(replay)
    script = blindness(replay.garden, begin_s - replay.span.from_utc_s, sky)
    live = EngineReplay(replay.garden, replay.world(), replay.span, script)
    beds = _fortnight(live, begin_s)
    live.go(replay.span.to_utc_s)
    for bed, one in beds.items():
        store = one.pop("store")
        one["ours_l"] = round(taken_l(live.account.hours[bed], begin_s, store), 1)
        one["hindsight_l"] = round(taken_l(best[bed], begin_s, store), 1)
    return {
        "begin_utc_s": begin_s,
        "relative_yield": live.account.result()["relative_yield"],
        "beds": beds,
    }


def _sighted(replay: Replay) -> dict[str, dict[str, Any]]:
    """The same days of the same garden with its probes and its mast."""
    begin_s = begin_utc_s(replay)
    live = EngineReplay(replay.garden, replay.world(), replay.span)
    beds = _fortnight(live, begin_s)
    return {
        bed: {
            "sighted_l": round(taken_l(live.account.hours[bed], begin_s, one["store"]), 1),
            "sighted_drained_l": one["drained_l"],
        }
        for bed, one in beds.items()
    }


def _fortnight(live: EngineReplay, begin_s: float) -> dict[str, dict[str, Any]]:
    """Live through the fortnight and the days after it, and tell what it did to each bed."""
    truth = live.world.truth.beds
    live.go(begin_s)
    sizes = {bed: _litres(live, bed, look(one)) for bed, one in truth.items()}
    before_l = {bed: one.drained_l for bed, one in truth.items()}
    live.go(begin_s + CALLED_WITHIN_S)
    called = {alert.bed for alert in live.engine.state.alerts.values() if alert.code == "bed_blind"}
    live.go(begin_s + BLIND_S)
    stores = {
        bed: Store(begin_l=sizes[bed], end_l=_litres(live, bed, look(one)))
        for bed, one in truth.items()
    }
    live.go(begin_s + BLIND_S + AFTER_S)
    return {
        bed: {
            "store": stores[bed],
            "store_l": round(stores[bed].end_l, 1),
            "drained_l": round(one.drained_l - before_l[bed], 1),
            "called": bed in called or not live.garden.beds[bed].probes,
        }
        for bed, one in truth.items()
    }


def ratios(
    found: Sequence[Mapping[str, Any]], whose: str = "ours_l", to: str = "hindsight_l"
) -> list[float]:
    """One's water over another's, of the fortnights that are dry enough."""
    return [
        bed[whose] / bed[to]
        for one in found
        for bed in one["beds"].values()
        if bed["hindsight_l"] >= LEAST_SHARE * bed["store_l"] and bed[to] > 0.0
    ]


def _middle(found: Sequence[Mapping[str, Any]], whose: str, to: str) -> float:
    return median(ratios(found, whose, to) or [float("nan")])


def _outside(found: Sequence[Mapping[str, Any]]) -> float:
    return float(sum(not 0.6 <= ratio <= 1.5 for ratio in ratios(found)))


def floods(found: Sequence[Mapping[str, Any]], whose: str = "drained_l") -> float:
    """Bed-fortnights in which more drained than a smallest deep dose."""
    beds = [bed for one in found for bed in one["beds"].values()]
    return float(sum(bed[whose] > SMALLEST_DOSE_FRAC * bed["store_l"] for bed in beds))


def _uncalled(found: Sequence[Mapping[str, Any]]) -> float:
    return float(sum(not bed["called"] for one in found for bed in one["beds"].values()))


def _told_range(found: Sequence[Mapping[str, Any]]) -> tuple[float, float]:
    told = ratios(found)
    return (min(told), max(told)) if told else (float("nan"), float("nan"))


TARGETS: tuple[Target[Mapping[str, Any]], ...] = (
    Target(
        words="water to `hindsight`, median",
        of=lambda found: _middle(found, "ours_l", "hindsight_l"),
        least_value=0.8,
        most_value=1.2,
    ),
    Target(words="bed-fortnights outside 0.6 to 1.5", of=_outside, most_value=0.0),
    Target(words="floods", of=floods, most_value=0.0),
    Target(
        words="the same garden with its probes, to `hindsight`, median",
        of=lambda found: _middle(found, "sighted_l", "hindsight_l"),
    ),
    Target(
        words="blind to the same with its probes, median",
        of=lambda found: _middle(found, "ours_l", "sighted_l"),
    ),
    Target(words="floods with its probes", of=lambda found: floods(found, "sighted_drained_l")),
    Target(words="beds without an alarm after an hour", of=_uncalled, most_value=0.0),
    Target(
        words="relative yield of the season, lowest",
        of=lambda found: min(one["relative_yield"] for one in found),
        least_value=0.85,
    ),
)


def verdicts(found: Sequence[Mapping[str, Any]]) -> list[Verdict]:
    """Every target for each sky."""
    return [
        Verdict(
            case=sky,
            words=target.words,
            asked=target.asked,
            value=(value := target.of(mine)),
            holds=target.holds(value),
        )
        for sky in SKIES
        for mine in [[one for one in found if one["sky"] == sky]]
        if mine
        for target in TARGETS
    ]


def _notes(found: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """What the table leaves out, a line a sky."""
    for sky in SKIES:
        mine = [one for one in found if one["sky"] == sky]
        if mine:
            beds = sum(len(one["beds"]) for one in mine)
            low, high = _told_range(mine)
            yield (
                f"{sky}: {len(mine)} worlds, {beds} bed-fortnights, {beds - len(ratios(mine))} of"
                f" them too wet for a ratio; ratios from {low:.2f} to {high:.2f}"
            )


def _asked(argv: Sequence[str] | None) -> argparse.Namespace:
    ask = argparse.ArgumentParser(prog="python -m sim.blind_trials", description=__doc__)
    ask.formatter_class = argparse.RawDescriptionHelpFormatter
    ask.add_argument("--seeds", type=seeds_of, default=range(1, SEEDS + 1), help="N or A-B")
    ask.add_argument("--sure", action="store_true", help="worlds exactly as the files say")
    ask.add_argument("--weather", nargs="+", default=list(WEATHER))
    ask.add_argument("--sky", choices=(*SKIES, "both"), default="both")
    ask.add_argument(
        "--counted", type=float, default=unseen_rain.COUNTED_FRAC, help="share of use, 0 to 1"
    )
    ask.add_argument("--case", default=STANDARD.name, help=", ".join(one.name for one in CASES))
    ask.add_argument("--out", type=Path, help="a file: trials that stand in it are not run again")
    ask.add_argument("--jobs", type=int, default=1, help="processes")
    ask.add_argument("--json", action="store_true", help="one JSON document, nothing else")
    return ask.parse_args(argv)


def _key(weather: str, seed: int, sky: str) -> str:
    return f"{weather}/{seed}/{sky}"


def run_all(asked: argparse.Namespace) -> list[dict[str, Any]]:
    """Run all trials that are asked for and not kept yet.

    Raises:
        ThirstlineError: a case is unknown, the file is another's, or a season cannot be used.
    """
    (case,) = cases_named([asked.case])
    document = tomllib.loads(find_garden("hollin-lane").read_text(encoding="utf-8"))
    skies = SKIES if asked.sky == "both" else (asked.sky,)
    of = {
        "trials": "blind",
        "case": case.name,
        "sure": str(asked.sure),
        "counted": f"{asked.counted:g}",
        "program": code_digest(),
    }
    kept = KeptLines(asked.out, of)
    worlds = list(product(asked.weather, [1] if asked.sure else asked.seeds))
    missing = [
        (weather, seed, tuple(sky for sky in skies if _key(weather, seed, sky) not in kept.kept))
        for weather, seed in worlds
    ]
    one = partial(lived, garden_of(case, document), asked.sure, asked.counted)
    for trials in _spread(one, [job for job in missing if job[2]], asked.jobs):
        for trial in trials:
            kept.add(_key(trial["weather"], trial["seed"], trial["sky"]), trial)
        sys.stderr.write(f"\r{len(kept.kept)} of {len(worlds) * len(skies)} trials")
    sys.stderr.write("\n")
    keys = [_key(weather, seed, sky) for weather, seed in worlds for sky in skies]
    return [kept.kept[key] for key in keys]


def _spread(
    one: partial[list[dict[str, Any]]],
    jobs: Sequence[tuple[str, int, tuple[str, ...]]],
    at_once: int,
) -> Iterator[list[dict[str, Any]]]:
    """The trials of each job as they end."""
    if at_once == 1:
        yield from map(one, jobs)
        return
    with ProcessPoolExecutor(max_workers=at_once) as pool:
        for ended in as_completed([pool.submit(one, job) for job in jobs]):
            yield ended.result()


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
        told = as_values(judged, "sky")
        sys.stdout.write(json.dumps({"trials": found, "verdicts": told}) + "\n")
        return 0
    sys.stdout.write(as_markdown(judged) + "\n\n" + "\n".join(_notes(found)) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
