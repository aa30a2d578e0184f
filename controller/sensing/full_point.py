"""A bed's own full point, learned from what its probes say the day after a deep watering.

Field capacity is the weakest number in a garden file. Two things give it away:

- water that vanished: a watering whose millimetres the probes do not find again a day later, use
  allowed for, ran through. The bed was full, and what it reads then is its full point;
- water that stays: a bed that still reads wetter than full a day or two after water holds more
  than the file says.

The shift is of field capacity as this bed's probes tell it [m3/m3], so a probe's own offset is in
it too. It is learned in part each time and within bounds. The thresholds are our own proposals,
found by trial in the simulated garden. Leaves out: a full point above the file's in a bed that
never overflows stays unknown.
"""

from __future__ import annotations

from statistics import median

from controller.sensing.estimate import BedSoil
from controller.state import BedWater

HOUR_S = 3600.0
FIRST_LOOK_S = 20 * HOUR_S  # before the next night; gravity water is mostly gone
SECOND_LOOK_S = 40 * HOUR_S  # the plateau: 24 to 48 h after a soaking
LAST_LOOK_S = 56 * HOUR_S
LOOKS = 2
GAIN = 0.5  # how far each lesson is believed
NEW_SOAK_S = 12 * HOUR_S  # water after a longer pause is another soaking
SOAK_LEAST_FRAC = 0.10  # of TAW: less says nothing
VANISHED_FRAC = 0.40  # of the water given; two probes miss 0.2 of it where nothing ran through
VANISHED_TIMES = 3  # soakings whose median counts
OVER_FULL_FRAC = 0.10  # of TAW: drier than this, a day after water, is not full by the file
REFILL_LEAVES_FRAC = 0.05  # of TAW: a refill stops short of full by this
WETTER_FRAC = 0.06  # of TAW beyond full, two days after water
SHIFT_MOST_FRAC = 0.35  # of the available water either way
RAIN_DOUBT_MM = 2.0  # with more rain than this nobody knows what was given


def soaked(water: BedWater, depth_mm: float, told_mm: float | None, at_utc_s: float) -> None:
    """Note water that was given.

    Args:
        water: the bed's state, changed in place.
        depth_mm: over the strip [mm].
        told_mm: depletion that the probes told before [mm], below 0 where wetter than full.
        at_utc_s: when [s, Unix].
    """
    last_s = water.soak_utc_s
    if last_s is None or at_utc_s - last_s > NEW_SOAK_S:
        water.soak_before_mm = told_mm
        water.soak_given_mm = water.soak_use_mm = water.soak_rain_mm = 0.0
        water.soak_looks = 0
    water.soak_utc_s = at_utc_s
    water.soak_given_mm += depth_mm


def look(
    water: BedWater, soil: BedSoil, root_depth_m: float, told_mm: float, at_utc_s: float
) -> float:
    """See whether the probes give the full point away.

    Args:
        water: the bed's state, changed in place.
        soil: the bed, its full point as known so far.
        root_depth_m: present root depth [m].
        told_mm: depletion by the probes [mm], below 0 where wetter than full.
        at_utc_s: now [s, Unix].

    Returns:
        The change of the full point [m3/m3], 0 where nothing was learned.
    """
    if not _due(water, at_utc_s):
        return 0.0
    first = water.soak_looks == 0
    water.soak_looks += 1
    taw_mm = soil.taw_mm(root_depth_m)
    full_mm = told_mm - water.soak_use_mm  # what it read when the water had settled
    if first:
        short_mm = _ran_through_mm(water, told_mm, full_mm, taw_mm)
    else:
        short_mm = full_mm if full_mm < -WETTER_FRAC * taw_mm else 0.0
    if short_mm == 0.0:
        return 0.0
    wanted = water.full_shift_m3_m3 - GAIN * short_mm / (1000.0 * root_depth_m)
    most = SHIFT_MOST_FRAC * (soil.told_field_capacity_m3_m3 - soil.wilting_point_m3_m3)
    shift = max(-most, min(most, wanted))
    change = shift - water.full_shift_m3_m3
    water.full_shift_m3_m3 = shift
    water.depletion_mm = max(0.0, water.depletion_mm + 1000.0 * root_depth_m * change)
    return change


def _due(water: BedWater, at_utc_s: float) -> bool:
    since_utc_s = water.soak_utc_s
    if since_utc_s is None or water.soak_looks >= LOOKS:
        return False
    age_s = at_utc_s - since_utc_s
    return (FIRST_LOOK_S, SECOND_LOOK_S)[water.soak_looks] <= age_s <= LAST_LOOK_S


def _ran_through_mm(water: BedWater, told_mm: float, full_mm: float, taw_mm: float) -> float:
    """How far below the file's full point this bed is full [mm]; 0 unless water vanished."""
    before_mm, given_mm = water.soak_before_mm, water.soak_given_mm
    doubtful = before_mm is None or water.soak_rain_mm > RAIN_DOUBT_MM
    if before_mm is None or doubtful or given_mm < SOAK_LEAST_FRAC * taw_mm:
        return 0.0
    missing_mm = given_mm - (before_mm - (told_mm - water.soak_use_mm))
    water.soaks_missing_frac.append(missing_mm / given_mm)
    del water.soaks_missing_frac[:-VANISHED_TIMES]
    lately = water.soaks_missing_frac
    if len(lately) < VANISHED_TIMES or not median(lately) > VANISHED_FRAC:
        return 0.0
    if not full_mm > OVER_FULL_FRAC * taw_mm:
        return 0.0
    lately.clear()  # the next lesson needs soakings of its own
    return full_mm - REFILL_LEAVES_FRAC * taw_mm
