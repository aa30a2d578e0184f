"""The hours in UTC: sun and clock, both clock changes, the gap, the fold and the polar places.

Clock changes of 2026: United States 8 March and 1 November at 02:00 local, European Union 29 March
and 25 October at 01:00 UTC (from memory of the two rules; zoneinfo agrees or these tests fail).
"""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.bed_views import window_now
from controller.run import Run
from controller.state import EngineState
from controller.watering.hours import (
    Place,
    Window,
    local_date,
    local_day_at,
    local_to_utc_s,
    window_at,
)
from tests.engine_garden import small_garden

SEATTLE = Place(latitude_deg=47.6, longitude_deg=-122.3, timezone="America/Los_Angeles")
BERLIN = Place(latitude_deg=52.5, longitude_deg=13.4, timezone="Europe/Berlin")
SVALBARD = Place(latitude_deg=78.2, longitude_deg=15.6, timezone="Arctic/Longyearbyen")
HOUR_S = 3600.0


def utc(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def words_of(window: Window) -> tuple[str, str]:
    return tuple(
        datetime.fromtimestamp(at_s, UTC).strftime("%m-%d %H:%M")
        for at_s in (window.from_utc_s, window.to_utc_s)
    )  # type: ignore[return-value]


@pytest.mark.hazard("T3")
@pytest.mark.parametrize(
    ("place", "day", "clock", "expected"),
    [
        pytest.param(SEATTLE, "2026-07-01", "22:00", "2026-07-02 05:00", id="summer"),
        pytest.param(SEATTLE, "2026-01-01", "22:00", "2026-01-02 06:00", id="winter"),
        pytest.param(SEATTLE, "2026-03-08", "02:30", "2026-03-08 10:00", id="gap-us"),
        pytest.param(SEATTLE, "2026-03-08", "02:00", "2026-03-08 10:00", id="gap-begins-us"),
        pytest.param(SEATTLE, "2026-03-08", "03:00", "2026-03-08 10:00", id="gap-ends-us"),
        pytest.param(SEATTLE, "2026-03-08", "01:59", "2026-03-08 09:59", id="before-gap-us"),
        pytest.param(SEATTLE, "2026-11-01", "01:30", "2026-11-01 08:30", id="fold-us"),
        pytest.param(BERLIN, "2026-03-29", "02:30", "2026-03-29 01:00", id="gap-eu"),
        pytest.param(BERLIN, "2026-10-25", "02:30", "2026-10-25 00:30", id="fold-eu"),
    ],
)
def test_a_local_clock_time_is_one_instant(
    place: Place, day: str, clock: str, expected: str
) -> None:
    zone = ZoneInfo(place.timezone)
    found = local_to_utc_s(date.fromisoformat(day), time.fromisoformat(clock), zone)
    assert found == utc(expected)


@pytest.mark.hazard("T3")
@pytest.mark.parametrize(
    ("place", "hours", "at", "expected"),
    [
        pytest.param(SEATTLE, "22:00-05:00", "2026-03-08 08:00", ("03-08 06:00", "03-08 12:00"),
                     id="short-night-us"),
        pytest.param(SEATTLE, "22:00-05:00", "2026-11-01 08:00", ("11-01 05:00", "11-01 13:00"),
                     id="long-night-us"),
        pytest.param(BERLIN, "22:00-05:00", "2026-03-29 00:00", ("03-28 21:00", "03-29 03:00"),
                     id="short-night-eu"),
        pytest.param(BERLIN, "22:00-05:00", "2026-10-25 00:00", ("10-24 20:00", "10-25 04:00"),
                     id="long-night-eu"),
        # 02:30 does not exist: it begins at 03:00 and keeps its hour
        pytest.param(SEATTLE, "02:30-03:30", "2026-03-08 10:00", ("03-08 10:00", "03-08 11:00"),
                     id="start-in-the-gap-us"),
        pytest.param(BERLIN, "02:30-03:30", "2026-03-29 01:00", ("03-29 01:00", "03-29 02:00"),
                     id="start-in-the-gap-eu"),
        # 01:30 comes twice: the first; 02:30 comes once, two hours later
        pytest.param(SEATTLE, "01:30-02:30", "2026-11-01 08:45", ("11-01 08:30", "11-01 10:30"),
                     id="start-in-the-fold-us"),
        pytest.param(BERLIN, "02:30-03:30", "2026-10-25 00:45", ("10-25 00:30", "10-25 02:30"),
                     id="start-in-the-fold-eu"),
    ],
)  # fmt: skip
def test_a_window_over_a_clock_change(
    place: Place, hours: str, at: str, expected: tuple[str, str]
) -> None:
    assert words_of(window_at(hours, place, utc(at))) == expected


@pytest.mark.hazard("T3")
@pytest.mark.parametrize("place", [SEATTLE, BERLIN], ids=["us", "eu"])
@pytest.mark.parametrize("hours", ["22:00-05:00", "02:30-03:30", "01:30-04:00", "22:00-sunrise"])
def test_each_night_of_a_year_has_its_one_window(place: Place, hours: str) -> None:
    begins = []
    at_s, end_s = utc("2026-01-01 12:00"), utc("2027-01-01 12:00")
    while at_s < end_s:
        window = window_at(hours, place, at_s)
        begins.append(window.from_utc_s)
        assert 0.0 < window.to_utc_s - window.from_utc_s < 14 * HOUR_S
        at_s = window.to_utc_s
    assert len(begins) in {365, 366}
    gaps = [b - a for a, b in itertools.pairwise(begins)]
    assert all(22.9 * HOUR_S < gap < 25.1 * HOUR_S for gap in gaps)


@pytest.mark.parametrize(
    ("place", "day", "hours_long"),
    [
        pytest.param(SEATTLE, "2026-03-08", 23, id="spring-us"),
        pytest.param(SEATTLE, "2026-11-01", 25, id="autumn-us"),
        pytest.param(BERLIN, "2026-03-29", 23, id="spring-eu"),
        pytest.param(BERLIN, "2026-10-25", 25, id="autumn-eu"),
        pytest.param(BERLIN, "2026-07-01", 24, id="plain"),
    ],
)
def test_always_is_the_local_day(place: Place, day: str, hours_long: int) -> None:
    noon = datetime.combine(date.fromisoformat(day), time(12), ZoneInfo(place.timezone)).timestamp()
    window = window_at("always", place, noon)
    assert window.holds(noon)
    assert window.to_utc_s - window.from_utc_s == hours_long * HOUR_S


def test_always_leaves_no_gap_in_a_year() -> None:
    at_s = utc("2026-01-01 12:00")
    for _ in range(366):
        window = window_at("always", SEATTLE, at_s)
        assert window.holds(at_s)
        following = window_at("always", SEATTLE, window.to_utc_s)
        assert following.from_utc_s == window.to_utc_s
        at_s = window.to_utc_s


def test_sunrise_and_sunset_are_the_suns() -> None:
    # Seattle, 21 June 2026: sunrise 05:11, sunset 21:10 local (common almanacs, to 2 min)
    window = window_at("sunset-sunrise", SEATTLE, utc("2026-06-21 08:00"))
    assert window.from_utc_s == pytest.approx(utc("2026-06-21 04:10"), abs=180.0)
    assert window.to_utc_s == pytest.approx(utc("2026-06-21 12:11"), abs=180.0)


@pytest.mark.parametrize("month", [6, 12], ids=["midnight-sun", "polar-night"])
def test_a_place_without_sunrise_has_hours_all_the_same(month: int) -> None:
    at_s = datetime(2026, month, 20, 22, tzinfo=UTC).timestamp()
    window = window_at("22:00-sunrise", SVALBARD, at_s)
    zone = ZoneInfo(SVALBARD.timezone)
    ends = datetime.fromtimestamp(window.to_utc_s, zone)
    begins = datetime.fromtimestamp(window.from_utc_s, zone)
    assert (begins.hour, ends.hour, ends.minute) == (22, 6, 0)


def test_a_window_holds_its_first_instant_and_not_its_last() -> None:
    window = window_at("22:00-05:00", BERLIN, utc("2026-07-01 22:00"))
    assert window.holds(window.from_utc_s)
    assert not window.holds(window.to_utc_s)
    assert not window.holds(window.from_utc_s - 0.001)
    assert not window.holds(float("nan"))


@settings(derandomize=True, max_examples=200)
@given(
    minutes=st.integers(0, 2 * 365 * 24 * 60),
    place=st.sampled_from([SEATTLE, BERLIN, SVALBARD]),
    hours=st.sampled_from(
        ["always", "22:00-sunrise", "sunset-06:30", "02:30-03:30", "00:00-23:59", "sunrise-sunset"]
    ),
)
def test_every_instant_has_a_window_that_holds_it_or_is_still_to_come(
    minutes: int, place: Place, hours: str
) -> None:
    at_s = (datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)).timestamp()
    window = window_at(hours, place, at_s)
    assert at_s < window.to_utc_s
    assert window.from_utc_s < window.to_utc_s
    assert window.from_utc_s - at_s < 25.1 * HOUR_S


@pytest.mark.parametrize("place", [SEATTLE, BERLIN, SVALBARD], ids=["seattle", "berlin", "polar"])
@given(at_s=st.floats(utc("2026-01-01"), utc("2027-01-01")), share=st.floats(0.0, 1.0))
def test_a_local_day_holds_all_its_instants_and_no_other(
    place: Place, at_s: float, share: float
) -> None:
    zone = ZoneInfo(place.timezone)
    day = local_day_at(at_s, zone)
    length_s = day.to_utc_s - day.from_utc_s
    assert day.from_utc_s <= at_s < day.to_utc_s
    assert local_date(min(day.from_utc_s + share * length_s, day.to_utc_s - 1.0), zone) == day.date
    assert local_date(day.from_utc_s - 1.0, zone) < day.date < local_date(day.to_utc_s, zone)


@pytest.mark.parametrize("hours", ["22:00-sunrise", "sunset-06:30", "02:30-01:00", "always"])
@given(steps_s=st.lists(st.floats(-2e5, 2e5) | st.floats(0.0, 3e4), min_size=2, max_size=60))
def test_the_window_at_hand_is_the_one_that_holds_now(hours: str, steps_s: list[float]) -> None:
    run = Run(garden=small_garden(hours=hours), state=EngineState(version="1"))
    info = run.garden.garden
    place = Place(latitude_deg=info.latitude, longitude_deg=info.longitude, timezone=info.timezone)
    at_s = utc("2026-10-30")
    for step_s in steps_s:
        at_s += step_s
        run.state.at_utc_s = at_s
        assert window_now(run) == window_at(hours, place, at_s)
