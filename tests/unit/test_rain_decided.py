"""Rain by odds and amount: what a bed can use, what falls now, and what a floor never waits for."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.bed_views import sky_of, view_of, window_now
from controller.events import OutlookSpan, RainOutlook, WeatherReading
from controller.garden import Garden
from controller.watering.decision import BedView, Decision, Rain, Reason, Rules, Sky
from controller.watering.policy import decide
from controller.watering.rain import usable_mm
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

BED = BedView(
    bed="south",
    stage=Stage.SETTING,
    taw_mm=80.0,
    wetted_area_m2=10.0,
    depletion_frac=0.38,
    sunrise_frac=0.41,  # lacks 32.8 mm
    day_use_frac=0.02,
    spread_frac=0.03,
    line_frac=0.40,
    floor_frac=0.50,
    quality="ok",
    waiting=False,
    wet=False,
    watered=False,
    postponed=0,
)
NIGHT = Rules(in_hours=True)
LACKS_MM = 32.8


def sky(*spells: tuple[float, float]) -> Sky:
    return Sky(
        rain_expected_mm=sum(fall * chance for fall, chance in spells),
        rains=tuple(Rain(fall_mm=fall, chance_frac=chance) for fall, chance in spells),
    )


def at_night(told: Sky, rules: Rules = NIGHT, **change: Any) -> Decision:
    return decide(replace(BED, **change), told, rules)


@pytest.mark.parametrize(
    ("spells", "mm"),
    [
        pytest.param([(20.0, 1.0)], 20.0, id="sure"),
        pytest.param([(20.0, 0.5)], 10.0, id="by-its-odds"),
        pytest.param([(200.0, 0.1)], 3.28, id="a-pour-that-runs-through"),
        pytest.param([(10.0, 0.5), (8.0, 0.25)], 7.0, id="two-spells"),
        pytest.param([(40.0, 1.0), (40.0, 1.0)], LACKS_MM, id="no-more-than-it-lacks"),
        pytest.param([], 0.0, id="none"),
    ],
)
def test_a_rain_is_worth_what_the_bed_can_use_of_it(
    spells: list[tuple[float, float]], mm: float
) -> None:
    assert usable_mm(BED, sky(*spells), LACKS_MM) == pytest.approx(mm)


def test_leaves_straw_and_plastic_keep_their_part_of_each_spell() -> None:
    covered = replace(BED, rain_holds_mm=2.0, rain_share_frac=0.3)
    assert usable_mm(covered, sky((12.0, 0.5)), LACKS_MM) == pytest.approx(0.5 * 0.3 * 10.0)
    assert usable_mm(covered, sky((1.5, 1.0)), LACKS_MM) == 0.0


@pytest.mark.parametrize(
    ("spells", "waits"),
    [
        pytest.param([(33.0, 0.55)], True, id="likely-and-enough"),
        pytest.param([(33.0, 0.45)], False, id="enough-but-unlikely"),
        pytest.param([(12.0, 1.0)], False, id="sure-but-too-little"),
        # 20 mm by the plain product of odds and amount; this bed can use 6.6 of them
        pytest.param([(100.0, 0.2)], False, id="a-pour-that-is-unlikely"),
    ],
)
def test_odds_and_amount_decide_together(spells: list[tuple[float, float]], waits: bool) -> None:
    said = at_night(sky(*spells))
    assert said.reason is (Reason.RAIN_COMING if waits else Reason.AT_LINE)


@settings(derandomize=True, max_examples=300)
@given(
    depletion=st.floats(0.0, 1.0),
    use=st.floats(0.0, 0.2),
    fall=st.floats(0.0, 300.0),
    chance=st.floats(0.0, 1.0),
    more=st.floats(0.0, 100.0),
    postponed=st.integers(0, 3),
    raining=st.booleans(),
)
def test_rain_keeps_no_bed_from_water_that_would_pass_its_floor(
    depletion: float,
    use: float,
    fall: float,
    chance: float,
    more: float,
    postponed: int,
    raining: bool,
) -> None:
    bed = {"depletion_frac": depletion, "sunrise_frac": depletion + 0.01, "day_use_frac": use}
    last = Rules(in_hours=True, left_s=3600.0)
    plain = at_night(Sky(), last, **bed)
    wet = at_night(sky((fall, chance)), last, **bed, postponed=postponed, raining=raining)
    wetter = at_night(sky((fall + more, chance)), last, **bed, postponed=postponed)
    if depletion + 0.01 + 1.3 * use > 0.50:  # were it dry for another day
        assert wet.dose_mm == plain.dose_mm
    assert (wetter.dose_mm or 0.0) <= (plain.dose_mm or 0.0)
    if not raining:
        assert (wetter.dose_mm or 0.0) <= (wet.dose_mm or 0.0)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_a_spell_that_is_no_number_is_the_dry_path(bad: float) -> None:
    for rain in (Rain(fall_mm=bad, chance_frac=0.5), Rain(fall_mm=5.0, chance_frac=bad)):
        assert not at_night(Sky(rains=(rain,))).water


# -- rain that falls now


@pytest.mark.hazard("E1")
@pytest.mark.parametrize(
    ("change", "left_s", "reason"),
    [
        pytest.param({}, 3600.0, Reason.RAINING, id="at-line-it-waits-for-the-end"),
        pytest.param({"day_use_frac": 0.08}, 6 * 3600.0, Reason.RAINING, id="hours-enough-left"),
        pytest.param({"day_use_frac": 0.08}, 3600.0, Reason.AT_LINE, id="floor-near-no-time-left"),
        pytest.param({"day_use_frac": 0.08}, math.nan, Reason.RAINING, id="no-number"),
        pytest.param({"sunrise_frac": 0.2}, 3600.0, Reason.DRYING, id="not-due"),
        pytest.param({"depletion_frac": 0.52}, 9e9, Reason.FLOOR_PASSED, id="past-its-floor"),
    ],
)
def test_while_it_rains_a_bed_waits(change: dict[str, Any], left_s: float, reason: Reason) -> None:
    said = at_night(Sky(), Rules(in_hours=True, left_s=left_s), **change, raining=True)
    assert said.reason is reason
    if reason is Reason.RAINING:
        assert not said.judged  # it is asked again when the rain is over


# -- from the engine's state


def bench_of(**bed: Any) -> Bench:
    told = small_garden(hours="22:00-sunrise").model_dump(mode="json")
    told["weather"] = {"mast": {}}
    told["beds"]["south"] |= bed
    return Bench(Garden.model_validate(told))


def foretold(bench: Bench, *spans: tuple[float, float, float, float]) -> Sky:
    bench.step(
        RainOutlook(
            **bench.times(),
            spans=tuple(
                OutlookSpan(
                    from_utc_s=bench.at_utc_s + 3600.0 * begins_h,
                    hours=hours,
                    rain_mm=fall,
                    chance_frac=chance,
                )
                for begins_h, hours, fall, chance in spans
            ),
        )
    )
    return sky_of(bench.engine.run)


def test_the_spells_of_the_coming_day_come_from_the_outlook() -> None:
    bench = bench_of()
    told = foretold(bench, (-3.0, 12.0, 8.0, 0.5), (18.0, 12.0, 6.0, 0.8), (30.0, 6.0, 50.0, 1.0))
    assert [(rain.fall_mm, rain.chance_frac) for rain in told.rains] == [
        (pytest.approx(6.0), 0.5),  # nine of its twelve hours are still to come
        (pytest.approx(3.0), 0.8),  # six fall within a day
    ]
    assert told.rain_expected_mm == pytest.approx(6.0 * 0.5 + 3.0 * 0.8)


def pour(bench: Bench, mm_h: float, hours: float) -> None:
    total_mm = bench.engine.state.sky.rain_totals_mm.get("mast", 0.0)
    for _ in range(round(6 * hours)):
        total_mm += mm_h / 6.0
        bench.step(
            WeatherReading(**bench.times(), mast="mast", temp_c=18.0, rain_mm_total=total_mm)
        )
        bench.live(600.0, tick_s=300.0)


def rains(bench: Bench) -> bool:
    run = bench.engine.run
    return view_of(run, "south", window_now(run)).raining


@pytest.mark.hazard("E1")
@pytest.mark.parametrize(
    ("bed", "mm_h", "seen"),
    [
        pytest.param({}, 6.0, True, id="rain"),
        pytest.param({}, 0.3, False, id="drizzle"),
        pytest.param({"mulch": "plastic"}, 1.0, False, id="under-a-sheet"),
    ],
)
def test_rain_that_soaks_in_is_seen_until_it_is_over(
    bed: dict[str, Any], mm_h: float, seen: bool
) -> None:
    bench = bench_of(**bed)
    assert not rains(bench)
    pour(bench, mm_h, 2.5)
    assert rains(bench) is seen
    pour(bench, 0.0, 3.0)
    assert not rains(bench)


def test_a_due_bed_is_judged_again_when_the_rain_is_over() -> None:
    bench = bench_of()
    pour(bench, 1.2, 2.0)
    bench.dry_out(0.46, "south")
    run = bench.engine.run
    water = run.state.water["south"]
    water.depletion_mm, water.over_mm = 0.46 * run.days["south"].taw_mm, 0.0
    water.use_mm_d = [2.0]
    run.state.beds["south"].judged_from_utc_s = None  # it dried while it could not be judged
    pour(bench, 1.2, 1.0)
    assert run.state.beds["south"].said.code == Reason.RAINING
    assert bench.litres["south"] == 0.0
    pour(bench, 0.0, 3.0)
    assert bench.litres["south"] > 0.0
