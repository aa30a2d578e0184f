"""Soil felt by hand: dry, just moist or wet at a depth, as a told depletion of that layer.

A hand in the soil is a rough but honest probe: it does not drift, slip its unit or lose its cable.
So it corrects the filter with a variance of its own, and a probe at about the same depth that tells
the other side twice is doubted, with each at another depth that agrees with it.

What a hand moves is in proportion to all that is not known of the bed (`spread.parts`): a bed's
probes may be sure of each other and wrong together. The share of the full point goes into its odds
(`teach_full`) and so stays; the rest moves the depletion (`feel`), and what of that was the probes'
own error they take back within some days.

Depletions are fractions of the available water: 0 full, 1 wilting point. All widths and the three
centres are our own proposals, not published; that feeling soil tells the share of its available
water in a few steps is common practice, no source.
"""

from __future__ import annotations

import math
from enum import StrEnum

from controller.sensing.estimate import DRAINS_S, BedSoil, pull
from controller.sensing.full_point import hear_hand
from controller.sensing.spread import parts
from controller.state import BedDay, BedWater, Felt

WET_FRAC = 0.05  # what a wet feel tells: about full
MOIST_SHARE = 0.5  # of the thirst line: what just moist tells
DRY_BEYOND_FRAC = 0.15  # past the thirst line: what dry tells
# One width for all three, else a sharp wet feel might pull less far than a blunt moist one.
FEEL_SD_FRAC = 0.12
LAYER_SD_FRAC = 0.10  # more, where it was felt at the top or the bottom of the roots
AGAINST_FRAC = 0.20  # a probe that differs by more than this contradicts
NEAR_CM = 12.0  # a probe no further from the depth that was felt speaks of the same layer
DEPTH_MOST_CM = 100.0
STANDS_S = 86_400.0  # so long limp leaves and a feel are held together
OCCASION_S = 6 * 3600.0  # a feel this soon after is the same occasion: it does not count anew
AGAIN_S = 48 * 3600.0  # a feel this soon after another tells little new of what does not change
ALIKE_GAIN = 2.0  # the same hand errs the same way: of the full point each feel tells half
FULL_LEAST_FRAC = 0.05  # of what is left in the bed: where next to nothing is, none of it is told


class Feel(StrEnum):
    """What the soil feels like."""

    DRY = "dry"
    JUST_MOIST = "just_moist"
    WET = "wet"


FEEL_WORDS = {Feel.DRY: "dry", Feel.JUST_MOIST: "just moist", Feel.WET: "wet"}


def told_frac(feel: Feel, line_frac: float) -> float:
    """The depletion that a feel tells of its layer.

    Args:
        feel: what was felt.
        line_frac: the stage's thirst line [0..1].

    Returns:
        A fraction of the available water [0..1]; rising from wet to dry.
    """
    if feel is Feel.WET:
        return min(WET_FRAC, MOIST_SHARE * line_frac)
    if feel is Feel.JUST_MOIST:
        return MOIST_SHARE * line_frac
    return min(1.0, line_frac + DRY_BEYOND_FRAC)


def sd_frac(depth_cm: float, root_depth_m: float) -> float:
    """How wrong a feel is about the whole root zone, as a standard deviation [of TAW].

    Args:
        depth_cm: where it was felt [cm], above 0.
        root_depth_m: present root depth [m], above 0.
    """
    off_middle = abs(2.0 * depth_cm / 100.0 / root_depth_m - 1.0)
    return math.hypot(FEEL_SD_FRAC, LAYER_SD_FRAC * off_middle)


def fresh_share(since_s: float) -> float:
    """How much a feel tells of what a feel before it told already [0..1].

    Args:
        since_s: since the last feel of this bed [s]; infinity where there was none.
    """
    return max(0.0, min(1.0, since_s / AGAIN_S))


def _off_frac(water: BedWater, day: BedDay, felt: Feel) -> float:
    """What a feel tells, less what is believed [of TAW]; 0 where it agrees by saying one side."""
    believed = (water.depletion_mm - water.over_mm) / day.taw_mm
    off = told_frac(felt, day.line_frac) - believed
    if (felt is Feel.WET and off >= 0.0) or (felt is Feel.DRY and off <= 0.0):
        return 0.0
    return off


def drains(water: BedWater, at_utc_s: float) -> bool:
    """Whether water may still run through a bed, so that nothing is said of its thirst."""
    return water.wetted_utc_s is not None and at_utc_s - water.wetted_utc_s < DRAINS_S


def teach_full(
    water: BedWater,
    soil: BedSoil,
    day: BedDay,
    felt: Feel,
    depth_cm: float,
    at_utc_s: float,
    since_s: float = math.inf,
) -> float | None:
    """Let a feel speak for the bed's full point, by the share that it has in what is not known.

    Args:
        water: the bed's state, changed in place; its probes' word is what the bed goes by.
        soil: the bed.
        day: the day's coefficients.
        felt: what was felt.
        depth_cm: at which depth [cm], above 0.
        at_utc_s: when [s, Unix].
        since_s: since the last feel of this bed [s].

    Returns:
        The change of the full point [m3/m3], 0 where its odds leave no room for one; None where it
        is not asked: while the bed drains, where its odds have not begun, where it is about empty,
        and where the feel says nothing new.
    """
    fresh, lacks = fresh_share(since_s), min(1.0, water.depletion_mm / day.taw_mm)
    off = _off_frac(water, day, felt)
    if not water.full_odds_frac or drains(water, at_utc_s) or not 0.0 < depth_cm < math.inf:
        return None
    if not fresh > 0.0 or 1.0 - lacks < FULL_LEAST_FRAC or off == 0.0:
        return None
    off = max(-AGAINST_FRAC, min(AGAINST_FRAC, off))
    own, _, shared = parts(water, soil, day)
    var = own + shared + ALIKE_GAIN * sd_frac(depth_cm, day.root_depth_m) ** 2
    scale = (soil.field_capacity_m3_m3 - soil.wilting_point_m3_m3) / (1.0 - lacks)
    return hear_hand(water, soil, off * scale, math.sqrt(var / fresh) * scale, at_utc_s)


def feel(
    water: BedWater,
    soil: BedSoil,
    day: BedDay,
    felt: Feel,
    depth_cm: float,
    at_utc_s: float,
    *,
    since_s: float = math.inf,
    full_taught: bool = False,
) -> float:
    """Pull the state towards what a hand felt.

    Wet tells "no drier than", dry "no wetter than": a bed that is believed wetter than wet or drier
    than dry is left alone. From one and the same state a wetter feel never leaves the bed drier.

    Args:
        water: the bed's state, changed in place.
        soil: the bed.
        day: the day's coefficients.
        felt: what was felt.
        depth_cm: at which depth [cm], above 0.
        at_utc_s: when [s, Unix].
        since_s: since the last feel of this bed [s].
        full_taught: whether the full point's share went to `teach_full`, however little it made of
            it: if that decided, a wetter feel might pull less.

    Returns:
        By how much the depletion changed [mm], towards the feel and never past it; 0 where nothing
        was.
    """
    if not 0.0 < depth_cm < math.inf:
        return 0.0
    before_mm = water.depletion_mm - water.over_mm
    innovation_mm = _off_frac(water, day, felt) * day.taw_mm
    if innovation_mm == 0.0:
        return 0.0
    unsure = parts(water, soil, day)
    beside = unsure.shared + (0.0 if full_taught else unsure.full)
    beside_mm2 = fresh_share(since_s) * beside * day.taw_mm**2
    noise_mm2 = (sd_frac(depth_cm, day.root_depth_m) * day.taw_mm) ** 2
    teaches = since_s >= OCCASION_S and not drains(water, at_utc_s)  # of its thirst
    pull(water, day.taw_mm, innovation_mm, noise_mm2, teaches=teaches, beside_mm2=beside_mm2)
    return water.depletion_mm - water.over_mm - before_mm


def contradicts(felt: Feel, line_frac: float, probe_frac: float) -> bool:
    """Whether a probe tells the other side of what a hand felt beside it.

    Args:
        felt: what was felt.
        line_frac: the stage's thirst line [0..1].
        probe_frac: depletion of the layer by the probe; below 0 wetter than full.

    Returns:
        True where it differs by more than the feel's width; a probe that is drier than dry or
        wetter than wet agrees.
    """
    apart = probe_frac - told_frac(felt, line_frac)
    if felt is Feel.WET:
        return apart > AGAINST_FRAC
    if felt is Feel.DRY:
        return apart < -AGAINST_FRAC
    return abs(apart) > AGAINST_FRAC


def stands(felt: Felt | None, water: BedWater, at_utc_s: float) -> Feel | None:
    """What a hand told within a day, that water has not made old since.

    Args:
        felt: the last feel of the bed; None where there was none.
        water: the bed's state.
        at_utc_s: now [s, Unix].

    Returns:
        The feel; None where none stands.
    """
    if felt is None or not 0.0 <= at_utc_s - felt.at_utc_s < STANDS_S:
        return None
    told = Feel(felt.feel)
    wetted = water.wetted_utc_s is not None and water.wetted_utc_s > felt.at_utc_s
    return None if wetted and told is not Feel.WET else told


def is_alike(one_frac: float, other_frac: float) -> bool:
    """Whether two probes tell about the same of their layers; all above full is full.

    Args:
        one_frac: depletion by the one [of TAW].
        other_frac: by the other.
    """
    return abs(max(0.0, one_frac) - max(0.0, other_frac)) <= AGAINST_FRAC


def near(probe_cm: float, felt_cm: float) -> bool:
    """Whether a probe at that depth speaks of the layer that was felt."""
    return abs(probe_cm - felt_cm) <= NEAR_CM
