"""Reference evapotranspiration by the hour, and at any instant for a live station.

Two standards exist (`HourlyStandard`) and differ in the denominator: FAO-56 (1998) keeps 0.34 u2
all day, a surface resistance of 70 s/m; ASCE-EWRI (2005, short reference; recommended for FAO-56 by
Allen and others in 2006) takes 0.24 by day and 0.96 by night, 50 and 200 s/m. Here the live rate is
FAO-56's; the other stands beside it for comparison and is never mixed in. Fluxes in MJ/m2/h, depths
in mm.

Source: FAO-56 eq. 28 to 33, 45, 46, 48, 50 and 53.
"""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from functools import lru_cache

from controller.agronomy.air import (
    COLDEST_C,
    HIGHEST_M,
    HOTTEST_C,
    LOWEST_M,
    air_pressure_kpa,
    psychrometric_kpa_c,
    saturation_vapour_pressure_kpa,
    slope_kpa_c,
    within,
)
from controller.agronomy.radiation import (
    MM_PER_MJ_M2,
    UNKNOWN_RATIO_FRAC,
    Site,
    clear_sky_mj_m2_d,
    cloud_ratio_frac,
    extraterrestrial_radiation_mj_m2_h,
    hour_angle_rad,
    net_longwave_mj_m2_h,
    net_shortwave,
    solar_from_temperature_mj_m2_d,
)

AIR_RESISTANCE_S_M = 208.0  # [s/m] times u2 [m/s]: FAO-56 box 4 and eq. 6
FAO56_CD = 0.34  # [s/m] FAO-56 eq. 53
ASCE_DAY_CD, ASCE_NIGHT_CD = 0.24, 0.96  # [s/m] ASCE-EWRI 2005, short reference, from memory
DAY_HEAT_FRAC, NIGHT_HEAT_FRAC = 0.1, 0.5  # G/Rn, FAO-56 eq. 45 and 46
ASSUMED_WIND_M_S = 2.0  # FAO-56 ch. 3
CALMEST_M_S = 0.5  # an anemometer stalls, the air never quite: FAO-56 ch. 3, from memory
STRONGEST_M_S = 60.0  # no garden stands more; keeps a broken instrument finite: our own bound
BRIGHTEST_W_M2 = 1500.0  # above the sun's own 1367: more is a broken instrument
MJ_M2_H_PER_W_M2 = 0.0036
INLAND_KRS = 0.16  # [1/sqrt(°C)] FAO-56 eq. 50
LOW_SUN_MJ_M2_H = 1.45  # Ra with the sun 0.3 rad high, the limit of ASCE-EWRI 2005, from memory
DAY_S = 86_400.0
DEGREE_S = 240.0  # the sun takes so long for a degree of longitude
EPOCH_ORDINAL = date(1970, 1, 1).toordinal()


class HourlyStandard(StrEnum):
    """The two hourly standards; a sum is worth nothing without the name of its own."""

    FAO56_1998 = "fao56-1998"
    ASCE_EWRI_2005 = "asce-ewri-2005"


LIVE_STANDARD = HourlyStandard.FAO56_1998  # what `eto_rate_mm_h` follows


def surface_resistance_s_m(standard: HourlyStandard, *, daylight: bool) -> float:
    """Resistance of the reference grass that a standard's denominator stands for.

    Args:
        standard: which.
        daylight: whether it is day, as that standard tells day from night.

    Returns:
        rs [s/m], near 70 for FAO-56 (the paper rounds 70/208 to 0.34), near 50 and 200 for ASCE.

    Source: FAO-56 box 4 to 6 (ra = 208/u2); ASCE-EWRI 2005, and Allen et al. 2006, Agric. Water
    Manage. 81:1, both from memory.
    """
    return _wind_coefficient_s_m(standard, daylight=daylight) * AIR_RESISTANCE_S_M


def _wind_coefficient_s_m(standard: HourlyStandard, *, daylight: bool) -> float:
    """Cd, what u2 counts for in the denominator [s/m]."""
    if standard is HourlyStandard.FAO56_1998:
        return FAO56_CD
    return ASCE_DAY_CD if daylight else ASCE_NIGHT_CD


def eto_hourly(
    standard: HourlyStandard,
    *,
    temp_c: float,
    vapour_pressure_kpa: float,
    wind_m_s: float,
    net_mj_m2_h: float,
    daylight: bool,
    elevation_m: float,
) -> float:
    """Reference evapotranspiration of an hour by the standard that is named.

    Args:
        standard: which.
        temp_c: mean temperature of the hour [°C], -60…60.
        vapour_pressure_kpa: ea [kPa], 0 or more.
        wind_m_s: u2 [m/s], 0 or more.
        net_mj_m2_h: Rn [MJ/m2/h].
        daylight: FAO-56: whether the sun is up; ASCE: whether net radiation is above 0.
        elevation_m: height above sea level [m].

    Returns:
        ETo [mm/h]; below 0 where dew forms.

    Source: FAO-56 eq. 53, with eq. 45 and 46 for the heat into the soil; ASCE-EWRI 2005, table 1
    and eq. 1, from memory.
    """
    heat_frac = DAY_HEAT_FRAC if daylight else NIGHT_HEAT_FRAC
    return _penman_monteith_mm_h(
        temp_c,
        vapour_pressure_kpa,
        wind_m_s,
        (1.0 - heat_frac) * net_mj_m2_h,
        _gamma_kpa_c(elevation_m),
        _wind_coefficient_s_m(standard, daylight=daylight),
    )


@lru_cache(maxsize=8)  # a garden has one height
def _gamma_kpa_c(elevation_m: float) -> float:
    return psychrometric_kpa_c(air_pressure_kpa(elevation_m))


def _penman_monteith_mm_h(
    temp_c: float,
    vapour_pressure_kpa: float,
    wind_m_s: float,
    available_mj_m2_h: float,
    gamma: float,
    cd: float,
) -> float:
    """FAO-56 eq. 53 with the wind's coefficient in the denominator left open."""
    slope = slope_kpa_c(temp_c)
    deficit_kpa = saturation_vapour_pressure_kpa(temp_c) - vapour_pressure_kpa
    drying = gamma * 37.0 / (temp_c + 273.0) * wind_m_s * deficit_kpa
    return (MM_PER_MJ_M2 * slope * available_mj_m2_h + drying) / (
        slope + gamma * (1.0 + cd * wind_m_s)
    )


def eto_rate_mm_h(
    *,
    at_utc_s: float,
    site: Site,
    temp_c: float,
    tmin_c: float,
    tmax_c: float,
    rh_pct: float | None,
    solar_w_m2: float | None,
    wind_m_s: float | None,
    daytime_ratio_frac: float | None = None,
) -> float:
    """Rate of reference evapotranspiration at an instant, missing parts estimated.

    Args:
        at_utc_s: instant [s, Unix]; the radiation is that of the hour around it.
        site: where.
        temp_c: air temperature now [°C].
        tmin_c: lowest of the last day [°C].
        tmax_c: highest of the last day [°C].
        rh_pct: relative humidity now [%], None: the dew point is taken as `tmin_c`.
        solar_w_m2: global radiation now [W/m2], None: from the span of temperature.
        wind_m_s: wind at 2 m [m/s], taken as 0.5…60, None: 2 m/s.
        daytime_ratio_frac: Rs/Rso of the last high sun [-], None where not known.

    Returns:
        ETo [mm/h], 0 or more and finite for finite input.

    Source: FAO-56 eq. 53, 48 and 50.
    """
    temp_c = within(temp_c, COLDEST_C, HOTTEST_C)
    elevation_m = within(site.elevation_m, LOWEST_M, HIGHEST_M)
    above = _radiation_around_mj_m2_h(at_utc_s, site)
    clear = clear_sky_mj_m2_d(above, elevation_m)
    solar, ratio = _sky(above, clear, tmin_c, tmax_c, solar_w_m2, daytime_ratio_frac)
    vapour_kpa = _vapour_pressure_kpa(temp_c, tmin_c, rh_pct)
    wind = ASSUMED_WIND_M_S if wind_m_s is None else within(wind_m_s, CALMEST_M_S, STRONGEST_M_S)
    rate_mm_h = eto_hourly(
        LIVE_STANDARD,
        temp_c=temp_c,
        vapour_pressure_kpa=vapour_kpa,
        wind_m_s=wind,
        net_mj_m2_h=net_shortwave(solar) - net_longwave_mj_m2_h(temp_c, vapour_kpa, ratio),
        daylight=above > 0.0,
        elevation_m=elevation_m,
    )
    return max(0.0, rate_mm_h)


def _radiation_around_mj_m2_h(at_utc_s: float, site: Site) -> float:
    """Ra of the hour around an instant [MJ/m2/h]; the date is that of the site's own meridian."""
    longitude_deg = within(site.longitude_deg, -180.0, 180.0)
    day = _day_of_year((at_utc_s + DEGREE_S * longitude_deg) // DAY_S)
    angle = hour_angle_rad(at_utc_s % DAY_S / 3600.0, day, longitude_deg)
    return extraterrestrial_radiation_mj_m2_h(site.latitude_deg, day, angle)


@lru_cache(maxsize=1024)
def _day_of_year(days_since_1970: float) -> int:
    """Day of the year of a count of days; beyond the calendar its first or last day."""
    ordinal = within(
        days_since_1970 + EPOCH_ORDINAL, float(date.min.toordinal()), float(date.max.toordinal())
    )
    return date.fromordinal(int(ordinal)).timetuple().tm_yday


def _sky(
    above: float,
    clear: float,
    tmin_c: float,
    tmax_c: float,
    solar_w_m2: float | None,
    daytime_ratio_frac: float | None,
) -> tuple[float, float]:
    """Rs [MJ/m2/h] and the cloud ratio Rs/Rso [-] that goes with the longwave loss.

    A low sun makes the measured ratio worthless, and at night there is none: then that of the
    day, where known, else a fixed one.
    """
    if solar_w_m2 is None:
        low_c = within(tmin_c, COLDEST_C, HOTTEST_C)
        high_c = within(tmax_c, COLDEST_C, HOTTEST_C)
        solar = min(clear, solar_from_temperature_mj_m2_d(low_c, high_c, above, INLAND_KRS))
    else:
        solar = within(solar_w_m2, 0.0, BRIGHTEST_W_M2) * MJ_M2_H_PER_W_M2
    if above > LOW_SUN_MJ_M2_H:
        return solar, cloud_ratio_frac(solar, clear)
    known = UNKNOWN_RATIO_FRAC if daytime_ratio_frac is None else daytime_ratio_frac
    return solar, cloud_ratio_frac(known, 1.0)


def _vapour_pressure_kpa(temp_c: float, tmin_c: float, rh_pct: float | None) -> float:
    """Actual vapour pressure [kPa], at most that of saturated air."""
    saturated_kpa = saturation_vapour_pressure_kpa(temp_c)
    if rh_pct is not None:
        return saturated_kpa * within(rh_pct, 0.0, 100.0) / 100.0
    dew_point_c = within(tmin_c, COLDEST_C, HOTTEST_C)
    return min(saturated_kpa, saturation_vapour_pressure_kpa(dew_point_c))
