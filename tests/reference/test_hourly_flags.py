"""The hourly rules against a published rule set's own flags, and rule by rule.

The case `ismn-flags`: five synthetic series (25 per cent less 0.02 an hour, 72 hours), flagged by
the open flag library of the International Soil Moisture Network, v0.3, after Dorigo et al. 2013;
its flags are typed in, and met exactly. Where a series speaks of no rain, zero rain was fed, and
the probe's top is 5 cm down; the other series carry no water, so that no rise is asked about.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.sensing.hourly_flags import (
    WINDOW_H,
    HourFlag,
    Series,
    Where,
    all_flags,
    latest,
    least_water_mm,
)

C01, C02, C03 = HourFlag.C01, HourFlag.C02, HourFlag.C03
D01, D02, D04, D06 = HourFlag.D01, HourFlag.D02, HourFlag.D04, HourFlag.D06
D07, D08, D09, D10 = HourFlag.D07, HourFlag.D08, HourFlag.D09, HourFlag.D10
HOURS = 72
TOP = Where(depth_m=0.05)
Flags = dict[int, tuple[HourFlag, ...]]


def series(change_pct: Callable[[int], float], hours: int = HOURS) -> list[float]:
    """The base with a change, told in per cent; returned in m3/m3."""
    return [(25.0 - 0.02 * i + change_pct(i)) / 100.0 for i in range(hours)]


def drip_pct(hour: int) -> float:
    return 8.0 * (1.0 - math.exp(-(hour - 40) / 2.0)) if hour >= 40 else 0.0


def off_scale_pct(hour: int) -> float:
    told = {10: -0.5, 20: 65.0}
    return told[hour] - (25.0 - 0.02 * hour) if hour in told else 0.0


DRY = [0.0] * HOURS
CASE = [
    pytest.param(
        series(lambda i: 6.0 if i == 40 else 0.0), None, {40: (D06,)}, id="ismn-flags-spike"
    ),
    pytest.param(
        series(lambda i: -8.0 if i >= 40 else 0.0), None, {40: (D07,)}, id="ismn-flags-drop"
    ),
    pytest.param(
        series(lambda i: 8.0 if i >= 40 else 0.0),
        DRY,
        {40: (D04, D08)},
        id="ismn-flags-jump-without-rain",
    ),
    pytest.param(
        series(off_scale_pct), None, {10: (C01,), 20: (C02,)}, id="ismn-flags-out-of-range"
    ),
    pytest.param(
        series(drip_pct),
        DRY,
        dict.fromkeys(range(41, 52), (D04,)),
        id="ismn-flags-drip-event-without-rain",
    ),
]


def flags_online(values: Series, water_mm: list[float] | None, where: Where = TOP) -> Flags:
    """The flags of a series that is told hour by hour, 49 hours kept."""
    found: dict[int, list[HourFlag]] = {}
    highest = 0.0
    for end in range(1, len(values) + 1):
        window = values[max(0, end - WINDOW_H) : end]
        now = values[end - 1]
        highest = highest if now is None else max(highest, now)
        place = Where(
            depth_m=where.depth_m,
            saturation_m3_m3=where.saturation_m3_m3,
            highest_m3_m3=highest,
        )
        water = None if water_mm is None else water_mm[end - 1]
        for one in latest(window, water, place):
            found.setdefault(end - 1 - one.ago_h, []).append(one.flag)
    return {hour: tuple(sorted(flags)) for hour, flags in sorted(found.items())}


@pytest.mark.parametrize(("values", "water_mm", "flags"), CASE)
def test_every_flag_of_the_synthetic_series_and_no_other(
    values: list[float], water_mm: list[float] | None, flags: Flags
) -> None:
    """Tolerance: none. At once over the series, and hour by hour with the last 49 hours."""
    assert all_flags(values, water_mm, TOP) == flags
    assert flags_online(values, water_mm) == flags


def test_a_drip_event_is_no_fault_once_its_irrigation_is_fed() -> None:
    """8 mm over the strip at hour 40; the same rise, the same hours, and no `D04`."""
    water_mm = [8.0 if hour >= 40 else 0.0 for hour in range(HOURS)]
    assert all_flags(series(drip_pct), water_mm, TOP) == {}
    assert flags_online(series(drip_pct), water_mm) == {}
    short = [0.99 * least_water_mm(0.05) if mm else 0.0 for mm in water_mm]
    assert all_flags(series(drip_pct), short, TOP) == all_flags(series(drip_pct), DRY, TOP)


@pytest.mark.parametrize(
    ("depth_m", "least_mm"), [(0.0, 0.2), (0.005, 0.2), (0.05, 1.25), (0.09, 2.25), (0.2, 5.0)]
)
def test_the_least_water_grows_with_depth(depth_m: float, least_mm: float) -> None:
    """Half of 5 per cent over the depth, a gauge's 0.2 mm at least."""
    assert least_water_mm(depth_m) == pytest.approx(least_mm, abs=1e-12)


def test_a_rise_is_asked_of_the_uppermost_ten_centimetres_alone() -> None:
    jump = series(lambda i: 8.0 if i >= 40 else 0.0)
    assert all_flags(jump, DRY, Where(depth_m=0.0999))[40] == (D04, D08)
    assert all_flags(jump, DRY, Where(depth_m=0.10))[40] == (D08,)


def test_frost_and_saturation_are_said_of_their_hours() -> None:
    values = series(lambda i: 25.0 if i == 5 else 0.0, 10)
    wet = Where(depth_m=0.05, saturation_m3_m3=0.46)
    soil_c: list[float | None] = [0.0, -0.1, None, *[5.0] * 7]
    air_c: list[float | None] = [*[3.0] * 8, -0.01, 0.0]
    assert all_flags(values, None, wet, soil_temp_c=soil_c, air_temp_c=air_c) == {
        1: (D01,),
        5: (C03,),
        8: (D02,),
    }
    assert [one.flag for one in latest([0.47], None, wet, soil_temp_c=-1.0, air_temp_c=-1.0)] == [
        C03,
        D01,
        D02,
    ]


@pytest.mark.parametrize(
    ("change_pct", "flags"),
    [
        pytest.param(
            lambda i: 6.0 if i in (40, 41) else 0.0, {42: (D07,)}, id="two-hours-that-dry-on"
        ),
        pytest.param(lambda i: 3.6 if i == 40 else 0.0, {}, id="a-seventh-and-less"),
        pytest.param(lambda i: 3.8 if i == 40 else 0.0, {40: (D06,)}, id="a-seventh-and-more"),
        pytest.param(lambda i: -3.8 if i == 40 else 0.0, {40: (D06,)}, id="downward"),
        pytest.param(
            lambda i: {40: 6.0, 41: 2.0}.get(i, 0.0), {}, id="back-in-two-steps-is-no-spike"
        ),
        pytest.param(
            lambda i: (6.0 if i == 40 else 0.0) + (16.0 * (i % 2) if i > 44 else 0.0),
            {},
            id="among-unrest",
        ),
    ],
)
def test_what_is_a_spike(change_pct: Callable[[int], float], flags: Flags) -> None:
    found = all_flags(series(change_pct, 56), None, TOP)
    assert {hour: one for hour, one in found.items() if hour < 44} == flags


def test_two_equal_values_out_of_line_are_both_spikes() -> None:
    values = series(lambda _: 0.0)
    values[40] = values[41] = 0.31
    assert all_flags(values, None, TOP) == {40: (D06,), 41: (D06,)}
    assert flags_online(values, None) == {40: (D06,), 41: (D06,)}


@pytest.mark.parametrize(
    ("change_pct", "flags"),
    [
        pytest.param(lambda i: 2.5 if i >= 40 else 0.0, {40: (D08,)}, id="more-than-a-tenth"),
        pytest.param(lambda i: 2.4 if i >= 40 else 0.0, {}, id="less-than-a-tenth"),
        pytest.param(lambda i: 5.0 * max(0, i - 39), {}, id="a-steady-climb"),
        pytest.param(
            lambda i: {39: 0.0, 40: 5.0, 41: 7.0}.get(i, 8.0 if i > 41 else 0.0),
            {},
            id="a-rise-that-slows",
        ),
    ],
)
def test_what_is_a_jump(change_pct: Callable[[int], float], flags: Flags) -> None:
    found = all_flags(series(change_pct), None, TOP)
    assert {hour: one for hour, one in found.items() if D08 in one} == flags


def test_a_tenth_of_nearly_nothing_is_no_jump() -> None:
    values = [0.05 + (0.009 if i >= 40 else 0.0) for i in range(HOURS)]
    assert all_flags(values, None, TOP) == {}


def test_a_fall_to_nothing_is_a_drop_by_itself() -> None:
    values = series(lambda _: 0.0)
    values[40:] = [0.0 if i % 7 == 0 else 0.2 for i in range(HOURS - 40)]
    assert all_flags(values, None, TOP)[40] == (D07,)


@pytest.mark.parametrize(
    ("still_h", "dries_pct_h", "low"),
    [
        pytest.param(13, 0.0, range(40, 53), id="thirteen-hours"),
        pytest.param(12, 0.0, range(0), id="twelve-hours"),
        pytest.param(20, 0.0, range(40, 60), id="twenty-hours"),
        pytest.param(20, 0.02, range(0), id="it-dries-on"),
    ],
)
def test_what_is_stuck_low(still_h: int, dries_pct_h: float, low: range) -> None:
    """It stands at 17 per cent from hour 40 on, then it is gone."""
    values: list[float | None] = list(series(lambda _: 0.0))
    for hour in range(40, HOURS):
        told = 0.17 - dries_pct_h / 100.0 * (hour - 40)
        values[hour] = told if hour < 40 + still_h else None
    found = all_flags(values, None, TOP)
    assert sorted(hour for hour, one in found.items() if D09 in one) == list(low)
    online = flags_online(values, None)
    assert sorted(hour for hour, one in online.items() if D09 in one) == list(low)[12:]


def plateau(flat_h: int, *, rise: float = 0.01, fall: float = 0.01, level: float = 0.45) -> list:
    """Up to a level in steps, flat there, and down again."""
    up = [level - rise * step for step in (3, 2, 1)]
    down = [level - fall * step for step in (1, 2, 3)]
    return [*[up[0]] * 20, *up, *[level] * flat_h, *down, *[down[-1]] * 20]


@pytest.mark.parametrize(
    ("values", "flags"),
    [
        pytest.param(plateau(12), 12, id="twelve-hours"),
        pytest.param(plateau(11), 0, id="eleven-hours"),
        pytest.param(plateau(30), 30, id="thirty-hours"),
        pytest.param(plateau(30, rise=0.0024), 0, id="it-came-slowly"),
        pytest.param(plateau(30, fall=0.0024), 0, id="it-left-slowly"),
        pytest.param([0.48, *plateau(30)], 0, id="it-told-more-before"),
        pytest.param([0.47, *plateau(30)], 30, id="it-told-a-little-more-before"),
    ],
)
def test_what_is_a_saturated_plateau(values: list[float], flags: int) -> None:
    found = [hour for hour, one in all_flags(values, None, TOP).items() if D10 in one]
    assert len(found) >= flags if flags else not found
    assert len(found) <= flags + 2  # the hours beside it may be within its variance
    online = [one for one in flags_online(values, None).values() if D10 in one]
    assert len(online) == (1 if flags else 0)  # raised once, when the fall has come


@given(
    st.lists(
        st.one_of(st.none(), st.integers(0, 60).map(lambda pct: pct / 100.0)),
        min_size=1,
        max_size=90,
    ),
    st.floats(0.0, 3.0),
)
def test_told_hour_by_hour_it_finds_what_the_whole_series_shows(
    values: list[float | None], water_mm: float
) -> None:
    """Point flags; a low stretch and a plateau are told when they are known."""
    point = {C01, C02, D04, D06, D07, D08}
    water = [water_mm] * len(values)

    def points(found: Flags) -> dict[int, set[HourFlag]]:
        return {hour: own for hour, flags in found.items() if (own := set(flags) & point)}

    assert points(all_flags(values, water, TOP)) == points(flags_online(values, water))


def test_a_gap_is_neither_judged_nor_in_the_way() -> None:
    values: list[float | None] = list(series(lambda i: 6.0 if i == 40 else 0.0))
    values[30] = values[50] = None
    assert all_flags(values, None, TOP) == {40: (D06,)}
    values[41] = None
    assert all_flags(values, None, TOP) == {}
    assert all_flags([None] * HOURS, DRY, TOP) == {}
