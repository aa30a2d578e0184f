"""Before a marked pick: the drink on the last night, the dry days, and what they may not cost."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.bed_views import view_of, window_now
from controller.events import OrderKind
from controller.pick_orders import AHEAD_MOST_D, pick_ahead
from controller.view import picture
from controller.watering.before_pick import ROOM_FRAC
from controller.watering.decision import BedView, Decision, Reason, Rules, Sky
from controller.watering.hours import Window
from controller.watering.policy import decide
from sim.season_run import prepare
from sim.told_picks import AHEAD_S, ToldPicks
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden

USE_FRAC = 0.08
BED = BedView(
    bed="south",
    stage=Stage.SETTING,
    taw_mm=80.0,
    wetted_area_m2=10.0,
    depletion_frac=0.28,
    sunrise_frac=0.30,
    day_use_frac=USE_FRAC,
    spread_frac=0.03,
    line_frac=0.40,
    floor_frac=0.50,
    quality="ok",
    waiting=False,
    wet=False,
    watered=False,
    postponed=0,
)
NIGHT, DAY = Rules(in_hours=True), Rules(in_hours=False)
LAST_NIGHT = {"pick_in": 0, "pick_d": 4.25}
FIRST_NIGHT = {"pick_near": True, "pick_d": 3.25}
EVE = {"pick_near": True, "pick_d": 0.25}


def at_night(**change: Any) -> Decision:
    return decide(replace(BED, **change), Sky(), NIGHT)


def dose_frac(decision: Decision) -> float:
    return (decision.dose_mm or 0.0) / BED.taw_mm


# -- the last night before the dry days


def test_a_bed_that_would_reach_its_line_drinks_the_night_before() -> None:
    assert at_night().reason is Reason.DRYING
    said = at_night(**LAST_NIGHT)
    assert said.reason is Reason.BEFORE_PICK
    assert dose_frac(said) == pytest.approx(0.25)
    assert said.numbers["pick_d"] == pytest.approx(4.25)


@pytest.mark.parametrize(
    ("use_frac", "drinks"),
    [
        # 0.30 and 4.25 days' use against the line of 0.40
        pytest.param(0.0235, False, id="lasts"),
        pytest.param(0.0236, True, id="would-reach-its-line"),
    ],
)
def test_a_bed_that_lasts_until_the_pick_drinks_nothing(use_frac: float, drinks: bool) -> None:
    assert at_night(**LAST_NIGHT, day_use_frac=use_frac).water is drinks


@pytest.mark.parametrize(
    ("sunrise_frac", "drinks"),
    [pytest.param(0.2199, False, id="just-too-full"), pytest.param(0.2201, True, id="fits")],
)
def test_only_a_deep_dose_is_given_before(sunrise_frac: float, drinks: bool) -> None:
    said = at_night(**LAST_NIGHT, sunrise_frac=sunrise_frac)
    assert said.water is drinks
    assert dose_frac(said) == pytest.approx(0.20 if drinks else 0.0)


def test_rain_to_come_may_take_the_place_of_that_drink() -> None:
    bed = replace(BED, **LAST_NIGHT)
    assert decide(bed, Sky(rain_expected_mm=30.0), NIGHT).reason is Reason.RAIN_COMING


# -- the nights before that one


@pytest.mark.parametrize("nights", [1, 2, 3])
def test_a_refill_shortly_before_leaves_room_for_the_last_night(nights: int) -> None:
    ahead = {"pick_in": nights, "pick_d": 4.25 + nights, "sunrise_frac": 0.47}
    said = at_night(**ahead)
    leaves_frac = 0.47 - dose_frac(said)
    assert leaves_frac == pytest.approx(
        max(0.05, 0.05 + 0.20 - nights * (USE_FRAC - ROOM_FRAC)), abs=1e-9
    )
    assert said.reason is Reason.PICK_AHEAD
    assert dose_frac(said) >= 0.20
    # and then the deep dose fits, were every day ever so cool
    cool_frac = leaves_frac + nights * (USE_FRAC - ROOM_FRAC)
    assert at_night(**LAST_NIGHT, sunrise_frac=cool_frac + 1e-9).water


def test_a_wide_bed_that_lasts_is_refilled_whole() -> None:
    said = at_night(pick_in=1, pick_d=5.25, sunrise_frac=0.45, day_use_frac=0.06)
    assert said.reason is Reason.AT_LINE  # 0.05 and 5.25 days' use stays below the line
    assert dose_frac(said) == pytest.approx(0.40)


def test_further_off_a_pick_changes_nothing() -> None:
    assert at_night(pick_in=4, pick_d=8.25, sunrise_frac=0.45) == replace(
        at_night(sunrise_frac=0.45),
        numbers={**at_night(sunrise_frac=0.45).numbers, "pick_d": 8.25},
    )


# -- the dry days


def test_at_its_line_a_bed_is_kept_dry_for_its_pick() -> None:
    said = at_night(**FIRST_NIGHT, sunrise_frac=0.41, day_use_frac=0.05)
    assert said.reason is Reason.PICK_HOLD
    assert said.judged
    assert at_night(sunrise_frac=0.41, day_use_frac=0.05).reason is Reason.AT_LINE


def test_a_floor_that_is_near_gets_what_carries_the_bed_to_its_pick() -> None:
    said = at_night(**FIRST_NIGHT, sunrise_frac=0.44)
    assert said.reason is Reason.FLOOR_BEFORE_PICK
    assert dose_frac(said) == pytest.approx(3.25 * USE_FRAC)
    near = at_night(pick_near=True, pick_d=1.25, sunrise_frac=0.44)
    assert dose_frac(near) == pytest.approx(0.20)  # no less than a deep dose
    thirsty = at_night(**FIRST_NIGHT, sunrise_frac=0.44, day_use_frac=0.12)
    assert dose_frac(thirsty) == pytest.approx(0.44 - 0.125)  # and never near to full


@pytest.mark.parametrize(
    ("sunrise_frac", "waters"),
    [
        # on the eve: half a day's use x 1.3 against the floor of 0.50
        pytest.param(0.447, False, id="lasts-to-noon"),
        pytest.param(0.449, True, id="does-not"),
    ],
)
def test_on_the_eve_the_floor_is_looked_ahead_to_noon(sunrise_frac: float, waters: bool) -> None:
    assert at_night(**EVE, sunrise_frac=sunrise_frac).water is waters


def test_no_floor_is_passed_for_a_pick_though_the_dose_goes_near_full() -> None:
    lush = {"sunrise_frac": 0.30, "line_frac": 0.32, "floor_frac": 0.42, "day_use_frac": 0.10}
    said = at_night(**FIRST_NIGHT, **lush)
    assert said.reason is Reason.FLOOR_BEFORE_PICK
    assert dose_frac(said) == pytest.approx(0.20)


def test_a_passed_floor_waters_in_the_dry_days_too_whatever_the_hour() -> None:
    past = replace(BED, **FIRST_NIGHT, depletion_frac=0.52, sunrise_frac=0.54)
    for rules in (NIGHT, DAY):
        said = decide(past, Sky(), rules)
        assert said.reason is Reason.FLOOR_BEFORE_PICK
        assert said.water


@settings(derandomize=True, max_examples=200)
@given(
    low=st.floats(0.0, 1.0),
    high=st.floats(0.0, 1.0),
    use=st.floats(0.0, 0.2),
    pick_in=st.sampled_from([None, 0, 1, 2, 3, 4]),
    pick_d=st.floats(0.0, 9.0),
)
def test_near_a_pick_a_wetter_bed_never_gets_more(
    low: float, high: float, use: float, pick_in: int | None, pick_d: float
) -> None:
    low, high = min(low, high), max(low, high)
    near = pick_in is None
    doses = [
        at_night(
            depletion_frac=frac,
            sunrise_frac=frac,
            day_use_frac=use,
            pick_near=near,
            pick_in=pick_in,
            pick_d=pick_d,
        ).dose_mm
        or 0.0
        for frac in (low, high)
    ]
    assert doses[0] <= doses[1] + 1e-9


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_a_pick_at_no_time_is_the_dry_path(bad: float) -> None:
    assert not at_night(pick_near=True, pick_d=bad, sunrise_frac=0.49).water


# -- told by a person


def planned(bench: Bench, on: str, what: str = "pick") -> str:
    answer = bench.order(what, "south", on=on)
    assert answer is not None
    return f"{answer.status}:{answer.reason}"


def picks_of(bench: Bench) -> Any:
    return picture(bench.engine.run)["beds"]["south"]["picks"]


def bench_of(hours: str = "22:00-sunrise") -> Bench:
    return Bench(small_garden(hours=hours))


TODAY = date(2026, 7, 14)  # of the bench's first evening, 23:00 in Los Angeles


def in_days(days: int) -> str:
    return (TODAY + timedelta(days=days)).isoformat()


def test_a_pick_is_planned_shown_and_taken_back() -> None:
    bench = bench_of()
    assert planned(bench, in_days(9)) == "accepted:planned"
    assert planned(bench, in_days(6)) == "accepted:planned"
    assert planned(bench, in_days(6)) == "accepted:planned"  # twice is once
    assert picks_of(bench) == [in_days(6), in_days(9)]
    assert planned(bench, in_days(6), "forget_pick") == "accepted:dropped"
    assert planned(bench, in_days(6), "forget_pick") == "invalid:on"
    assert picks_of(bench) == [in_days(9)]


@pytest.mark.parametrize("on", ["", "soon", "2026-13-01", in_days(AHEAD_MOST_D + 1)])
def test_a_pick_that_cannot_be_planned_is_refused(on: str) -> None:
    bench = bench_of()
    assert planned(bench, on) == "invalid:on"
    assert picks_of(bench) == []


@pytest.mark.parametrize("days", [0, -1])
def test_a_day_that_is_here_or_gone_is_no_plan(days: int) -> None:
    bench = bench_of()
    assert planned(bench, in_days(days)) == "invalid:kg"  # fruit for the season book, weighed
    assert picks_of(bench) == []


def test_picks_outlive_a_restart_and_are_gone_once_past() -> None:
    bench = bench_of()
    planned(bench, in_days(2))
    bench.restart(60.0)
    assert picks_of(bench) == [in_days(2)]
    bench.advance(bench.now_s + 4 * DAY_S)
    bench.connect()
    bench.live(1200.0, tick_s=600.0)
    assert picks_of(bench) == []


@pytest.mark.parametrize(
    ("days", "near", "nights"),
    [
        # seen from the night of the 14th, that ends at the dawn of the 15th
        pytest.param(1, True, None, id="tomorrow"),
        pytest.param(4, True, None, id="begins-in-this-very-night"),
        pytest.param(5, False, 0, id="begins-next-midnight"),
        pytest.param(6, False, 1, id="a-night-later"),
        pytest.param(8, False, 3, id="three-nights-later"),
    ],
)
def test_the_nights_before_a_pick_are_counted(days: int, near: bool, nights: int | None) -> None:
    bench = bench_of()
    planned(bench, in_days(days))
    run = bench.engine.run
    ahead = pick_ahead(run, "south", window_now(run))
    assert ahead is not None
    assert (ahead.near, ahead.nights) == (near, nights)
    assert days - 1 < ahead.days_d < days - 0.5  # from the dawn of the 15th to noon of that day
    view = view_of(run, "south", window_now(run))
    assert (view.pick_near, view.pick_in, view.pick_d) == (near, nights, ahead.days_d)


def test_a_pick_far_off_is_not_seen_and_the_first_that_is_left_counts() -> None:
    bench = bench_of()
    run = bench.engine.run
    planned(bench, in_days(9))
    assert pick_ahead(run, "south", window_now(run)) is None
    planned(bench, in_days(2))
    ahead = pick_ahead(run, "south", window_now(run))
    assert ahead is not None
    assert ahead.near


def test_after_noon_of_its_day_a_pick_is_over() -> None:
    bench = bench_of()
    planned(bench, in_days(1))
    run = bench.engine.run
    window = Window(from_utc_s=0.0, to_utc_s=1.0)  # none that holds now: now counts
    for hours, near in ((0.0, True), (12.9, True), (13.1, False)):  # from 23:00 of the day before
        run.state.at_utc_s = bench.at_utc_s + 3600.0 * hours
        ahead = pick_ahead(run, "south", window)
        assert (ahead is not None and ahead.near) is near


def test_a_dry_bed_waits_for_the_pick_and_says_so() -> None:
    bench = bench_of()
    planned(bench, in_days(2))
    bench.dry_out(0.41, "south")
    run = bench.engine.run
    run.state.water["south"].use_mm_d = [3.0]
    run.state.beds["south"].judged_from_utc_s = None
    run.nudge = True
    bench.live(600.0, tick_s=60.0)
    said = run.state.beds["south"].said
    assert said.code == Reason.PICK_HOLD
    assert "kept dry for its pick" in said.text
    assert planned(bench, in_days(2), "forget_pick") == "accepted:dropped"
    bench.live(600.0, tick_s=60.0)
    assert run.state.beds["south"].said.code == Reason.AT_LINE


# -- told in a replay


def test_a_replay_tells_each_pick_a_week_before() -> None:
    garden = small_garden()
    days = (date(2026, 8, 1), date(2026, 8, 10))
    told = ToldPicks(garden, {"south": days})
    first_s = 1785567600.0  # 2026-08-01 00:00 in Los Angeles
    assert told.due(first_s - AHEAD_S - 1.0, 0.0) == []
    orders = told.due(first_s - AHEAD_S, 5.0)
    assert [(one.what, one.bed, one.on) for one in orders] == [
        (OrderKind.PICK, "south", "2026-08-01")
    ]
    assert told.due(first_s, 6.0) == []
    assert [one.on for one in told.due(first_s + 9 * DAY_S, 7.0)] == ["2026-08-10"]


def test_a_replay_may_keep_its_picks_to_itself() -> None:
    replay = prepare(small_garden(), "seattle-2015", picks={"south": (date(2026, 8, 1),)})
    assert replay.tells_picks
    assert not replace(replay, tells_picks=False).tells_picks
