"""People's orders: a refusal says why, what is allowed and when; a yes waits for the disk."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from controller.effects import Answer, Close, Lease, Reserve
from controller.events import ForeignController, LedgerEntry, StoreState, WeatherReading
from controller.orders import REFUSALS
from controller.watering.decision import Reason
from controller.watering.limits import Refused
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

BEDS = ("south", "wall", "hedge")
FLOW_L_MIN = 1.6
CAP_L = 122.0  # 1.5 refills from the floor: 1.5 x 0.55 x 148 L


def answered(bench: Bench, what: str, bed: str | None = "south", **more: Any) -> Answer:
    answer = bench.order(what, bed, **more)
    assert answer is not None
    return answer


def water(bench: Bench, bed: str = "south", **more: Any) -> Answer:
    asked: dict[str, Any] = more or {"litres": 20.0}
    return answered(bench, "water", bed, **asked)


# -- yes


@pytest.mark.parametrize(
    ("asked", "litres"),
    [
        pytest.param({"litres": 20.0}, 20.0, id="litres"),
        pytest.param({"open_s": 600.0}, 16.0, id="minutes"),
    ],
)
def test_an_accepted_order_says_what_it_will_give(asked: dict[str, Any], litres: float) -> None:
    answer = water(Bench(small_garden()), **asked)
    assert (answer.status, answer.dose) == ("accepted", "1-1")
    assert answer.litres == pytest.approx(litres)
    assert answer.open_s == pytest.approx(60.0 * litres / FLOW_L_MIN)


def test_a_bed_that_was_ordered_to_drink_says_so() -> None:
    bench = Bench(small_garden())
    water(bench, litres=40.0)
    said = bench.engine.state.beds["south"].said
    assert (said.code, said.text) == (Reason.ORDERED, "South is watered by hand: 40 L.")


def test_a_refill_gives_what_the_bed_lacks() -> None:
    bench = Bench(small_garden())
    bench.dry_out(0.3)
    bench.live(60.0)
    water_state = bench.engine.state.water["south"]
    answer = water(bench, refill=True)
    assert answer.litres == pytest.approx((water_state.depletion_mm - 0.05 * 77.0) * 1.92)


def test_a_full_bed_refuses_a_refill() -> None:
    bench = Bench(small_garden())
    bench.dry_out(0.0)
    bench.live(60.0)
    answer = water(bench, refill=True)
    assert (answer.status, answer.reason) == ("refused", "full")


def test_the_answer_waits_until_the_order_is_on_disk() -> None:
    bench = Bench(small_garden())
    bench.record_mode = "hold"
    assert bench.order("water", "south", litres=20.0) is None
    assert bench.of(Lease) == []
    bench.let_record()
    answer = bench.answer("o1")
    assert answer is not None
    assert answer.status == "accepted"
    bench.live(3600.0)
    assert bench.litres["south"] == pytest.approx(20.0, rel=0.02)


def test_an_order_that_cannot_be_recorded_is_answered_as_such() -> None:
    bench = Bench(small_garden())
    bench.record_mode = "fail"
    first = water(bench)
    assert (first.status, first.reason) == ("unrecorded", "cannot_record")
    second = water(bench)  # known by now: not even tried
    assert (second.status, second.reason) == ("unrecorded", "cannot_record")
    assert len(bench.of(Reserve)) == 1
    assert bench.of(Lease) == []


def test_a_person_may_water_a_bed_that_is_wet_paused_or_cleared() -> None:
    bench = Bench(small_garden())
    bench.dry_out(0.0)
    bench.order("pause", "south", until_utc_s=bench.at_utc_s + 9000.0)
    assert water(bench).status == "accepted"


# -- refused, with a way on


def spent(bench: Bench) -> Bench:
    bench.engine.state.ledger.append(
        LedgerEntry(
            dose="0-1", bed="south", charged_l=CAP_L, ended_trusted_s=bench.trusted_s - 80_000.0
        )
    )
    return bench


def often(bench: Bench) -> Bench:
    bench.engine.state.ledger.extend(
        LedgerEntry(
            dose=f"0-{n}", bed="south", charged_l=1.0, ended_trusted_s=bench.trusted_s - 5000.0
        )
        for n in range(12)
    )
    return bench


def elsewhere(bench: Bench) -> Bench:
    bench.engine.state.ledger.append(
        LedgerEntry(dose="0-1", bed="wall", charged_l=190.0, ended_trusted_s=bench.trusted_s - 50.0)
    )
    return bench


def rested(bench: Bench) -> Bench:
    water(bench)
    bench.live(120.0)
    bench.order("stop", "south")
    bench.live(60.0)
    return bench


def busy(bench: Bench) -> Bench:
    water(bench, "wall")
    bench.live(30.0)
    return bench


def locked(bench: Bench) -> Bench:
    answered(bench, "lock", None, why="at the pipes")
    return bench


def offline(bench: Bench) -> Bench:
    bench.disconnect()
    return bench


def cold(bench: Bench) -> Bench:
    bench.step(WeatherReading(**bench.times(), mast="mast", temp_c=1.9))
    return bench


def foreign(bench: Bench) -> Bench:
    bench.step(ForeignController(**bench.times(), epoch=99))
    return bench


def full_disk(bench: Bench) -> Bench:
    bench.step(StoreState(**bench.times(), can_record=False))
    return bench


def latched(bench: Bench) -> Bench:
    bench.contracts["south"] = 2
    bench.live(30.0)
    return bench


def unarmed(bench: Bench) -> Bench:
    bench.engine.state.armed = False
    return bench


def lost(bench: Bench) -> Bench:
    bench.engine.state.budget_spent_until_trusted_s = bench.trusted_s + 5000.0
    return bench


REFUSED: list[Any] = [
    pytest.param(Refused.NOT_ARMED, unarmed, 20.0, 0.0, None, id="not-armed"),
    pytest.param(Refused.LOCKED, locked, 20.0, 0.0, None, id="locked"),
    pytest.param(Refused.OTHER_CONTROLLER, foreign, 20.0, 0.0, None, id="other-controller"),
    pytest.param(Refused.LINK_LOST, offline, 20.0, 0.0, None, id="link-lost"),
    pytest.param(Refused.VALVE_LATCHED, latched, 20.0, 0.0, None, id="latched"),
    pytest.param(Refused.FROST, cold, 20.0, 0.0, None, id="frost"),
    pytest.param(Refused.BUDGET_SPENT, lost, 20.0, 0.0, 5000.0, id="budget-spent"),
    # dose_l is 1.3 x 81.3 = 105.7 L; / 1.3
    pytest.param(Refused.DOSE_CAP, lambda b: b, 100.0, 81.3, 0.0, id="dose-cap"),
    pytest.param(Refused.BED_CAP, spent, 20.0, 0.0, 6400.0, id="bed-cap"),
    # 200 - 190 = 10 L are left; less 135 s of flow
    pytest.param(Refused.SITE_CAP, elsewhere, 20.0, 6.4, 86350.0, id="site-cap"),
    # what can be begun no more today is not offered, however much of the budget is left
    pytest.param(Refused.STARTS, often, 20.0, 0.0, 81400.0, id="starts"),
    pytest.param(Refused.BUSY, busy, 20.0, 81.3, None, id="busy"),
    pytest.param(Refused.RESTING, rested, 20.0, 81.3, 540.0, id="resting"),
]


@pytest.mark.hazard("H1")
@pytest.mark.parametrize(("why", "prepare", "litres", "allowed_l", "next_s"), REFUSED)
def test_a_refusal_says_why_what_is_allowed_and_when(
    why: Refused,
    prepare: Callable[[Bench], Bench],
    litres: float,
    allowed_l: float,
    next_s: float | None,
) -> None:
    bench = prepare(Bench(small_garden(beds=BEDS, site_l_day=200.0)))
    before = len(bench.of(Reserve))
    answer = water(bench, litres=litres)
    assert (answer.status, answer.reason) == ("refused", why.value)
    assert answer.text == REFUSALS[why]
    assert answer.allowed_l == pytest.approx(allowed_l, abs=0.2)
    if next_s is None:
        assert answer.next_possible_utc_s is None
    else:
        assert answer.next_possible_utc_s is not None
        assert answer.next_possible_utc_s - bench.at_utc_s == pytest.approx(next_s, abs=10.0)
    assert len(bench.of(Reserve)) == before
    assert [n.code for n in bench.notes("order")][-1] == "water", "a refusal leaves its row"


def test_a_record_that_cannot_be_written_is_503_and_not_a_refusal() -> None:
    answer = water(full_disk(Bench(small_garden())))
    assert (answer.status, answer.reason) == ("unrecorded", "cannot_record")


@pytest.mark.hazard("V8")
def test_the_supply_feeds_no_second_bed_beyond_nine_tenths() -> None:
    # 200 emitters of 2 L/h: 6.67 L/min each, 13.3 together against 0.9 x 14
    bench = Bench(small_garden(beds=BEDS, at_once=2, emitters=200))
    assert water(bench, "wall", litres=60.0).status == "accepted"
    bench.live(30.0)
    answer = water(bench, litres=60.0)
    assert (answer.status, answer.reason) == ("refused", "supply")


def test_what_is_allowed_is_accepted_when_asked_for() -> None:
    bench = elsewhere(Bench(small_garden(beds=BEDS, site_l_day=200.0)))
    refused = water(bench, litres=50.0)
    assert refused.allowed_l is not None
    assert water(bench, litres=refused.allowed_l).status == "accepted"


# -- malformed


@pytest.mark.parametrize(
    ("asked", "reason"),
    [
        pytest.param({"litres": 1.599}, "too_short", id="59.96-s"),
        pytest.param({"open_s": 59.0}, "too_short", id="59-s"),
        pytest.param({"litres": 0.0}, "not_finite", id="nothing"),
        pytest.param({"litres": -5.0}, "not_finite", id="negative"),
        pytest.param({"litres": math.nan}, "not_finite", id="nan"),
        pytest.param({"litres": math.inf}, "not_finite", id="inf"),
        pytest.param({"open_s": math.nan}, "not_finite", id="nan-minutes"),
        pytest.param({"litres": 5.0, "open_s": 600.0}, "one_amount", id="two-amounts"),
        pytest.param({"litres": 5.0, "refill": True}, "one_amount", id="amount-and-refill"),
        pytest.param({"why": "thirst"}, "one_amount", id="no-amount"),
    ],
)
def test_an_order_that_makes_no_sense_is_invalid(asked: dict[str, Any], reason: str) -> None:
    bench = Bench(small_garden())
    answer = water(bench, **asked)
    assert (answer.status, answer.reason) == ("invalid", reason)
    assert bench.of(Reserve) == []


def test_a_minute_is_the_least() -> None:
    assert water(Bench(small_garden()), open_s=60.0).status == "accepted"


@pytest.mark.parametrize("what", ["water", "stop", "pause", "resume"])
def test_a_bed_that_nobody_knows(what: str) -> None:
    answer = answered(Bench(small_garden()), what, "moon", litres=5.0)
    assert (answer.status, answer.reason) == ("unknown", "no_such_bed")


@pytest.mark.hazard("H2")
@pytest.mark.parametrize("until_s", [None, -1.0, 0.0, math.nan])
def test_a_pause_needs_an_end_that_is_to_come(until_s: float | None) -> None:
    bench = Bench(small_garden())
    until_utc_s = None if until_s is None else bench.at_utc_s + until_s
    assert answered(bench, "pause", until_utc_s=until_utc_s).status == "invalid"
    assert bench.engine.state.beds["south"].pause is None


def test_a_lock_needs_its_reason() -> None:
    bench = Bench(small_garden())
    assert answered(bench, "lock", None, why="  ").status == "invalid"
    assert bench.engine.state.lock_why is None


# -- closing and alerts


def test_stop_works_without_link_record_or_readiness() -> None:
    bench = Bench(small_garden(beds=BEDS, master=True), ready=False)
    bench.step(StoreState(**bench.times(), can_record=False))
    seen = len(bench.log)
    assert answered(bench, "stop_all", None).status == "accepted"
    closed = [e.valve for _, e in bench.log[seen:] if isinstance(e, Close)]
    assert set(closed) == {*BEDS, "master"}


def test_stop_of_one_bed_leaves_the_others_alone() -> None:
    bench = Bench(small_garden(beds=BEDS, at_once=3))
    for bed in ("south", "wall"):
        water(bench, bed)
        bench.live(30.0)
    assert bench.open_beds() == ["south", "wall"]
    answered(bench, "stop", "south")
    assert bench.open_beds() == ["wall"]


def test_an_alert_without_latch_is_not_lifted_by_hand() -> None:
    bench = Bench(small_garden())
    bench.order("pause", until_utc_s=bench.at_utc_s + 900.0)
    answer = answered(bench, "clear", None, alert="paused")
    assert (answer.status, answer.reason) == ("accepted", "no_latch")
    assert "paused" in bench.alert_codes()
    assert answered(bench, "clear", None, alert="nothing").status == "unknown"


def test_a_latch_is_lifted_only_with_a_reason() -> None:
    bench = latched(Bench(small_garden()))
    (alert,) = bench.engine.state.alerts
    assert answered(bench, "clear", None, alert=alert, why=" ").status == "invalid"
    assert "node_contract" in bench.alert_codes()
    bench.contracts.clear()
    assert answered(bench, "clear", None, alert=alert, why="new firmware").status == "accepted"
    bench.live(60.0)
    assert bench.alert_codes() == set()


def test_every_refusal_has_its_sentence() -> None:
    assert set(REFUSALS) == set(Refused)
    assert all(text.endswith(".") for text in REFUSALS.values())
    assert len(set(REFUSALS.values())) == len(REFUSALS)


@pytest.mark.hazard("H1")
def test_the_guard_does_not_ask_who_asks() -> None:
    """I9: where the policy is refused, a person is, with the same numbers."""
    for prepare in (spent, often, locked, offline, cold, foreign, latched, unarmed, lost):
        bench = prepare(Bench(small_garden(beds=BEDS)))
        bench.dry_out(0.6, "south")
        bench.live(300.0)
        assert bench.leases("south") == [], prepare.__name__
        assert water(bench).status in {"refused", "unrecorded"}, prepare.__name__
