"""Degree-days of one day, in the four forms in use; each gives its own number on a hot day.

Degree-days are in °C d, base 10 °C, slowed above 30 °C: the limits of Zalom & Wilson 1999 for
tomato (21 growth stages, 536 sets of field data). The clock here runs on the capped form; on a day
of 35/18 °C the four give 14.0, 16.5, 11.5 and 15.8, so a sum is worth nothing without the name of
its form.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from types import MappingProxyType

BASE_C = 10.0  # [°C] no development below: Zalom & Wilson 1999
CAP_C = 30.0  # [°C] slowed development above: Zalom & Wilson 1999


class DegreeDays(StrEnum):
    """Which form made a number."""

    CAPPED = "capped"
    AVERAGE = "average"
    REDUCED = "reduced"
    TRIANGLE = "triangle"


USED_HERE = DegreeDays.CAPPED  # our own choice: both horizontal and reduced caps are published


def _clip(value: float, lowest: float, highest: float) -> float:
    return min(highest, max(lowest, value))


def degree_days_capped(tmin_c: float, tmax_c: float) -> float:
    """Degree-days of one day, both ends clipped to base and cap; the form used here.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C].

    Returns:
        Degree-days [°C d], 0..20.

    Source: horizontal cut-off; base and cap of Zalom & Wilson 1999.
    """
    return (_clip(tmin_c, BASE_C, CAP_C) + _clip(tmax_c, BASE_C, CAP_C)) / 2.0 - BASE_C


def degree_days_average(tmin_c: float, tmax_c: float) -> float:
    """Degree-days of one day from the mean, without a cap.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C].

    Returns:
        Degree-days [°C d], 0 or more.

    Source: common form; Heliyon 2020, e05114, table 3.
    """
    return max(0.0, (tmax_c + tmin_c) / 2.0 - BASE_C)


def degree_days_reduced(tmin_c: float, tmax_c: float) -> float:
    """Degree-days of one day where heat above the cap takes away as much as it exceeds it.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C].

    Returns:
        Degree-days [°C d], 0 or more.

    Source: Heliyon 2020, e05114, table 3.
    """
    top_c = CAP_C - (tmax_c - CAP_C) if tmax_c > CAP_C else tmax_c
    return max(0.0, (top_c + _clip(tmin_c, BASE_C, CAP_C)) / 2.0 - BASE_C)


def degree_days_triangle(tmin_c: float, tmax_c: float) -> float:
    """Degree-days of one day under a single triangle with a horizontal cap.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C], `tmin_c` or more.

    Returns:
        Degree-days [°C d], 0 or more.

    Source: Lindsey & Newman 1956, from memory.
    """
    return _triangle_above(BASE_C, tmin_c, tmax_c) - _triangle_above(CAP_C, tmin_c, tmax_c)


def _triangle_above(threshold_c: float, tmin_c: float, tmax_c: float) -> float:
    if not tmax_c > threshold_c:
        return 0.0
    if tmin_c >= threshold_c:
        return (tmax_c + tmin_c) / 2.0 - threshold_c
    above_c = tmax_c - threshold_c
    return above_c * (above_c / (tmax_c - tmin_c)) / 2.0


_FORMS: Mapping[DegreeDays, Callable[[float, float], float]] = MappingProxyType(
    {
        DegreeDays.CAPPED: degree_days_capped,
        DegreeDays.AVERAGE: degree_days_average,
        DegreeDays.REDUCED: degree_days_reduced,
        DegreeDays.TRIANGLE: degree_days_triangle,
    }
)


def degree_days(tmin_c: float, tmax_c: float, form: DegreeDays = USED_HERE) -> float:
    """Degree-days of one day in a form that is named.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C], `tmin_c` or more.
        form: which of the four.

    Returns:
        Degree-days [°C d], 0 or more.

    Source: Zalom & Wilson 1999 for base and cap; the forms as said at each.
    """
    return _FORMS[form](tmin_c, tmax_c)
