"""Texture, retention and permittivity against published class values and worked numbers."""

from __future__ import annotations

import pytest

from controller.agronomy.soil import (
    CARSEL_PARRISH,
    saxton_rawls,
    soil_class,
    tension_kpa,
    topp_theta_m3_m3,
    van_genuchten_conductivity_cm_d,
    van_genuchten_tension_kpa,
    van_genuchten_theta_m3_m3,
)


@pytest.mark.parametrize(
    ("sand", "clay", "wp", "fc", "sat", "ks"),
    [
        pytest.param(0.65, 0.10, 0.08, 0.18, 0.45, 50.3, id="saxton-rawls-sandy-loam"),
        pytest.param(0.40, 0.20, 0.14, 0.28, 0.46, 15.5, id="saxton-rawls-loam"),
        pytest.param(0.20, 0.15, 0.11, 0.31, 0.48, 16.1, id="saxton-rawls-silt-loam"),
        pytest.param(0.30, 0.35, 0.22, 0.36, 0.48, 4.3, id="saxton-rawls-clay-loam"),
        pytest.param(0.88, 0.05, 0.05, 0.10, 0.46, 108.1, id="saxton-rawls-sand"),
        pytest.param(0.25, 0.50, 0.30, 0.42, 0.50, 1.1, id="saxton-rawls-clay"),
    ],
)
def test_a_texture_gives_the_printed_class_values(
    sand: float, clay: float, wp: float, fc: float, sat: float, ks: float
) -> None:
    """Saxton & Rawls 2006 table 3, from memory; tolerance the print rounding (0.006, 0.06)."""
    soil = saxton_rawls(sand, clay, 2.5)
    assert soil.wilting_point_m3_m3 == pytest.approx(wp, abs=0.006)
    assert soil.field_capacity_m3_m3 == pytest.approx(fc, abs=0.006)
    assert soil.saturation_m3_m3 == pytest.approx(sat, abs=0.006)
    assert soil.ks_mm_h == pytest.approx(ks, abs=0.06)


@pytest.mark.parametrize(
    ("name", "wp", "fc", "ks", "b"),
    [
        pytest.param("sandy loam", 0.080770, 0.179168, 50.304555, 4.790578, id="sandy-loam"),
        pytest.param("loam", 0.137024, 0.279610, 15.475656, 5.351208, id="loam"),
        pytest.param("silt loam", 0.109863, 0.305183, 16.120217, 3.735736, id="silt-loam"),
        pytest.param("clay loam", 0.217992, 0.357898, 4.323838, 7.698261, id="clay-loam"),
        pytest.param("sand", 0.050221, 0.102828, 108.147828, 5.325903, id="sand"),
        pytest.param("clay", 0.297917, 0.420631, 1.144958, 11.064909, id="clay"),
    ],
)
def test_a_named_class_is_its_centroid(
    name: str, wp: float, fc: float, ks: float, b: float
) -> None:
    """Worked apart in full precision; tolerance 1e-5 m3/m3, 1e-3 for Ks and B."""
    soil = soil_class(name)
    assert soil.wilting_point_m3_m3 == pytest.approx(wp, abs=1e-5)
    assert soil.field_capacity_m3_m3 == pytest.approx(fc, abs=1e-5)
    assert soil.ks_mm_h == pytest.approx(ks, abs=1e-3)
    assert soil.b == pytest.approx(b, abs=1e-3)


@pytest.mark.parametrize(
    ("gone", "kpa"),
    [(0.1, 44.0), (0.2, 59.0), (0.3, 80.0), (0.4, 112.0), (0.5, 159.0), (0.6, 233.0), (0.7, 350.0)],
)
def test_tension_in_loam_as_its_available_water_goes(gone: float, kpa: float) -> None:
    """Saxton & Rawls 2006 eq. 11 on class loam, worked apart; printed to the whole kPa."""
    loam = soil_class("loam")
    theta = loam.field_capacity_m3_m3 - gone * (
        loam.field_capacity_m3_m3 - loam.wilting_point_m3_m3
    )
    assert tension_kpa(loam, theta) == pytest.approx(kpa, abs=0.6)


@pytest.mark.parametrize(
    ("name", "at_10", "at_33", "at_100", "at_1500", "k_at_100_cm"),
    [
        pytest.param("loam", 0.240556, 0.164446, 0.124741, 0.088272, 0.03392252, id="vg-loam"),
        pytest.param(
            "sandy loam", 0.120865, 0.084477, 0.072268, 0.065653, 0.00455157, id="vg-sandy-loam"
        ),
        pytest.param(
            "clay loam", 0.331155, 0.268725, 0.220076, 0.149277, 0.035843, id="vg-clay-loam"
        ),
    ],
)
def test_van_genuchtens_curve_and_its_inverse(
    name: str, at_10: float, at_33: float, at_100: float, at_1500: float, k_at_100_cm: float
) -> None:
    """Carsel & Parrish 1988 class means; values of an independent library, 1e-5 m3/m3."""
    curve = CARSEL_PARRISH[name]
    for tension, theta in ((10.0, at_10), (33.0, at_33), (100.0, at_100), (1500.0, at_1500)):
        assert van_genuchten_theta_m3_m3(curve, tension) == pytest.approx(theta, abs=1e-5)
    back = van_genuchten_tension_kpa(curve, van_genuchten_theta_m3_m3(curve, 33.0))
    assert back == pytest.approx(33.0, abs=1e-6)
    found = van_genuchten_conductivity_cm_d(curve, 100.0 / 10.19716)
    assert found == pytest.approx(k_at_100_cm, abs=1e-6)


@pytest.mark.parametrize(
    ("permittivity", "theta"),
    [
        pytest.param(5.0, 0.079787, id="topp-1980-5"),
        pytest.param(10.0, 0.1883, id="topp-1980-10"),
        pytest.param(20.0, 0.3454, id="topp-1980-20"),
        pytest.param(30.0, 0.4441, id="topp-1980-30"),
    ],
)
def test_topps_equation_turns_permittivity_into_water(permittivity: float, theta: float) -> None:
    """Topp, Davis & Annan 1980 eq. 7, from memory; evaluated by hand, tolerance 1e-6."""
    assert topp_theta_m3_m3(permittivity) == pytest.approx(theta, abs=1e-6)
