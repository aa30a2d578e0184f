"""Reads a season's weather from a CSV file, and refuses what cannot be weather.

Two forms, told apart by their header. Hourly: `time_utc, temp_c, rh_pct | dew_point_c, rain_mm,
solar_w_m2, wind_m_s`. Daily: `date, tmin_c, tmax_c, rh_mean_pct, rain_mm, solar_mj_m2, wind_m_s`.
Lines on top that begin with `#` carry constants such as `# wind_height_m = 10`. Temperature and
rain must be there; an empty cell or absent column of the others is None here and estimated later.
Every refusal names file, row, what was found and what is allowed.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path
from typing import NoReturn

from controller.errors import SeasonError
from sim.season_types import HOUR_S, DayRow, HourRow

NATIVE_WIND_HEIGHT_M = 2.0  # [m] the height of the FAO-56 wind
# [unit of the column] what a garden can meet; outside means another unit or a broken record
ALLOWED = {
    "temp_c": (-60.0, 60.0),
    "tmin_c": (-60.0, 60.0),
    "tmax_c": (-60.0, 60.0),
    "dew_point_c": (-60.0, 40.0),
    "rh_pct": (0.0, 105.0),
    "rh_mean_pct": (0.0, 105.0),
    "solar_w_m2": (-20.0, 1500.0),
    "solar_mj_m2": (0.0, 45.0),
    "wind_m_s": (0.0, 60.0),
}
HOURLY_RAIN_MM = (0.0, 200.0)
DAILY_RAIN_MM = (0.0, 800.0)
CUMULATIVE_RISES = 10  # a rain column that only ever rises, this often, is a running total
HINTS = {
    "temp_c": "Fahrenheit?",
    "tmin_c": "Fahrenheit?",
    "tmax_c": "Fahrenheit?",
    "dew_point_c": "Fahrenheit?",
    "rh_pct": "per cent wanted",
    "rh_mean_pct": "per cent wanted",
    "solar_w_m2": "W/m2 wanted",
    "solar_mj_m2": "MJ/m2 a day wanted",
    "wind_m_s": "m/s wanted",
    "rain_mm": "mm in this row wanted",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One line of a file with its cells by column."""

    file: str
    line: int
    cells: dict[str, str]

    def refuse(self, text: str) -> NoReturn:
        """Raise an error that says where."""
        msg = f"{self.file}, row {self.line}: {text}"
        raise SeasonError(msg) from None

    def number(self, column: str, allowed: tuple[float, float]) -> float | None:
        """A cell as a finite number within bounds, None where empty or absent."""
        text = self.cells.get(column, "").strip()
        if not text:
            return None
        try:
            value = float(text)
        except ValueError:
            self.refuse(f"{column} is {text!r}; a number or nothing is allowed")
        low, high = allowed
        if not (math.isfinite(value) and low <= value <= high):
            hint = HINTS[column]
            self.refuse(f"{column} is {text}; {low:g} to {high:g} is allowed ({hint})")
        return value

    def needed(self, column: str, allowed: tuple[float, float]) -> float:
        """A cell that cannot be estimated."""
        value = self.number(column, allowed)
        if value is None:
            self.refuse(f"{column} is empty; it cannot be estimated, a number is needed")
        return value


def read_csv(path: Path) -> tuple[HourRow, ...] | tuple[DayRow, ...]:
    """Read an hourly or a daily file.

    Args:
        path: the file.

    Returns:
        Its rows in order, wind brought to 2 m.

    Raises:
        SeasonError: the file cannot be read, or a row is not weather.
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as exc:
        msg = f"{path}: cannot be read as a season: {exc}"
        raise SeasonError(msg) from exc
    constants, first = _constants(path.name, lines)
    reader = csv.DictReader(lines[first:], skipinitialspace=True)
    header = {name.strip() for name in reader.fieldnames or ()}
    rows = [
        _Row(
            file=path.name,
            line=first + reader.line_num,
            cells={(k or "").strip(): v or "" for k, v in cells.items() if isinstance(v, str)},
        )
        for cells in reader
    ]
    wind_factor = wind_to_2m(constants.get("wind_height_m", NATIVE_WIND_HEIGHT_M))
    return _by_form(path.name, header, rows, wind_factor)


def _by_form(
    file: str, header: set[str], rows: list[_Row], wind_factor: float
) -> tuple[HourRow, ...] | tuple[DayRow, ...]:
    """Choose the form from the header."""
    hourly = {"time_utc", "temp_c", "rain_mm"}
    daily = {"date", "tmin_c", "tmax_c", "rain_mm"}
    if hourly <= header:
        _refuse_running_total(file, rows)
        hours = tuple(_hour(row, wind_factor) for row in rows)
        _refuse_fractions(file, [h.rh_pct for h in hours])
        _check_order(rows, [h.at_utc_s for h in hours], HOUR_S, "hour")
        return hours
    if daily <= header:
        _refuse_running_total(file, rows)
        days = tuple(_day(row, wind_factor) for row in rows)
        _refuse_fractions(file, [d.rh_mean_pct for d in days])
        _check_order(rows, [float(d.date.toordinal()) for d in days], 1.0, "day")
        return days
    wanted = hourly if "time_utc" in header else daily
    missing = ", ".join(sorted(wanted - header))
    msg = (
        f"{file}: columns missing: {missing}; found: {', '.join(sorted(header)) or 'none'}; needed"
        " are time_utc, temp_c, rain_mm (hourly) or date, tmin_c, tmax_c, rain_mm (daily)"
    )
    raise SeasonError(msg)


def wind_to_2m(height_m: float) -> float:
    """Factor that brings wind from a height down to 2 m.

    Args:
        height_m: height of the instrument [m], 0.5 to 200.

    Returns:
        u2/uz [-].

    Raises:
        SeasonError: no such height.

    Source: FAO-56 eq. 47
    """
    if not 0.5 <= height_m <= 200.0:
        msg = f"wind_height_m = {height_m:g}: 0.5 to 200 m is allowed"
        raise SeasonError(msg)
    if height_m == NATIVE_WIND_HEIGHT_M:
        return 1.0
    return 4.87 / math.log(67.8 * height_m - 5.42)


def _constants(file: str, lines: list[str]) -> tuple[dict[str, float], int]:
    """The `# name = number` lines on top, and where the header stands."""
    found: dict[str, float] = {}
    for index, line in enumerate(lines):
        text = line.strip()
        if text and not text.startswith("#"):
            return found, index
        name, sign, value = text.lstrip("# ").partition("=")
        if not sign or not name.strip().isidentifier():
            continue
        if name.strip() != "wind_height_m":
            continue
        try:
            found[name.strip()] = float(value)
        except ValueError:
            msg = (
                f"{file}, row {index + 1}: {name.strip()} is {value.strip()!r}; a number is needed"
            )
            raise SeasonError(msg) from None
    msg = f"{file}: no header and no rows found"
    raise SeasonError(msg)


def _hour(row: _Row, wind_factor: float) -> HourRow:
    text = row.cells["time_utc"].strip()
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        row.refuse(f"time_utc is {text!r}; like 2015-05-01T13:00Z is allowed")
    at = at.replace(tzinfo=UTC) if at.tzinfo is None else at
    temp_c = row.needed("temp_c", ALLOWED["temp_c"])
    rh_pct = row.number("rh_pct", ALLOWED["rh_pct"])
    dew_c = row.number("dew_point_c", ALLOWED["dew_point_c"])
    if rh_pct is None and dew_c is not None:
        rh_pct = 100.0 * vapour_kpa(dew_c) / vapour_kpa(temp_c)
    solar = row.number("solar_w_m2", ALLOWED["solar_w_m2"])
    wind = row.number("wind_m_s", ALLOWED["wind_m_s"])
    return HourRow(
        at_utc_s=at.timestamp(),
        temp_c=temp_c,
        rain_mm=row.needed("rain_mm", HOURLY_RAIN_MM),
        rh_pct=None if rh_pct is None else min(100.0, rh_pct),
        solar_w_m2=None if solar is None else max(0.0, solar),
        wind_m_s=None if wind is None else wind * wind_factor,
    )


def _day(row: _Row, wind_factor: float) -> DayRow:
    text = row.cells["date"].strip()
    try:
        day = date.fromisoformat(text)
    except ValueError:
        row.refuse(f"date is {text!r}; like 2015-05-01 is allowed")
    tmin_c = row.needed("tmin_c", ALLOWED["tmin_c"])
    tmax_c = row.needed("tmax_c", ALLOWED["tmax_c"])
    if tmin_c > tmax_c:
        row.refuse(f"tmin_c {tmin_c:g} is above tmax_c {tmax_c:g}; swapped?")
    rh_pct = row.number("rh_mean_pct", ALLOWED["rh_mean_pct"])
    wind = row.number("wind_m_s", ALLOWED["wind_m_s"])
    return DayRow(
        date=day,
        tmin_c=tmin_c,
        tmax_c=tmax_c,
        rain_mm=row.needed("rain_mm", DAILY_RAIN_MM),
        rh_mean_pct=None if rh_pct is None else min(100.0, rh_pct),
        solar_mj_m2=row.number("solar_mj_m2", ALLOWED["solar_mj_m2"]),
        wind_m_s=None if wind is None else wind * wind_factor,
    )


def vapour_kpa(temp_c: float) -> float:
    """Saturation vapour pressure [kPa] at a temperature [°C].

    Source: FAO-56 eq. 11
    """
    return 0.6108 * math.exp(17.27 * temp_c / (temp_c + 237.3))


def _check_order(rows: list[_Row], at: list[float], step: float, unit: str) -> None:
    """Refuse gaps, doubles and rows out of order."""
    if not rows:
        msg = f"the season has no {unit}s at all"
        raise SeasonError(msg)
    for row, (before, here) in zip(rows[1:], pairwise(at), strict=True):
        if here == before:
            row.refuse(f"the same {unit} as the row before; each {unit} once is allowed")
        if here < before:
            row.refuse(f"earlier than the row before; rows in order are needed ({unit}s)")
        if here - before != step:
            count = (here - before) / step - 1.0
            row.refuse(f"{count:g} {unit}s are missing before it; no gap is allowed")


def _refuse_running_total(file: str, rows: Iterable[_Row]) -> None:
    """Refuse a rain column that never falls though it rises often."""
    rain = [row.needed("rain_mm", (0.0, math.inf)) for row in rows]
    rises = sum(b > a for a, b in pairwise(rain))
    if rises >= CUMULATIVE_RISES and all(b >= a for a, b in pairwise(rain)):
        msg = (
            f"{file}: rain_mm never falls while it rises {rises} times, to {rain[-1]:g}: it looks"
            " like a running total; the rain of each row alone is needed"
        )
        raise SeasonError(msg)


def _refuse_fractions(file: str, rh_pct: list[float | None]) -> None:
    """Refuse humidity told as 0 to 1."""
    known = [value for value in rh_pct if value is not None]
    if len(known) >= CUMULATIVE_RISES and max(known) <= 1.0:
        msg = f"{file}: humidity never exceeds {max(known):g}; per cent (0 to 100) is needed"
        raise SeasonError(msg)


def read_seattle(path: Path, year: int) -> tuple[DayRow, ...]:
    """Read one year of the Seattle file of the package `vega-datasets`.

    Its wind is taken as measured at 10 m, as at airports (our reading; the file does not say).

    Args:
        path: `seattle-weather.csv`; header date, precipitation, temp_max, temp_min, wind, weather.
        year: 2012 to 2015.

    Returns:
        That year's days, wind brought to 2 m.

    Raises:
        SeasonError: the file is not that file.
    """
    names = {
        "precipitation": "rain_mm",
        "temp_max": "tmax_c",
        "temp_min": "tmin_c",
        "wind": "wind_m_s",
    }
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except OSError as exc:
        msg = f"{path}: cannot be read as a season: {exc}"
        raise SeasonError(msg) from exc
    reader = csv.DictReader(lines)
    missing = (names.keys() | {"date"}) - set(reader.fieldnames or ())
    if missing:
        msg = f"{path.name}: columns missing: {', '.join(sorted(missing))}"
        raise SeasonError(msg)
    rows = []
    for cells in reader:
        told = cells["date"][:10].replace("/", "-")
        if told.startswith(f"{year}-"):
            renamed = {ours: cells[key] for key, ours in names.items()}
            rows.append(_Row(file=path.name, line=reader.line_num, cells={"date": told, **renamed}))
    days = tuple(_day(row, wind_to_2m(10.0)) for row in rows)
    _check_order(rows, [float(d.date.toordinal()) for d in days], 1.0, "day")
    return days
