"""Reads a season's weather from a CSV file, and refuses what cannot be weather.

Two forms, told apart by their header. Hourly: `time_utc, temp_c, rh_pct | dew_point_c, rain_mm,
solar_w_m2, wind_m_s`. Daily: `date, tmin_c, tmax_c, rh_mean_pct, rain_mm, solar_mj_m2, wind_m_s`.
Lines on top that begin with `#` carry constants such as `# wind_height_m = 10`. Temperature and
rain must be there; an empty cell or absent column of the others is None here and estimated later.
Up to three missing hours on end are filled, and said. Every refusal names file, row, what was
found and what is allowed.
"""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime
from pathlib import Path

from controller.errors import SeasonError
from sim.season_checks import check_days, check_hours
from sim.season_repair import CSV_GAP_H, close_gaps
from sim.season_rows import (
    ALLOWED,
    DAILY_RAIN_MM,
    HOURLY_RAIN_MM,
    NATIVE_WIND_HEIGHT_M,
    Row,
    check_order,
    vapour_kpa,
    wind_to_2m,
)
from sim.season_types import HOUR_S, DayRow, HourRow, Record

HOURLY = ("time_utc", "temp_c", "rh_pct", "dew_point_c", "rain_mm", "solar_w_m2", "wind_m_s")
DAILY = ("date", "tmin_c", "tmax_c", "rh_mean_pct", "rain_mm", "solar_mj_m2", "wind_m_s")
HOURLY_NEEDED = {"time_utc", "temp_c", "rain_mm"}
DAILY_NEEDED = {"date", "tmin_c", "tmax_c", "rain_mm"}
DEW_ABOVE_C = 0.6  # [°C] a rounded dew point may lie this much above the temperature


def read_csv(path: Path) -> Record:
    """Read an hourly or a daily file.

    Args:
        path: the file.

    Returns:
        Its rows in order, wind brought to 2 m, and what was repaired.

    Raises:
        SeasonError: the file cannot be read, or a row is not weather.
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as exc:
        msg = f"{path}: cannot be read as a season: {exc}"
        raise SeasonError(msg) from exc
    constants, first = _constants(path.name, lines)
    reader = csv.reader(lines[first:], skipinitialspace=True)
    header = _header(path.name, next(reader))
    rows = [
        _row(path.name, first + reader.line_num, header, cells)
        for cells in reader
        if any(cell.strip() for cell in cells)
    ]
    wind_factor = wind_to_2m(constants.get("wind_height_m", NATIVE_WIND_HEIGHT_M))
    return _by_form(path.name, header, rows, wind_factor)


def _header(file: str, cells: list[str]) -> list[str]:
    """The columns' names, each once."""
    header = [cell.strip() for cell in cells]
    doubled = sorted({name for name in header if name and header.count(name) > 1})
    if doubled:
        msg = f"{file}: columns stand twice: {', '.join(doubled)}; each once is allowed"
        raise SeasonError(msg)
    return header


def _row(file: str, line: int, header: list[str], cells: list[str]) -> Row:
    """One row, as wide as the header."""
    row = Row(file=file, line=line, cells=dict(zip(header, cells, strict=False)))
    if len(cells) != len(header):
        row.refuse(
            f"{len(cells)} cells under {len(header)} columns; as many are needed (a comma in a"
            " number?)"
        )
    return row


def _by_form(file: str, header: list[str], rows: list[Row], wind_factor: float) -> Record:
    """Choose the form from the header."""
    found = set(header)
    if found >= HOURLY_NEEDED:
        hours = tuple(_hour(row, wind_factor) for row in rows)
        check_order(rows, [h.at_utc_s for h in hours], HOUR_S, "hour", CSV_GAP_H)
        full, notes = close_gaps(hours)
        check_hours(file, hours)
        return Record(hours=full, notes=(*notes, *_unused(header, HOURLY)))
    if found >= DAILY_NEEDED:
        days = tuple(_day(row, wind_factor) for row in rows)
        check_order(rows, [float(d.date.toordinal()) for d in days], 1.0, "day")
        check_days(file, days)
        return Record(days=days, notes=_unused(header, DAILY))
    wanted = HOURLY_NEEDED if "time_utc" in found else DAILY_NEEDED
    missing = ", ".join(sorted(wanted - found))
    msg = (
        f"{file}: columns missing: {missing}; found: {', '.join(sorted(found)) or 'none'}; needed"
        " are time_utc, temp_c, rain_mm (hourly) or date, tmin_c, tmax_c, rain_mm (daily), with"
        " commas between"
    )
    raise SeasonError(msg)


def _unused(header: list[str], known: tuple[str, ...]) -> tuple[str, ...]:
    """A sentence about columns that nobody reads: a misspelt one must not vanish unseen."""
    unknown = [name or "(no name)" for name in header if name not in known]
    if not unknown:
        return ()
    return (f"columns not used: {', '.join(unknown)}; known are {', '.join(known)}",)


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


def _hour(row: Row, wind_factor: float) -> HourRow:
    text = row.cells["time_utc"].strip()
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        row.refuse(f"time_utc is {text!r}; like 2015-05-01T13:00Z is allowed")
    at = at.replace(tzinfo=UTC) if at.tzinfo is None else at
    temp_c = row.needed("temp_c", ALLOWED["temp_c"])
    rh_pct = row.number("rh_pct", ALLOWED["rh_pct"])
    dew_c = row.number("dew_point_c", ALLOWED["dew_point_c"])
    if dew_c is not None and dew_c > temp_c + DEW_ABOVE_C:
        row.refuse(f"dew_point_c {dew_c:g} is above temp_c {temp_c:g}; swapped?")
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


def _day(row: Row, wind_factor: float) -> DayRow:
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
