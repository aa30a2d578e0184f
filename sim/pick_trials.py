"""What knowing a pick beforehand spares: litres in the three days before it, told and untold.

    python -m sim.pick_trials [--sure | --seeds N] [--weather NAME ...] [--case NAME ...] [--json]

Each garden of `sim.policy_trials` is lived twice in the same world, once with its picks marked a
week before and once without. Every bed is picked every `EVERY_D` days from late July on, the beds
on different days. A pick counts as *slow* where its bed would take more than `SLOW_D` days from
full to its floor at the use of the week before (in the untold run); the target of 80 % less is for
those, the others are reported beside. Counted as well: dawns past the floor, litres of the whole
season and relative yield, since dryness before a pick is no gain if the bed is harmed by it. A
second table sorts all picks by how long their bed would take, as the nearer that is to the days in
which it is to get nothing, the less can be spared.
"""

from __future__ import annotations

import argparse
import json
import sys
import tomllib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from controller.errors import ThirstlineError
from controller.garden import Garden
from controller.watering.policy import REFILL_TO_FRAC
from sim.examples import find_garden
from sim.garden_world import midnight_utc_s
from sim.policy_trials import CASES, WEATHER, Case, cases_named, garden_of
from sim.replay import run_policy
from sim.season_account import HourTruth, late_windows, litres_within
from sim.season_run import Picks, PolicyRun, Replay, prepare

FIRST, LAST = (7, 20), (9, 10)  # month and day
EVERY_D = 9
SLOW_D = 4.0
WEEK_S = 7.0 * 86_400.0
TARGET_LESS = 0.80
DAYS_EDGES = (0.0, 3.0, 4.0, 4.5, 5.0, 6.0, float("inf"))  # classes of days from full to floor


@dataclass(frozen=True, slots=True, kw_only=True)
class Late:
    """One pick of one bed, in the same world untold and told.

    Attributes:
        full_to_floor_d: days that the bed would take at its use of the week before.
        untold_l: litres in the three days before, where the controller knew nothing.
        told_l: the same where it knew.
    """

    case: str
    bed: str
    on: date
    full_to_floor_d: float
    untold_l: float
    told_l: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Whole:
    """One season, untold and told."""

    case: str
    past_floor: tuple[int, int]
    litres: tuple[float, float]
    yield_frac: tuple[float, float]


def _document() -> dict[str, Any]:
    """Hollin Lane's own tables."""
    return tomllib.loads(find_garden("hollin-lane").read_text(encoding="utf-8"))


def picks_of(garden: Garden) -> Picks:
    """Picks every `EVERY_D` days, each bed's a day or two after the one before it."""
    year = next(iter(garden.beds.values())).transplanted.year
    first, last = date(year, *FIRST), date(year, *LAST)
    found: dict[str, tuple[date, ...]] = {}
    for place, bed in enumerate(garden.beds):
        begin = first + timedelta(days=2 * place)
        count = (last - begin).days // EVERY_D + 1
        found[bed] = tuple(begin + timedelta(days=EVERY_D * n) for n in range(count))
    return found


def full_to_floor_d(hours: Iterable[HourTruth], floor_frac: float, until_s: float) -> float:
    """Days from full to the floor at the true use of the week before an instant.

    Args:
        hours: of the bed; those with rain or water are left out.
        floor_frac: the floor [0..1].
        until_s: the instant [s, Unix].

    Returns:
        Days, infinite where nothing was used.
    """
    used_frac, counted, before = 0.0, 0, None
    for hour in hours:
        dry = hour.irrigation_l == 0.0 and hour.rain_mm == 0.0
        if dry and before is not None and until_s - WEEK_S <= hour.at_utc_s <= until_s:
            used_frac += max(0.0, hour.depletion_frac - before)
            counted += 1
        before = hour.depletion_frac
    per_day = 24.0 * used_frac / counted if counted else 0.0
    return (floor_frac - REFILL_TO_FRAC) / per_day if per_day > 0.0 else float("inf")


def lates(case: Case, replay: Replay, untold: PolicyRun, told: PolicyRun) -> Iterator[Late]:
    """Every pick of a season."""
    for bed, days in replay.picks.items():
        for day in days:
            start_s = midnight_utc_s(replay.garden, day)
            spans = late_windows(replay.garden, [day])
            dawns = [one for one in untold.dawns[bed] if one.at_utc_s <= start_s]
            litres = [litres_within(run.hours[bed], spans) for run in (untold, told)]
            if not dawns or None in litres:
                continue
            yield Late(
                case=case.name,
                bed=bed,
                on=day,
                full_to_floor_d=full_to_floor_d(untold.hours[bed], dawns[-1].floor_frac, start_s),
                untold_l=litres[0] or 0.0,
                told_l=litres[1] or 0.0,
            )


def lived(case: Case, weather: str, seed: int, *, sure: bool) -> tuple[list[Late], Whole]:
    """One garden in one season, untold and told."""
    garden = garden_of(case, _document())
    told = prepare(garden, weather, seed=seed, sure=sure, picks=picks_of(garden))
    runs = [run_policy(replay, "thirstline") for replay in (replace(told, tells_picks=False), told)]
    numbers = [run.numbers for run in runs]
    whole = Whole(
        case=case.name,
        past_floor=(numbers[0]["days_past_floor"], numbers[1]["days_past_floor"]),
        litres=(numbers[0]["litres"], numbers[1]["litres"]),
        yield_frac=(numbers[0]["relative_yield"], numbers[1]["relative_yield"]),
    )
    return list(lates(case, told, *runs)), whole


def summed(found: Sequence[Late], wholes: Sequence[Whole]) -> list[dict[str, Any]]:
    """A row for each case: litres before its picks, slow ones and the others, and the seasons."""
    rows = []
    for case in dict.fromkeys(one.case for one in found):
        row: dict[str, Any] = {"case": case}
        for name, slow in (("slow", True), ("quick", False)):
            some = [
                one for one in found if one.case == case and (one.full_to_floor_d > SLOW_D) is slow
            ]
            untold_l = sum(one.untold_l for one in some)
            told_l = sum(one.told_l for one in some)
            row[f"{name}_picks"] = len(some)
            row[f"{name}_untold_l"], row[f"{name}_told_l"] = round(untold_l), round(told_l)
            row[f"{name}_less"] = round(1.0 - told_l / untold_l, 3) if untold_l > 0.0 else None
        own = [one for one in wholes if one.case == case]
        row["past_floor"] = [sum(one.past_floor[n] for one in own) for n in (0, 1)]
        row["litres"] = [round(sum(one.litres[n] for one in own)) for n in (0, 1)]
        row["relative_yield"] = [
            round(sum(one.yield_frac[n] for one in own) / len(own), 3) for n in (0, 1)
        ]
        rows.append(row)
    return rows


def by_days(found: Sequence[Late]) -> list[dict[str, Any]]:
    """A row for each class of days from full to floor: its picks, litres before them, less."""
    rows = []
    for above_d, most_d in pairwise(DAYS_EDGES):
        some = [one for one in found if above_d < one.full_to_floor_d <= most_d]
        untold_l, told_l = sum(one.untold_l for one in some), sum(one.told_l for one in some)
        if some:
            rows.append(
                {
                    "above_d": above_d,
                    "most_d": most_d if most_d < float("inf") else None,
                    "picks": len(some),
                    "untold_l": round(untold_l),
                    "told_l": round(told_l),
                    "less": round(1.0 - told_l / untold_l, 3) if untold_l > 0.0 else None,
                }
            )
    return rows


def days_markdown(rows: Iterable[dict[str, Any]]) -> str:
    """The classes as a table."""
    lines = [
        "| days from full to floor | picks | litres before, untold | told | less |",
        "|---|---:|---:|---:|---:|",
    ]
    for row in rows:
        most = "" if row["most_d"] is None else f", at most {row['most_d']:g}"
        less = "-" if row["less"] is None else f"{100.0 * row['less']:.0f} %"
        lines.append(
            f"| above {row['above_d']:g}{most} | {row['picks']} | {row['untold_l']} | "
            f"{row['told_l']} | {less} |"
        )
    return "\n".join(lines)


def as_markdown(rows: Iterable[dict[str, Any]]) -> str:
    """The rows as a table."""
    lines = [
        "| garden | slow picks | litres before, untold | told | less | other picks | less | "
        "dawns past floor, untold, told | season's litres | yield |",
        "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|",
    ]
    for row in rows:
        past, litres, gained = row["past_floor"], row["litres"], row["relative_yield"]
        slow, quick = (
            "-" if row[name] is None else f"{100.0 * row[name]:.0f} %"
            for name in ("slow_less", "quick_less")
        )
        lines.append(
            f"| {row['case']} | {row['slow_picks']} | {row['slow_untold_l']} | "
            f"{row['slow_told_l']} | {slow} | {row['quick_picks']} | {quick} | "
            f"{past[0]}, {past[1]} | {litres[0]}, {litres[1]} | {gained[0]}, {gained[1]} |"
        )
    return "\n".join(lines)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trials and print the table.

    Args:
        argv: the words after the command; the process's own where None.

    Returns:
        0, or 2 for wrong use.
    """
    parser = argparse.ArgumentParser(prog="python -m sim.pick_trials", description=__doc__)
    worlds = parser.add_mutually_exclusive_group()
    worlds.add_argument("--sure", action="store_true")
    worlds.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--weather", action="append")
    parser.add_argument("--case", action="append")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(argv)
    seeds = (1,) if asked.sure else range(1, asked.seeds + 1)
    found: list[Late] = []
    wholes: list[Whole] = []
    try:
        for case in cases_named(asked.case or [one.name for one in CASES]):
            for weather in asked.weather or WEATHER:
                for seed in seeds:
                    some, whole = lived(case, weather, seed, sure=asked.sure)
                    found += some
                    wholes.append(whole)
                    sys.stderr.write(f"\r{len(wholes)} worlds")
    except ThirstlineError as exc:
        sys.stderr.write(f"{exc}\n")
        return 2
    sys.stderr.write("\n")
    rows, days = summed(found, wholes), by_days(found)
    tables = f"{as_markdown(rows)}\n\n{days_markdown(days)}"
    sys.stdout.write(json.dumps({"gardens": rows, "days": days}) if asked.json else tables)
    sys.stdout.write("\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
