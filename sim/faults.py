"""Faults on purpose: what can break in a garden, when, and for how long.

A `FaultScript` is plain data, written by hand (`fault_file.py`) or drawn from a seed
(`fault_lots.py`). A `FaultPlayer` is carried along in true elapsed time and tells a `Breakable`
what is broken from then on; the virtual garden on a broker, a replay and the property tests are
broken by the same script. Times are seconds since the run began; no clock that a fault can set
moves them. Values: L/min, L, seconds, fractions, and for probes m3/m3 or kPa, as `Way` says.

Left out: relays without a node; slow links; a broken broker (end it instead).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

BURST_L_MIN = math.inf  # [L/min] all that the supply gives


class Kind(StrEnum):
    """What can break."""

    VALVE = "valve"
    PROBE = "probe"
    METER = "meter"
    WEATHER = "weather"
    SUPPLY = "supply"
    NETWORK = "network"
    CLOCK = "clock"
    POWER = "power"
    STORE = "store"


class What(StrEnum):
    """How something breaks; `WAYS` says which of them fits what."""

    STUCK_OPEN = "stuck_open"  # passes water whatever its node says
    STUCK_CLOSED = "stuck_closed"  # passes none whatever its node says
    SILENT = "silent"  # sends nothing, though it hears and works
    DEAF = "deaf"  # hears nothing, though it sends
    REBOOT = "reboot"  # starts anew
    STUCK = "stuck"  # repeats the first value that it tells
    SPIKE = "spike"  # each third message is off by a value
    OFFSET = "offset"  # every message is off by a value
    DRY = "dry"  # an open circuit: reads as bone dry
    FROZEN = "frozen"  # counts nothing
    RESET = "reset"  # its total begins at 0
    JUMP = "jump"  # counts litres that never flowed
    LOST = "lost"  # no water
    LOW = "low"  # a fraction of the flow
    LEAK = "leak"  # water runs off behind the meter, before all valves
    BURST = "burst"  # the same, all that there is
    DOWN = "down"  # nothing goes through
    STEP = "step"  # the wall clock is off; no other clock is
    CONTROLLER_DOWN = "controller_down"  # power cut, until its end
    NODES_REBOOT = "nodes_reboot"  # every node starts anew
    REFUSE = "refuse"  # nothing can be recorded


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way to break: a moment or a while, and the value that it needs.

    Attributes:
        moment: it happens and is over; `for` makes no sense.
        unit: of its value, empty where it takes none.
        low: least value.
        high: greatest value.
    """

    moment: bool = False
    unit: str = ""
    low: float = 0.0
    high: float = 0.0


WHILE, MOMENT = Way(), Way(moment=True)
OFF_THETA = Way(unit="m3/m3", low=-1.0, high=1.0)
OFF_TENSION = Way(unit="kPa", low=-200.0, high=200.0)  # for probes that tell tension or resistance
TENSION_KINDS = frozenset({"tension_kpa", "resistance_kohm"})

WAYS: dict[Kind, dict[What, Way]] = {
    Kind.VALVE: {
        What.STUCK_OPEN: WHILE,
        What.STUCK_CLOSED: WHILE,
        What.SILENT: WHILE,
        What.DEAF: WHILE,
        What.REBOOT: MOMENT,
    },
    Kind.PROBE: {
        What.SILENT: WHILE,
        What.STUCK: WHILE,
        What.SPIKE: OFF_THETA,
        What.OFFSET: OFF_THETA,
        What.DRY: WHILE,
    },
    Kind.METER: {
        What.FROZEN: WHILE,
        What.SILENT: WHILE,
        What.RESET: MOMENT,
        What.JUMP: Way(moment=True, unit="L", low=0.1, high=100_000.0),
    },
    Kind.WEATHER: {What.SILENT: WHILE},
    Kind.SUPPLY: {
        What.LOST: WHILE,
        What.LOW: Way(unit="of the flow", low=0.0, high=1.0),
        What.LEAK: Way(unit="L/min", low=0.01, high=1000.0),
        What.BURST: WHILE,
    },
    Kind.NETWORK: {What.DOWN: WHILE},
    Kind.CLOCK: {What.STEP: Way(unit="s", low=-3.2e9, high=3.2e9)},  # a century
    Kind.POWER: {What.CONTROLLER_DOWN: WHILE, What.NODES_REBOOT: MOMENT},
    Kind.STORE: {What.REFUSE: WHILE},
}
NAMED = frozenset({Kind.VALVE, Kind.PROBE, Kind.METER, Kind.WEATHER})  # one of several, by its id


def which_of(kind: Kind, name: str = "") -> str:
    """Write what breaks as a script does: `valve:south`, `supply`."""
    return f"{kind}:{name}" if kind in NAMED else str(kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that breaks.

    Attributes:
        start_s: since the run began [s].
        end_s: since the run began [s], infinite where it stays broken; of a moment its start.
        kind: what breaks.
        name: its id in the garden file, empty where there is but one.
        what: how.
        value: in the unit that `Way` says; 0 where it takes none.
    """

    start_s: float
    end_s: float = math.inf
    kind: Kind
    name: str = ""
    what: What
    value: float = 0.0

    @property
    def which(self) -> str:
        """What breaks, as a script writes it."""
        return which_of(self.kind, self.name)

    @property
    def moment(self) -> bool:
        """Whether it happens and is over."""
        return WAYS[self.kind][self.what].moment


@dataclass(slots=True, kw_only=True)
class Breakage:
    """What is broken just now.

    Attributes:
        stuck_open: valves.
        stuck_closed: valves.
        deaf: valves that hear nothing.
        silent: what sends nothing, as `valve:south`, `probe:south-20`, `meter:main`.
        frozen_meters: meters that count nothing.
        stuck_probes: probes that repeat themselves.
        dry_probes: probes with an open circuit.
        spiked: probes whose messages are off now and then, and by how much.
        offset: probes whose messages are all off, and by how much.
        leak_l_min: behind the meter, before all valves; infinite for all that there is.
        supply_frac: of the flow that there should be.
        network_down: whether nothing goes through.
        controller_down: whether the controller is without power.
        store_refuses: whether nothing can be recorded.
        clock_ahead_s: how far the controller's wall clock is ahead of the truth.
    """

    stuck_open: set[str] = field(default_factory=set)
    stuck_closed: set[str] = field(default_factory=set)
    deaf: set[str] = field(default_factory=set)
    silent: set[str] = field(default_factory=set)
    frozen_meters: set[str] = field(default_factory=set)
    stuck_probes: set[str] = field(default_factory=set)
    dry_probes: set[str] = field(default_factory=set)
    spiked: dict[str, float] = field(default_factory=dict)
    offset: dict[str, float] = field(default_factory=dict)
    leak_l_min: float = 0.0
    supply_frac: float = 1.0
    network_down: bool = False
    controller_down: bool = False
    store_refuses: bool = False
    clock_ahead_s: float = 0.0

    def truly_open(self, valve: str, node_open: bool) -> bool:
        """Whether a valve passes water; one that sticks both ways is stuck closed."""
        return (node_open or valve in self.stuck_open) and valve not in self.stuck_closed

    def leaks_l_min(self, supply_l_min: float) -> float:
        """What runs off before all valves: no more than a sound supply's flow comes to now."""
        return min(self.leak_l_min, supply_l_min * self.supply_frac)

    def left_l_min(self, supply_l_min: float) -> float:
        """What a supply of so much sound flow has left for the beds [L/min]."""
        return supply_l_min * self.supply_frac - self.leaks_l_min(supply_l_min)

    def add(self, fault: Fault) -> None:
        """Break one thing more."""
        if fault.what is What.SILENT:
            self.silent.add(fault.which)
        elif fault.kind is Kind.VALVE:
            self._valve(fault)
        elif fault.kind is Kind.PROBE:
            self._probe(fault)
        elif fault.kind is Kind.SUPPLY:
            self._supply(fault)
        else:
            self._site(fault)

    def _valve(self, fault: Fault) -> None:
        match fault.what:
            case What.STUCK_OPEN:
                self.stuck_open.add(fault.name)
            case What.STUCK_CLOSED:
                self.stuck_closed.add(fault.name)
            case What.DEAF:
                self.deaf.add(fault.name)
            case _:
                pass  # a moment: nothing stays

    def _probe(self, fault: Fault) -> None:
        match fault.what:
            case What.STUCK:
                self.stuck_probes.add(fault.name)
            case What.DRY:
                self.dry_probes.add(fault.name)
            case What.SPIKE:
                self.spiked[fault.name] = self.spiked.get(fault.name, 0.0) + fault.value
            case What.OFFSET:
                self.offset[fault.name] = self.offset.get(fault.name, 0.0) + fault.value
            case _:
                pass

    def _supply(self, fault: Fault) -> None:
        match fault.what:
            case What.LOST:
                self.supply_frac = 0.0
            case What.LOW:
                self.supply_frac = min(self.supply_frac, fault.value)
            case What.LEAK:
                self.leak_l_min += fault.value
            case What.BURST:
                self.leak_l_min = BURST_L_MIN
            case _:
                pass

    def _site(self, fault: Fault) -> None:
        match fault.what:
            case What.FROZEN:
                self.frozen_meters.add(fault.name)
            case What.DOWN:
                self.network_down = True
            case What.CONTROLLER_DOWN:
                self.controller_down = True
            case What.REFUSE:
                self.store_refuses = True
            case What.STEP:
                self.clock_ahead_s += fault.value
            case _:
                pass


def broken_by(faults: Iterable[Fault]) -> Breakage:
    """Work out what is broken while these faults last."""
    found = Breakage()
    for fault in faults:
        found.add(fault)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultScript:
    """Faults in the order in which they begin.

    Attributes:
        begin_utc_s: the instant that their seconds count from [s, Unix].
        faults: in any order when given; sorted here.
    """

    begin_utc_s: float = 0.0
    faults: tuple[Fault, ...] = ()

    def __post_init__(self) -> None:
        ordered = sorted(self.faults, key=lambda one: (one.start_s, one.which, one.what, one.end_s))
        object.__setattr__(self, "faults", tuple(ordered))

    def __add__(self, other: FaultScript) -> FaultScript:
        """Both scripts at once, counted from the first one's beginning."""
        return FaultScript(begin_utc_s=self.begin_utc_s, faults=self.faults + other.faults)

    def changes_s(self) -> tuple[float, ...]:
        """All instants at which something breaks, is mended or happens, in order [s]."""
        ends = {one.end_s for one in self.faults if not one.moment and math.isfinite(one.end_s)}
        return tuple(sorted(ends | {one.start_s for one in self.faults}))

    def broken_at(self, at_s: float) -> Breakage:
        """What is broken at an instant, its own changes included."""
        return broken_by(one for one in self.faults if one.start_s <= at_s < one.end_s)


class Breakable(Protocol):
    """Something that a script can break."""

    def broken(self, now: Breakage) -> None:
        """Take what is broken from now on, in place of what was broken before."""

    def happened(self, fault: Fault) -> None:
        """Take what happens now and is over, such as a reboot."""


class FaultPlayer:
    """Plays a script to something breakable, each change once and in order.

    Args:
        script: what breaks when.
    """

    def __init__(self, script: FaultScript) -> None:
        self._script = script
        self._changes_s = script.changes_s()
        self._next = 0

    def next_change_s(self) -> float:
        """The next instant at which something changes [s]; infinite where nothing does."""
        at_end = self._next >= len(self._changes_s)
        return math.inf if at_end else self._changes_s[self._next]

    def play(self, to_s: float, target: Breakable) -> None:
        """Tell everything that changes up to an instant, itself included.

        What ends at an instant is mended before what begins then breaks or happens.

        Args:
            to_s: since the run began [s].
            target: is told.
        """
        while self.next_change_s() <= to_s:
            at_s = self._changes_s[self._next]
            self._next += 1
            target.broken(self._script.broken_at(at_s))
            for fault in self._script.faults:
                if fault.moment and fault.start_s == at_s:
                    target.happened(fault)
