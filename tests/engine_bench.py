"""The engine among virtual nodes, a record and a network that can fail, in one process.

Valve nodes are the real state machines; closes are repeated by the link's own `Closing`. What truly
flowed is reckoned here from the leases that the nodes accepted, not from what the engine believes.
A fault script of `sim/faults.py` can be played to it (`play`).
"""

from __future__ import annotations

import heapq
from collections import deque
from dataclasses import dataclass
from typing import Any

from controller.closing import Closing
from controller.effects import (
    Answer,
    Close,
    Effect,
    Lease,
    Note,
    Ready,
    Reserve,
)
from controller.engine import Engine
from controller.events import (
    Event,
    LinkDown,
    LinkUp,
    MeterReading,
    Order,
    OrderKind,
    ProbeReading,
    Recorded,
    RecordFailed,
    Started,
    StoreState,
    Tick,
    ValveReport,
)
from controller.garden import Garden
from sim.fault_probes import ProbeTeller
from sim.faults import Breakage, Fault, FaultPlayer, FaultScript, Kind, What, which_of
from sim.nodes import ValveNode
from tests.engine_garden import (
    DAY_S,
    DRY_M3_M3,
    FULL_M3_M3,
    LITRES_PER_PULSE,
    QUIET_S,
    START_UTC_S,
    Record,
)


@dataclass(slots=True, kw_only=True)
class Flow:
    """The true state of one valve."""

    until_s: float = -1.0  # open up to here
    lease_s: float = -1.0  # last lease that the node accepted
    opened_s: float | None = None


Message = tuple[float, int, str, str, Any]


class Bench:
    """One engine's life among nodes, link and record.

    `now_s` is true elapsed time. The engine's monotonic clock starts again at each restart; its
    wall clock is `now_s` plus `wall_ahead_s`.
    """

    def __init__(self, garden: Garden, *, ready: bool = True, **started: Any) -> None:
        self.garden = garden
        self.master = garden.master
        self.beds = {bed.valve: name for name, bed in garden.beds.items()}
        self.now_s = 0.0
        self.born_s = 0.0  # of this process
        self.trusted_born_s = 0.0
        self.wall_ahead_s = START_UTC_S
        self.nodes = {
            valve: ValveNode(valve, seed=n, now_s=0.0) for n, valve in enumerate(garden.valves, 1)
        }
        self.flows = {valve: Flow() for valve in garden.valves}
        self.litres = dict.fromkeys(garden.beds, 0.0)
        self.pieces: dict[str, list[tuple[float, float]]] = {bed: [] for bed in garden.beds}
        self.edges: list[tuple[float, str, str]] = []
        self.record = Record()
        self.record_mode = "ok"  # ok | fail | hold
        self.held: list[Reserve] = []
        self.link_up = False
        self.closing = Closing()
        self.nonces: dict[str, str] = {}
        self.log: list[tuple[float, Effect]] = []
        self.events: list[Event] = []
        self.deaf: set[str] = set()  # leases do not arrive
        self.deaf_to_close: set[str] = set()
        self.mute: set[str] = set()  # reports do not arrive
        self.contracts: dict[str, int] = {}
        self.meter_counts = True
        self.extra_l = 0.0  # what the meter counted beyond the beds
        self.gush_l_min = 0.0  # and counts from now on
        self.uncounted_l = 0.0  # what it missed while it was frozen or began anew
        self.told_depletion: dict[str, float] = {}
        self.breakage = Breakage()  # by the script that is played; the switches above are beside it
        self.power = True
        self._teller = ProbeTeller()
        self._meter_boots = 0
        self._agenda: list[Message] = []
        self._posted = 0
        self._todo: deque[Event] = deque()
        self._stepping = False
        self._accrued_s = 0.0
        self._meter_s = self._probes_s = -1e9
        self._meter_l = 0.0
        self._orders = 0
        self.engine = Engine(garden)
        self.start(**started)
        if ready:
            self.connect()
            self.live(QUIET_S + 1.0, tick_s=20.0)

    # -- clocks

    @property
    def mono_s(self) -> float:
        """The engine's monotonic clock."""
        return self.now_s - self.born_s

    @property
    def at_utc_s(self) -> float:
        """The engine's wall clock."""
        return self.now_s + self.wall_ahead_s

    @property
    def trusted_s(self) -> float:
        """Trusted elapsed time now."""
        return self.trusted_born_s + self.mono_s

    def times(self) -> dict[str, Any]:
        """The two clocks of an event."""
        return {"at_utc_s": self.at_utc_s, "mono_s": self.mono_s}

    # -- the process

    def start(self, **told: Any) -> list[Effect]:
        """Begin with what the record knows."""
        fields: dict[str, Any] = {
            "trusted_s": self.trusted_born_s,
            "stored_epoch": self.record.epoch,
            "stored_seq": self.record.seq_high,
            "ledger": self.record.entries(),
        }
        return self.step(Started(**self.times(), **{**fields, **told}))

    def restart(self, gap_s: float, *, trusted: bool = True, keep: bool = True) -> None:
        """Kill the process and begin anew after a gap."""
        self.cut_power()
        self.advance(self.now_s + gap_s)
        self.give_power(trusted=trusted, keep=keep)

    def cut_power(self) -> None:
        """Kill the process; what is on its way to a node still arrives."""
        self._dumped, self._cut_s, self._cut_trusted_s = (
            self.engine.dump(),
            self.now_s,
            self.trusted_s,
        )
        self.power = self.link_up = False
        self.closing = Closing()
        self.nonces.clear()
        self._agenda = [m for m in self._agenda if m[2] == "lease"]
        heapq.heapify(self._agenda)
        self.held.clear()

    def give_power(self, *, trusted: bool = True, keep: bool = True) -> None:
        """Begin anew, the link not yet up."""
        trusted_s = self._cut_trusted_s + (self.now_s - self._cut_s if trusted else 0.0)
        self.power = True
        self.born_s, self.trusted_born_s = self.now_s, trusted_s
        self.record.assume_full(trusted_s)
        self.engine = Engine.load(self._dumped) if keep else Engine(self.garden)
        self.start()

    def connect(self) -> list[Effect]:
        """The link comes up; the nodes are heard at their own pace."""
        self.link_up = True
        effects = self.step(LinkUp(**self.times()))
        self.closing.again()
        self.hear_nodes(everyone=True)
        return effects

    def disconnect(self) -> list[Effect]:
        """The link is lost."""
        self.link_up = False
        return self.step(LinkDown(**self.times()))

    # -- the network; a fuzzing bench bends these

    def delays_s(self, kind: str, valve: str) -> list[float]:
        """When copies of a message arrive: none = lost, several = doubled."""
        broken = self.breakage
        if kind == "lease" and (valve in self.deaf or valve in broken.deaf):
            return []
        if kind == "close" and (valve in self.deaf_to_close or valve in broken.deaf):
            return []
        if kind == "report" and (valve in self.mute or self._silent(Kind.VALVE, valve)):
            return []
        return [0.0]

    def _silent(self, kind: Kind, name: str) -> bool:
        return which_of(kind, name) in self.breakage.silent

    def _post(self, kind: str, valve: str, message: Any) -> None:
        if not self.link_up:
            return
        for delay_s in self.delays_s(kind, valve):
            if delay_s <= 0.0:
                self._deliver(kind, valve, message)
            else:
                self._posted += 1
                due: Message = (self.now_s + delay_s, self._posted, kind, valve, message)
                heapq.heappush(self._agenda, due)

    def _deliver(self, kind: str, valve: str, message: Any) -> None:
        node = self.nodes[valve]
        if kind == "lease":
            lease, nonce = message
            accepted = node.lease(
                open_s=lease.open_s,
                dose=lease.dose,
                epoch=lease.epoch,
                seq=lease.seq,
                nonce=nonce,
                now_s=self.now_s,
            )
            if accepted:
                self._opened(valve, lease)
            self._tell(valve)
        elif kind == "close":
            node.close(self.now_s)
            self._shut(valve)
            self._tell(valve)
        elif self.link_up:
            report, nonce = message
            self.nonces[valve] = nonce
            heard: ValveReport = ValveReport(
                **{name: getattr(report, name) for name in REPORT_FIELDS}, **self.times()
            )
            self.closing.confirm(heard)
            self.step(heard)

    def _tell(self, valve: str) -> None:
        state: dict[str, Any] = self.nodes[valve].state(self.now_s)
        report = ValveReport(
            **self.times(),
            valve=valve,
            open=state["open"],
            left_s=float(state["left_s"]),
            dose=state["dose"],
            boot=state["boot"],
            epoch=state["epoch"],
            seq=state["seq"],
            contract=self.contracts.get(valve, 1),
        )
        self._post("report", valve, (report, state["nonce"]))

    # -- true water

    def _opened(self, valve: str, lease: Lease) -> None:
        flow = self.flows[valve]
        flow.lease_s, flow.until_s = self.now_s, self.now_s + lease.open_s
        if flow.opened_s is None:
            flow.opened_s = self.now_s
            self.edges.append((self.now_s, valve, "open"))
            self.opened(valve, lease.dose)

    def opened(self, valve: str, dose: str) -> None:
        """For benches that watch: a valve truly opened."""

    def _shut(self, valve: str) -> None:
        flow = self.flows[valve]
        if flow.opened_s is not None:
            flow.opened_s = None
            self.edges.append((min(self.now_s, flow.until_s), valve, "close"))
        flow.until_s = -1.0

    def is_open(self, valve: str) -> bool:
        """Whether a valve is truly open."""
        return self.flows[valve].until_s > self.now_s

    def open_beds(self) -> list[str]:
        """Beds whose valve is truly open."""
        return [bed for valve, bed in self.beds.items() if self.is_open(valve)]

    def _accrue(self, to_s: float) -> None:
        gate_s = to_s if self.master is None else self._flows_until_s(self.master, to_s)
        for valve, bed in self.beds.items():
            flowed_s = min(to_s, gate_s, self._flows_until_s(valve, to_s)) - self._accrued_s
            if flowed_s > 0.0:
                litres = flowed_s / 60.0 * self.garden.beds[bed].flow_l_min
                litres *= self.breakage.supply_frac
                self.litres[bed] += litres
                self.pieces[bed].append((to_s, litres))
                self.uncounted_l += litres if self.breakage.frozen_meters else 0.0
        self._accrued_s = to_s

    def _flows_until_s(self, valve: str, to_s: float) -> float:
        """Until when water can pass a valve, which may not do what its node says."""
        if valve in self.breakage.stuck_closed:
            return -1.0
        return to_s if valve in self.breakage.stuck_open else self.flows[valve].until_s

    def litres_of_last_day(self, bed: str) -> float:
        """True litres in the pieces that ended within the last 24 h."""
        since_s = self.now_s - DAY_S
        return sum(litres for end_s, litres in self.pieces[bed] if end_s > since_s)

    # -- time

    def advance(self, to_s: float) -> None:
        """Let true time pass; messages arrive when they are due."""
        while self._agenda and self._agenda[0][0] <= to_s:
            due_s, _, kind, valve, message = heapq.heappop(self._agenda)
            self._pass(max(self.now_s, due_s))
            self._deliver(kind, valve, message)
        self._pass(to_s)

    def _pass(self, to_s: float) -> None:
        self._accrue(to_s)
        gush_l_min = self.gush_l_min
        if self.breakage.leak_l_min:
            gush_l_min += self.breakage.leaks_l_min(self.garden.supply.flow_l_min)
        if gush_l_min and not self.breakage.frozen_meters:
            self.extra_l += gush_l_min * (to_s - self.now_s) / 60.0
        self.now_s = to_s
        for valve, flow in self.flows.items():
            if flow.opened_s is not None and flow.until_s <= to_s:
                self._shut(valve)
            self.nodes[valve].advance(to_s)

    def tick(self, dt_s: float = 5.0) -> list[Effect]:
        """Let time pass, hear what there is to hear, and tick."""
        self.advance(self.now_s + dt_s)
        if not self.power:
            return []
        if self.link_up:
            self.hear_nodes()
            self._repeat_closes()
            self._hear_meter()
            self._hear_probes()
        return self.step(Tick(**self.times()))

    def live(self, seconds: float, tick_s: float = 5.0) -> None:
        """Tick through a span of time."""
        end_s = self.now_s + seconds
        while self.now_s < end_s:
            self.tick(min(tick_s, end_s - self.now_s))

    def hear_nodes(self, *, everyone: bool = False) -> None:
        """Let the nodes tell their state where it is due."""
        for valve, node in self.nodes.items():
            if everyone or node.has_news(self.now_s):
                self._tell(valve)

    def _repeat_closes(self) -> None:
        for close in self.closing.due(mono_s=self.now_s, real_s=self.now_s):
            self.closing.tried(close.valve, sent=True, mono_s=self.now_s, real_s=self.now_s)
            self._post("close", close.valve, close)

    def meter_total_l(self) -> float:
        """What the meter shows."""
        counted_l = sum(self.litres.values()) + self.extra_l - self.uncounted_l
        whole = int(counted_l / LITRES_PER_PULSE + 1e-6)
        return whole * LITRES_PER_PULSE

    def _hear_meter(self) -> None:
        meter = self.garden.supply.meter
        if meter is not None and self._silent(Kind.METER, meter):
            return
        flowing = any(self.is_open(valve) for valve in self.flows)
        if meter is None or not (flowing or self.now_s - self._meter_s >= 20.0):
            return
        self._meter_s = self.now_s
        if self.meter_counts:
            self._meter_l = self.meter_total_l()
        self.step(
            MeterReading(
                **self.times(),
                meter=meter,
                litres_total=self._meter_l,
                up_s=self.now_s,
                boot=f"m{self._meter_boots}",
            )
        )

    def _hear_probes(self) -> None:
        if self.now_s - self._probes_s < 600.0:
            return
        self._probes_s = self.now_s
        for bed, depletion_frac in self.told_depletion.items():
            self.read(bed, depletion_frac)

    def reboot(self, valve: str) -> None:
        """A node starts anew: closed, its nonces gone."""
        self.nodes[valve].reboot(self.now_s)
        self._shut(valve)
        self._tell(valve)

    def read(self, bed: str, depletion_frac: float) -> None:
        """Both probes of a bed tell this depletion."""
        theta = FULL_M3_M3 - depletion_frac * (FULL_M3_M3 - DRY_M3_M3)
        for probe in self.garden.beds[bed].probes:
            seen = self._teller.told(probe, theta, 0.0, tension=False)
            if seen is not None:
                self.step(ProbeReading(**self.times(), probe=probe, value=seen[0]))

    def dry_out(self, depletion_frac: float, *beds: str) -> None:
        """The beds' probes tell this depletion from now on."""
        for bed in beds or self.garden.beds:
            self.told_depletion[bed] = depletion_frac
            self.read(bed, depletion_frac)

    # -- faults on purpose

    def play(self, script: FaultScript, seconds: float, tick_s: float = 5.0) -> None:
        """Live through a span of time, broken by a script that begins now."""
        began_s, player = self.now_s, FaultPlayer(script)
        while self.now_s < began_s + seconds:
            player.play(self.now_s - began_s, self)
            rest_s = min(player.next_change_s(), seconds) - (self.now_s - began_s)
            self.tick(min(tick_s, max(rest_s, 1e-3)))

    def broken(self, now: Breakage) -> None:
        """Take what is broken from now on, and tell the engine what it hears of it."""
        before, self.breakage = self.breakage, now
        self._teller.broken(now)
        self.wall_ahead_s += now.clock_ahead_s - before.clock_ahead_s
        self.record_mode = "fail" if now.store_refuses else "ok"
        if now.controller_down and self.power:
            self.cut_power()
        elif not now.controller_down and not self.power:
            self.give_power()
        if self.power and before.store_refuses and not now.store_refuses:
            self.step(StoreState(**self.times(), can_record=True))
        if self.power and now.network_down == self.link_up:
            _ = self.disconnect() if self.link_up else self.connect()

    def happened(self, fault: Fault) -> None:
        """Reboot nodes, lose or throw the meter's total."""
        match fault.what:
            case What.REBOOT:
                self.reboot(fault.name)
            case What.NODES_REBOOT:
                self._meter_boots += 1
                for valve in self.nodes:
                    self.reboot(valve)
            case What.RESET:
                self._meter_boots += 1
                self.uncounted_l = sum(self.litres.values()) + self.extra_l
            case What.JUMP:
                self.extra_l += fault.value
            case _:
                pass

    # -- the engine

    def step(self, event: Event) -> list[Effect]:
        """Feed an event, and what follows from it at the same instant."""
        effects = self._feed(event)
        while self._todo and not self._stepping:
            self._feed(self._todo.popleft())
        return effects

    def _feed(self, event: Event) -> list[Effect]:
        if self._stepping:
            self._todo.append(event)
            return []
        self.events.append(event)
        effects = self.engine.step(event)
        self.seen(event, effects)
        self._stepping = True
        for effect in effects:
            self.log.append((self.now_s, effect))
            self._carry_out(effect)
        self._stepping = False
        return effects

    def seen(self, event: Event, effects: list[Effect]) -> None:
        """For benches that watch."""

    def _carry_out(self, effect: Effect) -> None:
        self.record.take(effect)
        match effect:
            case Reserve():
                self._reserve(effect)
            case Lease():
                self.closing.leased(effect, mono_s=self.now_s)
                if self.link_up:
                    nonce = self.nonces.get(effect.valve, "")
                    self._post("lease", effect.valve, (effect, nonce))
            case Close():
                self.closing.want(effect, mono_s=self.now_s)
                if self.link_up:
                    self.closing.tried(
                        effect.valve, sent=True, mono_s=self.now_s, real_s=self.now_s
                    )
                    self._post("close", effect.valve, effect)
            case _:
                pass

    def _reserve(self, effect: Reserve) -> None:
        if self.record_mode == "hold":
            self.held.append(effect)
        elif self.record_mode == "fail":
            self._todo.append(
                RecordFailed(**self.times(), dose=effect.dose, cause="no space left on device")
            )
        else:
            self.record.reserve(effect)
            self._todo.append(Recorded(**self.times(), dose=effect.dose))

    def let_record(self) -> None:
        """The disk catches up with what it held."""
        held, self.held = self.held, []
        for effect in held:
            self.record.reserve(effect)
            self.step(Recorded(**self.times(), dose=effect.dose))

    def order(self, what: str, bed: str | None = None, **more: Any) -> Answer | None:
        """A person's order, and its answer where it came at once."""
        self._orders += 1
        name = f"o{self._orders}"
        self.step(
            Order(**self.times(), order=name, what=OrderKind(what), who="tester", bed=bed, **more)
        )
        return self.answer(name)

    def answer(self, name: str) -> Answer | None:
        """The answer to an order, if there is one."""
        found = [e for _, e in self.log if isinstance(e, Answer) and e.order == name]
        assert len(found) <= 1, f"{name} was answered {len(found)} times"
        return found[0] if found else None

    # -- reading the log

    def of(self, kind: type, since_s: float = -1.0) -> list[Any]:
        """All effects of a kind, in order."""
        return [e for at_s, e in self.log if isinstance(e, kind) and at_s >= since_s]

    def timed(self, kind: type) -> list[tuple[float, Any]]:
        """All effects of a kind with their instants."""
        return [(at_s, e) for at_s, e in self.log if isinstance(e, kind)]

    def leases(self, valve: str) -> list[float]:
        """When this valve was leased."""
        return [at_s for at_s, e in self.timed(Lease) if e.valve == valve]

    def closes(self, valve: str, since_s: float = -1.0) -> list[float]:
        """When this valve was told to close."""
        return [at_s for at_s, e in self.timed(Close) if e.valve == valve and at_s >= since_s]

    def notes(self, what: str, bed: str | None = None) -> list[Note]:
        """All notes of a kind."""
        return [n for n in self.of(Note) if n.what == what and bed in {None, n.bed}]

    def alert_codes(self) -> set[str]:
        """The alerts that stand."""
        return {alert.code for alert in self.engine.state.alerts.values()}

    @property
    def is_ready(self) -> bool:
        """Whether the quiet start is over."""
        return bool(self.of(Ready)) and self.engine.state.ready


REPORT_FIELDS = ("valve", "open", "left_s", "dose", "boot", "epoch", "seq", "contract")
