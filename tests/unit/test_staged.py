"""A bed far past its line with coloured fruit is refilled over nights; a day never gives half."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller import starting
from controller.agronomy.crop import Stage
from controller.events import Order, OrderKind
from controller.garden import Garden
from controller.state import STATE_JSON, Watering
from controller.watering import policy
from controller.watering.decision import BedView, Decision, Reason, Rules, Sky
from controller.watering.policy import decide
from controller.watering.staged import (
    APART_S,
    DAY_S,
    DayDose,
    Staging,
    given_day_l,
    keep_dose,
    next_stage,
    rests,
    room_frac,
    stands,
)
from sim.examples import find_garden
from sim.replay import EngineReplay, prepare
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

BED = BedView(
    bed="south",
    stage=Stage.COLOURING,
    taw_mm=80.0,
    wetted_area_m2=10.0,
    depletion_frac=0.53,
    sunrise_frac=0.56,
    day_use_frac=0.06,
    spread_frac=0.03,
    line_frac=0.45,
    floor_frac=0.55,
    quality="ok",
    waiting=False,
    wet=False,
    watered=False,
    postponed=0,
    coloured=True,
)
NIGHT, NOON = Rules(in_hours=True), Rules(in_hours=False)
TAW_L = 77.0 * 1.92


def at_night(**change: Any) -> Decision:
    return decide(replace(BED, **change), Sky(), NIGHT)


def dose_frac(decision: Decision) -> float:
    assert decision.dose_mm is not None
    return decision.dose_mm / BED.taw_mm


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        pytest.param({}, Reason.STAGED, id="far-past-with-colour"),
        pytest.param({"coloured": False}, Reason.AT_LINE, id="green-fruit"),
        pytest.param({"sunrise_frac": 0.5499}, Reason.AT_LINE, id="not-so-far"),
        pytest.param({"line_frac": 0.47}, Reason.AT_LINE, id="a-line-further-out"),
    ],
)
def test_only_a_bed_far_past_its_line_with_coloured_fruit_is_staged(
    change: dict[str, Any], reason: Reason
) -> None:
    assert at_night(**change).reason is reason


def test_each_stage_is_its_share_and_the_days_use_and_the_last_is_the_rest() -> None:
    first = at_night()
    assert dose_frac(first) == pytest.approx(0.35 * 0.51 + 0.06)
    assert (first.numbers["stage"], first.numbers["stages"]) == (1, 3)
    assert first.numbers["stages_lacked_frac"] == pytest.approx(0.51)
    # 0.56 - 0.2385 + 0.06: below the line, and yet it goes on
    second = at_night(stages_done=1, staged_frac=0.51, sunrise_frac=0.3815, depletion_frac=0.36)
    assert second.reason is Reason.STAGED
    assert dose_frac(second) == pytest.approx(0.35 * 0.51 + 0.06)
    assert (second.numbers["stage"], second.numbers["stages"]) == (2, 3)
    third = at_night(stages_done=2, staged_frac=0.51, sunrise_frac=0.203, depletion_frac=0.18)
    assert dose_frac(third) == pytest.approx(0.203 - 0.05)  # less than a deep dose, and given
    assert (third.numbers["stage"], third.numbers["stages"]) == (3, 3)


def test_two_stages_are_enough_where_next_to_nothing_would_be_left() -> None:
    second = at_night(stages_done=1, staged_frac=0.51, sunrise_frac=0.33, depletion_frac=0.31)
    assert dose_frac(second) == pytest.approx(0.28)
    assert (second.numbers["stage"], second.numbers["stages"]) == (2, 2)


def test_with_a_pick_near_the_stages_stop_short_of_full() -> None:
    third = at_night(stages_done=2, staged_frac=0.4, sunrise_frac=0.2, pick_near=True)
    assert dose_frac(third) == pytest.approx(0.2 - 0.125)
    over = at_night(stages_done=2, staged_frac=0.4, sunrise_frac=0.15, pick_near=True)
    assert not over.water


def test_rain_that_filled_the_bed_meanwhile_ends_the_stages() -> None:
    assert at_night(stages_done=1, staged_frac=0.5, sunrise_frac=0.08).reason is Reason.DRYING


def test_a_passed_floor_is_staged_by_day_and_far_from_the_hours() -> None:
    by_day = decide(replace(BED, depletion_frac=0.58), Sky(), NOON)
    assert by_day.reason is Reason.STAGED
    assert dose_frac(by_day) == pytest.approx(0.35 * 0.53 + 0.06)


def test_limp_leaves_over_ripe_fruit_are_staged_too() -> None:
    limp = decide(replace(BED, depletion_frac=0.58, limp=True), Sky(), NOON)
    assert limp.reason is Reason.STAGED
    limp = decide(replace(BED, depletion_frac=0.5, limp=True, given_day_frac=0.9), Sky(), NOON)
    assert limp.reason is Reason.WATERED_TONIGHT


def test_nothing_known_opens_nothing() -> None:
    for bad in (math.nan, math.inf, -math.inf):
        for name in ("staged_frac", "given_day_frac"):
            assert not at_night(stages_done=1, **{name: bad}).water


@settings(derandomize=True, max_examples=400)
@given(
    depletion=st.floats(0.0, 1.0),
    use=st.floats(0.0, 0.3),
    line=st.floats(0.2, 0.6),
    sd=st.floats(0.0, 0.5),
    given_frac=st.floats(0.0, 0.6),
    done=st.integers(0, 2),
    limp=st.booleans(),
)
def test_with_coloured_fruit_no_day_gets_half_of_the_available_water(
    depletion: float,
    use: float,
    line: float,
    sd: float,
    given_frac: float,
    done: int,
    limp: bool,
) -> None:
    bed = replace(
        BED,
        depletion_frac=depletion,
        sunrise_frac=depletion,
        day_use_frac=use,
        line_frac=line,
        floor_frac=line + 0.1,
        full_sd_frac=sd,
        given_day_frac=given_frac,
        stages_done=done,
        staged_frac=0.5,
        limp=limp,
    )
    for rules in (NIGHT, NOON):
        decision = decide(bed, Sky(), rules)
        if decision.water:
            assert dose_frac(decision) + given_frac <= 0.48 + 1e-9


def test_green_fruit_leaves_the_dose_free_and_an_unsure_full_point_makes_it_smaller() -> None:
    assert room_frac(replace(BED, coloured=False)) == math.inf
    assert room_frac(BED) == pytest.approx(0.48)
    assert room_frac(replace(BED, full_sd_frac=0.1)) == pytest.approx(0.432)
    assert room_frac(replace(BED, full_sd_frac=0.6)) == pytest.approx(0.40)
    assert room_frac(replace(BED, given_day_frac=0.3)) == pytest.approx(0.18)


def test_a_stage_without_room_is_none() -> None:
    assert next_stage(replace(BED, given_day_frac=0.45), 0.6, 0.05) is None


def test_stages_keep_half_a_day_apart_and_are_forgotten_after_three() -> None:
    staging = Staging(done=1, lacked_frac=0.5, at_utc_s=1000.0)
    assert stands(staging, 1000.0 + APART_S)
    assert rests(staging, 1000.0 + APART_S - 1.0)
    assert not rests(staging, 1000.0 + APART_S)
    assert not stands(staging, 1000.0 + 3 * 86_400.0)
    assert not stands(staging, 999.0)  # a clock that was set back
    assert not stands(None, 0.0)
    assert not rests(None, 0.0)


def test_doses_of_the_last_day_count_and_older_ones_are_dropped() -> None:
    doses = keep_dose([], DayDose(from_utc_s=0.0, litres=50.0))
    doses = keep_dose(doses, DayDose(from_utc_s=7200.0, litres=30.0))
    assert given_day_l(doses, DAY_S - 1.0) == 80.0
    assert given_day_l(doses, DAY_S) == 30.0
    assert keep_dose(doses, DayDose(from_utc_s=DAY_S, litres=1.0)) == [
        DayDose(from_utc_s=7200.0, litres=30.0),
        DayDose(from_utc_s=DAY_S, litres=1.0),
    ]


# -- through the engine


def nights_of(bench: Bench, told: list[float]) -> list[Watering]:
    """Live a day from 21:00 for each depletion, much wetter once it drank: what it drank."""
    wanted: list[Watering] = []
    for depletion in told:
        bench.dry_out(depletion)
        bench.live(3900.0, tick_s=20.0)
        wanted += [bench.engine.state.waterings["south"]]
        bench.live(3 * 3600.0, tick_s=20.0)
        bench.dry_out(depletion - 0.25)
        bench.live(20 * 3600.0 - 300.0, tick_s=20.0)
    return wanted


@pytest.fixture
def ripe() -> Bench:
    bench = Bench(small_garden(hours="22:00-sunrise"))
    bench.engine.state.water["south"].degree_days = 1500.0
    bench.live(46 * 3600.0, tick_s=60.0)  # to 21:00, past a midnight
    assert bench.engine.state.days["south"].coloured
    return bench


def test_the_engine_gives_the_stages_night_after_night_and_remembers_them(ripe: Bench) -> None:
    line = ripe.engine.state.days["south"].line_frac
    wanted = nights_of(ripe, [line + 0.14])
    assert [one.stage for one in wanted] == [1]
    staging = ripe.engine.state.beds["south"].staging
    assert staging is not None
    assert staging.done == 1
    kept = STATE_JSON.validate_json(ripe.engine.dump())
    assert kept.beds["south"].staging == staging
    wanted += nights_of(ripe, [line - 0.02])
    assert [one.stage for one in wanted] == [1, 2]
    assert all(one.want_l <= 0.48 * TAW_L for one in wanted)
    told = [note for note in ripe.notes("decision") if note.code == "staged"]
    assert [note.text.split(": ")[-1][:12] for note in told] == ["stage 1 of 3", "stage 2 of 2"]
    assert ripe.engine.state.beds["south"].staging is None


def test_an_order_by_a_person_ends_the_stages(ripe: Bench) -> None:
    line = ripe.engine.state.days["south"].line_frac
    nights_of(ripe, [line + 0.14])
    assert ripe.engine.state.beds["south"].staging is not None
    ripe.order("water", "south", litres=20.0)
    ripe.live(3600.0)
    assert ripe.engine.state.beds["south"].staging is None


# -- in the simulated garden


def dried_out() -> EngineReplay:
    """Hollin Lane with caps that bind no refill, paused for sixteen days of August, and on."""
    document = tomllib.loads(find_garden("hollin-lane").read_text(encoding="utf-8"))
    document["limits"] = {"dose_l": 900, "bed_l_day": 1200}
    garden = Garden.model_validate(document)
    replay = prepare(garden, "seattle-2015", last=date(2015, 8, 25), sure=True)
    live = EngineReplay(replay.garden, replay.world(), replay.span)
    from_utc_s = replay.span.to_utc_s - 21 * 86_400.0
    live.go(from_utc_s)
    pause = Order(
        at_utc_s=live.at_utc_s,
        mono_s=live.now_s,
        order="o1",
        what=OrderKind.PAUSE,
        who="tester",
        until_utc_s=from_utc_s + 16 * 86_400.0,
    )
    live.hands.step(pause)
    live.go(replay.span.to_utc_s)
    return live


@pytest.mark.slow
@pytest.mark.parametrize("staged", [True, False], ids=["staged", "at-once"])
def test_beds_that_dried_out_in_august_are_wetted_without_a_sudden_rewetting(
    monkeypatch: pytest.MonkeyPatch, staged: bool
) -> None:
    if not staged:  # so that the world's truth is seen to tell the two apart
        monkeypatch.setattr(policy, "next_stage", lambda *_: None)
        for module in (policy, starting):
            monkeypatch.setattr(module, "room_frac", lambda _: math.inf)
    beds = dried_out().world.truth.beds
    assert all(bed.max_depletion_frac > 0.6 for bed in beds.values())
    assert [bed.sudden_rewettings for bed in beds.values()] == [0 if staged else 1] * 4
