"""Drift and disagreement: what a probe's dawns tell beside its peers and its bed's books."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.correcting import _leaned
from controller.probe_care import probe_weight
from controller.sensing import drift
from controller.sensing.flags import Flag
from controller.state import ProbeCare
from tests.probe_hands import HOUR_S, A, B, Hands, garden

DAY_S = 86_400.0
SMALL = st.floats(-0.5, 0.5)


def dawns(ways: list[float], *, drifts: bool = False, memory: ProbeCare | None = None) -> ProbeCare:
    memory = ProbeCare() if memory is None else memory
    first = memory.dawns
    for day, apart in enumerate(ways):
        drift.follow(memory, apart, (first + day) * DAY_S, drifts=drifts)
    return memory


def test_a_probe_stands_above_the_mean_of_the_others() -> None:
    assert drift.apart_m3_m3({"a": 0.25, "b": 0.22, "c": 0.24}, "a") == pytest.approx(0.02)


@given(st.dictionaries(st.sampled_from("ab"), SMALL, min_size=2))
def test_two_probes_stand_apart_alike(told: dict[str, float]) -> None:
    assert drift.apart_m3_m3(told, "a") == -drift.apart_m3_m3(told, "b")


def test_a_steady_way_apart_is_no_drift_however_wide() -> None:
    memory = dawns([-0.04 + 0.004 * math.sin(day) for day in range(60)])
    assert memory.above_m3_m3_d == memory.below_m3_m3_d == 0.0
    assert memory.usual_apart_m3_m3 == pytest.approx(-0.04, abs=0.004)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_ramp_of_three_thousandths_a_day_is_found_within_two_weeks(sign: float) -> None:
    memory = dawns([0.01] * 10)
    for day in range(1, 30):
        drift.follow(memory, 0.01 + sign * 0.003 * day, (10 + day) * DAY_S, drifts=False)
        if drift.left_its_band(memory):
            break
    assert 5 < day <= 11


@pytest.mark.hazard("P5")
@pytest.mark.parametrize("off", [0.021, 0.03, 0.2])
def test_five_days_outside_are_needed(off: float) -> None:
    memory = dawns([0.0] * 6 + [off] * 4)
    assert not drift.left_its_band(memory)
    drift.follow(memory, off, 10 * DAY_S, drifts=False)
    assert drift.left_its_band(memory)


def test_a_day_inside_takes_back() -> None:
    assert not drift.left_its_band(dawns([0.0] * 6 + [0.03] * 4 + [0.0] * 2 + [0.03]))
    memory = dawns([0.0] * 6 + [0.03] * 4 + [0.0] * 7)
    assert memory.above_m3_m3_d == 0.0
    assert memory.strayed_utc_s is None


def test_a_found_drift_is_held_against_the_days_before_it() -> None:
    memory = dawns([0.01] * 12)
    for day in range(1, 15):
        found = drift.left_its_band(memory)
        drift.follow(memory, 0.01 + 0.003 * day, (12 + day) * DAY_S, drifts=found)
    assert memory.off_m3_m3 == pytest.approx(0.003 * 14, abs=0.003)


def test_few_dawns_are_not_enough_however_many_days() -> None:
    memory = dawns([0.0] * 6)
    for day in (10, 18):
        drift.follow(memory, 0.03, day * DAY_S, drifts=False)
    assert not drift.left_its_band(memory)


def test_crossing_over_begins_anew() -> None:
    memory = dawns([0.0] * 6 + [0.03] * 4 + [-0.03] * 4)
    assert not drift.left_its_band(memory)
    assert memory.above_m3_m3_d < memory.below_m3_m3_d


def test_half_a_point_is_never_a_drift() -> None:
    assert not drift.left_its_band(dawns([0.0] * 6 + [0.0079] * 200))


def test_only_the_upper_of_two_is_drier_in_a_dry_bed() -> None:
    depths = {"a": 20.0, "b": 40.0}
    upper = drift.by_thirst_m3_m3(depths, "a", 0.06)
    assert upper == pytest.approx(-0.009)
    assert drift.by_thirst_m3_m3(depths, "b", 0.06) == -upper
    assert drift.by_thirst_m3_m3({"a": 20.0, "b": 20.0}, "a", 0.06) == 0.0


def test_a_probe_that_no_longer_drifts_is_whole_again_and_one_that_does_is_not() -> None:
    stopped = dawns([0.0] * 6)
    dawns([0.025] * 60, drifts=True, memory=stopped)
    assert drift.back_in_its_band(stopped, stopped.inside_utc_s + 2 * DAY_S)  # type: ignore[operator]
    going = dawns([0.0] * 6)
    dawns([0.003 * day for day in range(1, 60)], drifts=True, memory=going)
    assert going.inside_utc_s is None


def test_probes_farther_apart_than_their_soil_can_be_disagree() -> None:
    assert drift.disagreeing({"a": 0.28, "b": 0.16}, 0.14) == ["a", "b"]
    assert drift.disagreeing({"a": 0.28, "b": 0.17}, 0.14) == []
    assert drift.disagreeing({"a": 0.28, "b": 0.27, "c": 0.13}, 0.14) == ["c"]
    assert drift.disagreeing({"a": 0.1}, 0.14) == []


def test_doubted_probes_lean_on_sound_ones_and_alone_on_nothing() -> None:
    told = [(20.0, 0.30), (40.0, 0.20)]
    assert _leaned(told, [0.5, 0.0]) == [(20.0, 0.25), (40.0, 0.20)]
    assert _leaned(told, [0.5, 0.5]) == told


# -- in the engine


def bed(days: float, *, a_m3_m3_d: float = 0.0, a_step: float = 0.0, level: float = 0.235) -> Hands:
    """Ten sound days, then so many in which probe A goes its own way."""
    begin_s = 10.0 * DAY_S

    def told(now_s: float) -> float:
        past_d = max(0.0, now_s - begin_s) / DAY_S
        wave = 0.001 * math.sin(now_s / 7000.0)
        return level + wave + (min(past_d * 0.02, a_step) if a_step else past_d * a_m3_m3_d)

    hands = Hands(
        garden(), south_20=told, south_40=lambda now_s: 0.24 + 0.001 * math.cos(now_s / 9000.0)
    )
    hands.temp_c, hands.sun_w_m2 = 12.0, 0.0
    hands.engine.state.beds["south"].pause = None
    hands.live(24.0 * (10.0 + days))
    return hands


@pytest.mark.hazard("P5")
def test_a_drifting_probe_is_found_asked_about_and_set_back() -> None:
    hands = bed(14.0, a_m3_m3_d=0.003)
    assert hands.stands(Flag.DRIFT)
    assert "Calibrate it anew" in hands.alert()
    care = hands.engine.state.care
    assert care[A].off_m3_m3 == pytest.approx(14 * 0.003, rel=0.15)
    assert care[A].set_back_m3_m3 == pytest.approx(14 * 0.003, rel=0.25)
    assert abs(care[B].set_back_m3_m3) < 0.2 * abs(care[A].set_back_m3_m3)
    assert probe_weight(hands.engine.run, A) == 1.0  # it counts, as it is set back
    told = hands.engine.state.beds["south"].told_m3_m3
    assert told == pytest.approx(0.2375, abs=0.008)  # as before it drifted, not 0.021 off


@pytest.mark.hazard("P5")
def test_a_probe_is_set_back_before_it_is_asked_about() -> None:
    hands = bed(7.0, a_m3_m3_d=0.003)
    assert not hands.stands(Flag.DRIFT)
    assert hands.engine.state.care[A].set_back_m3_m3 > 0.003
    assert hands.engine.state.water["south"].apart_sd_m3_m3 > 0.0


def test_sound_probes_do_not_drift() -> None:
    hands = bed(14.0)
    assert not hands.stands(Flag.DRIFT)
    assert not hands.stands(Flag.DRIFT, B)


def test_probes_that_stand_apart_for_three_dawns_disagree_until_they_agree() -> None:
    hands = bed(9.0, a_step=-0.01)
    assert not hands.stands(Flag.DISAGREEMENT)
    hands.probes[A] = lambda now_s: 0.12 + 0.001 * math.sin(now_s / 7000.0)
    hands.probe(A).hours_m3_m3.clear()
    hands.probe(A).theta_m3_m3 = None
    hands.live(24.0 * 2)
    assert not hands.stands(Flag.DISAGREEMENT)
    hands.live(24.0 * 2)
    assert hands.stands(Flag.DISAGREEMENT)
    assert hands.stands(Flag.DISAGREEMENT, B)
    hands.probes[B] = lambda now_s: 0.15 + 0.001 * math.sin(now_s / 7000.0)
    hands.probe(B).theta_m3_m3 = None
    hands.live(24.0 * 2)
    assert not hands.stands(Flag.DISAGREEMENT)


def test_a_rain_day_counts_for_nothing() -> None:
    hands = bed(1.0)
    before = hands.engine.state.care[A].dawns
    for _ in range(4):
        hands.rain_mm += 16.0
        hands.live(24.0)
    assert hands.engine.state.care[A].dawns == before
    assert sum(hands.engine.state.books["south"].rain_mm) > drift.RAIN_DEEP_MM
    hands.live(24.0 + HOUR_S / 3600.0)
    assert hands.engine.state.care[A].dawns == before  # the deep soil is not at rest yet
    hands.live(24.0 * 3)
    assert hands.engine.state.care[A].dawns > before
