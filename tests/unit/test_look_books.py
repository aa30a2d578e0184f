"""A look at a bed that no probe tells of corrects its books; where probes tell, it does not."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.effects import Answer
from controller.events import Order, OrderKind
from controller.garden import Garden
from controller.sensing.spread import accounted_mm, stored_mm
from controller.view import picture
from controller.watering.eye import (
    EASED_MOST_FRAC,
    PRIOR,
    Eye,
    Leaves,
    is_worth,
    tells,
)
from tests.probe_hands import Hands, flat
from tests.unit.test_eye import see as look_at
from tests.unit.test_sister_beds import frac, held, sisters, var_frac2

LINE = 0.40
FRACS = st.floats(0.0, 0.9)
SPREADS = st.floats(0.005, 0.3)


def told(leaves: Leaves, depletion: float, spread: float, eye: Eye | None = None) -> Any:
    return tells(
        eye or Eye(),
        leaves,
        depletion_frac=depletion,
        spread_frac=spread,
        line_frac=LINE,
        at_utc_s=0.0,
    )


@given(FRACS, SPREADS)
def test_leaves_that_hang_never_speak_for_a_wetter_bed_than_upright_ones(
    depletion: float, spread: float
) -> None:
    upright, rolled, limp = (told(leaves, depletion, spread) for leaves in Leaves)
    assert upright[0] <= depletion + 1e-9 <= rolled[0] + 2e-9
    assert limp == rolled, "how far they hang has other reasons as well"
    for mean, var in (upright, rolled):
        assert abs(mean - depletion) <= 1.5 * spread
        assert 0.0 < var <= 2.0 * spread**2


def test_what_was_to_be_expected_tells_nothing() -> None:
    mean, var = told(Leaves.UPRIGHT, 0.05, 0.05)
    assert mean == pytest.approx(0.05, abs=0.002)
    assert var == pytest.approx(0.05**2, rel=0.05)


def test_where_the_eye_has_been_before_counts() -> None:
    drier = Eye()
    for _ in range(6):
        look_at(drier, Leaves.UPRIGHT, 0.5, spread=0.02)
    assert drier.weights_frac != list(PRIOR)
    assert told(Leaves.ROLLED, 0.42, 0.12, drier)[0] > told(Leaves.ROLLED, 0.42, 0.12)[0]


@pytest.mark.parametrize(
    ("depletion", "worth"), [(0.0, False), (0.27, False), (0.29, True), (0.6, True)]
)
def test_a_bed_near_its_line_is_worth_a_look(depletion: float, worth: bool) -> None:
    assert is_worth(depletion, LINE) is worth


def see(hands: Hands, bed: str, leaves: int, when: str = "morning") -> Answer:
    order = Order(
        **hands.times(),
        order=f"look{hands.now_s}",
        what=OrderKind.LOOK,
        who="anna",
        bed=bed,
        leaves=leaves,
        when=when,
    )
    hands.now_s += 1.0
    return next(one for one in hands.step(order) if isinstance(one, Answer))


@pytest.fixture
def hands() -> Hands:
    """`south` with probes, `wall` that follows it, `hedge` by its books alone."""
    one = held(Hands(sisters(wall="south"), south_20=flat(0.235), south_40=flat(0.235)))
    one.live(30.0)
    return one


def test_rolled_leaves_in_a_bed_without_probes_make_its_books_drier(hands: Hands) -> None:
    before, unsure = frac(hands, "hedge"), var_frac2(hands, "hedge")
    thirst = hands.engine.state.water["hedge"].log_thirst
    answer = see(hands, "hedge", 1)
    after = frac(hands, "hedge")
    assert after > before + 0.03
    assert var_frac2(hands, "hedge") < unsure
    assert hands.engine.state.water["hedge"].log_thirst >= thirst
    used = f"No probe tells of Hedge: by this look {100 * after:.0f} % is used, before it "
    assert used + f"{100 * before:.0f} %." in answer.text


def test_upright_leaves_near_the_line_make_them_wetter(hands: Hands) -> None:
    hands.live(72.0)
    before = frac(hands, "hedge")
    assert before > 0.3
    see(hands, "hedge", 0)
    assert frac(hands, "hedge") < before - 0.005


@pytest.mark.parametrize("bed", ["south", "wall"])
def test_a_bed_that_goes_by_probes_keeps_to_them(hands: Hands, bed: str) -> None:
    before = frac(hands, bed)
    answer = see(hands, bed, 1)
    assert answer.reason == "learned"
    assert frac(hands, bed) == before
    assert "books" not in answer.text


@pytest.mark.parametrize(("leaves", "when"), [(1, "midday"), (0, "midday")])
def test_a_look_that_teaches_nothing_leaves_the_books(hands: Hands, leaves: int, when: str) -> None:
    before = frac(hands, "hedge")
    see(hands, "hedge", leaves, when)
    assert frac(hands, "hedge") == before


def test_a_second_look_on_the_same_morning_tells_the_books_nothing(hands: Hands) -> None:
    see(hands, "hedge", 1)
    once = frac(hands, "hedge")
    for _ in range(50):
        see(hands, "hedge", 1)
    assert frac(hands, "hedge") == once
    hands.live(24.0)
    before = frac(hands, "hedge")
    see(hands, "hedge", 1)
    assert frac(hands, "hedge") > before


def test_upright_leaves_every_morning_leave_a_drying_bed_to_come_to_its_floor(
    hands: Hands,
) -> None:
    eased = 0.0
    for _ in range(14):
        before = frac(hands, "hedge")
        see(hands, "hedge", 0)
        eased += before - frac(hands, "hedge")
        hands.live(24.0)
    assert 0.05 < eased <= EASED_MOST_FRAC + 1e-9
    assert frac(hands, "hedge") > hands.engine.state.days["hedge"].floor_frac
    hands.engine.state.water["hedge"].wetted_utc_s = hands.times()["at_utc_s"]  # it drinks
    before = frac(hands, "hedge")
    see(hands, "hedge", 0)
    assert frac(hands, "hedge") < before


@pytest.mark.parametrize("over", [0.0, 8.0])
@pytest.mark.parametrize("lacks", [0.0, 0.02, 0.5, 0.97, 1.0])
@pytest.mark.parametrize("leaves", list(Leaves))
def test_a_look_moves_no_bed_the_other_way_nor_past_full_or_empty(
    hands: Hands, leaves: Leaves, lacks: float, over: float
) -> None:
    engine = hands.engine
    water, day = engine.state.water["hedge"], engine.run.days["hedge"]
    water.depletion_mm, water.over_mm = lacks * day.taw_mm, over if lacks == 0.0 else 0.0
    water.var_mm2 = (0.3 * day.taw_mm) ** 2
    before = water.depletion_mm - water.over_mm
    see(hands, "hedge", leaves)
    after = water.depletion_mm - water.over_mm
    assert min(0.0, before) - 1e-9 <= after <= day.taw_mm + 1e-9
    if leaves is Leaves.UPRIGHT:
        assert after <= before + 1e-9
    else:
        assert after >= before - 1e-9


def test_a_bed_whose_probes_fell_silent_goes_by_the_eye_and_takes_nothing_back() -> None:
    one = held(Hands(sisters(), south_20=flat(0.235), south_40=flat(0.235)))
    one.live(30.0)
    assert one.engine.state.water["south"].pulls
    one.probes.clear()
    one.live(6.0)
    before = frac(one, "south")
    see(one, "south", 1)
    assert frac(one, "south") > before
    assert not one.engine.state.water["south"].pulls


@pytest.mark.parametrize("which", ["transplanted", "cleared"])
def test_a_bed_without_plants_is_worth_no_look_and_its_books_stay(which: str) -> None:
    plot = sisters()
    day = date(2040, 1, 1) if which == "transplanted" else date(2020, 6, 1)
    told = json.loads(plot.model_dump_json(exclude_none=True))
    told["beds"]["hedge"][which] = day.isoformat()
    if which == "cleared":
        told["beds"]["hedge"]["transplanted"] = "2020-05-01"
    hands = held(Hands(Garden.model_validate(told)))
    hands.live(2.0)
    water, day_of = hands.engine.state.water["hedge"], hands.engine.run.days["hedge"]
    water.depletion_mm = before_mm = 0.4 * day_of.taw_mm
    assert not picture(hands.engine.run)["beds"]["hedge"]["looks"]["worth"]
    see(hands, "hedge", 1)
    assert water.depletion_mm == before_mm


def test_the_books_still_balance(hands: Hands) -> None:
    water = hands.engine.state.water["hedge"]
    off = stored_mm(water) - accounted_mm(water)
    for leaves in (1, 2, 0, 0, 1):
        see(hands, "hedge", leaves)
        hands.live(20.0)
    assert stored_mm(water) - accounted_mm(water) == pytest.approx(off, abs=1e-6)


def test_the_picture_says_whether_a_look_is_worth_it(hands: Hands) -> None:
    def worth() -> bool:
        return bool(picture(hands.engine.run)["beds"]["hedge"]["looks"]["worth"])

    hands.engine.state.water["hedge"].depletion_mm *= 0.1
    assert not worth()
    hands.live(24.0 * 6)
    assert frac(hands, "hedge") > LINE
    assert worth()
    see(hands, "hedge", 0)
    assert not worth(), "it was looked at this morning"
