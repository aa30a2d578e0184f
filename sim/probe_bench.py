"""Each hazard of probes in many drawn worlds: whether it is found, when, and what rested on it.

    python -m sim.probe_bench [--seeds N | --seeds A-B] [--hazard NAME] [--garden NAME]
        [--no-seasons] [--jobs J] [--json]

How a world is lived, and what counts, is said in `sim/probe_lives.py`. Whole seasons without a
fault are lived too, and the alarms about probes in them counted; alarms about a misplaced probe,
which one world in ten has, are right and do not count, nor do silences, which are drawn and true.
`--hazard` is a hazard's name in small letters, such as `frozen`; it may be given more than once.

`--json` prints an object: `garden`, `seeds`, `hazards` and `seasons`. A hazard has `hazard`,
`stated_h` (null where doses are what is asked), `stated_doses`, `worlds`, `found`, `in_time`,
`delay_median_h`, `delay_most_h`, `doses` (in all worlds; which rest on a probe is said in
`sim/probe_rests.py`), `doses_read` (by an hour's readings alone), `doses_unseen` (of `doses`, begun
before anybody could see the drift), `doses_most`, `doses_over` (worlds with more than stated),
`extra_doses` (the most that a world had more than without the fault; null where not asked),
`extra_l` (the same in litres), `found_by` (counts by flag), `late_seeds`, `hidden_seeds` (of these,
worlds that gave nothing away) and `lives` (of each world `seed`, `delay_h`, `by`, `doses`,
`doses_read`, `doses_unseen`, `extra_doses`, `extra_l`, `hidden`). What can be seen is said in
`sim/probe_hidden.py`. The seasons have `worlds`, `bed_seasons`, `alarms`, `per_bed_season`,
`most_in_one_bed` and `by_flag`.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from functools import partial
from statistics import median
from typing import Any

from controller.errors import ThirstlineError
from controller.garden import Garden, load_garden
from sim.examples import find_garden
from sim.probe_lives import NEVER_H, STATED, Found, Sound, lived, lived_sound
from sim.probe_series import Hazard
from sim.sureness import seeds_of

SEEDS = 20


def summary(hazard: Hazard, some: Sequence[Found]) -> dict[str, Any]:
    """What a hazard came to in some worlds.

    Args:
        hazard: which.
        some: one or more.

    Returns:
        What `--json` prints of it.
    """
    stated = STATED[hazard]
    delays = sorted(one.delay_h for one in some if one.delay_h is not None)
    late = [one.seed for one in some if not in_time(hazard, one)]
    extra = [one.extra_doses for one in some if one.extra_doses is not None]
    extra_l = [one.extra_l for one in some if one.extra_l is not None]
    hidden = [one.seed for one in some if one.hidden and not in_time(hazard, one)]
    return {
        "hazard": str(hazard),
        "stated_h": None if stated.within_h >= NEVER_H else round(stated.within_h, 2),
        "stated_doses": stated.doses,
        "worlds": len(some),
        "found": len(delays),
        "in_time": len(some) - len(late),
        "delay_median_h": round(median(delays), 2) if delays else None,
        "delay_most_h": round(delays[-1], 2) if delays else None,
        "doses": sum(one.doses for one in some),
        "doses_read": sum(one.doses_read for one in some),
        "doses_unseen": sum(one.doses_unseen for one in some),
        "doses_most": max(one.doses for one in some),
        "doses_over": sum(one.doses > stated.doses for one in some),
        "extra_doses": max(extra) if extra else None,
        "found_by": dict(Counter(one.by for one in some if one.by).most_common()),
        "extra_l": round(max(extra_l), 1) if extra_l else None,
        "late_seeds": late,
        "hidden_seeds": hidden,
        "lives": [asdict(one) for one in some],
    }


def in_time(hazard: Hazard, one: Found) -> bool:
    """Whether a hazard was found as soon as is asked: in hours, else before too many doses."""
    stated = STATED[hazard]
    if one.delay_h is None:
        return False
    if stated.within_h >= NEVER_H:
        return one.doses <= stated.doses
    return one.delay_h <= stated.within_h


def seasons_summary(some: Sequence[Sound]) -> dict[str, Any]:
    """What the seasons without a fault came to together."""
    alarms = sum(sum(one.alarms.values()) for one in some)
    beds = sum(one.beds for one in some)
    flags: Counter[str] = Counter()
    for one in some:
        flags.update(one.flags)
    return {
        "worlds": len(some),
        "bed_seasons": beds,
        "alarms": alarms,
        "per_bed_season": round(alarms / beds, 2) if beds else None,
        "most_in_one_bed": max((most for one in some for most in one.alarms.values()), default=0),
        "by_flag": dict(flags.most_common()),
    }


def measured(
    garden: Garden,
    seeds: Iterable[int],
    hazards: Sequence[Hazard] = tuple(Hazard),
    *,
    seasons: bool = True,
    jobs: int = 1,
) -> dict[str, Any]:
    """Live every hazard in every world.

    Args:
        garden: the garden file.
        seeds: which worlds.
        hazards: which hazards.
        seasons: whether whole seasons without a fault are lived too.
        jobs: processes, 1 or more.

    Returns:
        `hazards` and `seasons` as `--json` prints them.

    Raises:
        SeasonError: a season cannot be used.
        UsageError: the garden has no such probes.
    """
    worlds = list(seeds)
    tasks = [(hazard, seed) for hazard in hazards for seed in worlds]
    one, sound = partial(lived, garden), partial(lived_sound, garden)
    if jobs == 1:
        ended = [one(task) for task in tasks]
        whole = [sound(seed) for seed in worlds] if seasons else []
    else:
        with ProcessPoolExecutor(max_workers=jobs) as pool:
            later = [pool.submit(sound, seed) for seed in worlds] if seasons else []
            ended = list(pool.map(one, tasks))
            whole = [each.result() for each in later]
    rows = []
    for n, hazard in enumerate(hazards):
        rows.append(summary(hazard, ended[n * len(worlds) : (n + 1) * len(worlds)]))
    return {"hazards": rows, "seasons": seasons_summary(whole) if seasons else None}


def _time(hours: float | None) -> str:
    if hours is None:
        return "-"
    if abs(hours) < 2.0:
        return f"{60.0 * hours:.0f} min"
    return f"{hours:.0f} h" if abs(hours) < 48.0 else f"{hours / 24.0:.1f} d"


def _lines(found: dict[str, Any]) -> str:
    """The same as a table of Markdown."""
    rows = [
        "| hazard | asked | worlds | found | as asked | of the others, hidden | after: median "
        "| longest | doses on it, most | worlds with more than asked | found by |",
        "|---|---|---:|---:|---:|---:|---:|---:|---:|---:|---|",
    ]
    for one in found["hazards"]:
        stated_h, doses = one["stated_h"], one["stated_doses"]
        asked = f"{doses} doses" if stated_h is None else _time(stated_h)
        extra = ""
        if one["extra_doses"] is not None:
            extra = f"; {one['extra_doses']} and {one['extra_l']:.0f} L more than without"
        by = ", ".join(f"`{flag}` {times}" for flag, times in one["found_by"].items())
        rows.append(
            f"| {one['hazard']} | {asked} | {one['worlds']} | {one['found']} | {one['in_time']} "
            f"| {len(one['hidden_seeds'])} "
            f"| {_time(one['delay_median_h'])} | {_time(one['delay_most_h'])} "
            f"| {one['doses_most']} of {doses}{extra} | {one['doses_over']} | {by} |"
        )
    seasons = found["seasons"]
    if seasons is not None:
        flags = ", ".join(f"`{flag}` {times}" for flag, times in seasons["by_flag"].items())
        rows.append("")
        rows.append(
            f"{seasons['worlds']} seasons without a fault: {seasons['alarms']} alarms about probes "
            f"in {seasons['bed_seasons']} beds' seasons, {seasons['per_bed_season']} each, "
            f"{seasons['most_in_one_bed']} in one at most ({flags or 'no flags'})."
        )
    return "\n".join(rows)


def hazard_of(text: str) -> Hazard:
    """Read a hazard's name in small letters.

    Raises:
        ArgumentTypeError: there is no such hazard.
    """
    try:
        return Hazard[text.upper()]
    except KeyError:
        known = ", ".join(one.name.lower() for one in Hazard)
        msg = f"{text[:40]!r} is not one of {known}"
        raise argparse.ArgumentTypeError(msg) from None


def main(words: Sequence[str] | None = None) -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(
        prog="python -m sim.probe_bench",
        description="Broken probes in drawn worlds: found, when, and what rested on them.",
    )
    parser.add_argument("--seeds", type=seeds_of, default=range(1, SEEDS + 1), help="N or A-B")
    parser.add_argument("--hazard", action="append", type=hazard_of, help="may be repeated")
    parser.add_argument("--garden", default="hollin-lane", help="a garden file or an example")
    parser.add_argument("--no-seasons", action="store_true", help="no seasons without a fault")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--json", action="store_true", help="print an object instead of a table")
    told = parser.parse_args(words)
    try:
        found = measured(
            load_garden(find_garden(told.garden)),
            told.seeds,
            told.hazard or tuple(Hazard),
            seasons=not told.no_seasons,
            jobs=max(1, told.jobs),
        )
    except ThirstlineError as exc:
        parser.error(str(exc))
    whole = {"garden": told.garden, "seeds": list(told.seeds), **found}
    sys.stdout.write((json.dumps(whole) if told.json else _lines(found)) + "\n")


if __name__ == "__main__":
    main()
