"""What a season of weather is: hours for the world, days for tables, and what is only estimated.

Units: temperature in °C, rain and reference evapotranspiration in mm, radiation in W/m2,
wind in m/s at 2 m, instants in Unix seconds UTC.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

HOUR_S = 3600.0
COLUMNS = ("temp_c", "rh_pct", "rain_mm", "solar_w_m2", "wind_m_s")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a season is looked at: decides sun, pressure and local days."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorldHour:
    """One hour of weather with every value filled; `at_utc_s` is its beginning."""

    at_utc_s: float
    temp_c: float
    rh_pct: float
    rain_mm: float
    solar_w_m2: float
    wind_m_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One local day of a season; `start_utc_s` is its midnight."""

    date: date
    start_utc_s: float
    tmin_c: float
    tmax_c: float
    rain_mm: float
    eto_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """Weather without a gap, in whole local days.

    Args:
        source: the name or path that was asked for.
        place: where it is looked at.
        hours: consecutive hours.
        reported: columns of `COLUMNS` that a mast at this place would tell.
        estimated: sentences, each saying what was filled in and by which rule.
        daily: consecutive local days.
    """

    source: str
    place: Place
    hours: tuple[WorldHour, ...]
    reported: frozenset[str]
    estimated: tuple[str, ...]
    daily: tuple[Day, ...]

    def hour_at(self, at_utc_s: float) -> WorldHour:
        """The hour that holds an instant; before and after the season the nearest one."""
        index = int((at_utc_s - self.hours[0].at_utc_s) // HOUR_S)
        return self.hours[max(0, min(len(self.hours) - 1, index))]


@dataclass(frozen=True, slots=True, kw_only=True)
class DayRow:
    """One day as a source tells it; None where it has no value. `eto_mm`: published, not ours."""

    date: date
    tmin_c: float
    tmax_c: float
    rain_mm: float
    rh_mean_pct: float | None = None
    solar_mj_m2: float | None = None
    wind_m_s: float | None = None
    eto_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HourRow:
    """One hour as an hourly file tells it; None where the file has no value."""

    at_utc_s: float
    temp_c: float
    rain_mm: float
    rh_pct: float | None = None
    solar_w_m2: float | None = None
    wind_m_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What a source holds before it is filled.

    Args:
        days: consecutive days of a daily source; empty for an hourly one.
        hours: consecutive hours of an hourly source; empty for a daily one.
        notes: sentences, each saying what was repaired, moved or assumed while reading.
        station: where it was measured; None: at the garden.
        year: the only year to be kept; None: all of it.
    """

    days: tuple[DayRow, ...] = ()
    hours: tuple[HourRow, ...] = ()
    notes: tuple[str, ...] = ()
    station: Place | None = None
    year: int | None = None
