"""Years that hold a summer whole: from 1 January, south of the equator from 1 July.

A growing year is named by the calendar year in which it begins. A garden's days move to another
one together, so that a bed planted in October and cleared in March keeps its winter between.
"""

from __future__ import annotations

from datetime import date

SOUTHERN_BEGINS = 7  # month; half a year from the northern 1 January


def growing_year(day: date, latitude_deg: float) -> int:
    """The growing year that holds a day.

    Args:
        day: the day.
        latitude_deg: of the garden [degrees north].
    """
    early = latitude_deg < 0.0 and day.month < SOUTHERN_BEGINS
    return day.year - 1 if early else day.year


def day_of(month_day: tuple[int, int], year: int, latitude_deg: float) -> date:
    """The day that north of the equator is this one, moved by half a year south of it.

    Args:
        month_day: month and day in the north; one that every month has.
        year: the growing year.
        latitude_deg: of the garden [degrees north].
    """
    month, day = month_day
    if latitude_deg >= 0.0:
        return date(year, month, day)
    whole_years, before = divmod(month - 1 + SOUTHERN_BEGINS - 1, 12)
    return date(year + whole_years, before + 1, day)


def in_year(day: date, year: int) -> date:
    """The same month and day in another year; 29 February becomes the 28th."""
    try:
        return day.replace(year=year)
    except ValueError:
        return day.replace(year=year, day=28)


def in_growing_year(day: date, year: int, latitude_deg: float) -> date:
    """The same month and day in another growing year; 29 February becomes the 28th.

    Args:
        day: the day.
        year: the growing year.
        latitude_deg: of the garden [degrees north].
    """
    return in_year(day, year + day.year - growing_year(day, latitude_deg))
