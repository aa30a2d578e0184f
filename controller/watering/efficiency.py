"""What a bed's own deep probe teaches of its doses: lost below, wasted beside, or enough by now.

Three lessons, all bounded. A deep probe that reads above full after a dose says that its last part
ran through: the next dose is cut. Where the bed lacked water all the same, the dose went past its
roots: the share that stayed is learned, and more is given for as much. And while a bed drinks, a
deep probe that has risen to full says that the rest is not needed. Pure; depths are mm over the
wetted strip.

A metered bed's litres are counted, so a meter needs no efficiency; without one a dose goes by time.
All numbers are our own proposals; cut by 10-20 % after deep drainage: the project's handbook.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

LEAST_FRAC = 0.7  # an efficiency is never taken for less
MOVES = 0.25  # of the way to what a dose taught
CUT_FRAC = 0.15  # after deep drainage was seen
CUT_MOST_FRAC = 0.30
CUT_ENDS_FRAC = 0.04
FULL_LACKS_FRAC = 0.08  # of TAW: a bed that lacks less was filled, whatever ran through
DEEP_OVER_M3_M3 = 0.012  # above full, hours after the last water
DEEP_ROSE_M3_M3 = 0.02  # clearly, by the last reading
SHALLOW_ROSE_M3_M3 = 0.01
ENOUGH_OVER_M3_M3 = 0.005
SEEN_FROM_S = 4 * 3600.0  # the front itself passes wetter than what stays
TAUGHT_AFTER_S = 24 * 3600.0
RAIN_MM = 2.0  # more of it, and the dose teaches nothing


@dataclass(slots=True, kw_only=True)
class DoseWatch:
    """A dose whose end is still looked at."""

    ended_utc_s: float
    given_mm: float
    in_mm: float  # the books' water in, with the dose
    used_mm: float  # the books' use when it began
    told_m3_m3: float | None  # by all probes before it, down to full root depth
    before_m3_m3: dict[str, float]  # by probe
    drained: bool = False  # the deep probe stood above full hours after
    asked_utc_s: float = 0.0  # when that was last looked at


@dataclass(slots=True, kw_only=True)
class DoseLesson:
    """What a bed's doses taught so far."""

    efficiency_frac: float = 1.0
    cut_frac: float = 0.0
    doses: int = 0  # that taught something
    drained: int = 0  # of them, how many ran through
    watch: DoseWatch | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DeepWord:
    """What a bed's uppermost and deepest trusted probe tell now, and told before the water."""

    shallow_before_m3_m3: float
    shallow_m3_m3: float
    deep_before_m3_m3: float
    deep_m3_m3: float
    full_m3_m3: float  # what the deep one reads where the bed is full
    full_sd_m3_m3: float = field(default=0.0)  # how far that may be off


def both_felt(word: DeepWord) -> bool:
    """Whether both probes clearly felt this water: one alone may be a faulty one."""
    shallow_rose = word.shallow_m3_m3 - word.shallow_before_m3_m3
    deep_rose = word.deep_m3_m3 - word.deep_before_m3_m3
    return shallow_rose >= SHALLOW_ROSE_M3_M3 and deep_rose >= DEEP_ROSE_M3_M3


def enough(word: DeepWord) -> bool:
    """Whether the water is down: the deep probe has risen to full, surely.

    Args:
        word: what the probes tell while the bed drinks.
    """
    sure_m3_m3 = word.full_m3_m3 + max(ENOUGH_OVER_M3_M3, word.full_sd_m3_m3)
    return both_felt(word) and word.deep_m3_m3 >= sure_m3_m3


def ran_through(word: DeepWord) -> bool:
    """Whether the deep probe still stands above full, hours after the last water."""
    over_m3_m3 = max(DEEP_OVER_M3_M3, word.full_sd_m3_m3)
    return both_felt(word) and word.deep_m3_m3 >= word.full_m3_m3 + over_m3_m3


def taught(lesson: DoseLesson, stayed_frac: float, lacks_frac: float) -> None:
    """Learn from the dose under watch, and end the watch.

    Args:
        lesson: changed in place.
        stayed_frac: what the probes found again of it, over what was given; NaN: not known.
        lacks_frac: what the bed still lacked after it, of TAW; NaN: not known.
    """
    watch, lesson.watch = lesson.watch, None
    if watch is None:
        return
    lesson.doses += 1
    past_the_roots = watch.drained and lacks_frac > FULL_LACKS_FRAC
    if watch.drained:
        lesson.drained += 1
    if watch.drained and not past_the_roots:
        lesson.cut_frac = min(CUT_MOST_FRAC, lesson.cut_frac + CUT_FRAC)
    elif lesson.cut_frac:
        left_frac = 0.5 * lesson.cut_frac
        lesson.cut_frac = left_frac if left_frac >= CUT_ENDS_FRAC else 0.0
    if math.isfinite(stayed_frac):
        goal_frac = min(1.0, max(LEAST_FRAC, stayed_frac)) if past_the_roots else 1.0
        lesson.efficiency_frac += MOVES * (goal_frac - lesson.efficiency_frac)


def dose_l(dose_mm: float, area_m2: float, lesson: DoseLesson, smallest_mm: float) -> float:
    """Litres for a dose, by what the bed taught.

    Args:
        dose_mm: wanted among the roots [mm].
        area_m2: of the wetted strip [m2].
        lesson: the bed's.
        smallest_mm: no cut goes below this deep dose [mm]; a dose that is smaller is not cut.

    Returns:
        Litres through the valve [L].
    """
    cut_mm = max(min(dose_mm, smallest_mm), dose_mm * (1.0 - lesson.cut_frac))
    efficiency_frac = min(1.0, max(LEAST_FRAC, lesson.efficiency_frac))
    return cut_mm * area_m2 / efficiency_frac
