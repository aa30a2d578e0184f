"""Valves, pipes, links and people that break into a watering: it ends safely and is charged."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from controller.effects import Lease, Outcome, Reserve, Settle
from controller.events import LinkUp
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

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


# -- valves that do not do what they are told


def test_a_master_that_is_silent_lets_no_bed_open(mastered: Bench) -> None:
    mastered.deaf.add("master")
    mastered.dry_out(0.45)
    mastered.live(600.0)
    assert mastered.leases("south") == []
    assert "valve_silent" in mastered.alert_codes()
    assert [one.outcome for one in settles(mastered)] == [Outcome.NEVER_SENT]
    mastered.deaf.clear()
    mastered.live(3600.0)
    assert mastered.litres["south"] > 0.0
    assert "valve_silent" not in mastered.alert_codes()


@pytest.mark.hazard("E5")
def test_a_master_that_closes_by_itself_ends_what_drinks(mastered: Bench) -> None:
    running(mastered)
    mastered.reboot("master")
    mastered.live(10.0)
    assert mastered.open_beds() == []
    opened = [at_s for at_s, valve, edge in mastered.edges if (valve, edge) == ("master", "open")]
    mastered.live(600.0)
    assert [at for at, v, e in mastered.edges if (v, e) == ("master", "open")] == opened
    assert len(settles(mastered)) == 1
    assert settles(mastered)[0].charged_l >= mastered.litres["south"]


@pytest.mark.hazard("V3")
def test_a_bed_valve_that_never_answers_is_closed_and_called_for(bench: Bench) -> None:
    bench.mute.add("south")
    bench.engine.state.valves["south"].state = "closed"
    bench.order("water", "south", litres=40.0)
    bench.live(300.0)
    first_s = bench.leases("south")[0]
    assert bench.closes("south", since_s=first_s)[0] - first_s <= 15.0
    assert "valve_silent" in bench.alert_codes()
    assert [one.outcome for one in settles(bench)] == [Outcome.ASSUMED_FULL]
    assert settles(bench)[0].charged_l == bench.of(Reserve)[0].reserved_l
    assert bench.litres["south"] <= settles(bench)[0].charged_l


@pytest.mark.hazard("V3")
def test_a_bed_valve_that_refuses_every_lease_is_called_for(bench: Bench) -> None:
    bench.deaf.add("south")
    bench.order("water", "south", litres=40.0)
    bench.live(300.0)
    assert "valve_silent" in bench.alert_codes()
    assert bench.litres["south"] == 0.0
    assert len(settles(bench)) == 1


@pytest.mark.hazard("V5")
def test_a_bed_valve_deaf_to_close_lapses_and_is_charged_for_it(bench: Bench) -> None:
    running(bench)
    bench.deaf_to_close.add("south")
    bench.order("stop", "south")
    bench.live(300.0)
    assert bench.open_beds() == []
    assert len(settles(bench)) == 1
    assert settles(bench)[0].charged_l >= bench.litres["south"] - 1e-6


def test_the_master_closes_within_30_s_behind_a_bed_valve_that_does_not_answer(
    mastered: Bench,
) -> None:
    running(mastered)
    mastered.deaf_to_close.add("south")
    mastered.mute.add("south")
    stopped_s = mastered.now_s
    mastered.order("stop", "south")
    mastered.live(60.0)
    master_s = mastered.closes("master", since_s=stopped_s)
    assert len(master_s) >= 1
    assert 15.0 <= master_s[0] - stopped_s <= 30.0


@pytest.mark.hazard("V2")
@pytest.mark.parametrize("kind", ["meter", "master-and-meter"])
def test_a_dry_valve_is_closed_after_a_minute_and_tried_three_times(kind: str) -> None:
    bench = Bench(small_garden(hours="22:00-sunrise", **KINDS[kind]))
    bench.meter_counts = False
    bench.dry_out(0.45)
    bench.live(2 * 3600.0 + 1200.0)
    opened = [at_s for at_s, valve, edge in bench.edges if (valve, edge) == ("south", "open")]
    closed = [at_s for at_s, valve, edge in bench.edges if (valve, edge) == ("south", "close")]
    assert len(opened) == 3
    assert all(60.0 <= b - a <= 75.0 for a, b in zip(opened, closed, strict=True))
    assert all(later - earlier >= 1800.0 for earlier, later in pairwise(opened))
    assert "valve_stuck_closed" in bench.alert_codes()
    assert [n.code for n in bench.notes("watering")] == ["dry"]
    charged_l = sum(one.charged_l for one in settles(bench))
    assert (
        charged_l >= bench.litres["south"] - 1e-6
    )  # the meter said nothing, the bound still counts


@pytest.mark.hazard("M1")
@pytest.mark.parametrize("kind", ["meter", "master-and-meter"])
def test_a_burst_closes_everything_until_a_person_lifts_it(kind: str) -> None:
    bench = Bench(small_garden(**KINDS[kind]))
    running(bench)
    bench.gush_l_min = 3.0
    bench.live(60.0)
    bench.gush_l_min = 0.0
    assert "burst" in bench.alert_codes()
    assert not any(node.is_open for node in bench.nodes.values())
    leases = len(bench.of(Lease))
    bench.live(3600.0, tick_s=20.0)
    answer = bench.order("water", "south", litres=20.0)
    assert answer is not None
    assert answer.reason == "valve_latched"
    bench.restart(60.0)
    bench.connect()
    bench.dry_out(0.45)
    bench.live(1200.0)
    assert len(bench.of(Lease)) == leases, "a restart lifted the latch"
    for alert in ("burst", "leak"):  # the pipe ran on behind the closed valves
        answer = bench.order("clear", alert=alert, why="mended")
        assert answer is not None
        assert answer.status == "accepted"
    answer = bench.order("water", "south", litres=20.0)
    bench.live(60.0)
    assert bench.open_beds() == ["south"]


def test_a_late_word_of_before_the_opening_does_not_count_as_closed(bench: Bench) -> None:
    bench.order("water", "south", litres=20.0)
    old = [e for e in bench.events if e.kind == "valve" and e.valve == "south" and not e.open][-1]
    bench.live(60.0)
    assert bench.open_beds() == ["south"]
    bench.step(old)
    bench.live(10.0)
    assert bench.engine.state.valves["south"].state == "open"
    assert bench.open_beds() == ["south"]


# -- the link


@pytest.mark.hazard("B1")
def test_a_link_lost_in_a_dose_ends_it_there_and_charges_it_in_full(bench: Bench) -> None:
    running(bench)
    bench.disconnect()
    assert [one.outcome for one in settles(bench)] == [Outcome.ASSUMED_FULL]
    assert settles(bench)[0].charged_l == bench.of(Reserve)[0].reserved_l
    leases = len(bench.of(Lease))
    bench.live(90.0)
    assert bench.open_beds() == []
    bench.connect()
    bench.live(3600.0, tick_s=20.0)
    assert len(bench.of(Lease)) == leases, "an ordered dose resumed by itself"
    assert bench.litres["south"] <= settles(bench)[0].charged_l


def test_after_a_lost_link_the_entry_ages_from_the_last_instant_of_its_water(
    bench: Bench,
) -> None:
    running(bench)
    lease_s = bench.leases("south")[-1]
    bench.disconnect()
    ended_s = settles(bench)[0].ended_trusted_s
    assert ended_s == pytest.approx(lease_s + 140.0)
    entry = bench.engine.state.ledger[-1]
    assert entry.ended_trusted_s == ended_s


@pytest.mark.hazard("B1")
def test_after_a_lost_link_only_what_is_heard_since_decides() -> None:
    bench = Bench(small_garden())
    bench.dry_out(0.45)
    bench.live(60.0)
    bench.disconnect()
    bench.live(300.0)
    bench.told_depletion.clear()
    bench.connect()
    leases = len(bench.of(Lease))
    bench.live(900.0)
    assert len(bench.of(Lease)) == leases
    assert bench.engine.state.beds["south"].said.code == "waiting_readings"


@pytest.mark.hazard("B1")
def test_a_link_that_comes_back_twice_opens_nothing(bench: Bench) -> None:
    running(bench)
    bench.disconnect()
    bench.connect()
    bench.step(LinkUp(**bench.times()))
    bench.live(60.0)
    assert bench.open_beds() == []


# -- people


def test_a_stop_closes_at_once_and_keeps_the_books(bench: Bench) -> None:
    running(bench)
    bench.order("stop", "south")
    assert bench.open_beds() == []
    bench.live(60.0)
    assert [one.outcome for one in settles(bench)] == [Outcome.CONFIRMED]
    assert settles(bench)[0].charged_l >= bench.litres["south"] - 1e-6
    assert [n.code for n in bench.notes("watering")] == ["stopped"]
    leases = len(bench.leases("south"))
    bench.live(1200.0)
    assert len(bench.leases("south")) == leases


def test_every_stop_sends_a_close_also_while_one_is_under_way(bench: Bench) -> None:
    running(bench)
    bench.deaf_to_close.add("south")
    for what in ("stop", "stop", "stop_all"):
        before = len(bench.closes("south"))
        bench.order(what, None if what == "stop_all" else "south")
        assert len(bench.closes("south")) > before


@pytest.mark.hazard("H3")
def test_a_lock_closes_everything_and_survives_a_restart(bench: Bench) -> None:
    running(bench)
    bench.order("lock", why="at the pipes")
    leases = len(bench.of(Lease))
    assert not any(node.is_open for node in bench.nodes.values())
    bench.live(120.0)
    bench.restart(30.0)
    bench.connect()
    bench.dry_out(0.9)
    bench.live(1200.0)
    answer = bench.order("water", "south", litres=20.0)
    assert answer is not None
    assert answer.reason == "locked"
    assert len(bench.of(Lease)) == leases, "the master or a bed opened behind a lock"
    bench.order("unlock")
    bench.live(1200.0)
    assert len(bench.of(Lease)) > leases


def test_a_pause_ends_the_policys_watering_and_not_a_persons(bench: Bench) -> None:
    bench.dry_out(0.45)
    bench.live(120.0)
    assert bench.open_beds() == ["south"]
    bench.order("pause", "south", until_utc_s=bench.at_utc_s + 3600.0)
    assert bench.open_beds() == []
    bench.live(900.0)
    running(bench, for_s=60.0)
    bench.order("pause", "south", until_utc_s=bench.at_utc_s + 3600.0)
    assert bench.open_beds() == ["south"]


@pytest.mark.hazard("H2")
def test_a_pause_that_ends_lets_the_bed_be_judged_again() -> None:
    bench = Bench(small_garden())
    bench.order("pause", until_utc_s=bench.at_utc_s + 3600.0)
    bench.dry_out(0.45)
    bench.live(3500.0, tick_s=20.0)
    assert bench.of(Lease) == []
    assert "paused" in bench.alert_codes()
    bench.live(900.0, tick_s=20.0)
    assert "paused" not in bench.alert_codes()
    assert bench.of(Lease) != []
