"""The live station's rate against FAO-56 example 19, and the hourly forms against each other.

Source: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56, chapter 4, example
19: N'Diaye, 1 October. The paper prints 0.00 and 0.63 mm/h; the longer numbers were worked out from
its printed equations apart from this code.
"""

from __future__ import annotations

from math import pi

import pytest

from controller.agronomy import radiation
from controller.agronomy.eto import HourlyStandard, Site, eto_hourly, eto_rate_mm_h

MIDNIGHT_UTC_S = 1_696_118_400.0  # 2023-10-01 00:00 UTC; that day is day 274 of its year
BEHIND_UTC_S = 3600.0  # the paper's clock is that of 15° W


@pytest.mark.parametrize(
    ("clock_h", "temp_c", "rh_pct", "wind_m_s", "solar_mj", "ratio", "eto_mm_h"),
    [
        pytest.param(2.5, 28.0, 90.0, 1.9, 0.0, 0.8, 0.004344, id="fao56-ex19-night-as-told"),
        pytest.param(14.5, 38.0, 52.0, 3.3, 2.45, None, 0.626925, id="fao56-ex19-day-as-told"),
    ],
)
def test_a_station_that_tells_the_papers_hour_gets_the_papers_rate(
    clock_h: float,
    temp_c: float,
    rh_pct: float,
    wind_m_s: float,
    solar_mj: float,
    ratio: float | None,
    eto_mm_h: float,
) -> None:
    """Example 19 in UTC, degrees east and W/m2; 0.0001 mm/h, the working in full."""
    rate = eto_rate_mm_h(
        at_utc_s=MIDNIGHT_UTC_S + clock_h * 3600.0 + BEHIND_UTC_S,
        site=Site(latitude_deg=16.22, longitude_deg=-16.25, elevation_m=8.0),
        temp_c=temp_c,
        tmin_c=25.0,
        tmax_c=38.0,
        rh_pct=rh_pct,
        solar_w_m2=solar_mj * 1e6 / 3600.0,
        wind_m_s=wind_m_s,
        daytime_ratio_frac=ratio,
    )
    assert rate == pytest.approx(eto_mm_h, abs=0.0001)


@pytest.mark.parametrize(
    ("daylight", "net_mj_m2_h", "cd"),
    [pytest.param(True, 1.5, 0.24, id="day"), pytest.param(False, -0.1, 0.96, id="night")],
)
def test_the_two_hourly_standards_differ_as_their_denominators_do(
    daylight: bool, net_mj_m2_h: float, cd: float
) -> None:
    """ASCE-EWRI 2005 (from memory) where FAO-56 has 0.34; 25 °C at 100 m, eq. 7, 8, 13."""
    slope, gamma, wind = 0.188684, 0.066576, 2.0

    def rates(ea_kpa: float) -> tuple[float, float]:
        first, second = (
            eto_hourly(
                standard,
                temp_c=25.0,
                vapour_pressure_kpa=ea_kpa,
                wind_m_s=wind,
                net_mj_m2_h=net_mj_m2_h,
                daylight=daylight,
                elevation_m=100.0,
            )
            for standard in (HourlyStandard.FAO56_1998, HourlyStandard.ASCE_EWRI_2005)
        )
        return first, second

    fao, asce = rates(1.6)
    expected = (slope + gamma * (1.0 + 0.34 * wind)) / (slope + gamma * (1.0 + cd * wind))
    assert asce / fao == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(
    ("latitude_deg", "day"),
    [
        pytest.param(47.6, 172, id="seattle-midsummer"),
        pytest.param(-33.0, 300, id="southern-spring"),
        pytest.param(0.0, 80, id="equator"),
        pytest.param(75.0, 172, id="polar-day"),
        pytest.param(75.0, 355, id="polar-night"),
    ],
)
def test_the_hours_of_a_day_add_up_to_the_day(latitude_deg: float, day: int) -> None:
    """FAO-56 eq. 21 is eq. 28 summed over the day, to rounding of floats."""
    hours = sum(
        radiation.extraterrestrial_radiation_mj_m2_h(latitude_deg, day, pi / 12.0 * (hour - 11.5))
        for hour in range(24)
    )
    whole = radiation.extraterrestrial_radiation_mj_m2_d(latitude_deg, day)
    assert hours == pytest.approx(whole, abs=1e-9)
