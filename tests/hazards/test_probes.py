"""Probes beside a valve that moves, and probes of a bed that all tell it wet while it dries."""

from __future__ import annotations

import random

import pytest

from controller.garden import Garden
from controller.sensing.flags import Flag
from tests.probe_hands import A, B, Hands, Told, drying, garden


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


def wet_and_trembling(value: float, seed: int) -> Told:
    """What a node tells that repeats its last word with a little noise."""
    return lambda now_s: value + random.Random(f"{seed}/{now_s}").gauss(0.0, 0.0008)


def lying(plot: Garden | None = None) -> Hands:
    """A garden in hot weather without rain whose probes all stand still and tell it wet."""
    hands = Hands(plot, south_20=wet_and_trembling(0.252, 1), south_40=wet_and_trembling(0.252, 2))
    hands.temp_c = 30.0
    return hands


@pytest.mark.hazard("P4", "P5")
def test_a_bed_whose_probes_all_stand_wet_is_not_dry_in_silence() -> None:
    hands = lying()
    hands.live(24.0 * 7)
    assert [name for name in (A, B) if hands.stands(Flag.NOT_DRYING, name)] == [A, B]
    for name in (A, B):
        assert "tell `soil`" in hands.alert(name)
        assert hands.engine.state.alerts[f"probe_suspect-south-{name}"].person_needed
    assert "bed_blind-south" in hands.engine.state.alerts
    assert hands.doses() > 0, "it goes on by its balance, and drinks"


@pytest.mark.hazard("P4", "P5")
def test_where_no_gauge_tells_of_rain_somebody_is_asked_and_the_probes_stay_in() -> None:
    hands = lying(garden(mast=False))
    hands.live(24.0 * 7)
    assert not hands.probe(A).flags
    hands.live(24.0 * 14)
    for name in (A, B):
        assert hands.stands(Flag.WET_UNSEEN, name)
        assert "no gauge tells whether it rained" in hands.alert(name)
        assert hands.probe(name).trust == "doubtful"
    assert not hands.stands(Flag.NOT_DRYING)
