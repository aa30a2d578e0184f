"""The subscriber that the daemon's ingest is held against: its models and its store, no engine.

    python -m tests.end_to_end.cost_subscriber GARDEN FOLDER

It decodes and validates each probe's reading as the daemon does and stores the same rows in the
same batches. It decides nothing and serves nothing. SIGTERM ends it: it prints `heard`, how many.
"""

from __future__ import annotations

import json
import signal
import sys
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from controller.clock import ScaledClock
from controller.datafolder import DataFolder
from controller.garden import load_garden
from controller.sensing.payload import decode_probe
from controller.store import Store

FLUSH_S = 60.0  # [s] as the daemon's recorder
LOOP_S = 0.1

ended = threading.Event()


def main() -> None:
    """Live until SIGTERM."""
    signal.signal(signal.SIGTERM, lambda *_: ended.set())
    garden, clock = load_garden(Path(sys.argv[1])), ScaledClock()
    names = {garden.topic("probe", probe): probe for probe in garden.probes}
    store = Store.open(DataFolder(Path(sys.argv[2])))
    heard = 0

    def on_message(_c: mqtt.Client, _u: object, message: mqtt.MQTTMessage) -> None:
        nonlocal heard
        heard += 1
        name, at_utc_s, mono_s = names[message.topic], clock.utc_s(), clock.mono_s()
        setting = garden.probes[name]
        told = decode_probe(message.payload, name, setting, at_utc_s=at_utc_s, mono_s=mono_s)
        store.commit(told, [], durable=False, stamp=clock.stamp(0.0))

    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.on_connect = lambda c, *_: c.subscribe([(topic, 1) for topic in names])
    client.on_message = on_message
    host, port = garden.broker.url.removeprefix("mqtt://").split(":")
    client.connect(host, int(port))
    flushed_s = time.monotonic()
    while not ended.is_set():
        client.loop(LOOP_S)
        if time.monotonic() - flushed_s >= FLUSH_S:
            flushed_s = time.monotonic()
            store.flush()
    store.close()
    sys.stdout.write(json.dumps({"heard": heard}) + "\n")


if __name__ == "__main__":
    main()
