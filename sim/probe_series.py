"""What broken probes send: the hazards P1 to P12, put on the readings of a replay.

A `Bender` takes what the sound probes tell at one instant and gives what arrives. It also keeps
what each broken probe would have told if it were sound, so that a bench can say how wrong a
believed reading was. Levels in m3/m3; all chances come from the seed, none from a clock.

The hazards are this project's own list; sizes beside them say where they are ours. Left out: probes
that tell tension.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from controller.errors import UsageError
from controller.events import ProbeReading
from controller.garden import Garden
from controller.sensing.uncalibrated import scale_of
from sim.draws import PROBE_NOISE_SD_M3_M3
from sim.fault_replay import ReplayFaults
from sim.faults import TENSION_KINDS
from sim.forms import teller
from sim.garden_world import GardenWorld
from sim.instruments import Instruments

DAY_S = 86_400.0
GRID_S = 600.0
OPEN_M3_M3 = 0.0  # what a cut cable reads as
SHORT_M3_M3 = 1.0
FAR_M3_M3 = 0.75  # wetter than any soil's pores, no rail
FROZEN_M3_M3 = 0.12  # a plausible dry value, as the hazard says
TREMBLE_M3_M3 = 0.001
DRIFT_M3_M3_D = 0.003  # 0.3 points a day
IMPULSE_M3_M3 = 0.15  # ours
IMPULSE_SHARE = 0.20
WILD_DRY_M3_M3, WILD_WET_M3_M3 = 0.10, 0.34  # between which wild probes go; ours
RAMP_H = 12.0  # from wet to dry, then at once back; ours
FULL_V, EMPTY_V = 3.3, 2.3  # of a battery that falls through its month; ours
FALLS_V_D = 0.06
BROWN_OUT_V = 0.78 * FULL_V  # below, readings sag; as the controller's own rule has it
SAGS_M3_M3 = 0.05  # at a flat battery; ours
LATE_SHARE = 0.3  # of readings that come twice, and of those that come late; ours


class Hazard(StrEnum):
    """How probes break, by the number in the list of hazards."""

    OPEN = "P1 open circuit"
    SHORT = "P1 short circuit"
    RANGE = "P2 out of range"
    STUCK = "P3 stuck at one value"
    FROZEN = "P4 frozen dry, trembling"
    FROZEN_HERE = "P4 frozen where it stood"
    FROZEN_NOISY = "P4 the same, as restless as before"
    DRIFT = "P5 drift 0.003 a day"
    STALE = "P6 node dead"
    RETAINED = "P6 old retained value"
    SWAPPED_BEDS = "P7 two beds' probes swapped"
    SWAPPED = "P7 two probes swapped"
    SWAPPED_EARLY = "P7 the same from the start"
    NOISE = "P8 impulses, 20 %"
    FLIPS = "P8 both of a bed flip"
    RAMPS = "P8 both of a bed ramp"
    RANDOM = "P8 both of a bed at random"
    UNIT = "P9 unit slip, / 100"
    ORDER = "P10 twice and late"
    FUTURE = "P10 future-dated"
    LOST = "P11 all of a bed silent"
    BATTERY = "P12 flat battery"


WILD: Final = frozenset({Hazard.FLIPS, Hazard.RAMPS, Hazard.RANDOM})
WHOLE_BED: Final = WILD | {Hazard.SWAPPED_BEDS, Hazard.LOST}
TWO_BEDS: Final = frozenset({Hazard.SWAPPED_BEDS, Hazard.SWAPPED, Hazard.SWAPPED_EARLY})


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """One hazard in one garden.

    Attributes:
        hazard: which.
        probes: that are broken, in a fixed order.
        swapped: for each, whose value it tells instead; empty where none are swapped.
        begin_utc_s: since when [s, Unix].
        seed: of its chances.
    """

    hazard: Hazard
    probes: tuple[str, ...]
    swapped: Mapping[str, str]
    begin_utc_s: float
    seed: int


def broken_in(garden: Garden, hazard: Hazard, begin_utc_s: float, seed: int) -> Broken:
    """Draw which probe of a garden breaks.

    Args:
        garden: with two beds that have probes, at least, where these are swapped.
        hazard: how.
        begin_utc_s: when [s, Unix].
        seed: draws bed and probe.

    Raises:
        UsageError: no two beds have probes, or one tells tension.
    """
    if any(probe.kind in TENSION_KINDS for probe in garden.probes.values()):
        msg = "the probe bench knows no probes that tell tension"
        raise UsageError(msg)
    lot = random.Random(f"{seed}/hazard/{hazard}")
    beds = [name for name, bed in garden.beds.items() if bed.probes]
    if len(beds) < 2:
        msg = "the probe bench needs two beds with probes"
        raise UsageError(msg)
    one, other = lot.sample(beds, 2)
    ours, theirs = garden.beds[one].probes, garden.beds[other].probes
    swapped: dict[str, str] = {}
    if hazard in TWO_BEDS:
        pairs = list(zip(ours, theirs, strict=False))
        for here, there in pairs if hazard in WHOLE_BED else [lot.choice(pairs)]:
            swapped |= {here: there, there: here}
        probes = tuple(swapped)
    else:
        probes = tuple(ours) if hazard in WHOLE_BED else (lot.choice(ours),)
    return Broken(hazard=hazard, probes=probes, swapped=swapped, begin_utc_s=begin_utc_s, seed=seed)


class Bender:
    """Turns what sound probes tell into what arrives of them.

    Args:
        garden: whose probes.
        broken: which break, how and when.

    Attributes:
        sound_m3_m3: what each broken probe would tell if it were sound, lately.
        sound_hour_m3_m3: the same, all of it, until somebody clears it.
        sign: of a drift, 1 or -1.
    """

    def __init__(self, garden: Garden, broken: Broken) -> None:
        self.sound_m3_m3: dict[str, float] = {}
        self.sound_hour_m3_m3: dict[str, list[float]] = {}
        self._broken = broken
        self._lot = random.Random(f"{broken.seed}/bend/{broken.hazard}")
        settings = {name: garden.probes[name] for name in broken.probes}
        self._theta = {name: scale_of(one) for name, one in settings.items()}
        self._tell = {name: teller(one) for name, one in settings.items()}
        self._held: dict[str, float] = {}
        self._seq: dict[str, int] = {}
        self._late: list[ProbeReading] = []
        self.sign = self._lot.choice((-1.0, 1.0))

    def bend(self, readings: list[ProbeReading]) -> list[ProbeReading]:
        """Give what arrives.

        Args:
            readings: of one instant, of all probes, as the sound ones tell them.
        """
        hazard, probes = self._broken.hazard, self._broken.probes
        theirs: dict[str, float | None] = {}
        for one in readings:
            if one.probe in probes:
                theta = theirs[one.probe] = self._theta[one.probe](one.value)
                if theta is not None:
                    self.sound_m3_m3[one.probe] = theta
                    self.sound_hour_m3_m3.setdefault(one.probe, []).append(theta)
        arrives: list[ProbeReading] = []
        for one in readings:
            if one.probe not in probes:
                arrives.append(one)
                continue
            if hazard is Hazard.ORDER:
                self._number(one)
            if hazard is Hazard.BATTERY:
                one.battery_v = self._volts(one.at_utc_s)
            if one.at_utc_s < self._broken.begin_utc_s:
                arrives.append(one)
            else:
                arrives += BENDS[hazard](self, one, theirs)
        return arrives

    # -- one reading of a broken probe

    def _level(self, one: ProbeReading, theta_m3_m3: float) -> list[ProbeReading]:
        one.value = self._tell[one.probe](max(0.0, theta_m3_m3), 0.0)
        return [one]

    def _own(self, one: ProbeReading) -> float:
        theta = self._theta[one.probe](one.value)
        return 0.0 if theta is None else theta

    def _stuck(self, one: ProbeReading) -> list[ProbeReading]:
        one.value = self._held.setdefault(one.probe, one.value)
        return [one]

    def _frozen(self, one: ProbeReading) -> list[ProbeReading]:
        return self._level(one, FROZEN_M3_M3 + self._lot.uniform(-TREMBLE_M3_M3, TREMBLE_M3_M3))

    def _frozen_here(self, one: ProbeReading) -> list[ProbeReading]:
        level = self._held.setdefault(one.probe, self._own(one))
        return self._level(one, level + self._lot.uniform(-TREMBLE_M3_M3, TREMBLE_M3_M3))

    def _frozen_noisy(self, one: ProbeReading) -> list[ProbeReading]:
        level = self._held.setdefault(one.probe, self._own(one))
        return self._level(one, level + self._lot.gauss(0.0, PROBE_NOISE_SD_M3_M3))

    def _flips(self, one: ProbeReading) -> list[ProbeReading]:
        high = int(one.at_utc_s // GRID_S) % 2 == 0
        return self._level(one, WILD_WET_M3_M3 if high else WILD_DRY_M3_M3)

    def _ramps(self, one: ProbeReading) -> list[ProbeReading]:
        share = one.at_utc_s / (3600.0 * RAMP_H) % 1.0
        return self._level(one, WILD_WET_M3_M3 - share * (WILD_WET_M3_M3 - WILD_DRY_M3_M3))

    def _random(self, one: ProbeReading) -> list[ProbeReading]:
        return self._level(one, self._lot.uniform(WILD_DRY_M3_M3, WILD_WET_M3_M3))

    def _drift(self, one: ProbeReading) -> list[ProbeReading]:
        days = (one.at_utc_s - self._broken.begin_utc_s) / DAY_S
        return self._level(one, self._own(one) + self.sign * DRIFT_M3_M3_D * days)

    def _retained(self, one: ProbeReading) -> list[ProbeReading]:
        """The node is dead; the broker gives its old dry value again and again."""
        one.value, one.not_now = self._tell[one.probe](FROZEN_M3_M3, 0.0), "retained"
        return [one] if self._lot.random() < 0.1 else []

    def _swap(self, one: ProbeReading, theirs: Mapping[str, float | None]) -> list[ProbeReading]:
        told = theirs.get(self._broken.swapped[one.probe])
        return [] if told is None else self._level(one, told)

    def _impulses(self, one: ProbeReading) -> list[ProbeReading]:
        if self._lot.random() >= IMPULSE_SHARE:
            return [one]
        return self._level(one, self._own(one) + self._lot.choice((-1.0, 1.0)) * IMPULSE_M3_M3)

    def _unit(self, one: ProbeReading) -> list[ProbeReading]:
        one.value /= 100.0
        return [one]

    def _number(self, one: ProbeReading) -> None:
        one.boot = "b1"
        one.seq = self._seq[one.probe] = self._seq.get(one.probe, 0) + 1

    def _order(self, one: ProbeReading) -> list[ProbeReading]:
        """Some come twice, some come again once more hours later."""
        arrives = [one]
        if self._lot.random() < LATE_SHARE:
            arrives.append(_copy(one))
        if self._late and self._lot.random() < LATE_SHARE:
            late = self._late.pop(self._lot.randrange(len(self._late)))
            late.at_utc_s, late.mono_s = one.at_utc_s, one.mono_s
            arrives.append(late)
        if self._lot.random() < LATE_SHARE:
            self._late.append(_copy(one))
        return arrives

    def _future(self, one: ProbeReading) -> list[ProbeReading]:
        one.not_now = "future_dated"
        return [one]

    def _volts(self, at_utc_s: float) -> float:
        """A battery that comes to its brown-out when the hazard begins."""
        days = (at_utc_s - self._broken.begin_utc_s) / DAY_S
        volts = BROWN_OUT_V - 0.005 - FALLS_V_D * days
        return round(min(FULL_V, max(EMPTY_V, volts)), 3)

    def _sag(self, one: ProbeReading) -> list[ProbeReading]:
        return self._level(one, self._own(one) - SAGS_M3_M3)


Bend = Callable[[Bender, ProbeReading, Mapping[str, float | None]], list[ProbeReading]]

BENDS: Final[dict[Hazard, Bend]] = {
    Hazard.OPEN: lambda self, one, _: self._level(one, OPEN_M3_M3),
    Hazard.SHORT: lambda self, one, _: self._level(one, SHORT_M3_M3),
    Hazard.RANGE: lambda self, one, _: self._level(one, FAR_M3_M3),
    Hazard.STUCK: lambda self, one, _: self._stuck(one),
    Hazard.FROZEN: lambda self, one, _: self._frozen(one),
    Hazard.FROZEN_HERE: lambda self, one, _: self._frozen_here(one),
    Hazard.FROZEN_NOISY: lambda self, one, _: self._frozen_noisy(one),
    Hazard.DRIFT: lambda self, one, _: self._drift(one),
    Hazard.STALE: lambda self, one, _: [],
    Hazard.RETAINED: lambda self, one, _: self._retained(one),
    Hazard.SWAPPED_BEDS: lambda self, one, theirs: self._swap(one, theirs),
    Hazard.SWAPPED: lambda self, one, theirs: self._swap(one, theirs),
    Hazard.SWAPPED_EARLY: lambda self, one, theirs: self._swap(one, theirs),
    Hazard.NOISE: lambda self, one, _: self._impulses(one),
    Hazard.FLIPS: lambda self, one, _: self._flips(one),
    Hazard.RAMPS: lambda self, one, _: self._ramps(one),
    Hazard.RANDOM: lambda self, one, _: self._random(one),
    Hazard.UNIT: lambda self, one, _: self._unit(one),
    Hazard.ORDER: lambda self, one, _: self._order(one),
    Hazard.FUTURE: lambda self, one, _: self._future(one),
    Hazard.LOST: lambda self, one, _: [],
    Hazard.BATTERY: lambda self, one, _: self._sag(one),
}


def _copy(one: ProbeReading) -> ProbeReading:
    return ProbeReading(
        at_utc_s=one.at_utc_s,
        mono_s=one.mono_s,
        probe=one.probe,
        value=one.value,
        seq=one.seq,
        boot=one.boot,
    )


class BentInstruments(Instruments):
    """A garden's masts and probes, some of them broken.

    Args:
        garden: whose instruments.
        world: what they stand in.
        bender: what becomes of the probes' readings.
        faults: what else breaks them.
    """

    def __init__(
        self,
        garden: Garden,
        world: GardenWorld,
        bender: Bender,
        faults: ReplayFaults | None = None,
    ) -> None:
        super().__init__(garden, world, faults)
        self._bender = bender

    def probes(self, at_utc_s: float, mono_s: float) -> list[ProbeReading]:
        """What arrives of the probes now."""
        return self._bender.bend(super().probes(at_utc_s, mono_s))
