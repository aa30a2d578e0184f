"""Closing past the daemon: the last order leaves time for its answer."""

from __future__ import annotations

import time

import pytest

from api import close_command
from api.close_command import WAIT_S, close_all
from controller.garden import load_garden
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
    monkeypatch.setattr(close_command, "Connection", SlowBroker)
    monkeypatch.setattr(time, "monotonic", lambda: SlowBroker.now_s)
    monkeypatch.setattr(SlowBroker, "now_s", 0.0)
    monkeypatch.setattr(SlowBroker, "ready_s", ready_s)
    garden = load_garden(find_garden("hollin-lane"))
    told = close_all(garden, WAIT_S)
    assert set(told) == set(garden.valves)
