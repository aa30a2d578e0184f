"""What a world draws from its seed: how far garden and probes depart from the garden file.

Pure functions of a seed and a name. Each bed and each probe has lots of its own, so that another
bed or probe in the garden changes nothing; only which probe is misplaced is one lot for the
garden, and there each probe holds a ticket that does not depend on the others. The gardener knows
none of this. Departures are 0 where the world is as told. Every spread stands as a constant here
and in DEVELOPERS.md, "What a drawn world draws".
"""

from __future__ import annotations

import math
import random
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

# -- beds
FC_SPREAD_FRAC = 0.15  # of field capacity, even between the two; a design value
KS_FACTOR = 2.0  # one standard deviation of the log-normal conductivity; a design value
KC_SPREAD_FRAC = 0.15  # of the plants' water use, even; a design value
P_SPREAD_FRAC = 0.05  # of the available water, even, one for the garden; ours
EMITTER_CV = 0.05  # between emitters, normal; a design value, a good class of drip line
EMITTER_CLOGGED_FRAC = 0.02  # one in fifty gives nothing; a design value
SPOT_WATER_SD_FRAC = 0.08  # the probes' spot gets this more or less of the bed's water; ours
SPOT_USE_SD_FRAC = 0.05  # plants at the probes' spot use this more or less; ours
SPOT_RELAXES_DAYS = 4.0  # [d] within which a spot and its bed share their water; ours
# -- meter
METER_SD_FRAC = 0.015  # meters of the garden class; ours
# -- probes
PROBE_OFFSET_SD_M3_M3 = 0.01  # between probes; ours
PROBE_GAIN_SD_FRAC = 0.03  # between probes; ours
PROBE_NOISE_SD_M3_M3 = 0.004  # between readings: 1 % of the span (from memory)
PROBE_DRIFT_SD_M3_M3 = 0.002  # in a month of 30 days, between probes; ours
PROBE_SPAN_M3_M3 = 0.4  # what a capacitive probe covers
PROBE_TEMPERATURE_LEAST_FRAC = 0.001  # of the span per °C, either sign (from memory)
PROBE_TEMPERATURE_MOST_FRAC = 0.005  # same
PROBE_RIGHT_AT_C = 20.0  # [°C] soil at which the temperature does not show; ours
READING_LOST_FRAC = 0.004  # of single readings never arrives; ours
SPELL_FRAC = 0.01  # of a probe's days begins a spell without readings; ours
SPELL_LEAST_HOURS = 1.0  # [h] ours
SPELL_MOST_HOURS = 10.0  # [h] ours
MISPLACED_GARDENS_FRAC = 0.10  # of gardens one probe is misplaced; ours
MISPLACED_BESIDE_FRAC = 0.5  # of those probes sits beside the strip, the others too deep; ours
MISPLACED_DEEPER_CM = (8.0, 20.0)  # [cm] deeper than told, even between; ours

DAY_S = 86_400.0
LOST_OF_65536 = round(READING_LOST_FRAC * 65_536)
NOISE_SCALE = math.sqrt(3.0) / 4096.0  # four even numbers of 0..4095 spread by 4096/sqrt(3)
MASK_64 = (1 << 64) - 1


class Sits(StrEnum):
    """Where a probe truly is."""

    RIGHT = "right"
    DEEPER = "deeper"
    BESIDE = "beside"  # between the strips, where hardly any water comes


@dataclass(frozen=True, slots=True, kw_only=True)
class BedDraw:
    """How one bed departs from what the garden file says; 0 = not at all.

    Args:
        fc_off_frac: field capacity [-].
        ks_off_frac: conductivity [-], above -1.
        kc_off_frac: water use of the plants [-].
        p_off_frac: share of the available water at which stress begins [-].
        flow_off_frac: what the emitters give together [-].
        spot_water_frac: what more of the bed's water the probes' spot gets [-].
        spot_use_frac: what more the plants there use [-].
    """

    fc_off_frac: float = 0.0
    ks_off_frac: float = 0.0
    kc_off_frac: float = 0.0
    p_off_frac: float = 0.0
    flow_off_frac: float = 0.0
    spot_water_frac: float = 0.0
    spot_use_frac: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeDraw:
    """How one probe departs: reading = offset + drift + (1 + gain) x truth + warmth + noise.

    Args:
        offset_m3_m3: [m3/m3].
        gain_frac: [-].
        noise_m3_m3: standard deviation between readings [m3/m3].
        monthly_drift_m3_m3: since the world began [m3/m3 in 30 days].
        temperature_per_c: response to the soil's temperature [m3/m3 per °C].
        loses: whether readings get lost.
        seed: of noise and losses.
    """

    offset_m3_m3: float = 0.0
    gain_frac: float = 0.0
    noise_m3_m3: float = 0.0
    monthly_drift_m3_m3: float = 0.0
    temperature_per_c: float = 0.0
    loses: bool = False
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """Where a probe sits; `deeper_cm` holds where there is nothing beside the strip."""

    sits: Sits = Sits.RIGHT
    deeper_cm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherDraw:
    """How the weather that truly was departs from the one on record, by local day of the season.

    Args:
        eto_to_record_frac: true reference evapotranspiration over the recorded one [-], above 0.
        rain_to_record_frac: the same of rain; the mast goes on telling what it told.
    """

    eto_to_record_frac: tuple[float, ...]
    rain_to_record_frac: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Departures that are told instead of drawn from a seed, as a fit of a season tells them.

    Args:
        beds: by bed; one that is not there is as the garden file says.
        probes: by probe; one that is not there tells the truth.
        meter_off_frac: what the meter tells beyond what flows [-].
        places: where misplaced probes sit; one that is not there sits as told.
        depletion_frac: true depletion of beds at the start, where known [0..1].
        weather: what truly fell and could be used; None for what is on record.
    """

    beds: Mapping[str, BedDraw]
    probes: Mapping[str, ProbeDraw] = field(default_factory=dict)
    meter_off_frac: float = 0.0
    places: Mapping[str, Placing] = field(default_factory=dict)
    depletion_frac: Mapping[str, float] = field(default_factory=dict)
    weather: WeatherDraw | None = None


def bed_draw(seed: int, bed: str, emitters: int) -> BedDraw:
    """Draw one bed.

    Args:
        seed: the world's.
        bed: its name.
        emitters: how many it has, 1 or more.
    """
    lot = _lot(seed, "bed", bed)
    return BedDraw(
        fc_off_frac=lot.uniform(-FC_SPREAD_FRAC, FC_SPREAD_FRAC),
        ks_off_frac=math.exp(lot.gauss(0.0, math.log(KS_FACTOR))) - 1.0,
        kc_off_frac=lot.uniform(-KC_SPREAD_FRAC, KC_SPREAD_FRAC),
        p_off_frac=_lot(seed, "p", "").uniform(-P_SPREAD_FRAC, P_SPREAD_FRAC),
        flow_off_frac=_emitters_off_frac(lot, emitters),
        spot_water_frac=_lot(seed, "spot-water", bed).gauss(0.0, SPOT_WATER_SD_FRAC),
        spot_use_frac=_lot(seed, "spot-use", bed).gauss(0.0, SPOT_USE_SD_FRAC),
    )


def _emitters_off_frac(lot: random.Random, emitters: int) -> float:
    """Draw each emitter; a clogged one gives nothing."""
    given = sum(
        0.0 if lot.random() < EMITTER_CLOGGED_FRAC else max(0.0, lot.gauss(1.0, EMITTER_CV))
        for _ in range(emitters)
    )
    return given / emitters - 1.0


def meter_factor(seed: int) -> float:
    """What the meter tells over what flowed [-]."""
    return 1.0 + _lot(seed, "meter", "").gauss(0.0, METER_SD_FRAC)


def probe_draw(seed: int, probe: str) -> ProbeDraw:
    """Draw one probe.

    Args:
        seed: the world's.
        probe: its name.
    """
    lot = _lot(seed, "probe", probe)
    per_c = lot.uniform(PROBE_TEMPERATURE_LEAST_FRAC, PROBE_TEMPERATURE_MOST_FRAC)
    return ProbeDraw(
        offset_m3_m3=lot.gauss(0.0, PROBE_OFFSET_SD_M3_M3),
        gain_frac=lot.gauss(0.0, PROBE_GAIN_SD_FRAC),
        noise_m3_m3=PROBE_NOISE_SD_M3_M3,
        monthly_drift_m3_m3=lot.gauss(0.0, PROBE_DRIFT_SD_M3_M3),
        temperature_per_c=lot.choice((-1.0, 1.0)) * per_c * PROBE_SPAN_M3_M3,
        loses=True,
        seed=zlib.crc32(f"{seed}/{probe}".encode()),
    )


def misplaced_probe(seed: int, probes: Iterable[str]) -> str | None:
    """Which of a garden's probes is misplaced, if any.

    Args:
        seed: the world's.
        probes: all that the garden has.

    Returns:
        The probe with the lowest ticket, in `MISPLACED_GARDENS_FRAC` of the gardens.
    """
    if _lot(seed, "misplaced", "").random() >= MISPLACED_GARDENS_FRAC:
        return None
    tickets = [(_lot(seed, "ticket", probe).random(), probe) for probe in probes]
    return min(tickets)[1] if tickets else None


def placing(seed: int, probe: str) -> Placing:
    """Where a probe sits if it is the misplaced one."""
    lot = _lot(seed, "placing", probe)
    sits = Sits.BESIDE if lot.random() < MISPLACED_BESIDE_FRAC else Sits.DEEPER
    return Placing(sits=sits, deeper_cm=lot.uniform(*MISPLACED_DEEPER_CM))


def spell_of_day(probe_seed: int, day: int) -> tuple[float, float] | None:
    """The spell without readings that begins on a day, if one does.

    Args:
        probe_seed: a probe's own seed.
        day: days since 1970 in UTC.

    Returns:
        Begin and end [Unix s UTC], or None.
    """
    if unit_lot(probe_seed + 1, day) >= SPELL_FRAC:
        return None
    begin_s = (day + unit_lot(probe_seed + 2, day)) * DAY_S
    hours = SPELL_LEAST_HOURS + unit_lot(probe_seed + 3, day) * (
        SPELL_MOST_HOURS - SPELL_LEAST_HOURS
    )
    return begin_s, begin_s + hours * 3600.0


def unit_lot(seed: int, which: int) -> float:
    """A number from 0 to under 1 from two whole numbers."""
    return (bits(seed, which) >> 11) / float(1 << 53)


def bits(seed: int, which: int) -> int:
    """64 even bits from two whole numbers, mixed as splitmix64 does.

    Source: Steele, Lea & Flood 2014 (from memory)
    """
    z = ((seed + 1) * 0x9E3779B97F4A7C15 + which) & MASK_64
    z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & MASK_64
    z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & MASK_64
    return z ^ (z >> 31)


def is_lost(lot: int) -> bool:
    """Whether a reading whose 64 bits these are gets lost: the lowest 16 decide."""
    return (lot & 0xFFFF) < LOST_OF_65536


def noise_of(lot: int) -> float:
    """A nearly normal number from the other 48 of 64 bits: four even ones of 12 bits, summed.

    Its mean is 0, its standard deviation 1, and it never leaves -3.5 to 3.5.
    """
    even = (lot >> 16 & 0xFFF) + (lot >> 28 & 0xFFF) + (lot >> 40 & 0xFFF) + (lot >> 52)
    return (even - 8190.0) * NOISE_SCALE


def _lot(seed: int, what: str, name: str) -> random.Random:
    """A source of its own for each thing that is drawn."""
    return random.Random(f"{seed}/{what}/{name}")
