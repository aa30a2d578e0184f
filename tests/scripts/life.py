"""A garden's life under a hostile script: real engine, nodes and link's memory on one true clock.

Everything that is due stands in one agenda: messages on their way, steps of the script, ends of
faults, the meter, the probes. Where nothing moves, time strides from one ten minutes to the next;
while water is near, the engine ticks at the script's pace. Idle valve nodes, which speak every 20 s
for the sake of their nonces, are asked for their word when it is needed.
"""

from __future__ import annotations

import heapq
import random
from collections import deque
from collections.abc import Callable
from typing import Any

from controller.closing import Closing
from controller.effects import Close, Effect, Lease, Note, Reserve
from controller.engine import Engine
from controller.events import (
    Event,
    LinkDown,
    LinkUp,
    MeterReading,
    Order,
    OrderKind,
    PressureReading,
    ProbeReading,
    Recorded,
    RecordFailed,
    Started,
    StoreState,
    Tick,
    ValveReport,
    WeatherReading,
)
from controller.holds import carry_holds
from controller.inbox import IDLE_REPEAT_S, NonceBook
from controller.trusted import ClockStamp, trusted_gap_s
from controller.watering.guard import may_flow
from sim.fault_probes import ProbeTeller
from sim.faults import Breakage, Fault, Kind, What, broken_by, which_of
from sim.nodes import MeterNode, ProbeNode, ValveNode
from tests.scripts.gardens import (
    DRY_M3_M3,
    FULL_M3_M3,
    LITRES_PER_PULSE,
    STARTS,
    garden_of,
    json_of,
)
from tests.scripts.oracle import Oracle
from tests.scripts.record import FLUSH_S, Clocks, Instant, Record
from tests.scripts.script import Script
from tests.scripts.seen import Seen
from tests.scripts.water import Water

GRID_S = 600.0
QUIET_S = 140.0
LATE_REPORT_S = 40.0  # a link that holds things up for longer is a lost one: no canary for 45 s
LATE_LEASE_S = 70.0
SNAPSHOT_S = 3600.0
SEEP_S = 30.0  # between ticks while water runs past closed valves
HELD_S = 60.0  # between ticks while a watering waits for its turn
USE_FRAC_H = (0.012, 0.03)  # [1/h] of what the soil holds, by night and day
LOOP_S = 600.0  # starts within so long are a loop
NEVER_S = float("inf")


class Life:
    """One script, played.

    Args:
        script: what happens.
        seen: counts what occurred.
    """

    def __init__(self, script: Script, seen: Seen) -> None:
        self.script, self.seen = script, seen
        self.lots = random.Random(f"life/{script.seed}")
        self.garden = garden_of(script.garden, script.start)
        self.garden_json = json_of(script.garden, script.start)
        self.start_utc_s = STARTS[script.start][0]
        self.now_s = 0.0
        self.wall_off_s = 0.0
        self.boot, self.booted_s = 1, 0.0  # of the machine
        self.born_s, self.trusted_born_s = 0.0, 0.0
        self.master = self.garden.master
        self.valve_keys = {valve: which_of(Kind.VALVE, valve) for valve in self.garden.valves}
        self.beds = {bed.valve: name for name, bed in self.garden.beds.items()}
        self.nodes = {v: ValveNode(v, n, 0.0) for n, v in enumerate(self.garden.valves, 1)}
        self.probe_nodes = {p: ProbeNode(p, n, 0.0) for n, p in enumerate(self.garden.probes, 50)}
        self.probe_beds = {probe: probe.rpartition("-")[0] for probe in self.garden.probes}
        meter = self.garden.supply.meter
        self.meter = (
            None if meter is None else MeterNode(meter, 99, 0.0, litres_per_pulse=LITRES_PER_PULSE)
        )
        self.record = Record(self._clocks)
        self.closing, self.nonces = Closing(), NonceBook()
        self.last: dict[str, tuple[float, tuple[Any, ...]]] = {}  # what the link's inbox heard
        self.network = "clean"
        self.deaf_to_close: set[str] = set()
        self.contracts: dict[str, int] = {}
        self.faults: dict[int, Fault] = {}
        self.breakage = Breakage()
        self.teller = ProbeTeller()
        self.swapped: dict[str, str] = {}
        self.temp_c, self.rain_mm = 22.0, 0.0
        self.pressure_kpa: float | None = None  # told once a script has one
        self.power, self.link = False, False
        self.depletion = {bed: self.lots.uniform(0.1, 0.4) for bed in self.garden.beds}
        self.sent: list[tuple[float, Lease, str]] = []  # leases that went out
        self.armed: dict[str, list[tuple[float, list[Any]]]] = {}
        self.agenda: list[tuple[float, int, Callable[..., None], tuple[Any, ...]]] = []
        self._count = 0
        self._todo: deque[Event] = deque()
        self._stepping = False
        self.tick_due_s = 0.0
        self.engine = Engine(self.garden)
        self.water = Water(self)
        self.oracle = Oracle(self)
        self._snapshot_s = 0.0
        self.keep_state = False
        self.starts_s: list[float] = []  # of processes of which each ended in a crash
        self.ended_well = True

    # -- clocks

    @property
    def mono_s(self) -> float:
        """The process's monotonic clock."""
        return self.now_s - self.born_s

    @property
    def at_utc_s(self) -> float:
        """The machine's wall clock."""
        return self.start_utc_s + self.now_s + self.wall_off_s

    def times(self) -> dict[str, Any]:
        """The two clocks of an event."""
        return {"at_utc_s": self.at_utc_s, "mono_s": self.now_s - self.born_s}

    def _clocks(self, at: Instant) -> Clocks:
        """What a stamp is made of; only a clock that is right calls itself synchronised."""
        now_s, wall_off_s = at
        trusted_s = self.trusted_born_s + now_s - self.born_s
        wall_s = self.start_utc_s + now_s + wall_off_s
        return self.boot, now_s - self.booted_s, wall_s, abs(wall_off_s) < 1.0, trusted_s

    def _stamp_of(self, clocks: Clocks) -> ClockStamp:
        boot, mono_s, utc_s, synced, trusted_s = clocks
        return ClockStamp(
            boot_id=f"boot{boot}", mono_s=mono_s, utc_s=utc_s, synced=synced, trusted_s=trusted_s
        )

    def at(self, at_s: float, act: Callable[..., None], *args: Any) -> None:
        """Put something on the agenda."""
        self._count += 1
        heapq.heappush(self.agenda, (at_s, self._count, act, args))

    # -- time

    def live(self, end_s: float) -> None:
        """Let everything happen up to an instant."""
        agenda = self.agenda
        while True:
            due_s = agenda[0][0] if agenda else NEVER_S
            if min(due_s, self.tick_due_s) > end_s:
                break
            if due_s <= self.tick_due_s:
                at_s, _, act, args = heapq.heappop(agenda)
                if at_s > self.now_s:
                    self.water.flow_to(at_s)
                act(*args)
                if self.tick_due_s > self.now_s + self.script.tick_s and self._busy():
                    self.tick_due_s = self.now_s + self.script.tick_s
            else:
                self.water.flow_to(max(self.now_s, self.tick_due_s))
                self._tick()
        self.water.flow_to(end_s)

    def _busy(self) -> bool:
        return self.power and bool(self.engine.state.waterings or not self._settled())

    def _settled(self) -> bool:
        state = self.engine.run.state
        if not state.ready:
            return False
        for valve in state.valves.values():  # noqa: SIM110 (asked at every message)
            if valve.state != "closed":
                return False
        return True

    def _next_tick_s(self) -> float:
        """When the engine has to look next."""
        now_s, state = self.now_s, self.engine.state
        due_s = (now_s // GRID_S + 1.0) * GRID_S
        if not self.power:
            return due_s
        tick_s = self.script.tick_s
        run = self.engine.run
        if not state.ready:
            due_s = min(due_s, now_s + 20.0)
        for name, valve in state.valves.items():
            if valve.state != "closed" and may_flow(run, name):
                due_s = min(due_s, now_s + tick_s)
                break
        for watering in state.waterings.values():
            if watering.pulse is not None:
                due_s = min(due_s, now_s + tick_s)
            else:
                wait_s = watering.next_mono_s - (now_s - self.born_s)
                due_s = min(due_s, now_s + min(max(wait_s, tick_s), HELD_S * 10))
        if self.water.opened():
            due_s = min(due_s, now_s + tick_s)
        elif self.water.flowing:
            due_s = min(due_s, now_s + SEEP_S)
        return due_s

    def _tick(self) -> None:
        on_grid = self.now_s % GRID_S == 0.0
        if on_grid:
            self._live_on()
        if self.power:
            if self.link:
                self._hear_valves()
                self._repeat_closes()
                self._hear_meter()
            if on_grid:
                self._hear_sensors()
            self.feed(Tick(**self.times()))
            if self.now_s - self.record.flushed_s >= FLUSH_S and self.record.mode == "ok":
                self.record.flushed_s = self.now_s
                self._written(self.record.flush())
            snapshot = self.now_s - self._snapshot_s >= SNAPSHOT_S and self.record.mode == "ok"
            if snapshot and not self.engine.run.nudge:
                self._snapshot_s = self.now_s
                self.keep_now()
        if on_grid:
            self.oracle.each_ten_minutes()
        self.tick_due_s = self._next_tick_s()

    def _live_on(self) -> None:
        """Plants drink."""
        hour = int((self.now_s + 23.0 * 3600.0) // 3600.0) % 24
        use = USE_FRAC_H[8 <= hour < 20] * GRID_S / 3600.0
        for bed in self.depletion:
            self.depletion[bed] = min(1.0, self.depletion[bed] + use)

    # -- what is heard

    def _speaks(self, kind: Kind, name: str) -> bool:
        return self.link and which_of(kind, name) not in self.breakage.silent

    def _hear_valves(self) -> None:
        now_s = self.now_s
        for valve, node in self.nodes.items():
            if node.has_news(now_s):
                self.tell(valve)

    def tell(self, valve: str) -> None:
        """A valve node says what it is."""
        now_s = self.now_s
        opened, left_s, dose, nonce, boot, epoch, seq = self.nodes[valve].says(now_s)
        self.oracle.told(valve, nonce)
        if not self.link or self.valve_keys[valve] in self.breakage.silent:
            return
        mono_s, clean = now_s - self.born_s, self.network == "clean"
        contract = self.contracts.get(valve, 1)
        told = (opened, dose, boot, epoch, seq, contract)
        idle = clean and contract == 1 and not opened and not self.closing.waits
        if idle and self._said_just_now(valve, told, mono_s):
            self.nonces.keep(valve, nonce, mono_s=mono_s)
            return
        report = ValveReport(
            at_utc_s=self.start_utc_s + now_s + self.wall_off_s,
            mono_s=mono_s,
            valve=valve,
            open=opened,
            left_s=float(left_s),
            dose=dose,
            boot=boot,
            epoch=epoch,
            seq=seq,
            contract=contract,
        )
        if clean:
            self._hear_report(report, nonce)
        else:
            self.post("report", valve, (report, nonce))

    def _repeat_closes(self) -> None:
        if not self.closing.waits:
            return
        mono_s = self.mono_s
        for close in self.closing.due(mono_s=mono_s, real_s=mono_s):
            self.closing.tried(close.valve, sent=True, mono_s=mono_s, real_s=mono_s)
            self.post("close", close.valve, close)

    def _hear_meter(self) -> None:
        if self.meter is None or not self.meter.has_news(self.now_s):
            return
        told = self.meter.reading(self.now_s)
        if not self._speaks(Kind.METER, self.meter.meter):
            return
        total: Any = told["litres_total"]
        up_s: Any = told["up_s"]
        reading = MeterReading(
            at_utc_s=self.at_utc_s,
            mono_s=self.now_s - self.born_s,
            meter=self.meter.meter,
            litres_total=total,
            up_s=up_s,
            boot=str(told["boot"]),
        )
        heard: list[MeterReading | PressureReading] = [reading]
        if self.pressure_kpa is not None:
            heard.append(
                PressureReading(
                    **self.times(),
                    meter=reading.meter,
                    pressure_kpa=self.pressure_kpa,
                    up_s=up_s,
                    boot=reading.boot,
                )
            )
        for one in heard:
            if self.network == "clean":
                self.feed(one)
            else:
                self.post("event", "", one)

    def _hear_sensors(self) -> None:
        lots, touched = self.lots, self.teller.touched
        at_utc_s, mono_s, now_s = self.at_utc_s, self.mono_s, self.now_s
        for probe, node in self.probe_nodes.items():
            stamp: Any = node.stamp(now_s)
            theta = self.theta(probe)
            if probe in touched:
                told = self.teller.told(probe, theta, 0.0, tension=False)
                if told is None:
                    continue
                theta = told[0]
            if self.link:
                value = round(theta + lots.uniform(-0.002, 0.002), 4)
                reading = ProbeReading(
                    at_utc_s=at_utc_s,
                    mono_s=mono_s,
                    probe=probe,
                    value=max(0.0, value),
                    seq=stamp["seq"],
                    boot=stamp["boot"],
                )
                if self.network == "clean":
                    self.feed(reading)
                else:
                    self.post("event", "", reading)
        for mast in self.garden.weather:
            if self._speaks(Kind.WEATHER, mast):
                self.post(
                    "event",
                    "",
                    WeatherReading(
                        **self.times(),
                        mast=mast,
                        temp_c=self.temp_c,
                        rh_pct=55.0,
                        rain_mm_total=self.rain_mm,
                        solar_w_m2=300.0,
                        wind_m_s=1.2,
                    ),
                )

    def theta(self, probe: str) -> float:
        """The truth at a probe [m3/m3]."""
        bed = self.probe_beds[probe]
        at = self.swapped.get(bed, bed) if self.swapped else bed
        return FULL_M3_M3 - self.depletion[at] * (FULL_M3_M3 - DRY_M3_M3)

    # -- the network

    def delays_s(self, kind: str, valve: str) -> tuple[float, ...]:
        """When copies of a message arrive: none = lost, several = doubled."""
        if kind in {"lease", "close"} and valve in self.breakage.deaf:
            return ()
        if kind == "close" and valve in self.deaf_to_close:
            return ()
        network = self.network
        if network == "clean":
            return (0.0,)
        lot = self.lots.random()
        if network == "lossy":
            return () if lot < 0.4 else (0.0,)
        late_s = LATE_LEASE_S if kind in {"lease", "close"} else LATE_REPORT_S
        if network == "doubled":
            return (0.0, self.lots.uniform(0.0, late_s)) if lot < 0.5 else (0.0,)
        if network == "stalled":  # for longer than a nonce lives
            return (60.0 if kind == "lease" else 0.0,)
        if network == "held":  # each way for as long as a link may hold things up
            return (late_s * 0.64 if kind == "lease" else 0.0,)
        return (self.lots.uniform(0.0, late_s),) if lot < 0.6 else (0.0,)  # late, and out of order

    def post(self, kind: str, valve: str, message: Any) -> None:
        """Send something."""
        if not self.link:
            return
        delays_s = self.delays_s(kind, valve)
        if self.network != "clean":
            self.seen.message(kind, delays_s)
        for delay_s in delays_s:
            if delay_s <= 0.0:
                self.deliver(kind, valve, message)
            else:
                link = self.born_s if kind in {"report", "event"} else None
                self.at(self.now_s + delay_s, self._late, kind, valve, message, link)

    def _late(self, kind: str, valve: str, message: Any, process: float | None) -> None:
        if process is not None and process != self.born_s:
            return  # it was for a process that is gone
        if kind == "event":
            message = _arriving(message, self.times())
        elif kind == "report":
            message = (_arriving(message[0], self.times()), message[1])
        self.deliver(kind, valve, message)

    def deliver(self, kind: str, valve: str, message: Any) -> None:
        """Something arrives."""
        if kind == "lease":
            lease, nonce = message
            self.water.lease(lease, nonce)
            self.tell(valve)
        elif kind == "close":
            self.water.close(valve)
            self.tell(valve)
        elif self.link:
            if kind == "report":
                self._hear_report(*message)
            else:
                self.feed(message)

    def _hear_report(self, report: ValveReport, nonce: str) -> None:
        """The link takes a valve's word."""
        valve, mono_s = report.valve, self.now_s - self.born_s
        if report.contract == 1:
            self.nonces.keep(valve, nonce, mono_s=mono_s)
        else:
            self.nonces.burn(valve)
        if self.closing.waits:
            self.closing.confirm(report)
        told = (report.open, report.dose, report.boot, report.epoch, report.seq, report.contract)
        if report.open or not self._said_just_now(valve, told, report.mono_s):
            self.last[valve] = (report.mono_s, told)
            self.feed(report)

    def _said_just_now(self, valve: str, told: tuple[Any, ...], mono_s: float) -> bool:
        """An idle valve's word is an event once a minute, as in the link's inbox."""
        last = self.last.get(valve)
        return last is not None and mono_s - last[0] < IDLE_REPEAT_S and last[1] == told

    # -- the engine

    def feed(self, event: Event) -> None:
        """Feed an event, and what follows from it at the same instant."""
        if not self.power:
            return
        todo = self._todo
        if self._stepping:
            todo.append(event)
            return
        self._stepping = True
        try:
            self._step(event)
            while todo and self.power:
                self._step(todo.popleft())
        finally:
            self._stepping = False
            todo.clear()

    def _step(self, event: Event) -> None:
        engine = self.engine
        effects = engine.step(event)
        if effects:
            self._follow(event, effects)
            return
        oracle = self.oracle  # nothing follows, as nearly always
        if oracle.holds or type(event) in oracle.looks:
            oracle.saw(event, effects)
        if not engine.idle:
            self.record.waits.append((event, effects, (self.now_s, self.wall_off_s)))
            if self.keep_state:
                self._keep_latches(effects)

    def _follow(self, event: Event, effects: list[Effect]) -> None:
        for effect in effects:
            if isinstance(effect, Close):
                self._send_close(effect)
        self.oracle.saw(event, effects)
        written = self.record.commit(event, effects, (self.now_s, self.wall_off_s))
        self._written(written)
        self._keep_latches(effects)
        if self.record.mode == "fail":
            for effect in effects:
                if isinstance(effect, Reserve):
                    failed = RecordFailed(**self.times(), dose=effect.dose, cause="disk full")
                    self._todo.append(failed)
        for effect in effects:
            if isinstance(effect, Lease):
                self._send_lease(effect)

    def _keep_latches(self, effects: list[Effect]) -> None:
        """An alert that another version has to carry over is kept with the whole state at once."""
        for effect in effects:
            if isinstance(effect, Note) and effect.what == "alert" and effect.durable:
                self.keep_state = True  # and once more when the record works again
        if self.keep_state and self.record.mode == "ok":
            self.keep_state = False
            self.keep_now()

    def keep_now(self) -> None:
        """Keep the whole state."""
        self._written(self.record.keep_snapshot(self.engine.dump()))

    def _written(self, doses: list[str]) -> None:
        if not self.record.waits:
            self.oracle.kept()
        for dose in doses:
            recorded = Recorded(**self.times(), dose=dose)
            if self._stepping:
                self._todo.append(recorded)
            else:
                self.feed(recorded)

    def _send_close(self, close: Close) -> None:
        self.closing.want(close, mono_s=self.mono_s)
        self.nonces.burn(close.valve)
        self.last.pop(close.valve, None)
        if self.link:
            self.closing.tried(close.valve, sent=True, mono_s=self.mono_s, real_s=self.mono_s)
            self.post("close", close.valve, close)

    def _send_lease(self, lease: Lease) -> None:
        if not self.link:
            return
        valve = lease.valve
        nonce = self.nonces.fresh(valve, mono_s=self.mono_s)
        if nonce is None and self._idle_word(valve):
            nonce = self.nodes[valve].fresh_nonce(self.now_s)
            self.oracle.told(valve, nonce)
        if nonce is None or self.closing.pending(valve, mono_s=self.mono_s):
            return
        self.closing.leased(lease, mono_s=self.mono_s)
        self.last.pop(valve, None)
        self.sent.append((self.now_s, lease, nonce))
        self.oracle.sent(lease)
        self.post("lease", valve, (lease, nonce))

    def _idle_word(self, valve: str) -> bool:
        """Whether an idle node has surely spoken within its 20 s."""
        clean = self.network == "clean" and self._speaks(Kind.VALVE, valve)
        return clean and self.contracts.get(valve, 1) == 1 and not self._busy_with(valve)

    def _busy_with(self, valve: str) -> bool:
        return self.nodes[valve].is_open or self.closing.pending(valve, mono_s=self.mono_s)

    # -- the process

    def start(self, *, history: str = "kept", armed: bool = True) -> None:
        """Begin with what the record knows; the link comes up where there is one."""
        clocks = self.record.disk.clocks
        last = None if clocks is None else self._stamp_of(clocks)
        now = self._stamp_of(self._clocks((self.now_s, self.wall_off_s)))
        trusted_s = last.trusted_s + trusted_gap_s(last, now, scaled=False) if last else 0.0
        self.power, self.born_s, self.trusted_born_s = True, self.now_s, trusted_s
        self.closing, self.nonces = Closing(), NonceBook()
        self.last.clear()
        ledger = self.record.recover(trusted_s)
        crashed = bool(self.starts_s) and not self.ended_well
        self.starts_s = [s for s in self.starts_s if crashed and self.now_s - s <= LOOP_S]
        self.starts_s.append(self.now_s)
        self.ended_well = False
        self.oracle.started(kept=history == "kept")
        kind: Any = history if last is not None or history == "lost" else "first"
        self.feed(
            Started(
                **self.times(),
                trusted_s=trusted_s,
                stored_epoch=self.record.disk.epoch,
                stored_seq=self.record.disk.seq_high,
                ledger=ledger,
                history=kind,
                clock_synced=now.synced,
                armed=armed,
                crashed=crashed,
                starts_lately=len(self.starts_s),
                proofs=self.master is not None and self.meter is not None,
                garden_json=self.garden_json,
            )
        )
        if self.record.mode == "ok":  # as the daemon does: the journal can be fed from here
            self.keep_now()
        self.tick_due_s = self.now_s
        self.trigger("started")
        if not self.breakage.network_down:
            self.connect()

    def connect(self) -> None:
        """The link comes up; all nodes are heard."""
        self.link = True
        self.nonces.burn_all()
        self.last.clear()
        self.closing.again()
        self.feed(LinkUp(**self.times()))
        for valve in self.nodes:
            self.tell(valve)

    def disconnect(self) -> None:
        """The link is lost."""
        self.link = False
        self.nonces.burn_all()
        self.last.clear()
        self.feed(LinkDown(**self.times()))

    def kill(self, how: str) -> None:
        """The process ends: `stop` in good order, else with what waits written or (`tail`) lost."""
        if not self.power:
            return
        self.ended_well = how == "stop"
        if how == "stop":
            self.feed(self.order_event(OrderKind.STOP_ALL, who="end"))
        if self.record.mode == "ok" and how != "tail":
            self._written(self.record.flush())
        self.oracle.cut(len(self.record.waits))
        self.record.waits.clear()
        self.keep_state = False
        self.power = self.link = False

    def wake(self, how: str) -> None:
        """A new process goes on from the record."""
        if self.power:
            return
        if how in {"synced", "unsynced"}:
            self.boot, self.booted_s = self.boot + 1, self.now_s
            if how == "unsynced" and abs(self.wall_off_s) < 1.0:
                self.wall_off_s = -7200.0
        history = "kept"
        if how == "lost":
            self.record.lose()
            history = "lost"
        elif how == "old" and self.record.restore_backup():
            self.oracle.older()
        disk = self.record.disk
        if how == "version":
            self.engine = Engine(self.garden)
            text = None if disk.snapshot is None else disk.snapshot.decode()
            carry_holds(self.engine.run, text, disk.events)
        else:
            self.engine = self._refed()
        self.start(history=history, armed=how != "unarmed")

    def _refed(self) -> Engine:
        disk = self.record.disk
        engine = Engine(self.garden) if disk.snapshot is None else Engine.load(disk.snapshot)
        for event in disk.events:
            engine.step(event)
        return engine

    def order_event(self, what: OrderKind, who: str = "anna", **fields: Any) -> Order:
        """A person's order."""
        self._count += 1
        return Order(**self.times(), order=f"o{self._count}", what=what, who=who, **fields)

    # -- what breaks

    def break_it(self, fault: Fault, lasts_s: float) -> None:
        """Something breaks, for a while."""
        self.seen.fault(fault)
        if fault.moment:
            self._happened(fault)
            return
        self._count += 1
        key = self._count
        self.faults[key] = fault
        self._broken()
        self.at(self.now_s + lasts_s, self._mended, key)

    def _mended(self, key: int) -> None:
        if self.faults.pop(key, None) is not None:
            self._broken()

    def mend_all(self) -> None:
        """Everything is sound again."""
        self.network = "clean"
        self.deaf_to_close.clear()
        self.contracts.clear()
        self.swapped.clear()
        if self.pressure_kpa is not None:
            self.pressure_kpa = self.garden.supply.pressure_kpa
        self.faults.clear()
        self.set_record("ok")
        self._broken()
        self.temp_c = 22.0

    def _broken(self) -> None:
        before = self.breakage
        now = self.breakage = broken_by(self.faults.values())
        self.teller.broken(now)
        self.water.changed()
        self.oracle.broken(now)
        self.wall_off_s += now.clock_ahead_s - before.clock_ahead_s
        if now.store_refuses != before.store_refuses:
            self.set_record("fail" if now.store_refuses else "ok")
        if now.controller_down and not before.controller_down:
            self.kill("tail")
        elif before.controller_down and not now.controller_down:
            self.wake("synced")
        if self.power and now.network_down == self.link:
            if self.link:
                self.disconnect()
            else:
                self.connect()

    def _happened(self, fault: Fault) -> None:
        match fault.what:
            case What.REBOOT:
                self.water.reboot(fault.name)
            case What.NODES_REBOOT:
                for valve in self.nodes:
                    self.water.reboot(valve)
                for probe in self.probe_nodes.values():
                    probe.reboot(self.now_s)
                if self.meter is not None:
                    self.meter.reboot(self.now_s)
            case What.RESET if self.meter is not None:
                self.meter.reboot(self.now_s, keep_total=False)
            case What.JUMP if self.meter is not None:
                self.meter.add(fault.value, self.now_s)
            case _:
                pass

    def set_record(self, mode: str) -> None:
        """The disk works, hangs or refuses."""
        before, self.record.mode = self.record.mode, mode
        if mode == "ok" and before != "ok" and self.power:
            self.keep_now()
            if before == "fail":
                self.feed(StoreState(**self.times(), can_record=True))

    def trigger(self, name: str) -> None:
        """Something happened that steps may wait for."""
        for delay_s, step in self.armed.pop(name, ()):
            self.at(self.now_s + delay_s, self.script.play, self, step)


def _arriving(event: Any, times: dict[str, Any]) -> Any:
    return type(event)(
        **{
            **{name: getattr(event, name) for name in event.__dataclass_fields__ if name != "kind"},
            **times,
        }
    )
