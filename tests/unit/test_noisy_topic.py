"""A flood on one topic keeps nobody else's words from the link: no sleep, a clock that is told.

The broker is a list: what comes on a topic that is subscribed stands behind what came before, and
the link takes so many messages a tenth of a second, as on a board that is busy with other things.
"""

from __future__ import annotations

import json
import logging
import random
from collections import deque
from dataclasses import dataclass, field
from typing import Any, cast

import pytest

from controller import link as link_module
from controller import noisy
from controller.events import Event, ProbeReading
from controller.garden import Garden, load_garden
from controller.inbox import COST_S, SPARE_MOST_S, Inbox
from controller.link import MqttLink
from controller.noisy import DROPPED_MOST, FORGIVEN, REST_S, Noisy
from sim.examples import find_garden

STEP_S = 0.1
NODE_S = 20.0  # [s] between two words of a node
FLOOD_PER_S, TAKEN_PER_S = 1_200, 400
FLOOD_S = 120.0
STATE = {
    "open": False, "left_s": 0, "dose": "", "boot": "b", "epoch": 0, "seq": 0, "contract": 1,
}  # fmt: skip


@dataclass
class Clock:
    """Both clocks of a link, told by the test."""

    now_s: float = 0.0

    def utc_s(self) -> float:
        return 1e9 + self.now_s

    def mono_s(self) -> float:
        return self.now_s

    def monotonic(self) -> float:
        return self.now_s


@dataclass
class Broker:
    """Stands in for a connection: first in, first out, and only what is subscribed."""

    topics: set[str]
    queue: deque[tuple[str, bytes, bool]] = field(default_factory=deque)
    heard_again: list[tuple[str, bool]] = field(default_factory=list)
    lost: str | None = None

    def say(self, topic: str, payload: bytes) -> None:
        if topic in self.topics:
            self.queue.append((topic, payload, False))

    def take(self) -> list[tuple[str, bytes, bool]]:
        many = min(len(self.queue), round(TAKEN_PER_S * STEP_S))
        return [self.queue.popleft() for _ in range(many)]

    def publish(self, topic: str, payload: bytes, **_: object) -> bool:
        self.say(topic, payload)  # the canary comes back
        return True

    def leave(self, topic: str) -> None:
        self.topics.remove(topic)

    def hear(self, topic: str, *, kept: bool) -> None:
        self.topics.add(topic)
        self.heard_again.append((topic, kept))


class Rig:
    """One link, its broker, and two nodes that speak every twenty seconds."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.clock = Clock()
        monkeypatch.setattr(link_module, "time", self.clock)
        self.garden: Garden = load_garden(find_garden("hollin-lane"))
        self.events: list[Event] = []
        deliver, rng = self.events.append, random.Random(1)
        self.link = MqttLink(self.garden, self.clock, deliver, rng=rng)
        topics = {topic for topic, _ in Inbox(self.garden).subscriptions()}
        self.broker = Broker(topics)
        self.link._begin(self.connection)
        self.said = 0

    @property
    def connection(self) -> Any:
        return cast("Any", self.broker)

    def step(self, *floods: str, payload: bytes = b"NaN", per_s: int = FLOOD_PER_S) -> None:
        """A tenth of a second; nodes speak when it is time."""
        self.clock.now_s += STEP_S
        for n in range(round(per_s * STEP_S) if floods else 0):
            self.broker.say(floods[n % len(floods)], payload)
        if self.clock.now_s >= self.said * NODE_S:
            self.said += 1
            for valve in ("wall", "master"):
                word = json.dumps({**STATE, "nonce": f"n{self.said}"}).encode()
                self.broker.say(self.garden.topic("state", valve), word)
        self.link._take_in(self.connection)
        self.link._tend(self.connection)

    def may_open(self, valve: str) -> bool:
        """Whether a lease would have a nonce that the node still takes."""
        fresh = self.link._inbox.nonces.fresh(valve, mono_s=self.clock.now_s)
        return fresh is not None and self.link.online and self.broker.lost is None


@pytest.fixture
def rig(monkeypatch: pytest.MonkeyPatch) -> Rig:
    made = Rig(monkeypatch)
    for _ in range(20):
        made.step()
    assert made.may_open("wall")
    return made


def flooded(rig: Rig, *kinds: tuple[str, str]) -> bool:
    """Two minutes of it; whether leases could go out all along."""
    topics = [rig.garden.topic(kind, device) for kind, device in kinds]
    steps = round(FLOOD_S / STEP_S)
    held = True
    for _ in range(steps):
        rig.step(*topics)
        held = held and rig.may_open("wall")
    return held


PROBE, VALVE, OUTLOOK = ("probe", "wall-20"), ("state", "low"), ("outlook", "")


@pytest.mark.hazard("B8")
@pytest.mark.parametrize("kinds", [(PROBE,), (VALVE,), (OUTLOOK,), (PROBE, VALVE, OUTLOOK)])
def test_a_flood_on_some_topics_leaves_every_lease_its_nonce(
    rig: Rig, kinds: tuple[tuple[str, str], ...]
) -> None:
    assert flooded(rig, *kinds)
    assert len(rig.broker.queue) < TAKEN_PER_S


@pytest.mark.hazard("B8")
def test_a_node_that_floods_on_all_its_topics_starves_no_other(rig: Rig) -> None:
    """Each below a hundred a second: one gateway that speaks for many devices."""
    garden = rig.garden
    devices = [("probe", probe) for probe in garden.probes]
    devices += [("meter", meter) for meter in garden.meters]
    devices += [("state", valve) for valve in garden.valves if valve not in {"wall", "master"}]
    assert len(devices) * 100 >= FLOOD_PER_S
    assert flooded(rig, *devices)
    assert len(rig.broker.queue) < 2 * TAKEN_PER_S


@pytest.mark.hazard("B8")
def test_without_a_rest_from_it_the_same_flood_starves_them(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(noisy, "DROPPED_MOST", 10**9)
    assert not flooded(rig, PROBE)
    assert len(rig.broker.queue) > 50 * TAKEN_PER_S


@pytest.mark.hazard("B8")
def test_what_was_flooded_is_heard_again_once_it_is_over(
    rig: Rig, caplog: pytest.LogCaptureFixture
) -> None:
    assert flooded(rig, PROBE, OUTLOOK)
    for _ in range(round(REST_S / STEP_S) + 1):
        rig.step()
    topic = rig.garden.topic(*PROBE)
    rig.broker.say(topic, b"0.21")
    rig.step()
    told = [event for event in rig.events if isinstance(event, ProbeReading)]
    assert [(one.probe, one.value) for one in told] == [("wall-20", 0.21)]
    assert set(rig.broker.heard_again) == {(topic, False), (rig.garden.topic("outlook"), True)}
    times = rig.link.counters.left
    assert FLOOD_S / REST_S * 0.5 < times[topic] <= FLOOD_S / REST_S + 1
    lines = [one for one in caplog.records if "flood" in one.message and topic in one.message]
    assert [one.levelno for one in lines] == [logging.WARNING]  # one an hour


def test_a_burst_after_a_stall_leaves_no_topic(rig: Rig) -> None:
    """As many as may bunch, and some more."""
    topic = rig.garden.topic("meter", "main")
    for _ in range(round(SPARE_MOST_S / COST_S) + DROPPED_MOST - 1):
        rig.broker.say(topic, b'{"litres_total": 1, "up_s": 1.0, "boot": "b"}')
    for _ in range(50):
        rig.step()
    assert topic in rig.broker.topics
    assert rig.link.counters.left == {}


def test_a_message_let_in_makes_up_for_some_that_were_dropped() -> None:
    one = Noisy()
    for _ in range(10 * DROPPED_MOST):  # four for each that may come: as long as it likes
        for _ in range(FORGIVEN):
            one.drop("t")
        one.let_in("t")
    assert one.leave(0.0) == []
    for _ in range(DROPPED_MOST + 1):
        one.drop("t")
    assert one.leave(5.0) == ["t"]
    for _ in range(3):  # what was on its way when it was left
        one.let_in("t")
        for _ in range(DROPPED_MOST):
            one.drop("t")
    assert one.leave(5.0) == []
    assert one.back(5.0 + REST_S - 0.1) == []
    assert one.back(5.0 + REST_S) == ["t"]
    assert one.back(5.0 + REST_S) == []


def test_a_new_connection_hears_everything() -> None:
    one = Noisy()
    for topic in ("a", "b"):
        for _ in range(DROPPED_MOST):
            one.drop(topic)
        assert one.leave(0.0) == [topic]
    one.forget_all()
    assert one.back(1e9) == []
    assert one.leave(1e9) == []
