"""The plot on which the daemon's cost is measured, and everything on it that speaks.

32 beds, 64 probes, 33 valves and a meter, invented. A probe tells a JSON object with its number and
its boot; a valve's node is the reference of `sim/nodes.py`, so that closes are confirmed.
"""

from __future__ import annotations

import json
import threading
import time
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from controller.garden import Garden, load_garden
from sim.nodes import ValveNode

BEDS, PROBES_A_BED = 32, 2
PROBES = BEDS * PROBES_A_BED
VALVE_EVERY_S, METER_EVERY_S, PROBE_EVERY_S = 20.0, 60.0, 60.0
FLOOD_A_PROBE = 120  # within what a topic may save up
FLOOD_PER_S = 320.0  # [1/s] all probes together
BOOT = "b1c2d3e4"
HEAD = """\
[garden]
id = "cost"
latitude = 47.6
longitude = -122.3
elevation_m = 60
timezone = "America/Los_Angeles"
[broker]
url = "{url}"
[supply]
flow_l_min = 14
meter = "main"
[valves.master]
role = "master"
[meters.main]
litres_per_pulse = 0.1
"""
BED = """\
[beds.{bed}]
transplanted = 2026-05-09
plants = 24
spacing_m = 0.6
width_m = 1.2
soil = "loam"
emitters = 48
emitter_l_h = 2
valve = "{bed}"
probes = ["{bed}-20", "{bed}-40"]
[valves.{bed}]
[probes.{bed}-20]
kind = "theta_m3_m3"
field = "/theta"
depth_cm = 20
every_s = 60
[probes.{bed}-40]
kind = "theta_m3_m3"
field = "/theta"
depth_cm = 40
every_s = 60
"""


def plot_at(url: str, folder: Path) -> tuple[Garden, Path]:
    """The plot's file for a broker, and the plot."""
    path = folder / "cost.toml"
    beds = "".join(BED.format(bed=f"bed-{n:02d}") for n in range(BEDS))
    path.write_text(HEAD.format(url=url) + beds, encoding="utf-8")
    return load_garden(path), path


class Nodes:
    """All nodes of the plot behind one client; they speak while `speaking` is set.

    Attributes:
        closed: the valves that were told to close since the last `clear`.
        told: how many readings of probes were sent.
        flooded: how many of them in a flood.
    """

    def __init__(self, garden: Garden, url: str) -> None:
        self._garden = garden
        self._nodes = {name: ValveNode(name, n, 0.0) for n, name in enumerate(garden.valves)}
        self._valve_of = {garden.topic("close", valve): valve for valve in garden.valves}
        self._seq = self.told = self.flooded = 0
        self.closed: set[str] = set()
        self.all_closed = threading.Event()
        self.speaking, self._end = threading.Event(), threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.max_queued_messages_set(0)
        self._client.on_message = self._heard
        host, port = url.removeprefix("mqtt://").split(":")
        self._client.connect(host, int(port))
        self._client.subscribe([(topic, 1) for topic in self._valve_of])
        self._client.loop_start()
        self._thread = threading.Thread(target=self._speak, daemon=True)
        self._thread.start()

    def _say(self, topic: str, document: dict[str, Any]) -> None:
        self._client.publish(topic, json.dumps(document).encode(), qos=1)

    def _heard(self, _c: mqtt.Client, _u: object, message: mqtt.MQTTMessage) -> None:
        valve = self._valve_of[message.topic]
        self._nodes[valve].close(time.monotonic())
        self.closed.add(valve)
        if len(self.closed) == len(self._nodes):
            self.all_closed.set()
        self._state(valve)

    def _state(self, valve: str) -> None:
        now_s = time.monotonic()
        self._say(self._garden.topic("state", valve), self._nodes[valve].state(now_s))

    def _probe(self, probe: str, turn: int) -> None:
        theta = 0.25 + 0.0005 * (turn % 3)
        told = {"theta": theta, "seq": self._seq, "boot": BOOT}
        self._say(self._garden.topic("probe", probe), told)
        self.told += 1

    def _speak(self) -> None:
        """Second by second what is due, spread over each one's time between two words."""
        second = 0
        while not self._end.wait(1.0):
            if not self.speaking.is_set():
                continue
            second += 1
            self._seq += 1
            for n, probe in enumerate(self._garden.probes):
                if (second - n) % int(PROBE_EVERY_S) == 0:
                    self._probe(probe, second)
            for n, valve in enumerate(self._nodes):
                if (second - n) % int(VALVE_EVERY_S) == 0:
                    self._state(valve)
            if second % int(METER_EVERY_S) == 0:
                told = {"litres_total": 12_345.6, "up_s": 1e5 + second, "boot": BOOT}
                self._say(self._garden.topic("meter", "main"), told)

    def flood(self) -> None:
        """Many readings of each probe, one after the other, at an even pace."""
        began_s, sent = time.monotonic(), 0
        for turn in range(FLOOD_A_PROBE):
            self._seq += 1
            for probe in self._garden.probes:
                self._probe(probe, turn)
                sent += 1
            self.flooded = sent
            time.sleep(max(0.0, sent / FLOOD_PER_S - (time.monotonic() - began_s)))

    def leave(self) -> None:
        self._end.set()
        self._thread.join(5.0)
        self._client.disconnect()
        self._client.loop_stop()
