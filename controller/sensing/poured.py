"""Water that somebody poured by hand: into the balance, as unsure as a can or a hose is.

It is no stimulus: nobody knows the minute, or how evenly it fell. So no probe is doubted for what
it does after it, and it teaches nothing of the bed's full point. Leaves out: what a can spills
beside the strip, and that a hose wets one end more; the wide uncertainty stands for both.
"""

from __future__ import annotations

import math

from controller.sensing.estimate import OVER_TAU_H, add_water
from controller.sensing.full_point import fed
from controller.state import BedWater, DoseTrial
from controller.told_state import Poured

POURED_SD_FRAC = 0.25  # of the litres told: cans counted, a hose timed; our own guess
POURED_MOST_TAW = 2.0  # times what the bed can hold full-grown: more is a slip of the finger
TAKEN_BACK_WITHIN_S = 24 * 3600.0  # later the probes have made their own of it
HOUR_S = 3600.0


def pour(
    water: BedWater, litres: float, area_m2: float, trial: DoseTrial | None, at_utc_s: float
) -> Poured:
    """Let poured water in.

    Args:
        water: the bed's state, changed in place.
        litres: as told [L], above 0.
        area_m2: of the bed's wetted strip [m2], above 0.
        trial: the bed's dose that waits for its answer: what is poured counts as a rain there, so
            that no probe is believed to have answered the dose by it.
        at_utc_s: now [s, Unix].

    Returns:
        What it did, so that it can be taken back.
    """
    depth_mm, lacked_mm, var_mm2 = litres / area_m2, water.depletion_mm, water.var_mm2
    fed(water, depth_mm, POURED_SD_FRAC * depth_mm, None, at_utc_s)
    water.soak_before_m3_m3 = None  # whatever began this soaking, its water is not surely known
    add_water(water, depth_mm, POURED_SD_FRAC, at_utc_s)
    if trial is not None:
        trial.rain_mm += depth_mm
    stored_mm = lacked_mm - water.depletion_mm
    return Poured(
        litres=litres,
        at_utc_s=at_utc_s,
        stored_mm=stored_mm,
        over_mm=depth_mm - stored_mm,
        var_mm2=var_mm2,
    )


def take_back(water: BedWater, poured: Poured, taw_mm: float, at_utc_s: float) -> None:
    """Undo what was told as poured: the bed lacks that water again, and is less surely known.

    Args:
        water: the bed's state, changed in place.
        poured: what `pour` gave.
        taw_mm: total available water [mm].
        at_utc_s: now [s, Unix].
    """
    since_h = max(0.0, at_utc_s - poured.at_utc_s) / HOUR_S
    over_left_mm = min(water.over_mm, poured.over_mm * math.exp(-since_h / OVER_TAU_H))
    back_mm = poured.stored_mm + over_left_mm
    before_mm = water.depletion_mm - water.over_mm
    after_mm = min(taw_mm, before_mm + back_mm)
    water.depletion_mm, water.over_mm = max(0.0, after_mm), max(0.0, -after_mm)
    gone_mm = poured.over_mm - over_left_mm  # that ran through, and never was
    drained_mm = min(gone_mm, water.drained_mm)
    water.drained_mm -= drained_mm
    water.below_mm += gone_mm - drained_mm
    water.in_mm -= poured.stored_mm + poured.over_mm
    water.pulled_mm += back_mm - (after_mm - before_mm)
    water.var_mm2 = max(water.var_mm2, poured.var_mm2)
