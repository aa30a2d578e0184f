"""Sunrise and sunset at a place: the upper limb on a level horizon, usual refraction.

Good to about a minute between the polar circles, less where the sun only grazes the horizon.

Source: Meeus, Astronomical Algorithms, chapter 25 (low accuracy), in the form of the solar
calculator of NOAA; both from memory, checked against the library astral.
"""

from __future__ import annotations

from datetime import date
from math import acos, asin, cos, degrees, inf, radians, sin, tan

HORIZON_DEG = -0.833  # centre of the sun at the instant: its radius and refraction, from memory
DAY_S = 86_400.0
NOON_S = 43_200.0
DEGREE_S = 240.0  # the sun takes so long for a degree of longitude
J2000_UTC_S = 946_728_000.0  # 2000-01-01 12:00
CENTURY_S = 36_525.0 * DAY_S
EPOCH_ORDINAL = date(1970, 1, 1).toordinal()
ROUNDS = 2  # the sun moves on between noon and the event: looked at again there


def sun_times_utc_s(
    latitude_deg: float, longitude_deg: float, day: date
) -> tuple[float, float] | None:
    """Sunrise and sunset of one solar day.

    Args:
        latitude_deg: degrees north, -90…90.
        longitude_deg: degrees east, -180…180.
        day: date of the solar noon at that longitude.

    Returns:
        Sunrise and sunset [s, Unix, UTC]; None where the sun stays up or down all day.

    Source: Meeus, Astronomical Algorithms, ch. 25, in NOAA's form; both from memory.
    """
    noon_utc_s = (day.toordinal() - EPOCH_ORDINAL) * DAY_S + NOON_S - DEGREE_S * longitude_deg
    half = _half_day_deg(latitude_deg, sun_at(noon_utc_s)[0])
    if half is None:
        return None
    rise = _event_utc_s(latitude_deg, noon_utc_s, half, -1.0)
    fall = _event_utc_s(latitude_deg, noon_utc_s, half, 1.0)
    return rise, fall


def _event_utc_s(latitude_deg: float, noon_utc_s: float, half_deg: float, side: float) -> float:
    """The event before (-1) or after (1) noon, from a first guess of half the day's arc."""
    at_utc_s = noon_utc_s + side * half_deg * DEGREE_S
    for _ in range(ROUNDS):
        declination, equation_s = sun_at(at_utc_s)
        again = _half_day_deg(latitude_deg, declination)
        half_deg = half_deg if again is None else again
        at_utc_s = noon_utc_s - equation_s + side * half_deg * DEGREE_S
    return at_utc_s


def _half_day_deg(latitude_deg: float, declination_rad: float) -> float | None:
    """Hour angle of sunset [degrees], None where the sun does not cross the horizon."""
    latitude = radians(latitude_deg)
    span = cos(latitude) * cos(declination_rad)
    rise = sin(radians(HORIZON_DEG)) - sin(latitude) * sin(declination_rad)
    cosine = rise / span if span > 0.0 else inf
    return degrees(acos(cosine)) if -1.0 <= cosine <= 1.0 else None


def sun_at(at_utc_s: float) -> tuple[float, float]:
    """Where the sun stands among the stars at an instant.

    Args:
        at_utc_s: instant [s, Unix]; good from 1900 to 2100.

    Returns:
        Declination [rad], north positive, and equation of time [s], positive where the sun is
        before the clock.

    Source: Meeus, Astronomical Algorithms, ch. 25, in NOAA's form; both from memory.
    """
    t = (at_utc_s - J2000_UTC_S) / CENTURY_S
    mean_longitude = radians((280.46646 + t * (36000.76983 + t * 0.0003032)) % 360.0)
    anomaly = radians((357.52911 + t * (35999.05029 - t * 0.0001537)) % 360.0)
    eccentricity = 0.016708634 - t * (0.000042037 + t * 0.0000001267)
    centre = (
        sin(anomaly) * (1.914602 - t * (0.004817 + t * 0.000014))
        + sin(2.0 * anomaly) * (0.019993 - t * 0.000101)
        + sin(3.0 * anomaly) * 0.000289
    )
    node = radians(125.04 - 1934.136 * t)
    apparent = mean_longitude + radians(centre - 0.00569 - 0.00478 * sin(node))
    tilt = radians(23.439291 - 0.0130042 * t + 0.00256 * cos(node))
    y = tan(tilt / 2.0) ** 2
    equation_rad = (
        y * sin(2.0 * mean_longitude)
        - 2.0 * eccentricity * sin(anomaly)
        + 4.0 * eccentricity * y * sin(anomaly) * cos(2.0 * mean_longitude)
        - 0.5 * y * y * sin(4.0 * mean_longitude)
        - 1.25 * eccentricity * eccentricity * sin(2.0 * anomaly)
    )
    return asin(sin(tilt) * sin(apparent)), degrees(equation_rad) * DEGREE_S
