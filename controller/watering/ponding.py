"""Into how many pulses a dose goes, so that the pond below its emitters stays on the wetted strip.

The pond grows while water runs: as wide as it must be for the soil to take what has come, by
Philip's two terms, and never wider than in a run without end (Wooding). Where the ponds of
neighbours on one line meet, the line is one long source. Ks and 1/alpha, the sorptive length, are
the class means of Carsel & Parrish; S follows from them by White & Sully 1987, from memory, with
the room of a bed at field capacity, as a pulse may find it wet by the one before.

Left out: slopes, crusts and cracks.
"""

from __future__ import annotations

from math import inf, isnan, pi, sqrt

from controller.agronomy.drip import MOST_PULSES, pond_radius_m, strip_pond_half_width_m
from controller.agronomy.infiltration import philip_mm
from controller.agronomy.soil import CARSEL_PARRISH
from controller.garden import Bed

CM_D_TO_MM_H = 10.0 / 24.0
MM_PER_CM = 10.0
MM_PER_M = 1000.0
SHAPE_B = 0.55  # [-] of S^2 = K lambda room / b: White & Sully 1987, from memory
SPREAD_FRONT_A = 1.0 / 3.0  # [-] Philip's A over K where the front spreads
STORED_MM = 5.0  # in the hollows of a level bed: from memory, 2-10
S_PER_H = 3600.0


def pond_m(bed: Bed, run_s: float) -> float:
    """How far the pond reaches from a drip line at the end of a run.

    Args:
        bed: from the garden file.
        run_s: how long water runs without a rest [s], above 0.

    Returns:
        Half its width [m].
    """
    curve, hours = CARSEL_PARRISH[bed.texture], run_s / S_PER_H
    ks_mm_h, sorptive_mm = curve.ks_cm_d * CM_D_TO_MM_H, MM_PER_CM / curve.alpha_per_cm
    room_m3_m3 = bed.saturation_m3_m3 - bed.fc_m3_m3
    sorptivity = sqrt(ks_mm_h * sorptive_mm * room_m3_m3 / SHAPE_B)
    taken_mm = STORED_MM + philip_mm(hours, sorptivity, ks_mm_h, SPREAD_FRONT_A)
    sorptive_m = sorptive_mm / MM_PER_M
    steady_m = pond_radius_m(bed.emitter_l_h, ks_mm_h, sorptive_m)
    radius_m = min(steady_m, sqrt(bed.emitter_l_h * hours / (pi * taken_mm)))
    spacing_m = bed.row_m * bed.lines / bed.emitters
    if 2.0 * radius_m <= spacing_m:
        return radius_m
    line_l_h_m = bed.emitter_l_h / spacing_m
    steady_m = strip_pond_half_width_m(line_l_h_m, ks_mm_h, sorptive_m)
    by_now_m = line_l_h_m * hours / (2.0 * taken_mm)
    return min(inf if isnan(steady_m) else max(steady_m, 0.5 * spacing_m), by_now_m)


def pond_pulses(bed: Bed, whole_s: float) -> int:
    """The least number of pulses of a dose.

    Args:
        bed: from the garden file.
        whole_s: how long all of it takes [s], above 0.

    Returns:
        The fewest whose ponds stay within the strip that each line wets, 1 to 4.
    """
    half_width_m = 0.5 * bed.wetted_width_m / bed.lines
    for pulses in range(1, MOST_PULSES):
        if pond_m(bed, whole_s / pulses) <= half_width_m:
            return pulses
    return MOST_PULSES
