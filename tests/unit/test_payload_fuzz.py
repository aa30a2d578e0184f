"""Whatever bytes arrive, the answer is an event or a `PayloadError`, nothing else."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.errors import PayloadError
from controller.sensing.payload import (
    decode_canary,
    decode_controller_state,
    decode_meter,
    decode_outlook,
    decode_probe,
    decode_valve,
    decode_weather,
)

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
@settings(max_examples=2000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
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
