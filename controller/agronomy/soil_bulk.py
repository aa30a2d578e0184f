"""Soil that is denser, looser or stonier than its texture says.

Scale: a point in the soil. Saxton & Rawls take the density that a texture usually has; a trodden
bed is denser and a dug one looser, and stones take room that holds no water.

Source: Saxton & Rawls 2006 (Soil Sci. Soc. Am. J. 70:1569) eq. 6 to 10 and 19 to 22, from memory;
Peck & Watson 1979 for the conductivity among stones. Left out: cracks along stones.
"""

from __future__ import annotations

import math
from dataclasses import replace

from controller.agronomy.soil import DRIEST_M3_M3, FIELD_CAPACITY_KPA, WILTING_KPA, SoilHydraulics

PARTICLE_G_CM3 = 2.65  # [g/cm3] density of the minerals, and of stones
LOOSEST, DENSEST = 0.9, 1.3  # [-] density factors that Saxton & Rawls advise
FULL_PER_PORE = 0.2  # [-] share of a change of pore space that field capacity follows, eq. 9
DRAINED_LEAST_M3_M3 = 0.005  # [m3/m3] least water between saturation and 33 kPa, eq. 10
STONES_MOST_FRAC = 0.9  # by weight: our own bound


def normal_density_g_cm3(soil: SoilHydraulics) -> float:
    """Dry density of a soil, by the pore space that saturation fills.

    Args:
        soil: the soil, saturation 0..1 m3/m3.

    Returns:
        Density [g/cm3], 0..2.65.

    Source: Saxton & Rawls 2006 eq. 6.
    """
    return (1.0 - soil.saturation_m3_m3) * PARTICLE_G_CM3


def with_density(soil: SoilHydraulics, density_factor: float) -> SoilHydraulics:
    """A soil that is denser or looser than its texture usually is.

    Args:
        soil: as its texture says.
        density_factor: its density over the usual one [-], taken as 0.9 (dug) to 1.3 (trodden).

    Returns:
        The soil; wilting point and air-entry tension as they were.

    Source: Saxton & Rawls 2006 eq. 7 to 10, then 15 and 16 anew.
    """
    factor = max(LOOSEST, min(DENSEST, density_factor))
    density_g_cm3 = normal_density_g_cm3(soil) * factor
    pores = 1.0 - density_g_cm3 / PARTICLE_G_CM3
    dry = soil.wilting_point_m3_m3
    full = soil.field_capacity_m3_m3 - FULL_PER_PORE * (soil.saturation_m3_m3 - pores)
    full = max(full, dry + DRIEST_M3_M3)
    saturated = max(pores, full + DRAINED_LEAST_M3_M3)
    b = math.log(WILTING_KPA / FIELD_CAPACITY_KPA) / math.log(full / dry)
    # eq. 16 anew: its coefficient is the one that the soil came with
    pull = soil.saturation_m3_m3 - soil.field_capacity_m3_m3
    coefficient = soil.ks_mm_h / math.pow(pull, 3.0 - 1.0 / soil.b)
    return replace(
        soil,
        field_capacity_m3_m3=full,
        saturation_m3_m3=saturated,
        ks_mm_h=coefficient * math.pow(saturated - full, 3.0 - 1.0 / b),
        b=b,
    )


def stone_volume_frac(stone_weight_frac: float, density_g_cm3: float) -> float:
    """Share of the ground's volume that stones take.

    Args:
        stone_weight_frac: stones above 2 mm by weight [-], taken as 0..0.9.
        density_g_cm3: dry density of the soil between them [g/cm3], above 0.

    Returns:
        Share [-], 0..1.

    Source: Saxton & Rawls 2006 eq. 19.
    """
    weight = max(0.0, min(STONES_MOST_FRAC, stone_weight_frac))
    ratio = density_g_cm3 / PARTICLE_G_CM3
    return ratio * weight / (1.0 - weight * (1.0 - ratio))


def stony_density_g_cm3(stone_weight_frac: float, density_g_cm3: float) -> float:
    """Dry density of soil and stones together.

    Args:
        stone_weight_frac: stones above 2 mm by weight [-], taken as 0..0.9.
        density_g_cm3: dry density of the soil between them [g/cm3], above 0.

    Returns:
        Density [g/cm3].

    Source: Saxton & Rawls 2006 eq. 20.
    """
    volume = stone_volume_frac(stone_weight_frac, density_g_cm3)
    return density_g_cm3 * (1.0 - volume) + PARTICLE_G_CM3 * volume


def with_stones(soil: SoilHydraulics, stone_weight_frac: float) -> SoilHydraulics:
    """A soil with stones: what a volume of ground, stones and all, holds and lets through.

    Args:
        soil: the soil between the stones.
        stone_weight_frac: stones above 2 mm by weight [-], taken as 0..0.9.

    Returns:
        The stony ground; its curve keeps B and air-entry tension, for stones hold no water.

    Source: Saxton & Rawls 2006 eq. 21 and 22; the latter is Peck & Watson's 2 (1 - Rv)/(2 + Rv).
    """
    volume = stone_volume_frac(stone_weight_frac, normal_density_g_cm3(soil))
    return replace(
        soil,
        field_capacity_m3_m3=soil.field_capacity_m3_m3 * (1.0 - volume),
        wilting_point_m3_m3=soil.wilting_point_m3_m3 * (1.0 - volume),
        saturation_m3_m3=soil.saturation_m3_m3 * (1.0 - volume),
        ks_mm_h=soil.ks_mm_h * 2.0 * (1.0 - volume) / (2.0 + volume),
    )
