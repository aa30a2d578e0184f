"""What people say of a bed's water: poured by hand, and a turn that is to be missed."""

from __future__ import annotations

import math
from typing import Any

import pytest

from controller.effects import Answer, Settle
from controller.engine import Engine
from controller.events import Order, OrderKind
from controller.flagging import raise_flag
from controller.sensing.estimate import add_water
from controller.sensing.flags import Flag
from controller.sensing.poured import POURED_SD_FRAC, pour, take_back
from controller.state import BedWater, DoseTrial
from controller.view import picture
from controller.watering.limits import used_l
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden
from tests.probe_hands import A, Hands, drying, flat, until

AREA_M2, TAW_MM = 1.92, 77.0
NIGHT_S = 3600.0


def ask(hands: Hands, what: str, **more: Any) -> Answer:
    name, kind = f"t{hands.now_s}", OrderKind(what)
    order = Order(**hands.times(), order=name, what=kind, who="anna", bed="south", **more)
    hands.now_s += 1.0
    return next(e for e in hands.step(order) if isinstance(e, Answer))


def answer(bench: Bench, what: str, **more: Any) -> Answer:
    found = bench.order(what, "south", **more)
    assert found is not None
    return found


def depletion(engine: Engine) -> float:
    return engine.state.water["south"].depletion_mm / engine.state.days["south"].taw_mm


def shown(engine: Engine) -> dict[str, Any]:
    found: dict[str, Any] = picture(engine.run)["beds"]["south"]
    return found


def paused(hands: Hands) -> Hands:
    hands.live(2.0)
    ask(hands, "pause", until_utc_s=hands.times()["at_utc_s"] + 20 * DAY_S)
    return hands


# -- poured: the balance


def dry(over_mm: float = 0.0, depletion_mm: float = 40.0) -> BedWater:
    return BedWater(depletion_mm=depletion_mm, var_mm2=4.0, over_mm=over_mm)


def test_poured_water_fills_the_bed_and_is_less_sure_than_a_watering() -> None:
    by_hand, by_valve = dry(), dry()
    told = pour(by_hand, 19.2, AREA_M2, None, 0.0)
    add_water(by_valve, 10.0, 0.08, 0.0)
    assert by_hand.depletion_mm == by_valve.depletion_mm == pytest.approx(30.0)
    assert by_hand.var_mm2 == pytest.approx(4.0 + (POURED_SD_FRAC * 10.0) ** 2, rel=1e-3)
    assert by_hand.var_mm2 > by_valve.var_mm2
    assert (told.stored_mm, told.over_mm) == pytest.approx((10.0, 0.0))


def test_what_is_more_than_the_bed_lacks_stays_above_full() -> None:
    water = dry(depletion_mm=4.0)
    told = pour(water, 19.2, AREA_M2, None, 0.0)
    assert (water.depletion_mm, water.over_mm) == pytest.approx((0.0, 6.0))
    assert (told.stored_mm, told.over_mm) == pytest.approx((4.0, 6.0))


@pytest.mark.parametrize("depletion_mm", [40.0, 4.0, 0.0])
def test_taken_back_at_once_the_bed_is_as_it_was(depletion_mm: float) -> None:
    water = dry(depletion_mm=depletion_mm)
    told = pour(water, 19.2, AREA_M2, None, 0.0)
    take_back(water, told, TAW_MM, 0.0)
    assert water.depletion_mm == pytest.approx(depletion_mm)
    assert (water.over_mm, water.in_mm, water.drained_mm) == pytest.approx((0.0, 0.0, 0.0))
    assert water.var_mm2 >= 4.0


def test_taken_back_the_next_day_what_ran_through_is_not_lacked() -> None:
    water = dry(depletion_mm=4.0)
    told = pour(water, 19.2, AREA_M2, None, 0.0)
    left_mm = 6.0 * math.exp(-0.75)
    water.over_mm, water.drained_mm = left_mm, 6.0 - left_mm
    take_back(water, told, TAW_MM, 12 * 3600.0)
    assert water.depletion_mm == pytest.approx(4.0)
    assert (water.over_mm, water.drained_mm) == pytest.approx((0.0, 0.0), abs=1e-9)


def test_poured_water_counts_as_rain_for_a_dose_that_waits_for_its_answer() -> None:
    trial = DoseTrial(given_mm=30.0)
    pour(dry(), 19.2, AREA_M2, trial, 0.0)
    assert trial.rain_mm == pytest.approx(10.0)
    assert trial.given_mm == 30.0


# -- poured: the engine


def test_poured_is_believed_shown_recorded_and_outlives_a_restart() -> None:
    hands = paused(Hands(south_20=drying(0.23), south_40=drying(0.23)))
    before = depletion(hands.engine)
    got = ask(hands, "poured", litres=30.0)
    assert (got.status, got.reason) == ("accepted", "poured")
    assert got.text.startswith("South got 30 L by hand: ")
    gained = 30.0 / AREA_M2 / hands.engine.state.days["south"].taw_mm
    assert depletion(hands.engine) == pytest.approx(before - gained)
    assert shown(hands.engine)["poured"]["litres"] == 30.0
    note = hands.notes("order")[-1]
    assert (note.durable, note.code, note.text) == (True, "poured", "anna: poured 30 L")
    row = hands.notes("watering")[-1]
    assert (row.code, row.numbers) == ("poured", {"given_l": 30.0})
    again = Engine.load(hands.engine.dump())
    assert again.state.beds["south"].poured == hands.engine.state.beds["south"].poured
    hands.live(2.0)
    hours = [n for n in hands.notes("state") if n.code == "hour" and n.numbers["given_l"] > 0.0]
    assert [n.numbers["given_l"] for n in hours] == [30.0]


@pytest.mark.parametrize("litres", [None, 0.0, -1.0, math.nan, math.inf, 1e4])
def test_what_is_no_amount_changes_nothing(litres: float | None) -> None:
    hands = paused(Hands(south_20=drying(), south_40=drying()))
    before = hands.engine.state.water["south"].depletion_mm
    assert ask(hands, "poured", litres=litres).status == "invalid"
    assert hands.engine.state.water["south"].depletion_mm == before
    assert hands.engine.state.beds["south"].poured is None


def test_no_valve_is_charged_for_it() -> None:
    bench = Bench(small_garden())
    answer(bench, "poured", litres=60.0)
    assert used_l(bench.engine.state.ledger, bench.engine.run.trusted_s, "south") == 0.0
    assert bench.of(Settle) == []
    assert bench.engine.state.litres == 0.0


def test_it_asks_no_probe_for_an_answer() -> None:
    hands = paused(Hands(south_20=flat(0.23), south_40=flat(0.23)))
    ask(hands, "poured", litres=60.0)
    assert hands.engine.state.trials == {}
    hands.live(30.0)
    assert not hands.stands(Flag.NO_ANSWER_ONCE)


@pytest.mark.parametrize("tell", [True, False], ids=["told", "untold"])
def test_a_rise_that_follows_is_explained_only_where_it_was_told(tell: bool) -> None:
    wets = until(20 * 3600.0, flat(0.20), flat(0.27))
    hands = paused(Hands(south_20=wets, south_40=wets))
    hands.live(16.0)
    if tell:
        ask(hands, "poured", litres=60.0)
    hands.live(10.0)
    raised = hands.probe().counts
    assert ({"jump", "rise_unexplained"} & set(raised) == set()) is tell


def test_told_after_the_rise_it_answers_what_was_asked() -> None:
    hands = paused(Hands(south_20=flat(0.24), south_40=flat(0.24)))
    for flag in (Flag.JUMP, Flag.RISE_UNEXPLAINED):
        raise_flag(hands.engine.run, A, flag)
    assert hands.alert()
    ask(hands, "poured", litres=20.0)
    assert not hands.stands(Flag.JUMP)
    assert not hands.stands(Flag.RISE_UNEXPLAINED)
    assert hands.alert() == ""


def test_it_teaches_nothing_of_the_full_point() -> None:
    told, untold = (paused(Hands(south_20=flat(0.25), south_40=flat(0.25))) for _ in range(2))
    ask(told, "poured", litres=60.0)
    for hands in (told, untold):
        hands.live(60.0)
    odds = [hands.engine.state.water["south"].full_odds_frac for hands in (told, untold)]
    assert odds[0] == odds[1]


def test_a_bed_that_was_due_is_judged_anew_by_what_it_got() -> None:
    bench = Bench(small_garden(hours="22:00-sunrise"))
    bench.engine.state.water["south"].depletion_mm = 0.3 * TAW_MM
    answer(bench, "poured", litres=40.0)
    bench.live(7200.0, tick_s=60.0)
    assert bench.litres["south"] == 0.0


def test_its_own_watering_goes_on_and_the_person_is_told() -> None:
    bench = Bench(small_garden())
    bench.dry_out(0.6)
    bench.live(600.0)
    assert "Its own watering goes on" in answer(bench, "poured", litres=10.0).text


def test_it_is_taken_back_within_a_day_and_once() -> None:
    hands = paused(Hands())
    before = depletion(hands.engine)
    ask(hands, "poured", litres=30.0)
    assert depletion(hands.engine) < before
    assert ask(hands, "forget_poured").status == "accepted"
    assert depletion(hands.engine) == pytest.approx(before)
    assert shown(hands.engine)["poured"] is None
    assert ask(hands, "forget_poured").status == "refused"
    ask(hands, "poured", litres=30.0)
    hands.live(25.0)
    assert ask(hands, "forget_poured").reason == "no_poured"


# -- a turn that is missed


def due(depletion_frac: float = 0.42) -> Bench:
    """South comes to its line; its hours begin at 22:00, and it is 23:00 by 2.5 minutes."""
    bench = Bench(small_garden(hours="22:00-sunrise"), ready=False)
    bench.connect()
    bench.dry_out(depletion_frac)
    return bench


def code(bench: Bench) -> str:
    return bench.engine.state.beds["south"].said.code


def test_without_a_word_it_is_watered() -> None:
    bench = due()
    bench.live(NIGHT_S)
    assert code(bench) == "at_line"
    assert bench.litres["south"] > 0.0


def test_a_missed_turn_is_one_night_and_says_so() -> None:
    bench = due()
    got = answer(bench, "miss")
    assert (got.status, got.reason) == ("accepted", "to_miss")
    bench.live(NIGHT_S)
    assert code(bench) == "missed"
    assert "misses this turn" in bench.engine.state.beds["south"].said.text
    assert shown(bench.engine)["miss"]["tonight"] is True
    assert [n.code for n in bench.notes("decision")].count("missed") == 1
    bench.live(DAY_S / 4.0, tick_s=60.0)
    assert bench.litres["south"] == 0.0
    bench.live(20 * 3600.0, tick_s=60.0)
    assert bench.litres["south"] > 0.0
    assert shown(bench.engine)["miss"] is None


def test_a_word_of_another_kind_in_the_night_does_not_end_the_miss() -> None:
    bench = due()
    answer(bench, "miss")
    bench.live(600.0)
    answer(bench, "stage", stage="first_flower")
    bench.live(NIGHT_S)
    assert code(bench) == "missed"
    assert bench.litres["south"] == 0.0


def test_it_waits_for_the_turn_that_comes() -> None:
    bench = due(0.1)
    answer(bench, "miss")
    bench.live(3 * DAY_S, tick_s=120.0)
    assert shown(bench.engine)["miss"]["tonight"] is False
    assert "missed" not in {n.code for n in bench.notes("decision")}


@pytest.mark.parametrize("depletion_frac", [0.52, 0.9], ids=["by-sunrise", "past"])
def test_never_past_the_floor(depletion_frac: float) -> None:
    bench = due(depletion_frac)
    answer(bench, "miss")
    bench.live(2 * NIGHT_S)
    assert bench.litres["south"] > 0.0
    assert shown(bench.engine)["miss"] is None


def test_it_can_be_taken_back_in_the_night() -> None:
    bench = due()
    answer(bench, "miss")
    bench.live(NIGHT_S)
    assert answer(bench, "forget_miss").status == "accepted"
    bench.live(NIGHT_S)
    assert bench.litres["south"] > 0.0
    assert answer(bench, "forget_miss").reason == "no_miss"


def test_a_watering_under_way_ends_and_was_the_turn() -> None:
    bench = due()
    bench.live(900.0)
    given_l = bench.litres["south"]
    assert given_l > 0.0
    assert answer(bench, "miss").reason == "missed"
    bench.live(4 * 3600.0)
    assert bench.litres["south"] < given_l + 3.0
    assert code(bench) == "missed"
    assert [n.code for n in bench.notes("watering")] == ["missed"]
    bench.live(20 * 3600.0, tick_s=60.0)
    assert shown(bench.engine)["miss"] is None


def test_what_a_person_ordered_or_the_floor_needs_is_not_missed() -> None:
    bench = due(0.1)
    bench.live(300.0)
    answer_to_water = bench.order("water", "south", litres=20.0)
    assert answer_to_water is not None
    assert answer(bench, "miss").reason == "by_hand"
    dry_bench = due(0.95)
    dry_bench.live(600.0)
    assert answer(dry_bench, "miss").reason == "floor_passed"


def test_a_miss_outlives_a_restart() -> None:
    bench = due(0.1)
    answer(bench, "miss")
    again = Engine.load(bench.engine.dump())
    assert again.state.beds["south"].miss == bench.engine.state.beds["south"].miss is not None
