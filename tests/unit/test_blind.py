"""A bed without a probe to go by: less and less, never nothing while its valve is sound."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.bed_views import view_of, window_now
from controller.blindness import blind_of, limit_d, mind_blind
from controller.events import ProbeReading
from controller.garden import Garden
from controller.watering.decision import (
    BedView,
    Blind,
    Decision,
    Learning,
    Reason,
    Rules,
    Sky,
)
from controller.watering.policy import decide
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden

BED = BedView(
    bed="south",
    stage=Stage.SETTING,
    taw_mm=80.0,
    wetted_area_m2=10.0,
    depletion_frac=0.38,
    sunrise_frac=0.41,
    day_use_frac=0.02,
    spread_frac=0.20,
    line_frac=0.40,
    floor_frac=0.50,
    quality="none",
    waiting=False,
    wet=False,
    watered=False,
    postponed=0,
)
NIGHT, DAY = Rules(in_hours=True), Rules(in_hours=False)


def at_night(**change: Any) -> Decision:
    return decide(replace(BED, **change), Sky(), NIGHT)


def dose_frac(decision: Decision) -> float:
    assert decision.dose_mm is not None
    return decision.dose_mm / BED.taw_mm


# -- the ladder


@pytest.mark.hazard("P11")
@pytest.mark.parametrize(
    ("rung", "reason", "want_frac"),
    [
        pytest.param(Blind.REDUCED, Reason.BLIND_REFILL, 0.8 * 0.36, id="reduced"),
        pytest.param(Blind.NORMALS, Reason.BLIND_NORMALS, 0.10, id="normals"),
        pytest.param(Blind.SMALLEST, Reason.BLIND_SMALLEST, 0.10, id="smallest"),
    ],
)
def test_each_rung_gives_no_more_than_the_one_before(
    rung: Blind, reason: Reason, want_frac: float
) -> None:
    said = at_night(blind=rung)
    assert said.reason is reason
    assert dose_frac(said) == pytest.approx(want_frac)


@pytest.mark.parametrize("rung", [Blind.NORMALS, Blind.SMALLEST])
def test_a_passed_floor_breaks_the_hours_with_the_smallest_dose(rung: Blind) -> None:
    past = replace(BED, blind=rung, depletion_frac=0.6, sunrise_frac=0.62)
    said = decide(past, Sky(), DAY)
    assert dose_frac(said) == pytest.approx(0.10)


def test_limp_leaves_of_a_blind_bed_get_no_more_than_its_rung() -> None:
    said = at_night(blind=Blind.SMALLEST, limp=True)
    assert said.reason is Reason.LIMP
    assert dose_frac(said) == pytest.approx(0.10)


@pytest.mark.parametrize("rules", [NIGHT, DAY], ids=["night", "day"])
def test_where_the_valve_is_in_doubt_too_nothing_opens_by_itself(rules: Rules) -> None:
    for depletion_frac in (0.41, 0.7, 1.0):
        bed = replace(
            BED,
            blind=Blind.UNSOUND,
            limp=True,
            depletion_frac=depletion_frac,
            sunrise_frac=depletion_frac,
        )
        assert decide(bed, Sky(), rules).reason is Reason.BLIND_UNSOUND
        assert decide(replace(bed, quality="ok"), Sky(), rules).water is (
            rules.in_hours or depletion_frac > 0.15
        )


@settings(derandomize=True, max_examples=200)
@given(
    depletion=st.floats(0.0, 1.0),
    use=st.floats(0.0, 0.2),
    rung=st.sampled_from(list(Blind)),
    limp=st.booleans(),
    coloured=st.booleans(),
    in_hours=st.booleans(),
)
def test_blind_never_gets_more_than_seeing(
    depletion: float, use: float, rung: Blind, limp: bool, coloured: bool, in_hours: bool
) -> None:
    blind = replace(
        BED,
        depletion_frac=depletion,
        sunrise_frac=depletion,
        day_use_frac=use,
        blind=rung,
        limp=limp,
        coloured=coloured,
    )
    doses = [
        decide(bed, Sky(), Rules(in_hours=in_hours)).dose_mm or 0.0
        # the line is drawn in for a blind bed, so a doubtful one beside it is the same but sees
        for bed in (blind, replace(blind, quality="doubtful"))
    ]
    most_mm = max(doses[1], 0.10 * BED.taw_mm)
    assert doses[0] <= most_mm + 1e-9


def test_days_that_are_no_number_are_the_dry_path() -> None:
    assert not at_night(blind_d=math.nan).water


# -- which rung it is


def bench_of(**limits: float) -> Bench:
    return Bench(small_garden(hours="22:00-sunrise", **limits))


def lit(bench: Bench, source: str = "mast") -> Bench:
    bench.engine.state.sky.reckoned.source = source
    return bench


@pytest.mark.parametrize(
    ("source", "days", "rung"),
    [
        pytest.param("mast", 0.0, Blind.REDUCED, id="first-day"),
        pytest.param("half-mast", 13.9, Blind.REDUCED, id="before-the-limit"),
        pytest.param("outlook", 14.1, Blind.SMALLEST, id="past-the-limit"),
        pytest.param("recent-mean", 1.0, Blind.NORMALS, id="weather-just-lost"),
        pytest.param("normals", 6.9, Blind.NORMALS, id="by-the-month"),
        pytest.param("latitude", 7.1, Blind.SMALLEST, id="past-the-shorter-limit"),
    ],
)
def test_the_rung_follows_from_weather_and_days(source: str, days: float, rung: Blind) -> None:
    told = small_garden(hours="22:00-sunrise").model_dump(mode="json")
    told["weather"] = {"mast": {}}
    bench = lit(Bench(Garden.model_validate(told)), source)
    run = bench.engine.run
    run.state.beds["south"].blind_trusted_s = run.trusted_s - days * DAY_S
    assert blind_of(run, "south") is rung


def test_a_told_limit_holds_with_and_without_weather() -> None:
    bench = bench_of(blind_days=3)
    for source in ("mast", "normals"):
        assert limit_d(lit(bench, source).engine.run) == 3


@pytest.mark.hazard("P11")
@pytest.mark.parametrize(
    ("code", "where", "rung"),
    [
        ("meter_fault", {}, Blind.UNSOUND),
        ("valve_silent", {"bed": "south", "valve": "south"}, Blind.UNSOUND),
        ("valve_stuck_closed", {"bed": "wall", "valve": "wall"}, Blind.SMALLEST),
        ("probe_silent", {"bed": "south", "probe": "south-20"}, Blind.SMALLEST),
    ],
)
def test_past_the_limit_a_doubted_valve_or_meter_ends_it(
    code: str, where: dict[str, str], rung: Blind
) -> None:
    bench = lit(Bench(small_garden(beds=("south", "wall"))))
    run = bench.engine.run
    run.raise_alert(code, "as a test", **where)
    run.state.beds["south"].blind_trusted_s = run.trusted_s
    assert blind_of(run, "south") is not Blind.UNSOUND  # within the limit the balance goes on
    run.state.beds["south"].blind_trusted_s = run.trusted_s - 20 * DAY_S
    assert blind_of(run, "south") is rung


# -- counted and called


def blind_since(bench: Bench) -> float | None:
    return bench.engine.state.beds["south"].blind_trusted_s


def test_blind_days_count_from_the_last_probe_and_end_with_the_first() -> None:
    bench = bench_of()
    bench.told_depletion["south"] = 0.2
    bench.live(3600.0, tick_s=300.0)
    assert blind_since(bench) is None
    bench.told_depletion.clear()
    bench.live(3 * 3600.0, tick_s=300.0)
    since_s = blind_since(bench)
    assert since_s is not None
    assert "bed_blind-south" in bench.engine.state.alerts
    bench.restart(60.0)
    bench.connect()
    bench.live(3 * 3600.0, tick_s=300.0)
    assert blind_since(bench) == since_s  # a restart is no probe
    bench.told_depletion["south"] = 0.2
    bench.live(3600.0, tick_s=300.0)
    assert blind_since(bench) is None


@pytest.mark.hazard("P11")
def test_past_the_limit_it_is_called_each_day_and_stands_since_the_first() -> None:
    bench = bench_of(blind_days=1)
    bench.live(2 * 3600.0, tick_s=300.0)
    first = bench.engine.state.alerts["bed_blind-south"]
    run = bench.engine.run
    begun_s = len(bench.notes("alert"))
    for _ in range(4):
        run.state.beds["south"].blind_trusted_s -= DAY_S
        called_s = run.state.beds["south"].blind_called_trusted_s
        if called_s is not None:
            run.state.beds["south"].blind_called_trusted_s = called_s - DAY_S
        for _ in range(3):  # asked again in between, it is said once
            mind_blind(run, "south", "none", waiting=False)
    alert = bench.engine.state.alerts["bed_blind-south"]
    assert alert.since_utc_s == first.since_utc_s
    assert "for 4 days" in alert.text
    notes = [one for one in run.out if getattr(one, "code", "") == "bed_blind"]
    assert len(notes) + len(bench.notes("alert")) - begun_s == 4


def test_a_bed_that_was_never_given_a_probe_is_reduced_for_good() -> None:
    told = small_garden().model_dump(mode="json")
    told["beds"]["south"]["probes"], told["probes"] = [], {}
    bench = Bench(Garden.model_validate(told))
    bench.live(3 * 3600.0, tick_s=300.0)
    assert blind_since(bench) is None
    assert blind_of(lit(bench).engine.run, "south") is Blind.REDUCED


# -- bare counts that are still learned


def test_the_first_watering_of_a_learning_bed_is_a_soak_to_full() -> None:
    said = at_night(learning=Learning.FIRST_SOAK)
    assert said.reason is Reason.FIRST_SOAK
    assert dose_frac(said) == pytest.approx(0.41 + 0.20)  # by what is not known further than full
    sure = at_night(learning=Learning.FIRST_SOAK, spread_frac=0.0)
    assert dose_frac(sure) == pytest.approx(0.41)


def test_no_soak_is_more_than_the_whole_root_zone() -> None:
    said = at_night(learning=Learning.FIRST_SOAK, sunrise_frac=0.95, depletion_frac=0.45)
    assert dose_frac(said) == pytest.approx(1.0)


def test_a_learning_bed_waits_for_its_line_and_then_drinks_whole() -> None:
    assert at_night(learning=Learning.FIRST_SOAK, sunrise_frac=0.25).reason is Reason.DRYING
    said = at_night(learning=Learning.DRYING)
    assert said.reason is Reason.LEARNING_REFILL
    assert dose_frac(said) == pytest.approx(0.36)
    # weather and days are no matter for a bed that is not in the dark
    assert at_night(learning=Learning.DRYING, blind=Blind.UNSOUND).reason is said.reason


def test_the_engine_soaks_a_learning_bed_once() -> None:
    told = small_garden(hours="22:00-sunrise").model_dump(mode="json")
    for name in ("south-20", "south-40"):
        told["probes"][name] |= {"kind": "raw", "calibration": None}
    bench = Bench(Garden.model_validate(told))
    run = bench.engine.run
    for _ in range(18):
        for name in ("south-20", "south-40"):
            bench.step(ProbeReading(**bench.times(), probe=name, value=2000.0))
        bench.live(600.0, tick_s=300.0)
    view = view_of(run, "south", window_now(run))
    assert (view.quality, view.learning) == ("none", Learning.FIRST_SOAK)
    assert blind_since(bench) is None  # it learns, it is not blind
    run.state.beds["south"].last_watering_utc_s = bench.at_utc_s - 5 * DAY_S
    assert view_of(run, "south", window_now(run)).learning is Learning.DRYING
    bench.live(4 * 3600.0, tick_s=300.0)  # its probes fall silent: now it is
    assert view_of(run, "south", window_now(run)).learning is Learning.NO
    assert blind_since(bench) is not None
    assert "bed_blind-south" in run.state.alerts
