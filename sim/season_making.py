"""Makes a season of what a source recorded: hours filled, cut to local days, all of it said."""

from __future__ import annotations

from sim.season_open import brought, sky_over
from sim.season_shapes import fill, hours_of_days
from sim.season_types import Place, Record, Season


def season_of(source: str, record: Record, place: Place) -> Season:
    """Fill a record and cut it to whole local days.

    Args:
        source: what to call it.
        record: consecutive days or hours.
        place: the garden.

    Returns:
        The season.

    Raises:
        SeasonError: not one whole local day.
    """
    here = brought(record, place)
    sky = sky_over(here, place)
    hours = hours_of_days(here.days, sky) if here.days else here.hours
    filled = fill(hours, sky, here.days, here.year)
    return Season(
        source=source,
        place=place,
        hours=filled.hours,
        reported=filled.reported,
        estimated=(*here.notes, *filled.estimated),
        daily=filled.daily,
    )
