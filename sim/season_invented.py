"""Invented seasons: made-up weather from a seeded generator, for trials without any data file.

Nothing here is a record of any place. A year of the calendar of 2025: wet and dry days follow a
two-state Markov chain, wet amounts a gamma distribution, temperature a yearly cosine with a
first-order autoregressive departure (the plan of Richardson 1981, from memory; numbers are ours).
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from datetime import date, timedelta

from sim.season_shapes import sun_of
from sim.season_types import DayRow, Place

YEAR = 2025
PERSISTENCE = 0.65  # [-] of the temperature's departure from one day to the next; ours


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """What an invented year is drawn from.

    Args:
        seed: of the generator.
        mean_c, swing_c: yearly mean of the daily mean temperature and half its yearly range [°C].
        range_c: mean daily range on a dry day [°C].
        wet_after_dry_frac, wet_after_wet_frac: chance of a wet day in summer [-].
        winter_after_dry_frac, winter_after_wet_frac: the same in winter [-].
        wet_day_mm: mean rain of a wet day [mm].
    """

    seed: int
    mean_c: float
    swing_c: float
    range_c: float
    wet_after_dry_frac: float
    wet_after_wet_frac: float
    winter_after_dry_frac: float
    winter_after_wet_frac: float
    wet_day_mm: float


CLIMATES = {
    "invented-dry": Climate(
        seed=11,
        mean_c=12.5,
        swing_c=9.5,
        range_c=13.0,
        wet_after_dry_frac=0.07,
        wet_after_wet_frac=0.30,
        wet_day_mm=4.5,
        winter_after_dry_frac=0.17,
        winter_after_wet_frac=0.70,
    ),
    "invented-wet": Climate(
        seed=23,
        mean_c=11.0,
        swing_c=7.5,
        range_c=9.0,
        wet_after_dry_frac=0.32,
        wet_after_wet_frac=0.62,
        wet_day_mm=6.5,
        winter_after_dry_frac=0.38,
        winter_after_wet_frac=0.74,
    ),
    "invented-demo": Climate(
        seed=37,
        mean_c=12.0,
        swing_c=9.0,
        range_c=11.5,
        wet_after_dry_frac=0.14,
        wet_after_wet_frac=0.42,
        wet_day_mm=5.5,
        winter_after_dry_frac=0.22,
        winter_after_wet_frac=0.67,
    ),
}


def invent(name: str, place: Place) -> tuple[DayRow, ...]:
    """Make up a year.

    Args:
        name: a key of `CLIMATES`.
        place: the garden; its hemisphere decides when summer is, its latitude the sun.

    Returns:
        365 days with every value.
    """
    climate = CLIMATES[name]
    draw = random.Random(climate.seed)
    rows: list[DayRow] = []
    departure_c = 0.0
    wet = False
    day = date(YEAR, 1, 1)
    while day.year == YEAR:
        wet = draw.random() < _wet_chance(climate, place, day, wet=wet)
        departure_c = PERSISTENCE * departure_c + draw.gauss(0.0, 2.0)
        rows.append(_day(climate, place, day, draw, (wet, departure_c)))
        day += timedelta(days=1)
    return tuple(rows)


def _season(day: date, place: Place) -> float:
    """1 in the warmest week, -1 in the coldest (about four weeks after the solstice)."""
    warmest = 201 if place.latitude_deg >= 0.0 else 18
    return math.cos(2.0 * math.pi * (day.timetuple().tm_yday - warmest) / 365.0)


def _wet_chance(climate: Climate, place: Place, day: date, *, wet: bool) -> float:
    """Chance of rain today, given yesterday."""
    summer = climate.wet_after_wet_frac if wet else climate.wet_after_dry_frac
    winter = climate.winter_after_wet_frac if wet else climate.winter_after_dry_frac
    return summer + (winter - summer) * (1.0 - _season(day, place)) / 2.0


def _day(
    climate: Climate, place: Place, day: date, draw: random.Random, state: tuple[bool, float]
) -> DayRow:
    """One day's values, rounded as a mast would."""
    wet, departure_c = state
    mean_c = climate.mean_c + climate.swing_c * _season(day, place) + departure_c
    mean_c -= 1.5 if wet else 0.0
    range_c = climate.range_c * (0.6 if wet else 1.0) * draw.uniform(0.75, 1.25)
    rain_mm = draw.gammavariate(0.8, climate.wet_day_mm / 0.8) if wet else 0.0
    clearness = draw.uniform(0.20, 0.42) if wet else draw.uniform(0.52, 0.74)
    return DayRow(
        date=day,
        tmin_c=round(mean_c - range_c / 2.0, 1),
        tmax_c=round(mean_c + range_c / 2.0, 1),
        rain_mm=round(rain_mm, 1),
        rh_mean_pct=round(draw.uniform(74.0, 90.0) if wet else draw.uniform(48.0, 68.0), 0),
        solar_mj_m2=round(clearness * sun_of(day, place).ra_mj_m2, 2),
        wind_m_s=round(0.8 + draw.gammavariate(2.0, 0.6), 1),
    )
