"""Three years of measured soil moisture under a meadow in Hesse, and what soakings did there.

Hourly water content at 10, 25 and 40 cm, 2014 to 2016, Vollnkirchener Bach, Hesse, Germany; by
courtesy of the Chair of Landscape, Water and Biogeochemical Cycles, Justus Liebig University
Giessen; comes with the package spotpy, which is read and never imported. The ground cover is
taken to be grass; the file does not say.

Traps: the weather file beside it swaps day and month on the first twelve days of each month, so
that the hours here are counted from the first row and each stamp is only held against that, as it
stands or swapped. The column for 25 cm runs `AHEAD_25_H` hours ahead of both others and of the
rain, in all three years alike; it is moved back here.

Units: water content in m3/m3, hours and days as named, instants in Unix seconds of the file's own
clock.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

from controller.errors import SeasonError
from sim.season_open import Source

PROBES = Source(
    package="spotpy", sold_as="spotpy", inside=("examples", "cmf_data", "soilmoisture_site24.csv")
)
DEPTHS_CM = (10, 25, 40)
FIRST = datetime(2014, 1, 1, tzinfo=UTC)
AHEAD_25_H = 141  # [h] the best match of its rises with those at 10 and at 40 cm; a test finds it
STAMP = "%Y-%m-%d %H:%M:%S"
BEFORE_H = 48  # [h] a soaking raises the content within this
DRYING_H = 240  # [h] and is followed by so long a dry-down
QUIET_FROM_H = 12  # [h] after the peak
LOWEST_M3_M3, HIGHEST_M3_M3 = 0.0, 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class DryDown:
    """What one soaking left behind.

    Args:
        at_utc_s: its peak [Unix s].
        theta_m3_m3: hourly content from the peak on, `DRYING_H` + 1 values [m3/m3].
    """

    at_utc_s: float
    theta_m3_m3: tuple[float, ...]

    @property
    def plateau_m3_m3(self) -> float:
        """Mean content of the second day [m3/m3]."""
        second = self.theta_m3_m3[24:48]
        return sum(second) / len(second)

    @property
    def fall_m3_m3(self) -> float:
        """What is lost between the end of day 1 and the end of day 3 [m3/m3]."""
        return self.theta_m3_m3[24] - self.theta_m3_m3[72]

    @property
    def slope_m3_m3_d(self) -> float:
        """What is lost per day from day 4 to day 10 [m3/m3/d]."""
        return (self.theta_m3_m3[96] - self.theta_m3_m3[DRYING_H]) / ((DRYING_H - 96) / 24.0)


def read_probes(path: Path | None = None) -> dict[int, tuple[float, ...]]:
    """Read the hourly contents by depth in cm, from 2014-01-01 00:00 on.

    Args:
        path: the file; None = the one in the installed package.

    Returns:
        [m3/m3] by depth; the one at 25 cm moved back to its time, its beginning NaN.

    Raises:
        SeasonError: the file is missing, has a gap, or holds something else.
    """
    file = PROBES.path() if path is None else path
    lines = file.read_text(encoding="utf-8").splitlines()
    numbered = [(i, text) for i, text in enumerate(lines, 1) if text and not text.startswith("#")]
    columns: tuple[list[float], ...] = ([], [], [])
    for hour, (line, text) in enumerate(numbered):
        cells = text.split(",")
        if len(cells) != 1 + len(DEPTHS_CM) or not _is_hour(cells[0], hour):
            msg = f"{file.name}, line {line}: {text!r}; hour {hour} and three contents are allowed"
            raise SeasonError(msg)
        for column, cell in zip(columns, cells[1:], strict=True):
            column.append(_content(file.name, line, cell))
    shallow, middle, deep = columns
    late = [math.nan] * AHEAD_25_H
    moved = tuple([*late, *middle][: len(middle)])
    return {10: tuple(shallow), 25: moved, 40: tuple(deep)}


def _is_hour(stamp: str, hour: int) -> bool:
    """Whether a stamp is the hour its row says, as it stands or with day and month swapped."""
    due = FIRST + timedelta(hours=hour)
    allowed = {due.strftime(STAMP)}
    if due.day <= 12:
        allowed.add(due.strftime("%Y-%d-%m %H:%M:%S"))
    return stamp in allowed


def _content(name: str, line: int, cell: str) -> float:
    """One content [m3/m3]."""
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not LOWEST_M3_M3 < value < HIGHEST_M3_M3:
        msg = (
            f"{name}, line {line}: {cell!r} is outside {LOWEST_M3_M3:g} to {HIGHEST_M3_M3:g} m3/m3"
        )
        raise SeasonError(msg)
    return value


def lag_h(early: Sequence[float], late: Sequence[float], most_h: int) -> int:
    """By how many hours the rises of one series come after those of another.

    Args:
        early: one series [m3/m3].
        late: the other, of the same hours.
        most_h: lags up to this are tried, both ways [h].
    """
    first, second = _rises(early), dict(_rises(late))
    best, found = -1.0, 0
    for lag in range(-most_h, most_h + 1):
        match = sum(rise * second.get(hour + lag, 0.0) for hour, rise in first)
        if match > best:
            best, found = match, lag
    return found


def _rises(series: Sequence[float]) -> list[tuple[int, float]]:
    """Hours with a rise that is more than the probe's own flicker, at most 0.05 each."""
    return [
        (hour, min(0.05, after - before))
        for hour, (before, after) in enumerate(pairwise(series))
        if after - before > 0.002
    ]


def dry_downs(
    theta: Sequence[float], *, rise_m3_m3: float, quiet_m3_m3: float
) -> tuple[DryDown, ...]:
    """Soakings that were followed by ten days in which the probe hardly rose.

    Args:
        theta: hourly content from the first hour on [m3/m3].
        rise_m3_m3: least rise within two days up to the peak.
        quiet_m3_m3: the content never rises by more than this again.
    """
    found = []
    hour = BEFORE_H
    while hour + DRYING_H < len(theta):
        peak = theta[hour]
        is_peak = peak == max(theta[hour - 24 : hour + 24])
        if is_peak and peak - min(theta[hour - BEFORE_H : hour]) >= rise_m3_m3:
            after = tuple(theta[hour : hour + DRYING_H + 1])
            if _highest_rise(after[QUIET_FROM_H:]) <= quiet_m3_m3:
                at = FIRST + timedelta(hours=hour)
                found.append(DryDown(at_utc_s=at.timestamp(), theta_m3_m3=after))
                hour += DRYING_H
        hour += 1
    return tuple(found)


def _highest_rise(theta: Sequence[float]) -> float:
    """The most by which a series stands above what it has come down to."""
    lowest = theta[0]
    highest = 0.0
    for value in theta:
        lowest = min(lowest, value)
        highest = max(highest, value - lowest)
    return highest
