"""Another year of a fitted climate, day by day, from a seed.

Rain, temperature and wind follow the station's statistics (`sim.season_fit`). Neither station has
humidity or radiation: both are drawn around what FAO-56 chapter 3 estimates from the temperature
range (eq. 50 and eq. 48), within 15 % and 2 °C; these two numbers and the clear sky as the upper
bound are ours.
"""

from __future__ import annotations

import random
from datetime import date, timedelta

from sim.growing_year import day_of
from sim.season_fit import WET_MM, Climate, Table
from sim.season_rows import vapour_kpa
from sim.season_shapes import guessed_solar_mj_m2, sun_of
from sim.season_types import DayRow, Place

RANGE_MOST_C = 22.0  # [°C] of a day; ours
RANGE_LEAST_C = 0.5
SOLAR_SPREAD_FRAC = 0.15
DEW_SPREAD_C = 2.0
WIND_SHAPE = 6.0  # [-] of the gamma distribution of daily wind; about Seattle's (0.4 of the mean)
HALF_YEAR_D = 182
WIDEST_CLEAR_FRAC = 0.75  # [-] FAO-56 eq. 37


def generate(climate: Climate, seed: int, place: Place, year: int) -> tuple[DayRow, ...]:
    """Make up a year.

    Args:
        climate: what it is drawn from.
        seed: the same seed gives the same year.
        place: the garden; south of the equator the year begins in July, and with it the summer
            half a year later.
        year: the growing year.

    Returns:
        All its days with every value, rounded as a mast would.
    """
    draw = random.Random(seed)
    rows: list[DayRow] = []
    departure = 0.0
    wet = False
    day = day_of((1, 1), year, place.latitude_deg)
    end = day_of((1, 1), year + 1, place.latitude_deg)
    while day < end:
        there = day if place.latitude_deg >= 0.0 else day + timedelta(days=HALF_YEAR_D)
        month = there.month - 1
        after = climate.wet_after_wet_frac if wet else climate.wet_after_dry_frac
        wet = draw.random() < after[month]
        kept = climate.kept_frac
        departure = kept * departure + draw.gauss(0.0, (1.0 - kept**2) ** 0.5)
        mean_c = course(climate.mean_c, there) + departure * climate.spread_c[month]
        mean_c += (float(wet) - wet_share(climate, month)) * climate.wet_warmer_c[month]
        rows.append(_day(climate, day, month, draw, (mean_c, wet, place)))
        day += timedelta(days=1)
    return tuple(rows)


def wet_share(climate: Climate, month: int) -> float:
    """Share of wet days that the chain comes to [-]; `month` counts from 0."""
    after_dry = climate.wet_after_dry_frac[month]
    return after_dry / (1.0 + after_dry - climate.wet_after_wet_frac[month])


def course(table: Table, day: date) -> float:
    """A monthly mean on a day: straight lines between the middles of months."""
    position = (day.month - 1) + (day.day - 15.5) / 30.4
    before = int(position // 1)
    share = position - before
    return table[before % 12] * (1.0 - share) + table[(before + 1) % 12] * share


def _day(
    climate: Climate,
    day: date,
    month: int,
    draw: random.Random,
    state: tuple[float, bool, Place],
) -> DayRow:
    """One day's values from its mean temperature and whether it is wet."""
    mean_c, wet, place = state
    usual = climate.range_wet_c if wet else climate.range_dry_c
    shape = 1.0 / climate.range_spread_frac[month] ** 2
    range_c = draw.gammavariate(shape, usual[month] / shape)
    range_c = min(RANGE_MOST_C, max(RANGE_LEAST_C, range_c))
    tmin_c, tmax_c = round(mean_c - range_c / 2.0, 1), round(mean_c + range_c / 2.0, 1)
    rain_mm = 0.0
    if wet:
        rain_shape = 1.0 / climate.rain_spread_frac**2
        above_mm = climate.wet_day_mm[month] - WET_MM
        rain_mm = WET_MM + draw.gammavariate(rain_shape, above_mm / rain_shape)
    sun = sun_of(day, place)
    solar = guessed_solar_mj_m2(tmin_c, tmax_c, sun, place.elevation_m)
    solar *= draw.uniform(1.0 - SOLAR_SPREAD_FRAC, 1.0 + SOLAR_SPREAD_FRAC)
    dew_c = tmin_c + draw.uniform(-DEW_SPREAD_C, DEW_SPREAD_C)
    held = vapour_kpa(dew_c) / ((vapour_kpa(tmin_c) + vapour_kpa(tmax_c)) / 2.0)
    wind = draw.gammavariate(WIND_SHAPE, climate.wind_m_s[month] / WIND_SHAPE)
    return DayRow(
        date=day,
        tmin_c=tmin_c,
        tmax_c=tmax_c,
        rain_mm=round(rain_mm, 1),
        rh_mean_pct=round(min(100.0, 100.0 * held), 0),
        solar_mj_m2=round(min(solar, WIDEST_CLEAR_FRAC * sun.ra_mj_m2), 2),
        wind_m_s=round(wind, 1),
    )
