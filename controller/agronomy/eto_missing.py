"""A day's reference evapotranspiration from whatever is known, in one stated order.

The order is FAO-56's as far as it goes (ch. 3: estimate what is missing and keep to the one
equation; Hargreaves only where that cannot be done); what comes after is our own proposal:

1. Penman-Monteith with everything measured.
2. Penman-Monteith with parts estimated: humidity from the lowest temperature, sun from the span of
   temperature, wind 2 m/s.
3. Hargreaves, from temperature and the day of the year.
4. The mean of the last seven days that are known.
5. The grower's table of months.
6. Nothing: None. No number is made up here.

What was used is said with the number. A reading that is no finite number counts as missing.

Source: FAO-56 ch. 3, eq. 48, 50 and 52.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from math import isfinite
from typing import Any

from controller.agronomy.eto import DailyWeather, eto_daily, hargreaves_mm_d
from controller.agronomy.eto_hourly import INLAND_KRS
from controller.agronomy.radiation import Site, extraterrestrial_radiation_mj_m2_d

COAST_KRS = 0.19  # [1/sqrt(°C)] FAO-56 eq. 50
DRY_DEW_BELOW_TMIN_C = 2.5  # [°C] FAO-56 ch. 3: 2 to 3 in dry climates; the middle
RECENT_DAYS = 7  # days of the mean: our own proposal
RECENT_LEAST = 3  # fewer known days are no mean: our own proposal
MONTHS = 12


class Means(StrEnum):
    """How a day's ETo was come by, best first."""

    PENMAN_MONTEITH = "penman-monteith"
    PENMAN_MONTEITH_ESTIMATED = "penman-monteith-estimated"
    HARGREAVES = "hargreaves"
    RECENT_MEAN = "recent-mean"
    MONTHLY_TABLE = "monthly-table"


class Setting(StrEnum):
    """Lie of the garden: it decides what the span of temperature tells of the sun."""

    INLAND = "inland"
    COAST = "coast"
    ISLAND = "island"  # the sea holds the span down: FAO-56 eq. 50 does not hold


@dataclass(frozen=True, slots=True, kw_only=True)
class DayEto:
    """A day's ETo [mm/d], how it was come by, and which parts were estimated."""

    eto_mm_d: float
    means: Means
    estimated: tuple[str, ...] = ()  # of "radiation", "humidity", "wind"; else "all"


def best_day_eto(
    *,
    weather: DailyWeather | None,
    site: Site,
    day_of_year: int,
    month: int,
    setting: Setting = Setting.INLAND,
    dry_climate: bool = False,
    recent_mm_d: Sequence[float] = (),
    monthly_mm_d: Sequence[float] | None = None,
) -> DayEto | None:
    """A day's ETo by the best means that what is known allows.

    Args:
        weather: the day; None where not even its temperatures are known.
        site: the place.
        day_of_year: 1…366.
        month: 1…12.
        setting: for the sun from temperature: kRs 0.16 inland, 0.19 at a coast, not on islands.
        dry_climate: whether the dew point is taken 2.5 °C below the lowest temperature.
        recent_mm_d: ETo of the days before, newest last [mm/d], from means 1 to 3 only.
        monthly_mm_d: the grower's twelve [mm/d].

    Returns:
        ETo [mm/d], 0 or more, with its means; None where nothing is known.

    Source: FAO-56 ch. 3; the order after Hargreaves is our own proposal.
    """
    known = None if weather is None else _finite_only(weather)
    if known is not None:
        return _from_weather(known, site, day_of_year, setting, dry_climate)
    recent = [one for one in recent_mm_d if isfinite(one) and one >= 0.0][-RECENT_DAYS:]
    if len(recent) >= RECENT_LEAST:
        mean_mm_d = sum(recent) / len(recent)
        return DayEto(eto_mm_d=mean_mm_d, means=Means.RECENT_MEAN, estimated=("all",))
    return _from_table(monthly_mm_d, month)


def _from_weather(
    known: DailyWeather, site: Site, day_of_year: int, setting: Setting, dry_climate: bool
) -> DayEto:
    """Means 1 to 3."""
    sun_told = known.solar_mj_m2_d is not None or known.sunshine_h is not None
    if setting is Setting.ISLAND and not sun_told:
        ra = extraterrestrial_radiation_mj_m2_d(site.latitude_deg, day_of_year)
        eto_mm_d = hargreaves_mm_d(tmin_c=known.tmin_c, tmax_c=known.tmax_c, ra_mj_m2_d=ra)
        return DayEto(eto_mm_d=eto_mm_d, means=Means.HARGREAVES, estimated=("all",))
    found = eto_daily(
        known,
        site,
        day_of_year,
        krs=COAST_KRS if setting is Setting.COAST else INLAND_KRS,
        dew_below_tmin_c=DRY_DEW_BELOW_TMIN_C if dry_climate else 0.0,
    )
    means = Means.PENMAN_MONTEITH_ESTIMATED if found.estimated else Means.PENMAN_MONTEITH
    return DayEto(eto_mm_d=found.eto_mm_d, means=means, estimated=found.estimated)


def _from_table(monthly_mm_d: Sequence[float] | None, month: int) -> DayEto | None:
    if monthly_mm_d is None or len(monthly_mm_d) != MONTHS or not 1 <= month <= MONTHS:
        return None
    told_mm_d = monthly_mm_d[month - 1]
    if not (isfinite(told_mm_d) and told_mm_d >= 0.0):
        return None
    return DayEto(eto_mm_d=told_mm_d, means=Means.MONTHLY_TABLE, estimated=("all",))


def _finite_only(weather: DailyWeather) -> DailyWeather | None:
    """The day without readings that are no numbers; None without both temperatures in order."""
    if not (isfinite(weather.tmin_c) and isfinite(weather.tmax_c)):
        return None
    if weather.tmin_c > weather.tmax_c or not isfinite(weather.wind_height_m):
        return None
    told = {one.name: getattr(weather, one.name) for one in fields(weather)}
    lost: dict[str, Any] = {
        name: None for name, value in told.items() if value is not None and not isfinite(value)
    }
    return replace(weather, **lost)
