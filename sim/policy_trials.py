"""How well the policy does what it promises, on six gardens, in many seasons: a table of verdicts.

    python -m sim.policy_trials [--sure | --seeds N|A-B [--in-turn] | --fixed]
        [--weather NAME ...] [--case NAME ...] [--out FILE] [--jobs J] [--json]

The gardens are Hollin Lane with the soil and the wetted width of every bed replaced (`CASES`); the
emitters are scaled so that a refill takes as long as on loam at 0.8 m, and one case has hours that
are too short for its beds. Each is lived with and against the rivals (`POLICIES`). Without `--sure`
the worlds are drawn, from seeds 1 to N or A to B, each in every season, or with `--in-turn` each in
the one whose turn it is. `--fixed` lives `FIXED` alone, 24 runs, sure and drawn; a file of each
kind is kept, with `-sure` or `-drawn` in its name. Runs that stand in FILE are not run again.

A bed-season is one bed in one run. Ratios are to the same bed under a rival in the same world; the
table gives the median over bed-seasons. *Ending as wet* takes from our litres what our bed holds
more at the last dawn than that of `hindsight`, of the available water by the garden file. Lines
without a target are told beside. The targets are this project's own.
"""

from __future__ import annotations

import argparse
import copy
import json
import sys
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from statistics import median
from typing import Any

from controller.errors import ThirstlineError
from controller.garden import Garden
from sim.examples import find_garden
from sim.sureness import seeds_of
from sim.sweep import Sweep
from sim.sweep_rows import BedRow, Row
from sim.sweep_vary import Setting
from sim.trial_runs import Runs
from sim.verdicts import Target, Verdict, as_markdown, as_values

WEATHER = ("seattle-2014", "seattle-2015", "hesse-2015", "ewr-2013")
POLICIES = ("thirstline", "daily-clock", "keep-moist", "hindsight")
SHORT_HOURS = "01:00-04:30"
FIXED = (  # case, season, seed; None for a sure world
    ("loam 0.8 m", "seattle-2015", None),
    ("sandy loam 0.8 m", "ewr-2013", None),
    ("loam 0.6 m", "hesse-2015", 1),
    ("loam 1.2 m", "seattle-2014", 2),
    ("silt loam 0.8 m", "ewr-2013", 3),
    ("short night", "seattle-2015", 4),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One garden of the trials."""

    name: str
    soil: str
    wetted_width_m: float
    hours: str | None = None


CASES = (
    Case(name="loam 0.6 m", soil="loam", wetted_width_m=0.6),
    Case(name="loam 0.8 m", soil="loam", wetted_width_m=0.8),
    Case(name="loam 1.2 m", soil="loam", wetted_width_m=1.2),
    Case(name="silt loam 0.8 m", soil="silt loam", wetted_width_m=0.8),
    Case(name="sandy loam 0.8 m", soil="sandy loam", wetted_width_m=0.8),
    Case(name="short night", soil="loam", wetted_width_m=0.8, hours=SHORT_HOURS),
)
BY_NAME = (*CASES, Case(name="sand 0.8 m", soil="sand", wetted_width_m=0.8))  # only where asked for
STANDARD = CASES[1]


def garden_of(case: Case, document: Mapping[str, Any]) -> Garden:
    """Hollin Lane on another soil and width, a refill as long as on loam at 0.8 m.

    Args:
        case: which.
        document: the garden file's own tables.

    Returns:
        The garden, checked like any file.
    """
    usual = _told(document, STANDARD)
    wanted = _told(document, case)
    before, after = Garden.model_validate(usual), Garden.model_validate(wanted)
    for name, bed in wanted["beds"].items():
        holds = [one.beds[name].taw_mm * one.beds[name].wetted_area_m2 for one in (before, after)]
        bed["emitter_l_h"] = round(bed["emitter_l_h"] * holds[1] / holds[0], 4)
    return Garden.model_validate(wanted)


def _told(document: Mapping[str, Any], case: Case) -> dict[str, Any]:
    data = copy.deepcopy(dict(document))
    if case.hours is not None:
        data["garden"]["hours"] = case.hours
    for bed in data["beds"].values():
        bed.pop("field_capacity_m3_m3", None)
        bed.pop("wilting_point_m3_m3", None)
        bed["soil"], bed["wetted_width_m"] = case.soil, case.wetted_width_m
        bed["width_m"] = max(bed["width_m"], case.wetted_width_m)  # no strip is wider than its row
    return data


Worlds = Mapping[tuple[str, str, int], Mapping[str, Row]]


def worlds_of(rows: Iterable[Row]) -> Worlds:
    """Rows by world (setting, season, seed) and policy; only worlds that all policies lived in."""
    found: dict[tuple[str, str, int], dict[str, Row]] = {}
    for row in rows:
        found.setdefault((row.setting, row.season, row.seed), {})[row.policy] = row
    return {world: runs for world, runs in found.items() if runs.keys() >= set(POLICIES)}


@dataclass(frozen=True, slots=True, kw_only=True)
class BedSeason:
    """One bed in one world, under the tool and under each rival; `store_l` is all that it holds."""

    ours: BedRow
    rivals: Mapping[str, BedRow]
    store_l: float

    def ratio(self, rival: str, of: Callable[[BedRow], float]) -> float:
        """Ours over a rival's; infinite where the rival has none and we do."""
        theirs, own = of(self.rivals[rival]), of(self.ours)
        if theirs > 0.0:
            return own / theirs
        return float("inf") if own > 0.0 else 1.0


@cache
def _stores_l(case: str) -> dict[str, float]:
    """Available water of each bed of a case's garden, roots full grown [L]."""
    garden = garden_of(next(cases_named([case])), _document())
    return {name: bed.taw_mm * bed.wetted_area_m2 for name, bed in garden.beds.items()}


def _document() -> dict[str, Any]:
    return tomllib.loads(find_garden("hollin-lane").read_text(encoding="utf-8"))


def bed_seasons(worlds: Worlds) -> list[BedSeason]:
    """Every bed of every world."""
    found = []
    for (case, _, _), runs in worlds.items():
        beds = {policy: dict(row.beds) for policy, row in runs.items()}
        for name, ours in beds["thirstline"].items():
            rivals = {policy: rows[name] for policy, rows in beds.items() if policy != "thirstline"}
            found.append(BedSeason(ours=ours, rivals=rivals, store_l=_stores_l(case)[name]))
    return found


def _litres(bed: BedRow) -> float:
    return bed.litres


def _waterings(bed: BedRow) -> float:
    return bed.waterings


def _ratio(rival: str, of: Callable[[BedRow], float]) -> Callable[[Sequence[BedSeason]], float]:
    return lambda found: median(one.ratio(rival, of) for one in found)


def _ending_as_wet(found: Sequence[BedSeason]) -> float:
    """Litres to hindsight, had our bed ended as dry as its."""
    ratios = []
    for one in found:
        best = one.rivals["hindsight"]
        ends = (one.ours.last_dawn_depletion_frac, best.last_dawn_depletion_frac)
        if best.litres > 0.0 and ends[0] is not None and ends[1] is not None:
            ratios.append((one.ours.litres - (ends[1] - ends[0]) * one.store_l) / best.litres)
    return median(ratios) if ratios else float("nan")


def _best_yield(found: Sequence[BedSeason]) -> float:
    return median(one.rivals["hindsight"].relative_yield_frac for one in found)


def _best_past(found: Sequence[BedSeason]) -> float:
    return sum(one.rivals["hindsight"].dawns_past_floor > 0 for one in found) / len(found)


def _any_past(found: Sequence[BedSeason]) -> float:
    return sum(one.ours.dawns_past_floor > 0 for one in found) / len(found)


def _worst_past(found: Sequence[BedSeason]) -> float:
    return max(one.ours.worst_past_floor_frac for one in found)


def _most_far(found: Sequence[BedSeason]) -> float:
    return max(one.ours.dawns_far_past_floor for one in found)


def _sudden(found: Sequence[BedSeason]) -> float:
    return sum(one.ours.sudden_rewettings for one in found)


def _drained(found: Sequence[BedSeason]) -> float:
    litres = sum(one.ours.litres for one in found)
    return sum(one.ours.drained_l for one in found) / litres if litres > 0.0 else 0.0


def _yield(found: Sequence[BedSeason]) -> float:
    return median(one.ours.relative_yield_frac for one in found)


def _between(found: Sequence[BedSeason]) -> float:
    told = [one.ours.summer_days_between_d for one in found]
    spans = [days for days in told if days is not None]
    return median(spans) if spans else float("nan")


TARGETS: tuple[Target[BedSeason], ...] = (
    Target(
        words="bed-seasons with a dawn past the floor", of=_any_past, most_value=0.05, sure=True
    ),
    Target(words="furthest past the floor", of=_worst_past, most_value=0.05, sure=True),
    Target(
        words="bed-seasons with a dawn past the floor", of=_any_past, most_value=0.15, sure=False
    ),
    Target(words="most dawns 0.05 past the floor", of=_most_far, most_value=2.0, sure=False),
    Target(
        words="litres to `hindsight`", of=_ratio("hindsight", _litres), most_value=1.10, sure=True
    ),
    Target(
        words="litres to `hindsight`", of=_ratio("hindsight", _litres), most_value=1.15, sure=False
    ),
    Target(words="the same, ending as wet", of=_ending_as_wet),
    Target(words="`hindsight`: bed-seasons past the floor", of=_best_past),
    Target(words="`hindsight`: relative yield", of=_best_yield),
    Target(words="litres to `daily-clock`", of=_ratio("daily-clock", _litres), most_value=0.85),
    Target(words="litres to `keep-moist`", of=_ratio("keep-moist", _litres), most_value=1.00),
    Target(words="waterings to `keep-moist`", of=_ratio("keep-moist", _waterings), most_value=0.65),
    Target(words="drained share of irrigation", of=_drained, most_value=0.05, sure=True),
    Target(words="relative yield", of=_yield, least_value=0.97),
    Target(words="sudden rewettings", of=_sudden, most_value=0.0),
    Target(
        words="days between waterings, July and August",
        of=_between,
        least_value=3.0,
        most_value=5.0,
        standard_only=True,
    ),
)


def verdicts(worlds: Worlds, *, sure: bool) -> list[Verdict]:
    """Every target for all cases together, then for each case.

    Args:
        worlds: what was lived through.
        sure: whether the worlds were exactly as the garden files say.
    """
    groups: dict[str, Worlds] = {"all": worlds}
    for key, runs in worlds.items():
        groups[key[0]] = {**groups.get(key[0], {}), key: runs}
    return [
        Verdict(
            case=case,
            words=target.words,
            asked=target.asked,
            value=(value := target.of(found)),
            holds=target.holds(value),
        )
        for case, group in groups.items()
        for found in [bed_seasons(group)]
        for target in TARGETS
        if target.sure in {None, sure}
        and found
        and not (target.standard_only and case != STANDARD.name)
    ]


def _asked(argv: Sequence[str] | None) -> argparse.Namespace:
    ask = argparse.ArgumentParser(prog="python -m sim.policy_trials", description=__doc__)
    ask.formatter_class = argparse.RawDescriptionHelpFormatter
    ask.add_argument("--sure", action="store_true", help="worlds exactly as the files say")
    ask.add_argument("--fixed", action="store_true", help="the 24 runs of the tests")
    ask.add_argument("--seeds", type=seeds_of, default=range(1, 21), help="of drawn worlds")
    ask.add_argument("--in-turn", action="store_true", help="each seed in one of the seasons")
    ask.add_argument("--weather", nargs="+", default=list(WEATHER))
    ask.add_argument("--case", nargs="+", default=[one.name for one in CASES])
    ask.add_argument("--out", type=Path, help="a CSV file: runs that stand in it are not run again")
    ask.add_argument("--jobs", type=int, default=None, help="processes; else one a core")
    ask.add_argument("--json", action="store_true", help="one JSON document, nothing else")
    return ask.parse_args(argv)


def cases_named(names: Iterable[str]) -> Iterator[Case]:
    """The cases of some names.

    Raises:
        ThirstlineError: there is no such case.
    """
    known = {case.name: case for case in BY_NAME}
    for name in names:
        if name not in known:
            msg = f"--case: found {name[:40]!r}, known are {', '.join(known)}"
            raise ThirstlineError(msg)
        yield known[name]


def planned(asked: argparse.Namespace) -> dict[bool, list[Sweep]]:
    """What is to be run, by whether the worlds are sure.

    Raises:
        ThirstlineError: there is no such case.
    """
    if not asked.fixed:
        seeds = (1,) if asked.sure else tuple(asked.seeds)
        seasons = asked.weather
        lots = [(seasons, seeds)]
        if asked.in_turn:
            lots = [([one], seeds[turn :: len(seasons)]) for turn, one in enumerate(seasons)]
        return {asked.sure: [_sweep(asked.case, *lot, sure=asked.sure) for lot in lots if lot[1]]}
    found: dict[bool, list[Sweep]] = {True: [], False: []}
    for case, weather, seed in FIXED:
        found[seed is None].append(_sweep([case], [weather], (seed or 1,), sure=seed is None))
    return found


def _sweep(
    cases: Iterable[str], weather: Iterable[str], seeds: tuple[int, ...], *, sure: bool
) -> Sweep:
    document = _document()
    return Sweep(
        settings=tuple(
            Setting(words=case.name, garden=garden_of(case, document))
            for case in cases_named(cases)
        ),
        seasons=tuple(weather),
        seeds=seeds,
        policies=POLICIES,
        sure=sure,
    )


def lived(asked: argparse.Namespace) -> dict[bool, list[Row]]:
    """Run all that is asked for and does not stand in the file yet; by kind of world."""
    sweeps = planned(asked)
    rows: dict[bool, list[Row]] = {}
    for sure, some in sweeps.items():
        out = asked.out
        if out is not None and len(sweeps) > 1:
            out = out.with_stem(f"{out.stem}-{_kind(sure)}")
        runs = Runs(out=out, jobs=asked.jobs)
        rows[sure] = runs.of(Garden.model_validate(_document()), some)
    return rows


def _kind(sure: bool) -> str:
    return "sure" if sure else "drawn"


def _as_json(worlds: Worlds, found: Iterable[Verdict], *, sure: bool) -> dict[str, Any]:
    return {"sure": sure, "worlds": len(worlds), "verdicts": as_values(found, "case")}


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trials and print the table.

    Args:
        argv: the words after the command; the process's own where None.

    Returns:
        0, or 2 for wrong use.
    """
    asked = _asked(argv)
    try:
        kinds = {sure: worlds_of(rows) for sure, rows in lived(asked).items()}
    except ThirstlineError as exc:
        sys.stderr.write(f"{exc}\n")
        return 2
    judged = {sure: verdicts(worlds, sure=sure) for sure, worlds in kinds.items()}
    if asked.json:
        told = [_as_json(kinds[sure], found, sure=sure) for sure, found in judged.items()]
        sys.stdout.write(json.dumps(told if asked.fixed else told[0]) + "\n")
        return 0
    for sure, found in judged.items():
        worlds = kinds[sure]
        counted = f"{len(worlds)} {_kind(sure)} worlds, {len(bed_seasons(worlds))} bed-seasons"
        sys.stdout.write(f"{counted}\n\n{as_markdown(found)}\n\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
