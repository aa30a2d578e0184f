"""Degree-days, depletion fraction and Kcb against published or independently worked numbers."""

from __future__ import annotations

import pytest

from controller.agronomy.crop import (
    degree_days_average,
    degree_days_capped,
    degree_days_reduced,
    degree_days_triangle,
    kcb_climate_adjusted,
    load_crops,
    p_adjusted,
)
from tests.printed import assert_ours


@pytest.mark.parametrize(
    ("etc_mm_d", "p"),
    [
        pytest.param(2.0, 0.52, id="p-adjust-2-mm"),
        pytest.param(5.0, 0.40, id="p-adjust-5-mm"),
        pytest.param(8.0, 0.28, id="p-adjust-8-mm"),
    ],
)
def test_hot_days_bring_stress_at_a_wetter_soil(etc_mm_d: float, p: float) -> None:
    """FAO-56 table 22, note 2, for tomato; exact, tolerance 1e-9."""
    found = p_adjusted(load_crops()["tomato"].p_tab, etc_mm_d)
    assert found == pytest.approx(p, abs=1e-9)
    if etc_mm_d == 8.0:
        assert_ours("tomato's depletion fraction at 8 mm/d", found)


@pytest.mark.parametrize(
    ("tmax_c", "tmin_c", "capped", "average", "reduced", "triangle"),
    [
        pytest.param(28.0, 14.0, 11.0, 11.0, 11.0, 11.0, id="gdd-28-14"),
        pytest.param(35.0, 18.0, 14.0, 16.5, 11.5, 15.764706, id="gdd-35-18"),
        pytest.param(24.0, 6.0, 7.0, 5.0, 7.0, 5.444444, id="gdd-24-6"),
        pytest.param(33.0, 22.0, 16.0, 17.5, 14.5, 17.090909, id="gdd-33-22"),
    ],
)
def test_each_kind_of_degree_day_gives_its_own_number(
    tmax_c: float, tmin_c: float, capped: float, average: float, reduced: float, triangle: float
) -> None:
    """Worked by hand from the definitions (Heliyon 2020, e05114, table 3); triangle to 1e-6."""
    found = degree_days_capped(tmin_c, tmax_c)
    assert found == pytest.approx(capped, abs=1e-9)
    if (tmax_c, tmin_c) == (35.0, 18.0):
        assert_ours("degree-days of a 35/18 °C day, capped", found)
    assert degree_days_average(tmin_c, tmax_c) == pytest.approx(average, abs=1e-9)
    assert degree_days_reduced(tmin_c, tmax_c) == pytest.approx(reduced, abs=1e-9)
    assert degree_days_triangle(tmin_c, tmax_c) == pytest.approx(triangle, abs=1e-6)


@pytest.mark.parametrize(
    ("wind_m_s", "rh_min_pct", "height_m", "kcb"),
    [pytest.param(1.5, 35.0, 1.8, 1.167158, id="kcb-climate-tomato")],
)
def test_a_staked_tomatos_kcb_is_fitted_to_the_climate(
    wind_m_s: float, rh_min_pct: float, height_m: float, kcb: float
) -> None:
    """FAO-56 eq. 70 on the tabulated 1.15, worked independently; tolerance 1e-5."""
    found = kcb_climate_adjusted(1.15, wind_m_s=wind_m_s, rh_min_pct=rh_min_pct, height_m=height_m)
    assert found == pytest.approx(kcb, abs=1e-5)
    assert_ours("a staked tomato's Kcb in a dry place", found)


# FAO-56 tables 12, 17 and 22: Kcb mid, Kcb mid staked, Kcb end, height, p.
PRINTED = {
    "tomato": (1.10, 1.15, 0.70, 0.6, 0.40),
    "pepper": (1.00, 1.10, 0.80, 0.7, 0.30),
    "cucumber": (0.95, 1.10, 0.70, 0.3, 0.50),
    "zucchini": (0.90, None, 0.70, 0.3, 0.50),
    "winter_squash": (0.95, None, 0.70, 0.4, 0.35),
    "bean": (1.00, 1.10, 0.80, 0.4, 0.45),
    "lettuce": (0.90, None, 0.90, 0.3, 0.30),
}


@pytest.mark.parametrize("name", PRINTED)
def test_the_crop_table_holds_the_printed_values(name: str) -> None:
    """Exact; tomato's Kcb end is the middle of the printed 0.60-0.80."""
    crop = load_crops()[name]
    found = (crop.kcb_mid, crop.kcb_mid_staked, crop.kcb_end, crop.height_m, crop.p_tab)
    assert found == PRINTED[name]
    assert crop.kcb_ini == 0.15


def test_no_crop_is_in_the_table_that_was_not_looked_up() -> None:
    assert list(load_crops()) == list(PRINTED)
