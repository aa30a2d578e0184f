"""A start over a real broker: valves are told to close before anything else, or not at all."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import LiveGarden, free_port, tell, until
from tests.end_to_end.wire_bench import Stranger

pytestmark = pytest.mark.broker

BEDS = ("south", "wall", "low", "hedge")
VALVES = (*BEDS, "master")
PATIENCE_S = 60.0


@pytest.fixture
def garden(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[LiveGarden]:
    live = LiveGarden(tmp_path / "plot", mosquitto.url, speed=20.0)
    yield live
    live.close()


def closes(heard: Stranger) -> set[str]:
    """The valves that were told to close so far."""
    words = [topic.split("/") for topic, _, _ in list(heard.heard)]
    return {word[3] for word in words if word[2:3] == ["valve"] and word[4] == "close"}


@pytest.mark.hazard("C1", "C4")
def test_every_valve_is_told_to_close_before_there_is_a_record(
    garden: LiveGarden, mosquitto: Mosquitto
) -> None:
    heard, record = Stranger(mosquitto.url), garden.data / "thirstline.db"
    began_s = time.monotonic()
    garden.start_daemon(wait=False)
    until(lambda: closes(heard) == set(VALVES), PATIENCE_S, "a close of each valve")
    assert not record.exists()  # written long before the daemon's own closes
    told_s = time.monotonic() - began_s
    garden.wait_page()
    tell(f"every valve told after {told_s:.2f} s, the page after {time.monotonic() - began_s:.2f}")
    heard.leave()
    assert garden.end_daemon() == 0


@pytest.mark.hazard("B10", "C7")
def test_a_second_start_closes_nothing_of_the_first(
    garden: LiveGarden, mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """On the same folder, and on a folder of its own where the page's address is taken."""
    port = free_port()
    garden.at_port(port)
    garden.start_bench(*(f"--depletion={bed}=0.25" for bed in BEDS))
    garden.start_daemon()
    until(lambda: garden.water("south", 60.0)[0] == 202, PATIENCE_S, "an order")
    until(lambda: garden.truth().open_now("south"), PATIENCE_S, "water in south")
    heard = Stranger(mosquitto.url)
    for data, said in (
        (garden.data, "holds this data folder"),
        (tmp_path / "other", "cannot listen"),
    ):
        words = ("--data", str(data), "--speed", "20", "--port", str(port))
        done = garden.command("run", str(garden.garden_file), *words)
        assert done.returncode == 1
        assert said in done.stderr
    assert closes(heard) == set()
    assert garden.truth().open_now("south")
    heard.leave()
    assert garden.end_daemon() == 0


@pytest.mark.hazard("B1", "B3")
@pytest.mark.parametrize("gone", ["down", "frozen"])
def test_a_broker_that_does_not_answer_keeps_no_daemon_from_starting(
    garden: LiveGarden, mosquitto: Mosquitto, gone: str
) -> None:
    mosquitto.stop() if gone == "down" else mosquitto.pause()
    garden.start_daemon(wait=False)
    garden.wait_page()
    assert not garden.get()["link_up"]
    mosquitto.start() if gone == "down" else mosquitto.resume()
    garden.start_bench()
    garden.wait_ready()
    assert garden.end_daemon() == 0
