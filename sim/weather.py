"""Seasons of weather for the simulated garden, by name or from a file.

Names: open records (`sim.season_open`), `invented-dry`, `invented-wet`, `invented-demo` (made up
by a seeded generator; `invented-dry:7` is another year of the same climate), `own` (the daemon's
store). Anything else is the path of a CSV file; see `sim.season_files` for its columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.errors import SeasonError
from sim.growing_year import day_of, growing_year, in_year
from sim.season_checks import check_sun
from sim.season_files import read_csv
from sim.season_invented import INVENTED, invent, is_invented
from sim.season_making import season_of
from sim.season_open import RECORDS, open_record
from sim.season_own import own_season
from sim.season_types import Day, DayRow, HourRow, Place, Record, Season, WorldHour

__all__ = [
    "Day",
    "DayRow",
    "HourRow",
    "Place",
    "Season",
    "WorldHour",
    "load_season",
    "season_from_hours",
    "season_names",
    "season_span",
]

OWN = "own"
FROST_C = 0.0  # a night at or below this ends a season
FROST_COUNTS_AFTER = (8, 1)  # month, day; half a year on south of the equator
LAST_MONTH_DAY_AFTER = (11, 1)  # the day after the last one without frost; likewise


def season_names() -> tuple[str, ...]:
    """All names that `load_season` knows, without the years of invented ones."""
    return (*RECORDS, *INVENTED, OWN)


def load_season(
    name_or_path: str,
    *,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    timezone: str,
    database: Path | None = None,
) -> Season:
    """Find, read, check and fill a season.

    Args:
        name_or_path: a name of `season_names`, or the path of a CSV file.
        latitude_deg: [degrees north].
        longitude_deg: [degrees east].
        elevation_m: [m].
        timezone: IANA name; days are local days there.
        database: the daemon's store or its data folder, for `own`.

    Returns:
        The season, every hour of it full.

    Raises:
        SeasonError: no such season, or its file is not weather.
    """
    place = Place(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=elevation_m,
        timezone=timezone,
    )
    if is_invented(name_or_path):
        return season_of(name_or_path, Record(days=invent(name_or_path, place)), place)
    if name_or_path in RECORDS:
        return season_of(name_or_path, open_record(name_or_path), place)
    if name_or_path == OWN:
        if database is None:
            msg = "season 'own': no store was named; the daemon's data folder is needed"
            raise SeasonError(msg)
        return own_season(database, place)
    return _from_file(name_or_path, place)


def _from_file(name_or_path: str, place: Place) -> Season:
    path = Path(name_or_path)
    if not path.is_file():
        known = ", ".join(season_names())
        msg = f"season {name_or_path!r}: no such file and no such name; known names: {known}"
        raise SeasonError(msg)
    record = read_csv(path)
    check_sun(path.name, record.hours, place)
    return season_of(name_or_path, record, place)


def season_from_hours(source: str, rows: Sequence[HourRow], place: Place) -> Season:
    """A season from hours at hand.

    Args:
        source: what to call it.
        rows: consecutive hours, at least one whole local day.
        place: the garden.

    Returns:
        The season, cut to whole local days.

    Raises:
        SeasonError: not one whole local day.
    """
    return season_of(source, Record(hours=tuple(rows)), place)


def season_span(
    season: Season, transplanted: date, cleared: date | None, timezone: str
) -> tuple[date, date]:
    """First and last local day of a garden's year when it is moved into a season.

    Args:
        season: the weather.
        transplanted: the garden's day of transplanting; it moves to the first year that holds it.
        cleared: the garden's last day, which moves by as many years, or None: then the day before
            the first night at or below 0 °C after 1 August, else 31 October; south of the
            equator after 1 February, else 30 April.
        timezone: the garden's zone; it must be the season's.

    Returns:
        Both days, inclusive, inside the season.

    Raises:
        SeasonError: the season does not hold these days.
    """
    if ZoneInfo(timezone).key != season.place.timezone:
        msg = f"{season.source}: days are of {season.place.timezone}, asked for {timezone}"
        raise SeasonError(msg)
    first, last = season.daily[0].date, season.daily[-1].date
    begin = _moved(transplanted, first, first.year, last.year)
    if begin is None or begin > last:
        msg = (
            f"{season.source}: holds {first} to {last}; the transplanting on"
            f" {transplanted:%m-%d} is not among these days"
        )
        raise SeasonError(msg)
    if cleared is None:
        end = _end(season, begin)
    else:
        end = in_year(cleared, cleared.year + begin.year - transplanted.year)
    if end > last or end <= begin:
        msg = f"{season.source}: holds {first} to {last}; the season asked for is {begin} to {end}"
        raise SeasonError(msg)
    return begin, end


def _moved(day: date, not_before: date, first_year: int, last_year: int) -> date | None:
    """The same month and day in the first year that still has it."""
    for year in range(first_year, last_year + 1):
        here = in_year(day, year)
        if here >= not_before:
            return here
    return None


def _end(season: Season, begin: date) -> date:
    """Last day of plants that nobody clears: before the first frost, else at the end of October."""
    latitude_deg = season.place.latitude_deg
    year = growing_year(begin, latitude_deg)
    counts_after = day_of(FROST_COUNTS_AFTER, year, latitude_deg)
    latest = day_of(LAST_MONTH_DAY_AFTER, year, latitude_deg) - timedelta(days=1)
    for day in season.daily:
        if max(begin, counts_after) < day.date <= latest and day.tmin_c <= FROST_C:
            return day.date - timedelta(days=1)
    return latest
