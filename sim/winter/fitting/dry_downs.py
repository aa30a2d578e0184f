"""Dry-downs in a record, and how well a column foretells them: the held-back weeks' judge.

A dry-down begins a day after the last water or rain and ends with the next. What is foretold is
the fall of the content since its beginning, so that a probe's offset does not matter: a soil is
judged by how fast it dries and drains. `skill` is 1 - (squared misses of the fit / those of the
class-table soil): 0 is no better than the table, 1 is without a miss.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.season_types import Season
from sim.winter.fitting.driven import Numbers
from sim.winter.fitting.observed import Water
from sim.winter.fitting.seeing import Blocks

SETTLES_H = 24.0  # [h] after the last water; ours
LEAST_H = 48.0  # [h] shorter ones tell nothing; ours
RAIN_MM_H = 0.2  # [mm/h] less ends no dry-down; ours
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DryDown:
    """A stretch without water [Unix s UTC]."""

    from_utc_s: float
    to_utc_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """How well falls were foretold.

    Args:
        dry_downs: how many.
        fit_rmse_m3_m3: root mean square miss of the fitted soil [m3/m3].
        table_rmse_m3_m3: that of the class-table soil [m3/m3].
        fall_rms_m3_m3: root mean square of what fell [m3/m3].
    """

    dry_downs: int
    fit_rmse_m3_m3: float
    table_rmse_m3_m3: float
    fall_rms_m3_m3: float

    @property
    def skill(self) -> float:
        """Against the class table [-]; below 0 the table was better."""
        if self.table_rmse_m3_m3 <= 0.0:
            return 0.0
        return 1.0 - (self.fit_rmse_m3_m3 / self.table_rmse_m3_m3) ** 2


def dry_downs(
    water: Sequence[Water], season: Season, span_utc_s: tuple[float, float]
) -> tuple[DryDown, ...]:
    """Stretches without water or rain.

    Args:
        water: what the record says.
        season: the weather.
        span_utc_s: begin and end of the search [Unix s UTC].
    """
    begin, end = span_utc_s
    wet = [one.to_utc_s for one in water if one.litres > 0.0]
    wet += [hour.at_utc_s + HOUR_S for hour in season.hours if hour.rain_mm >= RAIN_MM_H]
    starts = [one.from_utc_s for one in water if one.litres > 0.0]
    starts += [hour.at_utc_s for hour in season.hours if hour.rain_mm >= RAIN_MM_H]
    starts.sort()
    found = []
    index = 0
    for last in sorted({begin - SETTLES_H * HOUR_S, *wet}):
        while index < len(starts) and starts[index] < last:
            index += 1
        stops = min(end, starts[index] if index < len(starts) else end)
        first = max(begin, last + SETTLES_H * HOUR_S)
        if stops - first >= LEAST_H * HOUR_S:
            found.append(DryDown(from_utc_s=first, to_utc_s=stops))
    return tuple(found)


def score(
    downs: Sequence[DryDown],
    blocks: Sequence[Blocks],
    fitted: Mapping[str, Numbers],
    table: Mapping[str, Numbers],
) -> Score | None:
    """Hold falls as foretold against falls as recorded.

    Args:
        downs: the dry-downs.
        blocks: of each probe.
        fitted: by probe, what the fitted column would have told, block by block [m3/m3].
        table: the same of the class-table soil.

    Returns:
        The score over all probes; None where no dry-down has two blocks of a probe.
    """
    missed: list[Numbers] = []
    beside: list[Numbers] = []
    fell: list[Numbers] = []
    counted = set()
    for one in blocks:
        for i, down in enumerate(downs):
            inside = (one.at_utc_s >= down.from_utc_s) & (one.at_utc_s <= down.to_utc_s)
            if inside.sum() < 2:
                continue
            counted.add(i)
            fall = _fall(one.theta_m3_m3[inside])
            fell.append(fall)
            missed.append(_fall(fitted[one.probe][inside]) - fall)
            beside.append(_fall(table[one.probe][inside]) - fall)
    if not counted:
        return None
    return Score(
        dry_downs=len(counted),
        fit_rmse_m3_m3=_rms(missed),
        table_rmse_m3_m3=_rms(beside),
        fall_rms_m3_m3=_rms(fell),
    )


def _fall(theta: Numbers) -> Numbers:
    """What was lost since the first of some blocks, those after it [m3/m3]."""
    return np.asarray(theta[0] - theta[1:])


def _rms(parts: Sequence[Numbers]) -> float:
    return float(math.sqrt(np.mean(np.concatenate(parts) ** 2)))
