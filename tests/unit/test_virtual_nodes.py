"""The virtual garden: water through valves and master, words in every form, the truth beside."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

from controller.garden import Garden, load_garden
from controller.sensing.payload import decode_probe
from sim.forms import counts_of, message, resistance_of, told_value
from sim.plumbing import VirtualGarden

GARDEN = """\
[garden]
id = "plot"
latitude = 47.6
longitude = -122.3
elevation_m = 60
timezone = "America/Los_Angeles"
beds_at_once = 2
[supply]
flow_l_min = 8
[beds.a]
transplanted = 2026-05-09
plants = 24
spacing_m = 0.6
width_m = 1.2
soil = "loam"
emitters = 48
emitter_l_h = 2
valve = "a"
probes = ["one"]
[beds.b]
transplanted = 2026-05-09
plants = 24
spacing_m = 0.6
width_m = 1.2
soil = "loam"
emitters = 48
emitter_l_h = 2
valve = "b"
[probes.one]
kind = "theta_m3_m3"
depth_cm = 20
[valves.a]
[valves.b]
[valves.master]
role = "master"
[meters.main]
litres_per_pulse = 0.1
[weather.mast]
"""
UTC_S = 1_782_864_000.0


class World:
    def __init__(self) -> None:
        self.flows: list[tuple[float, str, float]] = []
        self.utc_s = UTC_S

    def advance(self, to_utc_s: float) -> None:
        assert to_utc_s >= self.utc_s
        self.utc_s = to_utc_s

    def set_flow(self, bed: str, l_min: float) -> None:
        self.flows.append((self.utc_s - UTC_S, bed, l_min))

    def flow_l_min(self, bed: str) -> float:
        return {"a": 6.0, "b": 3.0}[bed]

    def probe_value(self, probe: str) -> float:
        return 0.25

    def tension_kpa(self, probe: str) -> float:
        return 33.0

    def weather(self) -> Mapping[str, float]:
        return {"temp_c": 20.0}


class Plot:
    """A virtual garden with what it said and its truth."""

    def __init__(self, garden: Garden) -> None:
        self.world = World()
        self.said: list[tuple[str, bytes, int]] = []
        self.truth: list[dict[str, object]] = []
        self.nodes = VirtualGarden(
            garden, self.world, seed=1, node_s=0.0, utc_s=UTC_S, truth=self.truth.append
        )
        self._seq = 0

    def send(self, topic: str, payload: bytes, qos: int) -> None:
        self.said.append((topic, payload, qos))

    def on(self, topic: str) -> list[dict[str, object]]:
        return [json.loads(p) for t, p, _ in self.said if t == f"thirstline/plot/{topic}"]

    def run(self, until_s: float) -> None:
        self.nodes.run_to(until_s, self.send)

    def lease(self, valve: str, now_s: float, open_s: int = 90) -> None:
        self.run(now_s)
        self.nodes.greet(self.send)
        self._seq += 1
        told = {
            "open_s": open_s, "dose": "d", "epoch": 1, "seq": self._seq,
            "nonce": self.on(f"valve/{valve}/state")[-1]["nonce"],
        }  # fmt: skip
        topic = f"thirstline/plot/valve/{valve}/lease"
        self.nodes.hear(
            topic, json.dumps(told).encode(), retained=False, node_s=now_s, send=self.send
        )


@pytest.fixture
def plot(tmp_path: Path) -> Plot:
    path = tmp_path / "plot.toml"
    path.write_text(GARDEN, encoding="utf-8")
    return Plot(load_garden(path))


def test_bed_drinks_only_while_its_valve_and_the_master_are_open(plot: Plot) -> None:
    plot.lease("a", 10.0, open_s=120)
    plot.lease("master", 40.0, open_s=60)
    plot.run(300.0)
    assert plot.nodes.litres("a") == pytest.approx(6.0, abs=1e-6)  # 60 s at 6 L/min
    assert plot.nodes.litres("master") == pytest.approx(6.0, abs=1e-6)
    assert plot.nodes.litres("b") == 0.0
    assert plot.world.flows == [(40.0, "a", 6.0), (100.0, "a", 0.0)]


def test_meter_tells_what_flowed(plot: Plot) -> None:
    plot.lease("a", 10.0)
    plot.lease("master", 10.0)
    plot.run(400.0)
    assert plot.on("meter/main")[-1]["litres_total"] == pytest.approx(9.0, abs=0.11)


def test_supply_is_shared_where_it_is_too_small(plot: Plot) -> None:
    for valve in ("master", "a", "b"):
        plot.lease(valve, 0.0, open_s=60)
    plot.run(100.0)
    assert plot.nodes.litres("master") == pytest.approx(8.0, abs=1e-6)
    assert plot.nodes.litres("a") == pytest.approx(8.0 * 6 / 9, abs=1e-6)


def test_truth_has_each_edge_at_its_instant_and_a_line_every_5_s(plot: Plot) -> None:
    plot.lease("master", 12.0, open_s=90)
    plot.run(200.0)
    lines = [line for line in plot.truth if line["valve"] == "master"]
    assert [line["node_s"] for line in lines[:4]] == [0.0, 12.0, 17.0, 22.0]
    assert (lines[-1]["node_s"], lines[-1]["open"]) == (102.0, False)
    assert lines[1]["at"] == "2026-07-01T00:00:12.000Z"


def test_valves_tell_every_20_s_probes_and_mast_every_600_s(plot: Plot) -> None:
    plot.run(1215.0)
    assert len(plot.on("valve/a/state")) == 61
    assert len(plot.on("weather/mast")) == 3
    assert len([1 for topic, _, _ in plot.said if topic.endswith("probe/one")]) == 3


def test_one_long_step_equals_many_short_ones(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    path.write_text(GARDEN, encoding="utf-8")
    garden = load_garden(path)
    one, many = Plot(garden), Plot(garden)
    for plot in (one, many):
        plot.lease("master", 5.0)
        plot.lease("a", 6.0)
    one.run(500.0)
    for step in range(6, 501):
        many.run(float(step))
    assert one.said == many.said
    assert one.truth == many.truth


@pytest.mark.parametrize("stuck", [True, False], ids=["stuck-open", "stuck-closed"])
def test_broken_valve_does_not_follow_its_node(plot: Plot, stuck: bool) -> None:
    broken = plot.nodes.breakage.stuck_open if stuck else plot.nodes.breakage.stuck_closed
    broken.add("a")
    plot.lease("master", 0.0, open_s=60)
    if not stuck:
        plot.lease("a", 0.0, open_s=60)
    plot.run(100.0)
    assert plot.nodes.litres("a") == pytest.approx(6.0 if stuck else 0.0, abs=0.2)


def test_leak_turns_the_meter_with_all_valves_closed(plot: Plot) -> None:
    plot.nodes.breakage.leak_l_min = 0.2
    plot.run(600.0)
    assert plot.on("meter/main")[-1]["litres_total"] == pytest.approx(2.0, abs=0.11)


@dataclass(frozen=True, kw_only=True)
class Form:
    kind: str
    field: str | None = None
    senml: str | None = None
    calibration: tuple[tuple[float, float], ...] | None = None


OWN = ((100.0, 0.0), (200.0, 0.462))


@pytest.mark.parametrize(
    ("form", "value"),
    [
        pytest.param(Form(kind="theta_m3_m3"), 0.231, id="plain"),
        pytest.param(Form(kind="theta_pct", field="/a~1b/0/v"), 23.1, id="pointer"),
        pytest.param(Form(kind="theta_pct", senml="vwc"), 23.1, id="senml"),
        pytest.param(Form(kind="tension_kpa", senml="soil:t"), 33.0, id="tension"),
        pytest.param(Form(kind="raw", field="/raw"), 2121.0, id="raw"),
        pytest.param(Form(kind="raw", field="/1", calibration=OWN), 150.0, id="own-calibration"),
    ],
)
def test_what_a_virtual_probe_says_is_what_the_controller_reads(form: Form, value: float) -> None:
    told = told_value(form, 0.231, 33.0)
    payload = message([(form, told)], {"seq": 4, "boot": "b1"})
    reading = decode_probe(payload, "p", form, at_utc_s=0.0, mono_s=0.0)
    assert reading.value == value


def test_calibration_goes_on_straight_past_its_ends() -> None:
    points = [(2900.0, 0.04), (1350.0, 0.42)]
    assert counts_of(0.04, points) == 2900.0
    assert counts_of(0.42, points) == 1350.0
    assert counts_of(0.02, points) == pytest.approx(2981.6, abs=0.1)


@pytest.mark.parametrize(
    ("tension_kpa", "resistance_kohm"),
    [
        pytest.param(30.4, 5.0, id="shock-1998-at-24-c"),
        pytest.param(0.0, 0.55, id="wet-end"),
        pytest.param(47.8, 8.0, id="in-the-jump"),
    ],
)
def test_resistance_inverts_the_published_curve(tension_kpa: float, resistance_kohm: float) -> None:
    """5 kOhm is 30.4 kPa at 24 °C: Shock, Barnum & Seddigh 1998, printed to 0.1 kPa."""
    assert resistance_of(tension_kpa) == pytest.approx(resistance_kohm, abs=0.02)
