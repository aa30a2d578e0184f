"""The turn of the year: other plants in the same bed, and what of it goes on.

A new `transplanted` date begins stages, roots and thirst anew; what the soil and the pipes taught
stays: full point, wilting point, worth of raw probes, what stays of a dose, flows, ledger, lock. A
date that is moved by less than `NEW_PLANTS_D` is a correction: only the degree-days follow it.

Degree-days [°C d], depths [m], depletion [mm over the wetted strip].
"""

from __future__ import annotations

from controller.correcting import today
from controller.garden import Garden
from controller.run import Run
from controller.sensing.estimate import THIRST_SD, deepen
from controller.sensing.sky import ASSUMED_DEGREE_DAYS_D
from controller.state import BedWater
from controller.watering import eye
from controller.watering.words import bed_name

NEW_PLANTS_D = 60  # [d] a date that moves on by this much is another planting: our own choice
GUESSED_SD_FRAC = 0.2  # of TAW: as of a bed first seen


def turn(run: Run, before: Garden) -> None:
    """Let beds whose `transplanted` is another one begin anew, as far as they have to.

    Args:
        run: the engine's working set, the new garden file in force.
        before: the garden file until now.
    """
    for bed, setting in run.garden.beds.items():
        old = before.beds.get(bed)
        if old is None or bed not in run.state.water or bed not in run.days:
            continue
        moved_d = (setting.transplanted - old.transplanted).days
        if moved_d == 0:
            continue
        old_m = run.days[bed].root_depth_m
        water = run.state.water[bed]
        water.degree_days = _since_c_d(run, setting.transplanted.toordinal())
        new_plants = moved_d >= NEW_PLANTS_D
        if new_plants:
            _forget_plants(run, bed)
        day = run.days[bed] = today(run, bed, run.state.at_utc_s)
        _root_to(run, bed, old_m, day.root_depth_m)
        if new_plants:
            water.var_mm2 = max(water.var_mm2, (GUESSED_SD_FRAC * day.taw_mm) ** 2)
            text = (
                f"{bed_name(bed)} has other plants: stages, roots and thirst begin anew. Its full "
                "point, its flow and its limits go on."
            )
            run.note("learned", bed, "new_plants", text)
        run.nudge = True


def _since_c_d(run: Run, planted: int) -> float:
    """What the days since a planting added to the degree-days; not remembered ones are assumed."""
    warmth = run.state.warmth_c_d
    first = min(warmth, default=run.state.day + 1)
    return sum(
        warmth.get(day, ASSUMED_DEGREE_DAYS_D if day < first else 0.0)
        for day in range(planted + 1, run.state.day + 1)
    )


def _forget_plants(run: Run, bed: str) -> None:
    """What was of the old plants alone."""
    state = run.state
    water, memory = state.water[bed], state.beds[bed]
    water.log_thirst, water.var_thirst, water.cov_mm = 0.0, THIRST_SD**2, 0.0
    water.odd_mm2 = 0.0
    water.use_mm_d, water.told_lately_mm, water.pulls = [], [], []
    eye.forget(memory.eye)
    memory.marks, memory.picks, memory.picked = {}, [], []
    memory.limp_utc_s = memory.felt = memory.staging = memory.miss = None
    memory.judged_from_utc_s = None
    memory.postponed = 0
    state.books.pop(bed, None)
    state.trials.pop(bed, None)
    run.days.pop(bed)  # a line that loosens by days has no day before it


def _root_to(run: Run, bed: str, old_m: float, new_m: float) -> None:
    """Have the root zone reach as deep as the plants do now; its water stays where it was."""
    water = run.state.water[bed]
    if new_m >= old_m:
        deepen(water, run.soils[bed], old_m, new_m)
        return
    _draw_up(water, new_m / old_m)


def _draw_up(water: BedWater, share_frac: float) -> None:
    """Young roots in old soil: what lies below them again is the ground's."""
    lacks_mm = water.depletion_mm - water.over_mm
    if lacks_mm <= 0.0:
        return
    water.depletion_mm = lacks_mm * share_frac
    water.below_mm += lacks_mm - water.depletion_mm
    water.over_mm = 0.0
    water.var_mm2 *= share_frac * share_frac
