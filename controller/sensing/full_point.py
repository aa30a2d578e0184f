"""A bed's own full point, as odds over candidates, learned from what its probes say after water.

Field capacity is the weakest number in a garden file. Every soaking tells something about it:

- water that the probes find again did not run through: the bed holds at least that much;
- water that vanished, use allowed for, ran through: what the bed reads a day or two later, still
  draining at first, is its full point.

Both are one rule: after water a bed reads the lower of what it would read if all had stayed, and of
its full point with what has not drained yet. Each candidate full point foretells that reading; an
hour's reading makes those likelier that foretold it. The hours after one soaking share most of
their errors, so each counts a little. Rain counts as water does, less surely.

The full point is of field capacity as this bed's probes tell it [m3/m3], so their own offset is in
it too. The settings are our own proposals, found by trial in the simulated garden, seeds 1-10.
Leaves out: a full point that no water ever reached stays unknown from above.
"""

from __future__ import annotations

import math
from functools import lru_cache

from controller.sensing.estimate import FULL_SD_FRAC, BedSoil
from controller.state import BedWater

HOUR_S = 3600.0
LOOK_S = 6 * HOUR_S
LOOKS_WAIT = 4  # looks for which what the odds have come to waits until it counts: a day
CANDIDATES = 15
REACH_FRAC = 0.5  # of the available water as told: the candidates' reach either way
FIRST_H, LAST_H = 10.0, 60.0  # after the last water: what an hour's reading may say
NEW_SOAK_S = 10 * HOUR_S  # water after a longer pause is another soaking
SPLASH_MM = 1.0  # less is no soaking
SOAK_LEAST_FRAC = 0.10  # of the available water: a smaller soaking says nothing
SEEN_FRAC = 0.87  # of a dose that two probes find again where nothing ran through
OVER_FRAC = 0.10  # of the available water still above full FIRST_H after water ran through
OVER_TAU_H = 14.0
FREE_SD_FRAC = 0.05  # of the available water: what a reading may miss where all stayed
SEEN_SD_FRAC = 0.12  # of the dose
FULL_READ_SD_FRAC = 0.06  # of the available water: what a full bed's reading may be off
USE_SD_FRAC = 0.2  # of the use since
HOURS_SHARED = 14.0  # hours after a soaking that together count as one look
FLOOR = 0.02  # of a likelihood: nothing is ever ruled out by one look
CHANGE_FRAC = 0.004  # of the available water: a smaller change of the full point waits


def fed(
    water: BedWater, depth_mm: float, sd_mm: float, told_m3_m3: float | None, at_utc_s: float
) -> None:
    """Note water that was given or fell.

    Args:
        water: the bed's state, changed in place.
        depth_mm: over the strip [mm].
        sd_mm: how uncertain that is [mm].
        told_m3_m3: what the probes told before [m3/m3].
        at_utc_s: when [s, Unix].
    """
    last_s = water.soak_utc_s
    begins = last_s is None or at_utc_s - last_s > NEW_SOAK_S
    if begins and depth_mm < SPLASH_MM:
        return
    if begins:
        water.soak_before_m3_m3 = told_m3_m3
        water.soak_given_mm = water.soak_use_mm = water.soak_var_mm2 = 0.0
    water.soak_given_mm += depth_mm
    water.soak_var_mm2 += sd_mm * sd_mm
    if begins or depth_mm >= SPLASH_MM / 6.0:
        water.soak_utc_s = at_utc_s
        water.soak_late_mm = water.soak_use_mm


def candidates_m3_m3(soil: BedSoil) -> list[float]:
    """The full points that are thought possible, as shifts from the file's [m3/m3]."""
    return list(_candidates_m3_m3(soil.told_field_capacity_m3_m3 - soil.wilting_told_m3_m3))


@lru_cache(maxsize=64)  # a bed's are the same hour by hour
def _candidates_m3_m3(available_m3_m3: float) -> tuple[float, ...]:
    half = CANDIDATES // 2
    return tuple(REACH_FRAC * available_m3_m3 * (n - half) / half for n in range(CANDIDATES))


def begin(water: BedWater, soil: BedSoil) -> None:
    """The odds before anything was seen: near what the file says."""
    sd = math.hypot(FULL_SD_FRAC * soil.told_field_capacity_m3_m3, soil.probe_sd_m3_m3)
    odds = [math.exp(-0.5 * (shift / sd) ** 2) for shift in candidates_m3_m3(soil)]
    whole = sum(odds)
    water.full_odds_frac = [each / whole for each in odds]
    water.full_sd_m3_m3 = told_sd_m3_m3(water, soil)
    water.full_wait_m3_m3 = []


def begin_again(water: BedWater, soil: BedSoil) -> None:
    """Odds for other probes in the same bed: what the soil taught stays, their own error is new."""
    soil_var = (FULL_SD_FRAC * soil.told_field_capacity_m3_m3) ** 2
    own_var = soil.probe_sd_m3_m3**2
    kept = told_mean_m3_m3(water, soil) * soil_var / (soil_var + own_var)
    var = min(told_sd_m3_m3(water, soil) ** 2 + own_var, soil_var + own_var)
    odds = [math.exp(-0.5 * (shift - kept) ** 2 / var) for shift in candidates_m3_m3(soil)]
    whole = sum(odds)
    water.full_odds_frac = [each / whole for each in odds]
    water.full_sd_m3_m3 = told_sd_m3_m3(water, soil)
    water.full_wait_m3_m3 = []
    water.soak_utc_s = water.soak_before_m3_m3 = None


def told_mean_m3_m3(water: BedWater, soil: BedSoil) -> float:
    """The full point by its odds, less the file's [m3/m3]."""
    shifts = candidates_m3_m3(soil)
    return sum([each * shift for each, shift in zip(water.full_odds_frac, shifts, strict=True)])


def told_sd_m3_m3(water: BedWater, soil: BedSoil) -> float:
    """How far the full point may be off: the spread of its odds, no finer than their grid."""
    mean = told_mean_m3_m3(water, soil)
    shifts = candidates_m3_m3(soil)
    odds = water.full_odds_frac
    var = sum([each * (shift - mean) ** 2 for each, shift in zip(odds, shifts, strict=True)])
    grid = shifts[1] - shifts[0]
    return math.sqrt(var + grid * grid / 12.0)


def hour(water: BedWater, soil: BedSoil, told_m3_m3: float, at_utc_s: float) -> bool:
    """Let an hour's reading speak for the candidates.

    Args:
        water: the bed's state, changed in place.
        soil: the bed; its odds have begun.
        told_m3_m3: water content by the probes down to the full root depth [m3/m3].
        at_utc_s: now [s, Unix].

    Returns:
        Whether the reading said anything.
    """
    since_s, before = water.soak_utc_s, water.soak_before_m3_m3
    if since_s is None or before is None or not math.isfinite(told_m3_m3):
        return False
    age_h = (at_utc_s - since_s) / HOUR_S
    if not FIRST_H <= age_h <= LAST_H:
        return False
    available = soil.told_field_capacity_m3_m3 - soil.wilting_told_m3_m3
    ground_mm = 1000.0 * soil.full_root_depth_m
    given = water.soak_given_mm / ground_mm
    if given < SOAK_LEAST_FRAC * available:
        return False
    # by the crop alone: water that ran through may have been taken for thirst
    plain = math.exp(-water.log_thirst) / ground_mm
    used, after = plain * water.soak_use_mm, plain * (water.soak_use_mm - water.soak_late_mm)
    free = before + SEEN_FRAC * given - used
    free_var = (
        (FREE_SD_FRAC * available) ** 2
        + (SEEN_SD_FRAC * given) ** 2
        + water.soak_var_mm2 / (ground_mm * ground_mm)
        + (USE_SD_FRAC * used) ** 2
    )
    over = OVER_FRAC * available * math.exp(-(age_h - FIRST_H) / OVER_TAU_H)
    full_var = (FULL_READ_SD_FRAC * available) ** 2 + (USE_SD_FRAC * after) ** 2
    base = soil.told_field_capacity_m3_m3 + over - after
    _weigh(water, soil, told_m3_m3, (free, free_var), (base, full_var))
    water.full_sd_m3_m3 = told_sd_m3_m3(water, soil)
    return True


def _weigh(
    water: BedWater,
    soil: BedSoil,
    told: float,
    free: tuple[float, float],
    full: tuple[float, float],
) -> None:
    """Bayes' rule over the candidates, for one hour."""
    (stays, stays_var), (base, full_var) = free, full
    stays_sd, full_sd = math.sqrt(stays_var), math.sqrt(full_var)
    share = 1.0 / HOURS_SHARED
    odds = water.full_odds_frac
    whole = 0.0
    for n, shift in enumerate(candidates_m3_m3(soil)):
        holds = base + shift
        if stays < holds:
            off, sd = (told - stays) / stays_sd, stays_sd
        else:
            off, sd = (told - holds) / full_sd, full_sd
        likely = (math.exp(-0.5 * off * off) + FLOOR) / sd
        odds[n] = each = odds[n] * likely**share
        whole += each
    for n in range(CANDIDATES):
        odds[n] /= whole


def hear_hand(
    water: BedWater, soil: BedSoil, off_m3_m3: float, sd_m3_m3: float, at_utc_s: float
) -> float:
    """Let a hand in the soil speak for the candidates, at once.

    Args:
        water: the bed's state, changed in place; its depletion follows with `shift_full`.
        soil: the bed; its odds have begun.
        off_m3_m3: how far the full point lies above what is believed, were it all that is wrong.
        sd_m3_m3: how wrong that may be, above 0.
        at_utc_s: now [s, Unix].

    Returns:
        The change of the full point [m3/m3]: towards `off_m3_m3`, never past half of it.
    """
    shifts, before = candidates_m3_m3(soil), water.full_odds_frac
    mean = told_mean_m3_m3(water, soil)
    odds = [
        each * math.exp(-0.5 * ((shift - mean - off_m3_m3) / sd_m3_m3) ** 2)
        for each, shift in zip(before, shifts, strict=True)
    ]
    whole = sum(odds)
    if not whole > 0.0 or off_m3_m3 == 0.0:
        return 0.0
    told = sum([each * shift for each, shift in zip(odds, shifts, strict=True)]) / whole - mean
    wanted = max(0.0, min(0.5, told / off_m3_m3)) * off_m3_m3
    kept = 1.0 - wanted / told if told != 0.0 else 0.0
    water.full_odds_frac = [
        kept * was + (1.0 - kept) * each / whole for was, each in zip(before, odds, strict=True)
    ]
    water.full_sd_m3_m3 = told_sd_m3_m3(water, soil)
    if wanted != 0.0:
        water.full_shift_m3_m3 += wanted
        water.full_due_m3_m3 += wanted
        water.full_wait_m3_m3 = [each + wanted for each in water.full_wait_m3_m3]
        water.full_since_utc_s = at_utc_s
    return wanted


def look(water: BedWater, soil: BedSoil, at_utc_s: float) -> float:
    """Every six hours: take over what the odds had come to a day before, where it is worth it.

    Args:
        water: the bed's state, changed in place; its depletion follows in the next hour.
        soil: the bed.
        at_utc_s: now [s, Unix].

    Returns:
        The change of the full point [m3/m3], 0 where nothing changed.

    A wetter reading speaks for a higher full point, from which the bed lacks more. So that it never
    makes a bed look drier within a day, what it teaches counts after 24 h, and within 30.
    """
    looked, waits = int(at_utc_s // LOOK_S), water.full_wait_m3_m3
    if looked == water.full_looked:
        return 0.0
    water.full_looked = looked
    waits.append(told_mean_m3_m3(water, soil))
    if len(waits) <= LOOKS_WAIT:
        return 0.0
    told = waits.pop(0)
    change = told - water.full_shift_m3_m3
    available = soil.told_field_capacity_m3_m3 - soil.wilting_told_m3_m3
    if not abs(change) > CHANGE_FRAC * available:
        return 0.0
    water.full_shift_m3_m3 = told
    water.full_since_utc_s = at_utc_s
    water.full_due_m3_m3 += change
    return change
