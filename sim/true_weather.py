"""The weather that truly was, where it is not just what an own mast told.

A season on record is told by instruments: reference evapotranspiration comes from a formula and
four of them, rain from a funnel in the wind. What the first is wrong by over a whole season a fit
finds in the plants' thirst; what it is wrong by from day to day, and what the gauge missed, is
drawn here. The mast of a world with such a draw goes on telling what is on record.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace

from sim.draws import WeatherDraw
from sim.season_types import Season

ETO_DAY_SD_FRAC = 0.10  # of a day's ETo by a whole mast, between days; ours
ESTIMATED_SD_FRAC = {"solar_w_m2": 0.10, "rh_pct": 0.05, "wind_m_s": 0.08}  # no mast told; ours
GAUGE_SD_FRAC = 0.05  # of all rain of a season, one gauge in the wind; ours
RAIN_DAY_SD_FRAC = 0.10  # of a day's rain beyond that; ours


def weather_draw(season: Season, number: int) -> WeatherDraw:
    """Draw how the true weather departed from a record.

    Args:
        season: the record; columns that no mast told make its evapotranspiration less sure.
        number: which draw; equal numbers give equal draws.

    Returns:
        Log-normal factors with a median of 1, each day's own; one gauge for all of the rain.
    """
    lot = random.Random(f"{number}/weather/{season.source}")
    eto_sd = eto_day_sd_frac(season)
    gauge = lot.gauss(0.0, GAUGE_SD_FRAC)
    days = range(len(season.daily))
    return WeatherDraw(
        eto_to_record_frac=tuple(math.exp(lot.gauss(0.0, eto_sd)) for _ in days),
        rain_to_record_frac=tuple(math.exp(gauge + lot.gauss(0.0, RAIN_DAY_SD_FRAC)) for _ in days),
    )


def eto_day_sd_frac(season: Season) -> float:
    """How far a day's evapotranspiration of a record may be off, apart from the season's mean.

    Args:
        season: the record.

    Returns:
        Standard deviation of its logarithm [-]. Our own proposals.
    """
    missing = [sd for name, sd in ESTIMATED_SD_FRAC.items() if name not in season.reported]
    return math.hypot(ETO_DAY_SD_FRAC, *missing)


def truly(season: Season, draw: WeatherDraw) -> Season:
    """The season with the evapotranspiration and the rain of a draw.

    Args:
        season: the record.
        draw: a factor of each for each of its days.

    Returns:
        The same hours and days; temperature, sun, humidity and wind stay as told.
    """
    starts = [day.start_utc_s for day in season.daily]
    day, hours = 0, []
    for hour in season.hours:
        while day + 1 < len(starts) and hour.at_utc_s >= starts[day + 1]:
            day += 1
        hours.append(
            replace(hour, rain_mm=hour.rain_mm * draw.rain_to_record_frac[day])
            if hour.rain_mm
            else hour
        )
    daily = [
        replace(one, rain_mm=one.rain_mm * rain, eto_mm=one.eto_mm * eto)
        for one, eto, rain in zip(
            season.daily, draw.eto_to_record_frac, draw.rain_to_record_frac, strict=True
        )
    ]
    return replace(season, hours=tuple(hours), daily=tuple(daily))
