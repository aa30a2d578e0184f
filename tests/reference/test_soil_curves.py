"""Class tables and stated bounds of the soil: each number that the code names, tried on its own.

Bounds are tried from both sides: what lies beyond counts as the bound, what lies within does not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from controller.agronomy import infiltration, soil, soil_bulk
from controller.agronomy.soil import REW_MM, saxton_rawls, soil_class
from controller.agronomy.soil_ranges import TABLE_19, usual

# Wilting point, field capacity, saturation [m3/m3] and Ks [mm/h] of the twelve class centres at
# 2.5 % organic matter, worked with ptfkit 0.4; the paper's table 3 rounds them.
CLASS_VALUES = {
    "sand": (0.050221, 0.102828, 0.461722, 108.1478),
    "loamy sand": (0.050959, 0.120245, 0.460226, 96.6746),
    "sandy loam": (0.080770, 0.179168, 0.449895, 50.3046),
    "loam": (0.137024, 0.279610, 0.459478, 15.4757),
    "silt loam": (0.109863, 0.305183, 0.478725, 16.1202),
    "silt": (0.057423, 0.304541, 0.479031, 21.9939),
    "sandy clay loam": (0.165735, 0.267045, 0.434131, 11.2589),
    "clay loam": (0.217992, 0.357898, 0.477241, 4.3238),
    "silty clay loam": (0.215188, 0.381835, 0.511220, 5.6840),
    "sandy clay": (0.248641, 0.361115, 0.443790, 1.3917),
    "silty clay": (0.267776, 0.409130, 0.523480, 3.6716),
    "clay": (0.297917, 0.420631, 0.498435, 1.1450),
}


@pytest.mark.parametrize("name", CLASS_VALUES)
def test_a_named_class_is_its_centre_at_two_and_a_half_per_cent(name: str) -> None:
    """Saxton & Rawls 2006 table 3 (centres and organic matter from memory); 1e-6 and 1e-4 mm/h."""
    dry, full, saturated, ks = CLASS_VALUES[name]
    ours = soil_class(name)
    assert ours.wilting_point_m3_m3 == pytest.approx(dry, abs=1e-6)
    assert ours.field_capacity_m3_m3 == pytest.approx(full, abs=1e-6)
    assert ours.saturation_m3_m3 == pytest.approx(saturated, abs=1e-6)
    assert ours.ks_mm_h == pytest.approx(ks, abs=1e-4)


# FAO-56 table 19: field capacity, wilting point, their difference [m3/m3], REW and TEW [mm].
PRINTED_19 = {
    "sand": "0.07-0.17 0.02-0.07 0.05-0.11 2-7 6-12",
    "loamy sand": "0.11-0.19 0.03-0.10 0.06-0.12 4-8 9-14",
    "sandy loam": "0.18-0.28 0.06-0.16 0.11-0.15 6-10 15-20",
    "loam": "0.20-0.30 0.07-0.17 0.13-0.18 8-10 16-22",
    "silt loam": "0.22-0.36 0.09-0.21 0.13-0.19 8-11 18-25",
    "silt": "0.28-0.36 0.12-0.22 0.16-0.20 8-11 22-26",
    "silty clay loam": "0.30-0.37 0.17-0.24 0.13-0.18 8-11 22-27",
    "silty clay": "0.30-0.42 0.17-0.29 0.13-0.19 8-12 22-28",
    "clay": "0.32-0.40 0.20-0.24 0.12-0.20 8-12 22-29",
}
# Taken over for the classes that the table leaves out: the nearest that it has.
REW_OF = {"sandy clay loam": "loam", "clay loam": "silty clay loam", "sandy clay": "clay"}


@pytest.mark.parametrize("name", PRINTED_19)
def test_the_ranges_of_table_19_are_as_printed(name: str) -> None:
    """FAO-56 table 19; exact."""
    told = tuple(tuple(float(end) for end in part.split("-")) for part in PRINTED_19[name].split())
    assert tuple(TABLE_19[name]) == told


@pytest.mark.parametrize("name", REW_MM)
def test_readily_evaporable_water_is_the_middle_of_the_printed_range(name: str) -> None:
    """FAO-56 table 19; exact."""
    low, high = PRINTED_19[REW_OF.get(name, name)].split()[3].split("-")
    assert (float(low) + float(high)) / 2.0 == REW_MM[name]
    assert (usual(name) is None) == (name in REW_OF)


@pytest.mark.parametrize(
    ("value_of", "bound", "beyond", "within"),
    [
        pytest.param(lambda om: saxton_rawls(0.4, 0.2, om), 8.0, 8.04, 7.96, id="humus-8-pct"),
        pytest.param(lambda clay: saxton_rawls(0.3, clay), 0.60, 0.603, 0.597, id="clay-0.60"),
        pytest.param(lambda sand: saxton_rawls(sand, 0.05), 1.0, 1.005, 0.995, id="sand-1"),
        pytest.param(soil.topp_theta_m3_m3, 81.0, 81.4, 80.6, id="permittivity-of-water-81"),
        pytest.param(
            lambda f: soil_bulk.with_density(soil_class("loam"), f), 0.9, 0.896, 0.904, id="dug-0.9"
        ),
        pytest.param(
            lambda f: soil_bulk.with_density(soil_class("loam"), f),
            1.3,
            1.306,
            1.294,
            id="trodden-1.3",
        ),
        pytest.param(
            lambda w: soil_bulk.stone_volume_frac(w, 1.4), 0.9, 0.904, 0.896, id="stones-0.9"
        ),
    ],
)
def test_what_is_beyond_a_bound_counts_as_the_bound(
    value_of: Callable[[float], object], bound: float, beyond: float, within: float
) -> None:
    """Saxton & Rawls 2006: organic matter to 8 %, clay to 60 %, density 0.9-1.3; else our own."""
    assert value_of(beyond) == value_of(bound)
    assert value_of(within) != value_of(bound)


def test_pure_sand_keeps_a_thousandth_of_water() -> None:
    """Eq. 1 gives -0.012 m3/m3 there, eq. 4 an air entry below 0: our bounds, 0.001 and 0.1 kPa."""
    bare = saxton_rawls(1.0, 0.0, 0.0)
    assert bare.wilting_point_m3_m3 == pytest.approx(0.001, abs=1e-12)
    assert soil_class("sand").air_entry_kpa == pytest.approx(0.1, abs=1e-12)


def test_air_dry_soil_pulls_with_a_thousand_megapascal_and_no_more() -> None:
    """Our own bound, 1e6 kPa; exact."""
    loam = soil_class("loam")
    assert soil.tension_kpa(loam, 0.0) == 1e6
    assert soil.theta_at_m3_m3(loam, 1.005e6) == soil.theta_at_m3_m3(loam, 1e6)
    assert soil.theta_at_m3_m3(loam, 0.995e6) != soil.theta_at_m3_m3(loam, 1e6)


@pytest.mark.parametrize(
    ("theta", "kpa"),
    [
        pytest.param(0.50, 0.0, id="over-full"),
        pytest.param(0.459479, 0.0, id="saturated"),
        pytest.param(0.369544, 18.573624, id="half-way-to-33-kpa"),
        pytest.param(0.279610, 33.0, id="field-capacity"),
        pytest.param(0.137024, 1500.0, id="wilting-point"),
    ],
)
def test_tension_of_loam_from_saturation_to_wilting(theta: float, kpa: float) -> None:
    """Saxton & Rawls 2006 eq. 11 to 13 on class loam, air entry 4.147248 kPa by eq. 4 (pedon).

    Contents are rounded to 1e-6, so 2e-4 of the tension.
    """
    loam = soil_class("loam")
    assert loam.air_entry_kpa == pytest.approx(4.147248, abs=1e-5)
    assert soil.tension_kpa(loam, theta) == pytest.approx(kpa, rel=2e-4)


def test_a_trodden_clay_keeps_half_a_per_cent_of_pores_that_drain() -> None:
    """Eq. 10's least of 0.005: pores 0.474 to 1 - 0.526 x 1.3 = 0.3162, 33 kPa to 0.43744."""
    heavy = replace(
        soil_class("clay"),
        saturation_m3_m3=0.474,
        field_capacity_m3_m3=0.469,
        wilting_point_m3_m3=0.357,
    )
    ours = soil_bulk.with_density(heavy, 1.3)
    assert ours.field_capacity_m3_m3 == pytest.approx(0.43744, abs=1e-9)
    assert ours.saturation_m3_m3 == pytest.approx(0.44244, abs=1e-9)


def test_dense_loam_holds_less_and_lets_far_less_through() -> None:
    """Eq. 6 to 10, 15, 16 by hand: density 1.432383 x 1.1, pores 0.405426, 33 kPa 0.268800."""
    loam = soil_class("loam")
    assert soil_bulk.normal_density_g_cm3(loam) == pytest.approx(1.432383, abs=1e-6)
    ours = soil_bulk.with_density(loam, 1.1)
    assert ours.saturation_m3_m3 == pytest.approx(0.405426, abs=1e-6)
    assert ours.field_capacity_m3_m3 == pytest.approx(0.268800, abs=1e-6)
    assert ours.ks_mm_h == pytest.approx(6.994809, abs=1e-5)


def test_three_tenths_of_stones_take_a_fifth_of_the_water() -> None:
    """Eq. 19 to 22 by hand at 1.43 g/cm3: Rv 0.187828, 1.659151 g/cm3, K 0.742445 of Ks."""
    assert soil_bulk.stone_volume_frac(0.3, 1.43) == pytest.approx(0.187828, abs=1e-6)
    assert soil_bulk.stony_density_g_cm3(0.3, 1.43) == pytest.approx(1.659151, abs=1e-6)
    of_143 = replace(soil_class("loam"), saturation_m3_m3=1.0 - 1.43 / 2.65)
    ours = soil_bulk.with_stones(of_143, 0.3)
    assert ours.ks_mm_h / of_143.ks_mm_h == pytest.approx(0.742445, abs=1e-6)
    assert ours.saturation_m3_m3 == pytest.approx(0.373905, abs=1e-6)


def test_a_layer_of_loam_drains_for_a_week_until_it_gives_a_millimetre_a_day() -> None:
    """d theta/dt = -K/Z solved for K = 1 mm/d: 168.414 h for 0.3 m of class loam (1e-3).

    Theta is 0.4595 (1/24/15.4757)^(1/13.7024) = 0.298358 by then, well above 33 kPa's 0.2796.
    """
    loam = replace(soil_class("loam"), saturation_m3_m3=0.4595, ks_mm_h=15.4757, b=5.3512)
    hours = infiltration.drained_h(loam, 0.3, 1.0)
    assert hours == pytest.approx(168.414, abs=1e-3)
    theta = infiltration.drained_theta_m3_m3(loam, 0.4595, 0.3, hours)
    assert theta == pytest.approx(0.298358, abs=1e-5)
    assert infiltration.drained_h(loam, 0.3, 400.0) == 0.0


def test_what_evaporates_from_above_a_water_table_half_a_metre_down() -> None:
    """Gardner 1958: 1.768048 x 5 mm/h x (100/600)^3 = 0.040927 mm/h (1e-6)."""
    found = infiltration.gardner_most_mm_h(5.0 * 100.0**3, 3.0, 600.0)
    assert found == pytest.approx(0.040927, abs=1e-6)
