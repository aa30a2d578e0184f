"""A dose as a stimulus: which probe has to feel it, when, and what counts as felt."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.sensing import care, stimulus
from controller.state import DoseTrial

FULL, AVAILABLE = 0.28, 0.14
CONTENT = st.floats(0.02, 0.45)
DOSE = st.floats(0.0, 80.0)


def reach(content: float, given_mm: float, depth_cm: float = 20.0) -> float:
    return stimulus.reach_frac(
        content_m3_m3=content,
        full_m3_m3=FULL,
        available_m3_m3=AVAILABLE,
        given_mm=given_mm,
        depth_cm=depth_cm,
    )


def least(answered: list[float], depth_cm: float = 20.0, root_m: float = 0.55) -> float:
    return stimulus.least_reach_frac(
        answered, is_uppermost=depth_cm <= 20.0, depth_cm=depth_cm, root_depth_m=root_m
    )


@pytest.mark.parametrize(
    ("depth_cm", "hours"), [(5.0, 6), (20.0, 6), (21.0, 7), (40.0, 12), (60.0, 18), (100.0, 18)]
)
def test_a_deep_probe_has_longer(depth_cm: float, hours: int) -> None:
    assert stimulus.window_h(depth_cm) == hours


def test_reach_is_the_dose_over_what_the_ground_lacks() -> None:
    assert reach(0.20, 8.0) == pytest.approx(8.0 / (200.0 * 0.08))
    assert reach(0.20, 8.0, 40.0) == pytest.approx(8.0 / (400.0 * 0.08))


def test_ground_drier_than_wilting_lacks_no_more() -> None:
    assert reach(0.05, 20.0) == reach(FULL - AVAILABLE, 20.0)


@given(CONTENT, DOSE, DOSE, st.floats(5.0, 80.0))
def test_more_water_reaches_farther(content: float, one: float, other: float, cm: float) -> None:
    small, large = sorted((one, other))
    assert 0.0 <= reach(content, small, cm) <= reach(content, large, cm) <= stimulus.REACH_MOST


@given(CONTENT, CONTENT, DOSE)
def test_a_dose_reaches_farther_in_wetter_ground(one: float, other: float, mm: float) -> None:
    dry, wet = sorted((one, other))
    assert reach(dry, mm) <= reach(wet, mm)


def test_the_uppermost_among_the_roots_has_to_feel_an_ordinary_dose() -> None:
    assert least([]) == stimulus.REACH_TOP
    assert reach(0.05, 20.0) > stimulus.REACH_TOP  # even where it is frozen bone-dry


def test_at_the_roots_end_a_probe_is_proven_first_and_below_it_never_blamed() -> None:
    assert least([], root_m=0.30) == stimulus.REACH_UNPROVEN
    assert least([0.9, 1.0, 1.1], root_m=0.30) == pytest.approx(0.9)
    assert least([0.9, 1.0, 1.1], root_m=0.20) == math.inf


def test_a_deep_probe_has_to_feel_what_it_felt_before() -> None:
    assert least([], 40.0) == least([0.4], 40.0) == stimulus.REACH_UNPROVEN
    assert least([0.4, 1.3, 1.2, 1.4, 1.3, 1.2], 40.0) == pytest.approx(0.9 * 1.3)


def test_a_probe_that_lacks_next_to_nothing_reads_full() -> None:
    assert stimulus.reads_full(FULL - 0.11 * AVAILABLE, FULL, AVAILABLE)
    assert not stimulus.reads_full(FULL - 0.13 * AVAILABLE, FULL, AVAILABLE)


@given(st.floats(0.0, 0.3))
def test_making_up_for_missed_doses_takes_more(room: float) -> None:
    assert stimulus.moved_least_m3_m3(room, clear=True) > stimulus.moved_least_m3_m3(room)


def test_one_odd_hour_is_no_answer() -> None:
    hours = [0.20, 0.20, 0.20, 0.20, 0.26, 0.20, 0.20, 0.20]
    assert stimulus.highest_m3_m3(hours, 5) == pytest.approx(0.20)
    hours[5:7] = [0.25, 0.24]
    assert stimulus.highest_m3_m3(hours, 5) == pytest.approx(0.25)


def test_a_silent_window_says_nothing() -> None:
    assert stimulus.highest_m3_m3([0.2, None, None, 0.21, 0.22], 4) is None
    assert stimulus.before_m3_m3([None, None, None, 0.21], 1) is None


@given(st.lists(st.none() | CONTENT, max_size=49), st.integers(1, 60))
def test_what_was_before_is_not_what_came_after(hours: list[float | None], since_h: int) -> None:
    told = stimulus.before_m3_m3(hours, since_h)
    earlier = [each for each in hours[: max(0, len(hours) - since_h)] if each is not None]
    assert (told is None) <= (not earlier or since_h >= len(hours) - 3 or None in hours)
    if told is not None:
        assert min(earlier) <= told <= max(earlier)


def test_only_small_movements_tremble() -> None:
    assert stimulus.trembles([0.120, 0.121, 0.119, None, 0.1205, 0.1195, 0.120])
    assert not stimulus.trembles([0.120, 0.125, 0.119, 0.1205, 0.1195, 0.120])
    assert not stimulus.trembles([0.12])


def test_pulses_are_one_dose_and_later_water_another() -> None:
    trials: dict[str, DoseTrial] = {}
    care.dosed(trials, "south", 10.0, 0.0, 1800.0)
    care.dosed(trials, "south", 10.0, 0.0, 5400.0)
    assert trials["south"].given_mm == pytest.approx(20.0)
    trials["south"].after_h = trials["south"].hours = care.NEW_DOSE_H
    care.dosed(trials, "south", 5.0, 0.0, 9000.0)
    assert trials["south"].given_mm == pytest.approx(25.0)
    trials["south"].after_h = care.NEW_DOSE_H + 1
    care.dosed(trials, "south", 7.0, 30_000.0, 30_000.0)
    assert trials["south"].given_mm == pytest.approx(7.0)
    assert trials["south"].hours == 0


def test_no_water_begins_no_trial_and_a_late_word_counts_its_hours() -> None:
    trials: dict[str, DoseTrial] = {}
    care.dosed(trials, "south", 0.0, 0.0, 0.0)
    assert not trials
    care.dosed(trials, "south", 5.0, 3000.0, 7500.0)  # over two full hours
    assert trials["south"].hours == 2


def test_a_rise_in_more_than_one_bed_is_a_rain() -> None:
    assert care.partner({"a": [("a-20", 20.0)], "b": []}, 20.0) == ("a", "a-20")
    assert care.partner({"a": [("a-20", 20.0)], "b": [("b-20", 20.0)]}, 20.0) is None
    assert care.partner({}, 20.0) is None


def test_the_partner_is_the_one_of_the_same_depth() -> None:
    risen = {"a": [("a-20", 20.0), ("a-40", 40.0)]}
    assert care.partner(risen, 40.0) == ("a", "a-40")
    assert care.pair_of("z", "a") == care.pair_of("a", "z")
    assert care.crossed_between({"a-40|s-40": 2}, ["s-20", "s-40"], ["a-20", "a-40"]) == [
        ("s-40", "a-40", 2)
    ]
