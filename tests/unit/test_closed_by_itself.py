"""A valve whose last lease ended by itself: what its node said holds when the link is lost."""

from __future__ import annotations

import pytest

from controller.effects import Outcome, Settle
from controller.events import ValveReport
from tests.engine_bench import Bench
from tests.engine_garden import small_garden


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
