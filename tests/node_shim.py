"""Runs the firmware's own `boot.py` and `main.py` on this interpreter, over made-up pins.

`python -m tests.node_shim ROLE PORT PACE FOLDER`: a valve node for 400 rounds, or a probe node
until it would sleep. Each thing that the board was told goes to standard output as a line of JSON.
"""

from __future__ import annotations

import itertools
import json
import os
import runpy
import sys
import time
import types
from pathlib import Path
from typing import Any

NODE = Path(__file__).parents[1] / "hardware_notes" / "node"
ROUNDS = 400
NOISE = itertools.cycle((0, 3, -3, 900, 1, -1, 2, -2, 0, 4095, -5))  # two spikes in eleven


def say(**told: object) -> None:
    sys.stdout.write(json.dumps(told) + "\n")


class Pin:
    OUT, IN, PULL_UP, IRQ_FALLING = 1, 0, 2, 4

    def __init__(self, number: int, mode: int = 0, pull: int = 0, value: int = 0) -> None:
        self.number, self._value = number, value
        say(pin=number, mode=mode, value=value)

    def value(self, new: int | None = None) -> int:
        if new is not None and new != self._value:
            self._value = new
            say(pin=self.number, value=new)
        return self._value

    def irq(self, handler: Any, trigger: int) -> None:
        for _ in range(3):
            handler(self)
            time.sleep(0.03)


class Converter:
    ATTN_11DB = 3

    def __init__(self, pin: Pin, atten: int = 0) -> None:
        self._counts = {32: 1893, 33: 2400}.get(pin.number, 0)

    def read_u16(self) -> int:
        return max(0, min(4095, self._counts + next(NOISE))) << 4

    def read_uv(self) -> int:
        return 1_854_000


class Watchdog:
    feeds = 0

    def __init__(self, timeout: int) -> None:
        say(watchdog_ms=timeout)

    def feed(self) -> None:
        Watchdog.feeds += 1
        if Watchdog.feeds == ROUNDS:
            say(rounds=ROUNDS)
            raise SystemExit(0)


class Clock:
    """Memory that outlives sleep: a file."""

    path = Path()

    def memory(self, keep: bytes | None = None) -> bytes:
        if keep is not None:
            self.path.write_bytes(keep)
        return self.path.read_bytes() if self.path.exists() else b""


class Radio:
    def __init__(self, kind: int) -> None:
        self._on = False

    def active(self, on: bool) -> None:
        self._on = on
        say(radio=on)

    def connect(self, name: str, key: str) -> None:
        say(network=name)

    def isconnected(self) -> bool:
        return self._on


def deepsleep(ms: int) -> None:
    say(sleep_ms=ms)
    raise SystemExit(0)


def main(role: str, port: int, pace: int, folder: Path) -> None:
    """Put the made-up board in place, and start the node as the interpreter of a board does."""
    machine, network = types.ModuleType("machine"), types.ModuleType("network")
    Clock.path = folder / "rtc"
    parts = {"Pin": Pin, "ADC": Converter, "WDT": Watchdog, "RTC": Clock, "deepsleep": deepsleep}
    vars(machine).update(parts, reset=lambda: say(reset=True))
    vars(network).update(WLAN=Radio, STA_IF=0)
    sys.modules |= {"machine": machine, "network": network}
    begun_ns = time.monotonic_ns()
    added = {
        "ticks_ms": lambda: (time.monotonic_ns() - begun_ns) * pace // 1_000_000 % (1 << 30),
        "ticks_add": lambda ticks, ms: (ticks + ms) % (1 << 30),
        "sleep_ms": lambda ms: time.sleep(ms / 1000.0 / pace),
    }
    vars(time).update(added)
    sys.path.insert(0, str(NODE))
    import settings

    vars(settings).update(ROLE=role, BROKER=("127.0.0.1", port), USER="", PASSWORD="")
    os.chdir(folder)
    runpy.run_path(str(NODE / "boot.py"))
    runpy.run_path(str(NODE / "main.py"))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4]))
