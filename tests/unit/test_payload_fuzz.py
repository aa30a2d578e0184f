"""Whatever bytes arrive, the answer is an event or a `PayloadError`, nothing else.

In a release run (`THIRSTLINE_RELEASE=1`) 100,000 of each; the numbers are told (`pytest -rP`).
"""

from __future__ import annotations

import json
import math
import os
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.effects import Effect, Note
from controller.errors import PayloadError
from controller.inbox import Canary, Inbox
from controller.sensing.payload import (
    ControllerState,
    decode_canary,
    decode_controller_state,
    decode_meter,
    decode_outlook,
    decode_probe,
    decode_valve,
    decode_weather,
)
from tests.end_to_end.live_garden import tell
from tests.end_to_end.noise import STRANGE_TOPICS, mutants
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

RELEASE = bool(os.environ.get("THIRSTLINE_RELEASE"))
EXAMPLES = 100_000 if RELEASE else 2_000
PAYLOADS = 100_000 if RELEASE else 5_000
GROWTH_KIB = 50 * 1024
LATE_S, RENEW_S = 2.0, 20.0
WHEN = {"at_utc_s": 1000.0, "mono_s": 5.0}


@dataclass(frozen=True, kw_only=True)
class Form:
    kind: str = "raw"
    field: str | None = None
    senml: str | None = None


DECODERS = [
    lambda p: decode_probe(p, "p", Form(), **WHEN),
    lambda p: decode_probe(p, "p", Form(field="/v"), **WHEN),
    lambda p: decode_probe(p, "p", Form(senml="v", kind="theta_pct"), **WHEN),
    lambda p: decode_valve(p, "v", **WHEN),
    lambda p: decode_meter(p, "m", litres_per_pulse=0.1, **WHEN),
    lambda p: decode_weather(p, "w", **WHEN),
    lambda p: decode_outlook(p, **WHEN),
    decode_controller_state,
    decode_canary,
]
KEYS = st.sampled_from(
    ["v", "n", "u", "bn", "t", "bt", "bv", "bu", "open", "left_s", "dose", "nonce", "boot", "epoch",
     "seq", "contract", "litres_total", "pulses_total", "up_s", "temp_c", "rh_pct", "from",
     "hours", "rain_mm", "chance", "state", "run", "soil_temp_c", "x_"]
)  # fmt: skip
LEAVES = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=20)
    | st.sampled_from(["2026-07-01T00:00:00Z", "0001-01-01T00:00:00+23:59", "up", "/100", "v"])
)
TREES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=8),
    max_leaves=20,
)
JSONS = TREES.map(lambda tree: json.dumps(tree).encode("utf-8", "surrogatepass"))
TOUCHED = st.tuples(JSONS, st.binary(max_size=3), st.integers(0, 400)).map(
    lambda parts: parts[0][: parts[2]] + parts[1] + parts[0][parts[2] :]
)


@pytest.mark.hazard("B7")
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(payload=st.one_of(st.binary(max_size=300), JSONS, TOUCHED))
def test_any_payload_gives_an_event_or_a_payload_error(payload: bytes) -> None:
    for decode in DECODERS:
        found: object = None
        cause = "read"
        try:
            found = decode(payload)
        except PayloadError as refused:
            cause = str(refused)
        assert 0 < len(cause) < 200
        assert math.isfinite(getattr(found, "value", 0.0))


class Stormy(Bench):
    """Wall drinks by hand, and with each tick a handful of noise comes in through the inbox."""

    def __init__(self, noise: Iterator[bytes]) -> None:
        self.noise, self.each = noise, 0
        self.heard = 0
        self.worst_s = 0.0  # real, for the noise of one tick
        garden = small_garden(beds=("south", "wall"), at_once=2, emitters=12)
        self.inbox = Inbox(garden)
        own = [garden.topic("probe", "south-20"), garden.topic("probe", "south-40")]
        self.topics = own + own + [f"thirstline/plot/{topic}" for topic in STRANGE_TOPICS]
        super().__init__(garden)

    def tick(self, dt_s: float = 5.0) -> list[Effect]:
        began_s = time.monotonic()
        for n in range(self.each):
            payload = next(self.noise, None)
            if payload is None:
                break
            topic = self.topics[n % len(self.topics)]
            for event in self.inbox.hear(topic, payload, retained=False, **self.times()):
                assert not isinstance(event, Canary | ControllerState)
                self.heard += 1
                self.step(event)
        self.worst_s = max(self.worst_s, time.monotonic() - began_s)
        return super().tick(dt_s)


def resident_kib() -> int:
    """What this process holds in memory [KiB]."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))


def wall_of(bench: Bench) -> list[Note]:
    """All that was noted of the bed that drinks."""
    return [note for note in bench.of(Note) if note.bed == "wall"]


def test_a_storm_of_broken_payloads_in_a_dose_changes_nothing_of_another_bed() -> None:
    benches: list[Stormy] = []
    before_kib = resident_kib()
    began_s = time.monotonic()
    ticks = 400
    for count in (0, PAYLOADS):
        noise = mutants(random.Random(20261126), count)
        bench = Stormy(noise)
        bench.dry_out(0.25)
        bench.order("water", "wall", litres=12.0)
        bench.live(10.0)
        assert bench.is_open("wall")
        bench.each = 1 + PAYLOADS // ticks
        bench.live(5.0 * ticks)
        assert next(noise, None) is None  # all of it came in
        benches.append(bench)
    calm, stormy = benches
    growth_kib = resident_kib() - before_kib
    gaps_s = [after - before for before, after in pairwise(stormy.leases("wall"))]
    tell(
        f"{PAYLOADS} payloads in {time.monotonic() - began_s:.1f} s, {stormy.heard} understood, "
        f"{growth_kib / 1024.0:.1f} MiB more held, {len(gaps_s)} renewals, the latest "
        f"{max(gaps_s) - RENEW_S:.1f} s late; the noise of one tick took {stormy.worst_s:.2f} s"
    )
    assert len(gaps_s) >= 20
    assert max(gaps_s) <= RENEW_S + LATE_S
    assert stormy.worst_s <= LATE_S
    assert growth_kib < GROWTH_KIB
    assert wall_of(stormy) == wall_of(calm)
    assert stormy.leases("wall") == calm.leases("wall")
    assert stormy.litres["wall"] == calm.litres["wall"] > 10.0
