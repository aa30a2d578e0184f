"""The firmware waters a bed: its process, the daemon's, a real broker between them.

The firmware runs on this interpreter, and on the small one's desktop port where that is installed,
over its board without hardware; the virtual garden gives the
probes only. Sixty times as fast as a garden. Judged by the outputs that the firmware set, the
stable ledger view and HTTP.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import END_S, LEASE_S, LiveGarden, environment, tell, until
from tests.end_to_end.wire_bench import Stranger
from tests.node_bench import NODE, ROOT

pytestmark = pytest.mark.broker

BEDS = ["south", "wall", "low", "hedge"]
SPEED = 60
GRACE_S = 20.0  # [s] garden time: a third of a real second at 60 times


class Desk:
    """The firmware as a process."""

    def __init__(self, port: int, folder: Path, *, start: list[str]) -> None:
        folder.mkdir(exist_ok=True)
        self._truth = folder / "outputs.jsonl"
        told = ["127.0.0.1", str(port), "thirstline/hollin-lane", str(SPEED), str(folder)]
        here = [str(ROOT), *(path for path in [os.environ.get("PYTHONPATH", "")] if path)]
        with (folder / "node.log").open("ab") as log:
            self.process = subprocess.Popen(
                [*start, *told, str(self._truth)],
                cwd=NODE,
                env=environment(PYTHONPATH=os.pathsep.join(here)),
                stdout=log,
                stderr=log,
            )

    def lines(self, valve: str) -> list[dict[str, Any]]:
        """What its output was, in order."""
        if not self._truth.exists():
            return []
        whole = self._truth.read_text(encoding="utf-8").rpartition("\n")[0]
        found = [json.loads(line) for line in whole.splitlines()]
        return [line for line in found if line["valve"] == valve]

    def is_open(self, valve: str) -> bool:
        lines = self.lines(valve)
        return bool(lines and lines[-1]["open"])

    def open_s(self, valve: str) -> float:
        """How long it was open, openings that ended only [s, node's clock]."""
        ms, begun = 0, None
        for line in self.lines(valve):
            if line["open"]:
                begun = line["node_ms"]
            elif begun is not None:
                ms, begun = ms + line["node_ms"] - begun, None
        return ms / 1000.0

    def litres(self, valve: str) -> float:
        return max(line["ml"] for line in self.lines(valve)) / 1000.0

    def end(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(END_S)


@pytest.fixture
def garden(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[LiveGarden]:
    """Virtual probes; the virtual valves and their meter stand aside, on topics of their own."""
    live = LiveGarden(tmp_path / "plot", mosquitto.url, speed=SPEED)
    text = live._nodes_file.read_text(encoding="utf-8")
    for valve in [*BEDS, "master"]:
        aside = ", ".join(f'{k} = "aside/{valve}/{k}"' for k in ("lease", "close", "state"))
        text = text.replace(f"[valves.{valve}]", f"[valves.{valve}]\ntopics = {{ {aside} }}")
    text = text.replace("[meters.main]", '[meters.main]\ntopic = "aside/meter"')
    live._nodes_file.write_text(text, encoding="utf-8")
    live.start_bench(*(f"--depletion={bed}=0.25" for bed in BEDS))
    yield live
    live.close()


HERE = [sys.executable, "-m", "lease_node.desk"]
SMALL = [
    sys.executable,
    "-c",
    "import sys, micropython_unix; sys.exit(micropython_unix.main())",
    "-m",
    "lease_node.desk",
]


@pytest.fixture(params=["here", "small"])
def desk(
    request: pytest.FixtureRequest, garden: LiveGarden, mosquitto: Mosquitto, tmp_path: Path
) -> Iterator[Desk]:
    """The firmware's process on either interpreter."""
    if request.param == "small":
        pytest.importorskip("micropython_unix")
    start = HERE if request.param == "here" else SMALL
    node = Desk(mosquitto.port, tmp_path / "node", start=start)
    yield node
    node.end()


def test_the_firmware_waters_a_bed_to_the_second_and_to_the_litre(
    garden: LiveGarden, desk: Desk
) -> None:
    garden.start_daemon()
    status, said = garden.water("south", 12.0)
    assert status == 202, said
    until(lambda: desk.is_open("south"), 10.0, "water in south")
    assert desk.is_open("master")
    until(lambda: garden.ledger()[0]["outcome"] is not None, 30.0, "the end of the dose")
    until(lambda: not desk.is_open("master"), 10.0, "a closed master")
    (row,) = garden.ledger()
    tell(f"{row['credited_l']:.2f} L in the books, {desk.litres('south'):.2f} L through the valve")
    assert row["outcome"] == "CONFIRMED"
    assert row["open_s"] == pytest.approx(desk.open_s("south"), abs=GRACE_S)
    assert row["open_s"] >= desk.open_s("south") - 1e-3
    assert row["credited_l"] == pytest.approx(desk.litres("south"), abs=0.3)
    assert row["charged_l"] >= desk.litres("south") - 1e-3
    for bed in ("wall", "low", "hedge"):
        assert [line["open"] for line in desk.lines(bed)] == [False]
    assert garden.alerts() == set()
    assert garden.end_daemon() == 0


def test_without_the_daemon_the_firmware_closes_within_its_lease(
    garden: LiveGarden, desk: Desk
) -> None:
    garden.start_daemon()
    until(lambda: garden.water("south", 60.0)[0] == 202, 20.0, "an order that is taken")
    until(lambda: desk.is_open("south"), 10.0, "water in south")
    killed_utc_s = garden.kill_daemon()
    until(lambda: not desk.is_open("south"), 5.0, "a closed valve")
    took_s = garden.clock.now_utc_s() - killed_utc_s
    tell(f"closed {took_s:.0f} s of garden time after the kill")
    assert took_s <= LEASE_S + GRACE_S
    until(lambda: not desk.is_open("master"), 5.0, "a closed master")


def test_without_the_broker_the_firmware_closes_and_comes_back_closed(
    garden: LiveGarden, desk: Desk, mosquitto: Mosquitto
) -> None:
    garden.start_daemon()
    until(lambda: garden.water("south", 60.0)[0] == 202, 20.0, "an order that is taken")
    until(lambda: desk.is_open("south"), 10.0, "water in south")
    mosquitto.kill()
    until(lambda: not desk.is_open("south"), 5.0, "a closed valve")
    ended = desk.open_s("south")
    mosquitto.start()
    until(lambda: garden.get()["beds"]["south"]["valve"] == "closed", 30.0, "its word again")
    assert desk.open_s("south") == ended
    assert not desk.is_open("south")


def test_a_firmware_that_is_killed_comes_back_closed_with_its_order(
    garden: LiveGarden, desk: Desk, mosquitto: Mosquitto, tmp_path: Path
) -> None:
    garden.start_daemon()
    until(lambda: garden.water("south", 6.0)[0] == 202, 20.0, "an order that is taken")
    until(lambda: desk.is_open("south"), 10.0, "water in south")
    until(lambda: garden.ledger()[0]["outcome"] is not None, 30.0, "the end of the dose")
    until(lambda: not desk.is_open("master"), 10.0, "a closed master")
    desk.end()
    again = Desk(mosquitto.port, tmp_path / "node", start=HERE)
    try:
        until(lambda: garden.get()["beds"]["south"]["valve"] == "closed", 30.0, "its word")
        assert not again.is_open("south")
        kept = [path.read_text(encoding="ascii") for path in (tmp_path / "node").glob("order.*")]
        assert any("south=1." in line and "master=1." in line for line in kept), kept
        assert "history_lost" not in garden.alerts()
    finally:
        again.end()


def test_the_probe_node_tells_its_probes_and_goes_on_with_its_number_after_sleep(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    ear = Stranger(mosquitto.url, "plot/#")
    try:
        for _ in range(2):
            told = [sys.executable, "-m", "tests.node_shim", "probe", str(mosquitto.port), "1"]
            done = subprocess.run(
                [*told, str(tmp_path)],
                cwd=NODE.parents[1], env=environment(), capture_output=True, text=True,
                timeout=60.0, check=False,
            )  # fmt: skip
            assert "sleep_ms" in done.stdout, done.stdout + done.stderr
        until(lambda: len(ear.on("plot/a1/soil")) == 2, 5.0, "two messages")
    finally:
        ear.leave()
    first, second = (json.loads(payload) for payload in ear.on("plot/a1/soil"))
    assert (first["shallow"], first["deep"]) == ({"raw": 1893}, {"raw": 2400})
    assert first["battery_v"] == 3.708
    assert (first["seq"], second["seq"]) == (1, 2)
    assert first["boot"] == second["boot"]
