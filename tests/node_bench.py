"""The firmware of `hardware_notes/node` among our tests, and benches for the contract's cases."""

from __future__ import annotations

import importlib
import json
import sys
from pathlib import Path
from typing import Any, Literal

from sim.nodes import ValveNode

ROOT = Path(__file__).parents[1]
NODE = ROOT / "hardware_notes" / "node"
PURE = ("kept", "link", "loop", "meter", "mqtt5", "probe", "strict_json", "ticks", "valve")


def firmware(module: str) -> Any:
    """Import a module of the firmware as the board would, from beside its package."""
    if str(NODE) not in sys.path:
        sys.path.append(str(NODE))
    return importlib.import_module(module)


class VirtualBench:
    """A virtual node behind the words of `contract_cases.play`."""

    def __init__(self) -> None:
        self._now_s = 0.0
        self.node = ValveNode("south", 7, self._now_s)
        self.wait(61_000)

    def wait(self, ms: int) -> None:
        self._now_s = round(self._now_s + ms / 1000.0, 3)
        self.node.advance(self._now_s)

    def back(self, ms: int) -> None:
        self._now_s -= ms / 1000.0

    def state(self) -> bytes:
        return json.dumps(self.node.state(self._now_s)).encode()

    def hear(self, kind: Literal["lease", "close"], payload: bytes, retained: bool) -> bool:
        return self.node.hear(kind, payload, retained=retained, now_s=self._now_s)

    def reboot(self) -> None:
        self.node.reboot(self._now_s)

    def is_open(self) -> bool:
        return self.node.is_open

    def has_news(self) -> bool:
        return self.node.has_news(self._now_s)


class FirmwareNode:
    """The firmware's valve with the calls of `sim.nodes.ValveNode`, its counter about to wrap."""

    def __init__(self, start_ticks: int) -> None:
        self._bench = firmware("selfcheck").FirmwareBench(start_ticks)
        self._now_ms = 0

    @property
    def is_open(self) -> bool:
        return bool(self._bench.is_open())

    def advance(self, now_s: float) -> None:
        ms = round(1000.0 * now_s)
        self._bench.wait(ms - self._now_ms)
        self._now_ms = max(ms, self._now_ms)

    def state(self, now_s: float) -> dict[str, object]:
        self.advance(now_s)
        told: dict[str, object] = json.loads(self._bench.state())
        return told

    def hear(self, kind: str, payload: bytes, *, retained: bool, now_s: float) -> bool:
        self.advance(now_s)
        return bool(self._bench.hear(kind, payload, retained))

    def reboot(self, now_s: float) -> None:
        self.advance(now_s)
        self._bench.reboot()
