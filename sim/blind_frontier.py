"""What less water in a blind fortnight costs: two levers swept, as a table and a picture.

    python -m sim.blind_frontier [--seeds N | --seeds A-B] [--weather NAME ...] [--lean F ...]
        [--counted F ...] [--out FOLDER] [--jobs J] [--json]

The trials of `sim.blind_trials`, standard garden. While the mast tells (`known`) every bed's `lean`
is swept; where it is dead too (`unknown`) the share of its use that a bed's books count in the
dark. All is held against one `hindsight`, that of the garden as its file says. FOLDER keeps the
trials (what stands there is not run again) and gets `frontier_blind.svg`: dark the blind garden,
grey the same one with its probes and its mast.
"""

from __future__ import annotations

import argparse
import json
import sys
import tomllib
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import partial
from itertools import product
from pathlib import Path
from statistics import median
from typing import Any

from controller.errors import ThirstlineError
from controller.garden import Garden
from controller.unseen_rain import COUNTED_FRAC
from sim.blind_trials import SKIES, floods, lived, ratios
from sim.examples import find_garden
from sim.kept_lines import KeptLines
from sim.pictures import Axis, Panel, picture, ticks_of
from sim.policy_trials import STANDARD, WEATHER, garden_of
from sim.sureness import seeds_of
from sim.sweep_rows import code_digest
from sim.sweep_vary import Vary, settings_of

LEANS = ("0", "0.5", "1")
COUNTED = ("0.5", "0.75", "1")
LEVERS = {"known": "lean", "unknown": "counted"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One place on the frontier.

    Attributes:
        sky: `known` or `unknown`.
        lever: `lean` or `counted`.
        lever_frac: its value [0..1].
        bed_fortnights: how many count for the ratios.
        to_hindsight_frac: the blind garden's water to hindsight's, the median [-].
        sighted_to_hindsight_frac: the same garden's with its probes and mast [-].
        outside: ratios outside 0.6 to 1.5.
        floods: bed-fortnights with one.
        sighted_floods: with probes and mast.
        lowest_yield_frac: of a season, relative [0..1].
    """

    sky: str
    lever: str
    lever_frac: float
    bed_fortnights: int
    to_hindsight_frac: float
    sighted_to_hindsight_frac: float
    outside: int
    floods: int
    sighted_floods: int
    lowest_yield_frac: float


def place_of(sky: str, lever_frac: float, found: Sequence[Mapping[str, Any]]) -> Place:
    """Sum up the trials of one value under one sky.

    Args:
        sky: `known` or `unknown`.
        lever_frac: what that sky's lever stood at [0..1].
        found: trials, as `sim.blind_trials.lived` gives them.
    """
    blind, sighted = ratios(found), ratios(found, "sighted_l")
    return Place(
        sky=sky,
        lever=LEVERS[sky],
        lever_frac=lever_frac,
        bed_fortnights=len(blind),
        to_hindsight_frac=round(median(blind or [float("nan")]), 3),
        sighted_to_hindsight_frac=round(median(sighted or [float("nan")]), 3),
        outside=sum(not 0.6 <= ratio <= 1.5 for ratio in blind),
        floods=round(floods(found)),
        sighted_floods=round(floods(found, "sighted_drained_l")),
        lowest_yield_frac=min(one["relative_yield"] for one in found),
    )


def as_markdown(places: Sequence[Place]) -> str:
    """The table, a line a place."""
    lines = [
        "| sky | lever | water to `hindsight`, median | with probes and mast | outside 0.6 to 1.5 |"
        " floods | with probes and mast | lowest yield |",
        "|---|---|---:|---:|---:|---:|---:|---:|",
    ]
    lines += [
        f"| {one.sky} | {one.lever} {one.lever_frac:g} | {one.to_hindsight_frac:.2f} |"
        f" {one.sighted_to_hindsight_frac:.2f} | {one.outside} of {one.bed_fortnights} |"
        f" {one.floods} | {one.sighted_floods} | {one.lowest_yield_frac:.3f} |"
        for one in places
    ]
    return "\n".join(lines)


def drawn(places: Sequence[Place]) -> str:
    """The picture: water against the season's lowest yield, a panel a sky, SVG text."""
    levels = [one.to_hindsight_frac for one in places]
    levels += [one.sighted_to_hindsight_frac for one in places]
    panels = [
        Panel(
            title=f"sky {sky}, {LEVERS[sky]} swept",
            x=tuple(one.lowest_yield_frac for one in mine),
            grey=(tuple(one.sighted_to_hindsight_frac for one in mine),),
            dark=tuple(one.to_hindsight_frac for one in mine),
            marks=tuple(f"{one.lever_frac:g}, floods {one.floods}" for one in mine),
        )
        for sky in SKIES
        if (mine := [one for one in places if one.sky == sky])
    ]
    return picture(
        "A blind fortnight: the blind garden dark, with probes and mast grey",
        Axis(
            "lowest relative yield of a season",
            ticks_of([one.lowest_yield_frac for one in places], 0.05),
            "g",
        ),
        Axis("water to hindsight, median", ticks_of(levels, 0.1), ".1f"),
        panels,
    )


def _gardens(leans: Sequence[str]) -> tuple[Garden, dict[str, Garden]]:
    """The garden as its file says, and the same with each lean."""
    document = tomllib.loads(find_garden("hollin-lane").read_text(encoding="utf-8"))
    usual = garden_of(STANDARD, document)
    told = usual.model_dump(mode="json", exclude_unset=True)
    settings = settings_of(told, [Vary(key="lean", values=tuple(leans))])
    return usual, {lean: one.garden for lean, one in zip(leans, settings, strict=True)}


def places_of(asked: argparse.Namespace) -> list[Place]:
    """Run what does not stand in the folder yet, and sum it up.

    Raises:
        ThirstlineError: the folder is another program's, or a season cannot be used.
    """
    out = None if asked.out is None else asked.out / "blind.jsonl"
    kept = KeptLines(out, {"trials": "blind frontier", "program": code_digest()})
    usual, leaned = _gardens(asked.lean)
    steps = [("known", lean, leaned[lean], COUNTED_FRAC) for lean in asked.lean]
    steps += [("unknown", share, usual, float(share)) for share in asked.counted]
    worlds = list(product(asked.weather, asked.seeds))
    with ProcessPoolExecutor(max_workers=asked.jobs) as pool:
        for sky, value, garden, share in steps:
            jobs = [
                (weather, seed, (sky,))
                for weather, seed in worlds
                if f"{sky}/{value}/{weather}/{seed}" not in kept.kept
            ]
            one = partial(lived, garden, False, share, held_against=usual)
            for (weather, seed, _), (trial,) in zip(jobs, pool.map(one, jobs), strict=True):
                kept.add(f"{sky}/{value}/{weather}/{seed}", trial)
                sys.stderr.write(f"\r{len(kept.kept)} of {len(worlds) * len(steps)} trials")
    sys.stderr.write("\n")
    return [
        place_of(sky, float(value), [kept.kept[f"{sky}/{value}/{w}/{seed}"] for w, seed in worlds])
        for sky, value, _, _ in steps
    ]


def main(argv: Sequence[str] | None = None) -> int:
    """Sweep, print the table and draw the picture.

    Args:
        argv: the words after the command; the process's own where None.

    Returns:
        0, or 2 for wrong use.
    """
    ask = argparse.ArgumentParser(prog="python -m sim.blind_frontier", description=__doc__)
    ask.formatter_class = argparse.RawDescriptionHelpFormatter
    ask.add_argument("--seeds", type=seeds_of, default=range(2, 5), help="N or A-B")
    ask.add_argument("--weather", nargs="+", default=list(WEATHER))
    ask.add_argument("--lean", nargs="+", default=list(LEANS), help="under a known sky")
    ask.add_argument("--counted", nargs="+", default=list(COUNTED), help="under an unknown one")
    ask.add_argument("--out", type=Path, help="a folder for trials and picture")
    ask.add_argument("--jobs", type=int, default=None, help="processes; else one a core")
    ask.add_argument("--json", action="store_true", help="one JSON document, nothing else")
    asked = ask.parse_args(argv)
    try:
        if asked.out is not None:
            asked.out.mkdir(parents=True, exist_ok=True)
        places = places_of(asked)
    except (ThirstlineError, OSError) as exc:
        sys.stderr.write(f"{exc}\n")
        return 2
    if asked.out is not None:
        (asked.out / "frontier_blind.svg").write_text(drawn(places), encoding="utf-8")
    if asked.json:
        sys.stdout.write(json.dumps([asdict(one) for one in places]) + "\n")
    else:
        sys.stdout.write(as_markdown(places) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
