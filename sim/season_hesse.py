"""The Hesse seasons 2014 to 2016: hourly weather with radiation, read from `spotpy`.

A weather station at the Schwingbach near Rechtenbach; data of the Chair of Landscape, Water and
Biogeochemical Cycles, Justus-Liebig-University Giessen, for any use with reference (file header).
Traps, each with a test: on the days 1 to 12 of every month the file writes month and day in each
other's place, so the hours are counted by their order; rain is a rate per day; the radiation reads
low. Its clock is taken as Central European Time without summer time (ours: the radiation's centre
lies at 12.6 h, its noon at 12.4 h); coordinates are those of the village (from memory).
"""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from controller.errors import SeasonError
from sim.season_rows import ALLOWED, HOURLY_RAIN_MM, Row
from sim.season_shapes import MJ_PER_WH, sun_of
from sim.season_types import HOUR_S, HourRow, Place, Record

STATION = Place(latitude_deg=50.5, longitude_deg=8.6, elevation_m=240.0, timezone="Europe/Berlin")
YEARS = range(2014, 2017)
FIRST = datetime(2014, 1, 1, tzinfo=UTC) - timedelta(hours=1)  # [UTC] the first row's hour
MARGIN_H = 36  # [h] kept around a year, since the garden's days begin elsewhere
CLEAR_SHARE = 0.75  # [-] of Ra that a clear sky lets through at sea level; FAO-56 eq. 37
CLEAR_SHARE_PER_M = 2e-5  # [1/m] FAO-56 eq. 37
CLOUDBURST_MM_H = 50.0  # [mm/h] said where the record exceeds it
COLUMNS = {
    "rain_mmday": "rain_mm",
    "solarrad_Wm2": "solar_w_m2",
    "relhum_perc": "rh_pct",
    "airtemp_degC": "temp_c",
    "windspeed_ms": "wind_m_s",
}


def read_hesse(path: Path, year: int) -> Record:
    """Read one year with a margin.

    Args:
        path: `driver_data_site24.csv`.
        year: 2014 to 2016.

    Returns:
        Its hours, radiation lifted month by month to a clear sky, and what was done.

    Raises:
        SeasonError: the file is not that file.
    """
    recorded = _hours(path, year)
    lifted, said = _lifted(recorded, year)
    bursts = [row for row in recorded if row.rain_mm > CLOUDBURST_MM_H and _day(row).year == year]
    notes = [
        "dates: month and day stand swapped on days 1 to 12 of each month; counted by row order",
        "wind: taken as measured at 2 m, the file does not say",
        said,
    ]
    notes += [
        f"rain: {row.rain_mm:.0f} mm within an hour on {_day(row)}, kept as recorded"
        for row in bursts
    ]
    return Record(hours=lifted, notes=tuple(notes), station=STATION, year=year)


def _hours(path: Path, year: int) -> tuple[HourRow, ...]:
    """The year's rows, dated by their order."""
    lines = path.read_text(encoding="utf-8").splitlines()
    header = lines[0].split(",")
    if not COLUMNS.keys() <= set(header):
        msg = f"{path.name}: columns missing: {', '.join(sorted(COLUMNS.keys() - set(header)))}"
        raise SeasonError(msg)
    kept = [(n, line) for n, line in enumerate(lines[1:], 2) if not line.startswith("#")]
    margin = timedelta(hours=MARGIN_H)
    begin = datetime(year, 1, 1, tzinfo=UTC) - margin
    end = datetime(year + 1, 1, 1, tzinfo=UTC) + margin
    hours = []
    for order, (number, line) in enumerate(kept):
        at = FIRST + timedelta(hours=order)
        if begin <= at < end:
            cells = dict(zip(header, next(csv.reader([line])), strict=True))
            named = {ours: cells[theirs] for theirs, ours in COLUMNS.items()}
            _check_date(Row(file=path.name, line=number, cells=named), cells["time"], at)
            hours.append(_hour(Row(file=path.name, line=number, cells=named), at))
    return tuple(hours)


def _check_date(row: Row, told: str, at: datetime) -> None:
    """The written date must be the counted one, or the counted one with day and month swapped."""
    here = at + timedelta(hours=1)
    swapped = f"{here.year}-{here.day:02d}-{here.month:02d} {here.hour:02d}:00:00"
    if told not in {f"{here:%Y-%m-%d %H:%M:%S}", swapped}:
        row.refuse(f"time is {told!r}; {here:%Y-%m-%d %H:%M} is the hour by row order")


def _hour(row: Row, at: datetime) -> HourRow:
    most_mm_d = HOURLY_RAIN_MM[1] * 24.0
    return HourRow(
        at_utc_s=at.timestamp(),
        temp_c=row.needed("temp_c", ALLOWED["temp_c"]),
        rain_mm=row.needed("rain_mm", (0.0, most_mm_d)) / 24.0,
        rh_pct=min(100.0, row.needed("rh_pct", ALLOWED["rh_pct"])),
        solar_w_m2=max(0.0, row.needed("solar_w_m2", ALLOWED["solar_w_m2"])),
        wind_m_s=row.needed("wind_m_s", ALLOWED["wind_m_s"]),
    )


def _day(row: HourRow) -> date:
    """The station's date of an hour, without summer time."""
    return datetime.fromtimestamp(row.at_utc_s + HOUR_S, tz=UTC).date()


def _lifted(rows: Sequence[HourRow], year: int) -> tuple[tuple[HourRow, ...], str]:
    """Multiply each month's radiation so that its brightest day is a clear one, and say so.

    Source: the comparison with a clear sky and its use as a correction: FAO-56 Annex 5 (from
    memory); the month as its span is ours.
    """
    totals: dict[date, float] = defaultdict(float)
    for row in rows:
        totals[_day(row)] += (row.solar_w_m2 or 0.0) * MJ_PER_WH
    brightest: dict[tuple[int, int], float] = defaultdict(float)
    for day, total in totals.items():
        month = (day.year, day.month)
        brightest[month] = max(brightest[month], total / _clear_mj_m2(day))
    factors = {month: max(1.0, 1.0 / share) for month, share in brightest.items() if share > 0.0}
    lifted = tuple(
        replace(row, solar_w_m2=(row.solar_w_m2 or 0.0) * factors[_day(row).year, _day(row).month])
        for row in rows
    )
    reached = [share for month, share in brightest.items() if month[0] == year]
    said = (
        f"radiation: reads low, each month's brightest day reaches {min(reached):.2f} to"
        f" {max(reached):.2f} of a clear sky (FAO-56 eq. 37); multiplied month by month"
        " so that this day is a clear one"
    )
    return lifted, said


def _clear_mj_m2(day: date) -> float:
    """Radiation of a clear day at the station [MJ/m2]."""
    share = CLEAR_SHARE + CLEAR_SHARE_PER_M * STATION.elevation_m
    return share * sun_of(day, STATION).ra_mj_m2
