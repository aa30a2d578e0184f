"""One row of a season's file: cells to numbers, and an error that says where it went wrong.

Shared by the importers and the CSV reader. Bounds are what a garden can meet; outside them lies
another unit or a broken record.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NoReturn

from controller.errors import SeasonError

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
HINTS = {
    "temp_c": "Fahrenheit, or another column?",
    "tmin_c": "Fahrenheit, or another column?",
    "tmax_c": "Fahrenheit, or another column?",
    "dew_point_c": "Fahrenheit?",
    "rh_pct": "per cent wanted, or another column?",
    "rh_mean_pct": "per cent wanted, or another column?",
    "solar_w_m2": "W/m2 wanted",
    "solar_mj_m2": "MJ/m2 a day wanted",
    "wind_m_s": "m/s wanted",
    "rain_mm": "mm of this row alone wanted",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
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


def vapour_kpa(temp_c: float) -> float:
    """Saturation vapour pressure [kPa] at a temperature [°C].

    Source: FAO-56 eq. 11
    """
    return 0.6108 * math.exp(17.27 * temp_c / (temp_c + 237.3))


def check_order(
    rows: Sequence[Row], at: Sequence[float], step: float, unit: str, most_missing: int = 0
) -> None:
    """Refuse doubles, rows out of order, steps that are not whole, and long gaps.

    Args:
        rows: the rows, for their numbers.
        at: when each is, in the unit of `step`.
        step: between one row and the next.
        unit: "hour" or "day", for the message.
        most_missing: how many rows on end may be missing.

    Raises:
        SeasonError: the first row that is out of order.
    """
    if not rows:
        msg = f"the season has no {unit}s at all"
        raise SeasonError(msg)
    for row, (before, here) in zip(rows[1:], pairwise(at), strict=True):
        if here == before:
            row.refuse(f"the same {unit} as the row before; each {unit} once is allowed")
        if here < before:
            row.refuse(f"earlier than the row before; rows in order are needed ({unit}s)")
        count = (here - before) / step - 1.0
        if count != int(count):
            row.refuse(f"{count + 1.0:g} {unit}s after the row before; whole {unit}s are needed")
        if count > most_missing:
            allowed = f"{most_missing} at most are filled" if most_missing else "no gap is allowed"
            row.refuse(f"{count:g} {unit}s are missing before it; {allowed}")
