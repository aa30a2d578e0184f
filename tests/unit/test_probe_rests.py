"""What a dose rests on: the belief beside one that heard the same hours of sound probes."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from sim.probe_rests import Belief, is_hour
from tests.probe_hands import Hands, Told
from tests.unit.test_taken_back import bed

HOUR_S = 3600.0
LEVEL = 0.235
BREAKS_H = 24.0
OFF_H = 1.0 / 6.0  # an engine of `Hands` begins at ten past


def sound(now_s: float) -> float:
    return LEVEL + 0.001 * (now_s // HOUR_S % 3.0)


def ramps(now_s: float) -> float:
    since_s = now_s - BREAKS_H * HOUR_S
    return sound(now_s) if since_s <= 0.0 else 0.34 - 0.24 * (since_s / (12 * HOUR_S) % 1.0)


def drifts(now_s: float) -> float:
    return sound(now_s) - 0.01 * max(0.0, now_s / HOUR_S - BREAKS_H) / 24.0


def lacks_mm(hands: Hands) -> float:
    water = hands.engine.state.water["south"]
    return water.depletion_mm - water.over_mm


@pytest.mark.parametrize(
    ("breaks", "hours", "far_mm"), [(ramps, 8, 2.0), (drifts, 60, 2.0)], ids=["ramp", "drift"]
)
def test_the_belief_parts_as_two_gardens_do(breaks: Told, hours: int, far_mm: float) -> None:
    live = Hands(south_20=breaks, south_40=breaks)
    twin = Hands(south_20=sound, south_40=sound)
    for each in (live, twin):
        each.live(BREAKS_H - 1.0 - OFF_H)
    belief = Belief("south", live.engine.state.water["south"])
    furthest = 0.0
    for _ in range(hours):
        begun_s = live.now_s
        for each in (live, twin):
            each.live(1.0)
        told = [sound(begun_s + 600.0 * n) for n in range(6)]
        belief.hour(live.engine.run, {"south-20": told, "south-40": told})
        parted_mm = lacks_mm(live) - lacks_mm(twin)
        furthest = max(furthest, abs(parted_mm))
        assert belief.off_mm == pytest.approx(parted_mm, abs=0.5 + 0.05 * abs(parted_mm))
        if live.doses() != twin.doses():
            break
    assert furthest > far_mm


def test_sound_probes_part_no_belief() -> None:
    live = Hands(south_20=sound, south_40=sound)
    live.live(BREAKS_H - OFF_H)
    belief = Belief("south", live.engine.state.water["south"])
    for _ in range(12):
        begun_s = live.now_s
        live.live(1.0)
        told = [sound(begun_s + 600.0 * n) for n in range(6)]
        belief.hour(live.engine.run, {"south-20": told})
        assert abs(belief.off_mm) < 0.05


def test_what_is_above_full_drains_from_the_difference() -> None:
    water = bed()
    water.depletion_mm, water.over_mm = 0.0, 0.0
    belief = Belief("south", water)
    belief.off_mm = 10.0  # the sound one is 10 mm above full
    run = SimpleNamespace(state=SimpleNamespace(water={"south": water}))
    for _ in range(16):
        belief.hour(run, {})  # type: ignore[arg-type]  # nothing was told
    assert belief.off_mm == pytest.approx(10.0 / 2.71828, rel=0.01)


def test_only_full_hours_count() -> None:
    assert is_hour(7200.0)
    assert is_hour(7205.0)
    assert not is_hour(7800.0)
