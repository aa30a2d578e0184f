"""Whether the broker lets a stranger write to the valves, asked of real brokers (B9)."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from controller.events import BrokerRights, Event
from controller.stranger import StrangerWatch
from tests.end_to_end.conftest import HOST, Mosquitto
from tests.end_to_end.wire_bench import ScaledClock, garden_at

pytestmark = pytest.mark.broker

NOBODY = "topic read thirstline/plot/#\n"
OTHERS = "topic write thirstline/plot/probe/#\n"
Broker = Callable[..., Mosquitto]


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """Starts one with the rights that are told."""
    started: list[Mosquitto] = []

    def start(**how: object) -> Mosquitto:
        one = Mosquitto(tmp_path, **how)  # type: ignore[arg-type]
        one.start()
        started.append(one)
        return one

    yield start
    for one in started:
        one.stop()


def watch(url: str, folder: Path, address: str | None = HOST) -> tuple[StrangerWatch, list[Event]]:
    """The watch over a garden there, and what it tells; `address`: this machine in its network."""
    told: list[Event] = []
    garden = garden_at(url, folder)
    return StrangerWatch(garden, ScaledClock(), told.append, address=lambda: address), told


def found(told: list[Event]) -> list[bool]:
    return [event.open for event in told if isinstance(event, BrokerRights)]


@pytest.mark.hazard("B9")
@pytest.mark.parametrize(
    ("how", "is_open"),
    [
        pytest.param({}, True, id="anybody"),
        pytest.param({"anonymous": False}, False, id="no-strangers"),
        pytest.param({"rights": NOBODY}, False, id="strangers-may-listen"),
        pytest.param({"rights": OTHERS}, False, id="strangers-may-be-probes"),
    ],
)
def test_a_broker_that_lets_strangers_command_is_told_from_one_that_does_not(
    broker: Broker, tmp_path: Path, how: dict[str, object], is_open: bool
) -> None:
    asking, told = watch(broker(**how).url, tmp_path)
    assert asking.ask() is is_open
    assert found(told) == [is_open]


@pytest.mark.hazard("B9")
def test_a_broker_for_this_machine_alone_is_no_open_door(broker: Broker, tmp_path: Path) -> None:
    url = broker().url
    for address in ("127.0.0.2", None):  # where it does not listen; no network at all
        asking, told = watch(url, tmp_path, address)
        assert asking.ask() is False
        assert found(told) == [False]


def test_one_that_takes_the_connection_and_says_nothing_is_asked_again(tmp_path: Path) -> None:
    with socket.create_server((HOST, 0)) as mute:
        port = mute.getsockname()[1]
        asking, told = watch(f"mqtt://{HOST}:{port}", tmp_path)
        assert asking.ask() is None
    assert told == []
