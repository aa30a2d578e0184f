"""A season out of three CSV files in a folder, for gardens that Thirstline did not keep.

`weather.csv`: as any season's file (`sim.season_files`). `waterings.csv`: `begin_utc, bed, litres,
minutes`, one line an opening. `readings.csv`: `time_utc, probe, theta_m3_m3`, one line a reading.
Times are like `2026-06-01T04:10:00Z`; beds and probes are named as in the garden file. Every
refusal names file, line, what was found and what is allowed.
"""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from controller.errors import SeasonError
from controller.garden import Garden
from controller.garden_rules import listed
from sim.garden_world import season_for
from sim.season_types import HOUR_S
from sim.winter.fitting.observed import BedSeen, Observed, ProbeHours, Water
from sim.winter.fitting.spans import span_within

WATERINGS = ("begin_utc", "bed", "litres", "minutes")
READINGS = ("time_utc", "probe", "theta_m3_m3")
LITRES = (0.0, 100_000.0)  # [L] of one opening; beyond it is a slip of the pen
MINUTES = (0.1, 1440.0)  # [min] likewise
THETA = (0.0, 0.8)  # [m3/m3] no mineral soil holds more

Row = tuple[int, dict[str, str]]


def from_csv(garden: Garden, folder: Path) -> Observed:
    """Read a season.

    Args:
        garden: the garden file.
        folder: where the three files are.

    Returns:
        The record between the transplanting and the end of the weather.

    Raises:
        SeasonError: a file is missing or a line of it cannot be.
    """
    season = season_for(garden, folder / "weather.csv")
    moved, span = span_within(garden, season)
    water: dict[str, list[Water]] = defaultdict(list)
    open_s: dict[str, float] = defaultdict(float)
    for line, cells in _rows(folder / "waterings.csv", WATERINGS):
        told = _Line(folder / "waterings.csv", line, cells)
        bed = told.name("bed", list(moved.beds))
        at_utc_s, long_s = told.instant("begin_utc"), 60.0 * told.number("minutes", MINUTES)
        litres = told.number("litres", LITRES)
        if litres > 0.0:
            water[bed].append(Water(from_utc_s=at_utc_s, to_utc_s=at_utc_s + long_s, litres=litres))
            open_s[bed] += long_s
    probes = _probe_hours(folder / "readings.csv", list(moved.probes))
    beds = {
        name: BedSeen(
            water=tuple(sorted(water[name], key=lambda one: one.from_utc_s)),
            probes=tuple(probes[probe] for probe in bed.probes if probe in probes),
            open_s=open_s[name],
            valve_l=sum(one.litres for one in water[name]),
        )
        for name, bed in moved.beds.items()
    }
    return Observed(
        garden=moved,
        season=season,
        from_utc_s=span.from_utc_s,
        to_utc_s=span.to_utc_s,
        beds=beds,
        source=str(folder),
        notes=season.estimated,
    )


def _probe_hours(path: Path, known: list[str]) -> dict[str, ProbeHours]:
    hours: dict[str, dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
    for line, cells in _rows(path, READINGS):
        told = _Line(path, line, cells)
        hour = int(told.instant("time_utc") // HOUR_S) * int(HOUR_S)
        hours[told.name("probe", known)][hour].append(told.number("theta_m3_m3", THETA))
    return {
        probe: ProbeHours(
            probe=probe,
            hour_utc_s=tuple(sorted(one)),
            theta_m3_m3=tuple(sum(one[hour]) / len(one[hour]) for hour in sorted(one)),
        )
        for probe, one in hours.items()
    }


class _Line:
    """One line of a file, whose cells are refused with its place."""

    def __init__(self, path: Path, line: int, cells: dict[str, str]) -> None:
        self._where = f"{path.name}, line {line}"
        self._cells = cells

    def _refuse(self, column: str, allowed: str) -> SeasonError:
        found = self._cells[column][:40]
        return SeasonError(f"{self._where}: {column} is {found!r}; {allowed}")

    def instant(self, column: str) -> float:
        """A time with its zone [Unix s UTC]."""
        try:
            at = datetime.fromisoformat(self._cells[column])
        except ValueError:
            at = None
        if at is None or at.tzinfo is None:
            raise self._refuse(column, "a time such as 2026-06-01T04:10:00Z is allowed")
        return at.astimezone(UTC).timestamp()

    def number(self, column: str, between: tuple[float, float]) -> float:
        """A number between two ends."""
        try:
            value = float(self._cells[column])
        except ValueError:
            value = math.nan
        low, high = between
        if not low <= value <= high:
            raise self._refuse(column, f"{low:g} to {high:g} is allowed")
        return value

    def name(self, column: str, known: list[str]) -> str:
        """One of some names."""
        if self._cells[column] not in known:
            raise self._refuse(column, f"the garden file has {listed(known)}")
        return self._cells[column]


def _rows(path: Path, columns: tuple[str, ...]) -> Iterator[Row]:
    """The lines of a file whose header names these columns, in any order."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as exc:
        msg = f"{path}: cannot be read: {exc}; its columns are {', '.join(columns)}"
        raise SeasonError(msg) from exc
    reader = csv.reader(lines, skipinitialspace=True)
    header = [cell.strip() for cell in next(reader, [])]
    missing = sorted(set(columns) - set(header))
    if missing:
        msg = (
            f"{path.name}, line 1: the column {missing[0]} is missing; needed are"
            f" {', '.join(columns)}"
        )
        raise SeasonError(msg)
    for cells in reader:
        if not cells:
            continue
        if len(cells) != len(header):
            msg = (
                f"{path.name}, line {reader.line_num}: {len(cells)} cells, the header has"
                f" {len(header)}"
            )
            raise SeasonError(msg)
        yield reader.line_num, dict(zip(header, (cell.strip() for cell in cells), strict=True))
