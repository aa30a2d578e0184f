"""Draws from a station's days the numbers of which another year of its climate is made.

Rain after Richardson (1981, from memory): a two-state Markov chain of wet and dry days, wet amounts
gamma distributed; temperature a yearly course with a departure that lasts from one day to the next.
All tables have twelve numbers, January first. Left out: how years differ from each other beyond
chance, and any link between departure, range and wind.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from sim.season_types import DayRow

WET_MM = 0.2  # [mm] a day with at least this is wet
MONTHS = range(1, 13)
Table = tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """What a fitted year is drawn from; tables by month, January first.

    Args:
        wet_after_dry_frac, wet_after_wet_frac: chance of a wet day [-].
        wet_day_mm: mean rain of a wet day [mm].
        rain_spread_frac: standard deviation of what wet days have above 0.2 mm, over its mean [-].
        mean_c: of the days' middles between lowest and highest [°C].
        wet_warmer_c: by how much wet days are warmer than dry ones [°C].
        spread_c: standard deviation of the departure [°C].
        kept_frac: of the departure, from one day to the next [-].
        range_dry_c, range_wet_c: mean daily range of dry and of wet days [°C].
        range_spread_frac: standard deviation of the range over its mean [-].
        wind_m_s: mean wind at 2 m [m/s].
    """

    wet_after_dry_frac: Table
    wet_after_wet_frac: Table
    wet_day_mm: Table
    rain_spread_frac: float
    mean_c: Table
    wet_warmer_c: Table
    spread_c: Table
    kept_frac: float
    range_dry_c: Table
    range_wet_c: Table
    range_spread_frac: Table
    wind_m_s: Table


def fit(rows: Sequence[DayRow], wind_unknown_m_s: float = 2.0) -> Climate:
    """Fit a climate to a station's days by counting and by moments.

    Args:
        rows: whole years in order.
        wind_unknown_m_s: where the station has no wind [m/s].

    Returns:
        The climate; nothing is rounded.
    """
    wet, dry = [r for r in rows if is_wet(r)], [r for r in rows if not is_wet(r)]
    mean = _by_month(rows, _middle)
    warm_wet, warm_dry = _by_month(wet, _middle), _by_month(dry, _middle)
    warmer = tuple(a - b for a, b in zip(warm_wet, warm_dry, strict=True))
    departures = _departures(rows, mean, warmer)
    spread = _spreads(rows, departures)
    dry_range, wet_range = _by_month(dry, _range), _by_month(wet, _range)
    ranges = [_range(r) / (wet_range if is_wet(r) else dry_range)[r.date.month - 1] for r in rows]
    return Climate(
        wet_after_dry_frac=_chances(rows, after_wet=False),
        wet_after_wet_frac=_chances(rows, after_wet=True),
        wet_day_mm=_by_month(wet, _rain),
        rain_spread_frac=_rain_spread(wet),
        mean_c=mean,
        wet_warmer_c=warmer,
        spread_c=spread,
        kept_frac=_kept(rows, departures, spread),
        range_dry_c=dry_range,
        range_wet_c=wet_range,
        range_spread_frac=_spreads(rows, ranges),
        wind_m_s=_by_month(rows, lambda r: wind_unknown_m_s if r.wind_m_s is None else r.wind_m_s),
    )


def _rain_spread(wet: Sequence[DayRow]) -> float:
    """How unevenly wet days are wet, each against its month."""
    usual = _by_month(wet, _rain)
    return _deviation([(r.rain_mm - WET_MM) / (usual[r.date.month - 1] - WET_MM) for r in wet])


def _kept(rows: Sequence[DayRow], departures: Sequence[float], spread: Table) -> float:
    """Correlation of a day's departure with the day before's."""
    scaled = [d / spread[r.date.month - 1] for r, d in zip(rows, departures, strict=True)]
    return _mean(a * b for a, b in pairwise(scaled))


def _rain(row: DayRow) -> float:
    return row.rain_mm


def is_wet(row: DayRow) -> bool:
    """Whether a day counts as wet."""
    return row.rain_mm >= WET_MM


def _middle(row: DayRow) -> float:
    return (row.tmin_c + row.tmax_c) / 2.0


def _range(row: DayRow) -> float:
    return row.tmax_c - row.tmin_c


def _mean(values: Iterable[float]) -> float:
    found = list(values)
    return sum(found) / len(found)


def _deviation(values: Sequence[float]) -> float:
    middle = _mean(values)
    return math.sqrt(_mean((value - middle) ** 2 for value in values))


def _spreads(rows: Sequence[DayRow], values: Sequence[float]) -> Table:
    """Standard deviation of a value of each day, by month."""
    return tuple(
        _deviation([v for r, v in zip(rows, values, strict=True) if r.date.month == month])
        for month in MONTHS
    )


def _by_month(rows: Sequence[DayRow], value: Callable[[DayRow], float]) -> Table:
    return tuple(_mean(value(r) for r in rows if r.date.month == month) for month in MONTHS)


def _chances(rows: Sequence[DayRow], *, after_wet: bool) -> Table:
    """Share of wet days among those that follow a wet, or a dry, day."""
    pairs = [(a, b) for a, b in pairwise(rows) if is_wet(a) == after_wet]
    return tuple(_mean(is_wet(b) for _, b in pairs if b.date.month == month) for month in MONTHS)


def _departures(rows: Sequence[DayRow], mean: Table, warmer: Table) -> list[float]:
    """How far each day's middle is from what its month and its rain let expect [°C]."""
    wet_share = tuple(_mean(is_wet(r) for r in rows if r.date.month == month) for month in MONTHS)
    found = []
    for row in rows:
        month = row.date.month - 1
        share = float(is_wet(row)) - wet_share[month]
        found.append(_middle(row) - mean[month] - share * warmer[month])
    return found
