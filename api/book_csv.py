"""The season book as CSV: picks, waterings, hours. RFC 4180 with a header; UTF-8, metric, UTC."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

PICKS = ("bed", "on", "variety", "kg", "cracked", "black_ended")
WATERINGS = ("bed", "from", "pulses", "litres", "most_litres", "by", "clock_synced")
HOURS = ("bed", "at", "depletion_frac", "line_frac", "rain_mm", "given_l", "clock_synced")
FORMULA = ("=", "+", "-", "@")  # a text that begins so is a formula to a spreadsheet


def picks_csv(book: dict[str, Any]) -> str:
    """Every pick of the season."""
    return _written(
        PICKS,
        ({"bed": name, **pick} for name, bed in book["beds"].items() for pick in bed["picks"]),
    )


def waterings_csv(book: dict[str, Any]) -> str:
    """Every watering of the season."""
    return _written(WATERINGS, book["waterings"])


def hours_csv(rows: Iterable[dict[str, Any]]) -> str:
    """Every hour of every bed.

    Args:
        rows: with `bed`, `at` and the rest of a bed's history.
    """
    return _written(HOURS, rows)


def _written(columns: Sequence[str], rows: Iterable[dict[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([cell(row[name]) for name in columns])
    return text.getvalue()


def cell(value: object) -> object:
    """A value as a spreadsheet takes it: no text a formula, four decimals, 1 for yes, 0 for no."""
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, str) and value.startswith(FORMULA):
        return f"'{value}"
    return round(value, 4) if isinstance(value, float) else value
