"""What a fault script does: to virtual nodes, to what a replay asks, and to the engine's bench."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import pytest

from controller.effects import Outcome, Reserve, SaveEpoch, Settle
from controller.garden import Garden
from sim.fault_probes import SPIKE_EACH, MeterTeller, ProbeTeller
from sim.fault_replay import KeptRecord, ReplayFaults
from sim.faults import Breakage, Fault, FaultScript, Kind, What
from sim.plumbing import VirtualGarden
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

UTC_S = 1_782_864_000.0
BED_L_MIN = 1.6  # of the small garden's beds, and of the world here


def script(*faults: Fault, begin_utc_s: float = UTC_S) -> FaultScript:
    return FaultScript(begin_utc_s=begin_utc_s, faults=faults)


def fault(
    which: str, what: What, start_s: float, end_s: float | None = None, value: float = 0.0
) -> Fault:
    kind, _, name = which.partition(":")
    end_s = start_s if end_s is None else end_s
    return Fault(start_s=start_s, end_s=end_s, kind=Kind(kind), name=name, what=what, value=value)


@pytest.fixture(scope="module")
def garden() -> Garden:
    return small_garden(beds=("south", "wall"), master=True, meter=True, at_once=2)


# -- virtual nodes


class Soil:
    """A world that never changes and lets each bed have its flow."""

    def __init__(self) -> None:
        self.theta_m3_m3 = 0.25

    def advance(self, to_utc_s: float) -> None:
        """Nothing grows here."""

    def set_flow(self, bed: str, l_min: float) -> None:
        """Nothing gets wet."""

    def flow_l_min(self, bed: str) -> float:
        return BED_L_MIN

    def probe_value(self, probe: str) -> float:
        return self.theta_m3_m3

    def tension_kpa(self, probe: str) -> float:
        return 33.0

    def weather(self) -> Mapping[str, float]:
        return {}


class Plot:
    """Virtual nodes with a script, and what they said."""

    def __init__(self, garden: Garden, *faults: Fault) -> None:
        self.soil = Soil()
        self.said: list[tuple[str, Any]] = []
        self.nodes = VirtualGarden(
            garden, self.soil, seed=1, node_s=50.0, utc_s=UTC_S, faults=script(*faults)
        )
        self._seq = 0

    def send(self, topic: str, payload: bytes, qos: int) -> None:
        assert qos in {0, 1}
        self.said.append((topic.removeprefix("thirstline/plot/"), json.loads(payload)))

    def run(self, until_s: float) -> None:
        """Live until so many seconds after the script's beginning."""
        self.nodes.run_to(50.0 + until_s, self.send)

    def on(self, topic: str) -> list[Any]:
        return [said for told, said in self.said if told == topic]

    def lease(self, valve: str, at_s: float, open_s: int = 100) -> None:
        self.run(at_s)
        self._seq += 1
        nonce = self.nodes.node(valve).state(50.0 + at_s)["nonce"]
        told = {"open_s": open_s, "dose": "d", "epoch": 1, "seq": self._seq, "nonce": nonce}
        self.nodes.hear(
            f"thirstline/plot/valve/{valve}/lease",
            json.dumps(told).encode(),
            retained=False,
            node_s=50.0 + at_s,
            send=self.send,
        )


def test_a_valve_sticks_open_exactly_as_long_as_the_script_says(garden: Garden) -> None:
    plot = Plot(garden, fault("valve:south", What.STUCK_OPEN, 30.0, 90.0))
    plot.lease("master", 0.0)
    plot.run(500.0)
    assert plot.nodes.litres("south") == pytest.approx(BED_L_MIN, abs=1e-6)  # one minute
    assert not plot.nodes.is_open("south")


def test_a_valve_that_sticks_closed_passes_nothing_though_its_node_is_open(garden: Garden) -> None:
    plot = Plot(garden, fault("valve:south", What.STUCK_CLOSED, 0.0, 1e9))
    plot.lease("master", 1.0)
    plot.lease("south", 1.0)
    plot.run(60.0)
    assert plot.nodes.litres("south") == 0.0
    assert plot.on("valve/south/state")[-1]["open"] is True


def test_deaf_and_silent_valves_neither_hear_nor_tell(garden: Garden) -> None:
    plot = Plot(
        garden,
        fault("valve:south", What.DEAF, 0.0, 1e9),
        fault("valve:wall", What.SILENT, 0.0, 1e9),
    )
    for valve in ("master", "south", "wall"):
        plot.lease(valve, 1.0)
    plot.run(61.0)
    assert plot.nodes.litres("south") == 0.0
    assert plot.nodes.litres("wall") == pytest.approx(BED_L_MIN, abs=1e-6)
    assert plot.on("valve/south/state")
    assert not plot.on("valve/wall/state")


def test_a_reboot_closes_a_valve_and_gives_it_a_new_boot(garden: Garden) -> None:
    plot = Plot(garden, fault("valve:south", What.REBOOT, 30.0))
    plot.lease("master", 0.0)
    plot.lease("south", 0.0)
    plot.run(60.0)
    assert plot.nodes.litres("south") == pytest.approx(BED_L_MIN / 2.0, abs=1e-6)
    boots = [said["boot"] for said in plot.on("valve/south/state")]
    assert boots[0] != boots[-1]


def test_a_power_cut_of_the_nodes_reboots_them_all(garden: Garden) -> None:
    plot = Plot(garden, fault("power", What.NODES_REBOOT, 30.0))
    plot.run(700.0)
    for topic in ("valve/south/state", "valve/master/state", "meter/main"):
        assert len({said["boot"] for said in plot.on(topic)}) == 2, topic


@pytest.mark.parametrize(
    ("what", "end_s", "value", "litres"),
    [
        (What.FROZEN, 45.0, 0.0, 1.2),  # 15 s of 60 s are not counted
        (What.JUMP, None, 10.0, 11.6),
        (What.RESET, None, 0.0, 0.8),  # what came after 30 s
    ],
    ids=["frozen", "jump", "reset"],
)
def test_a_broken_meter_tells_another_total(
    garden: Garden, what: What, end_s: float | None, value: float, litres: float
) -> None:
    plot = Plot(garden, fault("meter:main", what, 30.0, end_s, value))
    plot.lease("master", 0.0)
    plot.lease("south", 0.0, open_s=60)
    plot.run(200.0)
    assert plot.nodes.litres("south") == pytest.approx(BED_L_MIN, abs=1e-6)
    assert plot.on("meter/main")[-1]["litres_total"] == pytest.approx(litres, abs=0.11)


def test_a_low_supply_gives_less_and_a_burst_nothing(garden: Garden) -> None:
    plot = Plot(
        garden,
        fault("supply", What.LOW, 30.0, 60.0, 0.05),  # of 14 L/min: 0.7 L/min
        fault("supply", What.BURST, 60.0, 90.0),
    )
    plot.lease("master", 0.0)
    plot.lease("south", 0.0)
    plot.run(90.0)
    assert plot.nodes.litres("south") == pytest.approx(0.8 + 0.35, abs=1e-6)
    plot.run(95.0)
    assert plot.on("meter/main")[-1]["litres_total"] == pytest.approx(8.15, abs=0.3)


def test_a_silent_meter_says_nothing_until_it_is_mended(garden: Garden) -> None:
    plot = Plot(garden, fault("meter:main", What.SILENT, 1.0, 500.0))
    plot.run(490.0)
    assert len(plot.on("meter/main")) == 1
    plot.run(600.0)
    assert len(plot.on("meter/main")) > 1


def test_a_silent_probe_says_nothing_and_the_other_goes_on(garden: Garden) -> None:
    plot = Plot(garden, fault("probe:south-20", What.SILENT, 0.0, 1e9))
    plot.run(7000.0)
    assert not plot.on("probe/south-20")
    assert len(plot.on("probe/south-40")) >= 11


def test_a_script_that_began_before_the_nodes_is_taken_up_where_it_stands(garden: Garden) -> None:
    soil = Soil()
    nodes = VirtualGarden(
        garden, soil, seed=1, node_s=0.0, utc_s=UTC_S,
        faults=script(fault("valve:south", What.STUCK_OPEN, 0.0, 100.0), begin_utc_s=UTC_S - 40.0),
    )  # fmt: skip
    nodes.run_to(59.0, lambda *_: None)
    assert nodes.is_open("south")
    nodes.run_to(61.0, lambda *_: None)
    assert not nodes.is_open("south")


# -- probes and meters


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        (Breakage(), [0.25, 0.24, 0.23, 0.22]),
        (Breakage(stuck_probes={"p"}), [0.25, 0.25, 0.25, 0.25]),
        (Breakage(offset={"p": 0.05}), [0.30, 0.29, 0.28, 0.27]),
        (Breakage(offset={"p": -0.9}), [0.0, 0.0, 0.0, 0.0]),
        (Breakage(spiked={"p": 0.1}), [0.35, 0.24, 0.23, 0.32]),
        (Breakage(dry_probes={"p"}), [0.0, 0.0, 0.0, 0.0]),
        (Breakage(silent={"probe:p"}), [None, None, None, None]),
        (Breakage(silent={"probe:q", "valve:p"}, stuck_probes={"q"}), [0.25, 0.24, 0.23, 0.22]),
    ],
    ids=["sound", "stuck", "offset", "under-zero", "spike", "dry", "silent", "others-are-broken"],
)
def test_what_a_broken_probe_tells(broken: Breakage, told: list[float | None]) -> None:
    teller = ProbeTeller()
    teller.broken(broken)
    found = [teller.told("p", theta, 30.0, tension=False) for theta in (0.25, 0.24, 0.23, 0.22)]
    for seen, wanted in zip(found, told, strict=True):
        assert (None if seen is None else seen[0]) == (
            None if wanted is None else pytest.approx(wanted)
        )
    assert SPIKE_EACH == 3


def test_a_probe_of_tension_is_off_in_kpa_and_bone_dry_with_an_open_circuit() -> None:
    teller = ProbeTeller()
    teller.broken(Breakage(offset={"p": -12.0}, dry_probes={"q"}))
    assert teller.told("p", 0.25, 30.0, tension=True) == (0.25, 18.0)
    dry = teller.told("q", 0.25, 30.0, tension=True)
    assert dry is not None
    assert dry[1] > 1500.0  # past the wilting point


def test_a_probe_that_sticks_again_sticks_at_what_it_tells_then() -> None:
    teller = ProbeTeller()
    told = []
    for now, theta in ((True, 0.30), (False, 0.25), (True, 0.20), (True, 0.15)):
        teller.broken(Breakage(stuck_probes={"p"} if now else set()))
        told.append(teller.told("p", theta, 0.0, tension=False))
    assert [seen[0] for seen in told if seen is not None] == [0.30, 0.25, 0.20, 0.20]


def test_a_meter_without_a_node_freezes_jumps_and_begins_anew() -> None:
    meter = MeterTeller()
    assert meter.total_l(10.0) == 10.0
    meter.frozen = True
    assert meter.total_l(14.0) == 10.0
    meter.frozen = False
    assert meter.total_l(15.0) == 11.0
    meter.jump(100.0)
    assert (meter.total_l(15.0), meter.boot) == (111.0, "m0")
    meter.reset()
    assert (meter.total_l(17.0), meter.boot) == (2.0, "m1")


# -- what a replay asks


def test_a_replay_is_told_each_change_at_its_instant(garden: Garden) -> None:
    faults = ReplayFaults(
        script(
            fault("network", What.DOWN, 10.0, 40.0),
            fault("power", What.CONTROLLER_DOWN, 20.0, 60.0),
            fault("valve:wall", What.REBOOT, 30.0),
            fault("store", What.REFUSE, 30.0, 70.0),
            fault("clock", What.STEP, 70.0, 80.0, -3600.0),
        ),
        garden,
    )
    turns = []
    while (turn := faults.turn(100.0)) is not None:
        said = [
            word
            for word in ("power_cut", "link_lost", "power_back", "link_back", "record_back")
            if getattr(turn, word)
        ]
        state = (faults.link_up, faults.controller_up, faults.can_record, faults.clock_ahead_s)
        turns.append((turn.at_s, said, turn.rebooted, state))
    assert turns == [
        (10.0, ["link_lost"], (), (False, True, True, 0.0)),
        (20.0, ["power_cut"], (), (False, False, True, 0.0)),
        (30.0, [], ("wall",), (False, False, False, 0.0)),
        (40.0, [], (), (False, False, False, 0.0)),
        (60.0, ["power_back", "link_back"], (), (True, True, False, 0.0)),
        (70.0, ["record_back"], (), (True, True, True, -3600.0)),
        (80.0, [], (), (True, True, True, 0.0)),
    ]
    assert faults.next_change_s() == math.inf


def test_a_replay_strides_over_nothing(garden: Garden) -> None:
    faults = ReplayFaults(script(fault("valve:south", What.REBOOT, 10.0)), garden)
    assert faults.turn(9.0) is None
    assert faults.next_change_s() == 10.0
    late = faults.turn(600.0)
    assert late is not None
    assert late.at_s == 10.0
    assert faults.turn(600.0) is None


def test_a_replay_asks_who_hears_and_who_speaks(garden: Garden) -> None:
    faults = ReplayFaults(
        script(
            fault("valve:south", What.DEAF, 0.0, 50.0),
            fault("valve:wall", What.SILENT, 0.0, 50.0),
            fault("network", What.DOWN, 20.0, 50.0),
        ),
        garden,
    )
    faults.turn(0.0)
    assert [faults.hears(v) for v in ("south", "wall")] == [False, True]
    assert [faults.speaks(Kind.VALVE, v) for v in ("south", "wall")] == [True, False]
    assert faults.probe_seen("wall-20", 0.2, 0.0) == (0.2, 0.0)
    faults.turn(20.0)
    assert [faults.hears(v) for v in ("south", "wall")] == [False, False]
    assert faults.speaks(Kind.METER, "main") is False
    assert faults.probe_seen("wall-20", 0.2, 0.0) is None


@pytest.mark.parametrize(
    ("faults", "nodes", "flows"),
    [
        ((), "m s", {"south": 1.6}),
        ((), "s", {}),
        ((fault("valve:south", What.STUCK_OPEN, 0.0, 9.0),), "m", {"south": 1.6}),
        ((fault("valve:south", What.STUCK_OPEN, 0.0, 9.0),), "", {}),
        ((fault("valve:master", What.STUCK_OPEN, 0.0, 9.0),), "w", {"wall": 1.6}),
        ((fault("valve:south", What.STUCK_CLOSED, 0.0, 9.0),), "m s w", {"wall": 1.6}),
        ((fault("supply", What.LOW, 0.0, 9.0, 0.1),), "m s w", {"south": 0.7, "wall": 0.7}),
        ((fault("supply", What.LEAK, 0.0, 9.0, 13.0),), "m s", {"south": 1.0}),
        ((fault("supply", What.LOST, 0.0, 9.0),), "m s w", {}),
    ],
    ids=["sound", "master-closed", "stuck-open", "stopped-by-master", "master-stuck-open",
         "stuck-closed", "shared-by-two", "a-leak-takes-its-part", "lost"],
)  # fmt: skip
def test_a_replay_asks_what_truly_flows(
    garden: Garden, faults: tuple[Fault, ...], nodes: str, flows: dict[str, float]
) -> None:
    asked = ReplayFaults(script(*faults), garden)
    asked.turn(0.0)
    found = asked.flows_l_min(
        {valve: valve[0] in nodes for valve in garden.valves}, {"south": 1.6, "wall": 1.6}
    )
    assert found == pytest.approx(flows)


def test_a_replays_meter_counts_up_to_the_very_change(garden: Garden) -> None:
    faults = ReplayFaults(
        script(
            fault("meter:main", What.FROZEN, 10.0, 20.0),
            fault("meter:main", What.JUMP, 30.0, value=5.0),
        ),
        garden,
    )
    assert faults.meter_total_l(1.0) == 1.0
    faults.turn(10.0, metered_l=2.0)
    assert faults.meter_total_l(3.0) == 2.0
    faults.turn(20.0, metered_l=4.0)
    assert faults.meter_total_l(5.0) == 3.0
    faults.turn(30.0, metered_l=6.0)
    assert faults.meter_total_l(6.0) == 9.0


def reserve(dose: str, litres: float, seq_high: int) -> Reserve:
    return Reserve(
        dose=dose, watering=dose, bed="south", valve="south", by="policy", from_utc_s=UTC_S,
        open_s=60.0, reserved_l=litres, want_l=litres, epoch=4, seq_high=seq_high, trusted_s=0.0,
    )  # fmt: skip


@pytest.mark.hazard("C4")
def test_what_outlives_a_power_cut_charges_an_unfinished_opening_in_full() -> None:
    record = KeptRecord()
    record.take(SaveEpoch(epoch=4))
    record.take(reserve("4-1", 60.0, 9))
    record.take(
        Settle(
            dose="4-1", outcome=Outcome.CONFIRMED, open_s=50.0, charged_l=51.0, credited_l=50.0,
            ended_trusted_s=100.0,
        )
    )  # fmt: skip
    record.take(reserve("4-2", 40.0, 17))
    told = record.started(at_utc_s=UTC_S, mono_s=0.0, trusted_s=1000.0)
    assert (told.stored_epoch, told.stored_seq, told.trusted_s) == (4, 17, 1000.0)
    entries = [(e.dose, e.charged_l, e.ended_trusted_s) for e in told.ledger]
    assert entries == [("4-1", 51.0, 100.0), ("4-2", 40.0, 1140.0)]  # a lease + a nonce's life
    later = record.started(at_utc_s=UTC_S, mono_s=0.0, trusted_s=100.0 + 86_400.5)
    assert [entry.dose for entry in later.ledger] == ["4-2"]


# -- the engine's bench


@pytest.mark.hazard("V1", "V4")
def test_a_stuck_valve_under_a_script_is_called_and_stopped_by_the_master(garden: Garden) -> None:
    """The stated exception of the invariants: what a stuck valve passes, the master bounds."""
    bench = Bench(garden)
    bench.order("water", "south", litres=20.0)
    bench.live(120.0)
    assert bench.litres["south"] > 0.0
    bench.play(script(fault("valve:south", What.STUCK_OPEN, 0.0, 1e9)), 3600.0)
    assert "valve_stuck_open" in bench.alert_codes()
    assert not bench.is_open("master")
    given_l = bench.litres["south"]
    bench.live(1800.0)
    assert bench.litres["south"] == given_l
    assert 20.0 <= given_l < 20.0 + 3.0 * BED_L_MIN  # three minutes are enough to see it


@pytest.mark.hazard("C4")
def test_a_power_cut_under_a_script_ends_in_a_quiet_start(garden: Garden) -> None:
    bench = Bench(garden)
    bench.play(script(fault("power", What.CONTROLLER_DOWN, 100.0, 400.0)), 450.0)
    assert bench.born_s == pytest.approx(bench.now_s - 50.0, abs=1.0)
    assert not bench.is_ready
    bench.live(200.0)
    assert bench.is_ready


@pytest.mark.hazard("M2")
@pytest.mark.parametrize(
    ("one", "code"),
    [
        (fault("network", What.DOWN, 10.0, 1e9), "link_lost"),
        (fault("supply", What.LEAK, 10.0, 1e9, 3.0), "leak"),
        (fault("valve:wall", What.SILENT, 10.0, 1e9), "valve_silent"),
        (fault("store", What.REFUSE, 10.0, 1e9), "cannot_record"),
    ],
    ids=["network", "leak", "silent-valve", "store"],
)
def test_the_engine_calls_for_what_a_script_breaks(garden: Garden, one: Fault, code: str) -> None:
    bench = Bench(garden)
    bench.dry_out(0.6)
    bench.play(script(one), 3600.0, tick_s=10.0)
    assert code in bench.alert_codes()
