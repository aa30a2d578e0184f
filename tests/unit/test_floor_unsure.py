"""Readings alone bring no second refill within a day; a bed that its books find dry gets it."""

from __future__ import annotations

import pytest

from controller.bed_views import view_of, window_now
from controller.garden import Garden
from controller.sensing.spread import begin_books, books_mm
from controller.state import BedWater, DueHours
from controller.watering.decision import BedView
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden

HOUR_S = 3600.0


def plot() -> Garden:
    return small_garden(hours="20:00-22:00", bed_l_day=400.0, dose_l=200.0, site_l_day=800.0)


def seen(bench: Bench) -> BedView:
    run = bench.engine.run
    return view_of(run, "south", window_now(run))


def dry(bench: Bench, to_frac: float, *, by_readings: bool) -> None:
    """Let the bed lack so much: by what readings made of it, or by use that its books know."""
    water, taw_mm = bench.engine.state.water["south"], seen(bench).taw_mm
    more_mm = to_frac * taw_mm - water.depletion_mm + water.over_mm
    water.depletion_mm, water.over_mm = to_frac * taw_mm, 0.0
    if by_readings:
        water.pulled_mm -= more_mm
    else:
        water.used_mm += more_mm
    bench.dry_out(to_frac)


@pytest.fixture
def refilled() -> Bench:
    """It was past its floor for sure at 23:00 and has been refilled; its hours are far off."""
    bench = Bench(plot())  # 23:00 now
    bench.dry_out(0.85)
    bench.live(2 * HOUR_S, tick_s=20.0)
    assert bench.litres["south"] > 100.0
    bench.dry_out(0.05)
    bench.live(7 * HOUR_S, tick_s=60.0)  # 08:00
    return bench


def said(bench: Bench) -> str:
    return bench.engine.state.beds["south"].said.code


@pytest.mark.hazard("E3")
def test_readings_alone_bring_no_second_refill_by_day(refilled: Bench) -> None:
    had_l = refilled.litres["south"]
    floor_frac = seen(refilled).floor_frac
    dry(refilled, floor_frac + 0.03, by_readings=True)
    refilled.live(HOUR_S, tick_s=60.0)
    assert said(refilled) == "floor_unsure"
    assert refilled.litres["south"] == had_l
    text = refilled.engine.state.beds["south"].said.text
    assert "may be past its floor" in text
    assert "waits for its next hours" in text


def test_a_bed_that_used_it_up_by_its_books_too_gets_its_second_by_day(refilled: Bench) -> None:
    had_l = refilled.litres["south"]
    dry(refilled, seen(refilled).floor_frac + 0.03, by_readings=False)
    refilled.live(2 * HOUR_S, tick_s=60.0)
    assert refilled.litres["south"] > had_l + 10.0


def test_a_bed_that_is_surely_past_its_floor_gets_it_although_its_books_deny_it(
    refilled: Bench,
) -> None:
    had_l = refilled.litres["south"]
    dry(refilled, 0.95, by_readings=True)
    refilled.live(2 * HOUR_S, tick_s=60.0)
    assert refilled.litres["south"] > had_l + 10.0


def test_a_refill_that_was_stopped_halfway_is_gone_on_with_once_the_stop_is_over() -> None:
    bench = Bench(plot())
    bench.dry_out(0.85)
    while bench.litres["south"] < 40.0:  # of some 118
        bench.tick(20.0)
    bench.order("stop", "south")
    bench.dry_out(0.52)  # a little past its floor
    bench.live(5.5 * HOUR_S, tick_s=60.0)
    had_l, view = bench.litres["south"], seen(bench)
    assert had_l < 45.0
    assert view.depletion_frac - view.spread_frac < view.floor_frac < view.depletion_frac
    bench.live(3 * HOUR_S, tick_s=60.0)
    assert bench.litres["south"] > had_l + 10.0


def test_while_it_may_not_be_past_its_floor_nobody_is_called(refilled: Bench) -> None:
    for _ in range(9):  # six hours and more, up to 17:00
        dry(refilled, seen(refilled).floor_frac + 0.03, by_readings=True)
        refilled.live(HOUR_S, tick_s=60.0)
        assert said(refilled) == "floor_unsure"
    assert "bed_waiting-south" not in refilled.engine.state.alerts
    until_utc_s = refilled.at_utc_s + DAY_S
    refilled.order("pause", "south", until_utc_s=until_utc_s)  # now something else keeps it dry
    refilled.live(600.0, tick_s=60.0)
    assert said(refilled) == "paused"
    assert "bed_waiting-south" in refilled.engine.state.alerts


def test_the_night_after_a_refill_by_day_brings_none_and_the_next_one_does() -> None:
    bench = Bench(plot())
    bench.live(9 * HOUR_S, tick_s=60.0)  # 08:00
    bench.dry_out(0.85)
    bench.live(2 * HOUR_S, tick_s=60.0)
    had_l = bench.litres["south"]
    assert had_l > 100.0
    bench.dry_out(0.05)
    bench.live(10.5 * HOUR_S, tick_s=60.0)  # 20:30
    view = seen(bench)
    assert view.refilled
    dry(bench, view.line_frac + 0.01, by_readings=True)
    bench.live(HOUR_S, tick_s=60.0)
    assert said(bench) == "watered_tonight"
    assert bench.litres["south"] == had_l
    bench.live(DAY_S - HOUR_S, tick_s=60.0)
    dry(bench, view.line_frac + 0.01, by_readings=True)
    bench.live(HOUR_S, tick_s=60.0)
    assert bench.litres["south"] > had_l + 10.0


# -- the books since a watering


def test_the_books_leave_out_what_readings_made_of_a_bed() -> None:
    water = BedWater(depletion_mm=4.0, var_mm2=1.0)
    begin_books(water)
    water.depletion_mm += 3.0  # used
    water.depletion_mm += 20.0  # and pulled by readings
    water.pulled_mm -= 20.0
    assert books_mm(water) == pytest.approx(7.0)
    assert water.depletion_mm == pytest.approx(27.0)


def test_before_its_first_watering_no_books_speak_against_what_is_believed() -> None:
    water = BedWater(depletion_mm=12.0, var_mm2=1.0, pulled_mm=-8.0)
    assert books_mm(water) == 12.0
    begin_books(water)
    assert books_mm(water) == pytest.approx(12.0)


def test_a_watering_begins_the_books_from_what_is_then_believed() -> None:
    water = BedWater(depletion_mm=25.0, var_mm2=1.0, pulled_mm=-8.0, pulled_from_mm=2.0)
    assert books_mm(water) == pytest.approx(15.0)
    begin_books(water)
    assert books_mm(water) == pytest.approx(25.0)


def test_what_is_held_above_full_stays_in_the_books() -> None:
    water = BedWater(depletion_mm=0.0, var_mm2=1.0, over_mm=6.0)
    begin_books(water)
    assert books_mm(water) == pytest.approx(-6.0)


def test_a_sip_by_hand_begins_no_books(refilled: Bench) -> None:
    dry(refilled, seen(refilled).floor_frac + 0.03, by_readings=True)
    refilled.live(HOUR_S, tick_s=60.0)
    assert said(refilled) == "floor_unsure"
    books_frac = seen(refilled).books_frac
    assert refilled.order("water", "south", litres=2.0).status == "accepted"
    refilled.live(600.0)
    assert seen(refilled).books_frac == pytest.approx(books_frac, abs=0.03)


def test_a_missed_turn_is_called_after_six_hours_while_a_floor_is_unsure(refilled: Bench) -> None:
    run = refilled.engine.run
    memory, window = run.state.beds["south"], window_now(run)
    memory.due = DueHours(
        from_utc_s=window.from_utc_s - DAY_S, since_utc_s=refilled.at_utc_s - 12 * HOUR_S, why=""
    )
    memory.last_watering_utc_s = refilled.at_utc_s - 13 * HOUR_S
    dry(refilled, seen(refilled).floor_frac + 0.03, by_readings=True)
    refilled.live(HOUR_S, tick_s=60.0)
    assert said(refilled) == "floor_unsure"
    assert "bed_waiting-south" in refilled.engine.state.alerts
