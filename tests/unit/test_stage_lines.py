"""The line and floor that a bed goes by: nursed when young, moved by `lean`, drawn in by heat."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from controller.agronomy.crop import LINES_FRAC, Stage
from controller.agronomy.stages import Seen
from controller.bed_views import rules_of, sky_of, view_of, window_now
from controller.events import OutlookSpan, RainOutlook, WeatherReading
from controller.garden import Garden
from controller.sensing.beds import day_of, soil_of
from controller.state import BedDay
from controller.watering.decision import Decision, Reason, Rules, Sky
from controller.watering.policy import decide, line_now_frac
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

NIGHT = Rules(in_hours=True)
STAGES = {  # a determinate tomato's stages: days since transplanting, degree-days
    Stage.ESTABLISHING: (5, 50.0),
    Stage.VEGETATIVE: (20, 200.0),
    Stage.SETTING: (45, 450.0),
    Stage.SIZING: (60, 700.0),
    Stage.COLOURING: (90, 1100.0),
}


def garden(**bed: Any) -> Garden:
    told = small_garden(hours="22:00-sunrise").model_dump(mode="json")
    told["weather"] = {"mast": {}}
    told["beds"]["south"] |= {"habit": "determinate", **bed}
    return Garden.model_validate(told)


def day_in(stage: Stage, before: BedDay | None = None, **bed: Any) -> BedDay:
    here = garden(**bed)
    days, degree_days = STAGES[stage]
    today = here.beds["south"].transplanted + timedelta(days=days)
    day = day_of(here.beds["south"], soil_of(here, "south"), degree_days, today, 5.0, before)
    assert day.stage is stage
    return day


# -- lean


@pytest.mark.parametrize("lean", [0.0, 0.2, 0.4, 0.5, 0.7])
@pytest.mark.parametrize("stage", list(Stage))
def test_lean_moves_line_and_floor_alike(stage: Stage, lean: float) -> None:
    day, shift = day_in(stage, lean=lean), (lean - 0.5) * 0.16
    line, floor = LINES_FRAC[stage]
    assert day.line_frac == pytest.approx(line + shift)
    assert day.floor_frac == pytest.approx(floor + shift)


@pytest.mark.parametrize("stage", list(Stage))
def test_no_floor_is_past_the_utmost_however_lean(stage: Stage) -> None:
    day = day_in(stage, lean=1.0)
    line, floor = LINES_FRAC[stage]
    assert day.floor_frac == pytest.approx(min(0.65, floor + 0.08))
    assert day.line_frac == pytest.approx(line + 0.08)
    assert day.line_frac < day.floor_frac <= 0.65


# -- from stage to stage


def test_a_looser_line_is_reached_over_days_a_tighter_one_at_once() -> None:
    sizing = day_in(Stage.SIZING)
    first = day_in(Stage.COLOURING, before=sizing)
    assert first.line_frac == pytest.approx(0.43)
    assert day_in(Stage.COLOURING, before=first).line_frac == pytest.approx(0.44)
    assert day_in(Stage.SETTING, before=day_in(Stage.VEGETATIVE)).line_frac == pytest.approx(0.40)


def test_a_staked_bed_keeps_the_tightest_line_until_it_is_topped() -> None:
    here = garden(habit="indeterminate")
    today = here.beds["south"].transplanted + timedelta(days=90)
    topped = {"topped": Seen(day=today.toordinal(), degree_days=1100.0)}
    told = [
        day_of(here.beds["south"], soil_of(here, "south"), 1100.0, today, 5.0, None, marks)
        for marks in ({}, topped)
    ]
    assert [day.line_frac for day in told] == [pytest.approx(0.40), pytest.approx(0.45)]
    assert [day.floor_frac for day in told] == [pytest.approx(0.50), pytest.approx(0.55)]


# -- nursing


def young(transplanted: str = "2026-07-10") -> Bench:
    return Bench(garden(transplanted=transplanted))


def judged(bench: Bench, depletion_frac: float) -> Decision:
    """What tonight's answer is for a bed that stands there, seen by sound probes."""
    bench.told_depletion["south"] = depletion_frac
    bench.live(1200.0, tick_s=300.0)
    run = bench.engine.run
    run.state.water["south"].depletion_mm = depletion_frac * run.days["south"].taw_mm
    view = view_of(run, "south", window_now(run))
    view.watered = view.wet = False
    return decide(view, Sky(), NIGHT)


def test_new_transplants_are_watered_small_and_often() -> None:
    bench = young()
    day = bench.engine.run.days["south"]
    assert (day.stage, day.root_depth_m) == (Stage.ESTABLISHING, 0.2)
    assert (day.line_frac, day.floor_frac) == (0.25, 0.40)
    said = judged(bench, 0.26)
    assert said.reason is Reason.AT_LINE
    zone_mm = day.taw_mm
    assert said.dose_mm is not None
    assert 0.10 * zone_mm <= said.dose_mm <= 0.35 * zone_mm  # of a zone of 0.2 m, 28 mm
    assert zone_mm == pytest.approx(28.0)


def test_a_grown_bed_waits_where_a_new_one_drinks() -> None:
    assert judged(young("2026-05-09"), 0.26).reason is Reason.DRYING


# -- heat and frost


def foretold(bench: Bench, tmax_c: float, begins_h: float = 6.0) -> Sky:
    span = OutlookSpan(
        from_utc_s=bench.at_utc_s + 3600.0 * begins_h, hours=12.0, tmin_c=15.0, tmax_c=tmax_c
    )
    bench.step(RainOutlook(**bench.times(), spans=(span,)))
    return sky_of(bench.engine.run)


@pytest.mark.parametrize(
    ("tmax_c", "begins_h", "drawn_frac"),
    [
        pytest.param(34.9, 6.0, 0.0, id="warm"),
        pytest.param(35.0, 6.0, 0.08, id="hot"),
        pytest.param(38.0, 25.0, 0.0, id="hot-the-day-after"),
    ],
)
def test_foretold_heat_draws_the_line_in_and_leaves_the_floor(
    tmax_c: float, begins_h: float, drawn_frac: float
) -> None:
    bench = young("2026-05-09")
    bench.told_depletion["south"] = 0.2
    bench.live(1200.0, tick_s=300.0)
    run = bench.engine.run
    view = view_of(run, "south", window_now(run))
    assert view.quality == "ok"
    sky = foretold(bench, tmax_c, begins_h)
    assert line_now_frac(view, sky) == pytest.approx(view.line_frac - drawn_frac)
    assert view.floor_frac == pytest.approx(0.50)


@pytest.mark.hazard("E2")
@pytest.mark.parametrize(("temp_c", "holds"), [(1.9, True), (2.1, False)])
def test_frost_holds_a_bed_that_is_past_its_floor(temp_c: float, holds: bool) -> None:
    bench = young("2026-05-09")
    bench.step(WeatherReading(**bench.times(), mast="mast", temp_c=temp_c))
    bench.dry_out(0.6, "south")
    run = bench.engine.run
    rules = rules_of(run, "south", window_now(run))
    assert (rules.hold is Reason.FROST) is holds
    run.state.water["south"].depletion_mm = 0.6 * run.days["south"].taw_mm
    view = view_of(run, "south", window_now(run))
    said = decide(view, Sky(), rules)
    assert said.water is not holds
    assert said.reason is (Reason.FROST if holds else Reason.FLOOR_PASSED)
