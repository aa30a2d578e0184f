"""Reads planned picks from a CSV file: `on,bed`, a day and the bed that is picked then.

An empty bed or `*` means every bed. Month and day count: a replay moves them to its season's year.
Empty lines and lines that begin with `#` are passed over. Every refusal names file, row, what was
found and what is allowed; a pick told twice is refused, since one of the two must be a slip.
"""

from __future__ import annotations

import csv
import difflib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import NoReturn

from controller.errors import UsageError
from controller.garden import Garden
from sim.season_run import Picks

COLUMNS = ("on", "bed")
EVERY_BED = frozenset({"", "*"})
MOST_BYTES = 1_000_000  # a season of daily picks of forty beds takes a tenth of this
SHOWN = 40  # characters of a wrong cell that a message repeats


@dataclass(slots=True, kw_only=True)
class _Reader:
    """What was read so far of one file."""

    file: str
    beds: tuple[str, ...]
    days: dict[str, list[date]] = field(default_factory=dict)
    rows: dict[tuple[str, int, int], int] = field(default_factory=dict)  # by bed, month and day

    def refuse(self, row: int, text: str) -> NoReturn:
        """Raise an error that says where."""
        msg = f"{self.file}, row {row}: {text}"
        raise UsageError(msg)

    def header(self, row: int, cells: list[str]) -> list[str]:
        """The columns in the file's own order."""
        found = [cell.strip().lower() for cell in cells]
        if sorted(found) != sorted(COLUMNS):
            shown = ",".join(cells)[:SHOWN]
            self.refuse(row, f"the header is {shown!r}; on,bed is allowed, with a comma between")
        return found

    def take(self, row: int, cells: dict[str, str]) -> None:
        """One line after the header."""
        day, bed = self._day(row, cells["on"]), cells["bed"]
        for name in self.beds if bed in EVERY_BED else (self._bed(row, bed),):
            first = self.rows.setdefault((name, day.month, day.day), row)
            if first != row:
                self.refuse(
                    row, f"the pick of {name} on {day:%m-%d} stands already in row {first}; once"
                )
            self.days.setdefault(name, []).append(day)

    def _day(self, row: int, text: str) -> date:
        try:
            return date.fromisoformat(text)
        except ValueError:
            self.refuse(row, f"on is {text[:SHOWN]!r}; a day such as 2026-08-01 is allowed")

    def _bed(self, row: int, text: str) -> str:
        if text not in self.beds:
            near = difflib.get_close_matches(text, self.beds, n=1)
            meant = f" ({near[0]} meant?)" if near else ""
            known = ", ".join(self.beds)
            self.refuse(row, f"bed is {text[:SHOWN]!r}{meant}; {known}, or * for all are allowed")
        return text


def _lines(path: Path) -> Iterator[tuple[int, list[str]]]:
    """The rows that say something, each with its number in the file."""
    try:
        with path.open("rb") as file:
            told = file.read(MOST_BYTES + 1)
    except OSError as exc:
        msg = f"{path}: cannot be read: {exc.strerror or exc}"
        raise UsageError(msg) from exc
    if len(told) > MOST_BYTES:
        msg = f"{path}: is longer than {MOST_BYTES} bytes; a file of picks is allowed"
        raise UsageError(msg)
    try:
        text = told.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        msg = f"{path}: byte {exc.start + 1} is no UTF-8; a CSV file in UTF-8 is allowed"
        raise UsageError(msg) from exc
    for row, line in enumerate(text.splitlines(), start=1):
        cells = next(csv.reader([line]), [])
        if any(cell.strip() for cell in cells) and not line.lstrip().startswith("#"):
            yield row, cells


def read_picks(path: Path, garden: Garden) -> Picks:
    """Read planned picks.

    Args:
        path: a CSV file in UTF-8 with the header `on,bed`.
        garden: whose beds they are.

    Returns:
        The days by bed, in order, in the years that the file says; a bed without one is absent.

    Raises:
        UsageError: the file cannot be read, or a row is no pick of this garden.
    """
    reader = _Reader(file=str(path), beds=tuple(garden.beds))
    lines = _lines(path)
    row, cells = next(lines, (1, []))
    columns = reader.header(row, cells)
    for row, cells in lines:
        if len(cells) != len(columns):
            reader.refuse(row, f"has {len(cells)} cells; {len(columns)} are allowed, on and bed")
        stripped = (cell.strip() for cell in cells)
        reader.take(row, dict(zip(columns, stripped, strict=True)))
    if not reader.days:
        reader.refuse(row, "no pick follows the header; at least one row is needed")
    return {bed: tuple(sorted(reader.days[bed])) for bed in reader.beds if bed in reader.days}
