"""A real broker under `broker-config`: strangers stay out, a probe opens no valve, water flows."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.end_to_end.conftest import HOST, Mosquitto
from tests.end_to_end.live_garden import LEASE_S, LiveGarden, assert_ledger_covers, until

pytestmark = pytest.mark.broker

BEDS = ["south", "wall", "low", "hedge"]
APART = "probe-wall-20"  # one node of its own; all others are one box, which the bench plays
NOT_AUTHORISED = 135  # 0x87, MQTT 5 section 2.4
ANSWER_S = 10.0


class Stranger:
    """A client with a name and a password, or without."""

    def __init__(self, port: int, name: str | None, password: str | None = None) -> None:
        self.connected: Any = None
        self.acks: dict[int, Any] = {}
        self.heard: list[str] = []
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"stranger-{name}-{time.monotonic_ns()}",
            protocol=mqtt.MQTTv5,
            reconnect_on_failure=False,
        )
        if name is not None:
            client.username_pw_set(name, password)
        client.on_connect = lambda _c, _u, _f, reason, _p: setattr(self, "connected", reason)
        client.on_publish = lambda _c, _u, mid, reason, _p: self.acks.update({mid: reason})
        client.on_message = lambda _c, _u, message: self.heard.append(message.topic)
        client.connect(HOST, port)
        client.loop_start()
        self.client = client
        until(lambda: self.connected is not None, ANSWER_S, "an answer of the broker")

    def says(self, topic: str, payload: bytes) -> int:
        """Publish; the reason code that the broker gives."""
        mid = self.client.publish(topic, payload, qos=1).mid
        until(lambda: mid in self.acks, ANSWER_S, f"an answer to {topic}")
        code: int = self.acks[mid].value
        return code

    def end(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def guarded(
    tmp_path: Path, request: pytest.FixtureRequest
) -> Iterator[tuple[LiveGarden, Mosquitto, dict[str, str]]]:
    """A garden whose broker runs on the files that the command wrote; and all passwords."""
    broker = Mosquitto(tmp_path)
    garden = LiveGarden(tmp_path / "plot", broker.url, speed=getattr(request, "param", 60.0))
    out = tmp_path / "broker"
    boxes = [f"valve-{v}" for v in (*BEDS, "master")] + ["meter-main", "weather-mast"]
    boxes += [f"probe-{b}-{d}" for b in BEDS for d in (20, 40) if f"probe-{b}-{d}" != APART]
    done = garden.command(
        "broker-config", str(garden.garden_file), "--out", str(out), "--together", ",".join(boxes)
    )
    assert done.returncode == 0, done.stderr
    words = dict(
        line.split(" ") for line in (out / "passwords-for-the-nodes.txt").read_text().splitlines()
    )
    words["thirstline"] = (out / "broker.pass").read_text().strip()
    config = (out / "thirstline.conf").read_text()
    assert f"listener {broker.port} {HOST}" in config
    if os.geteuid() == 0:
        config = f"user root\n{config}"  # the test's folder is closed to the broker's own user
    broker._config.write_text(config)
    box = min(boxes)
    (out / "box.pass").write_text(words[box])
    sign_in(garden.garden_file, "thirstline", out / "broker.pass")
    sign_in(garden._nodes_file, box, out / "box.pass")
    broker.start()
    yield garden, broker, words
    garden.close()
    broker.stop()


def sign_in(file: Path, name: str, password: Path) -> None:
    """Let a garden file sign in on the broker."""
    text = file.read_text()
    mark = '# username = "thirstline"'
    assert mark in text
    file.write_text(text.replace(mark, f'username = "{name}"\npassword_file = "{password}"'))


@pytest.mark.hazard("B9", "V6")
def test_strangers_stay_out_a_probe_opens_no_valve_and_the_daemon_waters(
    guarded: tuple[LiveGarden, Mosquitto, dict[str, str]],
) -> None:
    garden, broker, words = guarded
    garden.start_bench(*(f"--depletion={bed}=0.25" for bed in BEDS))
    garden.start_daemon()
    for name, password in ((None, None), ("thirstline", "wrong"), ("nobody", "x")):
        stranger = Stranger(broker.port, name, password)
        assert stranger.connected.is_failure, name
        stranger.end()
    probe = Stranger(broker.port, APART, words[APART])
    assert not probe.connected.is_failure
    root = "thirstline/hollin-lane"
    assert probe.says(f"{root}/probe/wall-20", b"0.2") != NOT_AUTHORISED  # its own word
    probe.client.subscribe("#", qos=1)
    forged = b'{"open_s": 90, "dose": "d", "epoch": 99, "seq": 1, "nonce": "x"}'
    for topic in (
        f"{root}/valve/south/lease",
        f"{root}/valve/south/close",
        f"{root}/valve/south/state",
        f"{root}/valve/master/lease",
        f"{root}/probe/wall-40",
        f"{root}/meter/main",
        f"{root}/controller/state",
        f"{root}/controller/canary",
        f"{root}/outlook",
    ):
        assert probe.says(topic, forged) == NOT_AUTHORISED, topic
    assert garden.water("south", 6.0)[0] == 202
    until(lambda: garden.truth().open_now("south"), 20.0, "water in south")
    until(lambda: garden.ledger()[0]["outcome"] is not None, 30.0, "the end of the dose")
    assert garden.ledger()[0]["outcome"] == "CONFIRMED"
    assert probe.heard == []  # it may listen to nothing
    assert "other_controller" not in garden.alerts()
    probe.end()
    assert garden.end_daemon() == 0
    assert garden.truth().litres("south") > 5.0
    assert_ledger_covers(garden, BEDS)


@pytest.mark.hazard("C6")
@pytest.mark.parametrize("guarded", [4.0], indirect=True)  # a lease lasts 22 s of real time
def test_close_all_needs_no_daemon_no_database_and_closes_under_the_list(
    guarded: tuple[LiveGarden, Mosquitto, dict[str, str]],
) -> None:
    garden, _, _ = guarded
    garden.start_bench(*(f"--depletion={bed}=0.25" for bed in BEDS))
    garden.start_daemon()
    assert garden.water("south", 60.0)[0] == 202
    until(lambda: garden.truth().open_now("south"), 20.0, "water in south")
    killed_utc_s = garden.kill_daemon()
    for path in sorted(garden.data.iterdir()):
        path.unlink()
    done = garden.command("close-all", str(garden.garden_file))
    assert done.returncode == 0, done.stderr
    assert "south: closed" in done.stdout
    assert not any(garden.truth().open_now(valve) for valve in (*BEDS, "master"))
    (opening,) = garden.truth().openings("south")
    # its lease was renewed 20 s before the kill at most, so by itself it would have stood 70 s more
    assert (opening.to_utc_s or 0.0) - killed_utc_s < LEASE_S - 25.0


def test_close_all_says_when_no_broker_takes_it(tmp_path: Path) -> None:
    garden = LiveGarden(tmp_path / "plot", "mqtt://127.0.0.1:9")
    done = garden.command("close-all", str(garden.garden_file))
    assert done.returncode == 1
    assert "out of reach" in done.stderr
