"""When a bed is likely to drink next: the nights between an early and a late guess.

From the filter's spread and the day's use give or take a quarter; the nearer edge is moved on to
the hours in which watering may happen.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.watering.hours import Place, window_at
from controller.watering.policy import LOOK_AHEAD, BedView

SPREAD_SD = 1.28  # an 80 % window of a normal spread
USE_SPREAD = 0.25  # the coming days' use, give or take: our own proposal
FURTHEST_D = 30.0
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NextWatering:
    """The window of the next watering."""

    from_utc_s: float
    to_utc_s: float


def days_to_line(bed: BedView, spread_sd: float, use_factor: float) -> float:
    """Days until the bed is due, with the depletion and the use shifted [d]."""
    due_frac = min(bed.line_frac, bed.floor_frac - LOOK_AHEAD * bed.day_use_frac)
    lacks = due_frac - (bed.depletion_frac + spread_sd * bed.spread_frac)
    use = bed.day_use_frac * use_factor
    if lacks <= 0.0:
        return 0.0
    return min(FURTHEST_D, lacks / use) if use > 0.0 else FURTHEST_D


def next_watering(bed: BedView, hours: str, place: Place, at_utc_s: float) -> NextWatering | None:
    """The window of a bed's next watering.

    Args:
        bed: its state now.
        hours: the garden's hours.
        place: for sunrise and sunset.
        at_utc_s: now [s, Unix].

    Returns:
        The window, None where it is further off than a month.
    """
    early_d = days_to_line(bed, SPREAD_SD, 1.0 + USE_SPREAD)
    late_d = days_to_line(bed, -SPREAD_SD, 1.0 - USE_SPREAD)
    if not early_d < FURTHEST_D:
        return None
    first = window_at(hours, place, at_utc_s + early_d * DAY_S)
    last = window_at(hours, place, at_utc_s + min(late_d, FURTHEST_D) * DAY_S)
    return NextWatering(
        from_utc_s=max(at_utc_s, first.from_utc_s),
        to_utc_s=max(last.to_utc_s, first.to_utc_s),
    )
