"""The small rules of the root zone that no worked example tries, each number on its own.

Expected values are worked by hand from the equation named; the tolerance is 1e-9 where none is
said.
"""

from __future__ import annotations

import math

import pytest

from controller.agronomy import rootzone


def test_the_ceiling_of_the_coefficient() -> None:
    """FAO-56 eq. 72: 1.2 in the standard climate; never under Kcb + 0.05."""
    assert rootzone.kc_max(0.5) == pytest.approx(1.2, abs=1e-9)
    assert rootzone.kc_max(1.3) == pytest.approx(1.35, abs=1e-9)
    assert rootzone.kc_max(0.5, base=1.1) == pytest.approx(1.1, abs=1e-9)


def test_the_ceiling_in_a_windy_dry_climate_takes_a_tall_crop_of_0_6_m_where_none_is_told() -> None:
    """0.04 (4 - 2) - 0.004 (30 - 45) = 0.14, times (0.6/3)^0.3 = 0.617034: 1.286385 (1e-6)."""
    found = rootzone.kc_max(0.5, wind_m_s=4.0, rh_min_pct=30.0)
    assert found == pytest.approx(1.286385, abs=1e-6)


def test_the_ceiling_of_the_wind_alone_and_of_the_humidity_alone() -> None:
    """Where the other is not told it is the standard's: 2 m/s and 45 %; 3 m, so no power."""
    windy = rootzone.kc_max(0.5, wind_m_s=4.0, height_m=3.0)
    dry = rootzone.kc_max(0.5, rh_min_pct=30.0, height_m=3.0)
    assert windy == pytest.approx(1.28, abs=1e-9)
    assert dry == pytest.approx(1.26, abs=1e-9)


@pytest.mark.parametrize(
    ("kcb", "kc_max", "height_m", "cover"),
    [
        pytest.param(0.9, 1.2, 0.6, 0.645704, id="by-hand"),
        pytest.param(1.2, 1.2, 0.6, 0.99, id="never-all"),
        pytest.param(0.15, 1.2, 0.6, 0.0, id="bare"),
    ],
)
def test_cover_from_the_coefficient(
    kcb: float, kc_max: float, height_m: float, cover: float
) -> None:
    """FAO-56 eq. 76, Kc min 0.15: (0.75/1.05)^1.3 = 0.645704; 0.99 is our own bound."""
    found = rootzone.canopy_cover_frac(kcb, kc_max, height_m)
    assert found == pytest.approx(cover, abs=1e-6)


def test_drip_below_a_canopy_counts_by_a_third_where_all_is_covered() -> None:
    """FAO-56 ch. 7: fw (1 - 2/3 fc); 0.3 x (1 - 2/3) = 0.1, and 0.2 at half cover."""
    assert rootzone.shaded_wetted_frac(0.3, 1.0) == pytest.approx(0.1, abs=1e-9)
    assert rootzone.shaded_wetted_frac(0.3, 0.5) == pytest.approx(0.2, abs=1e-9)


def test_the_surface_layer_of_a_decimetre() -> None:
    """FAO-56 eq. 73: 1000 (0.28 - 0.5 x 0.14) 0.10 = 21 mm; 31.5 mm in 0.15 m."""
    assert rootzone.tew_mm(0.28, 0.14) == pytest.approx(21.0, abs=1e-9)
    assert rootzone.tew_mm(0.28, 0.14, 0.15) == pytest.approx(31.5, abs=1e-9)


def test_a_stand_that_covers_less_than_a_dense_one() -> None:
    """FAO-56 eq. 94, 95, dense 0.85 (from memory): 1.15 - (1 - sqrt(0.2125/0.85)) = 0.65."""
    assert rootzone.sparse_kcb(1.15, 0.2125) == pytest.approx(0.65, abs=1e-9)
    assert rootzone.sparse_kcb(1.15, 0.848) < 1.15
    assert rootzone.sparse_kcb(1.15, 0.852) == 1.15


@pytest.mark.parametrize(
    ("rain_mm", "sheet", "counts_mm"),
    [
        pytest.param(1.0, 0.0, 0.0, id="a-fifth-of-eto"),
        pytest.param(6.0, 0.0, 5.0, id="bare"),
        pytest.param(6.0, 1.0, 1.5, id="all-under-a-sheet"),
        pytest.param(6.0, 0.6, 2.9, id="mostly-under-a-sheet"),
    ],
)
def test_rain_less_what_evaporates_and_runs_off(
    rain_mm: float, sheet: float, counts_mm: float
) -> None:
    """FAO-56 ch. 8: 0.2 ETo, here of 5 mm; 0.3 of a sheet's runoff comes in: our own."""
    found = rootzone.effective_rain_mm(rain_mm, 5.0, sheet)
    assert found == pytest.approx(counts_mm, abs=1e-9)


def test_straw_keeps_the_first_millimetres() -> None:
    """1-2 mm: common practice; what evaporates at once is not taken off twice."""
    assert rootzone.effective_rain_mm(6.0, 5.0, kept_mm=2.0) == pytest.approx(4.0, abs=1e-9)
    assert rootzone.effective_rain_mm(6.0, 5.0, kept_mm=0.5) == pytest.approx(5.0, abs=1e-9)


def test_depletion_told_by_water_content_and_roots_that_grow() -> None:
    """FAO-56 eq. 87: 1000 (0.28 - 0.21) 0.5 = 35 mm; 0.1 m more, half empty: 7.15 mm more."""
    assert rootzone.depletion_at_mm(0.28, 0.21, 0.5) == pytest.approx(35.0, abs=1e-9)
    assert rootzone.deepen(35.0, 0.5, 0.143, 0.1) == pytest.approx(42.15, abs=1e-9)


def test_use_before_water_would_hide_a_days_drainage() -> None:
    """FAO-56 example 38, day 1: the table drains 40 - 23 = 17 mm; eq. 88 as printed, 11.5 mm.

    ETc is (0.30 + 0.91) 4.5 = 5.445 mm; the printed 11.5 has it as 5.5.
    """
    end_mm, used_mm, drained_mm = rootzone.day_balance(23.0, 40.0, 5.445, 39.0, 0.6)
    assert (end_mm, used_mm, drained_mm) == pytest.approx((5.445, 5.445, 17.0), abs=1e-9)
    late_mm, late_drained_mm = rootzone.fill(23.0 + 5.445, 40.0)
    assert (late_mm, late_drained_mm) == pytest.approx((0.0, 11.555), abs=1e-9)


@pytest.mark.parametrize(
    ("de_mm", "kr"),
    [(5.0, 1.0), (8.0, 1.0), (13.0, 0.5), (18.0, 0.0), (25.0, 0.0), (math.nan, 0.0)],
)
def test_a_surface_dries_in_two_stages(de_mm: float, kr: float) -> None:
    """FAO-56 eq. 74 between REW 8 and TEW 18 mm."""
    assert rootzone.evaporation_reduction(de_mm, 18.0, 8.0) == pytest.approx(kr, abs=1e-9)
