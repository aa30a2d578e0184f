"""The climate that crop coefficients are fitted to: mean wind and lowest humidity of some weeks.

The rain of these weeks is kept beside them, for the outlook alone.

FAO-56 fits a coefficient to the means of a stage, not of single days, so each day moves the mean by
a twentieth. Where no mast tells wind or humidity the standard climate of the tables stands: wind
2 m/s, lowest relative humidity 45 %. Untold humidity is taken from the day's temperatures, with the
lowest one for the dew point (FAO-56 eq. 64).
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.agronomy.air import saturation_vapour_pressure_kpa

STANDARD_WIND_M_S = 2.0  # FAO-56 table 17, heading
STANDARD_RH_MIN_PCT = 45.0  # the same
MEMORY_D = 20.0  # days that a mean stands for: our own proposal
WHOLE_DAY_H = 18  # fewer hours told are no day
WET_MM = 1.0  # a day with less is a dry one
USUAL_RAIN_MM_D = 1.2  # before any day was told: our own guess
USUAL_WET_FRAC = 0.2  # the same, of days


@dataclass(slots=True, kw_only=True)
class Climate:
    """Means of the last weeks, and the day under way."""

    wind_m_s: float = STANDARD_WIND_M_S
    rh_min_pct: float = STANDARD_RH_MIN_PCT
    wind_sum_m_s: float = 0.0
    wind_h: int = 0
    rh_low_pct: float = 100.0
    rh_h: int = 0
    rain_mm_d: float = USUAL_RAIN_MM_D
    wet_frac: float = USUAL_WET_FRAC  # of days
    rain_today_mm: float = 0.0


def keep_hour(climate: Climate, wind_m_s: float | None, rh_pct: float | None) -> None:
    """Take in what a mast tells at the end of an hour.

    Args:
        climate: changed in place.
        wind_m_s: at 2 m [m/s], None where it is not told.
        rh_pct: relative humidity [%], likewise.
    """
    if wind_m_s is not None:
        climate.wind_sum_m_s += wind_m_s
        climate.wind_h += 1
    if rh_pct is not None:
        climate.rh_low_pct = min(climate.rh_low_pct, rh_pct)
        climate.rh_h += 1


def end_day(climate: Climate, ends_c: tuple[float, float] | None) -> None:
    """Let a day that was told move the means, and begin the next.

    Args:
        climate: changed in place.
        ends_c: lowest and highest temperature of the day [°C], None where no mast told any.
    """
    if climate.wind_h >= WHOLE_DAY_H:
        wind_m_s = climate.wind_sum_m_s / climate.wind_h
        climate.wind_m_s += (wind_m_s - climate.wind_m_s) / MEMORY_D
    rh_min_pct = climate.rh_low_pct if climate.rh_h >= WHOLE_DAY_H else None
    if rh_min_pct is None and ends_c is not None:
        rh_min_pct = rh_min_of_temperature_pct(*ends_c)
    if rh_min_pct is not None:
        climate.rh_min_pct += (rh_min_pct - climate.rh_min_pct) / MEMORY_D
    if ends_c is not None:
        wet = 1.0 if climate.rain_today_mm >= WET_MM else 0.0
        climate.rain_mm_d += (climate.rain_today_mm - climate.rain_mm_d) / MEMORY_D
        climate.wet_frac += (wet - climate.wet_frac) / MEMORY_D
    climate.rain_today_mm = 0.0
    climate.wind_sum_m_s, climate.wind_h = 0.0, 0
    climate.rh_low_pct, climate.rh_h = 100.0, 0


def rh_min_of_temperature_pct(tmin_c: float, tmax_c: float) -> float:
    """A day's lowest relative humidity where only its temperatures are known.

    Args:
        tmin_c: lowest [°C], taken for the dew point.
        tmax_c: highest [°C], not below it.

    Returns:
        Relative humidity at the highest temperature [%], above 0, 100 at most.

    Source: FAO-56 eq. 64.
    """
    dew_kpa, warm_kpa = map(saturation_vapour_pressure_kpa, (tmin_c, tmax_c))
    return min(100.0, 100.0 * dew_kpa / warm_kpa)
