"""Invented seasons: made-up weather from a seeded generator, for trials without any data file.

Nothing here is a record of any place. `invented-dry` and `invented-wet` have the statistics of two
stations (`sim.season_climates`, `sim.season_generator`). `invented-demo` is older and follows no
station: a year of the calendar of 2025 whose numbers are ours, kept as it is for the demonstration.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from datetime import date, timedelta

from controller.errors import SeasonError
from sim.growing_year import day_of
from sim.season_climates import DENMARK, SEATTLE
from sim.season_generator import generate
from sim.season_shapes import sun_of
from sim.season_types import DayRow, Place

YEAR = 2025
PERSISTENCE = 0.65  # [-] of the temperature's departure from one day to the next; ours


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """What the demo's year is drawn from.

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


DEMO = Climate(
    seed=37,
    mean_c=12.0,
    swing_c=9.0,
    range_c=11.5,
    wet_after_dry_frac=0.14,
    wet_after_wet_frac=0.42,
    wet_day_mm=5.5,
    winter_after_dry_frac=0.22,
    winter_after_wet_frac=0.67,
)
INVENTED = ("invented-dry", "invented-wet", "invented-demo")
# climate and seed: of the first forty seeds two whose summer is as dry, as wet, as the name says
FITTED = {"invented-dry": (SEATTLE, 17), "invented-wet": (DENMARK, 11)}


def is_invented(name: str) -> bool:
    """Whether a season's name is one of the invented ones, with or without `:SEED`."""
    return name.partition(":")[0] in INVENTED


def invent(name: str, place: Place) -> tuple[DayRow, ...]:
    """Make up a year.

    Args:
        name: one of `INVENTED`; all but the demo's take another seed, as `invented-dry:7`.
        place: the garden; its hemisphere decides when summer is and the year begins, its latitude
            the sun.

    Returns:
        365 days with every value.

    Raises:
        SeasonError: what follows the colon is no whole number from 0, or the season has one year.
    """
    plain, colon, told = name.partition(":")
    if plain not in FITTED:
        if colon:
            msg = f"season {name!r}: {plain} is one year only; no number is allowed after it"
            raise SeasonError(msg)
        return _demo_year(DEMO, place)
    climate, seed = FITTED[plain]
    if colon:
        if not (told.isascii() and told.isdigit()):
            msg = f"season {name!r}: {told!r} is no seed; a whole number from 0 is allowed"
            raise SeasonError(msg)
        seed = int(told)
    return generate(climate, seed, place, YEAR)


def _demo_year(climate: Climate, place: Place) -> tuple[DayRow, ...]:
    """The demo's year."""
    draw = random.Random(climate.seed)
    rows: list[DayRow] = []
    departure_c = 0.0
    wet = False
    day = day_of((1, 1), YEAR, place.latitude_deg)
    end = day_of((1, 1), YEAR + 1, place.latitude_deg)
    while day < end:
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
