"""The steps of FAO-56 chapter 3, each against the example printed for it."""

from __future__ import annotations

import pytest

from controller.agronomy import air, radiation
from tests.printed import assert_ours


@pytest.mark.parametrize(
    ("elevation_m", "pressure", "gamma"), [pytest.param(1800.0, 81.8, 0.054, id="fao56-ex02")]
)
def test_pressure_falls_with_height(elevation_m: float, pressure: float, gamma: float) -> None:
    """FAO-56 example 2; tolerance half the last printed digit; 81.755796 worked in full."""
    found = air.air_pressure_kpa(elevation_m)
    assert found == pytest.approx(pressure, abs=0.05)
    assert found == pytest.approx(81.755796, abs=1e-4)
    assert_ours("air pressure at 1800 m", found)
    assert air.psychrometric_kpa_c(found) == pytest.approx(gamma, abs=0.0005)
    assert air.psychrometric_kpa_c(found) == pytest.approx(0.054367605, abs=1e-7)


@pytest.mark.parametrize(
    ("tmin_c", "tmax_c", "at_min", "at_max", "mean"),
    [pytest.param(15.0, 24.5, 1.705, 3.075, 2.39, id="fao56-ex03")],
)
def test_saturation_is_averaged_over_the_ends_of_the_day(
    tmin_c: float, tmax_c: float, at_min: float, at_max: float, mean: float
) -> None:
    """FAO-56 example 3; tolerance the print rounding."""
    assert air.saturation_vapour_pressure_kpa(tmin_c) == pytest.approx(at_min, abs=0.001)
    assert air.saturation_vapour_pressure_kpa(tmax_c) == pytest.approx(at_max, abs=0.001)
    assert air.mean_saturation_kpa(tmin_c, tmax_c) == pytest.approx(mean, abs=0.005)


@pytest.mark.parametrize(
    ("dry_c", "wet_c", "elevation_m", "pressure", "at_wet", "vapour"),
    [pytest.param(25.6, 19.5, 1200.0, 87.9, 2.267, 1.91, id="fao56-ex04")],
)
def test_a_wet_bulb_tells_the_vapour_pressure(
    dry_c: float, wet_c: float, elevation_m: float, pressure: float, at_wet: float, vapour: float
) -> None:
    """FAO-56 example 4, ventilated; tolerance the print rounding."""
    here = air.air_pressure_kpa(elevation_m)
    assert here == pytest.approx(pressure, abs=0.05)
    assert air.saturation_vapour_pressure_kpa(wet_c) == pytest.approx(at_wet, abs=0.001)
    found = air.vapour_pressure_from_wet_bulb_kpa(dry_c, wet_c, here)
    assert found == pytest.approx(vapour, abs=0.005)


@pytest.mark.parametrize("case", [pytest.param((18.0, 25.0), id="fao56-ex05")])
def test_vapour_pressure_from_relative_humidity(case: tuple[float, float]) -> None:
    """FAO-56 example 5: RH 82 and 54 %, mean 68 %; tolerance the print rounding."""
    ends = air.vapour_pressure_from_rh_ends_kpa(*case, 82.0, 54.0)
    assert ends == pytest.approx(1.70, abs=0.005)
    mean = air.vapour_pressure_from_rh_mean_kpa(*case, 68.0)
    assert mean == pytest.approx(1.78, abs=0.005)


@pytest.mark.parametrize(
    ("latitude_deg", "day_of_year"), [pytest.param(-20.0, 246, id="fao56-ex08-09")]
)
def test_the_sun_of_an_early_september_day_at_20_south(
    latitude_deg: float, day_of_year: int
) -> None:
    """FAO-56 examples 8 and 9; tolerance the print rounding; 32.193996 worked in full."""
    sunset_rad = radiation.sun_of_day(latitude_deg, day_of_year)[3]
    assert radiation.relative_distance(day_of_year) == pytest.approx(0.985, abs=0.0005)
    assert radiation.declination_rad(day_of_year) == pytest.approx(0.120, abs=0.0005)
    assert sunset_rad == pytest.approx(1.527, abs=0.0005)
    ra = radiation.extraterrestrial_radiation_mj_m2_d(latitude_deg, day_of_year)
    assert ra == pytest.approx(32.2, abs=0.05)
    assert ra == pytest.approx(32.193996, abs=1e-4)
    assert_ours("radiation above the air, 20° S", ra)
    assert radiation.daylight_h(latitude_deg, day_of_year) == pytest.approx(11.7, abs=0.05)


@pytest.mark.parametrize(
    ("latitude_deg", "day_of_year"), [pytest.param(-22.9, 135, id="fao56-ex10-11-12")]
)
def test_radiation_from_the_ground_up_in_rio(latitude_deg: float, day_of_year: int) -> None:
    """FAO-56 examples 10 to 12 (220 h in May); the paper carries rounded steps: 0.06 MJ/m2/d."""
    ra = radiation.extraterrestrial_radiation_mj_m2_d(latitude_deg, day_of_year)
    longest_h = radiation.daylight_h(latitude_deg, day_of_year)
    assert ra == pytest.approx(25.1, abs=0.05)
    assert longest_h == pytest.approx(10.9, abs=0.05)
    solar = radiation.solar_from_sunshine_mj_m2_d(220.0 / 31.0, longest_h, ra)
    assert solar == pytest.approx(14.5, abs=0.06)
    clear = radiation.clear_sky_mj_m2_d(ra, 0.0)
    assert clear == pytest.approx(18.8, abs=0.06)
    ratio = radiation.cloud_ratio_frac(solar, clear)
    lost = radiation.net_longwave_mj_m2_d(19.1, 25.1, 2.1, ratio)
    kept = radiation.net_shortwave(solar)
    assert lost == pytest.approx(3.5, abs=0.06)
    assert kept == pytest.approx(11.1, abs=0.06)
    assert kept - lost == pytest.approx(7.6, abs=0.06)


@pytest.mark.parametrize(
    ("wind_m_s", "height_m", "at_2_m"), [pytest.param(3.2, 10.0, 2.4, id="fao56-ex14")]
)
def test_wind_is_brought_down_to_two_metres(
    wind_m_s: float, height_m: float, at_2_m: float
) -> None:
    """FAO-56 example 14; tolerance 0.02 as the paper rounds the factor; 0.747951 in full."""
    assert air.wind_at_2m_m_s(wind_m_s, height_m) == pytest.approx(at_2_m, abs=0.02)
    assert air.wind_at_2m_m_s(1.0, height_m) == pytest.approx(0.747951, abs=1e-4)


@pytest.mark.parametrize(
    ("tmin_c", "tmax_c", "solar"), [pytest.param(14.8, 26.6, 22.3, id="fao56-ex15")]
)
def test_sun_is_guessed_from_the_range_of_temperature(
    tmin_c: float, tmax_c: float, solar: float
) -> None:
    """FAO-56 example 15, Lyon in July; tolerance the print rounding."""
    ra = radiation.extraterrestrial_radiation_mj_m2_d(45.7167, 196)
    assert ra == pytest.approx(40.6, abs=0.06)
    found = radiation.solar_from_temperature_mj_m2_d(tmin_c, tmax_c, ra, 0.16)
    assert found == pytest.approx(solar, abs=0.05)
