"""A hand in the soil of a bed whose probes agree: it moves what is not known; part of it stays."""

from __future__ import annotations

from typing import Any

import pytest

from controller.effects import Answer
from controller.events import Order, OrderKind
from controller.sensing.by_hand import Feel, told_frac
from controller.sensing.spread import spread_frac
from controller.view import picture
from tests.probe_hands import Hands, flat

THETA = 0.235  # of a soil that is full at 0.28 and wilts at 0.14


def ask(hands: Hands, what: str, **more: Any) -> Answer:
    order = Order(
        **hands.times(),
        order=f"h{hands.now_s}",
        what=OrderKind(what),
        who="anna",
        bed="south",
        **more,
    )
    hands.now_s += 1.0
    return next(e for e in hands.step(order) if isinstance(e, Answer))


def lacks_frac(hands: Hands) -> float:
    water = hands.engine.state.water["south"]
    return (water.depletion_mm - water.over_mm) / hands.engine.run.days["south"].taw_mm


@pytest.fixture
def sure() -> Hands:
    """A bed that two steady probes have told of for three days."""
    hands = Hands(south_20=flat(THETA), south_40=flat(THETA))
    hands.live(2.0)
    ask(hands, "pause", until_utc_s=hands.times()["at_utc_s"] + 20 * 86_400.0)
    hands.live(70.0)
    return hands


def full_m3_m3(hands: Hands) -> float:
    return float(picture(hands.engine.run)["beds"]["south"]["learned"]["full_m3_m3"])


def test_a_dry_feel_moves_a_bed_that_its_own_filter_is_sure_of(sure: Hands) -> None:
    water, run = sure.engine.state.water["south"], sure.engine.run
    before, full = lacks_frac(sure), full_m3_m3(sure)
    own_sd_frac = water.var_mm2**0.5 / run.days["south"].taw_mm
    unsure_frac = spread_frac(water, run.soils["south"], run.days["south"])
    assert own_sd_frac < 0.5 * unsure_frac  # what this is about
    told = told_frac(Feel.DRY, run.days["south"].line_frac)
    answer = ask(sure, "soil", feel="dry", depth_cm=20.0)
    assert f"before it was {100.0 * before:.0f} %" in answer.text
    assert 0.2 * (told - before) < lacks_frac(sure) - before < told - before
    assert full_m3_m3(sure) > full + 0.002


def test_its_share_of_the_full_point_stays_and_the_rest_fades(sure: Hands) -> None:
    before = lacks_frac(sure)
    ask(sure, "soil", feel="dry", depth_cm=20.0)
    moved, full = lacks_frac(sure) - before, full_m3_m3(sure)
    sure.live(4 * 24.0)
    assert 0.2 * moved < lacks_frac(sure) - before < 0.9 * moved
    assert full_m3_m3(sure) == full


def test_a_feel_that_agrees_leaves_the_bed_and_its_full_point(sure: Hands) -> None:
    run = sure.engine.run
    told = told_frac(Feel.DRY, run.days["south"].line_frac)
    sure.engine.state.water["south"].depletion_mm = (told - 0.004) * run.days["south"].taw_mm
    before, full = lacks_frac(sure), full_m3_m3(sure)
    ask(sure, "soil", feel="dry", depth_cm=20.0)
    assert lacks_frac(sure) == pytest.approx(before, abs=0.004)
    assert full_m3_m3(sure) == pytest.approx(full, abs=0.001)


def test_a_doubted_probe_lets_no_hand_teach_the_full_point(sure: Hands) -> None:
    sure.probe().trust = "doubtful"
    before, full = lacks_frac(sure), full_m3_m3(sure)
    ask(sure, "soil", feel="dry", depth_cm=20.0)
    assert full_m3_m3(sure) == full
    assert lacks_frac(sure) > before + 0.02


def test_what_a_hand_taught_of_the_full_point_is_forgotten_with_the_rest(sure: Hands) -> None:
    told = picture(sure.engine.run)["beds"]["south"]["learned"]["full_told_m3_m3"]
    ask(sure, "soil", feel="dry", depth_cm=20.0)
    assert full_m3_m3(sure) != told
    ask(sure, "forget")
    assert full_m3_m3(sure) == told


def test_five_feels_in_a_row_move_it_little_further_than_one(sure: Hands) -> None:
    before = lacks_frac(sure)
    ask(sure, "soil", feel="dry", depth_cm=20.0)
    once = lacks_frac(sure) - before
    for _ in range(4):
        ask(sure, "soil", feel="dry", depth_cm=20.0)
    assert lacks_frac(sure) - before < 1.6 * once
