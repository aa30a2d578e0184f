"""The flight recorder: a run's events, fed to a fresh engine, give the same effects bit for bit."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from controller.effects import EFFECTS_JSON, Effect
from controller.engine import Engine
from controller.events import (
    EVENT_JSON,
    Event,
    GardenChanged,
    OutlookSpan,
    RainOutlook,
    Started,
    Tick,
    WeatherReading,
)
from controller.garden import Garden
from controller.watering import valves
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden

ROOT = Path(__file__).parents[2]
BEDS = ("south", "wall", "hedge")

REFEED = """
import hashlib, json, sys
from controller.effects import EFFECTS_JSON
from controller.engine import Engine
from controller.events import EVENT_JSON
from controller.garden import Garden

tape = json.load(open(sys.argv[1]))
engine = Engine(Garden.model_validate_json(tape["garden"]))
told = hashlib.sha256()
for event in tape["events"]:
    told.update(EFFECTS_JSON.dump_json(engine.step(EVENT_JSON.validate_json(event))))
print(told.hexdigest())
"""


class Taped(Bench):
    """A bench that keeps each event and what it led to, as the journal does."""

    def __init__(self, garden: Garden, **started: Any) -> None:
        self.tape: list[tuple[bytes, bytes]] = []
        super().__init__(garden, **started)

    def seen(self, event: Event, effects: list[Effect]) -> None:
        self.tape.append((EVENT_JSON.dump_json(event), EFFECTS_JSON.dump_json(effects)))


def weather(bench: Bench, temp_c: float, rain_mm: float) -> None:
    bench.step(
        WeatherReading(
            **bench.times(),
            mast="mast",
            temp_c=temp_c,
            rh_pct=55.0,
            rain_mm_total=rain_mm,
            solar_w_m2=640.0,
            wind_m_s=1.2,
        )
    )


def eventful() -> Taped:
    """Two and a half days with rain, orders, faults, a restart and clock jumps."""
    garden = small_garden(beds=BEDS, master=True, meter=True, at_once=2, hours="22:00-sunrise")
    bench = Taped(garden)
    bench.dry_out(0.45, "south")
    bench.dry_out(0.62, "wall")
    bench.dry_out(0.1, "hedge")
    for hour in range(12):
        weather(bench, 14.0 + hour, 0.4 * hour)
        bench.live(3600.0, tick_s=20.0)
    outlook = OutlookSpan(from_utc_s=bench.at_utc_s, hours=24.0, rain_mm=9.0, chance_frac=0.7)
    bench.step(RainOutlook(**bench.times(), spans=(outlook,)))
    bench.order("water", "hedge", litres=25.0)
    bench.live(300.0)
    bench.disconnect()
    bench.live(200.0)
    bench.connect()
    bench.order("pause", "south", until_utc_s=bench.at_utc_s + 20_000.0, why="a picnic")
    bench.wall_ahead_s += 25 * 3600.0
    bench.live(1800.0, tick_s=20.0)
    bench.wall_ahead_s -= 25 * 3600.0
    bench.record_mode = "fail"
    bench.order("water", "wall", litres=20.0)
    bench.record_mode = "ok"
    bench.live(DAY_S / 2, tick_s=60.0)
    bench.restart(90.0)
    bench.connect()
    bench.step(GardenChanged(**bench.times(), garden_json=garden.model_dump_json()))
    bench.step(GardenChanged(**bench.times(), garden_json=None, cause="a typing slip"))
    bench.order("lock", why="at the pipes")
    bench.live(900.0)
    bench.order("unlock")
    bench.order("soil", "hedge", feel="dry", depth_cm=20.0)
    bench.order("soil", "hedge", feel="dry", depth_cm=20.0)
    bench.order("look", "wall", leaves=2, when="morning")
    bench.order("look", "south", leaves=0, when="morning")
    bench.dry_out(0.6)
    bench.live(DAY_S, tick_s=30.0)
    return bench


@pytest.fixture(scope="module")
def run() -> Taped:
    bench = eventful()
    assert len(bench.notes("watering")) >= 4, "the run must have something to tell"
    return bench


def test_a_fresh_engine_answers_each_event_alike_to_the_bit(run: Taped) -> None:
    engine = Engine(run.garden)
    for n, (event, effects) in enumerate(run.tape):
        again = EFFECTS_JSON.dump_json(engine.step(EVENT_JSON.validate_json(event)))
        assert again == effects, f"event {n} of {len(run.tape)}"
    assert engine.dump() == run.engine.dump()


class Plodding(Engine):
    """An engine that leaves nothing out: it looks all up anew, takes the time and drives always."""

    def step(self, event: Event) -> list[Effect]:
        run, at_rest = self.run, self._at_rest()
        run.window = run.day = None
        if not isinstance(event, Started):
            self._take_time(event)
        effects = super().step(event)
        if isinstance(event, Tick) and at_rest and not run.state.waterings:
            valves.drive(run)
        return effects + run.take_effects()


def test_what_the_engine_leaves_out_would_have_changed_nothing(run: Taped) -> None:
    engine = Plodding(run.garden)
    for n, (event, effects) in enumerate(run.tape):
        again = EFFECTS_JSON.dump_json(engine.step(EVENT_JSON.validate_json(event)))
        assert again == effects, f"event {n} of {len(run.tape)}"
    assert engine.dump() == run.engine.dump()


@pytest.mark.parametrize("every", [1, 17, 1009], ids=["each", "often", "seldom"])
def test_an_engine_that_goes_on_from_its_dump_answers_alike(run: Taped, every: int) -> None:
    tape = run.tape if every > 1 else run.tape[:1500]
    engine = Engine(run.garden)
    for n, (event, effects) in enumerate(tape):
        again = EFFECTS_JSON.dump_json(engine.step(EVENT_JSON.validate_json(event)))
        assert again == effects, f"event {n} of {len(tape)}"
        if n % every == 0:
            dumped = engine.dump()
            engine = Engine.load(dumped)
            assert engine.dump() == dumped


def test_the_order_of_hashes_decides_nothing(run: Taped, tmp_path: Path) -> None:
    tape = tmp_path / "tape.json"
    told = hashlib.sha256()
    for _, effects in run.tape:
        told.update(effects)
    tape.write_text(
        json.dumps(
            {
                "garden": run.garden.model_dump_json(),
                "events": [event.decode() for event, _ in run.tape],
            }
        )
    )
    for seed in ("1", "4242"):
        done = subprocess.run(
            [sys.executable, "-c", REFEED, str(tape)],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
            timeout=120.0,
        )
        assert done.stdout.strip() == told.hexdigest(), f"PYTHONHASHSEED={seed}"
