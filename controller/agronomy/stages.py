"""A season told by the grower's own marks, or by the calendar where nothing else is known.

The degree-day limits of `crops.toml` are guesses. What the grower saw (first open flower, first
fruit set, first colour, last pick) outranks them: a mark is the degree-day sum [°C d] on the day it
was seen, and the limits that are still ahead move by as much as the last mark was off. With no mark
the crop is the table's own, unchanged.

Source: FAO-56 ch. 6 says that local observation outranks its stage lengths (table 11); the moving
of the limits is our own proposal.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, isfinite
from typing import Any

from controller.agronomy.crop import Crop


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """Degree-day sums since transplanting [°C d] on the days the grower marked; None: not seen."""

    first_flower_c_d: float | None = None
    first_set_c_d: float | None = None
    first_colour_c_d: float | None = None
    last_pick_c_d: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One mark: the day (ordinal) that it was seen and the degree-day sum on its morning [°C d]."""

    day: int
    degree_days: float


LIMITS = ("first_flower_c_d", "first_set_c_d", "main_set_over_c_d", "first_colour_c_d")


def crop_as_marked(crop: Crop, marks: Marks) -> Crop:
    """The crop with its limits as the grower saw them; then read by `crop.stage_of` as ever.

    Args:
        crop: of the table.
        marks: degree-day sums [°C d], 0 or more; a number that is no number counts as not seen.

    Returns:
        The crop; its limits keep their order, and an event that the crop does not have stays away.

    Source: our own proposal; FAO-56 ch. 6 for the rank of what is seen.
    """
    found: dict[str, float] = {}
    shift_c_d = 0.0
    for name in LIMITS:
        table_c_d = getattr(crop, name)
        if table_c_d is None:
            continue
        seen_c_d = _seen(getattr(marks, name, None))
        if seen_c_d is not None:
            shift_c_d = seen_c_d - table_c_d
        found[name] = table_c_d + shift_c_d
    # an event that was seen proves that all before it are past, whatever was guessed of them
    latest_c_d = inf
    limits: dict[str, Any] = {}
    for name in reversed(found):
        latest_c_d = min(latest_c_d, found[name])
        limits[name] = latest_c_d
    return replace(crop, **limits, last_pick_c_d=_seen(marks.last_pick_c_d))


def _seen(mark_c_d: float | None) -> float | None:
    if mark_c_d is None or not isfinite(mark_c_d) or mark_c_d < 0.0:
        return None
    return mark_c_d


def kcb_on_day(crop: Crop, days_since_transplant: float, *, staked: bool = False) -> float:
    """Basal crop coefficient by the calendar alone, where no temperature is known.

    Args:
        crop: the crop.
        days_since_transplant: [d], 0 or more.
        staked: grown tall: the coefficients of the footnotes where the table has them.

    Returns:
        Kcb [-]: flat, rising straight, flat, falling straight; the end value after the last stage,
        the initial value where the day is not a number.

    Source: FAO-56 eq. 66 with the lengths of table 11.
    """
    mid, end = crop.kcb_mid, crop.kcb_end
    if staked:
        mid = crop.kcb_mid if crop.kcb_mid_staked is None else crop.kcb_mid_staked
        end = crop.kcb_end if crop.kcb_end_staked is None else crop.kcb_end_staked
    initial_d, development_d, mid_d, late_d = crop.stage_d
    risen = _way(days_since_transplant - initial_d, development_d)
    fallen = _way(days_since_transplant - initial_d - development_d - mid_d, late_d)
    return crop.kcb_ini + (mid - crop.kcb_ini) * risen - (mid - end) * fallen


def _way(done_d: float, whole_d: float) -> float:
    """How much of a stage is over, 0..1; 0 for NaN."""
    return min(1.0, done_d / whole_d) if done_d > 0.0 else 0.0
