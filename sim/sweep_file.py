"""The CSV file of a sweep: every finished run at once in it, so that a sweep can go on later.

The first line is a comment that says what is swept; the second names the columns, with units; then
one line a run. A sweep of another garden or by another program is refused, and a last line that
was cut off by a crash is dropped and said. Rows stand in the order in which runs ended.
"""

from __future__ import annotations

import csv
import fcntl
import io
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from controller.errors import UsageError
from sim.sweep_rows import BedRow, Row

MARK = "# thirstline sweep "
RUN_FIELDS = tuple(one for one in fields(Row) if one.name != "beds")
BED_FIELDS = fields(BedRow)
READERS = {"str": str, "int": int, "float": float}


class SweepFile:
    """An open file of rows; `kept` holds those that stood in it, by key.

    Args:
        path: the file, made where it is missing.
        swept: what is swept, as words; all of it has to be the same in the file.
        beds: the garden's beds in order.

    Raises:
        UsageError: it cannot be used, is another's, or another process writes it.
    """

    def __init__(self, path: Path, swept: Mapping[str, str], beds: Sequence[str]) -> None:
        self.path = path
        self.kept: dict[str, Row] = {}
        self.dropped: str | None = None
        self._beds = tuple(beds)
        try:
            self._file = path.open("a+", encoding="utf-8", newline="")
        except OSError as exc:
            msg = f"--out {path}: cannot be opened: {exc.strerror}"
            raise UsageError(msg) from exc
        try:
            self._take_hold()
            self._read(swept)
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def add(self, row: Row) -> None:
        """Write one row; once this returns, a crash does not lose it.

        Raises:
            UsageError: it cannot be written.
        """
        cells = [_cell(getattr(row, one.name)) for one in RUN_FIELDS]
        for _, bed in row.beds:
            cells += [_cell(getattr(bed, one.name)) for one in BED_FIELDS]
        self._write(_line(cells))

    @property
    def columns(self) -> list[str]:
        """The names of the columns."""
        runs = [one.name for one in RUN_FIELDS]
        return runs + [f"{bed}.{one.name}" for bed in self._beds for one in BED_FIELDS]

    def _take_hold(self) -> None:
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as exc:
            msg = f"--out {self.path}: another sweep is writing it"
            raise UsageError(msg) from exc

    def _read(self, swept: Mapping[str, str]) -> None:
        lines = self._whole_lines()
        if not lines:
            self._write(f"{MARK}{json.dumps(dict(swept))}\n")
        else:
            self._check_mark(lines[0], swept)
        if len(lines) < 2:
            self._write(_line(self.columns))
            return
        if next(csv.reader([lines[1]])) != self.columns:
            msg = f"--out {self.path} line 2: these are not the columns of such a sweep"
            raise UsageError(msg)
        for number, cells in enumerate(csv.reader(lines[2:]), start=3):
            row = self._row(number, cells)
            self.kept[row.key] = row

    def _whole_lines(self) -> list[str]:
        """All whole lines; a last one without its end is cut off, if the file is one of ours."""
        self._file.seek(0)
        try:
            text = self._file.read()
        except (OSError, UnicodeError) as exc:
            msg = f"--out {self.path}: cannot be read: {exc}"
            raise UsageError(msg) from exc
        if not (text.startswith(MARK) or MARK.startswith(text)):
            msg = f"--out {self.path}: is not the file of a sweep; it is left as it is"
            raise UsageError(msg)
        whole, newline, torn = text.rpartition("\n")
        if torn:
            self._file.truncate(len((whole + newline).encode()))
            self.dropped = f"{self.path}: its last line was cut off; that run is run again"
        return whole.split("\n") if newline else []

    def _check_mark(self, line: str, swept: Mapping[str, str]) -> None:
        try:
            found = json.loads(line.removeprefix(MARK))
        except ValueError:
            found = None
        if not isinstance(found, dict):
            msg = f"--out {self.path} line 1: does not say what was swept"
            raise UsageError(msg)
        for name in sorted({*found, *swept}):
            if found.get(name) != swept.get(name):
                msg = (
                    f"--out {self.path}: holds a sweep with {name} {found.get(name)}, this one has"
                    f" {swept.get(name)}; choose another file"
                )
                raise UsageError(msg)

    def _row(self, number: int, cells: list[str]) -> Row:
        try:
            named = dict(zip(self.columns, cells, strict=True))
            beds = tuple(
                (bed, BedRow(**{f.name: _told(str(f.type), named[f"{bed}.{f.name}"])
                                for f in BED_FIELDS}))
                for bed in self._beds
            )  # fmt: skip
            runs = {f.name: _told(str(f.type), named[f.name]) for f in RUN_FIELDS}
            return Row(**runs, beds=beds)
        except ValueError as exc:
            msg = f"--out {self.path} line {number}: is no row of a sweep: {exc}"
            raise UsageError(msg) from exc

    def _write(self, text: str) -> None:
        try:
            self._file.write(text)
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as exc:
            msg = f"--out {self.path}: cannot be written: {exc.strerror}"
            raise UsageError(msg) from exc


def _line(cells: Sequence[str]) -> str:
    made = io.StringIO()
    csv.writer(made, lineterminator="\n").writerow(cells)
    return made.getvalue()


def _cell(value: object) -> str:
    return "" if value is None else str(value)


def _told(kind: str, text: str) -> Any:  # noqa: ANN401 - as the field is declared
    """The value of a cell, by the type that the row's field is declared with."""
    kind, _, optional = kind.partition(" | ")
    if not text and optional:
        return None
    return READERS[kind](text)
