"""From tension to the bed's own scale."""

from __future__ import annotations

import pytest

from controller.garden_parts import Probe
from controller.sensing.beds import soil_of
from controller.sensing.tension import theta_m3_m3, used_frac, warm_scale
from tests.engine_garden import DRY_M3_M3, FULL_M3_M3, small_garden

SOIL = soil_of(small_garden(), "south")


@pytest.mark.parametrize(
    ("tension_kpa", "frac"),
    [
        pytest.param(10.0, 0.0, id="plateau-full"),
        pytest.param(30.0, 0.42, id="trigger-of-sizing"),
        pytest.param(45.0, 0.50, id="trigger-of-growth"),
        pytest.param(80.0, 0.60, id="limit-the-floor"),
        pytest.param(300.0**0.5, 0.21, id="half-way-in-the-logarithm"),
        pytest.param(10.0 / 3.0, -0.42, id="wetter-than-full"),
        pytest.param(0.0, -0.8803, id="saturated-counts-as-one"),
        pytest.param(1500.0, 1.0, id="wilting"),
    ],
)
def test_tension_is_straight_in_its_logarithm_between_four_points(
    tension_kpa: float, frac: float
) -> None:
    assert used_frac(tension_kpa) == pytest.approx(frac, abs=1e-4)


def test_drier_is_never_wetter() -> None:
    told = [theta_m3_m3(SOIL, 0.5 * n) for n in range(3001)]
    whole = [theta for theta in told if theta is not None]
    assert len(whole) == len(told)
    assert whole == sorted(whole, reverse=True)
    assert DRY_M3_M3 <= whole[-1] < FULL_M3_M3 < whole[0] <= SOIL.saturation_m3_m3


@pytest.mark.parametrize("tension_kpa", [-0.1, 1500.1, float("nan"), float("inf")])
def test_what_no_field_probe_tells_is_nothing(tension_kpa: float) -> None:
    assert theta_m3_m3(SOIL, tension_kpa) is None


@pytest.mark.parametrize(
    ("kind", "value", "temp_c", "theta"),
    [
        pytest.param("tension_kpa", 45.0, None, 0.21, id="tension"),
        pytest.param("tension_kpa", 45.0, 10.0, 0.21, id="tension-has-no-warmth"),
        pytest.param("resistance_kohm", 5.0, 24.0, 0.2201, id="resistance"),
        pytest.param("resistance_kohm", 5.0, 15.0, 0.2285, id="resistance-in-cool-soil"),
        pytest.param("resistance_kohm", 36.0, 24.0, None, id="open"),
    ],
)
def test_a_probe_speaks_the_scale_of_its_bed(
    kind: str, value: float, temp_c: float | None, theta: float | None
) -> None:
    scale = warm_scale(Probe.model_validate({"kind": kind, "depth_cm": 20}), SOIL)
    assert scale is not None
    found = scale(value, temp_c)
    assert found == (None if theta is None else pytest.approx(theta, abs=2e-3))


def test_probes_of_water_content_have_their_own_scale() -> None:
    assert warm_scale(Probe.model_validate({"kind": "theta_pct", "depth_cm": 20}), SOIL) is None
