"""Humidity, pressure and wind of the air above a garden: one equation, one function.

Vapour pressure is in kPa, temperature in °C, humidity in per cent of saturation over water. All
functions hold between -60 and 60 °C and from -400 to 9000 m; the callers keep their inputs there.

Source: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56, chapter 3.
"""

from __future__ import annotations

from math import exp, log

SEA_LEVEL_KPA = 101.3  # FAO-56 eq. 7
PSYCHROMETRIC_COEFF_PER_C = 0.000665  # [1/°C] FAO-56 eq. 8
COLDEST_C, HOTTEST_C = -60.0, 60.0  # [°C] band in which the equations are used
LOWEST_M, HIGHEST_M = -500.0, 9000.0  # [m] places where anything could be grown, and then some
VENTILATED_PER_C = 0.000662  # [1/°C] coefficient of an aspirated psychrometer, FAO-56 eq. 16


def within(value: float, lowest: float, highest: float) -> float:
    """Hold a number between two bounds.

    Args:
        value: in any unit.
        lowest: bound, in that unit.
        highest: bound, in that unit, `lowest` or more.

    Returns:
        The number, `lowest`…`highest`, in its own unit; NaN comes back as `lowest`.

    Source: definition.
    """
    if value > highest:
        return highest
    return value if value > lowest else lowest


def saturation_vapour_pressure_kpa(temp_c: float) -> float:
    """Vapour pressure of saturated air.

    Args:
        temp_c: air temperature [°C], above -237.

    Returns:
        e0 [kPa].

    Source: FAO-56 eq. 11.
    """
    return 0.6108 * exp(17.27 * temp_c / (temp_c + 237.3))


def mean_saturation_kpa(tmin_c: float, tmax_c: float) -> float:
    """Mean saturation vapour pressure of a day: of its two ends, never of the mean temperature.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C].

    Returns:
        es [kPa].

    Source: FAO-56 eq. 12.
    """
    return (saturation_vapour_pressure_kpa(tmax_c) + saturation_vapour_pressure_kpa(tmin_c)) / 2.0


def slope_kpa_c(temp_c: float) -> float:
    """Slope of the saturation curve.

    Args:
        temp_c: air temperature [°C], above -237.

    Returns:
        Slope [kPa/°C].

    Source: FAO-56 eq. 13.
    """
    above = temp_c + 237.3
    return 4098.0 * saturation_vapour_pressure_kpa(temp_c) / (above * above)


def air_pressure_kpa(elevation_m: float) -> float:
    """Air pressure of a standard atmosphere.

    Args:
        elevation_m: height above sea level [m], below 45 000.

    Returns:
        P [kPa].

    Source: FAO-56 eq. 7.
    """
    return SEA_LEVEL_KPA * float(((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26)


def psychrometric_kpa_c(pressure_kpa: float) -> float:
    """Psychrometric constant.

    Args:
        pressure_kpa: air pressure [kPa].

    Returns:
        gamma [kPa/°C].

    Source: FAO-56 eq. 8.
    """
    return PSYCHROMETRIC_COEFF_PER_C * pressure_kpa


def vapour_pressure_from_dew_point_kpa(dew_point_c: float) -> float:
    """Actual vapour pressure where the dew point is known: the best way.

    Args:
        dew_point_c: dew point [°C].

    Returns:
        ea [kPa].

    Source: FAO-56 eq. 14.
    """
    return saturation_vapour_pressure_kpa(dew_point_c)


def vapour_pressure_from_wet_bulb_kpa(
    dry_c: float, wet_c: float, pressure_kpa: float, per_c: float = VENTILATED_PER_C
) -> float:
    """Actual vapour pressure from a dry and a wet thermometer.

    Args:
        dry_c: dry thermometer [°C].
        wet_c: wet thermometer [°C], at most `dry_c`.
        pressure_kpa: air pressure [kPa].
        per_c: coefficient [1/°C]: 0.000662 ventilated, 0.0008 natural draught, 0.0012 indoors.

    Returns:
        ea [kPa].

    Source: FAO-56 eq. 15 and 16.
    """
    return saturation_vapour_pressure_kpa(wet_c) - per_c * pressure_kpa * (dry_c - wet_c)


def vapour_pressure_from_rh_ends_kpa(
    tmin_c: float, tmax_c: float, rh_max_pct: float, rh_min_pct: float
) -> float:
    """Actual vapour pressure from a day's highest and lowest relative humidity.

    Args:
        tmin_c: lowest temperature [°C], the time of `rh_max_pct`.
        tmax_c: highest temperature [°C], the time of `rh_min_pct`.
        rh_max_pct: highest relative humidity [%], 0…100.
        rh_min_pct: lowest relative humidity [%], 0…100.

    Returns:
        ea [kPa].

    Source: FAO-56 eq. 17.
    """
    return (
        saturation_vapour_pressure_kpa(tmin_c) * rh_max_pct
        + saturation_vapour_pressure_kpa(tmax_c) * rh_min_pct
    ) / 200.0


def vapour_pressure_from_rh_max_kpa(tmin_c: float, rh_max_pct: float) -> float:
    """Actual vapour pressure where only the highest humidity can be trusted.

    Args:
        tmin_c: lowest temperature [°C].
        rh_max_pct: highest relative humidity [%], 0…100.

    Returns:
        ea [kPa].

    Source: FAO-56 eq. 18.
    """
    return saturation_vapour_pressure_kpa(tmin_c) * rh_max_pct / 100.0


def vapour_pressure_from_rh_mean_kpa(tmin_c: float, tmax_c: float, rh_mean_pct: float) -> float:
    """Actual vapour pressure from a day's mean humidity: the least good way.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C].
        rh_mean_pct: mean relative humidity [%], 0…100.

    Returns:
        ea [kPa].

    Source: FAO-56 eq. 19.
    """
    return mean_saturation_kpa(tmin_c, tmax_c) * rh_mean_pct / 100.0


def wind_at_2m_m_s(wind_m_s: float, height_m: float) -> float:
    """Wind speed brought from the height of the instrument to 2 m over grass.

    Args:
        wind_m_s: wind speed at `height_m` [m/s].
        height_m: height of the instrument over the ground [m], above 0.1.

    Returns:
        u2 [m/s].

    Source: FAO-56 eq. 47.
    """
    return wind_m_s * 4.87 / log(67.8 * height_m - 5.42)
