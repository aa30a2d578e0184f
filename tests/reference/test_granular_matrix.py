"""A granular matrix sensor: tension from resistance and soil temperature."""

from __future__ import annotations

import pytest

from controller.sensing.calibration import granular_matrix_tension_kpa
from tests.printed import assert_ours


@pytest.mark.parametrize(
    ("resistance_kohm", "soil_temp_c", "tension_kpa"),
    [
        pytest.param(0.5, 24.0, 0.0, id="granular-matrix-0.5-24"),
        pytest.param(0.7, 24.0, 3.4732, id="granular-matrix-0.7-24"),
        pytest.param(1.0, 24.0, 10.4213, id="granular-matrix-1-24"),
        pytest.param(2.0, 20.0, 14.2238, id="granular-matrix-2-20"),
        pytest.param(5.0, 24.0, 30.4439, id="granular-matrix-5-24"),
        pytest.param(5.0, 15.0, 26.1593, id="granular-matrix-5-15"),
        pytest.param(8.0, 24.0, 47.0774, id="granular-matrix-8-24"),
        pytest.param(10.0, 24.0, 61.392, id="granular-matrix-10-24"),
        pytest.param(20.0, 20.0, 122.7545, id="granular-matrix-20-20"),
    ],
)
def test_resistance_and_temperature_tell_the_tension(
    resistance_kohm: float, soil_temp_c: float, tension_kpa: float
) -> None:
    """Shock, Barnum & Seddigh 1998 within 1-8 kOhm, Allen 2000 outside; worked apart, 0.001 kPa."""
    found = granular_matrix_tension_kpa(resistance_kohm, soil_temp_c)
    assert found == pytest.approx(tension_kpa, abs=0.001)
    if (resistance_kohm, soil_temp_c) == (5.0, 24.0):
        assert_ours("tension at 5 kOhm, 24 °C", found)
