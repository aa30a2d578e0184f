"""The Seattle seasons 2012 to 2015: daily rain, temperature and wind, read from `vega-datasets`.

US government data. The file names no station; it is taken to lie at 47.6 degrees north, 60 m
(ours). It has no humidity and no radiation. Its wind is taken as measured at 10 m, as at airports.
"""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

from controller.errors import SeasonError
from sim.season_rows import ALLOWED, DAILY_RAIN_MM, Row, check_order, wind_to_2m
from sim.season_types import DayRow, Place, Record

STATION = Place(
    latitude_deg=47.6, longitude_deg=-122.3, elevation_m=60.0, timezone="America/Los_Angeles"
)
YEARS = range(2012, 2016)
WIND_HEIGHT_M = 10.0  # common practice at airports; the file does not say
NAMES = {
    "precipitation": "rain_mm",
    "temp_max": "tmax_c",
    "temp_min": "tmin_c",
    "wind": "wind_m_s",
}


def read_seattle(path: Path, year: int) -> Record:
    """Read one year.

    Args:
        path: `seattle-weather.csv`; header date, precipitation, temp_max, temp_min, wind, weather.
        year: 2012 to 2015.

    Returns:
        That year's days, wind brought to 2 m.

    Raises:
        SeasonError: the file is not that file.
    """
    reader = csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    missing = (NAMES.keys() | {"date"}) - set(reader.fieldnames or ())
    if missing:
        msg = f"{path.name}: columns missing: {', '.join(sorted(missing))}"
        raise SeasonError(msg)
    rows = []
    for cells in reader:
        told = cells["date"][:10].replace("/", "-")
        if told.startswith(f"{year}-"):
            renamed = {ours: cells[key] for key, ours in NAMES.items()}
            rows.append(Row(file=path.name, line=reader.line_num, cells={"date": told, **renamed}))
    days = tuple(_day(row) for row in rows)
    check_order(rows, [float(d.date.toordinal()) for d in days], 1.0, "day")
    return Record(days=days, station=STATION, year=year)


def _day(row: Row) -> DayRow:
    return DayRow(
        date=date.fromisoformat(row.cells["date"]),
        tmin_c=row.needed("tmin_c", ALLOWED["tmin_c"]),
        tmax_c=row.needed("tmax_c", ALLOWED["tmax_c"]),
        rain_mm=row.needed("rain_mm", DAILY_RAIN_MM),
        wind_m_s=row.needed("wind_m_s", ALLOWED["wind_m_s"]) * wind_to_2m(WIND_HEIGHT_M),
    )
