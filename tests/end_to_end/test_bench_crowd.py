"""More nodes than one connection takes words from at once: nobody's are lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.garden import load_garden
from sim.bench import Bench
from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.wire_bench import ScaledClock, Stranger, until
from tests.soak.plot import BEDS, write_plot

pytestmark = pytest.mark.broker


class StillWorld:
    """Nothing flows and nothing changes."""

    def advance(self, to_utc_s: float) -> None:
        pass

    def set_flow(self, bed: str, l_min: float) -> None:
        pass

    def flow_l_min(self, bed: str) -> float:
        return 2.4

    def probe_value(self, probe: str) -> float:
        return 0.25

    def tension_kpa(self, probe: str) -> float:
        return 33.0

    def weather(self) -> dict[str, float]:
        return {"temp_c": 21.5}


def test_seventeen_valves_that_speak_at_the_same_instant_leave_the_meter_its_word(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    garden = load_garden(write_plot(tmp_path, mosquitto.url))
    stranger = Stranger(mosquitto.url)
    try:
        with Bench(garden, StillWorld(), ScaledClock(60.0), speed=60.0):
            for valve in (*BEDS, "master"):
                topic = garden.topic("state", valve)
                assert until(lambda topic=topic: len(stranger.on(topic)) >= 3), valve
            assert until(lambda: len(stranger.on(garden.topic("meter", "main"))) >= 2)
    finally:
        stranger.leave()
