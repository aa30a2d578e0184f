"""The engine's hands in a replay: virtual valves and meter in the same process, no broker.

Valve nodes are the same state machines that stand on a real broker in trials (`sim/nodes.py`);
leases carry the node's latest nonce, as the wire's edge would add it. The record always succeeds.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from controller.effects import Alert, Alerts, Close, Effect, Lease, Note, Reserve
from controller.engine import Engine
from controller.events import Event, MeterReading, Recorded, ValveReport
from controller.garden import Garden
from sim.garden_world import GardenWorld
from sim.nodes import STATE_EVERY_S, ValveNode

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
    """

    def __init__(
        self,
        garden: Garden,
        engine: Engine,
        world: GardenWorld,
        *,
        utc_ahead_s: float,
        started: Callable[[str, float], None],
    ) -> None:
        self._engine = engine
        self._world = world
        self._ahead_s = utc_ahead_s
        self._started = started
        self._master = garden.master
        self._beds = {bed.valve: name for name, bed in garden.beds.items()}
        self.nodes = {
            valve: ValveNode(valve, index + 1, 0.0) for index, valve in enumerate(garden.valves)
        }
        self._nonces: dict[str, tuple[str, float]] = {}
        self._flowing: set[str] = set()
        self._open_s = -math.inf
        self._since_utc_s: dict[str, float] = {}
        self.flows: list[Flow] = []
        meter = garden.supply.meter
        self._meter = meter
        self._pulse_l = 0.0 if meter is None else garden.meters[meter].litres_per_pulse
        self.alerts: dict[str, Alert] = {}
        self.notes: list[TimedNote] = []

    def step(self, event: Event) -> None:
        """Feed one event, and everything that follows from it at the same instant."""
        todo: deque[Event] = deque([event])
        while todo:
            for effect in self._engine.step(todo.popleft()):
                answer = self._carry_out(effect, event.at_utc_s, event.mono_s)
                if answer is not None:
                    todo.append(answer)

    def _carry_out(self, effect: Effect, at_utc_s: float, mono_s: float) -> Event | None:
        match effect:
            case Reserve():
                return Recorded(at_utc_s=at_utc_s, mono_s=mono_s, dose=effect.dose)
            case Lease():
                return self._lease(effect, at_utc_s, mono_s)
            case Close():
                self.nodes[effect.valve].close(mono_s)
                self._flow(mono_s)
                return self.report(effect.valve, at_utc_s, mono_s)
            case Alerts():
                self.alerts.update((alert.id, alert) for alert in effect.standing)
            case Note() if effect.bed is not None:
                self.notes.append(TimedNote(at_utc_s=at_utc_s, note=effect))
            case _:
                pass
        return None

    def _lease(self, lease: Lease, at_utc_s: float, mono_s: float) -> Event:
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
        self._flow(mono_s)
        return self.report(lease.valve, at_utc_s, mono_s)

    def _nonce(self, valve: str, mono_s: float) -> str:
        """The node's latest word, no older than its idle pace of 20 s."""
        nonce, told_s = self._nonces.get(valve, ("", -math.inf))
        if mono_s - told_s <= STATE_EVERY_S:
            return nonce
        return str(self.nodes[valve].state(mono_s)["nonce"])

    def report(self, valve: str, at_utc_s: float, mono_s: float) -> ValveReport:
        """What a valve node says now, with a fresh nonce kept for the next lease."""
        state = self.nodes[valve].state(mono_s)
        self._nonces[valve] = (str(state["nonce"]), mono_s)
        left_s = state["left_s"]
        epoch, seq = state["epoch"], state["seq"]
        return ValveReport(
            at_utc_s=at_utc_s,
            mono_s=mono_s,
            valve=valve,
            open=state["open"] is True,
            left_s=float(left_s) if isinstance(left_s, int | float) else 0.0,
            dose=str(state["dose"]),
            boot=str(state["boot"]),
            epoch=epoch if isinstance(epoch, int) else 0,
            seq=seq if isinstance(seq, int) else 0,
            contract=1,
        )

    def lapse(self, at_utc_s: float, mono_s: float) -> None:
        """Let leases run out that were not renewed, and tell the engine."""
        for valve, node in self.nodes.items():
            was_open = node.is_open
            node.advance(mono_s)
            if was_open and not node.is_open:
                self._flow(mono_s)
                self.step(self.report(valve, at_utc_s, mono_s))

    @property
    def any_open(self) -> bool:
        """Whether any valve is open."""
        return any(node.is_open for node in self.nodes.values())

    def meter_speaks(self, mono_s: float) -> bool:
        """Whether the meter tells often: while water may flow and for a minute after."""
        if self.any_open:
            self._open_s = mono_s
        return mono_s - self._open_s <= METER_RESTS_S

    def meter_reading(self, at_utc_s: float, mono_s: float) -> MeterReading | None:
        """The meter's total now, in whole pulses."""
        if self._meter is None:
            return None
        now_utc_s = mono_s + self._ahead_s
        litres = sum(self._world.litres_by(bed, now_utc_s) for bed in self._beds.values())
        pulses = int(litres / self._pulse_l + 1e-6)
        return MeterReading(
            at_utc_s=at_utc_s,
            mono_s=mono_s,
            meter=self._meter,
            litres_total=pulses * self._pulse_l,
            up_s=mono_s,
            boot="replay",
        )

    def _flow(self, mono_s: float) -> None:
        """Set the flows that follow from the valves as they stand."""
        gate = self._master is None or self.nodes[self._master].is_open
        flowing = {bed for valve, bed in self._beds.items() if gate and self.nodes[valve].is_open}
        if flowing == self._flowing:
            return
        self._world.advance(mono_s + self._ahead_s)
        now_utc_s = mono_s + self._ahead_s
        for bed in sorted(flowing - self._flowing):
            self._world.set_flow(bed, self._world.flow_l_min(bed))
            self._since_utc_s[bed] = now_utc_s
        for bed in sorted(self._flowing - flowing):
            self._world.set_flow(bed, 0.0)
            since_s = self._since_utc_s.pop(bed)
            self.flows.append(Flow(bed=bed, from_utc_s=since_s, to_utc_s=now_utc_s))
        self._flowing = flowing
