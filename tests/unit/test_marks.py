"""The grower's marks: what was seen outranks the table, moves what is ahead, can be taken back."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.agronomy.crop import Stage, load_crops
from controller.agronomy.stages import Seen
from controller.effects import Answer, Note
from controller.engine import Engine
from controller.garden import Garden
from controller.sensing.beds import day_of, soil_of
from controller.sensing.marked import (
    WARMTH_DAYS,
    Event,
    keep_warmth,
    known_to,
    marks_of,
    out_of_order,
    sum_on_c_d,
    this_season,
)
from controller.state import BedDay
from controller.view import picture
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden

TODAY = date(2026, 7, 14)  # 23:00 of the bench's first evening, in Los Angeles
PLANTED = date(2026, 5, 9)
ASSUMED_C_D = 8.0 * (TODAY - PLANTED).days  # no mast has spoken yet


def garden(**bed: Any) -> Garden:
    told = small_garden().model_dump(mode="json")
    told["beds"]["south"] |= bed
    return Garden.model_validate(told)


def marked(bench: Bench, stage: str, on: str = "") -> Answer:
    answer = bench.order("stage", "south", stage=stage, on=on)
    assert answer is not None
    return answer


def today_of(bench: Bench) -> BedDay:
    return bench.engine.state.days["south"]


# -- what the stages make of marks


def on_day(marks: dict[str, Seen], degree_days: float, **bed: Any) -> BedDay:
    here = garden(**bed)
    soil = soil_of(here, "south")
    return day_of(here.beds["south"], soil, degree_days, TODAY, 5.0, None, marks)


def seen(degree_days: float, day: date = TODAY) -> Seen:
    return Seen(day=day.toordinal(), degree_days=degree_days)


@pytest.mark.parametrize(
    ("marks", "degree_days", "stage"),
    [
        pytest.param({}, 299.0, Stage.VEGETATIVE, id="table-before-flower"),
        pytest.param({}, 301.0, Stage.SETTING, id="table-at-flower"),
        pytest.param({"first_flower": seen(200.0)}, 201.0, Stage.SETTING, id="flowers-early"),
        # the main set is over at 650; 100 earlier by the flower's mark
        pytest.param({"first_flower": seen(200.0)}, 551.0, Stage.SIZING, id="early-set-is-over"),
        pytest.param({"first_flower": seen(200.0)}, 549.0, Stage.SETTING, id="early-set-lasts"),
        pytest.param({"first_set": seen(500.0)}, 749.0, Stage.SETTING, id="late-set-lasts"),
        pytest.param({"first_colour": seen(600.0)}, 601.0, Stage.COLOURING, id="colours-early"),
        pytest.param({"last_pick": seen(600.0)}, 601.0, Stage.SETTING, id="last-pick-no-stage"),
    ],
)
def test_a_mark_moves_the_stages_that_are_ahead(
    marks: dict[str, Seen], degree_days: float, stage: Stage
) -> None:
    assert on_day(marks, degree_days, habit="determinate").stage is stage


def test_a_staked_bed_goes_on_through_the_stages_only_once_it_is_topped() -> None:
    assert on_day({}, 1000.0).stage is Stage.SETTING
    assert on_day({"topped": seen(700.0)}, 1000.0).stage is Stage.COLOURING
    assert on_day({"topped": seen(700.0)}, 700.0).stage is Stage.SIZING


def test_the_last_pick_ends_the_fear_of_cracks() -> None:
    assert on_day({}, 900.0).coloured
    assert not on_day({"last_pick": seen(850.0)}, 900.0).coloured


def test_marks_of_other_plants_in_the_same_place_are_none() -> None:
    old = {"first_flower": seen(200.0, date(2026, 4, 1))}
    assert on_day(old, 250.0) == on_day({}, 250.0)
    assert this_season(old, PLANTED.toordinal()) == {}


@given(
    st.dictionaries(
        st.sampled_from([event.value for event in Event]),
        st.builds(
            Seen,
            day=st.integers(PLANTED.toordinal() - 30, TODAY.toordinal()),
            degree_days=st.floats(0.0, 2000.0),
        ),
    ),
    st.floats(0.0, 2000.0),
)
def test_no_marks_however_odd_leave_a_bed_without_a_sound_day(
    marks: dict[str, Seen], degree_days: float
) -> None:
    day = on_day(marks, degree_days)
    assert 0.0 < day.line_frac < day.floor_frac <= 0.65
    assert day.kcb == on_day({}, degree_days).kcb  # marks move stages, not the plant's size


# -- the degree-days of a day past


def test_the_sum_of_a_day_past_leaves_out_what_came_since() -> None:
    warmth = {100: 9.0, 101: 10.0, 103: 12.0}  # on day 102 the daemon was away
    assert sum_on_c_d(500.0, warmth, 103, 103) == 500.0
    assert sum_on_c_d(500.0, warmth, 103, 102) == 488.0
    assert sum_on_c_d(500.0, warmth, 103, 101) == 488.0
    assert sum_on_c_d(500.0, warmth, 103, 100) == 478.0
    assert sum_on_c_d(500.0, warmth, 103, 97) == 478.0 - 9.0 - 2 * 8.0  # assumed before that
    assert sum_on_c_d(20.0, warmth, 103, 97) == 0.0
    assert sum_on_c_d(500.0, {}, 103, 101) == 484.0


def test_only_so_many_days_are_remembered() -> None:
    warmth: dict[int, float] = {}
    for day in range(1000):
        keep_warmth(warmth, day, 1.0)
    assert len(warmth) == WARMTH_DAYS
    assert min(warmth) == 1000 - WARMTH_DAYS


@pytest.mark.parametrize(
    ("crop", "event", "known"),
    [
        ("tomato", Event.FIRST_COLOUR, True),
        ("cucumber", Event.FIRST_FLOWER, True),
        ("cucumber", Event.FIRST_COLOUR, False),
        ("lettuce", Event.FIRST_FLOWER, False),
        ("lettuce", Event.TOPPED, False),
        ("lettuce", Event.LAST_PICK, True),
    ],
)
def test_a_crop_has_only_the_events_of_its_kind(crop: str, event: Event, known: bool) -> None:
    assert known_to(load_crops()[crop], event) is known


def test_an_event_cannot_come_before_one_that_must_precede_it() -> None:
    marks = {Event.FIRST_SET: seen(400.0), Event.TOPPED: seen(500.0)}
    day = TODAY.toordinal()
    assert out_of_order(marks, Event.FIRST_FLOWER, day + 1) is Event.FIRST_SET
    assert out_of_order(marks, Event.FIRST_COLOUR, day - 1) is Event.FIRST_SET
    assert out_of_order(marks, Event.FIRST_COLOUR, day) is None
    assert out_of_order(marks, Event.FIRST_SET, day - 9) is None  # marked anew
    assert out_of_order(marks, Event.TOPPED, day - 30) is None
    assert marks_of(marks).first_set_c_d == 400.0


# -- the order


def test_a_mark_is_answered_kept_shown_and_taken_back() -> None:
    bench = Bench(small_garden())
    assert today_of(bench).stage is Stage.SETTING
    answer = marked(bench, "topped")
    assert (answer.status, answer.reason) == ("accepted", "marked")
    assert answer.text == ("South: topped on 2026-07-14. Its stage stays setting.")
    assert bench.engine.state.beds["south"].marks["topped"].degree_days == ASSUMED_C_D
    answer = marked(bench, "first_colour", "2026-07-10")
    assert "Its stage is colouring now, not setting." in answer.text
    assert bench.engine.state.beds["south"].marks["first_colour"].degree_days == ASSUMED_C_D - 32.0
    assert picture(bench.engine.run)["beds"]["south"]["marks"] == {
        "first_colour": "2026-07-10",
        "topped": "2026-07-14",
    }
    notes = [note.text for note in bench.of(Note) if note.what == "order"]
    assert notes[-1] == "tester: marked first colour on 2026-07-10"
    back = bench.order("forget_stage", "south", stage="first_colour")
    assert back is not None
    assert back.reason == "unmarked"
    assert today_of(bench).stage is Stage.SETTING
    again = bench.order("forget_stage", "south", stage="first_colour")
    assert again is not None
    assert again.status == "invalid"


def test_a_looser_line_by_a_mark_is_reached_over_days() -> None:
    bench = Bench(small_garden())
    marked(bench, "topped")
    marked(bench, "first_colour")
    assert today_of(bench).stage is Stage.COLOURING
    assert today_of(bench).line_frac == pytest.approx(0.40)  # setting's, until tomorrow
    bench.live(3.0 * DAY_S, tick_s=600.0)
    assert today_of(bench).line_frac == pytest.approx(0.43)


def test_a_mark_of_a_day_past_counts_from_that_days_sum() -> None:
    bench = Bench(small_garden())
    bench.live(5.0 * DAY_S, tick_s=600.0)
    state = bench.engine.state
    assert len(state.warmth_c_d) == 5
    marked(bench, "first_set", "2026-07-16")
    now_c_d = state.water["south"].degree_days
    assert now_c_d == pytest.approx(ASSUMED_C_D + 5 * 8.0)
    assert state.beds["south"].marks["first_set"].degree_days == pytest.approx(now_c_d - 3 * 8.0)


@pytest.mark.parametrize(
    ("bed", "stage", "on", "why"),
    [
        pytest.param({}, "harvest", "", "A mark is one of", id="unknown"),
        pytest.param({}, "topped", "12 June", "written like", id="no-date"),
        pytest.param({}, "topped", "2026-07-15", "between the planting", id="to-come"),
        pytest.param({}, "topped", "2026-05-08", "between the planting", id="before-planting"),
        pytest.param({"crop": "lettuce"}, "first_flower", "", "Lettuce has no", id="lettuce"),
        pytest.param({"habit": "determinate"}, "topped", "", "Only a staked", id="bush"),
    ],
)
def test_a_mark_that_cannot_be_is_refused_and_changes_nothing(
    bed: dict[str, Any], stage: str, on: str, why: str
) -> None:
    bench = Bench(garden(**bed))
    before = bench.engine.state.days["south"]
    answer = marked(bench, stage, on)
    assert answer.status == "invalid"
    assert why in answer.text
    assert bench.engine.state.beds["south"].marks == {}
    assert bench.engine.state.days["south"] == before


def test_colour_before_set_is_refused_until_the_wrong_mark_is_taken_back() -> None:
    bench = Bench(small_garden())
    marked(bench, "first_set", "2026-07-01")
    answer = marked(bench, "first_colour", "2026-06-20")
    assert answer.status == "invalid"
    assert "first fruit set on 2026-07-01" in answer.text
    bench.order("forget_stage", "south", stage="first_set")
    assert marked(bench, "first_colour", "2026-06-20").status == "accepted"


def test_marks_and_warmth_outlive_a_restart() -> None:
    bench = Bench(small_garden())
    bench.live(2.0 * DAY_S, tick_s=600.0)
    marked(bench, "topped")
    marked(bench, "first_colour")
    again = Engine.load(bench.engine.dump())
    assert again.dump() == bench.engine.dump()
    assert again.state.warmth_c_d == bench.engine.state.warmth_c_d
    assert set(again.state.warmth_c_d) == {TODAY.toordinal() + 1, TODAY.toordinal() + 2}
    bench.restart(60.0)
    assert set(bench.engine.state.beds["south"].marks) == {"topped", "first_colour"}
