"""The Danish seasons 1998 to 2018: daily rain, mean temperature and reference ET, from `edcrop`.

An unnamed station, MIT. Trap: 1977 to 1997 hold each other's years (1989 repeats 1977, and so on),
so only 1998 onward is read, in whole years. The published reference ET stands as the day's ETo.
The file has a mean temperature only; lowest and highest lie around it by the daily range for which
FAO-56 (radiation by eq. 50, dew point by eq. 48, wind 2 m/s) gives the published ETo, 1 to 20 °C.
"""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from pathlib import Path

from controller.agronomy.eto import DailyWeather, Site, eto_daily
from controller.errors import SeasonError
from sim.season_rows import ALLOWED, DAILY_RAIN_MM, Row
from sim.season_types import DayRow, Place, Record

# The file names no place: the middle of Jutland is taken, since the programme is from Aarhus.
STATION = Place(
    latitude_deg=56.0, longitude_deg=9.5, elevation_m=40.0, timezone="Europe/Copenhagen"
)
YEARS = range(1998, 2019)
HEADER = ["date", "T", "P", "Eref"]
RANGE_C = (1.0, 20.0)  # [°C] of a day; ours
HALVINGS = 12  # 19 °C halved so often is under 0.005 °C
WIND_UNKNOWN_M_S = 2.0  # FAO-56 ch. 3
MOST_ETO_MM = 12.0
NOTES = (
    "daily range: the file has a mean temperature only; the range is the one for which FAO-56"
    " (eq. 48, 50, wind 2 m/s) gives the published reference ET, within 1 to 20 °C; nights and"
    " the first frost follow from it",
    "place: the file names none; 56 degrees north, 40 m taken",
)


def read_denmark(path: Path, year: int) -> Record:
    """Read one year.

    Args:
        path: `Weatherdata_S1.edcrop_wf`.
        year: 1998 to 2018.

    Returns:
        Its days with the published ETo.

    Raises:
        SeasonError: the file is not that file.
    """
    lines = path.read_text(encoding="utf-8").splitlines()
    header = [cell.strip() for cell in lines[0].split(",")]
    if header != HEADER:
        msg = f"{path.name}: header is {header}; {HEADER} is allowed"
        raise SeasonError(msg)
    days = tuple(
        _day(Row(file=path.name, line=number, cells=_cells(line)))
        for number, line in enumerate(lines[1:], 2)
        if line.startswith(f"{year}-")
    )
    if not days or any((b.date - a.date).days != 1 for a, b in pairwise(days)):
        msg = f"{path.name}: the days of {year} are not all there in order"
        raise SeasonError(msg)
    return Record(days=days, notes=NOTES, station=STATION, year=year)


def _cells(line: str) -> dict[str, str]:
    told, mean, rain, eto = (cell.strip() for cell in line.split(","))
    return {"date": told, "temp_c": mean, "rain_mm": rain, "eto_mm": eto}


def _day(row: Row) -> DayRow:
    day = date.fromisoformat(row.cells["date"])
    mean_c = row.needed("temp_c", ALLOWED["temp_c"])
    eto_mm = row.needed("eto_mm", (0.0, MOST_ETO_MM))
    half_c = range_c(mean_c, eto_mm, day.timetuple().tm_yday) / 2.0
    return DayRow(
        date=day,
        tmin_c=mean_c - half_c,
        tmax_c=mean_c + half_c,
        rain_mm=row.needed("rain_mm", DAILY_RAIN_MM),
        eto_mm=eto_mm,
    )


def range_c(mean_c: float, eto_mm: float, day_of_year: int) -> float:
    """The daily range with which FAO-56 gives a known ETo at the station.

    Args:
        mean_c: mean temperature [°C].
        eto_mm: published reference ET of the day [mm].
        day_of_year: 1 to 366.

    Returns:
        The range [°C], 1 to 20.
    """
    low, high = RANGE_C
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        if _eto_mm(mean_c, middle, day_of_year) < eto_mm:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def _eto_mm(mean_c: float, wide_c: float, day_of_year: int) -> float:
    weather = DailyWeather(
        tmin_c=mean_c - wide_c / 2.0,
        tmax_c=mean_c + wide_c / 2.0,
        rh_mean_pct=None,
        solar_mj_m2_d=None,
        wind_m_s=WIND_UNKNOWN_M_S,
    )
    site = Site(
        latitude_deg=STATION.latitude_deg,
        longitude_deg=STATION.longitude_deg,
        elevation_m=STATION.elevation_m,
    )
    return eto_daily(weather, site, day_of_year).eto_mm_d
