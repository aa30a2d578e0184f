"""How far a night goes: played through for the beds that are due, and who had better drink early.

The neediest drinks first, as many at once as garden and supply let, each in its pulses with rests.
A watering that could not give its smallest deep dose before the hours end is not begun. Where the
beds due tomorrow do not all fit into tomorrow's night, the neediest of them drink tonight, as long
as tonight has the room. Pure; seconds count from the night's begin.

Left out: the seconds between valve edges, and the minute that a master valve rests.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from controller.watering.dosing import SOAK_S

SERVED_FRAC = 0.75  # of its dose, and the night was long enough for a bed: our own guess
ALONE_FRAC = 0.99  # or as much as it would get if no other bed drank
ON_LEAST_S = 60.0
WHOLE_NIGHT_FRAC = 0.9  # hours too short for any deep dose give what they can from their begin


def least_s(least_l: float, pulse_l: float, pulse_s: float) -> float:
    """How long the smallest deep dose takes in such pulses, with their rests [s]."""
    if not (pulse_l > 0.0 and least_l > 0.0):
        return 0.0
    pulses = least_l / pulse_l
    return pulses * pulse_s + (math.ceil(pulses - 1e-9) - 1) * SOAK_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """A bed that is to drink in a night.

    `least_l` is its smallest deep dose, `need` how far past its line it is: larger drinks first.
    """

    bed: str
    need: float
    pulses: int
    pulse_l: float
    pulse_s: float
    least_l: float
    flow_l_min: float

    @property
    def litres(self) -> float:
        """All of it [L]."""
        return self.pulses * self.pulse_l

    @property
    def least_s(self) -> float:
        """How long its smallest deep dose takes [s]."""
        return least_s(self.least_l, self.pulse_l, self.pulse_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """A night's length and what may run at once."""

    length_s: float
    beds_at_once: int
    shared_flow_l_min: float


def play(due: Sequence[Due], night: Night) -> dict[str, float]:
    """Play one night.

    Args:
        due: who is to drink; one for each bed.
        night: how long it is, and how many may drink at once.

    Returns:
        What each bed has got when the hours end [L].
    """
    order = sorted(due, key=lambda one: (-one.need, one.bed))
    given = dict.fromkeys((one.bed for one in order), 0.0)
    left = {one.bed: one.pulses for one in order}
    ready_s = dict.fromkeys(given, 0.0)
    open_until_s: dict[str, float] = {}
    flows = {one.bed: one.flow_l_min for one in order}
    now_s = 0.0
    while now_s < night.length_s:
        open_until_s = {bed: end for bed, end in open_until_s.items() if end > now_s}
        rest_s = night.length_s - now_s
        for one in order:
            if not left[one.bed] or ready_s[one.bed] > now_s or rest_s < ON_LEAST_S:
                continue
            if left[one.bed] == one.pulses and one.least_s > rest_s:
                left[one.bed] = 0  # it would be a sip
            elif _fits(one, open_until_s, flows, night):
                share = min(1.0, rest_s / one.pulse_s)
                given[one.bed] += share * one.pulse_l
                left[one.bed] -= 1
                open_until_s[one.bed] = now_s + share * one.pulse_s
                ready_s[one.bed] = open_until_s[one.bed] + SOAK_S
        later_s = [end for end in open_until_s.values() if end > now_s]
        later_s += [ready_s[bed] for bed, pulses in left.items() if pulses and ready_s[bed] > now_s]
        if not later_s:
            break
        now_s = min(later_s)
    return given


def _fits(
    one: Due, open_until_s: Mapping[str, float], flows: Mapping[str, float], night: Night
) -> bool:
    if one.bed in open_until_s or not len(open_until_s) < night.beds_at_once:
        return False
    flow_l_min = one.flow_l_min + sum(flows[bed] for bed in open_until_s)
    return not open_until_s or flow_l_min <= night.shared_flow_l_min


def unserved(due: Sequence[Due], night: Night) -> list[str]:
    """The beds for which the others leave too little of a night, the neediest first.

    Args:
        due: who is to drink.
        night: the night.
    """
    given = play(due, night)
    short = [one for one in due if given[one.bed] < max(one.least_l, SERVED_FRAC * one.litres)]
    short.sort(key=lambda one: (-one.need, one.bed))
    return [one.bed for one in short if given[one.bed] < ALONE_FRAC * play([one], night)[one.bed]]


def early_beds(
    tomorrow: Sequence[Due],
    tomorrow_night: Night,
    tonight: Sequence[Due],
    tonight_night: Night,
    able: Mapping[str, Due],
) -> list[str]:
    """Who of those due tomorrow had better drink tonight.

    Args:
        tomorrow: who is expected to be due then.
        tomorrow_night: that night.
        tonight: who drinks tonight in any case.
        tonight_night: what is left of this night.
        able: what each of them would drink tonight, where that is a deep dose.

    Returns:
        Beds, the neediest first; none where all fit, or tonight has no room for any.
    """
    waits, drinks = sorted(tomorrow, key=lambda one: (-one.need, one.bed)), list(tonight)
    early: list[str] = []
    while len(waits) > 1 and unserved(waits, tomorrow_night):
        for one in waits:
            more = able.get(one.bed)
            if more is not None and not unserved([*drinks, more], tonight_night):
                drinks.append(more)
                early.append(one.bed)
                waits.remove(one)
                break
        else:
            return early
    return early


def begins_in_vain(least_dose_s: float, left_s: float, hours_s: float) -> bool:
    """Whether a watering that begins now would only be a sip when the hours end.

    Args:
        least_dose_s: what its smallest deep dose takes [s].
        left_s: of the hours [s].
        hours_s: how long they are in all [s]; where they never suffice, their begin will do.
    """
    return not left_s >= min(least_dose_s, WHOLE_NIGHT_FRAC * hours_s)
