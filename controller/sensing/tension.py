"""From tension to a bed's water content, for probes that measure how hard soil holds its water.

Straight in the logarithm of tension between four points, each a trigger of growers beside the line
or floor that it stands for: a drained plateau is full, 30 kPa is the line of setting and sizing,
45 kPa of vegetative growth, 80 kPa the floor. The share of the available water so found is laid on
the bed's own field capacity and wilting point, so that such a probe speaks the scale of the others,
and its plateau is learned as the full point like theirs. Never through a texture table: the same
share of a loam is 18 or 120 kPa, as field capacity is defined.

The points are this project's defaults for a loam and a shallow probe; published triggers for
tomato run from 10 to 50 kPa. Left out: hysteresis, and how slowly granular sensors answer to water.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

from controller.garden_parts import Probe
from controller.sensing.calibration import Calibration, to_theta
from controller.sensing.estimate import BedSoil

POINTS_KPA: tuple[tuple[float, float], ...] = (  # tension [kPa], share of the water used [-]
    (10.0, 0.0),
    (30.0, 0.42),
    (45.0, 0.50),
    (80.0, 0.60),
)
TENSION_LEAST_KPA = 1.0  # wetter than this nothing is told apart
TENSION_MOST_KPA = 1500.0  # of a field probe; the wilting point by convention
KINDS = frozenset({"tension_kpa", "resistance_kohm"})

Warm = Callable[[float, float | None], float | None]


def used_frac(tension_kpa: float) -> float:
    """The share of the available water that is used at a tension.

    Args:
        tension_kpa: [kPa], 0 to 1500.

    Returns:
        [-], 0 at 10 kPa, below 0 where wetter than full, 1 at most.

    Source: design points of this project; logarithmic between them.
    """
    here = math.log(max(TENSION_LEAST_KPA, tension_kpa))
    pieces = list(pairwise(POINTS_KPA))
    low, high = next((piece for piece in pieces if tension_kpa <= piece[1][0]), pieces[-1])
    left, right = math.log(low[0]), math.log(high[0])
    frac = low[1] + (high[1] - low[1]) * (here - left) / (right - left)
    return min(1.0, frac)


def theta_m3_m3(soil: BedSoil, tension_kpa: float) -> float | None:
    """Water content that stands for a tension in a bed, on its told full and wilting points.

    Args:
        soil: the bed.
        tension_kpa: [kPa].

    Returns:
        [m3/m3], saturation at most; None below 0 and above 1500 kPa.
    """
    if not 0.0 <= tension_kpa <= TENSION_MOST_KPA:
        return None
    full, wilting = soil.told_field_capacity_m3_m3, soil.wilting_told_m3_m3
    return min(soil.saturation_m3_m3, full - used_frac(tension_kpa) * (full - wilting))


def warm_scale(probe: Probe, soil: BedSoil) -> Warm | None:
    """What turns a tension or resistance probe's value and soil temperature into water content.

    Args:
        probe: its table of the garden file.
        soil: its bed.

    Returns:
        Takes the value in the unit of its kind and the soil's temperature [°C] or None, gives
        [m3/m3] or None; None itself for probes of another kind.
    """
    if probe.kind not in KINDS:
        return None

    def read(value: float, soil_temp_c: float | None) -> float | None:
        told = to_theta(probe, value, soil_temp_c)
        if told.reason is not Calibration.TENSION or told.tension_kpa is None:
            return None
        return theta_m3_m3(soil, told.tension_kpa)

    return read
