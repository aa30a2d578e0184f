"""Openings that nobody saw: by a stranger with a stolen permission, with the daemon away or deaf.

Their valve rests like any other before the controller opens it (V10), from when it is known of.
"""

from __future__ import annotations

import pytest

from controller.effects import Alerts, Lease
from tests.engine_bench import Bench
from tests.engine_garden import QUIET_S, small_garden

REST_S = 600.0
STOLEN_S = 60


@pytest.fixture
def bench() -> Bench:
    """Two dry beds; both valves have drunk and rested."""
    found = Bench(small_garden(beds=("south", "wall")))
    found.dry_out(0.2)
    for bed in ("south", "wall"):
        assert accepted(found, bed)
        found.live(3600.0, tick_s=20.0)
        assert not found.is_open(bed)
    return found


def accepted(bench: Bench, bed: str) -> bool:
    """Whether a person's water flows."""
    answer = bench.order("water", bed, litres=5.0)
    if answer is None or answer.status == "accepted":
        return True
    assert answer.reason == "resting"
    return False


def steal(bench: Bench, valve: str, dose: str = "x") -> None:
    """A stranger opens a valve with the next number and the node's own nonce; closed when heard."""
    node, state = bench.nodes[valve], bench.engine.state
    epoch, seq = node.says(bench.now_s)[5:]
    bench.engine.state.seq_high = state.seq = max(state.seq, seq + 1)  # a number of this run
    lease = Lease(valve=valve, open_s=STOLEN_S, dose=dose, epoch=epoch, seq=seq + 1)
    bench._deliver("lease", valve, (lease, node.fresh_nonce(bench.now_s)))
    assert (bench.now_s, valve, "open") in bench.edges or bench.is_open(valve)


def begin_again(bench: Bench, gap_s: float, *, keep: bool) -> None:
    """The process ends and begins again, and its quiet start ends."""
    bench.record.seq_high = bench.engine.state.seq_high
    bench.restart(gap_s, keep=keep)
    bench.connect()
    bench.live(QUIET_S + 1.0, tick_s=20.0)
    assert bench.engine.state.ready
    assert bench.engine.state.budget_spent_until_trusted_s is None


@pytest.mark.hazard("V10")
@pytest.mark.parametrize("keep", [True, False], ids=["same_version", "another_version"])
def test_a_valve_that_a_stranger_opened_while_the_daemon_was_away_rests(
    bench: Bench, keep: bool
) -> None:
    bench.cut_power()
    steal(bench, "south")
    bench.advance(bench.now_s + STOLEN_S + 1.0)
    bench.give_power(keep=keep)
    bench.record.seq_high = bench.engine.state.stored_seq
    bench.connect()
    bench.live(QUIET_S + 1.0, tick_s=20.0)
    assert not accepted(bench, "south")
    bench.live(REST_S - QUIET_S, tick_s=20.0)
    assert accepted(bench, "south")


@pytest.mark.hazard("V10")
def test_a_valve_that_a_stranger_opened_before_an_upgrade_rests_over_it(bench: Bench) -> None:
    steal(bench, "south")
    bench.live(STOLEN_S + 1.0)
    assert not bench.is_open("south")
    begin_again(bench, 5.0, keep=False)
    assert not accepted(bench, "south")


@pytest.mark.hazard("V10")
def test_a_valve_that_a_stranger_opened_behind_a_lost_link_rests(bench: Bench) -> None:
    bench.disconnect()
    bench.live(200.0, tick_s=20.0)
    steal(bench, "south")
    bench.live(STOLEN_S + 1.0)
    bench.connect()
    bench.live(20.0)
    assert not accepted(bench, "south")
    assert accepted(bench, "wall")


def test_a_restart_makes_no_valve_rest_that_nobody_opened(bench: Bench) -> None:
    begin_again(bench, 5.0, keep=True)
    assert accepted(bench, "south")


def test_a_dose_that_ended_unheard_rests_from_its_end(bench: Bench) -> None:
    """Its node tells afterwards how far its permissions went: that is nothing new."""
    assert accepted(bench, "south")
    bench.live(30.0)
    bench.mute.add("south")
    bench.live(5.0)
    bench.disconnect()
    bench.live(REST_S + 200.0, tick_s=20.0)
    bench.mute.clear()
    bench.connect()
    bench.live(20.0)
    assert accepted(bench, "south")


@pytest.mark.hazard("V10")
@pytest.mark.parametrize("keep", [True, False], ids=["same_version", "another_version"])
def test_a_stolen_opening_that_a_restart_cuts_in_two_rests_too(bench: Bench, keep: bool) -> None:
    bench.deaf_to_close.add("south")
    steal(bench, "south")
    bench.live(5.0)
    assert bench.is_open("south")
    begin_again(bench, 5.0, keep=keep)
    assert not bench.is_open("south")
    assert not accepted(bench, "south")


@pytest.mark.hazard("V1")
def test_a_valve_that_stays_open_against_its_orders_is_called_after_a_restart_too(
    bench: Bench,
) -> None:
    """The time that it stands open against its orders is no number of the ended process's clock."""
    bench.deaf_to_close.add("south")
    steal(bench, "south")
    bench.live(50.0)
    steal(bench, "south")
    bench.restart(5.0)
    bench.connect()
    for _ in range(4):
        assert bench.is_open("south")
        assert not called(bench) or bench.mono_s > QUIET_S
        steal(bench, "south")
        bench.live(50.0)
    assert called(bench)


def called(bench: Bench) -> bool:
    """Whether a valve that sticks open is called."""
    lists = bench.of(Alerts)
    return bool(lists) and any(one.code == "valve_stuck_open" for one in lists[-1].standing)
