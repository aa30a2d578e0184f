"""What the daemon journals: all that its engine lived, in the order in which it lived it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.daemon import Daemon
from controller.datafolder import DataFolder
from controller.events import Event, LinkUp, ProbeReading, Tick, ValveReport
from controller.recorder import Job, SnapshotJob
from tests.engine_garden import small_garden
from tests.soak.inside import DrivenClock

Begun = tuple[Daemon, DrivenClock, list[Event]]


@pytest.fixture
def begun(tmp_path: Path) -> Iterator[Begun]:
    """A daemon past its quiet start, whose threads stand still, and what it journals."""
    clock = DrivenClock(0.0)
    daemon = Daemon(small_garden(), DataFolder(tmp_path), clock)
    journal: list[Event] = []

    def take(job: Job | SnapshotJob) -> None:
        if isinstance(job, Job):
            journal.append(job.event)

    daemon._recorder.take = take  # type: ignore[method-assign]
    store = daemon._recorder._open()
    assert store is not None
    daemon._begin(daemon._recorder._recovered)
    daemon._step(LinkUp(**times(clock)))
    clock.now_s = 200.0
    daemon._step(daemon._tick())
    journal.clear()
    yield daemon, clock, journal
    store.close()


def times(clock: DrivenClock) -> dict[str, float]:
    return {"at_utc_s": clock.utc_s(), "mono_s": clock.mono_s()}


def test_a_tick_that_moves_nothing_but_the_time_is_left_out(begun: Begun) -> None:
    daemon, clock, journal = begun
    clock.now_s += 5.0
    daemon._step(daemon._tick())
    assert journal == []


def test_a_tick_that_overtakes_what_waits_is_kept(begun: Begun) -> None:
    daemon, clock, journal = begun
    clock.now_s += 5.0
    valve = next(iter(daemon.garden.valves))
    told = ValveReport(
        **times(clock),
        valve=valve,
        open=False,
        left_s=0.0,
        dose="",
        boot="b",
        epoch=0,
        seq=0,
        contract=1,
    )
    reading = ProbeReading(**times(clock), probe=next(iter(daemon.garden.probes)), value=0.2)
    daemon.deliver(told)
    daemon.deliver(reading)
    clock.now_s += 5.0
    daemon._step(daemon._tick())
    while not daemon._events.empty():
        daemon._step_safely(daemon._events.get_nowait())
    assert [type(event) for event in journal] == [Tick, ValveReport, ProbeReading]
