"""How much, in what pulses, and whose turn it is within the night.

Litres = millimetres x wetted area. A watering is split into equal pulses that the soil can take and
that keep within one opening; between them the bed soaks and another may drink.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from controller.state import Watering

PULSE_LONGEST_S = 2600.0  # two fit, one after the other, into one opening of the master valve
PULSE_SHORTEST_S = 300.0  # a shorter one hardly fills the line: our own guess
SOAK_S = 1800.0  # 30-60 min between pulses: common practice, no source
METER_GRACE_S = 60.0  # a metered pulse may run this much longer than its nominal time
ON_LEAST_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """A watering in equal pulses."""

    pulses: int
    pulse_l: float
    pulse_s: float  # the longest that one may run


def nominal_s(litres: float, flow_l_min: float) -> float:
    """How long the emitters take for some litres [s]; flow above 0."""
    return 60.0 * litres / flow_l_min


def split(
    litres: float, flow_l_min: float, open_most_s: float, *, metered: bool, least_pulses: int = 1
) -> Split:
    """Split a watering into pulses.

    Args:
        litres: wanted in all [L], above 0.
        flow_l_min: nominal flow of the bed's emitters [L/min], above 0.
        open_most_s: longest unbroken opening [s].
        metered: whether a meter ends the pulse; else its nominal time does.
        least_pulses: what the soil asks for (`ponding`); none is made shorter than
            `PULSE_SHORTEST_S` for its sake.

    Returns:
        The split.
    """
    grace_s = METER_GRACE_S if metered else 0.0
    longest_s = _longest_s(open_most_s, grace_s)
    whole_s = nominal_s(litres, flow_l_min)
    for_soil = min(least_pulses, math.floor(whole_s / PULSE_SHORTEST_S))
    pulses = max(1, for_soil, math.ceil(whole_s / longest_s))
    return Split(pulses=pulses, pulse_l=litres / pulses, pulse_s=whole_s / pulses + grace_s)


def _longest_s(open_most_s: float, grace_s: float) -> float:
    return min(PULSE_LONGEST_S, open_most_s - grace_s)


def starts_give_l(starts: int, flow_l_min: float, open_most_s: float, *, metered: bool) -> float:
    """The most that so many pulses can give, each as long as one may be [L].

    Args:
        starts: of the valve, 0 or more.
        flow_l_min: nominal flow of the bed's emitters [L/min], above 0.
        open_most_s: longest unbroken opening [s].
        metered: whether a meter ends the pulses.
    """
    longest_s = _longest_s(open_most_s, METER_GRACE_S if metered else 0.0)
    return starts * flow_l_min * longest_s / 60.0


def in_turn(waterings: dict[str, Watering], mono_s: float) -> list[Watering]:
    """The waterings whose next pulse may begin: the neediest first, then by bed."""
    ready = [
        watering
        for watering in waterings.values()
        if watering.pulse is None
        and watering.done < watering.pulses
        and mono_s >= watering.next_mono_s
    ]
    if len(ready) < 2:
        return ready
    return sorted(ready, key=lambda watering: (-watering.need, watering.bed))
