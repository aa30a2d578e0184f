"""Faults drawn from a seed: how often what breaks, how long, and how badly.

Each thing breaks by itself, at random in time (a Poisson process); each thing and way draws from a
stream of its own, so one probe more in a garden changes nothing for the others. All numbers of
`USUAL` are invented: they are about what cheap nodes on a garden's radio link might do, so that
trials meet every fault; no source.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sim.faults import (
    OFF_TENSION,
    OFF_THETA,
    TENSION_KINDS,
    Fault,
    FaultScript,
    Kind,
    What,
)

if TYPE_CHECKING:
    from controller.garden import Garden

DAY_S = 86_400.0
MINUTE_S, HOUR_S = 60.0, 3600.0
TENSION_PER_THETA = OFF_TENSION.high / OFF_THETA.high  # [kPa per m3/m3] for drawn values only


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """How one way to break usually goes.

    Attributes:
        every_d: mean time from one to the next, of one thing [d].
        shortest_s: least duration [s]; of a moment unused.
        longest_s: greatest duration [s]; durations are spread evenly in their logarithm.
        low: least value, in the unit of its `Way`.
        high: greatest value.
    """

    every_d: float
    shortest_s: float = 0.0
    longest_s: float = 0.0
    low: float = 0.0
    high: float = 0.0


Rates = Mapping[tuple[Kind, What], Usual]


def _lasting(every_d: float, shortest_s: float, longest_s: float) -> Usual:
    return Usual(every_d=every_d, shortest_s=shortest_s, longest_s=longest_s)


USUAL: Rates = {
    (Kind.VALVE, What.STUCK_OPEN): _lasting(2000.0, 10 * MINUTE_S, 8 * HOUR_S),
    (Kind.VALVE, What.STUCK_CLOSED): _lasting(1000.0, HOUR_S, 2 * DAY_S),
    (Kind.VALVE, What.SILENT): _lasting(120.0, 5 * MINUTE_S, 12 * HOUR_S),
    (Kind.VALVE, What.DEAF): _lasting(400.0, 5 * MINUTE_S, 6 * HOUR_S),
    (Kind.VALVE, What.REBOOT): Usual(every_d=30.0),
    (Kind.PROBE, What.SILENT): _lasting(40.0, 30 * MINUTE_S, 3 * DAY_S),
    (Kind.PROBE, What.STUCK): _lasting(150.0, 6 * HOUR_S, 5 * DAY_S),
    (Kind.PROBE, What.SPIKE): Usual(
        every_d=60.0, shortest_s=10 * MINUTE_S, longest_s=12 * HOUR_S, low=-0.3, high=0.3
    ),
    (Kind.PROBE, What.OFFSET): Usual(
        every_d=200.0, shortest_s=DAY_S, longest_s=20 * DAY_S, low=-0.06, high=0.06
    ),
    (Kind.PROBE, What.DRY): _lasting(200.0, HOUR_S, 3 * DAY_S),
    (Kind.METER, What.FROZEN): _lasting(400.0, HOUR_S, 3 * DAY_S),
    (Kind.METER, What.SILENT): _lasting(120.0, 5 * MINUTE_S, DAY_S),
    (Kind.METER, What.RESET): Usual(every_d=100.0),
    (Kind.METER, What.JUMP): Usual(every_d=200.0, low=1.0, high=500.0),
    (Kind.WEATHER, What.SILENT): _lasting(60.0, HOUR_S, 4 * DAY_S),
    (Kind.SUPPLY, What.LOST): _lasting(120.0, 10 * MINUTE_S, 12 * HOUR_S),
    (Kind.SUPPLY, What.LOW): Usual(
        every_d=60.0, shortest_s=HOUR_S, longest_s=12 * HOUR_S, low=0.3, high=0.8
    ),
    (Kind.SUPPLY, What.LEAK): Usual(
        every_d=300.0, shortest_s=HOUR_S, longest_s=DAY_S, low=0.1, high=2.0
    ),
    (Kind.SUPPLY, What.BURST): _lasting(2000.0, 10 * MINUTE_S, 2 * HOUR_S),
    (Kind.NETWORK, What.DOWN): _lasting(5.0, 20.0, 6 * HOUR_S),
    (Kind.CLOCK, What.STEP): Usual(
        every_d=60.0, shortest_s=HOUR_S, longest_s=3 * DAY_S, low=-7200.0, high=7200.0
    ),
    (Kind.POWER, What.CONTROLLER_DOWN): _lasting(20.0, 10.0, 4 * HOUR_S),
    (Kind.POWER, What.NODES_REBOOT): Usual(every_d=30.0),
    (Kind.STORE, What.REFUSE): _lasting(300.0, MINUTE_S, 6 * HOUR_S),
}


def names_of(garden: Garden, kind: Kind) -> tuple[str, ...]:
    """The ids of what can break so in a garden; one empty id where there is but one."""
    match kind:
        case Kind.VALVE:
            return tuple(id_ for id_ in garden.valves if not garden.valves[id_].plain_relay)
        case Kind.PROBE:
            return tuple(garden.probes)
        case Kind.METER:
            return tuple(garden.meters)
        case Kind.WEATHER:
            return tuple(garden.weather)
        case _:
            return ("",)


def random_faults(
    garden: Garden,
    span_s: float,
    seed: int,
    *,
    begin_utc_s: float = 0.0,
    times: float = 1.0,
    usual: Rates = USUAL,
) -> FaultScript:
    """Draw the faults of a run.

    Args:
        garden: whose things break.
        span_s: how long the run is [s].
        seed: the same seed, garden and span give the same faults.
        begin_utc_s: when the run begins [s, Unix].
        times: how many times as often as usual, more than 0.
        usual: how often, how long, how badly; a way that is not in it never happens.

    Returns:
        Their script.
    """
    found: list[Fault] = []
    for (kind, what), how in usual.items():
        for name in names_of(garden, kind):
            one = Fault(start_s=0.0, end_s=0.0, kind=kind, name=name, what=what)
            lots = random.Random(f"{seed}/fault/{one.which}/{what}")
            scale = TENSION_PER_THETA if _in_kpa(garden, kind, name) else 1.0
            mean_s = how.every_d * DAY_S / times
            found += (
                replace(fault, value=fault.value * scale)
                for fault in _again_and_again(one, how, lots, span_s, mean_s)
            )
    return FaultScript(begin_utc_s=begin_utc_s, faults=tuple(found))


def _again_and_again(
    one: Fault, how: Usual, lots: random.Random, span_s: float, mean_s: float
) -> Iterator[Fault]:
    """One thing breaking in one way; while it is broken it does not break once more."""
    at_s = lots.expovariate(1.0 / mean_s)
    while at_s < span_s:
        lasts_s = 0.0 if one.moment else _between(lots, how.shortest_s, how.longest_s)
        value = lots.uniform(how.low, how.high)
        yield replace(one, start_s=at_s, end_s=at_s + lasts_s, value=value)
        at_s += lasts_s + lots.expovariate(1.0 / mean_s)


def _in_kpa(garden: Garden, kind: Kind, name: str) -> bool:
    return kind is Kind.PROBE and garden.probes[name].kind in TENSION_KINDS


def _between(lots: random.Random, shortest_s: float, longest_s: float) -> float:
    """A duration, even in its logarithm [s]."""
    return shortest_s * math.exp(lots.random() * math.log(longest_s / shortest_s))
