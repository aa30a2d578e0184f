"""A replay in which things break: the engine meets them as it would in a garden."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from controller.garden import load_garden
from sim.examples import find_garden
from sim.fault_lots import random_faults
from sim.faults import Fault, FaultScript, Kind, What
from sim.garden_world import GardenWorld
from sim.replay import EngineReplay, run_policy
from sim.season_run import Replay, prepare

FIRST, LAST = date(2025, 7, 12), date(2025, 7, 13)
DRY = {"south": 0.42, "wall": 0.10, "low": 0.10, "hedge": 0.10}
LEASE_S = 90.0
HOUR_S = 3600.0


@pytest.fixture(scope="module")
def replay() -> Replay:
    garden = load_garden(find_garden("hollin-lane"))
    return prepare(garden, "invented-dry", first=FIRST, last=LAST, sure=True)


def lived(replay: Replay, *faults: Fault, hours: float = 48.0) -> EngineReplay:
    span = replay.span
    world = GardenWorld(
        replay.garden, replay.season, span.from_utc_s, sure=True, depletion_frac=DRY
    )
    script = FaultScript(begin_utc_s=span.from_utc_s, faults=faults)
    live = EngineReplay(replay.garden, world, span, script)
    live.go(span.from_utc_s + hours * HOUR_S)
    return live


def broken(
    kind: Kind, what: What, name: str = "", *, for_s: float = 1e9, at_s: float = 0.0
) -> Fault:
    return Fault(start_s=at_s, end_s=at_s + for_s, kind=kind, name=name, what=what)


def codes(live: EngineReplay) -> set[str]:
    return {alert.code for alert in live.hands.alerts.values()}


def test_a_script_without_faults_changes_nothing_but_the_pace(replay: Replay) -> None:
    calm = lived(replay)
    assert calm.world.truth.litres("south") > 50.0
    assert codes(calm) == set()


def test_a_silent_probe_is_called_for(replay: Replay) -> None:
    probe = replay.garden.beds["south"].probes[0]
    live = lived(replay, broken(Kind.PROBE, What.SILENT, probe))
    assert "probe_silent" in codes(live)
    assert live.world.truth.litres("south") > 50.0


def test_a_deaf_valve_gets_no_water_and_is_called_for(replay: Replay) -> None:
    live = lived(replay, broken(Kind.VALVE, What.DEAF, replay.garden.beds["south"].valve))
    assert live.world.truth.litres("south") == 0.0
    assert "valve_silent" in codes(live)


def test_a_store_that_refuses_keeps_every_valve_shut(replay: Replay) -> None:
    live = lived(replay, broken(Kind.STORE, What.REFUSE))
    assert sum(live.world.truth.litres(bed) for bed in replay.garden.beds) == 0.0
    assert "cannot_record" in codes(live)


def test_without_a_network_a_running_valve_outlives_its_lease_no_longer(replay: Replay) -> None:
    calm = lived(replay)
    first = next(flow for flow in calm.hands.flows if flow.bed == "south")
    at_s = first.from_utc_s - replay.span.from_utc_s + 120.0
    live = lived(replay, broken(Kind.NETWORK, What.DOWN, at_s=at_s, for_s=4 * HOUR_S))
    cut = next(flow for flow in live.hands.flows if flow.bed == "south")
    assert cut.from_utc_s == pytest.approx(first.from_utc_s, abs=60.0)
    assert 0.0 < cut.to_utc_s - replay.span.from_utc_s - at_s <= LEASE_S + 10.0
    assert "link_lost" in codes(live)


def test_a_power_cut_ends_the_watering_and_the_night_goes_on_after_it(replay: Replay) -> None:
    calm = lived(replay)
    first = next(flow for flow in calm.hands.flows if flow.bed == "south")
    at_s = first.from_utc_s - replay.span.from_utc_s + 120.0
    cut = broken(Kind.POWER, What.CONTROLLER_DOWN, at_s=at_s, for_s=600.0)
    live = lived(replay, cut, hours=20.0)  # the ledger keeps a day
    flows = [flow for flow in live.hands.flows if flow.bed == "south"]
    assert flows[0].to_utc_s - replay.span.from_utc_s <= at_s + LEASE_S + 10.0
    assert flows[1].from_utc_s - replay.span.from_utc_s >= at_s + 600.0 + 140.0
    charged_l = sum(entry.charged_l for entry in live.engine.state.ledger)
    assert charged_l >= sum(live.world.truth.litres(bed) for bed in replay.garden.beds)


@pytest.mark.parametrize("seed", range(2))
def test_drawn_faults_send_no_bed_more_than_its_cap(replay: Replay, seed: int) -> None:
    span_s = replay.span.to_utc_s - replay.span.from_utc_s
    drawn = random_faults(
        replay.garden, span_s, seed, begin_utc_s=replay.span.from_utc_s, times=60.0
    )
    assert len(drawn.faults) >= 5
    sound = FaultScript(
        begin_utc_s=drawn.begin_utc_s,
        faults=tuple(fault for fault in drawn.faults if fault.what is not What.STUCK_OPEN),
    )
    run = run_policy(replace(replay, faults=sound), "thirstline")
    for bed, numbers in run.numbers["beds"].items():
        assert numbers["litres"] <= 2.0 * replay.garden.limits_for(bed).bed_l_day
