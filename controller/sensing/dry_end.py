"""The dry end: a bed that still drinks at a content cannot have its wilting point above it.

The garden file's wilting point is a class's mean, and a bed's probes have an offset of their own.
Where a bed is seen to drink well, by day, at a content at or below what the file calls its wilting
point, that point lies lower. Nothing else is learned here, and it moves that one way only:

- *seen to drink*: over 24 h, settled after water, all its probes tell of a fall that is half to
  double of what the bed would use well watered;
- *twice*: the second lowest of such days counts, so that one jump of a probe teaches nothing;
- *bounded*: the wilting point goes lower by `DEEPER_MOST_FRAC` of the available water as told at
  most. A bed is watered at its line or floor, 0.65 of it at most, so it never gets drier than by
  its file by more than 0.065 of the available water.

Why use that slows is not taken for a wilting point that lies higher: the fall of a drying bed slows
long before its plants close, as water comes from beside and below. In the simulated garden (seeds
1-5, two seasons, 2190 settled days) a bed's true content fell by 0.90 of the modelled use at a
depletion of 0.1 to 0.2 and by 0.65 at 0.3 to 0.4, unstressed both times; 0.9 % of the days ended
past the onset of stress, none beyond a depletion of 0.46. All settings are our own guess.
"""

from __future__ import annotations

import math

from controller.sensing.estimate import expected_use_mm_d
from controller.state import BedWater

DAY_S = 86_400.0
SETTLED_S = 24 * 3600.0  # after water: what runs through is not drunk
DRANK_LEAST_SHARE = 0.5  # of the use of a well-watered bed: less is no good drink
DRANK_MOST_SHARE = 2.0  # more is a probe that jumps
DRANK_LEAST_M3_M3 = 0.005  # a day's fall that probes tell from their own noise
DAYS = 2  # of the lowest are kept; the highest of them counts
DEEPER_MOST_FRAC = 0.10  # of the available water as told: the wilting point goes no lower


def hour(
    water: BedWater, told_m3_m3: float, probes: int, full_depth_m: float, at_utc_s: float
) -> bool:
    """Watch a bed for an hour.

    Args:
        water: the bed's state, changed in place.
        told_m3_m3: water content by its probes down to the full root depth [m3/m3].
        probes: how many told it; 0 where one of the bed's is missing or doubted.
        full_depth_m: the full root depth [m].
        at_utc_s: now [s, Unix].

    Returns:
        Whether a day ended that lies among the lowest.
    """
    wetted_s, from_s = water.wetted_utc_s, water.dry_from_utc_s
    if wetted_s is None or at_utc_s - wetted_s < SETTLED_S or not probes:
        water.dry_from_utc_s = None
        return False
    if from_s is None or not math.isfinite(told_m3_m3):
        _begin(water, told_m3_m3, at_utc_s)
        return False
    if at_utc_s - from_s < DAY_S:
        return False
    fell, days = water.dry_from_m3_m3 - told_m3_m3, (at_utc_s - from_s) / DAY_S
    _begin(water, told_m3_m3, at_utc_s)
    potential = expected_use_mm_d(water, math.inf) * days / (1000.0 * full_depth_m)
    least = max(DRANK_LEAST_M3_M3 * days, DRANK_LEAST_SHARE * potential)
    if days > 1.5 or not least <= fell <= DRANK_MOST_SHARE * potential:
        return False
    lows = sorted([*water.dry_lows_m3_m3, told_m3_m3])[:DAYS]
    changed, water.dry_lows_m3_m3 = lows != water.dry_lows_m3_m3, lows
    return changed


def _begin(water: BedWater, told_m3_m3: float, at_utc_s: float) -> None:
    finite = math.isfinite(told_m3_m3)
    water.dry_from_utc_s = at_utc_s if finite else None
    water.dry_from_m3_m3 = told_m3_m3 if finite else 0.0


def drank_at_m3_m3(water: BedWater) -> float | None:
    """The lowest content at which the bed surely still drank well [m3/m3]; None: not seen yet."""
    return water.dry_lows_m3_m3[-1] if len(water.dry_lows_m3_m3) >= DAYS else None


def wilting_m3_m3(
    file_m3_m3: float, available_told_m3_m3: float, drank_m3_m3: float | None
) -> float:
    """A bed's wilting point by where it was seen to drink.

    Args:
        file_m3_m3: by the file, and by its probes' offset as far as that was learned [m3/m3].
        available_told_m3_m3: the available water by the file [m3/m3].
        drank_m3_m3: the lowest content at which it drank well; None where that is not known.

    Returns:
        The same or lower, by `DEEPER_MOST_FRAC` of the available water at most [m3/m3].
    """
    if drank_m3_m3 is None or not drank_m3_m3 < file_m3_m3:
        return file_m3_m3
    return max(drank_m3_m3, file_m3_m3 - DEEPER_MOST_FRAC * available_told_m3_m3)


def forget(water: BedWater) -> None:
    """Undo what the dry end taught."""
    water.dry_from_utc_s, water.dry_lows_m3_m3 = None, []
