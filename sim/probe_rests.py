"""What a dose rests on: how far a bed's belief is off because of what its broken probes told.

A dose is made of what the bed is believed to lack, not of one reading. A reading that is a fifth of
a dose off for an hour moves that belief by a small part of it; one that insists moves it by
thirty millimetres, and the bed is off for days after the probe was put out. So the belief is held
beside one that heard the same hours with what the broken probes would have told if they were sound,
and that had the same doses, rain and use. A dose rests on a faulty probe where the two are a fifth
of it apart or more, in either direction: it would have been so much smaller, or larger, on the true
value. That it would have come a night later or sooner, at about its size, is not counted.

The other belief is corrected by the engine's own rule, as sure as this one is. What lies above full
drains from both. Left out: that a bed past its line drinks less, and what wrong hours taught of
thirst and of the full point.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from statistics import fmean, median

from controller.probe_care import probe_weight
from controller.run import Run
from controller.sensing.estimate import GRID_S, OVER_TAU_H, correct, weights_m
from controller.sensing.taken_back import HOURS_KEPT
from controller.state import BedWater, Pull

HOUR_S = 3600.0
KEEPS = math.exp(-1.0 / OVER_TAU_H)  # from hour to hour, of what is above full


class Belief:
    """One bed's belief, beside what it would be with sound probes.

    Args:
        bed: which.
        water: its state now, from which on the two may part.

    Attributes:
        off_mm: how much more the bed is believed to lack for its broken probes [mm].
    """

    def __init__(self, bed: str, water: BedWater) -> None:
        self.off_mm = 0.0
        self._bed = bed
        self._lacks_mm = _lacks_mm(water)
        self._pulled_mm = water.pulled_mm
        self._hours = {pull.hour for pull in water.pulls}
        self._told_lately_mm = list(water.told_lately_mm)

    def hour(self, run: Run, sound_m3_m3: Mapping[str, Sequence[float]]) -> None:
        """Take an hour in that has just been corrected.

        Args:
            run: the engine's working set, at the end of an hour.
            sound_m3_m3: what each broken probe would have told in it.
        """
        water = run.state.water[self._bed]
        before_mm = self._lacks_mm
        self.off_mm = _drained_mm(before_mm) - _drained_mm(before_mm - self.off_mm)
        new = [pull for pull in water.pulls if pull.hour not in self._hours]
        now = max((pull.hour for pull in new), default=0)
        gone = {hour for hour in self._hours if now == 0 or hour > now - HOURS_KEPT}
        moved_mm = self._pulled_mm - water.pulled_mm
        if gone - {pull.hour for pull in water.pulls}:  # taken back, and what else is no hour's
            self.off_mm += moved_mm - sum(pull.lacks_mm for pull in new)
        for pull, was in _steps(water, new):
            told_mm = _told_mm(run, self._bed, pull)
            sound_mm = told_mm + _wetter_mm(run, self._bed, pull, sound_m3_m3)
            lacks_mm = _lacks_mm(was)
            _set(was, lacks_mm - self.off_mm)
            was.told_lately_mm = self._told_lately_mm
            voices = sum(probe_weight(run, name) > 0.0 for name in pull.probes)
            correct(was, run.days[self._bed], sound_mm, voices, pull.hour * HOUR_S)
            self._told_lately_mm = was.told_lately_mm
            self.off_mm = lacks_mm + pull.lacks_mm - _lacks_mm(was)
        self._lacks_mm, self._pulled_mm = _lacks_mm(water), water.pulled_mm
        self._hours = {pull.hour for pull in water.pulls}


def _lacks_mm(water: BedWater) -> float:
    return water.depletion_mm - water.over_mm


def _drained_mm(lacks_mm: float) -> float:
    """What a bed lacks an hour later, as far as it drains [mm]."""
    return lacks_mm * KEEPS if lacks_mm < 0.0 else lacks_mm


def _set(water: BedWater, lacks_mm: float) -> None:
    water.depletion_mm, water.over_mm = max(0.0, lacks_mm), max(0.0, -lacks_mm)


def _steps(water: BedWater, new: Sequence[Pull]) -> list[tuple[Pull, BedWater]]:
    """Each correction of the hour with the state before it."""
    found: list[tuple[Pull, BedWater]] = []
    after = water
    for pull in reversed(new):
        was = replace(after, var_mm2=after.var_mm2 - pull.var_mm2)
        was.cov_mm -= pull.cov_mm
        _set(was, _lacks_mm(after) - pull.lacks_mm)
        found.append((pull, was))
        after = replace(was)
    return found[::-1]


def _told_mm(run: Run, bed: str, pull: Pull) -> float:
    """What the probes told the bed lacks [mm]; below 0 they told more than full."""
    day, soil = run.days[bed], run.soils[bed]
    told_frac = run.state.beds[bed].told_frac
    if told_frac:
        return told_frac * day.taw_mm
    full_mm = 1000.0 * soil.field_capacity_m3_m3 * day.root_depth_m
    return full_mm - _content_mm(run, bed, pull, _told_m3_m3(run, pull))


def _thick_m(run: Run, bed: str, pull: Pull) -> dict[str, float]:
    """For how much of the roots each probe spoke [m]."""
    probes = run.garden.probes
    names = sorted(pull.probes, key=lambda name: probes[name].depth_cm)
    depths_cm = [probes[name].depth_cm for name in names]
    return dict(zip(names, weights_m(depths_cm, run.days[bed].root_depth_m), strict=True))


def _told_m3_m3(run: Run, pull: Pull) -> dict[str, float]:
    """What each probe told in an hour, less what it is set back by."""
    found = {}
    for name in pull.probes:
        hours, care = run.state.probes[name].hours_m3_m3, run.state.care.get(name)
        if hours and hours[-1] is not None:
            found[name] = hours[-1] - (care.set_back_m3_m3 if care else 0.0)
    return found


def _content_mm(run: Run, bed: str, pull: Pull, told_m3_m3: Mapping[str, float]) -> float:
    """What the roots hold by some readings, the doubted ones leaning as in the engine [mm]."""
    thick_m = _thick_m(run, bed, pull)
    weights = {name: probe_weight(run, name) for name in told_m3_m3}
    trusted = [told_m3_m3[name] for name, weight in weights.items() if weight == 1.0]
    content_mm = 0.0
    for name, told in told_m3_m3.items():
        leans = (1.0 - weights[name]) * (fmean(trusted) - told) if trusted else 0.0
        content_mm += 1000.0 * thick_m[name] * (told + leans)
    return content_mm


def _wetter_mm(run: Run, bed: str, pull: Pull, sound_m3_m3: Mapping[str, Sequence[float]]) -> float:
    """How much wetter the broken probes told the bed than sound ones would have [mm].

    Sound ones stray not, and are not set back. A doubted probe leans on a sound value, too.
    """
    told, probes = _told_m3_m3(run, pull), run.state.probes
    sound = {}
    for name in told:
        own = probes[name].hours_m3_m3[-1]
        sound[name] = median(sound_m3_m3[name]) if sound_m3_m3.get(name) else own or 0.0
    return _content_mm(run, bed, pull, told) - _content_mm(run, bed, pull, sound)


def is_hour(at_utc_s: float) -> bool:
    """Whether an instant ends an hour of the balance's grid [s, Unix]."""
    return at_utc_s % HOUR_S < GRID_S / 2.0
