"""The dual coefficient of one bed against FAO-56 examples 32 and 34, equations and table 25.

Numbers marked "apart" were worked out from the printed equations apart from this code.
"""

from __future__ import annotations

import pytest

from controller.agronomy import dual
from tests.printed import assert_ours


@pytest.mark.parametrize(
    ("wetted", "under_canopy", "few", "ke", "kc"),
    [
        pytest.param(1.0, False, 0.47, 0.40, 1.30, id="fao56-ex32-sprinkler-whole-bed"),
        pytest.param(0.3, True, 0.19, 0.25, 1.15, id="fao56-ex34-drip-whole-bed"),
    ],
)
def test_a_half_grown_crop_under_each_kind_of_watering(
    wetted: float, under_canopy: bool, few: float, ke: float, kc: float
) -> None:
    """FAO-56 ch. 7 examples 32 and 34; 0.006, the print rounding of carried steps."""
    found = dual.dual_kc(
        0.9,
        kr=1.0,
        wetted_frac=wetted,
        drip_under_canopy=under_canopy,
        wind_m_s=3.0,
        rh_min_pct=20.0,
        height_m=1.0,
    )
    assert found.kc_max == pytest.approx(1.30, abs=0.005)
    assert found.cover_frac == pytest.approx(0.53, abs=0.005)
    assert found.exposed_frac == pytest.approx(few, abs=0.006)
    assert found.ke == pytest.approx(ke, abs=0.006)
    assert dual.etc_mm_d(found, 1.0, 1.0) == pytest.approx(kc, abs=0.006)


@pytest.mark.parametrize(
    ("mulch", "ke"),
    [
        pytest.param("none", 0.253322, id="bare"),
        pytest.param("straw", 0.126661, id="straw-half"),
        pytest.param("plastic", 0.088663, id="plastic-65-per-cent-less"),
    ],
)
def test_a_mulch_holds_evaporation_back(mulch: str, ke: float) -> None:
    """Example 34's Ke in full, apart; FAO-56 ch. 10 and table 25 (50-80 % less); 1e-6."""
    found = dual.dual_kc(
        0.9,
        kr=1.0,
        wetted_frac=0.3,
        drip_under_canopy=True,
        wind_m_s=3.0,
        rh_min_pct=20.0,
        height_m=1.0,
        mulch=mulch,
    )
    assert found.ke == pytest.approx(ke, abs=1e-6)
    if mulch == "straw":
        assert_ours("Ke of drip under straw", found.ke)
    assert found.kcb == 0.9  # the mulch's share of Kcb is in `kcb_of_bed`, and there once only


@pytest.mark.parametrize(
    ("cover", "mulch", "kcb"),
    [
        pytest.param(None, "none", 1.167158, id="climate-only"),
        pytest.param(None, "straw", 1.167158, id="straw-leaves-kcb"),
        pytest.param(0.6, "none", 1.007326, id="then-sparse"),
        pytest.param(0.6, "plastic", 0.906594, id="then-plastic"),
        pytest.param(0.9, "none", 1.167158, id="denser-than-dense"),
    ],
)
def test_climate_sparse_stand_and_plastic_come_in_this_order(
    cover: float | None, mulch: str, kcb: float
) -> None:
    """A staked tomato, 1.5 m/s, 35 %, 1.8 m: FAO-56 eq. 70, 94, 95, table 25, apart; 1e-6."""
    found = dual.kcb_of_bed(
        1.15,
        wind_m_s=1.5,
        rh_min_pct=35.0,
        height_m=1.8,
        seen_cover_frac=cover,
        mulch=mulch,
    )
    assert found == pytest.approx(kcb, abs=1e-6)


@pytest.mark.parametrize(
    ("leaves", "kcb"),
    [
        pytest.param(0.0, 0.15, id="bare"),
        pytest.param(1.0, 0.628244, id="lai-1"),
        pytest.param(3.0, 0.983666, id="lai-3"),
        pytest.param(float("nan"), 0.15, id="nan-is-bare"),
    ],
)
def test_leaf_area_tells_the_coefficient_of_a_thin_stand(leaves: float, kcb: float) -> None:
    """FAO-56 eq. 97 with Kcb full 1.10 and Kc min 0.15, apart; 1e-6."""
    found = dual.kcb_of_leaf_area(1.10, leaves)
    assert found == pytest.approx(kcb, abs=1e-6)
    if leaves == 1.0:
        assert_ours("Kcb at a leaf area of 1", found)


@pytest.mark.parametrize(
    ("every_d", "base"),
    [
        pytest.param(2.0, 1.1, id="every-other-day"),
        pytest.param(3.0, 1.2, id="every-third-day"),
        pytest.param(7.0, 1.2, id="weekly"),
    ],
)
def test_soil_that_is_wetted_often_gets_the_lower_ceiling(every_d: float, base: float) -> None:
    """FAO-56 ch. 7, below eq. 72: about 1.1 where watered more often than every 3 to 4 days."""
    assert dual.kc_max_base(every_d) == base


@pytest.mark.parametrize(
    ("covered", "share"),
    [(0.0, 1.0), (0.1, 0.95), (0.5, 0.75), (1.0, 0.5), (2.0, 0.5)],
    ids=["bare", "a-tenth", "half", "all", "clipped"],
)
def test_each_tenth_under_straw_saves_a_twentieth(covered: float, share: float) -> None:
    """FAO-56 ch. 10: 5 % less for each 10 % of the ground; exact."""
    assert dual.straw_evaporation_share_frac(covered) == pytest.approx(share, abs=1e-12)


def test_stress_takes_from_the_plants_and_not_from_the_soil() -> None:
    """FAO-56 eq. 80: (0.5 x 0.9 + 0.25) x 4 = 2.8 mm/d."""
    kc = dual.DualKc(kcb=0.9, ke=0.25, kc_max=1.3, cover_frac=0.5, exposed_frac=0.2)
    assert dual.etc_mm_d(kc, 0.5, 4.0) == pytest.approx(2.8, abs=1e-12)


def test_without_a_climate_it_is_the_standard_one() -> None:
    """FAO-56 ch. 6: tables hold for 2 m/s and 45 %; Kcb as tabulated, Kc max 1.2; exact."""
    assert dual.kcb_of_bed(1.10, height_m=0.6) == 1.10
    found = dual.dual_kc(0.5, kr=0.0, wetted_frac=0.35, drip_under_canopy=True, height_m=0.6)
    assert (found.kc_max, found.ke) == (1.2, 0.0)
