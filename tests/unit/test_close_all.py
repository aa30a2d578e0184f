"""Closing past the daemon, and before it: in bounded time, with time for the answer."""

from __future__ import annotations

import socket
import time
from dataclasses import dataclass, field

import pytest

from api import close_valves
from api.close_valves import WAIT_S, close_all, close_first
from controller.errors import LinkError
from controller.garden import Garden, load_garden
from sim.examples import find_garden

ANSWERS_AFTER_S = 0.2


class SlowBroker:
    """Stands in for a connection: ready after a while, and answers each order a little later."""

    now_s = 0.0
    ready_s = 0.95
    sent_s: list[float]
    lost: str | None = None

    def __init__(self, *_: object) -> None:
        self.sent_s = []

    def open(self) -> None:
        """Nothing to open."""

    def close(self) -> None:
        """Nothing to close."""

    def pump(self, seconds: float) -> None:
        SlowBroker.now_s += max(seconds, 0.001)

    def is_ready(self) -> bool:
        return self.now_s >= self.ready_s

    def publish(self, _topic: str, _word: bytes) -> bool:
        self.sent_s.append(self.now_s)
        return True

    def take(self) -> list[tuple[str, bytes, bool]]:
        return []

    def idle(self) -> bool:
        return all(self.now_s >= at_s + ANSWERS_AFTER_S for at_s in self.sent_s)


@pytest.mark.hazard("C6")
@pytest.mark.parametrize("ready_s", [0.0, 0.95, 2.9, 3.7])
def test_a_broker_that_is_slow_to_begin_still_answers_the_last_close(
    monkeypatch: pytest.MonkeyPatch, ready_s: float
) -> None:
    monkeypatch.setattr(close_valves, "Connection", SlowBroker)
    monkeypatch.setattr(time, "monotonic", lambda: SlowBroker.now_s)
    monkeypatch.setattr(SlowBroker, "now_s", 0.0)
    monkeypatch.setattr(SlowBroker, "ready_s", ready_s)
    garden = load_garden(find_garden("hollin-lane"))
    told = close_all(garden, WAIT_S)
    assert set(told) == set(garden.valves)


# -- before a daemon has loaded what it needs


@dataclass
class Taker:
    """A connection that takes so many orders at a time and answers them at the next look."""

    at_a_time: int = 4
    ready: bool = True
    lost: str | None = None
    sent: list[str] = field(default_factory=list)
    waiting: int = 0
    closed: bool = False

    def __call__(self, *_: object) -> Taker:
        return self

    def open(self) -> None:
        if self.lost is not None:
            raise LinkError(self.lost)

    def close(self) -> None:
        self.closed = True

    def pump(self, seconds: float) -> None:
        if seconds:
            self.waiting = 0
            time.sleep(0.001)

    def is_ready(self) -> bool:
        return self.ready

    def publish(self, topic: str, _word: bytes) -> bool:
        if self.waiting >= self.at_a_time:
            return False
        self.waiting += 1
        self.sent.append(topic)
        return True

    def take(self) -> list[tuple[str, bytes, bool]]:
        return []

    def idle(self) -> bool:
        return self.waiting == 0


@pytest.fixture
def hollin_lane() -> Garden:
    return load_garden(find_garden("hollin-lane"))


@pytest.mark.hazard("C1")
def test_the_first_closes_go_out_once_each_and_wait_for_nobody_else(
    monkeypatch: pytest.MonkeyPatch, hollin_lane: Garden
) -> None:
    taker = Taker()
    monkeypatch.setattr(close_valves, "Connection", taker)
    assert len(hollin_lane.valves) > taker.at_a_time
    assert close_first(hollin_lane, 60.0)
    beds = sorted(name for name in hollin_lane.valves if name != "master")
    assert taker.sent == [hollin_lane.topic("close", name) for name in (*beds, "master")]
    assert taker.closed


@pytest.mark.hazard("B1")
@pytest.mark.parametrize("taker", [Taker(lost="out of reach"), Taker(ready=False)])
def test_first_closes_that_cannot_be_told_are_not_fatal(
    monkeypatch: pytest.MonkeyPatch, hollin_lane: Garden, taker: Taker
) -> None:
    monkeypatch.setattr(close_valves, "Connection", taker)
    assert not close_first(hollin_lane, 0.05)
    assert taker.sent == []


@pytest.mark.hazard("B1")
def test_a_broker_that_lets_in_and_says_nothing_delays_a_start_by_no_more_than_it_may(
    hollin_lane: Garden,
) -> None:
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        url = f"mqtt://127.0.0.1:{silent.getsockname()[1]}"
        garden = hollin_lane.model_copy(
            update={"broker": hollin_lane.broker.model_copy(update={"url": url})}
        )
        began_s = time.monotonic()
        assert not close_first(garden, 0.3)
        assert 0.25 < time.monotonic() - began_s < 2.0


@pytest.mark.hazard("B6")
def test_a_connection_that_comes_too_late_closes_nothing_any_more(
    monkeypatch: pytest.MonkeyPatch, hollin_lane: Garden
) -> None:
    class Late(Taker):
        def open(self) -> None:
            time.sleep(0.3)

    taker = Late()
    monkeypatch.setattr(close_valves, "Connection", taker)
    began_s = time.monotonic()
    assert not close_first(hollin_lane, 0.05)
    assert time.monotonic() - began_s < 0.25  # the start went on without it
    while not taker.closed:
        time.sleep(0.01)
    assert taker.sent == []


def test_an_embedded_broker_has_nobody_to_tell_yet(
    monkeypatch: pytest.MonkeyPatch, hollin_lane: Garden
) -> None:
    taker = Taker()
    monkeypatch.setattr(close_valves, "Connection", taker)
    builtin = hollin_lane.broker.model_copy(update={"url": "builtin"})
    assert not close_first(hollin_lane.model_copy(update={"broker": builtin}))
    assert not taker.closed
