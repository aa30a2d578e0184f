"""Reference evapotranspiration of short grass by the day, missing parts estimated.

Scale: the garden. Energy in MJ/m2 per day, vapour pressure in kPa, wind at 2 m in m/s, ETo in mm
per day. ETo is finite and 0 or more for any finite input. The hourly forms and the live rate are in
`eto_hourly` and offered here too.

Source: FAO-56 eq. 6 (Penman-Monteith), eq. 52 (Hargreaves), ch. 3 (missing data).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from controller.agronomy import air, radiation
from controller.agronomy.air import COLDEST_C, HIGHEST_M, HOTTEST_C, LOWEST_M, within
from controller.agronomy.eto_hourly import (
    ASSUMED_WIND_M_S,
    CALMEST_M_S,
    INLAND_KRS,
    STRONGEST_M_S,
    HourlyStandard,
    eto_hourly,
    eto_rate_mm_h,
)
from controller.agronomy.radiation import Site, extraterrestrial_radiation_mj_m2_d

__all__ = [
    "DailyWeather",
    "Eto",
    "HourlyStandard",
    "Site",
    "eto_daily",
    "eto_hourly",
    "eto_rate_mm_h",
    "extraterrestrial_radiation_mj_m2_d",
    "hargreaves_mm_d",
    "net_radiation_mj_m2_d",
    "penman_monteith_mm_d",
    "soil_heat_month_mj_m2_d",
]

AERODYNAMIC = 900.0  # [kg K kJ-1 d-1] FAO-56 eq. 6
SURFACE_S_M = 0.34  # [s/m] FAO-56 eq. 6
GRASS_HEIGHT_M = 2.0  # [m] height at which u2 is taken
BRIGHTEST_MJ_M2_D = 60.0  # above any Ra on earth (about 48): more is a broken instrument


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyWeather:
    """A day's weather, as much as is known; the best known form of a quantity is used.

    Humidity, best first: vapour pressure, dew point, highest and lowest RH, highest RH, mean RH.
    Radiation, best first: measured, from sunshine hours.
    """

    tmin_c: float
    tmax_c: float
    rh_max_pct: float | None = None
    rh_min_pct: float | None = None
    rh_mean_pct: float | None = None
    dew_point_c: float | None = None
    vapour_pressure_kpa: float | None = None
    solar_mj_m2_d: float | None = None
    sunshine_h: float | None = None
    wind_m_s: float | None = None
    wind_height_m: float = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Eto:
    """A day's reference evapotranspiration and which of its parts were estimated."""

    eto_mm_d: float
    estimated: tuple[str, ...]  # of "radiation", "humidity", "wind"


def _temp_c(temp_c: float) -> float:
    return within(temp_c, COLDEST_C, HOTTEST_C)


def _share_pct(rh_pct: float) -> float:
    return within(rh_pct, 0.0, 100.0)


def vapour_pressure_kpa(weather: DailyWeather, dew_below_tmin_c: float = 0.0) -> tuple[float, bool]:
    """A day's actual vapour pressure from the best humidity that is known.

    Args:
        weather: the day.
        dew_below_tmin_c: how far the dew point lies below the lowest temperature where no humidity
            is known [°C]; 2 to 3 in a dry climate.

    Returns:
        ea [kPa], not above saturation, and whether it is a mere estimate.

    Source: FAO-56 eq. 14, 17-19, 48.
    """
    low_c, high_c = _temp_c(weather.tmin_c), _temp_c(weather.tmax_c)
    known = _known_vapour_kpa(weather, low_c, high_c)
    found = known
    if found is None:
        found = air.vapour_pressure_from_dew_point_kpa(_temp_c(low_c - dew_below_tmin_c))
    return within(found, 0.0, air.mean_saturation_kpa(low_c, high_c)), known is None


def _known_vapour_kpa(weather: DailyWeather, low_c: float, high_c: float) -> float | None:
    if weather.vapour_pressure_kpa is not None:
        return weather.vapour_pressure_kpa
    if weather.dew_point_c is not None:
        return air.vapour_pressure_from_dew_point_kpa(_temp_c(weather.dew_point_c))
    if weather.rh_max_pct is not None:
        most_pct = _share_pct(weather.rh_max_pct)
        if weather.rh_min_pct is None:
            return air.vapour_pressure_from_rh_max_kpa(low_c, most_pct)
        least_pct = _share_pct(weather.rh_min_pct)
        return air.vapour_pressure_from_rh_ends_kpa(low_c, high_c, most_pct, least_pct)
    if weather.rh_mean_pct is not None:
        mean_pct = _share_pct(weather.rh_mean_pct)
        return air.vapour_pressure_from_rh_mean_kpa(low_c, high_c, mean_pct)
    return None


def solar_mj_m2_d(
    weather: DailyWeather, site: Site, day_of_year: int, krs: float = INLAND_KRS
) -> tuple[float, bool]:
    """A day's solar radiation from the best that is known.

    Args:
        weather: the day.
        site: the place.
        day_of_year: 1..366.
        krs: 0.16 inland, 0.19 at a coast [1/√°C].

    Returns:
        Rs [MJ/m2/d] and whether it is a mere estimate.

    Source: FAO-56 eq. 35, 50.
    """
    if weather.solar_mj_m2_d is not None:
        return within(weather.solar_mj_m2_d, 0.0, BRIGHTEST_MJ_M2_D), False
    ra = extraterrestrial_radiation_mj_m2_d(site.latitude_deg, day_of_year)
    if weather.sunshine_h is not None:
        longest_h = radiation.daylight_h(site.latitude_deg, day_of_year)
        return radiation.solar_from_sunshine_mj_m2_d(weather.sunshine_h, longest_h, ra), False
    low_c, high_c = _temp_c(weather.tmin_c), _temp_c(weather.tmax_c)
    guess = radiation.solar_from_temperature_mj_m2_d(low_c, high_c, ra, krs)
    return min(guess, _clear_sky(ra, site)), True


def _clear_sky(ra: float, site: Site) -> float:
    return radiation.clear_sky_mj_m2_d(ra, within(site.elevation_m, LOWEST_M, HIGHEST_M))


def wind_2_m_s(weather: DailyWeather) -> tuple[float, bool]:
    """A day's wind at 2 m.

    Args:
        weather: the day; the height of its instrument is taken as 0.5..200 m.

    Returns:
        u2 [m/s], 0.5..60, and whether it is a mere assumption.

    Source: FAO-56 eq. 47 and ch. 3.
    """
    if weather.wind_m_s is None:
        return ASSUMED_WIND_M_S, True
    measured = weather.wind_m_s
    if weather.wind_height_m != GRASS_HEIGHT_M:
        measured = air.wind_at_2m_m_s(measured, within(weather.wind_height_m, 0.5, 200.0))
    return within(measured, CALMEST_M_S, STRONGEST_M_S), False


def soil_heat_month_mj_m2_d(month_c: float, month_before_c: float) -> float:
    """Soil heat flux of a month, where the next month is not yet known; for a day it is 0.

    Args:
        month_c: mean of the month [°C].
        month_before_c: mean of the month before [°C].

    Returns:
        G [MJ/m2/d].

    Source: FAO-56 eq. 44.
    """
    return 0.14 * (month_c - month_before_c)


def net_radiation_mj_m2_d(
    *, solar: float, tmin_c: float, tmax_c: float, vapour_kpa: float, site: Site, day_of_year: int
) -> float:
    """Net radiation of a day over grass.

    Args:
        solar: Rs [MJ/m2/d].
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C].
        vapour_kpa: ea [kPa], 0 or more.
        site: the place.
        day_of_year: 1..366.

    Returns:
        Rn [MJ/m2/d].

    Source: FAO-56 eq. 40.
    """
    ra = extraterrestrial_radiation_mj_m2_d(site.latitude_deg, day_of_year)
    ratio = radiation.cloud_ratio_frac(solar, _clear_sky(ra, site))
    lost = radiation.net_longwave_mj_m2_d(_temp_c(tmin_c), _temp_c(tmax_c), vapour_kpa, ratio)
    return radiation.net_shortwave(solar) - lost


def penman_monteith_mm_d(
    *,
    tmin_c: float,
    tmax_c: float,
    vapour_kpa: float,
    available_mj_m2_d: float,
    wind_m_s: float,
    elevation_m: float,
) -> float:
    """Reference evapotranspiration of a day from its finished parts.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C].
        vapour_kpa: ea [kPa].
        available_mj_m2_d: Rn - G [MJ/m2/d].
        wind_m_s: u2 [m/s], 0 or more.
        elevation_m: above sea level [m].

    Returns:
        ETo [mm/d], 0 or more.

    Source: FAO-56 eq. 6.
    """
    low_c, high_c = _temp_c(tmin_c), _temp_c(tmax_c)
    mean_c = (low_c + high_c) / 2.0
    slope = air.slope_kpa_c(mean_c)
    height_m = within(elevation_m, LOWEST_M, HIGHEST_M)
    gamma = air.psychrometric_kpa_c(air.air_pressure_kpa(height_m))
    deficit_kpa = air.mean_saturation_kpa(low_c, high_c) - vapour_kpa
    by_energy = radiation.MM_PER_MJ_M2 * slope * available_mj_m2_d
    by_wind = gamma * AERODYNAMIC / (mean_c + 273.0) * wind_m_s * deficit_kpa
    return max(0.0, (by_energy + by_wind) / (slope + gamma * (1.0 + SURFACE_S_M * wind_m_s)))


def eto_daily(
    weather: DailyWeather,
    site: Site,
    day_of_year: int,
    *,
    soil_heat_mj_m2_d: float = 0.0,
    krs: float = INLAND_KRS,
    dew_below_tmin_c: float = 0.0,
) -> Eto:
    """Reference evapotranspiration of a day, missing parts estimated.

    Args:
        weather: the day.
        site: the place.
        day_of_year: 1..366.
        soil_heat_mj_m2_d: G [MJ/m2/d]: 0 for a day, FAO-56 eq. 44 for a month.
        krs: 0.16 inland, 0.19 at a coast [1/√°C]; used where no sun was measured.
        dew_below_tmin_c: [°C], used where no humidity was measured; 2 to 3 in a dry climate.

    Returns:
        ETo [mm/d], 0 or more, and the names of the estimated parts.

    Source: FAO-56 eq. 6 and ch. 3.
    """
    solar, solar_guessed = solar_mj_m2_d(weather, site, day_of_year, krs)
    vapour_kpa, vapour_guessed = vapour_pressure_kpa(weather, dew_below_tmin_c)
    wind, wind_guessed = wind_2_m_s(weather)
    net = net_radiation_mj_m2_d(
        solar=solar,
        tmin_c=weather.tmin_c,
        tmax_c=weather.tmax_c,
        vapour_kpa=vapour_kpa,
        site=site,
        day_of_year=day_of_year,
    )
    eto_mm_d = penman_monteith_mm_d(
        tmin_c=weather.tmin_c,
        tmax_c=weather.tmax_c,
        vapour_kpa=vapour_kpa,
        available_mj_m2_d=net - soil_heat_mj_m2_d,
        wind_m_s=wind,
        elevation_m=site.elevation_m,
    )
    guesses = {"radiation": solar_guessed, "humidity": vapour_guessed, "wind": wind_guessed}
    return Eto(eto_mm_d=eto_mm_d, estimated=tuple(name for name in guesses if guesses[name]))


def hargreaves_mm_d(*, tmin_c: float, tmax_c: float, ra_mj_m2_d: float) -> float:
    """Reference evapotranspiration of a day from temperature alone; to be checked regionally.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C].
        ra_mj_m2_d: radiation outside the air [MJ/m2/d].

    Returns:
        ETo [mm/d], 0 or more.

    Source: FAO-56 eq. 52.
    """
    low_c, high_c = _temp_c(tmin_c), _temp_c(tmax_c)
    spread = sqrt(max(0.0, high_c - low_c))
    warmth_c = (low_c + high_c) / 2.0 + 17.8
    return max(0.0, 0.0023 * warmth_c * spread * radiation.MM_PER_MJ_M2 * ra_mj_m2_d)
