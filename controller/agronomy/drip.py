"""Drip: litres, millimetres and minutes; the pond and the bulb below an emitter; evenness.

Scale: one bed, one drip line or one emitter, as each function says. Volumes in litres, depths in mm
over the area named (1 mm over 1 m2 is 1 litre), flow of one emitter in l/h.

Where an input makes no sense (no flow, no area) the result is NaN, and NaN never opens a valve.

Sources: Wooding 1968, Schwartzman & Zur 1986, Christiansen 1942, FAO-56 eq. 93. Left out: pressure
losses along a line, and slopes. One emitter's flow, and a line by design: `emitter`.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, isfinite, nan, pi, sqrt

EFFICIENCY_FRAC = 0.9  # of a drip line, 0.85-0.95: from memory
BULB_DEPTH_M = 29.2  # Schwartzman & Zur 1986, from memory; Ks in m/s, flow in l/h, volume in l
BULB_WIDTH_M = 0.031  # the same
BULB_DEPTH_PER_LITRE, BULB_DEPTH_PER_KS = 0.63, 0.45  # [-] powers, the same
BULB_WIDTH_PER_LITRE, BULB_WIDTH_PER_KS = 0.22, -0.17  # [-] powers, the same
MM_H_PER_M_S = 3.6e6
STRIP_POND_SLOPE, STRIP_POND_LEAST = 3.96, 0.721  # [-] line source: abstract of a later paper
STRIP_POND_MOST = 5.0  # [-] alpha x0/2 up to which that was fitted
MOST_PULSES = 4  # common practice, no source
PAUSE_LEAST_S, PAUSE_MOST_S = 1800.0, 3600.0  # [s] between pulses: common practice, no source
S_PER_H = 3600.0


def litres_from_mm(depth_mm: float, area_m2: float) -> float:
    """Volume of a depth of water.

    Args:
        depth_mm: [mm] over `area_m2`.
        area_m2: ground or wetted area [m2].

    Returns:
        Volume [l].

    Source: definition.
    """
    return depth_mm * area_m2


def mm_from_litres(litres: float, area_m2: float) -> float:
    """Depth of a volume of water.

    Args:
        litres: volume [l].
        area_m2: ground or wetted area [m2], above 0.

    Returns:
        Depth over that area [mm]; NaN without an area.

    Source: definition.
    """
    return litres / area_m2 if area_m2 > 0.0 else nan


def wetted_frac(strip_width_m: float, row_width_m: float) -> float:
    """Share of the ground that a row's drip lines wet, fw.

    Args:
        strip_width_m: of the wetted strip [m], 0 or more.
        row_width_m: ground per row, from middle to middle of the paths [m], above 0.

    Returns:
        fw [-], 0…1: 0.3-0.4 in wide rows (FAO-56 table 20); NaN without ground.

    Source: definition; FAO-56 ch. 7.
    """
    if not row_width_m > 0.0:
        return nan
    return min(1.0, max(0.0, strip_width_m / row_width_m))


def strip_mm(ground_mm: float, wetted_frac: float) -> float:
    """Depth over the wetted strip of water that is told as a depth over all the ground: I/fw.

    Args:
        ground_mm: irrigation over all the ground [mm].
        wetted_frac: fw [-], above 0 to 1.

    Returns:
        Depth over the strip [mm]; NaN without a strip.

    Source: FAO-56 eq. 77.
    """
    return ground_mm / wetted_frac if wetted_frac > 0.0 else nan


def run_time_h(
    litres: float, emitters: int, emitter_l_h: float, efficiency_frac: float = EFFICIENCY_FRAC
) -> float:
    """How long a bed has to run.

    Args:
        litres: wanted in the root zone [l].
        emitters: in the bed.
        emitter_l_h: flow of one [l/h].
        efficiency_frac: share of the water that stays in the root zone [-], 0…1.

    Returns:
        Time [h]; NaN without flow.

    Source: definition.
    """
    reaching_l_h = emitters * emitter_l_h * efficiency_frac
    return litres / reaching_l_h if reaching_l_h > 0.0 else nan


def application_rate_mm_h(flow_l_h: float, wetted_area_m2: float) -> float:
    """Rate at which water comes down on the wetted area.

    Args:
        flow_l_h: onto that area [l/h].
        wetted_area_m2: [m2], above 0.

    Returns:
        Rate [mm/h]; NaN without an area. Under drip it may well be above the conductivity: the
        pond's size is the test, not this.

    Source: definition.
    """
    return flow_l_h / wetted_area_m2 if wetted_area_m2 > 0.0 else nan


def pond_radius_m(emitter_l_h: float, ks_mm_h: float, sorptive_length_m: float) -> float:
    """Radius of the pond below an emitter once its flow goes in as fast as it comes.

    Args:
        emitter_l_h: flow [l/h], 0 or more.
        ks_mm_h: saturated conductivity [mm/h], above 0.
        sorptive_length_m: 1/alpha of Gardner's conductivity [m], 0 or more.

    Returns:
        Radius [m]; NaN for a soil that takes nothing.

    Source: Wooding 1968, q = Ks (pi r2 + 4 r/alpha), solved for r.
    """
    if not ks_mm_h > 0.0:
        return nan
    pulled_m = 2.0 * sorptive_length_m
    area_m2 = emitter_l_h / ks_mm_h
    return area_m2 / (pulled_m + sqrt(pulled_m * pulled_m + pi * area_m2))


def strip_pond_half_width_m(line_l_h_m: float, ks_mm_h: float, sorptive_length_m: float) -> float:
    """Half width of the pond below a line of close emitters.

    Args:
        line_l_h_m: flow of one metre of line [l/h/m], 0 or more.
        ks_mm_h: saturated conductivity [mm/h], above 0.
        sorptive_length_m: 1/alpha of Gardner's conductivity [m], above 0.

    Returns:
        x0 [m]; 0 where the soil takes all without a pond; NaN where it takes nothing, and beyond
        the fitted range, alpha x0/2 up to 5.

    Source: Ks/(alpha qL) = 1/(3.96 alpha x0/2 + 0.721), abstract of a later paper than Wooding's.
    """
    if not (ks_mm_h > 0.0 and sorptive_length_m > 0.0 and line_l_h_m >= 0.0):
        return nan
    flow = line_l_h_m / (ks_mm_h * sorptive_length_m)
    half = (flow - STRIP_POND_LEAST) / STRIP_POND_SLOPE
    return 2.0 * sorptive_length_m * max(0.0, half) if half <= STRIP_POND_MOST else nan


def bulb_depth_m(litres: float, emitter_l_h: float, ks_mm_h: float) -> float:
    """Depth of the wetted bulb below an emitter; fitted to few soils, so good to about 30 %.

    Args:
        litres: that the emitter gave [l], 0 or more.
        emitter_l_h: its flow [l/h], above 0.
        ks_mm_h: saturated conductivity [mm/h], above 0.

    Returns:
        Depth [m]; NaN without flow or conductivity.

    Source: Schwartzman & Zur 1986, constants from memory.
    """
    if not (emitter_l_h > 0.0 and ks_mm_h > 0.0 and litres >= 0.0):
        return nan
    ratio = ks_mm_h / MM_H_PER_M_S / emitter_l_h
    return float(BULB_DEPTH_M * litres**BULB_DEPTH_PER_LITRE * ratio**BULB_DEPTH_PER_KS)


def bulb_litres(depth_m: float, emitter_l_h: float, ks_mm_h: float) -> float:
    """Litres of one emitter that wet down to a depth: as deep as the roots, not as long as may be.

    Args:
        depth_m: wanted [m], 0 or more.
        emitter_l_h: its flow [l/h], above 0.
        ks_mm_h: saturated conductivity [mm/h], above 0.

    Returns:
        Volume [l], good to about half of it; NaN without flow or conductivity.

    Source: `bulb_depth_m` turned round.
    """
    if not (emitter_l_h > 0.0 and ks_mm_h > 0.0 and depth_m >= 0.0):
        return nan
    ratio = ks_mm_h / MM_H_PER_M_S / emitter_l_h
    of_one_litre_m = BULB_DEPTH_M * ratio**BULB_DEPTH_PER_KS
    return float((depth_m / of_one_litre_m) ** (1.0 / BULB_DEPTH_PER_LITRE))


def bulb_width_m(litres: float, emitter_l_h: float, ks_mm_h: float) -> float:
    """Width of the wetted bulb below an emitter; fitted to few soils, so good to about 30 %.

    Args:
        litres: that the emitter gave [l], 0 or more.
        emitter_l_h: its flow [l/h], above 0.
        ks_mm_h: saturated conductivity [mm/h], above 0.

    Returns:
        Width [m]; NaN without flow or conductivity.

    Source: Schwartzman & Zur 1986, constants from memory.
    """
    if not (emitter_l_h > 0.0 and ks_mm_h > 0.0 and litres >= 0.0):
        return nan
    ratio = ks_mm_h / MM_H_PER_M_S / emitter_l_h
    return float(BULB_WIDTH_M * litres**BULB_WIDTH_PER_LITRE * ratio**BULB_WIDTH_PER_KS)


def distribution_uniformity(flows_l_h: Sequence[float]) -> float:
    """Evenness by the lowest quarter: above 0.9 excellent, below 0.7 clean or mend the line.

    Args:
        flows_l_h: measured flows of single emitters [l/h]; the quarter is rounded up.

    Returns:
        DU of the low quarter [-], 0…1; NaN without flow.

    Source: definition; the grades are from memory.
    """
    total = sum(flows_l_h)
    if not total > 0.0:
        return nan
    quarter = ceil(len(flows_l_h) / 4)
    lowest = sum(sorted(flows_l_h)[:quarter]) / quarter
    return lowest * len(flows_l_h) / total


def christiansen_uniformity(flows_l_h: Sequence[float]) -> float:
    """Evenness by the mean distance from the mean.

    Args:
        flows_l_h: measured flows of single emitters [l/h].

    Returns:
        CU [-], at most 1; NaN without flow.

    Source: Christiansen 1942.
    """
    total = sum(flows_l_h)
    if not total > 0.0:
        return nan
    mean = total / len(flows_l_h)
    return 1.0 - sum(abs(flow - mean) for flow in flows_l_h) / total


def leaching_requirement_frac(water_ds_m: float, soil_ds_m: float) -> float:
    """Share of the water that has to drain to keep salt down; only with salty water.

    Args:
        water_ds_m: electrical conductivity of the irrigation water [dS/m], 0 or more.
        soil_ds_m: of the saturated soil's extract that the crop bears [dS/m].

    Returns:
        LR [-], 0…1; 1 where the water is too salty for that crop at any dose.

    Source: FAO-56 eq. 93.
    """
    spare_ds_m = 5.0 * soil_ds_m - water_ds_m
    return min(1.0, max(0.0, water_ds_m / spare_ds_m)) if spare_ds_m > 0.0 else 1.0


def soil_salt_ratio(leaching_frac: float) -> float:
    """Salt in the soil against salt in the water, where a known share drains.

    Args:
        leaching_frac: LF [-], above 0 to 1.

    Returns:
        ECe/ECiw [-]; NaN without leaching, when salt builds up without end.

    Source: FAO-29, quoted in FAO-56 ch. 8 beside eq. 93.
    """
    return (1.0 + leaching_frac) / (5.0 * leaching_frac) if leaching_frac > 0.0 else nan


def pulse_count(pond_m: float, half_width_m: float) -> int:
    """Into how many pulses a run is split, so that the pond stays on the bed.

    Args:
        pond_m: radius of the pond in a long run [m].
        half_width_m: from the emitter to the edge of the bed [m], above 0.

    Returns:
        1 where the pond fits or is not known, else one for each half width, 2…4.

    Source: common practice, no source; the rule is our own proposal.
    """
    if not (half_width_m > 0.0 and pond_m > half_width_m):
        return 1
    share = pond_m / half_width_m
    return min(MOST_PULSES, ceil(share)) if isfinite(share) else MOST_PULSES


def pulse_pause_s(pond_mm: float, ks_mm_h: float) -> float:
    """How long to wait between two pulses, so that the pond has gone in.

    Args:
        pond_mm: water that stands at the end of a pulse [mm], 0 or more.
        ks_mm_h: saturated conductivity [mm/h], above 0.

    Returns:
        Pause [s], 1800…3600; the longest where an input makes no sense.

    Source: 30-60 min: common practice, no source; the rule is our own proposal.
    """
    if not (ks_mm_h > 0.0 and pond_mm >= 0.0):
        return PAUSE_MOST_S
    return min(PAUSE_MOST_S, max(PAUSE_LEAST_S, pond_mm / ks_mm_h * S_PER_H))
