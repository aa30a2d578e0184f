"""Evapotranspiration: finite for all finite input, right in sign, and open about its guesses."""

from __future__ import annotations

import math
import time
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.agronomy.eto import (
    DailyWeather,
    HourlyStandard,
    Site,
    eto_daily,
    eto_hourly,
    eto_rate_mm_h,
    extraterrestrial_radiation_mj_m2_d,
    hargreaves_mm_d,
)

MUNICH = Site(latitude_deg=48.1, longitude_deg=11.6, elevation_m=520.0)
NOON_UTC_S = datetime(2025, 7, 10, 11, tzinfo=UTC).timestamp()
MIDNIGHT_UTC_S = datetime(2025, 7, 10, 23, tzinfo=UTC).timestamp()
any_float = st.floats(allow_nan=False, allow_infinity=False)
maybe = st.none() | any_float
sites = st.builds(
    Site,
    latitude_deg=st.floats(-90.0, 90.0),
    longitude_deg=st.floats(-180.0, 180.0),
    elevation_m=any_float,
)


@given(
    weather=st.builds(
        DailyWeather,
        tmin_c=any_float,
        tmax_c=any_float,
        rh_max_pct=maybe,
        rh_min_pct=maybe,
        rh_mean_pct=maybe,
        dew_point_c=maybe,
        vapour_pressure_kpa=maybe,
        solar_mj_m2_d=maybe,
        sunshine_h=maybe,
        wind_m_s=maybe,
        wind_height_m=any_float,
    ),
    site=sites,
    day_of_year=st.integers(1, 366),
)
def test_a_days_eto_is_finite_for_any_finite_weather(
    weather: DailyWeather, site: Site, day_of_year: int
) -> None:
    assert 0.0 <= eto_daily(weather, site, day_of_year).eto_mm_d < math.inf


@given(
    at_utc_s=st.floats(-1e12, 1e12),
    site=sites,
    temp_c=any_float,
    ends=st.tuples(any_float, any_float),
    rest=st.tuples(maybe, maybe, maybe),
)
def test_the_rate_is_finite_for_any_finite_weather(
    at_utc_s: float,
    site: Site,
    temp_c: float,
    ends: tuple[float, float],
    rest: tuple[float | None, float | None, float | None],
) -> None:
    rate = eto_rate_mm_h(
        at_utc_s=at_utc_s,
        site=site,
        temp_c=temp_c,
        tmin_c=ends[0],
        tmax_c=ends[1],
        rh_pct=rest[0],
        solar_w_m2=rest[1],
        wind_m_s=rest[2],
    )
    assert 0.0 <= rate < math.inf


@given(tmin_c=any_float, tmax_c=any_float, ra_mj_m2_d=st.floats(0.0, 50.0))
def test_hargreaves_is_finite_and_never_negative(
    tmin_c: float, tmax_c: float, ra_mj_m2_d: float
) -> None:
    found = hargreaves_mm_d(tmin_c=tmin_c, tmax_c=tmax_c, ra_mj_m2_d=ra_mj_m2_d)
    assert 0.0 <= found < math.inf


@given(latitude_deg=st.floats(-90.0, 90.0), day_of_year=st.integers(1, 366))
def test_radiation_above_the_air_is_finite_even_at_the_poles(
    latitude_deg: float, day_of_year: int
) -> None:
    assert 0.0 <= extraterrestrial_radiation_mj_m2_d(latitude_deg, day_of_year) < 50.0


def test_midsummer_at_the_pole_and_the_polar_night() -> None:
    assert extraterrestrial_radiation_mj_m2_d(90.0, 172) > 40.0
    assert extraterrestrial_radiation_mj_m2_d(-90.0, 172) == 0.0
    dark = eto_daily(
        DailyWeather(tmin_c=-20.0, tmax_c=-15.0),
        Site(latitude_deg=80.0, longitude_deg=0.0, elevation_m=0.0),
        355,
    )
    assert 0.0 <= dark.eto_mm_d < 1.0


@pytest.mark.parametrize(
    ("known", "estimated"),
    [
        pytest.param({}, ("radiation", "humidity", "wind"), id="nothing"),
        pytest.param({"solar_mj_m2_d": 22.0}, ("humidity", "wind"), id="sun"),
        pytest.param({"sunshine_h": 9.0}, ("humidity", "wind"), id="sunshine-hours"),
        pytest.param({"dew_point_c": 11.0}, ("radiation", "wind"), id="dew-point"),
        pytest.param({"rh_max_pct": 90.0}, ("radiation", "wind"), id="highest-rh"),
        pytest.param({"rh_mean_pct": 60.0}, ("radiation", "wind"), id="mean-rh"),
        pytest.param({"vapour_pressure_kpa": 1.4}, ("radiation", "wind"), id="vapour"),
        pytest.param({"wind_m_s": 1.5}, ("radiation", "humidity"), id="wind"),
        pytest.param({"rh_min_pct": 40.0}, ("radiation", "humidity", "wind"), id="lone-lowest-rh"),
    ],
)
def test_what_was_guessed_is_named(known: dict[str, float], estimated: tuple[str, ...]) -> None:
    eto = eto_daily(DailyWeather(tmin_c=12.0, tmax_c=25.0, **known), MUNICH, 190)
    assert eto.estimated == estimated
    assert 2.0 < eto.eto_mm_d < 7.0


@pytest.mark.parametrize(
    ("drier", "wetter"),
    [
        pytest.param({"rh_mean_pct": 40.0}, {"rh_mean_pct": 80.0}, id="humidity"),
        pytest.param({"solar_mj_m2_d": 28.0}, {"solar_mj_m2_d": 10.0}, id="sun"),
        pytest.param({"wind_m_s": 5.0}, {"wind_m_s": 1.0}, id="wind"),
    ],
)
def test_dry_sunny_and_windy_days_take_more(
    drier: dict[str, float], wetter: dict[str, float]
) -> None:
    more, less = (
        eto_daily(DailyWeather(tmin_c=12.0, tmax_c=25.0, **known), MUNICH, 190).eto_mm_d
        for known in (drier, wetter)
    )
    assert more > less + 0.3


def test_a_dry_climates_lower_dew_point_raises_the_estimate() -> None:
    weather = DailyWeather(tmin_c=12.0, tmax_c=25.0)
    humid = eto_daily(weather, MUNICH, 190).eto_mm_d
    assert eto_daily(weather, MUNICH, 190, dew_below_tmin_c=3.0).eto_mm_d > humid


def rate_mm_h(at_utc_s: float, **told: float | None) -> float:
    given_mast: dict[str, float | None] = {"rh_pct": 55.0, "solar_w_m2": 800.0, "wind_m_s": 2.0}
    given_mast.update(told)
    return eto_rate_mm_h(
        at_utc_s=at_utc_s, site=MUNICH, temp_c=24.0, tmin_c=12.0, tmax_c=25.0, **given_mast
    )


def test_noon_takes_much_and_midnight_nearly_nothing() -> None:
    assert 0.45 < rate_mm_h(NOON_UTC_S) < 0.75
    assert rate_mm_h(MIDNIGHT_UTC_S, solar_w_m2=0.0, wind_m_s=1.0) < 0.06


@pytest.mark.parametrize("name", ["rh_pct", "solar_w_m2", "wind_m_s"])
def test_a_silent_instrument_is_stood_in_for(name: str) -> None:
    assert rate_mm_h(NOON_UTC_S, **{name: None}) == pytest.approx(rate_mm_h(NOON_UTC_S), rel=0.35)


@pytest.mark.parametrize("name", ["rh_pct", "solar_w_m2", "wind_m_s"])
def test_a_number_that_is_none_does_not_come_out_as_water_use_without_end(name: str) -> None:
    assert 0.0 <= rate_mm_h(NOON_UTC_S, **{name: math.nan}) < 1.5


def test_a_days_hours_add_up_to_about_the_days_eto() -> None:
    """Both forms fed with one clear July day; they are known to agree to some per cent."""
    start = datetime(2025, 7, 10, tzinfo=UTC).timestamp()
    total_mm, solar_mj = 0.0, 0.0
    for hour in range(24):
        solar_w = max(0.0, 850.0 * math.sin(math.pi * (hour + 0.5 - 3.5) / 16.0))
        solar_mj += solar_w * 0.0036
        total_mm += eto_rate_mm_h(
            at_utc_s=start + (hour + 0.5) * 3600.0,
            site=MUNICH,
            temp_c=18.5 - 6.5 * math.cos(math.pi * (hour - 2.0) / 12.0),
            tmin_c=12.0,
            tmax_c=25.0,
            rh_pct=None,
            solar_w_m2=solar_w,
            wind_m_s=2.0,
        )
    daily = DailyWeather(
        tmin_c=12.0, tmax_c=25.0, dew_point_c=12.0, solar_mj_m2_d=solar_mj, wind_m_s=2.0
    )
    assert total_mm == pytest.approx(eto_daily(daily, MUNICH, 191).eto_mm_d, rel=0.08)


def test_the_two_hourly_standards_differ_by_night_and_by_day() -> None:
    day = {
        "temp_c": 25.0,
        "vapour_pressure_kpa": 1.5,
        "wind_m_s": 3.0,
        "net_mj_m2_h": 1.5,
        "elevation_m": 200.0,
    }
    night = {**day, "net_mj_m2_h": -0.15}
    fao, asce = HourlyStandard.FAO56_1998, HourlyStandard.ASCE_EWRI_2005
    assert eto_hourly(asce, **day, daylight=True) > eto_hourly(fao, **day, daylight=True)
    assert eto_hourly(asce, **night, daylight=False) < eto_hourly(fao, **night, daylight=False)


def test_a_seasons_rates_are_worked_out_quickly() -> None:
    """25 000 a season; loose by far, so that only a change of order is caught."""
    begun_s = time.perf_counter()
    for step in range(2500):
        rate_mm_h(NOON_UTC_S + 600.0 * step)
    assert time.perf_counter() - begun_s < 2.0
