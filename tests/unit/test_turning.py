"""What would change a decision: each sentence that is told really turns what `decide` answers."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.watering.decision import YES, BedView, Rain, Reason, Rules, Sky
from controller.watering.ending import ENDS
from controller.watering.hours import Window
from controller.watering.policy import decide
from controller.watering.turning import NIGHTS_AHEAD, Turn, ends, turns
from tests.unit.test_outlook import BED, nights

AHEAD = list(islice(nights(), NIGHTS_AHEAD))
NIGHT = Rules(in_hours=True)
DAY = Rules(in_hours=False, until_hours_s=5 * 3600.0)
BY_NUMBERS = {Reason.RAIN_COMING, Reason.PICK_HOLD, Reason.TOO_SMALL, Reason.DRYING}


def named(window: Window) -> str:
    index = int(window.from_utc_s // 86_400.0)
    return "tonight" if index == 0 else f"the night to day {index}"


def found(
    sky: Sky | None = None, rules: Rules = NIGHT, *, asked: bool = False, **changed: Any
) -> dict[str, Turn]:
    told = turns(replace(BED, **changed), sky or Sky(), rules, AHEAD, named, asked=asked)
    assert len({one.code for one in told}) == len(told)
    return {one.code: one for one in told}


def test_a_drying_bed_tells_how_much_it_lacks_to_its_line() -> None:
    told = found(sunrise_frac=0.365)
    assert told["used"].text == "Had it used 4 % more by sunrise, it would drink tonight."
    assert told["line"].text == "For it to drink, its thirst line would have to be at 36 %."


def test_rain_puts_a_bed_off_to_the_night_that_is_told() -> None:
    told = found(sunrise_frac=0.365, rain_holds_mm=2.0)
    # 0.415 in the next night: 0.015 x 80 mm too much, and 2 mm stay on leaves and straw
    assert told["rain_falls"].text == (
        "By its usual use it drinks next in the night to day 1; if 4 mm of rain fall first, "
        "not before the night to day 2."
    )


def test_a_bed_that_drinks_tells_what_would_let_it_wait() -> None:
    told = found(depletion_frac=0.41, sunrise_frac=0.425)
    assert told["used"].text == "Had it used 3 % less by sunrise, it would wait tonight."
    assert told["line"].text == "For it to wait, its thirst line would have to be at 43 %."
    assert told["rain_foretold"].text == "Were 17 mm of rain sure to come, it would wait tonight."
    assert told["rain_falls"].text.startswith("If 2 mm of rain fall first, not before")
    # 0.025 x 80 mm to the line itself: 2 mm do, by a hair of rounding


def test_by_day_the_night_to_come_is_spoken_of() -> None:
    told = found(rules=DAY, sunrise_frac=0.41)
    assert told["as_it_is"].text == (
        "As things stand South drinks tonight: 41 % used by then, its line is 40 %."
    )
    assert found(rules=DAY)["as_it_is"].text.startswith("As things stand South waits tonight: 25 %")


def test_after_its_answer_the_next_night_is_spoken_of() -> None:
    told = found(sunrise_frac=0.38, asked=True)
    assert told["as_it_is"].text == (
        "As things stand South drinks in the night to day 1: 43 % used by then, its line is 40 %."
    )


def test_rain_to_come_tells_how_little_of_it_would_not_do() -> None:
    rain = Sky(rain_expected_mm=20.0, rains=(Rain(fall_mm=20.0, chance_frac=1.0),))
    told = found(rain, sunrise_frac=0.42, postponed=1)
    assert told["rain_foretold"].text == (
        "Were no more than 16 mm of rain sure to come, it would drink tonight."
    )
    assert told["postponed"].text == "It waits for rain this night only."


def test_doubt_and_heat_are_told_where_they_decide() -> None:
    hot = found(Sky(hot=True), sunrise_frac=0.35)
    assert hot["heat"].text == "Without the heat to come it would wait tonight."
    doubted = found(sunrise_frac=0.35, quality="doubtful")
    assert doubted["probes"].text == "Without the doubt about its probes it would wait tonight."
    assert not {"heat", "probes"} & found(Sky(hot=True), sunrise_frac=0.45).keys()


@pytest.mark.parametrize(
    ("sky", "quality"),
    [
        pytest.param(Sky(hot=True), "ok", id="heat"),
        pytest.param(Sky(), "doubtful", id="doubt"),
    ],
)
def test_a_yes_by_a_drawn_in_line_tells_where_the_line_would_have_to_be(
    sky: Sky, quality: str
) -> None:
    told = found(sky, sunrise_frac=0.355, quality=quality)
    assert told["line"].text == "For it to wait, its thirst line would have to be at 36 %."


def test_a_pick_is_told_where_it_decides() -> None:
    told = found(sunrise_frac=0.42, pick_near=True, pick_d=2.0)
    assert told["pick"].text == "Without the pick it would drink tonight."


@pytest.mark.parametrize(
    ("changed", "rules"),
    [
        pytest.param({}, Rules(interlock=Reason.LOCKED), id="locked"),
        pytest.param({}, Rules(hold=Reason.PAUSED, in_hours=True), id="paused"),
        pytest.param({"wet": True}, NIGHT, id="wet"),
        pytest.param({"watered": True}, NIGHT, id="watered"),
        pytest.param({"waiting": True}, NIGHT, id="waiting"),
    ],
)
def test_a_hold_tells_what_ends_it(changed: dict[str, Any], rules: Rules) -> None:
    told = found(rules=rules, **changed)
    reason = decide(replace(BED, **changed), Sky(), rules).reason
    assert [one.text for one in told.values()] == [ends(reason, BED).text]


def test_every_reason_turns_by_numbers_or_has_its_end() -> None:
    assert set(ENDS) == set(Reason) - YES - BY_NUMBERS
    assert all(text.endswith(".") and text[0].isupper() for text in ENDS.values())


FRACS = st.floats(0.0, 0.9)
BEDS = st.builds(
    BedView,
    bed=st.just("south"),
    stage=st.sampled_from(Stage),
    taw_mm=st.floats(10.0, 200.0),
    wetted_area_m2=st.just(10.0),
    depletion_frac=FRACS,
    sunrise_frac=FRACS,
    day_use_frac=st.floats(0.0, 0.3),
    spread_frac=st.floats(0.0, 0.3),
    line_frac=st.floats(0.2, 0.55),
    floor_frac=st.floats(0.3, 0.65),
    quality=st.sampled_from(("ok", "doubtful", "none")),
    waiting=st.just(False),
    wet=st.just(False),
    watered=st.just(False),
    postponed=st.integers(0, 2),
    full_sd_frac=st.floats(0.0, 0.2),
    rain_share_frac=st.sampled_from((0.3, 1.0)),
    rain_holds_mm=st.floats(0.0, 2.0),
    coloured=st.booleans(),
    pick_near=st.booleans(),
    pick_in=st.sampled_from((None, 0, 1)),
    pick_d=st.floats(0.0, 5.0),
    limp=st.booleans(),
)


@settings(max_examples=150, deadline=None)
@given(
    bed=BEDS,
    rain_mm=st.floats(0.0, 40.0),
    chance=st.floats(0.0, 1.0),
    hot=st.booleans(),
    rules=st.sampled_from((NIGHT, DAY, Rules(in_hours=False, until_hours_s=9 * 3600.0))),
    asked=st.booleans(),
)
def test_what_is_told_turns_the_decision(
    bed: BedView, rain_mm: float, chance: float, hot: bool, rules: Rules, asked: bool
) -> None:
    rains = (Rain(fall_mm=rain_mm, chance_frac=chance),)
    sky = Sky(rain_expected_mm=rain_mm * chance, rains=rains, hot=hot)
    for one in turns(bed, sky, rules, AHEAD, named, asked=asked):
        if one.after is None:
            assert one.code in {"ends", "as_it_is"}
            continue
        assert one.before is not None
        before, after = one.before, one.after
        was = decide(before.bed, before.sky, before.rules).water
        assert decide(after.bed, after.sky, after.rules).water is not was, one.text
        if one.code == "used":
            told_frac = before.bed.sunrise_frac + one.numbers["more_frac"]
            assert after.bed.sunrise_frac == pytest.approx(max(0.0, told_frac))
            assert after.sky == before.sky
        if one.code == "rain_falls":
            bed_then, mm = before.bed, one.numbers["rain_mm"]
            gains_mm = bed_then.rain_share_frac * max(0.0, mm - bed_then.rain_holds_mm)
            told_frac = max(0.0, bed_then.sunrise_frac - gains_mm / bed_then.taw_mm)
            assert after.bed.sunrise_frac == pytest.approx(told_frac)
            assert was, "rain puts off a watering, it never brings one about"
