"""Openings that end in an odd way: by themselves with the link lost, or at once."""

from __future__ import annotations

import pytest

from controller.effects import Lease, Outcome, Settle
from controller.events import ValveReport
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, QUIET_S, small_garden


@pytest.fixture
def bench() -> Bench:
    """South drinks by time: its meter counted at first and froze then."""
    found = Bench(small_garden(meter=True))
    found.dry_out(0.2)
    answer = found.order("water", "south", litres=8.0)
    assert answer is None or answer.status == "accepted"
    found.live(60.0)
    assert found.is_open("south")
    found.meter_counts = False
    return found


def until_it_closes(bench: Bench) -> None:
    """Its last lease ends on the very second that the dose does; its node says so."""
    for _ in range(400):
        if not bench.is_open("south"):
            break
        bench.advance(bench.now_s + 5.0)
        if bench.is_open("south"):
            bench.tick(1e-6)
    bench.hear_nodes()


def test_a_valve_that_closed_with_its_last_lease_stays_closed_when_the_link_goes(
    bench: Bench,
) -> None:
    until_it_closes(bench)
    heard = [e for e in bench.events if isinstance(e, ValveReport)][-1]
    assert not heard.open
    last_s = bench.leases("south")[-1]
    assert not bench.closes("south", since_s=last_s)  # nobody had to tell it
    assert bench.engine.state.valves["south"].state == "closed"
    bench.disconnect()
    assert bench.engine.state.valves["south"].state == "closed"
    assert [one.outcome for one in bench.of(Settle)] == [Outcome.ASSUMED_FULL]


def test_a_valve_that_was_open_when_the_link_went_was_told_to_close(bench: Bench) -> None:
    last_s = bench.leases("south")[-1]
    bench.disconnect()
    assert bench.engine.state.valves["south"].state == "unknown"
    assert bench.closes("south", since_s=last_s)


def test_an_opening_of_no_length_rests_its_valve_over_an_upgrade() -> None:
    found = Bench(small_garden())
    found.dry_out(0.2)
    answer = found.order("water", "south", litres=8.0)
    assert answer is not None
    assert answer.status == "accepted"
    assert found.is_open("south")
    found.order("stop_all")
    assert not found.is_open("south")
    assert [one.outcome for one in found.of(Settle)] == [Outcome.CONFIRMED]
    assert 0.0 < found.of(Settle)[0].charged_l < 0.1
    found.restart(5.0, keep=False)  # another version begins from the ledger alone
    found.connect()
    found.live(QUIET_S + 1.0, tick_s=20.0)
    again = found.order("water", "south", litres=8.0)
    assert again is not None
    assert (again.status, again.reason) == ("refused", "resting")


def test_a_record_lost_again_spends_a_whole_day_again() -> None:
    """An old copy put back may hold the end of an earlier lost day, long over."""
    found = Bench(small_garden())
    found.dry_out(0.2)
    found.order("water", "south", litres=5.0)
    found.live(600.0)
    found.engine.state.budget_spent_until_trusted_s = found.trusted_s + 10.0
    found.record.epoch = found.record.seq_high = 0
    found.restart(60.0)
    found.connect()
    found.live(QUIET_S + 1.0, tick_s=20.0)
    until_s = found.engine.state.budget_spent_until_trusted_s
    assert until_s is not None
    assert until_s - found.trusted_s > DAY_S - 2.0 * QUIET_S
    answer = found.order("water", "south", litres=5.0)
    assert answer is not None
    assert (answer.status, answer.reason) == ("refused", "budget_spent")


def test_a_valve_that_a_stranger_opened_rests_as_well() -> None:
    found = Bench(small_garden())
    found.dry_out(0.2)
    nonce = found.nodes["south"].fresh_nonce(found.now_s)
    lease = Lease(valve="south", open_s=60, dose="x", epoch=1, seq=0)
    found.engine.state.seq = 5
    found._deliver("lease", "south", (lease, nonce))
    found.live(120.0)
    assert not found.is_open("south")
    answer = found.order("water", "south", litres=5.0)
    assert answer is not None
    assert (answer.status, answer.reason) == ("refused", "resting")
