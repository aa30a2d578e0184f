"""A day's degree-days: from hours of that very day, and of enough of them, else assumed."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import TypeAdapter

from controller.events import WeatherReading
from controller.sensing.climate import WHOLE_DAY_H
from controller.sensing.sky import (
    ASSUMED_DEGREE_DAYS_D,
    HOURS_KEPT,
    day_degree_days,
    day_range_c,
    hear,
    whole_day_c,
)
from controller.state import SkyState
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

HOUR_S = 3600.0
DAY_H = 24
WEEKS_H = 21 * DAY_H
WARM = 11.0  # [°C d] of 14 to 28 °C


def tell(sky: SkyState, hour: float, temp_c: float | None = None, **told: Any) -> None:
    at_s = hour * HOUR_S
    hear(sky, WeatherReading(at_utc_s=at_s, mono_s=at_s, mast="m", temp_c=temp_c, **told))


def day_of_hours(sky: SkyState, first: int, hours: int = DAY_H) -> None:
    """So many hours whose first is the coldest and whose last but one is the warmest."""
    for n in range(hours):
        tell(sky, first + n, 14.0 if n == 0 else 28.0 if n == hours - 2 else 20.0)


def test_a_whole_day_counts_by_its_ends() -> None:
    sky = SkyState()
    day_of_hours(sky, 0)
    assert day_degree_days(sky, DAY_H * HOUR_S) == WARM
    day_of_hours(sky, DAY_H)
    assert (len(sky.temps), sky.temps[0].hour) == (HOURS_KEPT, DAY_H)


def test_hours_of_weeks_ago_are_no_part_of_a_day() -> None:
    """The mast is back for an hour of a hot day: the cool one before its silence does not count."""
    sky = SkyState()
    for hour in range(2 * DAY_H):
        tell(sky, hour, 6.0 if hour % DAY_H == 5 else 15.0)
    back = 2 * DAY_H + WEEKS_H
    for hour in (back, back + 1):
        tell(sky, hour, 26.0)
    now_s = (back + 1.5) * HOUR_S
    assert day_range_c(sky) == (26.0, 26.0)
    assert whole_day_c(sky, now_s) is None
    assert day_degree_days(sky, now_s) == ASSUMED_DEGREE_DAYS_D


def test_a_thermometer_that_died_weeks_ago_is_no_day_while_the_mast_speaks_on() -> None:
    sky = SkyState()
    day_of_hours(sky, 0)
    for hour in range(DAY_H, 3 * DAY_H):
        tell(sky, hour, None, rh_pct=60.0)
    assert sky.temps == []
    assert day_degree_days(sky, 3 * DAY_H * HOUR_S) == ASSUMED_DEGREE_DAYS_D


@pytest.mark.parametrize(
    ("hours", "told"),
    [(1, False), (WHOLE_DAY_H - 1, False), (WHOLE_DAY_H, True), (DAY_H, True)],
)
def test_a_day_is_counted_from_eighteen_told_hours_on(hours: int, told: bool) -> None:
    sky = SkyState()
    day_of_hours(sky, DAY_H - hours, hours)
    found = day_degree_days(sky, DAY_H * HOUR_S)
    assert (found != ASSUMED_DEGREE_DAYS_D) is told


def test_six_silent_hours_leave_a_day_and_seven_do_not() -> None:
    for silent, told in ((6, True), (7, False)):
        sky = SkyState()
        for hour in range(2 * DAY_H):
            if not 30 <= hour < 30 + silent:
                tell(sky, hour, 14.0 if hour == 26 else 28.0 if hour == 40 else 20.0)
        found = day_degree_days(sky, 2 * DAY_H * HOUR_S)
        assert found == (WARM if told else ASSUMED_DEGREE_DAYS_D)


def test_a_clock_put_back_leaves_no_hours_of_a_time_to_come() -> None:
    sky = SkyState()
    day_of_hours(sky, WEEKS_H)
    tell(sky, 3, 20.0)
    assert [one.hour for one in sky.temps] == [3]


def test_an_older_state_with_stale_hours_is_read_and_put_right_by_the_next_word() -> None:
    """As the engine kept it before: 22 hours of May and two of June."""
    hours = [*range(22), WEEKS_H, WEEKS_H + 1]
    told = {
        "mono_s": (WEEKS_H + 1) * HOUR_S,
        "at_utc_s": (WEEKS_H + 1) * HOUR_S,
        "temps": [{"hour": hour, "tmin_c": 6.0, "tmax_c": 15.0} for hour in hours],
    }
    sky = TypeAdapter(SkyState).validate_python(told)
    tell(sky, WEEKS_H + 2, 26.0)
    assert [one.hour for one in sky.temps] == [WEEKS_H, WEEKS_H + 1, WEEKS_H + 2]


def test_a_bed_whose_mast_begins_an_hour_before_midnight_gains_an_assumed_day() -> None:
    """Through the engine: an hour at 14 °C would have been a day of 4 °C d."""
    bench = Bench(small_garden())
    water = bench.engine.state.water["south"]
    before, day = water.degree_days, bench.engine.state.day
    for _ in range(9):
        bench.step(WeatherReading(**bench.times(), mast="m", temp_c=14.0))
        bench.live(600.0, tick_s=300.0)
    assert bench.engine.state.day == day + 1
    assert water.degree_days - before == ASSUMED_DEGREE_DAYS_D
