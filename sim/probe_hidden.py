"""Whether a broken probe can be seen at all: asked of the true garden, never of the controller.

A bench may only ask for what can be known. Here stands, from what the probes would tell if they
were sound and from the water that truly ran, whether a world gave anything away:

- a frozen probe, by doses that would have moved it well beyond its noise. Two on end are asked for,
  since nobody condemns a probe for one dose that may have missed it;
- two swapped probes, by such doses to one of the two beds while the other had no water and no rain
  fell, twice; or by the step itself, where the two stood well apart when the plugs were changed;
- a drift, by how far the probe has gone beside the way that it stands from its peers at dry dawns:
  it can be seen from the fifth such dawn outside two standard deviations of that way without drift.

Levels in m3/m3, water in L of the bed, time in hours of the bench. The limits are our own; none is
read from a detector.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean, pstdev

from sim.probe_series import TWO_BEDS, Bender, Broken, Hazard
from sim.replay import EngineReplay
from sim.season_account import HourTruth

WINDOW_H = 12  # after the last water of a dose
PAUSE_H = 3  # without water between two doses
RAIN_MOST_MM = 1.0
TELLS_M3_M3 = 0.02  # five times the noise of one reading
DOSES_LEAST = 2
DRY_H = 20  # since water, at a dawn that is compared
DAWN_RAIN_MM = 2.0  # of the day before
DAWNS_OUTSIDE = 5
SPREAD_SDS = 2.0
BEFORE_H = 3
DAY_H = 24
DAWN = 5  # the hour that ends at 06:00, of a world that begins at midnight
FROZEN_SOMEHOW = frozenset({Hazard.FROZEN, Hazard.FROZEN_HERE, Hazard.FROZEN_NOISY})


def doses_of(hours: Sequence[HourTruth], first: int) -> list[tuple[int, int]]:
    """First and last hour with water of each dose that began at an hour or later."""
    found: list[tuple[int, int]] = []
    for n in range(first, len(hours)):
        if hours[n].irrigation_l <= 0.0:
            continue
        if found and n - found[-1][1] <= PAUSE_H:
            found[-1] = (found[-1][0], n)
        else:
            found.append((n, n))
    return found


def rise_m3_m3(levels: Sequence[float | None], begin: int, end: int) -> float:
    """How far a probe would have risen: the best three hours of a dose over three before it."""
    before = [each for each in levels[max(0, begin - BEFORE_H) : begin] if each is not None]
    after = [each for each in levels[begin : end + 1] if each is not None]
    if not before or len(after) < BEFORE_H:
        return 0.0
    best = max(fmean(after[n : n + BEFORE_H]) for n in range(len(after) - BEFORE_H + 1))
    return best - fmean(before)


def telling_doses(
    hours: Sequence[HourTruth],
    levels: Sequence[float | None],
    first: int,
    other: Sequence[HourTruth] | None = None,
) -> int:
    """How many doses of a bed would have shown at a sound probe of it.

    Args:
        hours: of the bed.
        levels: of the probe, as long as the hours.
        first: doses count from this hour on.
        other: hours of a bed that has to be dry meanwhile; None: none has.
    """
    count = 0
    for begin, last in doses_of(hours, first):
        end = min(len(hours) - 1, last + WINDOW_H)
        if sum(one.rain_mm for one in hours[begin : end + 1]) >= RAIN_MOST_MM:
            continue
        if other and any(one.irrigation_l > 0.0 for one in other[max(0, begin - WINDOW_H) : end]):
            continue
        count += rise_m3_m3(levels, begin, end) >= TELLS_M3_M3
    return count


def dry_dawns(hours: Sequence[HourTruth], dawn: int) -> list[int]:
    """The hours of dawns at which a bed's water is at rest.

    Args:
        hours: of the bed.
        dawn: which hour of each 24 is dawn, 0..23 from the first one.
    """
    found = []
    for n in range(dawn, len(hours), DAY_H):
        before = hours[max(0, n - DAY_H) : n + 1]
        watered = any(one.irrigation_l > 0.0 for one in before[-DRY_H:])
        if not watered and sum(one.rain_mm for one in before) <= DAWN_RAIN_MM:
            found.append(n)
    return found


def drift_seen_h(
    apart: Sequence[float | None], dawns: Sequence[int], begin: int, drift_m3_m3_h: float
) -> int | None:
    """After how many hours a drift stands out of the probe's own wandering.

    Args:
        apart: how far a sound probe would stand above its peers, by the hour.
        dawns: hours that are compared.
        begin: the hour at which the drift begins.
        drift_m3_m3_h: how fast it goes, either sign.

    Returns:
        Hours since it began; None: never.
    """
    way = [(n, value) for n in dawns if (value := apart[n]) is not None]
    usual = [value for n, value in way if n <= begin]
    if len(usual) < 2:
        return None
    mean, spread = fmean(usual), pstdev([value for _, value in way])
    outside = 0
    for n, value in way:
        if n <= begin:
            continue
        outside += abs(value + drift_m3_m3_h * (n - begin) - mean) > SPREAD_SDS * spread
        if outside >= DAWNS_OUTSIDE:
            return n - begin
    return None


class Track:
    """What a world truly did, hour by hour, and what it gave away of a hazard.

    Args:
        live: the world, at its beginning.
        broken: the hazard.
        bender: which knows what the broken probes would tell if they were sound.
    """

    def __init__(self, live: EngineReplay, broken: Broken, bender: Bender) -> None:
        self._live, self._broken, self._bender = live, broken, bender
        beds = live.garden.beds
        self._bed = {name: bed for bed, one in beds.items() for name in one.probes}
        self._peers = {
            name: [other for other in beds[self._bed[name]].probes if other not in broken.probes]
            for name in broken.probes
        }
        self._levels: dict[str, list[float | None]] = {name: [] for name in broken.probes}
        self._apart: dict[str, list[float | None]] = {name: [] for name in broken.probes}
        self._first = 0

    def hour(self, at_utc_s: float) -> None:
        """Keep a full hour that has just ended."""
        state = self._live.engine.state
        for name, levels in self._levels.items():
            sound = self._bender.sound_m3_m3.get(name)
            told = [state.probes[other].theta_m3_m3 for other in self._peers[name]]
            peers = [each for each in told if each is not None]
            levels.append(sound)
            near = None if sound is None or not peers else sound - fmean(peers)
            self._apart[name].append(near)
            if at_utc_s <= self._broken.begin_utc_s:
                self._first = len(levels)

    def seen_h(self, drift_m3_m3_h: float) -> float:
        """After how many hours it could be seen; 0: at some time, infinite: never.

        Args:
            drift_m3_m3_h: of a drift [m3/m3 in an hour], either sign.
        """
        hazard = self._broken.hazard
        told = True
        if hazard in FROZEN_SOMEHOW:
            told = self._telling(self._broken.probes[0]) >= DOSES_LEAST
        elif hazard in TWO_BEDS:
            told = self._swap_tells()
        elif hazard is Hazard.DRIFT:
            name = self._broken.probes[0]
            dawns = dry_dawns(self._live.account.hours[self._bed[name]], DAWN)
            seen = drift_seen_h(self._apart[name], dawns, self._first, drift_m3_m3_h)
            return math.inf if seen is None else seen
        return 0.0 if told else math.inf

    def _telling(self, name: str, other: str | None = None) -> int:
        hours = self._live.account.hours
        dry = None if other is None else hours[self._bed[other]]
        return telling_doses(hours[self._bed[name]], self._levels[name], self._first, dry)

    def _swap_tells(self) -> bool:
        told = 0
        for name, other in self._broken.swapped.items():
            ours, theirs = self._levels[name], self._levels[other]
            here = ours[self._first - 1] if self._first else None
            there = theirs[self._first - 1] if self._first else None
            if here is not None and there is not None and abs(here - there) >= TELLS_M3_M3:
                return True
            told += self._telling(name, other)
        return told >= DOSES_LEAST
