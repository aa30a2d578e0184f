"""Whether a broken probe can be seen at all: asked of what was true, with worlds by hand."""

from __future__ import annotations

import math

import pytest

from controller.garden import load_garden
from sim.examples import find_garden
from sim.probe_hidden import (
    DAWN,
    DAWNS_OUTSIDE,
    DOSES_LEAST,
    doses_of,
    drift_seen_h,
    dry_dawns,
    rise_m3_m3,
    telling_doses,
)
from sim.probe_lives import lived
from sim.probe_series import Hazard
from sim.season_account import HourTruth

H = 200


def hours(wet: dict[int, float], rain: dict[int, float] | None = None) -> list[HourTruth]:
    fell = rain or {}
    return [HourTruth(3600.0 * (n + 1), 0.3, fell.get(n, 0.0), wet.get(n, 0.0)) for n in range(H)]


def levels(*steps: tuple[int, float]) -> list[float | None]:
    """A content of 0.20 that goes up by so much from so many hours on."""
    return [0.2 + sum(by for at, by in steps if n >= at) for n in range(H)]


def test_pulses_are_one_dose() -> None:
    assert doses_of(hours({10: 5.0, 12: 5.0, 15: 5.0, 40: 5.0}), 0) == [(10, 15), (40, 40)]
    assert doses_of(hours({10: 5.0, 40: 5.0}), 11) == [(40, 40)]


@pytest.mark.parametrize(("by", "told"), [(0.021, 1), (0.019, 0), (-0.05, 0)])
def test_a_dose_tells_where_a_sound_probe_would_have_moved_far(by: float, told: int) -> None:
    assert telling_doses(hours({50: 40.0}), levels((52, by)), 0) == told


def test_a_dose_before_it_broke_or_in_the_rain_tells_nothing() -> None:
    rises = levels((52, 0.05))
    assert telling_doses(hours({50: 40.0}), rises, 51) == 0
    assert telling_doses(hours({50: 40.0}, {55: 1.0}), rises, 0) == 0
    assert telling_doses(hours({50: 40.0}, {80: 9.0}), rises, 0) == 1


@pytest.mark.parametrize(("at", "told"), [(37, 1), (39, 0), (55, 0), (70, 1)])
def test_of_two_beds_only_one_may_drink(at: int, told: int) -> None:
    other = hours({at: 40.0})
    assert telling_doses(hours({50: 40.0}), levels((52, 0.05)), 0, other) == told


def test_a_probe_that_is_silent_tells_nothing() -> None:
    assert rise_m3_m3([None] * H, 50, 62) == 0.0


def test_a_dawn_after_water_or_rain_is_not_dry() -> None:
    found = dry_dawns(hours({24: 5.0}, {60: 3.0}), DAWN)
    assert [n // 24 for n in found] == [0, 2, 4, 5, 6, 7, 8]


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_drift_is_seen_at_the_fifth_dawn_outside_the_probes_own_wandering(sign: float) -> None:
    apart: list[float | None] = [0.01 + 0.003 * math.sin(n) for n in range(1000)]
    dawns = list(range(DAWN, 1000, 24))
    seen = drift_seen_h(apart, dawns, 400, sign * 0.003 / 24.0)
    assert seen is not None
    assert (DAWNS_OUTSIDE - 1) * 24 < seen <= 8 * 24
    assert drift_seen_h(apart, dawns, 400, 0.0) is None
    wild: list[float | None] = [0.05 * math.sin(n) for n in range(1000)]
    assert drift_seen_h(wild, dawns, 800, sign * 0.003 / 24.0) is None


@pytest.mark.slow
def test_a_world_says_what_it_gave_away(monkeypatch: pytest.MonkeyPatch) -> None:
    garden = load_garden(find_garden("hollin-lane"))
    monkeypatch.setattr("sim.probe_hidden.telling_doses", lambda *_: DOSES_LEAST - 1)
    assert lived(garden, (Hazard.FROZEN_NOISY, 3)).hidden
