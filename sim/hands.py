"""The engine's hands in a replay: virtual valves and meter in the same process, no broker.

Valve nodes are the same state machines that stand on a real broker in trials (`sim/nodes.py`);
leases carry the node's latest nonce, as the wire's edge would add it. The record always succeeds.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from controller.effects import Alert, Alerts, Close, Effect, Lease, Note, Reserve
from controller.engine import Engine
from controller.events import Event, MeterReading, Recorded, RecordFailed, ValveReport
from controller.garden import Garden
from sim.fault_replay import KeptRecord, ReplayFaults
from sim.faults import Kind
from sim.garden_world import GardenWorld
from sim.nodes import CONTRACT, STATE_EVERY_S, ValveNode

METER_RESTS_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedNote:
    """A note and when it was made."""

    at_utc_s: float
    note: Note


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """One stretch of water onto a bed."""

    bed: str
    from_utc_s: float
    to_utc_s: float


class Hands:
    """Steps the engine and carries its effects out in the world.

    Args:
        garden: whose valves.
        engine: the brain.
        world: where water goes.
        utc_ahead_s: UTC minus the nodes' own time [s].
        started: called with bed and time at the first lease of each watering.
        faults: what breaks; None for nothing.
    """

    def __init__(
        self,
        garden: Garden,
        engine: Engine,
        world: GardenWorld,
        *,
        utc_ahead_s: float,
        started: Callable[[str, float], None],
        faults: ReplayFaults | None = None,
    ) -> None:
        self.engine = engine
        self.faults = faults
        self.record = KeptRecord()
        self._world = world
        self._ahead_s = utc_ahead_s
        self._started = started
        self._master = garden.master
        self._beds = {bed.valve: name for name, bed in garden.beds.items()}
        self.nodes = {
            valve: ValveNode(valve, index + 1, 0.0) for index, valve in enumerate(garden.valves)
        }
        self._nonces: dict[str, tuple[str, float]] = {}
        self._open: tuple[str, ...] = ()  # as of the last `flow`
        self._flowing: dict[str, float] = {}
        self._still_l: float | None = None  # what has been given, known while nothing flows
        self._leaked_l = self._leaked_s = 0.0
        self._open_s = -math.inf
        self._since_utc_s: dict[str, float] = {}
        self.flows: list[Flow] = []
        meter = garden.supply.meter
        self._meter = meter
        self._pulse_l = 0.0 if meter is None else garden.meters[meter].litres_per_pulse
        self.alerts: dict[str, Alert] = {}
        self.notes: list[TimedNote] = []

    def hear(self, events: Iterable[Event]) -> None:
        """Feed one event after the other, as `step` does; most lead to nothing."""
        step = self.engine.step
        for event in events:
            effects = step(event)
            if effects:
                self._follow(effects, event)

    def step(self, event: Event) -> None:
        """Feed one event, and everything that follows from it at the same instant."""
        effects = self.engine.step(event)
        if effects:
            self._follow(effects, event)

    def _follow(self, effects: list[Effect], event: Event) -> None:
        answers: deque[Event] = deque()
        while True:
            for effect in effects:
                answer = self._carry_out(effect, event.at_utc_s, event.mono_s)
                if answer is not None:
                    answers.append(answer)
            if not answers:
                return
            effects = self.engine.step(answers.popleft())

    def _carry_out(self, effect: Effect, at_utc_s: float, mono_s: float) -> Event | None:
        if self.faults is not None:
            if isinstance(effect, Reserve) and not self.faults.can_record:
                return RecordFailed(
                    at_utc_s=at_utc_s, mono_s=mono_s, dose=effect.dose, cause="disk full"
                )
            self.record.take(effect)
        match effect:  # the frequent ones first
            case Lease():
                return self._lease(effect, at_utc_s, mono_s)
            case Note():
                if effect.bed is not None:
                    self.notes.append(TimedNote(at_utc_s=at_utc_s, note=effect))
            case Close():
                if self._hears(effect.valve):
                    self.nodes[effect.valve].close(mono_s)
                    self._moved(effect.valve, mono_s)
                return self.told(effect.valve, at_utc_s, mono_s)
            case Reserve():
                return Recorded(at_utc_s=at_utc_s, mono_s=mono_s, dose=effect.dose)
            case Alerts():
                self.alerts.update((alert.id, alert) for alert in effect.standing)
            case _:
                pass
        return None

    def _hears(self, valve: str) -> bool:
        return self.faults is None or self.faults.hears(valve)

    def _lease(self, lease: Lease, at_utc_s: float, mono_s: float) -> Event | None:
        if not self._hears(lease.valve):
            return None
        node = self.nodes[lease.valve]
        first = not node.is_open
        node.lease(
            open_s=lease.open_s,
            dose=lease.dose,
            epoch=lease.epoch,
            seq=lease.seq,
            nonce=self._nonce(lease.valve, mono_s),
            now_s=mono_s,
        )
        if first and node.is_open and lease.valve in self._beds and "." not in lease.dose:
            self._started(self._beds[lease.valve], at_utc_s)
        self._moved(lease.valve, mono_s)
        return self.told(lease.valve, at_utc_s, mono_s)

    def _moved(self, valve: str, mono_s: float) -> None:
        """Let the flows follow where a valve that was told something has indeed moved."""
        if self.nodes[valve].is_open is not (valve in self._open):
            self.flow(mono_s)

    def told(self, valve: str, at_utc_s: float, mono_s: float) -> ValveReport | None:
        """What a valve node says now, where it arrives."""
        if self.faults is not None and not self.faults.speaks(Kind.VALVE, valve):
            return None
        return self.report(valve, at_utc_s, mono_s)

    def _nonce(self, valve: str, mono_s: float) -> str:
        """The node's latest word, no older than its idle pace of 20 s."""
        nonce, told_s = self._nonces.get(valve, ("", -math.inf))
        if mono_s - told_s <= STATE_EVERY_S:
            return nonce
        return self.nodes[valve].fresh_nonce(mono_s)

    def report(self, valve: str, at_utc_s: float, mono_s: float) -> ValveReport:
        """What a valve node says now, with a fresh nonce kept for the next lease."""
        says = self.nodes[valve].says(mono_s)
        self._nonces[valve] = (says.nonce, mono_s)
        return ValveReport(
            at_utc_s=at_utc_s,
            mono_s=mono_s,
            valve=valve,
            open=says.open,
            left_s=float(says.left_s),
            dose=says.dose,
            boot=says.boot,
            epoch=says.epoch,
            seq=says.seq,
            contract=CONTRACT,
        )

    def lapse(self, at_utc_s: float, mono_s: float) -> None:
        """Let leases run out that were not renewed, and tell the engine."""
        if not self._open:
            return
        for valve in self._open:
            node = self.nodes[valve]
            node.advance(mono_s)
            if not node.is_open and valve in self._open:
                self.flow(mono_s)
                report = self.told(valve, at_utc_s, mono_s)
                if report is not None:
                    self.step(report)

    def speak(self, at_utc_s: float, mono_s: float) -> None:
        """Let open valves tell their state, leased anew or not: a node does so every 20 s."""
        for valve in self._open:
            _, told_s = self._nonces.get(valve, ("", -math.inf))
            if mono_s > told_s:
                report = self.told(valve, at_utc_s, mono_s)
                if report is not None:
                    self.step(report)

    @property
    def any_open(self) -> bool:
        """Whether any valve is open."""
        return bool(self._open)

    def meter_speaks(self, mono_s: float) -> bool:
        """Whether the meter tells often: while water may flow and for a minute after."""
        if self._open:
            self._open_s = mono_s
        return mono_s - self._open_s <= METER_RESTS_S

    def meter_reading(self, at_utc_s: float, mono_s: float) -> MeterReading | None:
        """The meter's total now, in whole pulses."""
        if self._meter is None:
            return None
        litres = self.metered_l(mono_s)
        boot = "replay"
        if self.faults is not None:
            if not self.faults.speaks(Kind.METER, self._meter):
                return None
            litres, boot = self.faults.meter_total_l(litres), self.faults.meter_boot
        pulses = int(litres / self._pulse_l + 1e-6)
        return MeterReading(
            at_utc_s=at_utc_s,
            mono_s=mono_s,
            meter=self._meter,
            litres_total=pulses * self._pulse_l,
            up_s=mono_s,
            boot=boot,
        )

    def metered_l(self, mono_s: float) -> float:
        """All that the meter counted by then, its own error included [L]."""
        litres = self._still_l
        if litres is None:
            now_utc_s = mono_s + self._ahead_s
            litres = sum(self._world.litres_by(bed, now_utc_s) for bed in self._beds.values())
            if not self._flowing:
                self._still_l = litres
        if self.faults is not None:
            self._leaked_l += self.faults.leak_l_min() * (mono_s - self._leaked_s) / 60.0
            self._leaked_s = mono_s
            litres += self._leaked_l
        return litres * self._world.meter_factor

    def _flows(self) -> dict[str, float]:
        """What each bed truly gets, as the valves stand [L/min]."""
        if self.faults is not None:
            wanted = {bed: self._world.flow_l_min(bed) for bed in self._beds.values()}
            is_open = {valve: node.is_open for valve, node in self.nodes.items()}
            return self.faults.flows_l_min(is_open, wanted)
        if self._master is not None and self._master not in self._open:
            return {}
        return {
            self._beds[valve]: self._world.flow_l_min(self._beds[valve])
            for valve in self._open
            if valve in self._beds
        }

    def flow(self, mono_s: float) -> None:
        """Set the flows that follow from the valves as they stand; call it when one has moved."""
        self._open = tuple(valve for valve, node in self.nodes.items() if node.is_open)
        flowing = self._flows()
        if flowing == self._flowing:
            return
        now_utc_s = mono_s + self._ahead_s
        self._world.advance(now_utc_s)
        for bed, l_min in flowing.items():
            if l_min != self._flowing.get(bed):
                self._world.set_flow(bed, l_min)
            if bed not in self._flowing:
                self._since_utc_s[bed] = now_utc_s
        for bed in sorted(self._flowing.keys() - flowing.keys()):
            self._world.set_flow(bed, 0.0)
            since_s = self._since_utc_s.pop(bed)
            self.flows.append(Flow(bed=bed, from_utc_s=since_s, to_utc_s=now_utc_s))
        self._flowing, self._still_l = flowing, None
