"""How sure a bed's state is, and its books: nothing is made or lost."""

from __future__ import annotations

import math
from typing import NamedTuple

from controller.sensing.estimate import FULL_SD_FRAC, BedSoil
from controller.sensing.full_point import told_mean_m3_m3
from controller.state import BedDay, BedWater

# Our own settings, found by trial in the simulated garden, seeds 1-10; not published.
SPREAD_MOST_FRAC = 0.30  # of TAW: an even guess between full and wilting is no wider
SHARED_SD_FRAC = 0.035  # of TAW: the probes' spot against its bed
RAW_SHARED_SD_FRAC = 0.09  # of TAW: the same where a balance taught what a count is worth


class Parts(NamedTuple):
    """What is not known of a depletion, as variances of the fraction of TAW [-].

    Attributes:
        own: what the filter itself does not know.
        full: what the full point may be wrong by.
        shared: what all of a bed's probes are wrong by together.
    """

    own: float
    full: float
    shared: float


def parts(water: BedWater, soil: BedSoil, day: BedDay) -> Parts:
    """Where what is not known of a bed comes from.

    Args:
        water: the bed's state.
        soil: the bed, its full point as known so far.
        day: the day's coefficients.

    With probes a wrong full point shifts a full bed most and a bed at its wilting point not at all;
    on the balance alone it is the other way round, since what was used is known and not the whole.
    """
    taw_mm = day.taw_mm
    lacks = min(1.0, water.depletion_mm / taw_mm)
    available = soil.field_capacity_m3_m3 - soil.wilting_point_m3_m3
    if water.full_odds_frac:
        waits = told_mean_m3_m3(water, soil) - water.full_shift_m3_m3
        full = (1.0 - lacks) * math.hypot(water.full_sd_m3_m3, waits) / available
        own = lacks * soil.probe_sd_m3_m3 / available
    else:
        full = lacks * FULL_SD_FRAC * soil.told_field_capacity_m3_m3 / available
        own = 0.0
    shared = RAW_SHARED_SD_FRAC if soil.uncalibrated and water.full_odds_frac else SHARED_SD_FRAC
    itself = (water.var_mm2 + water.odd_mm2) / (taw_mm * taw_mm)
    return Parts(itself, full * full, own * own + shared * shared)


def spread_frac(water: BedWater, soil: BedSoil, day: BedDay) -> float:
    """How sure the depletion is: its standard deviation as a fraction of TAW.

    Args:
        water: the bed's state.
        soil: the bed, its full point as known so far.
        day: the day's coefficients.

    Returns:
        All of `parts` together; within 0 and `SPREAD_MOST_FRAC`.
    """
    return min(SPREAD_MOST_FRAC, math.sqrt(sum(parts(water, soil, day))))


def full_sd_frac(water: BedWater, soil: BedSoil) -> float:
    """How far off a bed's full point may be by its own probes' odds, as a fraction of TAW [-].

    0 where no probe ever spoke, as nothing would tell that it was found; and before the first
    soaking, which goes by the file.
    """
    if not water.full_odds_frac or water.soak_utc_s is None:
        return 0.0
    return water.full_sd_m3_m3 / (soil.field_capacity_m3_m3 - soil.wilting_point_m3_m3)


def books_mm(water: BedWater) -> float:
    """What a bed lacks by its books alone: as after its last watering, then use and rain [mm].

    What readings, looks and hands made of it since is left out. Before its first watering nothing
    is: no books speak against what is believed.
    """
    lacks_mm = water.depletion_mm - water.over_mm
    if water.pulled_from_mm is None:
        return lacks_mm
    return lacks_mm + water.pulled_mm - water.pulled_from_mm


def begin_books(water: BedWater) -> None:
    """Let a watering's end begin the books anew, from what the bed is then believed to lack."""
    water.pulled_from_mm = water.pulled_mm


def stored_mm(water: BedWater) -> float:
    """What the ground down to the full root depth holds, less its field capacity [mm]."""
    return water.over_mm - water.depletion_mm - water.below_mm


def accounted_mm(water: BedWater) -> float:
    """Water in, less use and drainage, and what readings made of it [mm], since the bed began.

    The change of `stored_mm` is the change of this: nothing is made or lost.
    """
    return water.in_mm - water.used_mm - water.drained_mm + water.pulled_mm
