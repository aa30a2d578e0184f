"""What a bed has taught about itself: shown, forgotten on a person's word, kept by probes' names.

Full point, thirst and the worth of raw counts are part of the engine's state and so of every
snapshot. What was learned of a raw probe belongs to its bed and its name, what was learned of the
full point to the bed and the names of its probes: a probe that is swapped for another under the
same name goes on with it, one with a new name begins anew.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from controller.correcting import learned_soil, today
from controller.run import Run
from controller.sensing import dry_end
from controller.sensing.estimate import THIRST_SD, shift_full
from controller.sensing.full_point import begin, begin_again
from controller.sensing.uncalibrated import counts_per_mm, key_of
from controller.state import ProbeLine
from controller.watering import eye
from controller.watering.efficiency import DoseLesson

FORGOTTEN_SD_FRAC = 0.2  # of TAW: as of a bed first seen


def fit_probes(run: Run, bed: str) -> None:
    """Let a bed whose probes have other names than before keep only what is its soil's own.

    Args:
        run: the engine's working set, its garden file already in force.
        bed: which.
    """
    water = run.state.water.get(bed)
    if water is None:
        return
    names = sorted(run.garden.beds[bed].probes)
    if water.full_odds_frac and water.full_probes != names:
        begin_again(water, learned_soil(run, bed))
        water.full_probes = names
        dry_end.forget(water)


def forget(run: Run, bed: str) -> None:
    """Let a bed begin anew: the garden file's full point, the crop's thirst, no probe's worth.

    Args:
        run: the engine's working set.
        bed: which.

    What it lacks stays as believed, by the file's full point, and is taken for a guess.
    """
    water, day = run.state.water[bed], run.days[bed]
    water.full_due_m3_m3 -= water.full_shift_m3_m3
    water.full_shift_m3_m3 = water.full_said_m3_m3 = 0.0
    water.full_since_utc_s = water.soak_utc_s = water.soak_before_m3_m3 = None
    water.log_thirst, water.var_thirst, water.cov_mm = 0.0, THIRST_SD**2, 0.0
    water.odd_mm2 = 0.0
    dry_end.forget(water)
    eye.forget(run.state.beds[bed].eye)
    run.state.beds[bed].lesson = DoseLesson()
    for name in run.garden.beds[bed].probes:
        run.state.learned.pop(key_of(bed, name), None)
    run.soils[bed] = learned_soil(run, bed)
    run.days[bed] = day = today(run, bed, run.state.at_utc_s)
    shift_full(water, day)
    water.var_mm2 = (FORGOTTEN_SD_FRAC * day.taw_mm) ** 2
    if water.full_odds_frac:
        begin(water, run.soils[bed])
    run.nudge = True


def learned_json(run: Run, bed: str, instant: Callable[[float], str]) -> dict[str, Any]:
    """What was learned of a bed, as it crosses every border.

    Args:
        run: the engine's working set.
        bed: which.
        instant: writes an instant [s, Unix].
    """
    since_s = run.state.water[bed].full_since_utc_s
    water, soil = run.state.water[bed], run.soils[bed]
    drank = dry_end.drank_at_m3_m3(water)
    return {
        "full_m3_m3": round(soil.field_capacity_m3_m3, 4),
        "full_sd_m3_m3": round(water.full_sd_m3_m3, 4) if water.full_odds_frac else None,
        "full_told_m3_m3": round(soil.told_field_capacity_m3_m3, 4),
        "full_since": None if since_s is None else instant(since_s),
        "wilting_m3_m3": round(soil.wilting_point_m3_m3, 4),
        "wilting_told_m3_m3": round(soil.wilting_told_m3_m3, 4),
        "drank_at_m3_m3": None if drank is None else round(drank, 4),
        "thirst": round(math.exp(water.log_thirst), 3),
        "dose_stays_frac": round(run.state.beds[bed].lesson.efficiency_frac, 3),
        "dose_cut_frac": round(run.state.beds[bed].lesson.cut_frac, 3),
        "probes": {
            name: _probe(run, bed, name, instant)
            for name in run.garden.beds[bed].probes
            if run.garden.probes[name].uncalibrated
        },
    }


def _probe(run: Run, bed: str, name: str, instant: Callable[[float], str]) -> dict[str, Any]:
    line = run.state.learned.get(key_of(bed, name)) or ProbeLine()
    worth = counts_per_mm(line, run.soils[bed].full_root_depth_m)
    return {
        "counts_per_mm": None if worth is None else round(worth, 2),
        "dry_spells": line.spells,
        "since": None if line.since_utc_s is None else instant(line.since_utc_s),
    }
