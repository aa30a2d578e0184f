"""One reading beside the probe's last ones: filter, unit, level; and what an hour tells."""

from __future__ import annotations

import random

import pytest

from controller.garden_parts import Probe
from controller.sensing.flags import Flag
from controller.sensing.screening import (
    came_back,
    in_old_unit,
    odd,
    out_of_line,
    remember,
    rose,
    unit_slip,
)
from controller.sensing.watching import (
    TREMOR_DAYS_LEAST,
    battery_days_left,
    digit_m3_m3,
    erratic,
    fell_in_a_day_m3_m3,
    keep_hour,
    level_over,
    lost_its_tremor,
    moved,
    steady_again,
    step_m3_m3,
    tremor_m3_m3,
    wobble_m3_m3,
)
from controller.state import ProbeState

QUIET = [0.250, 0.251, 0.249, 0.250, 0.252, 0.250]


@pytest.mark.parametrize(
    ("value", "before", "slips"),
    [
        pytest.param(23.4, 0.234, True, id="a-hundred"),
        pytest.param(0.00234, 0.234, True, id="a-hundredth"),
        pytest.param(-0.234, 0.234, True, id="sign"),
        pytest.param(-0.20, 0.234, True, id="sign-and-a-little"),
        pytest.param(-23.4, 0.234, True, id="both"),
        pytest.param(14.1, 0.234, True, id="sixty"),
        pytest.param(13.9, 0.234, False, id="under-sixty"),
        pytest.param(38.0, 0.234, False, id="over-a-hundred-and-sixty"),
        pytest.param(0.0234, 0.234, False, id="a-tenth"),
        pytest.param(-0.01, 0.234, False, id="a-little-below-nothing"),
        pytest.param(0.0, 0.234, False, id="nothing"),
        pytest.param(23.4, None, False, id="no-line"),
        pytest.param(23.4, 0.0, False, id="line-of-nothing"),
        pytest.param(float("nan"), 0.2, False, id="nan"),
    ],
)
def test_a_slip_of_the_unit_is_about_a_hundred_or_a_sign(
    value: float, before: float | None, slips: bool
) -> None:
    assert unit_slip(value, before) is slips


@pytest.mark.parametrize(
    ("value", "fits"), [(0.2, True), (0.59, True), (0.61, False), (0.07, True), (0.06, False)]
)
def test_the_old_unit_is_within_a_factor_of_three(value: float, fits: bool) -> None:
    assert in_old_unit(value, 0.2) is fits


@pytest.mark.parametrize(
    ("theta", "apart"),
    [
        pytest.param(0.2541, True, id="just-over-the-floor"),
        pytest.param(0.2539, False, id="just-under"),
        pytest.param(0.2459, True, id="just-below"),
        pytest.param(0.02, True, id="far"),
    ],
)
def test_the_filter_has_a_floor_of_one_per_cent_of_the_span(theta: float, apart: bool) -> None:
    still = [0.25] * 6
    assert out_of_line([*still, theta], theta) is apart


def test_the_filter_is_three_deviations_wide() -> None:
    rough = [0.20, 0.21, 0.22, 0.23, 0.24, 0.25]
    # with 0.30 besides: median 0.23, deviations .03 .02 .01 0 .01 .02 .07, MAD 0.02 -> 0.089
    assert not out_of_line([*rough, 0.30], 0.30)
    assert out_of_line([*rough, 0.32], 0.32)


def test_of_three_readings_nothing_is_said() -> None:
    assert not out_of_line([0.25, 0.25, 0.1], 0.1)


def probe_of(*told: float) -> ProbeState:
    return ProbeState(theta_m3_m3=told[-1], at_utc_s=1e9, window_m3_m3=list(told[-7:]), mono_s=0.0)


def ask(probe: ProbeState, theta: float, minutes: float, water_h: float | None) -> Flag | None:
    remember(probe, theta)
    since_s = None if water_h is None else 3600.0 * water_h
    return odd(probe, theta, 1e9 + 60.0 * minutes, since_s)


@pytest.mark.parametrize(
    ("theta", "water_h", "flag"),
    [
        pytest.param(0.15, None, Flag.SPIKE, id="fall-never-watered"),
        pytest.param(0.15, 12.0, Flag.SPIKE, id="fall-twelve-hours-after"),
        pytest.param(0.15, 11.9, None, id="fall-that-drains"),
        pytest.param(0.35, None, Flag.SPIKE, id="rise-never-watered"),
        pytest.param(0.35, 24.0, Flag.SPIKE, id="rise-a-day-after"),
        pytest.param(0.35, 23.9, None, id="rise-of-a-dose"),
        pytest.param(0.35, 0.0, None, id="rise-while-it-drinks"),
    ],
)
def test_water_explains_a_rise_for_a_day_and_a_fall_for_half(
    theta: float, water_h: float | None, flag: Flag | None
) -> None:
    assert ask(probe_of(*QUIET), theta, 10.0, water_h) is flag


def test_a_slow_fall_through_a_silence_is_drying() -> None:
    assert ask(probe_of(*QUIET), 0.19, 60.0, None) is Flag.SPIKE
    assert ask(probe_of(*QUIET), 0.19, 180.0, None) is None


@pytest.mark.parametrize(
    ("theta", "flag"), [(0.15, Flag.DROP), (0.35, Flag.JUMP), (0.29, None)], ids=str
)
def test_a_level_that_stands_is_believed_and_named(theta: float, flag: Flag | None) -> None:
    probe = probe_of(*QUIET)
    found = [ask(probe, theta, 10.0 * n, None) for n in range(1, 5)]
    assert found == [Flag.SPIKE, Flag.SPIKE, Flag.SPIKE, flag]


def test_four_that_disagree_are_no_level() -> None:
    probe = probe_of(*QUIET)
    found = [ask(probe, theta, 10.0 * n, None) for n, theta in enumerate((0.1, 0.2, 0.05, 0.15), 1)]
    assert found == [Flag.SPIKE] * 4


def test_fast_readings_wait_for_half_an_hour() -> None:
    probe = probe_of(*QUIET)
    found = [ask(probe, 0.15, float(n), None) for n in range(1, 32)]
    assert found == [Flag.SPIKE] * 30 + [Flag.DROP]


def hours(*told: float | None) -> ProbeState:
    return ProbeState(hours_m3_m3=list(told))


def test_a_rise_in_its_own_hours_is_water_nobody_measured() -> None:
    assert rose(hours(0.2, 0.2, 0.23))
    assert not rose(hours(0.2, 0.2, 0.21))
    assert not rose(hours(0.2, 0.23, *[0.23] * 12))


def test_an_hour_is_kept_by_its_median_and_a_silent_one_as_a_gap() -> None:
    probe = ProbeState(hour_m3_m3=[0.2, 0.21, 0.3])
    assert keep_hour(probe, 1e-4) == 0.21
    probe.hour_m3_m3.clear()
    assert keep_hour(probe, 1e-4) is None
    assert probe.hours_m3_m3 == [0.21, None]
    for _ in range(60):
        keep_hour(probe, 1e-4)
    assert len(probe.hours_m3_m3) == 49


def test_stillness_is_within_one_digit() -> None:
    probe = ProbeState()
    for n, value in enumerate((0.2, 0.2001, 0.2, 0.2001), 1):
        probe.hour_m3_m3 = [value]
        keep_hour(probe, 1e-4)
        assert probe.still_h == n
    probe.hour_m3_m3 = [0.2002]
    keep_hour(probe, 1e-4)
    assert probe.still_h == 1


@pytest.mark.parametrize(
    ("told", "digit"),
    [
        pytest.param({"kind": "theta_m3_m3"}, 1e-4, id="fraction"),
        pytest.param(
            {"kind": "raw", "calibration": [[2900.0, 0.04], [1350.0, 0.42]]},
            0.38 / 1550.0,
            id="count",
        ),
        pytest.param(
            {"kind": "raw", "calibration": [[0.0, 0.1], [100.0, 0.2], [200.0, 0.4]]},
            0.002,
            id="the-coarser-piece",
        ),
    ],
)
def test_one_digit_of_a_probe(told: dict[str, object], digit: float) -> None:
    probe = Probe.model_validate({"depth_cm": 20, **told})
    assert digit_m3_m3(probe) == pytest.approx(digit)


def test_what_wobbles_goes_back_and_forth() -> None:
    assert wobble_m3_m3([0.2, 0.22, 0.24, 0.26]) == pytest.approx(0.0)
    assert wobble_m3_m3([0.2, 0.23, 0.2, 0.23, 0.2]) == pytest.approx(0.03)
    assert wobble_m3_m3([0.2, 0.3]) == 0.0


def test_a_step_needs_two_hours_side_by_side() -> None:
    assert step_m3_m3(hours(0.2, 0.25)) == pytest.approx(0.05)
    assert step_m3_m3(hours(0.2, None, 0.25)) is None
    assert step_m3_m3(hours(0.2)) is None


def test_a_probe_lives_that_moved_in_a_day() -> None:
    assert moved(hours(*[0.2] * 12, *[0.2051] * 12))
    assert not moved(hours(*[0.2] * 12, *[0.2049] * 12))
    assert not moved(hours(0.2, 0.3))


@pytest.mark.parametrize(
    ("value", "fell", "watered", "level_h", "over"),
    [
        pytest.param(0.23, True, False, 0, True, id="old-level"),
        pytest.param(0.18, True, False, 99, False, id="drop-stays-out"),
        pytest.param(0.21, True, True, 3, True, id="drop-answered-to-water"),
        pytest.param(0.34, False, False, 5, False, id="jump-five-hours"),
        pytest.param(0.34, False, False, 6, True, id="jump-six-hours"),
    ],
)
def test_when_a_level_is_over(
    value: float, fell: bool, watered: bool, level_h: int, over: bool
) -> None:
    probe = ProbeState(level_m3_m3=0.25, level_h=level_h, hours_m3_m3=[0.18, value])
    assert level_over(probe, value, fell=fell, watered=watered) is over


@pytest.mark.parametrize(
    ("days_v", "left_days"),
    [
        pytest.param([3.5, 3.45, 3.4, 3.35, 3.3], 6.0, id="falls"),
        pytest.param([3.3, 3.3, 3.3, 3.3, 3.3], None, id="holds"),
        pytest.param([3.2, 3.25, 3.3, 3.35, 3.4], None, id="charges"),
        pytest.param([3.5, 3.4, 3.3, 3.2], None, id="too-few"),
        pytest.param([3.4, 3.3, 3.2, 3.1, 2.9], 0.0, id="there-already"),
    ],
)
def test_a_battery_goes_on_as_its_last_days_did(
    days_v: list[float], left_days: float | None
) -> None:
    found = battery_days_left(days_v, 3.0)
    assert found == (None if left_days is None else pytest.approx(left_days))


@pytest.mark.parametrize(
    ("told", "minutes", "back"),
    [
        ((0.25, 0.31, 0.25), 10.0, True),
        ((0.25, 0.19, 0.25), 10.0, True),
        ((0.25, 0.28, 0.25), 10.0, False),  # no further than noise goes
        ((0.25, 0.31, 0.29), 10.0, False),  # it stays up: water
        ((0.25, 0.31, 0.25), 60.0, False),  # an hour is enough for a front to pass
        ((0.31, 0.25), 10.0, False),
    ],
)
def test_one_reading_up_and_back_is_a_spike_even_in_water(
    told: tuple[float, ...], minutes: float, back: bool
) -> None:
    probe = ProbeState(window_m3_m3=list(told), at_utc_s=1e6)
    assert came_back(probe, 1e6 + 60.0 * minutes) is back


def lived(*hours_of: list[float]) -> ProbeState:
    probe = ProbeState()
    for hour in hours_of:
        probe.hour_m3_m3 = list(hour)
        keep_hour(probe, 1e-4)
    return probe


FLIPS = [0.10, 0.34] * 3
IMPULSES = [0.25, 0.40, 0.25, 0.25, 0.10, 0.25]


def test_three_hours_whose_middle_says_nothing_are_erratic_and_impulses_are_not() -> None:
    assert not erratic(lived(FLIPS, FLIPS))
    assert erratic(lived(FLIPS, FLIPS, FLIPS))
    assert not erratic(lived(*[IMPULSES] * 48))


def test_a_calm_hour_takes_one_wild_one_back() -> None:
    calm = [0.25] * 6
    assert not erratic(lived(FLIPS, FLIPS, calm, FLIPS))
    assert erratic(lived(FLIPS, FLIPS, calm, FLIPS, FLIPS))
    assert not steady_again(lived(FLIPS, FLIPS, FLIPS, *[calm] * 5))
    assert steady_again(lived(FLIPS, FLIPS, FLIPS, *[calm] * 6))


def test_hours_that_go_up_and_down_all_day_are_erratic_and_a_dose_is_not() -> None:
    saw = [[0.34 - 0.02 * (n % 12)] * 6 for n in range(48)]
    assert erratic(lived(*saw))
    dose = [[0.10] * 6] * 12 + [[0.50] * 6] * 2 + [[0.46] * 6] * 12
    assert not erratic(lived(*dose))


def trembling(days: int, by: float, level: float = 0.25) -> ProbeState:
    """Days of hours that tremble, each looked at."""
    lot, probe = random.Random(3), ProbeState()
    for _ in range(days):
        probe.hours_m3_m3 = [level + lot.gauss(0.0, by) for _ in range(24)]
        assert not lost_its_tremor(probe)
    return probe


def test_a_probe_that_trembles_less_than_it_ever_did_repeats_itself() -> None:
    lot = random.Random(4)
    for seen, found in ((TREMOR_DAYS_LEAST, True), (TREMOR_DAYS_LEAST - 1, False)):
        probe = trembling(seen, 0.0018)
        probe.hours_m3_m3 = [0.25 + lot.uniform(-0.0004, 0.0004) for _ in range(24)]
        assert lost_its_tremor(probe) is found


@pytest.mark.parametrize("per_hour", [-0.0005, 0.0005])
def test_one_that_still_goes_somewhere_is_no_dead_one(per_hour: float) -> None:
    probe = trembling(10, 0.0018)
    probe.hours_m3_m3 = [0.25 + per_hour * n for n in range(24)]
    assert not lost_its_tremor(probe)


def test_a_coarse_or_silent_probe_has_no_trembling_to_lose() -> None:
    probe = trembling(10, 0.0)
    probe.hours_m3_m3 = [0.25] * 24
    assert not lost_its_tremor(probe)
    assert tremor_m3_m3([0.25, None] * 12) is None


def test_a_fall_of_a_day_needs_both_its_ends() -> None:
    assert fell_in_a_day_m3_m3(hours(0.30, *[0.27] * 23, 0.22)) == pytest.approx(0.08)
    assert fell_in_a_day_m3_m3(hours(None, *[0.27] * 23, 0.22)) == 0.0
    assert fell_in_a_day_m3_m3(hours(0.30, 0.22)) == 0.0
