"""The virtual nodes of one garden, piped together: valves, meter, probes and mast over a world.

Pure: time comes with each call, messages go in and out as values. A bed gets water only while its
valve and every master or pump upstream are open; the meter turns with what flows. `bench.py` puts
it on a real broker. Node time is monotonic garden time [s]; the world lives in UTC, moved along by
the same seconds.

Left out: plain relays; pressure; water hammer; the fill of the lines.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Literal, Protocol

from sim.fault_probes import ProbeTeller
from sim.faults import (
    TENSION_KINDS,
    Breakage,
    Fault,
    FaultPlayer,
    FaultScript,
    Kind,
    What,
    which_of,
)
from sim.forms import message, told_value
from sim.nodes import SENSE_EVERY_S, MastNode, MeterNode, ProbeNode, ValveNode

if TYPE_CHECKING:
    from controller.garden import Garden

FLOW_STEP_S = 1.0  # [s] while water flows, so that pulses come when they should
TRUTH_EVERY_S = 5.0  # [s] while open
ROUNDING_S = 1e-6  # [s] two clocks that count from afar agree no better

Send = Callable[[str, bytes, int], None]
Truth = dict[str, object]


class World(Protocol):
    """The soil, plants and sky that the nodes stand in."""

    def advance(self, to_utc_s: float) -> None:
        """Let time pass up to then, with the flows set before."""

    def set_flow(self, bed: str, l_min: float) -> None:
        """Let this much water onto a bed from now on [L/min]; 0 = none."""

    def flow_l_min(self, bed: str) -> float:
        """Tell what the bed's emitters truly pass at full pressure [L/min]."""

    def probe_value(self, probe: str) -> float | None:
        """Tell the probe's water content [m3/m3], own errors included; None = reading lost."""

    def tension_kpa(self, probe: str) -> float:
        """Tell the soil water tension at the probe [kPa]."""

    def weather(self) -> Mapping[str, float]:
        """Tell what the mast's instruments say, by the wire's names."""


@dataclass(slots=True, kw_only=True)
class _Pipe:
    """One valve in the ground."""

    node: ValveNode
    role: Literal["bed", "master", "pump"]
    bed: str | None
    flow_l_min: float = 0.0
    litres: float = 0.0
    open: bool = False
    truth_due_s: float = 0.0
    leased_s: float | None = None  # when a lease was last accepted


class VirtualGarden:
    """All nodes of a garden.

    Args:
        garden: whose nodes.
        world: what they stand in.
        seed: of nonces, boot names and phases.
        node_s: time now, monotonic [s].
        utc_s: the same instant [s UTC].
        truth: called with each line of the truth file.
        faults: what breaks when; of power only the nodes' own, of clock and store nothing is here.
    """

    def __init__(
        self,
        garden: Garden,
        world: World,
        *,
        seed: int,
        node_s: float,
        utc_s: float,
        truth: Callable[[Truth], None] | None = None,
        faults: FaultScript | None = None,
    ) -> None:
        self.breakage = Breakage()
        self._teller = ProbeTeller()
        script = faults or FaultScript(begin_utc_s=utc_s)
        self._player = FaultPlayer(script)
        self._faults_from_s = script.begin_utc_s - (utc_s - node_s)
        self._garden = garden
        self._world = world
        self._at_s = node_s
        self._utc_ahead_s = utc_s - node_s
        self._truth = truth
        seeds = iter(range(seed * 1000, seed * 1000 + 1000))  # 180 devices at most
        self._pipes = _pipes_of(garden, seeds, node_s)
        self._meters = _meters_of(garden, seeds, node_s)
        self._probes = {
            topic: (ProbeNode(names[0], next(seeds), node_s, every_s=_pace(garden, names)), names)
            for topic, names in _by_topic(garden).items()
        }
        self._masts = {mast: MastNode(mast, next(seeds), node_s) for mast in sorted(garden.weather)}
        self._commands: dict[str, tuple[Literal["lease", "close"], str]] = {}
        for valve in self._pipes:
            self._commands[garden.topic("lease", valve)] = ("lease", valve)
            self._commands[garden.topic("close", valve)] = ("close", valve)
        for valve in self._pipes:
            self._tell_truth(valve)
        self._break()

    @property
    def node_s(self) -> float:
        """Time up to which everything has happened [s]."""
        return self._at_s

    def topics(self) -> list[str]:
        """List the topics that the nodes hear."""
        return list(self._commands)

    def is_open(self, valve: str) -> bool:
        """Tell whether a valve truly passes water."""
        return self._pipes[valve].open

    def litres(self, valve: str) -> float:
        """Tell what has truly flowed through a valve so far [L]."""
        return self._pipes[valve].litres

    def node(self, valve: str) -> ValveNode:
        """Give the node of a valve, to reboot it or to look inside."""
        return self._pipes[valve].node

    def meter(self, meter: str) -> MeterNode:
        """Give the node of a meter."""
        return self._meters[meter]

    def hear(
        self, topic: str, payload: bytes, *, retained: bool, node_s: float, send: Send
    ) -> None:
        """Take a command as it arrived, at `node_s`; everything due before it happens first.

        `retained` says whether the broker had kept it from before; `send` is called with topic,
        payload and QoS of each message.
        """
        if topic not in self._commands:
            return
        self.run_to(node_s, send)
        kind, valve = self._commands[topic]
        if valve not in self.breakage.deaf:
            pipe = self._pipes[valve]
            done = pipe.node.hear(kind, payload, retained=retained, now_s=self._at_s)
            pipe.leased_s = self._at_s if done and kind == "lease" else pipe.leased_s
            self._settle_valves()
            self._speak(send)

    def greet(self, send: Send) -> None:
        """Tell every valve's state and every total: the link is there (again)."""
        for valve in self._pipes:
            self._send_state(valve, send)
        for meter in self._meters:
            self._send_total(meter, send)

    def close_all(self, send: Send) -> None:
        """Close every valve and say so."""
        for pipe in self._pipes.values():
            pipe.node.close(self._at_s)
        self._settle_valves()
        self._speak(send)

    def run_to(self, node_s: float, send: Send) -> None:
        """Let everything happen that is due up to a time.

        Args:
            node_s: time [s]; an earlier one than before changes nothing.
            send: called with topic, payload and QoS of each message.
        """
        while self._at_s < node_s:
            step_s = max(self._at_s, min(node_s, self.next_due_s()))
            self._flow(step_s - self._at_s, step_s)
            self._at_s = step_s
            self._break()
            self._settle_valves()
            self._speak(send)

    def next_due_s(self) -> float:
        """Give the next time at which something happens by itself [s]."""
        due_s = [node.next_due_s() for node in self._nodes()]
        due_s += [pipe.truth_due_s for pipe in self._pipes.values() if pipe.open]
        due_s.append(self._faults_from_s + self._player.next_change_s())
        if self._passes_water():
            due_s.append(self._at_s + FLOW_STEP_S)
        return min(due_s)

    # -- what breaks

    def _break(self) -> None:
        """Let everything break, mend and happen that the script has up to now."""
        self._player.play(self._at_s - self._faults_from_s + ROUNDING_S, self)

    def broken(self, now: Breakage) -> None:
        """Take what is broken from now on."""
        self.breakage = now
        self._teller.broken(now)

    def happened(self, fault: Fault) -> None:
        """Reboot nodes, lose or throw the meter's total."""
        match fault.what:
            case What.REBOOT:
                self._pipes[fault.name].node.reboot(self._at_s)
            case What.RESET:
                self._meters[fault.name].reboot(self._at_s, keep_total=False)
            case What.JUMP:
                self._meters[fault.name].add(fault.value, self._at_s)
            case What.NODES_REBOOT:
                for node in self._nodes():
                    node.reboot(self._at_s)
            case _:
                pass

    def _nodes(self) -> list[ValveNode | MeterNode | ProbeNode | MastNode]:
        valves = [pipe.node for pipe in self._pipes.values()]
        probes = [node for node, _ in self._probes.values()]
        return [*valves, *self._meters.values(), *probes, *self._masts.values()]

    # -- water

    def _passes_water(self) -> bool:
        return self.breakage.leak_l_min > 0.0 or any(p.flow_l_min for p in self._pipes.values())

    def _flow(self, seconds: float, until_s: float) -> None:
        """Let water flow for a while with the valves as they stand."""
        leaked = self.breakage.leaks_l_min(self._garden.supply.flow_l_min) * seconds / 60.0
        total = 0.0
        for pipe in self._pipes.values():
            litres = pipe.flow_l_min * seconds / 60.0
            pipe.litres += litres
            total += litres if pipe.role == "bed" else 0.0
        for meter, node in self._meters.items():
            if meter not in self.breakage.frozen_meters:
                node.add(total + leaked, until_s)

    def _settle_valves(self) -> None:
        """Take over what the valve nodes did, and set the flows that follow."""
        changed = []
        for valve, pipe in self._pipes.items():
            pipe.node.advance(self._at_s)
            now_open = self.breakage.truly_open(valve, pipe.node.is_open)
            if now_open != pipe.open:
                pipe.open = now_open
                changed.append(valve)
        self._set_flows()
        for valve, pipe in self._pipes.items():
            if valve in changed or (pipe.open and self._at_s >= pipe.truth_due_s):
                self._tell_truth(valve)

    def _set_flows(self) -> None:
        pipes = self._pipes.values()
        gates_open = all(pipe.open for pipe in pipes if pipe.role != "bed")
        wanted = {
            pipe.bed: self._world.flow_l_min(pipe.bed)
            for pipe in pipes
            if pipe.bed is not None and pipe.open and gates_open
        }
        left_l_min = self.breakage.left_l_min(self._garden.supply.flow_l_min)
        share = min(1.0, left_l_min / max(sum(wanted.values()), 1e-9))
        for pipe in pipes:
            if pipe.role == "bed":
                self._set_flow(pipe, wanted.get(pipe.bed or "", 0.0) * share)
        total = sum(pipe.flow_l_min for pipe in pipes if pipe.role == "bed")
        for pipe in pipes:
            if pipe.role != "bed":
                pipe.flow_l_min = total

    def _set_flow(self, pipe: _Pipe, l_min: float) -> None:
        if l_min != pipe.flow_l_min:
            pipe.flow_l_min = l_min
            if pipe.bed is not None:
                self._world.advance(self._at_s + self._utc_ahead_s)
                self._world.set_flow(pipe.bed, l_min)

    # -- words

    def _speak(self, send: Send) -> None:
        for valve, pipe in self._pipes.items():
            if pipe.node.has_news(self._at_s):
                self._send_state(valve, send)
        for meter, node in self._meters.items():
            if node.has_news(self._at_s):
                self._send_total(meter, send)
        for topic, (probe, names) in self._probes.items():
            if probe.has_news(self._at_s):
                self._send_probes(topic, probe, names, send)
        for mast, sensor in self._masts.items():
            if sensor.has_news(self._at_s):
                self._world.advance(self._at_s + self._utc_ahead_s)
                reading = sensor.reading(dict(self._world.weather()), self._at_s)
                if which_of(Kind.WEATHER, mast) not in self.breakage.silent:
                    send(self._garden.topic("weather", mast), json.dumps(reading).encode(), 0)

    def _send_state(self, valve: str, send: Send) -> None:
        state = self._pipes[valve].node.state(self._at_s)
        if which_of(Kind.VALVE, valve) not in self.breakage.silent:
            send(self._garden.topic("state", valve), json.dumps(state).encode(), 1)

    def _send_total(self, meter: str, send: Send) -> None:
        reading = self._meters[meter].reading(self._at_s)
        if which_of(Kind.METER, meter) not in self.breakage.silent:
            send(self._garden.topic("meter", meter), json.dumps(reading).encode(), 1)

    def _send_probes(self, topic: str, node: ProbeNode, names: list[str], send: Send) -> None:
        stamp = node.stamp(self._at_s)
        self._world.advance(self._at_s + self._utc_ahead_s)
        values = [
            (self._garden.probes[name], told)
            for name in names
            if (told := self._told(name)) is not None
        ]
        if values:
            send(topic, message(values, stamp), 0)

    def _told(self, name: str) -> float | None:
        """What a probe says, its faults included; None where it is silent."""
        probe, world = self._garden.probes[name], self._world
        theta = world.probe_value(name)
        if theta is None:
            return None
        seen = self._teller.told(
            name, theta, world.tension_kpa(name), tension=probe.kind in TENSION_KINDS
        )
        return None if seen is None else told_value(probe, *seen)

    def _tell_truth(self, valve: str) -> None:
        pipe = self._pipes[valve]
        pipe.truth_due_s = self._at_s + TRUTH_EVERY_S
        if self._truth is None:
            return
        at = datetime.fromtimestamp(self._at_s + self._utc_ahead_s, tz=UTC)
        self._truth(
            {
                "valve": valve,
                "node_s": round(self._at_s, 3),
                "at": at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
                "open": pipe.open,
                "litres": round(pipe.litres, 4),
                "leased_s": pipe.leased_s,
            }
        )


def _pipes_of(garden: Garden, seeds: Iterator[int], node_s: float) -> dict[str, _Pipe]:
    """Lay one pipe for each valve that has a node."""
    beds = {garden.beds[bed].valve: bed for bed in sorted(garden.beds)}
    return {
        valve: _Pipe(
            node=ValveNode(valve, next(seeds), node_s),
            role=garden.valves[valve].role,
            bed=beds.get(valve),
        )
        for valve in sorted(garden.valves)
        if not garden.valves[valve].plain_relay
    }


def _by_topic(garden: Garden) -> dict[str, list[str]]:
    """Group probes by the topic that they share."""
    found: dict[str, list[str]] = {}
    for probe in sorted(garden.probes):
        found.setdefault(garden.topic("probe", probe), []).append(probe)
    return found


def _pace(garden: Garden, names: list[str]) -> float:
    return min(garden.probes[name].every_s or SENSE_EVERY_S for name in names)


def _meters_of(garden: Garden, seeds: Iterator[int], node_s: float) -> dict[str, MeterNode]:
    return {
        name: MeterNode(name, next(seeds), node_s, litres_per_pulse=meter.litres_per_pulse)
        for name, meter in sorted(garden.meters.items())
    }
