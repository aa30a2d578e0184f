"""The bounds that inputs are held to, and the small rules of FAO-56 that no example works.

Each bound is tried from both sides: what lies a little beyond it counts as the bound, and what lies
within it does not. The numbers are typed in from the documents or from the rule that is named.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from controller.agronomy import air, radiation
from controller.agronomy.eto import (
    DailyWeather,
    Site,
    eto_daily,
    eto_rate_mm_h,
    penman_monteith_mm_d,
    solar_mj_m2_d,
    wind_2_m_s,
)
from controller.agronomy.eto_hourly import HourlyStandard, surface_resistance_s_m

UCCLE = Site(latitude_deg=50.8, longitude_deg=4.35, elevation_m=100.0)
NOON_UTC_S = datetime(2025, 7, 6, 12, tzinfo=UTC).timestamp()


def by_heat(tmin_c: float = 10.0, tmax_c: float = 25.0, elevation_m: float = 100.0) -> float:
    return penman_monteith_mm_d(
        tmin_c=tmin_c,
        tmax_c=tmax_c,
        vapour_kpa=0.0,
        available_mj_m2_d=12.0,
        wind_m_s=2.0,
        elevation_m=elevation_m,
    )


def by_wind(wind_m_s: float, height_m: float = 2.0) -> float:
    weather = DailyWeather(tmin_c=1.0, tmax_c=9.0, wind_m_s=wind_m_s, wind_height_m=height_m)
    return wind_2_m_s(weather)[0]


def by_sun(solar: float) -> float:
    return solar_mj_m2_d(DailyWeather(tmin_c=1.0, tmax_c=9.0, solar_mj_m2_d=solar), UCCLE, 187)[0]


def by_humidity(rh_pct: float) -> float:
    weather = DailyWeather(tmin_c=12.0, tmax_c=12.1, rh_max_pct=rh_pct, rh_min_pct=0.0)
    return eto_daily(weather, UCCLE, 187).eto_mm_d


def rate(**told: float) -> float:
    mast: dict[str, float] = {"rh_pct": 50.0, "solar_w_m2": 700.0, "wind_m_s": 2.0}
    mast.update(told)
    return eto_rate_mm_h(
        at_utc_s=NOON_UTC_S, site=UCCLE, temp_c=22.0, tmin_c=12.0, tmax_c=24.0, **mast
    )


@pytest.mark.parametrize(
    ("value_of", "bound", "beyond", "within"),
    [
        pytest.param(lambda c: by_heat(tmax_c=c), 60.0, 60.3, 59.7, id="hottest-60-c"),
        pytest.param(lambda c: by_heat(tmin_c=c), -60.0, -60.3, -59.7, id="coldest-60-c-below"),
        pytest.param(lambda m: by_heat(elevation_m=m), 9000.0, 9045.0, 8955.0, id="9000-m"),
        pytest.param(lambda m: by_heat(elevation_m=m), -500.0, -502.5, -497.5, id="500-m-below"),
        pytest.param(by_sun, 60.0, 60.3, 59.7, id="brightest-day-60-mj"),
        pytest.param(by_humidity, 100.0, 100.5, 99.5, id="daily-rh-100"),
        pytest.param(by_wind, 0.5, 0.4975, 0.5025, id="calmest-day-0.5-m-s"),
        pytest.param(by_wind, 60.0, 60.3, 59.7, id="strongest-day-60-m-s"),
        pytest.param(lambda m: by_wind(9.0, m), 200.0, 201.0, 199.0, id="mast-200-m"),
        pytest.param(lambda m: by_wind(9.0, m), 0.5, 0.4975, 0.5025, id="mast-0.5-m"),
        pytest.param(lambda v: rate(wind_m_s=v), 0.5, 0.4975, 0.5025, id="calmest-hour-0.5-m-s"),
        pytest.param(lambda v: rate(wind_m_s=v), 60.0, 60.3, 59.7, id="strongest-hour-60-m-s"),
        pytest.param(lambda w: rate(solar_w_m2=w), 1500.0, 1507.0, 1493.0, id="1500-w"),
        pytest.param(lambda h: rate(rh_pct=h), 100.0, 100.5, 99.5, id="hourly-rh-100"),
    ],
)
def test_what_is_beyond_a_bound_counts_as_the_bound(
    value_of: Callable[[float], float], bound: float, beyond: float, within: float
) -> None:
    """Our own bounds, but for 0.5 m/s: FAO-56 ch. 3. Exact beyond, different within."""
    assert value_of(beyond) == value_of(bound)
    assert value_of(within) != value_of(bound)


@pytest.mark.parametrize(
    ("solar", "clear", "ratio"),
    [
        pytest.param(0.0, 10.0, 0.3, id="overcast"),
        pytest.param(12.0, 10.0, 1.0, id="clear"),
        pytest.param(5.0, 0.0, 0.6, id="night"),
    ],
)
def test_the_cloud_ratio_keeps_to_what_cloud_can_do(
    solar: float, clear: float, ratio: float
) -> None:
    """FAO-56 ch. 3 and 4: about 0.3 under full cloud, 0.4-0.6 by night where it is humid; 1e-12."""
    assert radiation.cloud_ratio_frac(solar, clear) == pytest.approx(ratio, abs=1e-12)


def low_sun_rate(above_mj_m2_h: float, monkeypatch: pytest.MonkeyPatch) -> float:
    """Rate of an hour of that much sun outside the air, by a mast that tells half a clear sky."""
    monkeypatch.setattr(
        "controller.agronomy.eto_hourly.extraterrestrial_radiation_mj_m2_h",
        lambda *_: above_mj_m2_h,
    )
    clear = radiation.clear_sky_mj_m2_d(above_mj_m2_h, UCCLE.elevation_m)
    solar_w_m2 = 0.5 * clear / 0.0036
    return rate(solar_w_m2=solar_w_m2)


def test_a_sun_below_0_3_rad_does_not_judge_the_cloud(monkeypatch: pytest.MonkeyPatch) -> None:
    """ASCE-EWRI 2005, from memory: 0.3 rad; Ra is then 4.92 sin 0.3 = 1.454, here 1.45 MJ/m2/h.

    Half a clear sky loses less by longwave than the fixed 0.6, so the rate jumps up there.
    """
    below, over = (low_sun_rate(one, monkeypatch) for one in (1.4495, 1.4505))
    above = low_sun_rate(1.4600, monkeypatch)
    assert over - below > 0.002
    assert above - over < 0.001


@pytest.mark.parametrize(
    ("standard", "daylight", "printed", "exact"),
    [
        pytest.param(HourlyStandard.FAO56_1998, True, 70.0, 70.72, id="fao56-day"),
        pytest.param(HourlyStandard.FAO56_1998, False, 70.0, 70.72, id="fao56-night"),
        pytest.param(HourlyStandard.ASCE_EWRI_2005, True, 50.0, 49.92, id="asce-day"),
        pytest.param(HourlyStandard.ASCE_EWRI_2005, False, 200.0, 199.68, id="asce-night"),
    ],
)
def test_each_standards_denominator_stands_for_its_resistance(
    standard: HourlyStandard, daylight: bool, printed: float, exact: float
) -> None:
    """FAO-56 boxes 4 to 6: Cd = rs/208, rounded to two places: 0.34, 0.24, 0.96."""
    found = surface_resistance_s_m(standard, daylight=daylight)
    assert found == pytest.approx(exact, abs=1e-9)
    assert round(printed / 208.0, 2) == pytest.approx(exact / 208.0, abs=1e-9)


def test_the_two_lesser_ways_to_the_vapour_pressure() -> None:
    """FAO-56 eq. 18 on example 5 (printed 1.69, from memory) and eq. 16 on example 4, in full."""
    assert air.vapour_pressure_from_rh_max_kpa(18.0, 82.0) == pytest.approx(1.692471, abs=1e-6)
    pressure = air.air_pressure_kpa(1200.0)
    ventilated = air.vapour_pressure_from_wet_bulb_kpa(25.6, 19.5, pressure)
    natural = air.vapour_pressure_from_wet_bulb_kpa(25.6, 19.5, pressure, 0.0008)
    assert ventilated == pytest.approx(1.911936, abs=1e-6)
    assert natural == pytest.approx(1.837945, abs=1e-6)


@pytest.mark.parametrize(
    ("clock_h", "east_deg", "solar_h"),
    [
        pytest.param(23.5, 180.0, 11.5, id="over-the-date-line"),
        pytest.param(0.5, -90.0, 18.5, id="the-day-before"),
    ],
)
def test_solar_time_wraps_at_midnight(clock_h: float, east_deg: float, solar_h: float) -> None:
    """FAO-56 eq. 31 on day 81, where b is 0 and Sc is -0.1255 h."""
    angle = radiation.hour_angle_rad(clock_h, 81, east_deg)
    assert angle == pytest.approx((solar_h - 0.1255 - 12.0) * 0.261799388, abs=1e-8)


@pytest.mark.parametrize("longitude_deg", [0.0, 90.0, -150.0], ids=["greenwich", "90e", "150w"])
def test_the_date_changes_at_the_sites_own_midnight(longitude_deg: float) -> None:
    """240 s of clock for a degree of longitude; the sun outside the air follows the local day.

    Next to the pole the sun's strength hardly changes within a day (FAO-56 eq. 28) and falls in
    January from one day to the next: it steps where the date does, and there only.
    """
    pole = Site(latitude_deg=-89.9, longitude_deg=longitude_deg, elevation_m=0.0)
    midnight_utc_s = datetime(2025, 1, 20, tzinfo=UTC).timestamp() - 240.0 * longitude_deg

    def at(seconds: float) -> float:
        return eto_rate_mm_h(
            at_utc_s=midnight_utc_s + seconds,
            site=pole,
            temp_c=0.0,
            tmin_c=-1.0,
            tmax_c=1.0,
            rh_pct=50.0,
            solar_w_m2=None,
            wind_m_s=0.5,
        )

    step = at(30.0) - at(-30.0)
    within_a_day = at(90.0) - at(30.0)
    assert step < 0.0
    assert abs(step) > 5.0 * abs(within_a_day)
