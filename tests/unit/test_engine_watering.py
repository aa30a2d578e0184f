"""One bed through a whole watering, and everything that can go wrong on the way."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest

from controller.effects import Lease, Outcome, Reserve, Settle
from controller.events import LedgerEntry, Recorded, StoreState, WeatherReading
from controller.view import limits_json
from controller.watering.decision import Reason
from controller.watering.limits import STARTS_MOST
from controller.watering.words import words
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden

KINDS: dict[str, dict[str, Any]] = {
    "plain": {"master": False, "meter": False},
    "master": {"master": True, "meter": False},
    "meter": {"master": False, "meter": True},
    "master-and-meter": {"master": True, "meter": True},
}
FLOW_L_MIN = 1.6  # 48 emitters of 2 L/h
TAW_L = 77.0 * 1.92


@pytest.fixture(params=list(KINDS))
def bench(request: pytest.FixtureRequest) -> Bench:
    return Bench(small_garden(**KINDS[request.param]))


@pytest.fixture(params=["master", "master-and-meter"])
def mastered(request: pytest.FixtureRequest) -> Bench:
    return Bench(small_garden(**KINDS[request.param]))


def running(bench: Bench, litres: float = 40.0, for_s: float = 120.0) -> Bench:
    """A watering by hand that runs since `for_s`."""
    bench.order("water", "south", litres=litres)
    bench.live(for_s)
    assert bench.open_beds() == ["south"]
    return bench


def settles(bench: Bench) -> list[Settle]:
    return bench.of(Settle)


# -- the whole of it


def test_a_dry_bed_gets_what_was_decided_in_pulses_and_no_more(bench: Bench) -> None:
    bench.dry_out(0.6)
    bench.live(3 * 3600.0)
    decision = next(n for n in bench.notes("decision") if "dose_l" in n.numbers)
    want_l = decision.numbers["dose_l"]
    assert want_l == pytest.approx(0.55 * TAW_L, rel=0.1)
    assert bench.litres["south"] == pytest.approx(want_l, rel=0.02)
    pulses = bench.of(Reserve)
    assert len(pulses) == 2  # 81 L at 1.6 L/min are 51 min: more than one pulse
    assert {one.watering for one in pulses} == {"1-1"}
    assert [one.dose for one in pulses] == ["1-1", "1-1.2"]
    assert [n.code for n in bench.notes("watering")] == ["done"]


def test_between_two_pulses_the_bed_soaks_for_half_an_hour(bench: Bench) -> None:
    bench.dry_out(0.6)
    bench.live(3 * 3600.0)
    edges = [(at_s, edge) for at_s, valve, edge in bench.edges if valve == "south"]
    assert [edge for _, edge in edges] == ["open", "close", "open", "close"]
    assert edges[2][0] - edges[1][0] >= 1800.0


def test_every_reservation_comes_to_exactly_one_end_and_charges_at_least_what_flowed(
    bench: Bench,
) -> None:
    bench.dry_out(0.6)
    bench.live(3 * 3600.0)
    reserved = {one.dose: one for one in bench.of(Reserve)}
    assert [one.dose for one in settles(bench)] == list(reserved)
    for one in settles(bench):
        assert one.outcome is Outcome.CONFIRMED
        assert one.charged_l <= reserved[one.dose].reserved_l
        assert one.open_s <= reserved[one.dose].open_s
    assert sum(one.charged_l for one in settles(bench)) >= bench.litres["south"] - 1e-6
    assert sum(one.credited_l for one in settles(bench)) == pytest.approx(
        bench.litres["south"], abs=0.5
    )


def test_leases_are_short_and_renewed_well_before_they_end(bench: Bench) -> None:
    bench.dry_out(0.45)
    bench.live(3600.0)
    leases = bench.leases("south")
    assert all(later - earlier <= 30.0 for earlier, later in pairwise(leases))
    assert all(1 <= lease.open_s <= 90 for lease in bench.of(Lease))
    orders = [lease.seq for lease in bench.of(Lease)]
    assert orders == sorted(set(orders))
    assert max(orders) <= max(one.seq_high for one in bench.of(Reserve))


def test_no_lease_lets_a_pulse_outlast_its_reservation(bench: Bench) -> None:
    bench.dry_out(0.45)
    bench.live(3600.0)
    pulse = bench.of(Reserve)[0]
    last_s, last = [(s, e) for s, e in bench.timed(Lease) if e.valve == "south"][-1]
    assert last_s + last.open_s - bench.leases("south")[0] <= pulse.open_s - 140.0 + 1.0


def test_the_reservation_is_on_disk_before_the_first_lease(bench: Bench) -> None:
    bench.record_mode = "hold"
    bench.dry_out(0.45)
    bench.live(30.0)
    assert len(bench.of(Reserve)) == 1
    assert bench.of(Lease) == []
    bench.let_record()
    bench.live(30.0)
    assert bench.open_beds() == ["south"]


def test_the_master_opens_first_and_closes_last(mastered: Bench) -> None:
    mastered.dry_out(0.45)
    mastered.live(7200.0)
    edges = [(valve, edge) for _, valve, edge in mastered.edges]
    assert edges == [
        ("master", "open"),
        ("south", "open"),
        ("south", "close"),
        ("master", "close"),
    ]
    master_open, bed_open, bed_close, master_close = [at_s for at_s, _, _ in mastered.edges]
    assert bed_open - master_open >= 5.0
    assert 15.0 <= master_close - bed_close <= 30.0


@pytest.mark.hazard("E4")
def test_planned_edges_keep_five_seconds_apart() -> None:
    bench = Bench(small_garden(beds=("south", "wall", "hedge"), master=True, meter=True, at_once=3))
    bench.dry_out(0.45)
    bench.live(7200.0, tick_s=1.0)
    instants = sorted(at_s for at_s, _, _ in bench.edges)
    assert len(instants) == 8
    assert all(later - earlier >= 5.0 - 1e-6 for earlier, later in pairwise(instants))


@pytest.mark.hazard("V8")
def test_one_bed_after_the_other_where_only_one_may_drink() -> None:
    bench = Bench(small_garden(beds=("south", "wall"), master=True))
    bench.dry_out(0.42, "south")
    bench.dry_out(0.44, "wall")
    bench.live(3 * 3600.0)
    beds = [(valve, edge) for _, valve, edge in bench.edges if valve != "master"]
    assert beds == [("wall", "open"), ("wall", "close"), ("south", "open"), ("south", "close")]


def test_a_bed_is_not_watered_twice_in_a_night(bench: Bench) -> None:
    bench.dry_out(0.45)
    bench.live(3600.0)
    first_l = bench.litres["south"]
    bench.live(4 * 3600.0, tick_s=20.0)  # the probes go on telling 0.45
    assert bench.litres["south"] == first_l


# -- the record


@pytest.mark.hazard("S5")
def test_without_an_answer_of_the_record_nothing_ever_opens(bench: Bench) -> None:
    bench.record_mode = "hold"
    bench.dry_out(0.45)
    bench.live(1500.0)
    assert bench.of(Lease) == []
    bench.let_record()
    bench.live(60.0)
    assert bench.leases("south") == []
    assert [one.outcome for one in settles(bench)] == [Outcome.NEVER_SENT]
    assert bench.engine.state.ledger == []


@pytest.mark.hazard("S1", "S2")
def test_a_record_that_fails_opens_nothing_and_calls(bench: Bench) -> None:
    bench.record_mode = "fail"
    bench.dry_out(0.45)
    bench.live(1800.0)
    assert bench.of(Lease) == []
    assert "cannot_record" in bench.alert_codes()
    assert len(bench.of(Reserve)) == 1
    assert bench.engine.state.ledger == []


def test_a_record_that_works_again_lets_the_bed_be_judged_anew(bench: Bench) -> None:
    bench.record_mode = "fail"
    bench.dry_out(0.45)
    bench.live(300.0)
    bench.record_mode = "ok"
    bench.step(StoreState(**bench.times(), can_record=True))
    bench.live(2100.0)
    assert "cannot_record" not in bench.alert_codes()
    assert bench.litres["south"] > 0.0


@pytest.mark.hazard("S1")
def test_a_record_that_fails_between_pulses_ends_the_watering(bench: Bench) -> None:
    bench.dry_out(0.6)
    bench.live(3000.0)
    assert len(settles(bench)) == 1
    bench.record_mode = "fail"
    bench.live(3600.0)
    assert bench.engine.state.waterings == {}
    assert [n.code for n in bench.notes("watering")] == ["unrecorded"]
    assert len(settles(bench)) == 1


def test_the_same_answer_of_the_record_twice_changes_nothing(bench: Bench) -> None:
    running(bench)
    dose = bench.of(Reserve)[0].dose
    bench.step(Recorded(**bench.times(), dose=dose))
    bench.live(40.0)
    assert bench.open_beds() == ["south"]
    bench.live(3600.0)
    bench.step(Recorded(**bench.times(), dose=dose))
    assert [one.outcome for one in settles(bench)] == [Outcome.CONFIRMED]
    assert len(bench.edges) == len({(v, e) for _, v, e in bench.edges})


@pytest.mark.hazard("V1", "M1")
def test_a_latch_between_record_and_lease_opens_nothing(bench: Bench) -> None:
    bench.record_mode = "hold"
    bench.order("water", "south", litres=40.0)
    bench.contracts["south"] = 2
    bench.live(25.0)
    bench.let_record()
    bench.live(60.0)
    assert bench.leases("south") == []
    assert [one.outcome for one in settles(bench)] == [Outcome.NEVER_SENT]


# -- hours and caps


def test_a_watering_of_the_policy_ends_with_its_hours(bench: Bench) -> None:
    bench = Bench(small_garden(hours="22:00-23:30"))  # it is 23:02 now
    bench.dry_out(0.45)
    bench.live(3600.0)
    closed_s = next(at_s for at_s, _, edge in bench.edges if edge == "close")
    assert closed_s <= 1800.0
    assert [n.code for n in bench.notes("watering")] in (["hours"], ["done"])
    assert 0.0 < bench.litres["south"] <= 28.0 / 60.0 * 60.0 * FLOW_L_MIN


def test_a_watering_that_its_hours_cut_short_says_what_it_got() -> None:
    bench = Bench(small_garden(hours="22:00-23:40"))  # it is 23:02 now
    bench.dry_out(0.49)
    bench.live(3600.0)
    note = bench.notes("watering")[-1]
    assert note.code == "hours"
    assert note.text == words("south", Reason.NIGHT_OVER, note.numbers)
    assert 0.0 < note.numbers["given_l"] < note.numbers["want_l"]


def test_outside_its_hours_only_a_passed_floor_waters() -> None:
    bench = Bench(small_garden(hours="01:00-02:00"))
    bench.dry_out(0.45)
    bench.live(3000.0, tick_s=20.0)
    assert bench.of(Lease) == []
    past = Bench(small_garden(hours="07:00-08:00"))
    past.dry_out(0.7)
    past.live(600.0, tick_s=20.0)
    assert past.of(Lease) != []


def test_where_there_are_no_hours_midnight_ends_nothing(bench: Bench) -> None:
    bench.live(2400.0, tick_s=60.0)  # 23:42
    bench.dry_out(0.45)
    bench.live(3600.0)
    assert [n.code for n in bench.notes("watering")] == ["done"]


@pytest.mark.hazard("E2")
def test_frost_in_the_soak_ends_the_watering_instead_of_putting_it_off(bench: Bench) -> None:
    bench.dry_out(0.6)
    bench.live(3000.0)
    bench.step(WeatherReading(**bench.times(), mast="mast", temp_c=1.0))
    bench.live(3000.0)
    assert bench.engine.state.waterings == {}
    assert len(bench.of(Reserve)) == 1


@pytest.mark.hazard("H1")
def test_a_day_cannot_be_passed_by_orders_however_many(bench: Bench) -> None:
    cap_l = bench.garden.limits_for("south").bed_l_day
    for _ in range(40):
        bench.order("water", "south", litres=20.0)
        bench.live(1500.0, tick_s=20.0)
    assert bench.litres_of_last_day("south") <= cap_l
    assert bench.litres["south"] > 0.6 * cap_l
    last = bench.order("water", "south", litres=20.0)
    assert last is not None
    assert last.reason == "bed_cap"
    assert last.next_possible_utc_s is not None
    wait_s = last.next_possible_utc_s - bench.at_utc_s
    assert 0.0 < wait_s < DAY_S
    assert math.isfinite(last.allowed_l or 0.0)


def test_a_dry_bed_whose_starts_are_spent_waits_and_is_told_so_now_and_then() -> None:
    bench = Bench(small_garden())
    for n in range(STARTS_MOST):
        ended_s = bench.trusted_s - DAY_S + 3600.0 * (2 + n)
        bench.engine.state.ledger.append(
            LedgerEntry(dose=f"old-{n}", bed="south", charged_l=1.0, ended_trusted_s=ended_s)
        )
    bench.dry_out(0.6)
    bench.live(1800.0)
    said = [n for n in bench.notes("decision") if n.code in {"cap_spent", "floor_passed"}]
    assert {n.code for n in said} == {"cap_spent"}
    assert len(said) <= 4  # at the pace of the looks, not of the ticks
    assert said[0].numbers["allowed_l"] == 0.0
    assert "the 12 starts of its valve within 24 hours are used" in said[0].text
    assert limits_json(bench.engine.run)["beds"]["south"]["left_l"] == 0.0
    assert bench.notes("watering") == []
    bench.live(2 * 3600.0)  # the first of them is a day old now
    assert bench.litres["south"] > 0.0


def test_what_is_left_is_no_more_than_the_starts_that_are_left_can_give() -> None:
    bench = Bench(small_garden())
    bench.engine.state.ledger += [
        LedgerEntry(dose=f"old-{n}", bed="south", charged_l=1.0, ended_trusted_s=bench.trusted_s)
        for n in range(STARTS_MOST - 1)
    ]
    left_l = limits_json(bench.engine.run)["beds"]["south"]["left_l"]
    assert left_l == pytest.approx(2600.0 / 60.0 * 1.6)  # one opening, as long as one may be


@pytest.mark.hazard("T1")
def test_a_jump_of_the_clock_refills_no_budget(bench: Bench) -> None:
    for _ in range(5):
        bench.order("water", "south", litres=20.0)
        bench.live(1500.0, tick_s=20.0)
    spent_l = bench.litres["south"]
    for jump_s in (25 * 3600.0, -3 * DAY_S, -1.7e9, 1.7e9):
        bench.wall_ahead_s += jump_s
        answer = bench.order("water", "south", litres=60.0)
        assert answer is not None
        assert answer.status == "refused"
    assert bench.litres["south"] == spent_l
