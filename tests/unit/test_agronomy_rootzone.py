"""Root zone and surface layer: bounds, monotony, and water that neither comes nor goes."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.agronomy import rootzone

depths_mm = st.floats(0.0, 500.0)
fractions = st.floats(0.0, 1.0)
any_float = st.floats(allow_nan=False, allow_infinity=False)


@given(depletion_mm=any_float, taw_mm=any_float, p=any_float)
def test_the_stress_factor_is_a_share_for_any_finite_input(
    depletion_mm: float, taw_mm: float, p: float
) -> None:
    assert 0.0 <= rootzone.ks(depletion_mm, taw_mm, p) <= 1.0


@given(
    depletion_mm=depths_mm, more_mm=depths_mm, taw_mm=st.floats(1.0, 300.0), p=st.floats(0.1, 0.8)
)
def test_drier_soil_never_eases_stress(
    depletion_mm: float, more_mm: float, taw_mm: float, p: float
) -> None:
    before = rootzone.ks(depletion_mm, taw_mm, p)
    assert rootzone.ks(depletion_mm + more_mm, taw_mm, p) <= before


@given(depletion_mm=depths_mm, taw_mm=st.floats(1.0, 300.0), p=st.floats(0.1, 0.7))
def test_a_larger_p_never_brings_stress_sooner(
    depletion_mm: float, taw_mm: float, p: float
) -> None:
    assert (
        rootzone.ks(depletion_mm, taw_mm, p + 0.1) >= rootzone.ks(depletion_mm, taw_mm, p) - 1e-12
    )


@pytest.mark.parametrize(
    ("depletion_mm", "expected"),
    [
        pytest.param(0.0, 1.0, id="full"),
        pytest.param(40.0, 1.0, id="at-raw"),
        pytest.param(70.0, 0.5, id="half-way-down"),
        pytest.param(100.0, 0.0, id="at-taw"),
        pytest.param(150.0, 0.0, id="past-taw"),
        pytest.param(math.nan, 0.0, id="nan"),
    ],
)
def test_stress_begins_past_raw_and_is_whole_at_taw(depletion_mm: float, expected: float) -> None:
    assert rootzone.ks(depletion_mm, 100.0, 0.4) == pytest.approx(expected)


@given(
    taw_mm=st.floats(1.0, 300.0),
    share=fractions,
    water_mm=depths_mm,
    etc_mm=st.floats(0.0, 20.0),
    p=st.floats(0.1, 0.8),
)
def test_a_days_balance_closes_and_stays_in_its_bounds(
    taw_mm: float, share: float, water_mm: float, etc_mm: float, p: float
) -> None:
    start_mm = share * taw_mm
    end_mm, used_mm, drained_mm = rootzone.day_balance(start_mm, water_mm, etc_mm, taw_mm, p)
    assert end_mm - start_mm == pytest.approx(used_mm + drained_mm - water_mm, abs=1e-6)
    assert -1e-9 <= end_mm <= taw_mm + 1e-9
    assert 0.0 <= used_mm <= etc_mm
    assert 0.0 <= drained_mm <= water_mm


def test_surplus_drains_before_the_days_use() -> None:
    end_mm, used_mm, drained_mm = rootzone.day_balance(23.0, 40.0, 5.5, 39.0, 0.6)
    assert (end_mm, used_mm, drained_mm) == (5.5, 5.5, 17.0)


def test_roots_that_grow_into_moist_soil_gain_its_water() -> None:
    assert rootzone.deepen(20.0, 0.0, 0.14, 0.1) == 20.0
    assert rootzone.deepen(20.0, 0.5, 0.14, 0.1) == pytest.approx(27.0)


def test_depletion_is_counted_from_field_capacity() -> None:
    assert rootzone.depletion_at_mm(0.28, 0.23, 0.5) == pytest.approx(25.0)
    assert rootzone.depletion_at_mm(0.28, 0.30, 0.5) == pytest.approx(-10.0)


@given(de_mm=any_float, tew_mm=any_float, rew_mm=any_float)
def test_the_surface_reduction_is_a_share_for_any_finite_input(
    de_mm: float, tew_mm: float, rew_mm: float
) -> None:
    assert 0.0 <= rootzone.evaporation_reduction(de_mm, tew_mm, rew_mm) <= 1.0


@given(
    kr=fractions,
    kcb=st.floats(0.0, 1.3),
    cover=fractions,
    wetted=fractions,
    wind=any_float,
    rh=any_float,
    height=any_float,
)
def test_evaporation_and_transpiration_never_pass_the_energy_at_hand(
    kr: float, kcb: float, cover: float, wetted: float, wind: float, rh: float, height: float
) -> None:
    most = rootzone.kc_max(kcb, wind_m_s=wind, rh_min_pct=rh, height_m=height)
    seen = rootzone.shaded_wetted_frac(wetted, cover)
    ke = rootzone.ke(kr, most, kcb, rootzone.exposed_wetted_frac(cover, seen))
    assert ke >= 0.0
    assert kcb + ke <= most + 1e-9


@given(
    de_mm=st.floats(0.0, 25.0), evaporation_mm=st.floats(0.0, 10.0), exposed=st.floats(-1.0, 1.0)
)
def test_the_surface_never_dries_past_what_it_holds(
    de_mm: float, evaporation_mm: float, exposed: float
) -> None:
    found = rootzone.surface_dried_mm(de_mm, evaporation_mm, exposed, 25.0)
    assert de_mm <= found <= 25.0


@given(kcb=st.floats(-1.0, 3.0), most=st.floats(-1.0, 3.0), height_m=st.floats(0.0, 10.0))
def test_cover_is_a_share(kcb: float, most: float, height_m: float) -> None:
    assert 0.0 <= rootzone.canopy_cover_frac(kcb, most, height_m) <= 0.99


def test_plants_that_stand_wide_use_less() -> None:
    assert rootzone.sparse_kcb(1.15, 0.85) == 1.15
    assert rootzone.sparse_kcb(1.15, 0.40) == pytest.approx(1.15 - (1.0 - math.sqrt(0.40 / 0.85)))
    assert rootzone.sparse_kcb(0.15, 0.0) == 0.0


@pytest.mark.parametrize(
    ("rain_mm", "sheet", "expected"),
    [
        pytest.param(0.8, 0.0, 0.0, id="drizzle"),
        pytest.param(11.0, 0.0, 10.0, id="open-soil"),
        pytest.param(11.0, 1.0, 3.0, id="under-a-sheet"),
        pytest.param(math.nan, 0.0, 0.0, id="nan"),
    ],
)
def test_rain_counts_as_far_as_it_reaches_the_soil(
    rain_mm: float, sheet: float, expected: float
) -> None:
    assert rootzone.effective_rain_mm(rain_mm, 5.0, sheet) == pytest.approx(expected)


@given(ky=any_float, share=any_float)
def test_yield_is_a_share(ky: float, share: float) -> None:
    assert 0.0 <= rootzone.relative_yield(ky, share) <= 1.0
