"""What a probe's hours tell live: rises without water, water that stands, drops seen late."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.engine import Engine
from controller.sensing.flags import FLAGS, Flag, Trust
from controller.sensing.hourly_live import (
    bridged,
    left_the_top,
    rise_without_water,
    stands_in_water,
)
from tests.probe_hands import DAY_S, HOUR_S, A, B, Hands, Told, drying, flat, garden, until

DAYS_H = 24.0
FLAT = [0.25] * 24


def rising(from_s: float, per_hour: float, most: float, value: float = 0.25) -> Told:
    """Flat, then up by so much an hour until it has risen by `most`."""
    return lambda now_s: value + min(most, max(0.0, now_s - from_s) / HOUR_S * per_hour)


def lived(hours: float = 30.0, **more: float) -> Hands:
    hands = Hands(garden(**more), south_20=flat(0.25), south_40=flat(0.25))
    hands.live(hours)
    return hands


# ------------------------------------------------------------------------- pure rules


@pytest.mark.parametrize(
    ("last", "water_mm", "asked"),
    [
        pytest.param([0.27], 0.0, True, id="a-step"),
        pytest.param([0.264], 0.0, False, id="a-small-step"),
        pytest.param([0.258, 0.266], 0.0, True, id="in-two-hours"),
        pytest.param([0.255, 0.26, 0.265, 0.269], 0.0, False, id="slowly-and-little"),
        pytest.param([0.256, 0.262, 0.267, 0.272], 0.0, True, id="slowly-and-more"),
        pytest.param([0.27, 0.27], 0.0, False, id="over"),
        pytest.param([None, None, 0.27], 0.0, True, id="after-hours-that-were-refused"),
        pytest.param([0.27], 0.39, True, id="too-little-water"),  # a tenth of 0.02 x 200 mm
        pytest.param([0.27], 0.41, False, id="enough-water"),
        pytest.param([None], 0.0, False, id="no-value"),
    ],
)
def test_when_a_rise_is_asked_about(last: list[float | None], water_mm: float, asked: bool) -> None:
    assert rise_without_water([*FLAT, *last], water_mm, 0.2) is asked


def test_a_slow_leak_shows_within_a_day() -> None:
    window: list[float | None] = [0.25 + 0.0014 * hour for hour in range(25)]
    assert rise_without_water(window, 0.0, 0.4)
    assert not rise_without_water([0.25 + 0.001 * hour for hour in range(25)], 0.0, 0.4)


@pytest.mark.parametrize(
    ("last", "asked"),
    [
        pytest.param([0.2652], True, id="a-step-and-more"),
        pytest.param([0.2648], False, id="a-step-and-less"),
        pytest.param([0.255, 0.26, 0.265, 0.2702], True, id="six-hours-and-more"),
        pytest.param([0.255, 0.26, 0.265, 0.2698], False, id="six-hours-and-less"),
        pytest.param([0.254, 0.258, 0.262, 0.265, 0.268, 0.2705], True, id="lowest-six-hours-ago"),
        pytest.param(
            [0.253, 0.256, 0.259, 0.262, 0.265, 0.268, 0.2705], False, id="lowest-seven-hours-ago"
        ),
    ],
)
def test_the_edges_of_a_rise(last: list[float], asked: bool) -> None:
    assert rise_without_water([*FLAT, *last], 0.0, 0.2) is asked


def test_a_rise_of_a_day_may_come_from_the_water_of_the_day_before() -> None:
    slow = [0.25 + 0.0014 * hour for hour in range(25)]
    assert rise_without_water(slow, 0.1, 0.4, day_before_mm=1.0)
    assert not rise_without_water(slow, 0.1, 0.4, day_before_mm=1.5)
    step = [*FLAT, 0.28]
    assert rise_without_water(step, 0.1, 0.4, day_before_mm=1.5)


@pytest.mark.parametrize(("gain", "asked"), [(0.0303, True), (0.0297, False)])
def test_the_edges_of_a_slow_leak(gain: float, asked: bool) -> None:
    window: list[float | None] = [0.25 + gain / 24.0 * hour for hour in range(25)]
    assert rise_without_water(window, 0.0, 0.2) is asked


def test_the_water_that_is_enough_grows_with_depth_and_rise() -> None:
    window = [*FLAT, 0.35]
    for depth_m, enough_mm in ((0.01, 0.2), (0.1, 1.0), (0.4, 4.0)):
        assert rise_without_water(window, 0.99 * enough_mm, depth_m)
        assert not rise_without_water(window, 1.01 * enough_mm, depth_m)


@pytest.mark.parametrize(
    ("values", "filled"),
    [
        ([], []),
        ([None, 0.2], [0.2, 0.2]),
        ([0.1, None, None, 0.2], [0.1, 0.2, 0.2, 0.2]),
        ([0.1, None], [0.1, None]),
        ([0.1, *[None] * 4, 0.2], [0.1, *[0.2] * 5]),
        ([0.1, *[None] * 5, 0.2], [0.1, *[None] * 5, 0.2]),
    ],
)
def test_short_gaps_are_bridged_with_what_came_after(
    values: list[float | None], filled: list[float | None]
) -> None:
    assert bridged(values) == filled


def top(flat_h: int, level: float = 0.42, rise: float = 0.02) -> list[float | None]:
    return [*[level - 2 * rise] * 10, level - rise, *[level] * flat_h]


@pytest.mark.parametrize(
    ("window", "highest", "least", "stands"),
    [
        pytest.param(top(12), 0.42, 0.36, True, id="twelve-hours"),
        pytest.param(top(11), 0.42, 0.36, False, id="eleven-hours"),
        pytest.param(top(30), 0.42, 0.36, True, id="thirty-hours"),
        pytest.param(top(12), 0.45, 0.36, False, id="not-the-highest"),
        pytest.param(top(12), 0.42, 0.43, False, id="no-water-stands-so-low"),
        pytest.param(top(12, rise=0.002), 0.42, 0.36, False, id="it-came-slowly"),
        pytest.param([*top(0), None, None, *[0.42] * 12], 0.42, 0.36, True, id="after-a-gap"),
        pytest.param([0.42] * 40, 0.42, 0.36, False, id="it-was-always-there"),
    ],
)
def test_when_a_probe_stands_in_water(
    window: list[float | None], highest: float, least: float, stands: bool
) -> None:
    assert stands_in_water(window, highest, least) is stands


@pytest.mark.parametrize(
    ("last", "over"),
    [([0.42], False), ([0.418], False), ([0.417], True), ([None], False), ([None, 0.41], True)],
)
def test_a_plateau_ends_with_a_fall(last: list[float | None], over: bool) -> None:
    assert left_the_top([*top(12), *last], 0.42, 0.36) is over


@pytest.mark.parametrize("hours", range(1, 30))
def test_a_slow_rise_is_judged_from_the_first_day_on(hours: int) -> None:
    window = [0.2 + 0.007 * hour for hour in range(hours)]
    assert rise_without_water(window, 0.0, 0.2) is (hours >= 25)


@given(st.lists(st.one_of(st.none(), st.floats(0.0, 0.6)), min_size=1, max_size=60))
def test_the_live_rules_take_any_hours(values: list[float | None]) -> None:
    assert rise_without_water(values, 1e9, 0.2) is False
    assert stands_in_water(values, 1.0, 0.0) is False  # nothing was near the highest
    assert left_the_top(values, 1.0, 0.0) is (values[-1] is not None)


# ------------------------------------------------------------------------- in the engine


def test_a_rise_without_water_is_asked_about_and_never_locks() -> None:
    hands = lived()
    hands.probes[A] = rising(hands.now_s, 0.02, 0.05)
    hands.live(4.0)
    assert hands.stands(Flag.RISE_UNEXPLAINED)
    assert "Did somebody water?" in hands.alert()
    assert hands.probe().trust == Trust.DOUBTFUL
    alert = hands.engine.state.alerts[f"probe_suspect-south-{A}"]
    assert not alert.person_needed
    assert hands.engine.state.lock_why is None
    hands.probes[A] = hands.probes[B] = drying(0.2, 0.02)  # the bed still gets its water
    hands.live(4 * DAYS_H)
    assert hands.doses() > 0


def test_it_is_over_after_a_day_without_another_rise() -> None:
    hands = lived()
    hands.probes[A] = rising(hands.now_s, 0.05, 0.05)
    hands.live(2.0)
    assert hands.stands(Flag.RISE_UNEXPLAINED)
    hands.live(22.0)  # the last hour that rose is 23 hours ago
    assert hands.stands(Flag.RISE_UNEXPLAINED)
    hands.live(2.0)
    assert not hands.stands(Flag.RISE_UNEXPLAINED)
    assert not hands.alert()


@pytest.mark.parametrize(("ago_h", "asked"), [(23.0, False), (25.0, True)])
def test_rain_explains_for_24_hours(ago_h: float, asked: bool) -> None:
    hands = lived()
    hands.engine.state.lock_why = "no other water"
    hands.rain_mm += 8.0
    hands.live(ago_h)
    hands.probes[A] = flat(0.268)
    hands.live(1.0)
    assert hands.stands(Flag.RISE_UNEXPLAINED) is asked


@pytest.mark.parametrize(("share", "stands"), [(0.51, True), (0.49, False)])
def test_water_stands_from_half_of_the_pores_that_drain(share: float, stands: bool) -> None:
    hands = lived()
    soil = hands.engine.run.soils["south"]
    full = soil.told_field_capacity_m3_m3
    hands.rain_mm += 30.0
    hands.probes[A] = flat(full + share * (soil.saturation_m3_m3 - full))
    hands.live(14.0)
    assert hands.stands(Flag.SATURATED_PLATEAU) is stands


@pytest.mark.parametrize("when", ["before", "long before", "too little"])
def test_rain_explains_a_rise_for_a_day(when: str) -> None:
    hands = lived()
    hands.rain_mm += 0.5 if when == "too little" else 8.0
    hands.live(26.0 if when == "long before" else 5.0)
    hands.probes[A] = rising(hands.now_s, 0.02, 0.05)
    hands.live(4.0)
    assert hands.stands(Flag.RISE_UNEXPLAINED) is (when != "before")


def test_a_dose_explains_a_rise() -> None:
    hands = Hands(south_20=flat(0.2), south_40=flat(0.2))
    hands.live(3.0)
    assert hands.doses() > 0
    hands.probes[A] = rising(hands.now_s, 0.02, 0.06, 0.2)
    hands.live(10.0)
    assert not hands.stands(Flag.RISE_UNEXPLAINED)
    assert not hands.stands(Flag.JUMP)


def test_where_nobody_measures_rain_a_rise_may_be_rain() -> None:
    hands = lived(mast=False)
    hands.probes[A] = rising(hands.now_s, 0.02, 0.05)
    hands.live(6.0)
    assert not hands.stands(Flag.RISE_UNEXPLAINED)


def test_a_jump_is_not_named_twice() -> None:
    hands = lived()
    hands.probes[A] = flat(0.34)
    hands.live(3.0)
    assert hands.stands(Flag.JUMP)
    assert not hands.stands(Flag.RISE_UNEXPLAINED)


def test_a_probe_that_stands_in_water_is_doubtful_until_the_water_falls() -> None:
    hands = lived()
    hands.rain_mm += 30.0
    hands.probes[A] = rising(hands.now_s, 0.03, 0.18)
    hands.live(17.0)
    assert not hands.stands(Flag.SATURATED_PLATEAU)
    hands.live(4.0)
    assert hands.stands(Flag.SATURATED_PLATEAU)
    assert "stands in water" in hands.alert()
    since_s = hands.now_s
    hands.probes[A] = drying(0.43 + 0.2 * since_s / DAY_S, 0.2)
    hands.live(4.0)
    assert not hands.stands(Flag.SATURATED_PLATEAU)


def test_half_full_pores_are_no_standing_water() -> None:
    hands = lived()
    hands.rain_mm += 30.0
    hands.probes[A] = rising(hands.now_s, 0.03, 0.06)
    hands.live(30.0)
    assert not hands.stands(Flag.SATURATED_PLATEAU)


@pytest.mark.parametrize(
    ("after", "asked"),
    [
        pytest.param(flat(0.12), True, id="and-stands-there"),
        pytest.param(drying(0.14, 0.02), False, id="and-dries-on"),
        pytest.param(lambda now_s: 0.12 + 0.004 * (now_s // HOUR_S % 2), False, id="and-lives"),
    ],
)
def test_a_fall_after_rain_is_drainage_unless_the_probe_stands_still_below(
    after: Told, asked: bool
) -> None:
    hands = lived()
    hands.engine.state.lock_why = "no other water"
    hands.rain_mm += 8.0
    hands.live(3.0)
    hands.probes[A] = after
    hands.live(11.0)
    assert not hands.stands(Flag.DROP)
    hands.live(4.0)
    assert hands.stands(Flag.DROP) is asked
    if asked:
        assert hands.probe().level_m3_m3 == pytest.approx(0.25)


def test_the_way_back_from_a_peak_leaves_no_level() -> None:
    hands = lived()
    hands.engine.state.lock_why = "no other water"
    hands.rain_mm += 8.0
    hands.live(3.0)
    hands.probes[A] = until(hands.now_s + 4 * HOUR_S, flat(0.40), flat(0.26))
    hands.live(30.0)
    assert not hands.probe().counts.get(Flag.DROP)


def test_what_is_remembered_survives_a_dump() -> None:
    hands = lived()
    hands.probes[A] = rising(hands.now_s, 0.05, 0.05)
    hands.live(3.0)
    before, bed = hands.probe(), hands.engine.state.beds["south"]
    again = Engine.load(hands.engine.dump())
    after = again.state.probes[A]
    assert (after.highest_m3_m3, after.rise_h) == (before.highest_m3_m3, before.rise_h)
    assert after.highest_m3_m3 == pytest.approx(0.30)
    assert after.rise_h > 0
    assert again.state.beds["south"].water_hours_mm == bed.water_hours_mm
    assert len(bed.water_hours_mm) == 33


def test_both_series_flags_are_told_in_the_table() -> None:
    assert FLAGS[Flag.RISE_UNEXPLAINED].trust == Trust.DOUBTFUL
    assert not FLAGS[Flag.RISE_UNEXPLAINED].by_person
    assert FLAGS[Flag.SATURATED_PLATEAU].trust == Trust.DOUBTFUL
