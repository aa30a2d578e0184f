"""What a probe tells while a valve moves: its reading is left out, as the coil may have made it."""

from __future__ import annotations

import pytest

from controller.sensing.flags import Flag
from tests.probe_hands import A, B, Hands, drying


@pytest.mark.hazard("P8")
@pytest.mark.parametrize(
    ("after_s", "believed"),
    [
        pytest.param(1.0, False, id="at-once"),
        pytest.param(29.0, False, id="within-half-a-minute"),
        pytest.param(31.0, True, id="after-it"),
    ],
)
def test_a_reading_within_30_s_of_a_valve_edge_is_left_out(after_s: float, believed: bool) -> None:
    hands = Hands(south_20=drying(0.27, 0.003), south_40=drying(0.275, 0.002))
    hands.live(6.0)
    before = hands.probe().theta_m3_m3
    hands.now_s += 60.0
    hands.edge()
    hands.now_s += after_s
    hands.tell(A, 0.262)
    assert hands.stands(Flag.VALVE_EDGE) is not believed
    assert hands.probe().theta_m3_m3 == (0.262 if believed else before)
    assert not hands.stands(Flag.VALVE_EDGE, B)
