"""Raw probes without a calibration table: made usable by the bed's own drying.

A probe that tells bare counts is watched through dry spells, from a day after water to the next
water. What the balance says was used meanwhile, spread over the root zone, is set against the
change of its counts: that gives water content per count. Two such spells make it usable; where on
the scale it stands is taken from the balance at their ends, and the full point, which the bed
learns as with any probe, puts it right. Until then the bed goes by its balance alone.

Counts come here as `nominal_m3_m3`: a straight line that is right for no probe, so that the checks
of readings have a scale to go by. Settings found by trial in the simulated garden, seeds 1-10.

Leaves out: probes whose counts are not nearly straight in water content; converters of more than
twelve bits, whose probes need a calibration table.
"""

from __future__ import annotations

from collections.abc import Callable

from controller.garden_parts import Probe
from controller.sensing.calibration import water_scale
from controller.sensing.estimate import BedSoil
from controller.state import BedWater, ProbeLine

COUNTS_MOST = 4095.0  # twelve bits
NOMINAL_DRY_COUNT_M3_M3 = 0.1  # of the highest count
NOMINAL_SPAN_M3_M3 = 0.4
SETTLED_S = 24 * 3600.0  # after water, before a dry spell begins
SPELLS = 2  # dry spells that make a probe usable
SPELLS_MOST = 6  # the line is fitted no longer after so many
SPELL_LEAST_FRAC = 0.08  # of the available water used: a shorter spell says nothing
STIR_LEAST_M3_M3 = 0.002  # nominal: a probe that moved less in a spell is not among the roots
BELOW_ROOTS_M = 0.05  # a probe deeper than this below the roots is not fitted


def nominal_m3_m3(counts: float) -> float | None:
    """Counts on a scale that looks like water content: wetter is higher for most probes [m3/m3].

    Args:
        counts: as told, 0 to 4095.

    Returns:
        0.1 to 0.5, None outside.
    """
    if not 0.0 <= counts <= COUNTS_MOST:
        return None
    return NOMINAL_DRY_COUNT_M3_M3 + NOMINAL_SPAN_M3_M3 * (1.0 - counts / COUNTS_MOST)


def scale_of(probe: Probe) -> Callable[[float], float | None]:
    """What turns a probe's values into water content, or bare counts into nominal ones [m3/m3]."""
    return nominal_m3_m3 if probe.uncalibrated else water_scale(probe)


def key_of(bed: str, probe: str) -> str:
    """Under which name a probe's line is kept: it is learned in its bed."""
    return f"{bed}/{probe}"


def line_of(lines: dict[str, ProbeLine], bed: str, probe: str) -> ProbeLine:
    """A probe's line; a probe that is new in its bed begins anew."""
    line = lines.get(key_of(bed, probe))
    if line is None:
        line = lines[key_of(bed, probe)] = ProbeLine()
    return line


def usable(line: ProbeLine | None) -> bool:
    """Whether enough dry spells were seen."""
    return line is not None and line.slope_frac != 0.0


def theta_m3_m3(line: ProbeLine, nominal: float) -> float | None:
    """Water content behind a nominal value [m3/m3]; None while too little is known."""
    if line.slope_frac == 0.0:
        return None
    return line.water_m3_m3 + line.slope_frac * (nominal - line.told_m3_m3)


def counts_per_mm(line: ProbeLine, root_depth_m: float) -> float | None:
    """By how many counts a probe's word changes for a millimetre more in the root zone.

    Args:
        line: its line.
        root_depth_m: of the root zone [m].

    Returns:
        Below 0 where counts fall as soil gets wetter; None while too little is known.
    """
    if line.slope_frac == 0.0:
        return None
    nominal = 1.0 / (1000.0 * root_depth_m * line.slope_frac)
    return -nominal * COUNTS_MOST / NOMINAL_SPAN_M3_M3


def hour(
    line: ProbeLine,
    water: BedWater,
    soil: BedSoil,
    root_depth_m: float,
    depth_cm: float,
    nominal: float,
    at_utc_s: float,
) -> None:
    """Watch a probe for an hour.

    Args:
        line: its line, changed in place.
        water: the bed's state.
        soil: the bed.
        root_depth_m: present root depth [m].
        depth_cm: the probe's depth [cm].
        nominal: what it told [m3/m3].
        at_utc_s: now [s, Unix].
    """
    if line.spells >= SPELLS_MOST or depth_cm / 100.0 > root_depth_m + BELOW_ROOTS_M:
        return
    wetted_s = water.wetted_utc_s
    if wetted_s is not None and at_utc_s - wetted_s < SETTLED_S:
        if line.from_used_mm is not None:
            _end_spell(line, soil, root_depth_m, at_utc_s)
        line.from_used_mm = None
        return
    if line.from_used_mm is None:
        line.from_told_m3_m3, line.from_used_mm = nominal, water.used_mm
    lacks_mm = water.depletion_mm - water.over_mm
    line.last_told_m3_m3, line.last_used_mm = nominal, water.used_mm
    line.last_water_m3_m3 = soil.field_capacity_m3_m3 - lacks_mm / (1000.0 * root_depth_m)


def _end_spell(line: ProbeLine, soil: BedSoil, root_depth_m: float, at_utc_s: float) -> None:
    """Take a dry spell into the line."""
    if line.from_used_mm is None:
        return
    dried = (line.last_used_mm - line.from_used_mm) / (1000.0 * root_depth_m)
    stirred = line.from_told_m3_m3 - line.last_told_m3_m3
    available = soil.told_field_capacity_m3_m3 - soil.wilting_told_m3_m3
    if dried < SPELL_LEAST_FRAC * available or abs(stirred) < STIR_LEAST_M3_M3:
        return
    line.dried_m3_m3 += dried
    line.stirred_m3_m3 += stirred
    line.spells += 1
    if line.slope_frac == 0.0:  # where it stands, at the middle of each spell, by the balance
        share = 1.0 / line.spells
        middle = (line.from_told_m3_m3 + line.last_told_m3_m3) / 2.0
        line.told_m3_m3 += share * (middle - line.told_m3_m3)
        line.water_m3_m3 += share * (line.last_water_m3_m3 + dried / 2.0 - line.water_m3_m3)
    if line.spells >= SPELLS and abs(line.stirred_m3_m3) >= SPELLS * STIR_LEAST_M3_M3:
        line.slope_frac = line.dried_m3_m3 / line.stirred_m3_m3
        if line.since_utc_s is None:
            line.since_utc_s = at_utc_s
