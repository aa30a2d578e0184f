"""Sunrise and sunset against the library astral, which follows the solar calculator of NOAA."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from math import radians

import pytest
from astral import Observer
from astral.julian import julianday, julianday_to_juliancentury
from astral.sun import eq_of_time, sun_declination, sunrise, sunset, zenith

from controller.agronomy.sun import sun_at, sun_times_utc_s
from tests.printed import assert_ours

PLACES = {
    "quito": (-0.18, -78.47),
    "nairobi": (-1.29, 36.82),
    "seattle": (47.61, -122.33),
    "munich": (48.14, 11.58),
    "auckland": (-36.85, 174.76),
    "helsinki": (60.17, 24.94),
    "ushuaia": (-54.80, -68.30),
}
DAYS = (
    date(2024, 2, 29),
    date(2025, 3, 20),
    date(2025, 6, 21),
    date(2025, 9, 22),
    date(2025, 12, 21),
    date(2031, 8, 1),
)
TOLERANCE_S = 120.0


def nearest_s(found_utc_s: float, told: list[float]) -> float:
    """Distance to the nearest of the events of three days: astral dates them in UTC."""
    return min(abs(found_utc_s - one) for one in told)


def apart_s(place: str, day: date) -> tuple[float, float]:
    """How far ours are from astral's sunrise and sunset."""
    latitude_deg, longitude_deg = PLACES[place]
    times = sun_times_utc_s(latitude_deg, longitude_deg, day)
    assert times is not None
    here = Observer(latitude_deg, longitude_deg)
    around = [day + timedelta(days=step) for step in (-1, 0, 1)]
    rises = [sunrise(here, one, tzinfo=UTC).timestamp() for one in around]
    sets = [sunset(here, one, tzinfo=UTC).timestamp() for one in around]
    assert 0.0 < times[1] - times[0] < 86_400.0
    return nearest_s(times[0], rises), nearest_s(times[1], sets)


@pytest.mark.parametrize("day", DAYS, ids=str)
@pytest.mark.parametrize("place", PLACES)
def test_the_sun_rises_and_sets_when_astral_says(place: str, day: date) -> None:
    """Two minutes: what height above the horizon and the formula's age leave open."""
    assert max(apart_s(place, day)) <= TOLERANCE_S


def test_the_readme_prints_how_far_sunrise_and_sunset_are_off() -> None:
    worst_s = max(max(apart_s(place, day)) for place in PLACES for day in DAYS)
    assert_ours("sunrise and sunset, 7 places, 6 days", worst_s)


def zeniths_deg(place: str) -> list[float]:
    """Where astral has the sun's centre at our sunrises and sunsets."""
    latitude_deg, longitude_deg = PLACES[place]
    here = Observer(latitude_deg, longitude_deg)
    times = [sun_times_utc_s(latitude_deg, longitude_deg, day) for day in DAYS]
    whens = [datetime.fromtimestamp(at_utc_s, UTC) for pair in times for at_utc_s in pair or ()]
    return [zenith(here, when, with_refraction=False) for when in whens]


@pytest.mark.parametrize("place", PLACES)
def test_the_suns_centre_is_then_0_833_degrees_below_the_horizon(place: str) -> None:
    """Radius 16' and refraction 34' by convention: 50', 0.833 degrees; 0.006 is about 2 s."""
    found = zeniths_deg(place)
    assert len(found) == 2 * len(DAYS)
    assert found == pytest.approx([90.833] * len(found), abs=0.006)


def test_the_readme_prints_how_far_the_suns_centre_is_off() -> None:
    worst_deg = max(abs(one - 90.833) for place in PLACES for one in zeniths_deg(place))
    assert_ours("sun's centre at sunrise and sunset, same places", worst_deg)


@pytest.mark.parametrize("day", [*DAYS, date(1950, 5, 5), date(2090, 11, 3)], ids=str)
def test_declination_and_equation_of_time_are_those_of_the_same_theory(day: date) -> None:
    """astral writes the same theory out: 1e-6 rad and 0.01 s leave room for its obliquity only."""
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    century = julianday_to_juliancentury(julianday(noon))
    declination_rad, equation_s = sun_at(noon.timestamp())
    assert declination_rad == pytest.approx(radians(sun_declination(century)), abs=1e-6)
    assert equation_s == pytest.approx(60.0 * eq_of_time(century), abs=0.01)


@pytest.mark.parametrize(
    ("latitude_deg", "day"),
    [
        pytest.param(69.65, date(2025, 6, 21), id="midnight-sun"),
        pytest.param(69.65, date(2025, 12, 21), id="polar-night"),
        pytest.param(-75.0, date(2025, 6, 21), id="southern-polar-night"),
        pytest.param(90.0, date(2025, 3, 1), id="pole"),
    ],
)
def test_where_the_sun_does_not_cross_the_horizon_there_is_no_time(
    latitude_deg: float, day: date
) -> None:
    """Tromsø and beyond: astral raises there, here it is None."""
    assert sun_times_utc_s(latitude_deg, 18.96, day) is None
