"""The simulated soil against a closed form, and against what a drained bed is known to do.

Closed form for a wetted layer under unit gradient, K = Ks (theta/theta_s)^(3 + 2B):
theta(t) = theta_s [1 + (2 + 2B) Ks t/(Z theta_s)]^(-1/(2 + 2B)), starting saturated. Loam of Saxton
& Rawls 2006: Ks 15.4757 mm/h, theta_s 0.4595, B 5.3512, layer 0.3 m. The form takes the layer as
one; the same 0.3 m in many layers dries from the top and gives up to 0.007 m3/m3 more.
"""

from __future__ import annotations

import pytest

from sim.soil_column import SoilColumn
from sim.soil_curve import Curve
from sim.soil_making import from_field_capacity
from tests.printed import assert_ours

LOAM = Curve(theta_s_m3_m3=0.4595, entry_tension_kpa=1.5, b=5.3512, ks_mm_h=15.4757)


@pytest.mark.parametrize(
    ("days", "theta"),
    [
        pytest.param(0.5, 0.365806, id="drainage-closed-form-half-a-day"),
        pytest.param(1.0, 0.347144, id="drainage-closed-form-one-day"),
        pytest.param(2.0, 0.329079, id="drainage-closed-form-two-days"),
        pytest.param(5.0, 0.306386, id="drainage-closed-form-five-days"),
    ],
)
def test_one_layer_drains_as_the_closed_form_says(days: float, theta: float) -> None:
    """Tolerance 0.001 m3/m3: one layer, read while half a wait ahead or behind."""
    column = SoilColumn(
        LOAM,
        thickness_mm=(300.0,),
        zone_layers=1,
        theta_m3_m3=(0.4595,),
        wilting_point_m3_m3=0.137,
    )
    for _ in range(round(days * 144)):
        column.step(1.0 / 6.0)
    assert column.root_theta_m3_m3() == pytest.approx(theta, abs=0.001)
    if days == 2.0:
        assert_ours("simulated soil, two days of drainage", column.root_theta_m3_m3())
    assert column.mass_error_mm() == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("days", "theta"),
    [
        pytest.param(0.5, 0.365806, id="drainage-closed-form-half-a-day"),
        pytest.param(1.0, 0.347144, id="drainage-closed-form-one-day"),
        pytest.param(2.0, 0.329079, id="drainage-closed-form-two-days"),
        pytest.param(5.0, 0.306386, id="drainage-closed-form-five-days"),
    ],
)
def test_many_layers_drain_a_little_further_than_one(days: float, theta: float) -> None:
    """Below the closed form by 0.002 to 0.008 m3/m3: the top layers are the drier ones."""
    column = SoilColumn(
        LOAM,
        thickness_mm=(50.0,) * 6,
        zone_layers=6,
        theta_m3_m3=(0.4595,) * 6,
        wilting_point_m3_m3=0.137,
    )
    column.step(24.0 * days)
    assert 0.002 < theta - column.root_theta_m3_m3() < 0.008
    assert column.water_mm == sorted(column.water_mm)


@pytest.mark.parametrize(
    ("fc", "wp", "sat"),
    [
        pytest.param(0.103, 0.050, 0.46, id="sand"),
        pytest.param(0.179, 0.081, 0.45, id="sandy-loam"),
        pytest.param(0.280, 0.137, 0.46, id="loam"),
        pytest.param(0.358, 0.218, 0.48, id="clay-loam"),
        pytest.param(0.421, 0.298, 0.50, id="clay"),
    ],
)
def test_a_made_soil_has_the_plateau_and_wilting_point_asked_for(
    fc: float, wp: float, sat: float
) -> None:
    """Class values of Saxton & Rawls 2006; plateau within 1e-4 m3/m3, curve within 1e-9."""
    soil = from_field_capacity(fc, wp, saturation_m3_m3=sat, full_root_depth_m=0.55)
    assert soil.field_capacity_m3_m3 == pytest.approx(fc, abs=1e-4)
    assert soil.soaked_theta(48.0) == pytest.approx(fc, abs=1e-4)
    assert soil.curve.tension_kpa(wp) == pytest.approx(1500.0, rel=1e-9)


@pytest.mark.parametrize("depth_m", [0.2, 0.3, 0.55, 0.8, 1.2])
def test_the_plateau_comes_after_a_day_or_two_and_drainage_goes_on_slowly(depth_m: float) -> None:
    soil = from_field_capacity(0.28, 0.137, saturation_m3_m3=0.46, full_root_depth_m=depth_m)
    theta = {hours: soil.soaked_theta(hours) for hours in (6.0, 24.0, 48.0, 96.0)}
    available = 0.28 - 0.137
    assert theta[6.0] - theta[24.0] > theta[24.0] - theta[48.0] > 0.0
    assert (theta[24.0] - theta[48.0]) / available < 0.10
    assert 0.0 < (theta[48.0] - theta[96.0]) / available < 0.05
