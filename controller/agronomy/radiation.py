"""The sun over a place and the radiation that reaches and leaves the ground.

A day's fluxes are in MJ/m2 per day, an hour's in MJ/m2 per hour; what arrives at the ground is
positive, and net longwave is the loss, so net = net shortwave - net longwave. Angles are in
radians, longitudes in degrees east, the day of the year runs from 1 to 366.

Source: FAO-56 chapter 3, eq. 20 to 40. Left out: horizon and shade of trees and houses.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import acos, cos, pi, radians, sin, sqrt, tan

SOLAR_CONSTANT_MJ_M2_MINUTE = 0.0820  # FAO-56 eq. 21
ALBEDO = 0.23  # of the reference grass, FAO-56 eq. 38
STEFAN_BOLTZMANN_D = 4.903e-9  # [MJ/(K4 m2 d)] FAO-56 eq. 39
STEFAN_BOLTZMANN_H = 2.043e-10  # [MJ/(K4 m2 h)] FAO-56 ch. 4, hourly step
ZERO_C_K = 273.16  # as printed in FAO-56 eq. 39
MM_PER_MJ_M2 = 0.408  # FAO-56 eq. 20
ANGSTROM_A, ANGSTROM_B = 0.25, 0.50  # FAO-56 eq. 35, where nothing was fitted
OVERCAST_RATIO_FRAC = 0.3  # Rs/Rso under full cloud is about 0.33 and more, FAO-56 ch. 3
UNKNOWN_RATIO_FRAC = 0.6  # Rs/Rso by night where no day is known: FAO-56 ch. 4, 0.4-0.6 humid


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where a garden lies; degrees north and east are positive."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float


@lru_cache(maxsize=2048)
def sun_of_day(latitude_deg: float, day_of_year: int) -> tuple[float, float, float, float]:
    """The sun's path of one day.

    Args:
        latitude_deg: degrees north, -90…90.
        day_of_year: 1…366.

    Returns:
        Inverse relative distance dr [-]; sin(latitude) sin(declination); cos(latitude)
        cos(declination); sunset hour angle [rad], 0 in the polar night, pi in the polar day.

    Source: FAO-56 eq. 23 to 25.
    """
    latitude = radians(latitude_deg)
    tilt = declination_rad(day_of_year)
    at_sunset = -tan(latitude) * tan(tilt)
    sunset = acos(max(-1.0, min(1.0, at_sunset)))
    distance = relative_distance(day_of_year)
    return distance, sin(latitude) * sin(tilt), cos(latitude) * cos(tilt), sunset


def relative_distance(day_of_year: int) -> float:
    """Inverse relative distance from earth to sun [-].

    Args:
        day_of_year: 1…366.

    Returns:
        dr [-], 0.967…1.033.

    Source: FAO-56 eq. 23.
    """
    return 1.0 + 0.033 * cos(2.0 * pi * day_of_year / 365.0)


def declination_rad(day_of_year: int) -> float:
    """Declination of the sun.

    Args:
        day_of_year: 1…366.

    Returns:
        Declination [rad], north positive.

    Source: FAO-56 eq. 24.
    """
    return 0.409 * sin(2.0 * pi * day_of_year / 365.0 - 1.39)


def extraterrestrial_radiation_mj_m2_d(latitude_deg: float, day_of_year: int) -> float:
    """Radiation on a level surface above the air in a day.

    Args:
        latitude_deg: degrees north, -90…90.
        day_of_year: 1…366.

    Returns:
        Ra [MJ/m2/d], 0 or more.

    Source: FAO-56 eq. 21.
    """
    distance, sines, cosines, sunset = sun_of_day(latitude_deg, day_of_year)
    path = sunset * sines + cosines * sin(sunset)
    return max(0.0, 1440.0 / pi * SOLAR_CONSTANT_MJ_M2_MINUTE * distance * path)


def extraterrestrial_radiation_mj_m2_h(
    latitude_deg: float, day_of_year: int, hour_angle_rad: float
) -> float:
    """Radiation on a level surface above the air in one hour.

    Args:
        latitude_deg: degrees north, -90…90.
        day_of_year: 1…366.
        hour_angle_rad: solar time angle at the middle of the hour [rad], 0 at solar noon, -pi…pi.

    Returns:
        Ra [MJ/m2/h], 0 or more.

    Source: FAO-56 eq. 28 to 30; in the polar day the hour is not cut at midnight.
    """
    distance, sines, cosines, sunset = sun_of_day(latitude_deg, day_of_year)
    first, last = hour_angle_rad - pi / 24.0, hour_angle_rad + pi / 24.0
    if sunset < pi:
        if not (first < sunset and last > -sunset):
            return 0.0  # night
        first, last = max(-sunset, first), min(sunset, last)
    path = (last - first) * sines + cosines * (sin(last) - sin(first))
    return max(0.0, 720.0 / pi * SOLAR_CONSTANT_MJ_M2_MINUTE * distance * path)


@lru_cache(maxsize=366)
def solar_time_correction_h(day_of_year: int) -> float:
    """Seasonal correction of solar time.

    Args:
        day_of_year: 1…366.

    Returns:
        Sc [h].

    Source: FAO-56 eq. 32 and 33.
    """
    b = 2.0 * pi * (day_of_year - 81) / 364.0
    return 0.1645 * sin(2.0 * b) - 0.1255 * cos(b) - 0.025 * sin(b)


def hour_angle_rad(clock_h: float, day_of_year: int, east_of_clock_deg: float) -> float:
    """Solar time angle at an instant.

    Args:
        clock_h: standard clock time [h], no summer time, 0…24.
        day_of_year: 1…366.
        east_of_clock_deg: how far the site lies east of the clock's meridian [degrees]; for a
            clock of UTC that is the longitude.

    Returns:
        Angle [rad], 0 at solar noon, within -pi…pi.

    Source: FAO-56 eq. 31.
    """
    solar_h = clock_h + east_of_clock_deg / 15.0 + solar_time_correction_h(day_of_year)
    return pi / 12.0 * (solar_h % 24.0 - 12.0)


def daylight_h(latitude_deg: float, day_of_year: int) -> float:
    """Length of the day.

    Args:
        latitude_deg: degrees north, -90…90.
        day_of_year: 1…366.

    Returns:
        N [h], 0…24.

    Source: FAO-56 eq. 34.
    """
    return 24.0 / pi * sun_of_day(latitude_deg, day_of_year)[3]


def clear_sky_mj_m2_d(extraterrestrial_mj_m2_d: float, elevation_m: float) -> float:
    """Radiation at the ground under a clear sky; holds for a day and for an hour alike.

    Args:
        extraterrestrial_mj_m2_d: Ra [MJ/m2 per day or per hour].
        elevation_m: height above sea level [m].

    Returns:
        Rso in the unit of Ra.

    Source: FAO-56 eq. 37.
    """
    return (0.75 + 2e-5 * elevation_m) * extraterrestrial_mj_m2_d


def solar_from_sunshine_mj_m2_d(
    sunshine_h: float, longest_h: float, extraterrestrial_mj_m2_d: float
) -> float:
    """Radiation at the ground from the hours of sunshine.

    Args:
        sunshine_h: hours of bright sun [h].
        longest_h: length of the day N [h].
        extraterrestrial_mj_m2_d: Ra [MJ/m2/d].

    Returns:
        Rs [MJ/m2/d].

    Source: FAO-56 eq. 35 with a = 0.25, b = 0.50.
    """
    share = min(1.0, max(0.0, sunshine_h / longest_h)) if longest_h > 0.0 else 0.0
    return (ANGSTROM_A + ANGSTROM_B * share) * extraterrestrial_mj_m2_d


def solar_from_temperature_mj_m2_d(
    tmin_c: float, tmax_c: float, extraterrestrial_mj_m2_d: float, krs: float
) -> float:
    """Radiation at the ground from a day's span of temperature; only as a mean over some days.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C].
        extraterrestrial_mj_m2_d: Ra [MJ/m2 per day or per hour].
        krs: 0.16 inland, 0.19 at a coast [1/sqrt(°C)]; not for islands.

    Returns:
        Rs in the unit of Ra.

    Source: FAO-56 eq. 50.
    """
    return krs * sqrt(max(0.0, tmax_c - tmin_c)) * extraterrestrial_mj_m2_d


def cloud_ratio_frac(solar: float, clear_sky: float) -> float:
    """Share of the clear sky's radiation that arrives, held to what cloud can do.

    Args:
        solar: Rs [MJ/m2 per day or per hour].
        clear_sky: Rso in the same unit.

    Returns:
        Rs/Rso [-], 0.3…1; 0.6 where no sun shines at all.

    Source: FAO-56 eq. 39 for the upper bound, chapters 3 and 4 for the others.
    """
    if not clear_sky > 0.0:
        return UNKNOWN_RATIO_FRAC
    return max(OVERCAST_RATIO_FRAC, min(1.0, solar / clear_sky))


def net_shortwave(solar: float) -> float:
    """Shortwave radiation that the reference grass keeps.

    Args:
        solar: Rs [MJ/m2 per day or per hour], 0 or more.

    Returns:
        Rns in the unit of Rs, 0 or more.

    Source: FAO-56 eq. 38.
    """
    return (1.0 - ALBEDO) * solar


def sky_loss_factor(vapour_pressure_kpa: float, ratio_frac: float) -> float:
    """How far humid air and cloud hold the longwave loss back [-].

    Args:
        vapour_pressure_kpa: ea [kPa], 0 or more.
        ratio_frac: Rs/Rso [-], 0.3…1.

    Returns:
        Product of the humidity and cloud terms [-].

    Source: FAO-56 eq. 39.
    """
    return (0.34 - 0.14 * sqrt(vapour_pressure_kpa)) * (1.35 * ratio_frac - 0.35)


def net_longwave_mj_m2_d(
    tmin_c: float, tmax_c: float, vapour_pressure_kpa: float, ratio_frac: float
) -> float:
    """Longwave loss of a day.

    Args:
        tmin_c: lowest temperature [°C].
        tmax_c: highest temperature [°C].
        vapour_pressure_kpa: ea [kPa], 0 or more.
        ratio_frac: Rs/Rso [-], 0.3…1.

    Returns:
        Rnl [MJ/m2/d], a loss is positive.

    Source: FAO-56 eq. 39.
    """
    fourth = ((tmax_c + ZERO_C_K) ** 4 + (tmin_c + ZERO_C_K) ** 4) / 2.0
    return STEFAN_BOLTZMANN_D * fourth * sky_loss_factor(vapour_pressure_kpa, ratio_frac)


def net_longwave_mj_m2_h(temp_c: float, vapour_pressure_kpa: float, ratio_frac: float) -> float:
    """Longwave loss of an hour.

    Args:
        temp_c: mean temperature of the hour [°C].
        vapour_pressure_kpa: ea [kPa], 0 or more.
        ratio_frac: Rs/Rso [-], 0.3…1; at night that of the last hours of daylight.

    Returns:
        Rnl [MJ/m2/h], a loss is positive.

    Source: FAO-56 eq. 39 for hours, ch. 4.
    """
    fourth = (temp_c + ZERO_C_K) ** 4
    return STEFAN_BOLTZMANN_H * fourth * sky_loss_factor(vapour_pressure_kpa, ratio_frac)
