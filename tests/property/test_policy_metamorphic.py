"""What must follow when one thing changes, over the real `decide`: nothing here knows its numbers.

More rain to come never makes it give more tonight, a wetter bed never gets a larger dose, the same
bed in other units gets the same answer. The exceptions are two that the policy promises, and they
are left out by name: a bed past its line with coloured fruit drinks in stages, so that the drier
one gets the smaller share tonight; and before a marked pick a bed gets what carries it over.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.watering.decision import BedView, Blind, Decision, Learning, Rain, Rules, Sky
from controller.watering.policy import POSTPONED_MOST, REFILL_TO_FRAC, decide

SHARE = st.floats(0.0, 1.0)
CLOSE = 1e-9


@st.composite
def beds(draw: st.DrawFn, *, plain: bool = True) -> BedView:
    """Any bed that can be judged; a plain one has neither coloured fruit nor a marked pick."""
    line_frac = draw(st.floats(0.15, 0.6))
    span_frac = draw(st.floats(0.05, 0.2))  # from the line to the floor, where most turns
    near = st.floats(max(0.0, line_frac - 0.1), line_frac + span_frac)
    depletion_frac = draw(near if draw(st.integers(0, 3)) else SHARE)
    picked = not plain and draw(st.booleans())
    return BedView(
        bed="south",
        stage=draw(st.sampled_from(Stage)),
        taw_mm=draw(st.floats(10.0, 200.0)),
        wetted_area_m2=draw(st.floats(1.0, 50.0)),
        depletion_frac=depletion_frac,
        sunrise_frac=depletion_frac + draw(st.floats(0.0, 0.05)),
        day_use_frac=draw(st.floats(0.0, 0.15)),
        spread_frac=draw(st.floats(0.0, 0.3)),
        full_sd_frac=draw(st.floats(0.0, 0.3)),
        books_frac=draw(SHARE),
        refilled=draw(st.integers(0, 3)) == 3,
        line_frac=line_frac,
        floor_frac=line_frac + span_frac,
        quality=draw(st.sampled_from(["ok", "ok", "doubtful", "none"])),
        waiting=False,
        wet=False,
        watered=False,
        postponed=draw(st.integers(0, POSTPONED_MOST + 1)),
        rain_share_frac=draw(st.floats(0.1, 1.0)),
        rain_holds_mm=draw(st.floats(0.0, 3.0)),
        limp=draw(st.integers(0, 7)) == 7,
        felt_frac=draw(st.sampled_from([0.0, 0.0, 0.0, 0.55])),
        missed=draw(st.integers(0, 3)) == 3,
        coloured=not plain and draw(st.booleans()),
        pick_near=picked,
        pick_in=draw(st.integers(0, 4)) if picked else None,
        pick_d=draw(st.floats(0.5, 6.0)) if picked else 0.0,
        blind=draw(st.sampled_from(Blind)),
        blind_d=draw(st.floats(0.0, 20.0)),
        learning=draw(st.sampled_from([Learning.NO, *Learning])),
    )


RULES = st.sampled_from(
    [
        Rules(in_hours=True, left_s=6 * 3600.0),
        Rules(in_hours=False),
        Rules(in_hours=False, until_hours_s=10 * 3600.0),
    ]
)


def dose_mm(decision: Decision) -> float:
    return decision.dose_mm or 0.0


def sky(rain_mm: float, chance_frac: float = 1.0, *, hot: bool = False) -> Sky:
    """One spell of rain to come, as the engine tells it."""
    return Sky(
        rain_expected_mm=rain_mm * chance_frac,
        rains=(Rain(fall_mm=rain_mm, chance_frac=chance_frac),),
        hot=hot,
    )


@pytest.mark.hazard("E1")
@settings(derandomize=True, max_examples=250)
@given(
    beds(plain=False),
    RULES,
    st.floats(0.0, 60.0),
    st.floats(0.0, 60.0),
    SHARE,
    SHARE,
    st.booleans(),
)
def test_more_rain_to_come_or_a_surer_one_never_makes_it_give_more(
    bed: BedView,
    rules: Rules,
    one_mm: float,
    other_mm: float,
    one_frac: float,
    other_frac: float,
    hot: bool,
) -> None:
    less, more = sorted((one_mm, other_mm))
    unsure, sure = sorted((one_frac, other_frac))
    with_less = decide(bed, sky(less, unsure, hot=hot), rules)
    for told in (sky(more, unsure, hot=hot), sky(less, sure, hot=hot), sky(more, sure, hot=hot)):
        assert dose_mm(decide(bed, told, rules)) <= dose_mm(with_less) + CLOSE


@settings(derandomize=True, max_examples=250)
@given(beds(), RULES, st.booleans(), st.floats(0.0, 1.0))
def test_a_wetter_bed_never_gets_a_larger_dose(
    bed: BedView, rules: Rules, hot: bool, wetter_frac: float
) -> None:
    wetter = replace(
        bed,
        depletion_frac=bed.depletion_frac - wetter_frac,
        sunrise_frac=bed.sunrise_frac - wetter_frac,
    )
    drier_dose, wetter_dose = (dose_mm(decide(one, Sky(hot=hot), rules)) for one in (bed, wetter))
    assert wetter_dose <= drier_dose + CLOSE


@settings(derandomize=True, max_examples=250)
@given(beds(plain=False), RULES, st.booleans(), st.floats(0.0, 0.3), SHARE)
def test_a_bed_less_surely_known_or_wetter_by_its_books_never_gets_a_larger_dose(
    bed: BedView, rules: Rules, hot: bool, more_frac: float, wetter_frac: float
) -> None:
    """But for a first soak, which goes deeper the less is known: it is what teaches counts."""
    bed = replace(bed, learning=Learning.NO)
    surer = decide(bed, Sky(hot=hot), rules)
    for less in (
        replace(bed, spread_frac=bed.spread_frac + more_frac),
        replace(bed, books_frac=bed.books_frac - wetter_frac),
        replace(bed, refilled=True),
    ):
        assert dose_mm(decide(less, Sky(hot=hot), rules)) <= dose_mm(surer) + CLOSE


@settings(derandomize=True, max_examples=200)
@given(beds(plain=False), st.floats(0.0, 1.0))
def test_however_a_bed_stands_it_is_never_filled_past_full_but_for_a_search(
    bed: BedView, rain_mm: float
) -> None:
    known = replace(bed, full_sd_frac=0.0, learning=Learning.NO)
    given_mm = dose_mm(decide(known, sky(rain_mm), Rules(in_hours=True, left_s=6 * 3600.0)))
    felt_frac = known.felt_frac if known.limp else 0.0  # a dry hand outranks probes
    most_frac = min(1.0, max(known.depletion_frac, known.sunrise_frac, felt_frac))
    carried_frac = known.day_use_frac  # a stage brings the day's use as well
    room_frac = max(0.0, most_frac - REFILL_TO_FRAC + carried_frac)
    assert given_mm <= room_frac * known.taw_mm + CLOSE


@settings(derandomize=True, max_examples=200)
@given(beds(plain=False), RULES, st.floats(0.0, 40.0), SHARE, st.sampled_from([0.25, 2.0, 8.0]))
def test_in_other_units_the_answer_is_the_same(
    bed: BedView, rules: Rules, rain_mm: float, chance_frac: float, scale: float
) -> None:
    """Millimetres that are `scale` times smaller, over an area in units `scale` times larger."""
    scaled = replace(
        bed,
        taw_mm=bed.taw_mm * scale,
        rain_holds_mm=bed.rain_holds_mm * scale,
        wetted_area_m2=bed.wetted_area_m2 / scale,
    )
    usual = decide(bed, sky(rain_mm, chance_frac), rules)
    other = decide(scaled, sky(rain_mm * scale, chance_frac), rules)
    assert other.reason is usual.reason
    assert dose_mm(other) == pytest.approx(scale * dose_mm(usual))
    assert other.numbers.get("dose_l", 0.0) == pytest.approx(usual.numbers.get("dose_l", 0.0))


@settings(derandomize=True, max_examples=100)
@given(st.lists(beds(plain=False), min_size=2, max_size=4), RULES, st.floats(0.0, 40.0))
def test_each_bed_is_judged_by_itself_in_whatever_order(
    several: list[BedView], rules: Rules, rain_mm: float
) -> None:
    ahead = [decide(bed, sky(rain_mm), rules) for bed in several]
    back = [decide(bed, sky(rain_mm), rules) for bed in reversed(several)]
    assert ahead == back[::-1]
