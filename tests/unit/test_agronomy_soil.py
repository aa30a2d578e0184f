"""Soil functions: order of the three contents, bounds, and no number that is not finite."""

from __future__ import annotations

import math
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.agronomy import soil as agronomy
from controller.agronomy.soil import CARSEL_PARRISH, CLASSES, saxton_rawls, soil_class
from controller.garden_parts import SoilName

NAMES = list(CLASSES)
# FAO-56 table 19, printed ranges of readily evaporable water [mm].
REW_PRINTED = {
    "sand": (2, 7),
    "loamy sand": (4, 8),
    "sandy loam": (6, 10),
    "loam": (8, 10),
    "silt loam": (8, 11),
    "silt": (8, 11),
    "silty clay loam": (8, 11),
    "silty clay": (8, 12),
    "clay": (8, 12),
}


def test_every_soil_of_the_garden_file_is_known_in_each_table() -> None:
    assert set(get_args(SoilName)) == set(NAMES)
    assert set(agronomy.REW_MM) == set(NAMES) == set(CARSEL_PARRISH)


def test_an_unknown_class_is_refused() -> None:
    with pytest.raises(KeyError):
        soil_class("mud")


@pytest.mark.parametrize("name", REW_PRINTED)
def test_readily_evaporable_water_is_within_the_printed_range(name: str) -> None:
    lowest, highest = REW_PRINTED[name]
    assert lowest <= agronomy.REW_MM[name] <= highest


@given(sand=st.floats(-1.0, 2.0), clay=st.floats(-1.0, 2.0), organic=st.floats(-1e6, 1e6))
def test_any_texture_gives_finite_ordered_water(sand: float, clay: float, organic: float) -> None:
    soil = saxton_rawls(sand, clay, organic)
    assert 0.0 < soil.wilting_point_m3_m3 < soil.field_capacity_m3_m3 < soil.saturation_m3_m3 < 2.0
    assert 0.0 <= soil.ks_mm_h < math.inf
    assert 0.0 < soil.b < math.inf


@pytest.mark.parametrize("name", NAMES)
@given(theta=st.floats(-1e6, 1e6), less=st.floats(0.0, 1.0))
def test_drier_soil_pulls_harder_and_conducts_less(name: str, theta: float, less: float) -> None:
    soil = soil_class(name)
    wet, dry = agronomy.tension_kpa(soil, theta), agronomy.tension_kpa(soil, theta - less)
    assert 0.0 <= wet <= dry <= 1e6
    faster = agronomy.conductivity_mm_h(soil, theta)
    assert 0.0 <= agronomy.conductivity_mm_h(soil, theta - less) <= faster <= soil.ks_mm_h


@pytest.mark.parametrize("name", NAMES)
def test_the_curve_passes_through_its_two_ends(name: str) -> None:
    soil = soil_class(name)
    assert agronomy.tension_kpa(soil, soil.field_capacity_m3_m3) == pytest.approx(33.0)
    assert agronomy.tension_kpa(soil, soil.wilting_point_m3_m3) == pytest.approx(1500.0)
    assert agronomy.conductivity_mm_h(soil, soil.saturation_m3_m3) == soil.ks_mm_h


@pytest.mark.parametrize("name", NAMES)
@given(tension=st.floats(-1e9, 1e9), theta=st.floats(-1e6, 1e6))
def test_van_genuchten_is_finite_everywhere(name: str, tension: float, theta: float) -> None:
    curve = CARSEL_PARRISH[name]
    found = agronomy.van_genuchten_theta_m3_m3(curve, tension)
    assert curve.residual_m3_m3 <= found <= curve.saturation_m3_m3
    assert 0.0 <= agronomy.van_genuchten_tension_kpa(curve, theta) <= 1e6
    assert 0.0 <= agronomy.van_genuchten_conductivity_cm_d(curve, tension) <= curve.ks_cm_d


@pytest.mark.parametrize("name", NAMES)
@given(tension=st.floats(1.0, 1500.0))
def test_van_genuchtens_inverse_leads_back(name: str, tension: float) -> None:
    curve = CARSEL_PARRISH[name]
    theta = agronomy.van_genuchten_theta_m3_m3(curve, tension)
    assert agronomy.van_genuchten_tension_kpa(curve, theta) == pytest.approx(tension, rel=1e-4)


@given(permittivity=st.floats(allow_nan=False))
def test_topps_water_is_never_negative_or_infinite(permittivity: float) -> None:
    assert 0.0 <= agronomy.topp_theta_m3_m3(permittivity) <= 1.0
