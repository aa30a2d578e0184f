"""The days of an own season: from the transplanting, or the first weather, to the last weather."""

from __future__ import annotations

from datetime import date, timedelta

from controller.errors import SeasonError
from controller.garden import Garden
from sim.garden_world import Span, midnight_utc_s, moved_to
from sim.season_types import Season


def span_within(garden: Garden, season: Season, last: date | None = None) -> tuple[Garden, Span]:
    """Find what a season holds of a garden's year.

    Args:
        garden: the garden file, its own dates.
        season: the weather.
        last: the last day, None for the season's own.

    Returns:
        The garden with its dates in the season's year, and the span.

    Raises:
        SeasonError: the season ends before the transplanting.
    """
    days = season.daily
    moved = moved_to(garden, days[0].date.year)
    planted = min(bed.transplanted for bed in moved.beds.values())
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
