"""What the tests of the wire share: a small garden, a scaled clock, a world without soil."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from controller.events import Event
from controller.garden import Garden, load_garden

GARDEN = """\
[garden]
id = "plot"
latitude = 47.6
longitude = -122.3
elevation_m = 60
timezone = "America/Los_Angeles"
[broker]
url = "{url}"
[supply]
flow_l_min = 14
meter = "main"
[beds.south]
transplanted = 2026-05-09
plants = 24
spacing_m = 0.6
width_m = 1.2
soil = "loam"
emitters = 48
emitter_l_h = 2
valve = "south"
probes = ["plain", "json", "pack"]
[probes.plain]
kind = "theta_m3_m3"
depth_cm = 20
[probes.json]
kind = "raw"
field = "/moist/raw"
depth_cm = 20
[probes.pack]
kind = "theta_pct"
senml = "vwc"
depth_cm = 40
[valves.south]
[valves.master]
role = "master"
[meters.main]
litres_per_pulse = 0.1
[weather.mast]
"""


def garden_at(url: str, folder: Path) -> Garden:
    path = folder / "plot.toml"
    path.write_text(GARDEN.format(url=url), encoding="utf-8")
    return load_garden(path)


class ScaledClock:
    def __init__(self, speed: float = 1.0, utc_s: float = 1_782_864_000.0) -> None:
        self._speed, self._utc_s, self._real_s = speed, utc_s, time.monotonic()

    def mono_s(self) -> float:
        return (time.monotonic() - self._real_s) * self._speed

    def utc_s(self) -> float:
        return self._utc_s + self.mono_s()


class BareWorld:
    """Water goes in; the soil never changes."""

    def __init__(self, theta_m3_m3: float = 0.231) -> None:
        self.theta_m3_m3 = theta_m3_m3
        self.flows: list[tuple[str, float]] = []

    def advance(self, to_utc_s: float) -> None:
        pass

    def set_flow(self, bed: str, l_min: float) -> None:
        self.flows.append((bed, l_min))

    def flow_l_min(self, bed: str) -> float:
        return {"south": 1.6}[bed]

    def probe_value(self, probe: str) -> float:
        return self.theta_m3_m3

    def tension_kpa(self, probe: str) -> float:
        return 33.0

    def weather(self) -> Mapping[str, float]:
        return {"temp_c": 21.5, "rh_pct": 55.0, "rain_mm_total": 3.2}


class Heard:
    """Collects events; `wait` is bounded."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self._changed = threading.Condition()

    def __call__(self, event: Event) -> None:
        with self._changed:
            self.events.append(event)
            self._changed.notify_all()

    def of(self, kind: type[Any]) -> list[Any]:
        return [event for event in list(self.events) if isinstance(event, kind)]

    def wait(self, kind: type[Any], count: int = 1, seconds: float = 10.0) -> list[Any]:
        with self._changed:
            enough = self._changed.wait_for(lambda: len(self.of(kind)) >= count, timeout=seconds)
        assert enough, f"{len(self.of(kind))} of {count} {kind.__name__} after {seconds} s"
        return self.of(kind)


def until(true: Callable[[], bool], seconds: float = 10.0) -> bool:
    end_s = time.monotonic() + seconds
    while time.monotonic() < end_s:
        if true():
            return True
        time.sleep(0.01)
    return true()


class Stranger:
    """Another client on the same broker: hears everything, says anything."""

    def __init__(self, url: str, topic: str = "thirstline/#") -> None:
        host, port = url.removeprefix("mqtt://").split(":")
        self.heard: list[tuple[str, bytes, bool]] = []
        self._ready = threading.Event()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5, reconnect_on_failure=True
        )
        self._client.on_connect = lambda client, *_: client.subscribe(topic, qos=1)
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.on_message = lambda _c, _u, m: self.heard.append(
            (m.topic, bytes(m.payload), m.retain)
        )
        self._client.reconnect_delay_set(1, 1)
        self._client.connect(host, int(port), clean_start=True)
        self._client.loop_start()
        assert self._ready.wait(5.0)

    def say(self, topic: str, payload: object, *, qos: int = 1, retain: bool = False) -> None:
        data = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
        self._client.publish(topic, data, qos=qos, retain=retain).wait_for_publish(5.0)

    def on(self, topic: str) -> list[bytes]:
        return [payload for heard, payload, _ in list(self.heard) if heard == topic]

    def leave(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
