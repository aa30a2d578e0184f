"""Fits held against hidden worlds: `python -m sim.winter.fit_trials --seeds 501-520 --out FILE`.

Each world is one bed of Hollin Lane (south, wall, low and hedge in turn), drawn from its seed. The
real engine lives a season in it; its record alone - hours of the probes, openings, weather - is
fitted. Then two questions. *Do 90 % intervals hold the truth?* And *what would drier lines have
taken?*: the fit foretells it, as what was recorded plus the median difference over draws of its
posterior, and the hidden world lives it. `--out` keeps finished worlds, so that the same command
goes on where it ended; `--no-lines` leaves the second question out.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from controller.errors import ThirstlineError, UsageError
from controller.garden import Garden
from controller.garden_file import read_document
from sim.drier_trials import lines_shifted
from sim.examples import find_garden
from sim.kept_lines import KeptLines
from sim.replay import run_policy
from sim.season_run import Replay, prepare
from sim.sureness import seeds_of
from sim.sweep_rows import code_digest
from sim.winter.fitting.bed_fit import BedFit
from sim.winter.fitting.fit_file import Z_90, BedPosterior, FitFile, garden_digest
from sim.winter.fitting.hidden import live, truth_of
from sim.winter.fitting.posterior import drawn_from
from sim.winter.fitting.priors import quantities
from sim.winter.fitting.season_fit import BedResult, fit_season
from sim.winter.fitting.what_if import Line, lived

BEDS = ("south", "wall", "low", "hedge")
SHIFT_FRAC = 0.05
LEARNED_SD = 0.8  # of the prior's: below it a quantity counts as learned


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One trial's setting.

    Args:
        seed: of the hidden world.
        weather: the season.
        last: its last day, None for its own end.
        draws: of the posterior, 0 = the second question is left out.
        held_back: whether the last quarter is foretold first.
        code: digest of the program.
    """

    seed: int
    weather: str
    last: date | None
    draws: int
    held_back: bool
    code: str

    @property
    def bed(self) -> str:
        """Which bed the world has."""
        return BEDS[self.seed % len(BEDS)]

    @property
    def key(self) -> str:
        """What tells this trial from all others."""
        return f"{self.weather}/{self.last}/{self.seed}/{self.draws}/{self.held_back}"


def one_bed(bed: str) -> tuple[dict[str, Any], Garden]:
    """Hollin Lane with one of its beds: its tables, and the garden."""
    data = dict(read_document(find_garden("hollin-lane")).data)
    setting = data["beds"][bed]
    data["beds"] = {bed: setting}
    data["probes"] = {name: data["probes"][name] for name in setting["probes"]}
    data["valves"] = {name: data["valves"][name] for name in (setting["valve"], "master")}
    return data, Garden.model_validate(data)


def trial(asked: Asked) -> dict[str, Any]:
    """One hidden world: lived, fitted, asked.

    Returns:
        Plain values: `inside` by quantity (whether the 90 % interval held the truth), `sd` by
        quantity (posterior over prior), `off` (most likely less truth in posterior deviations),
        and of the second question the litres.
    """
    began_s = time.process_time()
    document, garden = one_bed(asked.bed)
    replay = prepare(garden, asked.weather, seed=asked.seed, last=asked.last)
    hidden = live(replay)
    lived_s = time.process_time() - began_s
    result = fit_season(hidden.observed, held_back=asked.held_back)[0]
    told: dict[str, Any] = {
        "seed": asked.seed,
        "bed": asked.bed,
        "misplaced": hidden.misplaced,
        "placed": sorted(result.places),
        "refused": result.refused,
        "waterings": hidden.numbers["waterings"],
        "lived_s": round(lived_s, 2),
    }
    if result.fit is None:
        return told
    told["fit_s"] = round(time.process_time() - began_s - lived_s, 2)
    told["runs"] = result.fit.runs
    score = result.held_back
    told["skill"] = None if score is None else round(score.skill, 3)
    told |= _held(result.fit, truth_of(asked.seed, garden, asked.bed))
    if asked.draws:
        told |= _asked_drier(asked, document, garden, result, hidden.numbers["litres"])
    told["cpu_s"] = round(time.process_time() - began_s, 2)
    return told


def _held(fit: BedFit, truth: Mapping[str, float]) -> dict[str, Any]:
    """Whether the intervals hold the truth."""
    sd = np.sqrt(np.diag(fit.covariance))
    off = {
        name: float((z - one.z_of(truth[name])) / width)
        for (name, one), z, width in zip(quantities(fit.probes), fit.z, sd, strict=True)
    }
    names = list(off)
    return {
        "inside": {name: abs(off[name]) <= Z_90 for name in names},
        "off": {name: round(off[name], 3) for name in names},
        "sd": {name: round(float(width), 3) for name, width in zip(names, sd, strict=True)},
    }


def _asked_drier(
    asked: Asked,
    document: dict[str, Any],
    garden: Garden,
    result: BedResult,
    litres: float,
) -> dict[str, Any]:
    """Foretell drier lines, and let the hidden world live them."""
    replay = prepare(garden, asked.weather, seed=asked.seed, last=asked.last)
    with lines_shifted(SHIFT_FRAC):
        then_l = float(run_policy(replay, "thirstline").numbers["litres"])
    fitted = _as_file(asked, document, garden, result, replay)
    was, then = Line(garden=garden), Line(garden=garden, shift_frac=SHIFT_FRAC)
    pairs = []
    for number in range(1, asked.draws + 1):
        drawn = drawn_from(fitted, number)
        both = [lived(one, replay.season, drawn, number, replay.span.last) for one in (was, then)]
        pairs.append([one["litres"] for one in both])
    differs = median(after - before for before, after in pairs)
    return {
        "was_l": round(litres, 1),
        "then_l": round(then_l, 1),
        "foretold_l": round(litres + differs, 1),
        "level_l": round(median(after for _, after in pairs), 1),
        "pairs_l": [[round(x, 1) for x in one] for one in pairs],
    }


def _as_file(
    asked: Asked, document: dict[str, Any], garden: Garden, result: BedResult, replay: Replay
) -> FitFile:
    """The fit as a what-if would read it."""
    fit = result.fit
    if fit is None:
        msg = f"seed {asked.seed}: was not fitted"
        raise UsageError(msg)
    posterior = BedPosterior(
        probes=fit.probes,
        z=fit.z,
        covariance=fit.covariance,
        places=result.places,
        flow_off_frac=result.flow_off_frac,
    )
    return FitFile(
        document=document,
        garden_digest=garden_digest(garden),
        season=replay.season,
        from_utc_s=replay.span.from_utc_s,
        to_utc_s=replay.span.to_utc_s,
        source="hidden world",
        beds={asked.bed: posterior},
        refused={},
    )


def trials(asked: Sequence[Asked], jobs: int, kept: KeptLines) -> Iterator[dict[str, Any]]:
    """All trials; those that are kept are not done again."""
    missing = [one for one in asked if one.key not in kept.kept]
    yield from (kept.kept[one.key] for one in asked if one.key in kept.kept)
    if jobs == 1:
        for one in missing:
            done = trial(one)
            kept.add(one.key, done)
            yield done
        return
    with ProcessPoolExecutor(max_workers=jobs) as pool:
        running = {pool.submit(trial, one): one for one in missing}
        for future in as_completed(running):
            kept.add(running[future].key, future.result())
            yield future.result()


def summary(done: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """What the trials came to.

    Returns:
        `held_frac` over all quantities, `learned_held_frac` over those that were learned,
        `by_quantity` (share held, median of posterior over prior), and the median and largest
        miss of the drier line's litres [-].
    """
    fitted = [one for one in done if "inside" in one]
    kinds: dict[str, list[tuple[bool, float]]] = {}
    for one in fitted:
        for name, inside in one["inside"].items():
            kinds.setdefault(name.split(".")[-1], []).append((inside, one["sd"][name]))
    every = [pair for pairs in kinds.values() for pair in pairs]
    learned = [pair for pair in every if pair[1] < LEARNED_SD]
    lines = [one for one in fitted if "then_l" in one]
    misses = [abs(one["foretold_l"] / one["then_l"] - 1.0) for one in lines]
    levels = [abs(one["level_l"] / one["then_l"] - 1.0) for one in lines]
    skills = [one["skill"] for one in fitted if one["skill"] is not None]
    return {
        "worlds": len(done),
        "fitted": len(fitted),
        "held_frac": _share(every),
        "learned_held_frac": _share(learned),
        "learned": len(learned),
        "by_quantity": {
            name: {"held_frac": _share(pairs), "sd": round(median(sd for _, sd in pairs), 3)}
            for name, pairs in kinds.items()
        },
        "lines": len(lines),
        "median_miss_frac": round(median(misses), 4) if misses else None,
        "worst_miss_frac": round(max(misses), 4) if misses else None,
        "median_level_miss_frac": round(median(levels), 4) if levels else None,
        "median_skill": round(median(skills), 3) if skills else None,
        "skilled": sum(skill > 0.0 for skill in skills),
        "judged": len(skills),
        "cpu_s": round(sum(one["cpu_s"] for one in fitted), 1),
    }


def _share(pairs: Sequence[tuple[bool, float]]) -> float | None:
    return round(sum(inside for inside, _ in pairs) / len(pairs), 3) if pairs else None


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trials.

    Args:
        argv: the words after the command; None for the process's own.

    Returns:
        0, or 1 where a trial cannot be done.
    """
    parser = argparse.ArgumentParser(prog="python -m sim.winter.fit_trials")
    parser.add_argument("--seeds", type=seeds_of, default=seeds_of("501-520"))
    parser.add_argument("--weather", default="seattle-2015")
    parser.add_argument("--last", type=date.fromisoformat, help="last day, like 2015-08-31")
    parser.add_argument("--draws", type=int, default=8)
    parser.add_argument("--no-lines", action="store_true")
    parser.add_argument("--held-back", action="store_true")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path)
    words = parser.parse_args(argv)
    code = code_digest()
    asked = [
        Asked(
            seed=seed,
            weather=words.weather,
            last=words.last,
            draws=0 if words.no_lines else words.draws,
            held_back=words.held_back,
            code=code,
        )
        for seed in words.seeds
    ]
    try:
        kept = KeptLines(words.out, {"trials": "fit", "program": code})
        done = []
        for one in trials(asked, words.jobs, kept):
            done.append(one)
            sys.stderr.write(f"{one['seed']} {one['bed']}: {one.get('cpu_s', 0)} s\n")
    except ThirstlineError as exc:
        sys.stderr.write(f"{exc}\n")
        return 1
    sys.stdout.write(f"{json.dumps(summary(done), indent=1)}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
