"""Drip: litres, millimetres and minutes; the pond and the bulb below an emitter; evenness.

Scale: one bed, one drip line or one emitter, as each function says. Volumes in litres, depths in mm
over the area named (1 mm over 1 m2 is 1 litre), flow of one emitter in l/h.

Where an input makes no sense (no flow, no area) the result is NaN, and NaN never opens a valve.

Sources: Wooding 1968, Schwartzman & Zur 1986, Christiansen 1942, FAO-56 eq. 93. Left out: pressure
losses along a line, and slopes.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, isfinite, nan, pi, sqrt

EFFICIENCY_FRAC = 0.9  # of a drip line, 0.85-0.95: from memory
BULB_DEPTH_M = 29.2  # Schwartzman & Zur 1986, from memory; Ks in m/s, flow in l/h, volume in l
BULB_WIDTH_M = 0.031  # the same
MM_H_PER_M_S = 3.6e6
MOST_PULSES = 4  # common practice, no source


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
    return float(BULB_DEPTH_M * litres**0.63 * ratio**0.45)


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
    return float(BULB_WIDTH_M * litres**0.22 * ratio**-0.17)


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
