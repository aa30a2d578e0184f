"""The days of an own season: from the transplanting, or the first weather, to the last weather.

A record of the garden's own growing year keeps the garden's own dates, one of another year moves
them there.
"""

from __future__ import annotations

from datetime import date, timedelta

from controller.errors import SeasonError
from controller.garden import Garden
from sim.garden_world import Span, first_planted, midnight_utc_s, moved_to, year_in
from sim.growing_year import growing_year
from sim.season_types import Season


def span_within(garden: Garden, season: Season, last: date | None = None) -> tuple[Garden, Span]:
    """Find what a season holds of a garden's year.

    Args:
        garden: the garden file, its own dates.
        season: the weather.
        last: the last day, None for the season's own.

    Returns:
        The garden with its dates in the season's growing year, and the span.

    Raises:
        SeasonError: the season ends before the transplanting.
    """
    days = season.daily
    year = _year(garden, season)
    moved, planted = moved_to(garden, year), first_planted(garden, year)
    first = max(planted, days[0].date)
    end = days[-1].date if last is None else min(last, days[-1].date)
    if end <= first:
        msg = (
            f"{season.source}: the weather goes from {days[0].date} to {days[-1].date}, the"
            f" transplanting is on {planted}; nothing of the season is in it"
        )
        raise SeasonError(msg)
    span = Span(
        first=first,
        last=end,
        from_utc_s=midnight_utc_s(moved, first),
        to_utc_s=midnight_utc_s(moved, end + timedelta(days=1)),
    )
    return moved, span


def _year(garden: Garden, season: Season) -> int:
    """The garden's own growing year where the weather reaches into it, else as for any weather."""
    latitude_deg = garden.garden.latitude
    own = min(growing_year(bed.transplanted, latitude_deg) for bed in garden.beds.values())
    reached = [growing_year(day.date, latitude_deg) for day in (season.daily[0], season.daily[-1])]
    return own if reached[0] <= own <= reached[1] else year_in(garden, season)
