"""What crop coefficients are fitted to: weeks of wind and dry air, the stand, the sheet."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.agronomy.crop import kcb_of, load_crops
from controller.agronomy.rootzone import canopy_cover_frac, exposed_wetted_frac, shaded_wetted_frac
from controller.engine import Engine
from controller.events import WeatherReading
from controller.garden import Bed
from controller.sensing.beds import day_of, soil_of
from controller.sensing.climate import (
    MEMORY_D,
    Climate,
    end_day,
    keep_hour,
    rh_min_of_temperature_pct,
)
from controller.sensing.coefficients import STAKED_HEIGHT_M, coefficients, fitted, height_m
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

TOMATO = load_crops()["tomato"]
STANDARD = Climate()
WINDY_DRY = Climate(wind_m_s=4.0, rh_min_pct=30.0)


def bed(**told: Any) -> Bed:
    here = small_garden().beds["south"]
    return Bed.model_validate(here.model_dump() | told)


# -- the weeks


def test_a_day_that_was_told_moves_the_means_by_a_twentieth() -> None:
    climate = Climate()
    for hour in range(24):
        keep_hour(climate, 4.0, 30.0 + hour)
    end_day(climate, (10.0, 25.0))
    assert climate.wind_m_s == pytest.approx(2.0 + 2.0 / MEMORY_D)
    assert climate.rh_min_pct == pytest.approx(45.0 - 15.0 / MEMORY_D)
    assert (climate.wind_h, climate.rh_h, climate.wind_sum_m_s) == (0, 0, 0.0)


def test_untold_humidity_comes_from_the_days_temperatures() -> None:
    # e0(10) / e0(30) = 1.2280 / 4.2431 kPa, FAO-56 annex 2, table 2.3
    assert rh_min_of_temperature_pct(10.0, 30.0) == pytest.approx(28.94, abs=0.02)
    assert rh_min_of_temperature_pct(10.0, 10.0) == 100.0
    climate = Climate()
    end_day(climate, (10.0, 30.0))
    assert climate.rh_min_pct == pytest.approx(45.0 - (45.0 - 28.94) / MEMORY_D, abs=0.002)
    assert climate.wind_m_s == 2.0


def test_a_day_told_in_part_and_a_silent_one_move_nothing() -> None:
    climate = Climate()
    for _ in range(17):
        keep_hour(climate, 9.0, None)
    end_day(climate, None)
    end_day(climate, None)
    assert climate == Climate()


@given(
    st.lists(st.tuples(st.floats(0.0, 75.0), st.floats(0.0, 105.0)), max_size=40),
    st.tuples(st.floats(-45.0, 20.0), st.floats(20.0, 60.0)) | st.none(),
)
def test_the_means_stay_within_what_air_can_be(
    hours: list[tuple[float, float]], ends_c: tuple[float, float] | None
) -> None:
    climate = Climate()
    for wind_m_s, rh_pct in hours:
        keep_hour(climate, wind_m_s, rh_pct)
    end_day(climate, ends_c)
    assert 0.0 <= climate.wind_m_s <= 75.0
    assert 0.0 <= climate.rh_min_pct <= 105.0


def test_a_garden_without_a_mast_keeps_the_standard_climate() -> None:
    bench = Bench(small_garden())
    bench.live(2.0 * 86_400.0, tick_s=600.0)
    assert bench.engine.state.climate == Climate()


def test_the_masts_wind_reaches_the_beds_coefficient_and_outlives_a_restart() -> None:
    calm, windy = Bench(small_garden()), Bench(small_garden())
    for bench, wind_m_s in ((calm, 2.0), (windy, 6.0)):
        for _ in range(72):
            told: dict[str, Any] = {"temp_c": 20.0, "rh_pct": 45.0, "wind_m_s": wind_m_s}
            bench.step(WeatherReading(**bench.times(), mast="mast", **told))
            bench.live(3600.0, tick_s=600.0)
    assert calm.engine.state.climate.wind_m_s == pytest.approx(2.0)
    assert windy.engine.state.climate.wind_m_s == pytest.approx(2.0 + 4.0 * (1.0 - 0.95**2))
    # the one hour before the first midnight tells no day: its single temperature is no dew point
    assert windy.engine.state.climate.rh_min_pct == pytest.approx(45.0)
    days = [bench.engine.state.days["south"] for bench in (calm, windy)]
    assert days[1].kcb > days[0].kcb
    assert days[1].kc_max > days[0].kc_max
    assert Engine.load(windy.engine.dump()).state.climate == windy.engine.state.climate


# -- the coefficients


def test_in_the_standard_climate_a_bare_full_stand_has_the_tables_own() -> None:
    for habit in ("determinate", "indeterminate"):
        assert fitted(bed(habit=habit), TOMATO, STANDARD) == TOMATO


def test_wind_and_dry_air_lift_mid_season_and_not_the_young_plant() -> None:
    here = bed(habit="indeterminate")
    crop = fitted(here, TOMATO, WINDY_DRY)
    # eq. 70: 0.04 (4 - 2) - 0.004 (30 - 45) = 0.14, times (1.75 / 3)^0.3 = 0.8507
    assert crop.kcb_mid_staked == pytest.approx(1.15 + 0.14 * 0.8507, abs=1e-4)
    assert crop.kcb_ini == TOMATO.kcb_ini
    low = fitted(bed(habit="determinate"), TOMATO, WINDY_DRY)
    assert low.kcb_mid == pytest.approx(1.10 + 0.14 * 0.6170, abs=1e-4)  # (0.6 / 3)^0.3


def test_plants_up_stakes_are_as_tall_as_the_footnote_says() -> None:
    assert height_m(bed(habit="indeterminate"), TOMATO) == STAKED_HEIGHT_M
    assert height_m(bed(habit="determinate"), TOMATO) == TOMATO.height_m
    lettuce = load_crops()["lettuce"]
    assert height_m(bed(habit="indeterminate"), lettuce) == lettuce.height_m


def test_a_thin_stand_uses_less() -> None:
    crop = fitted(bed(cover_frac=0.5), TOMATO, STANDARD)
    assert crop.kcb_mid_staked == pytest.approx(1.15 - (1.0 - (0.5 / 0.85) ** 0.5))  # eq. 94, 95
    assert fitted(bed(cover_frac=0.9), TOMATO, STANDARD) == TOMATO


def test_a_sheet_takes_a_tenth_off_the_plants_own_use_all_season() -> None:
    crop = fitted(bed(mulch="plastic"), TOMATO, STANDARD)
    for degree_days in (0.0, 300.0, 900.0):
        bare = kcb_of(TOMATO, degree_days, staked=True)
        assert kcb_of(crop, degree_days, staked=True) == pytest.approx(0.9 * bare)


@pytest.mark.parametrize("degree_days", [0.0, 200.0, 400.0, 900.0, 1600.0])
@pytest.mark.parametrize("climate", [STANDARD, WINDY_DRY], ids=["standard", "windy-dry"])
def test_a_beds_day_is_the_handbooks_dual_coefficient(degree_days: float, climate: Climate) -> None:
    garden = small_garden()
    here, soil = garden.beds["south"], soil_of(garden, "south")
    day = day_of(here, soil, degree_days, date(2026, 7, 14), 5.0, None, climate=climate)
    kc = coefficients(here, fitted(here, TOMATO, climate), degree_days, climate)
    assert (day.kcb, day.kc_max, day.exposed_frac) == (kc.kcb, kc.kc_max, kc.exposed_frac)
    cover = canopy_cover_frac(day.kcb, day.kc_max, STAKED_HEIGHT_M)
    assert day.exposed_frac == exposed_wetted_frac(cover, shaded_wetted_frac(0.35, cover))
    assert day.p_frac == pytest.approx(max(0.1, min(0.8, 0.40 + 0.04 * (5.0 - 5.0 * day.kcb))))


@given(
    st.floats(0.0, 2000.0),
    st.floats(0.0, 75.0),
    st.floats(0.0, 105.0),
    st.sampled_from(sorted(load_crops())),
    st.sampled_from(["none", "straw", "plastic"]),
    st.floats(0.05, 1.0) | st.none(),
)
def test_coefficients_stay_sound_in_any_weather(
    degree_days: float, wind: float, rh: float, name: str, mulch: str, cover: float | None
) -> None:
    here = bed(crop=name, mulch=mulch, cover_frac=cover)
    climate = replace(STANDARD, wind_m_s=wind, rh_min_pct=rh)
    kc = coefficients(here, fitted(here, load_crops()[name], climate), degree_days, climate)
    assert 0.0 < kc.kcb < 1.6
    assert kc.kcb < kc.kc_max < 1.8
    assert 0.0 <= kc.exposed_frac <= 0.35
