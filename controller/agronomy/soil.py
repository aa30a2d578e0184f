"""Soil water: what a texture holds, how it lets water go, and how a probe's permittivity tells it.

Scale: a point in the soil. Quantities: water content [m3/m3], tension as a positive number [kPa],
conductivity [mm/h].

Sources: Saxton & Rawls 2006 (Soil Sci. Soc. Am. J. 70:1569), van Genuchten 1980 with the class
means of Carsel & Parrish 1988, Topp, Davis & Annan 1980, FAO-56 table 19. The two class tables
disagree widely on the same name, and neither is a bed's own field capacity: learn that one from its
plateau a day or two after a soaking.

Leaves out: hysteresis, salt, peat and potting mixes. Stones and compaction: `soil_bulk`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

FIELD_CAPACITY_KPA = 33.0  # [kPa] tension taken for it by Saxton & Rawls
WILTING_KPA = 1500.0  # [kPa] permanent wilting
CM_PER_KPA = 10.19716  # [cm of water per kPa]
ORGANIC_MATTER_PCT = 2.5  # [%] of the class values in Saxton & Rawls' table 3, from memory
ORGANIC_MOST_PCT = 8.0  # [%] fitted up to here
CLAY_MOST_FRAC = 0.60  # fitted up to here
DRIEST_M3_M3 = 0.001  # [m3/m3] keeps the logarithm of odd textures finite
TENSION_MOST_KPA = 1e6  # [kPa] air-dry; beyond it the curves mean nothing
AIR_ENTRY_LEAST_KPA = 0.1  # [kPa] eq. 4 falls below 0 for a few sands with much humus: our own


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilHydraulics:
    """What Saxton & Rawls give for a texture; `b` is the exponent of the retention curve.

    At the air-entry tension a drying soil begins to let air in.
    """

    field_capacity_m3_m3: float
    wilting_point_m3_m3: float
    saturation_m3_m3: float
    ks_mm_h: float
    b: float
    air_entry_kpa: float


# Sand and clay by weight: the middle of each class, Saxton & Rawls 2006 table 3, from memory.
CENTROIDS_FRAC: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "sand": (0.88, 0.05),
        "loamy sand": (0.80, 0.05),
        "sandy loam": (0.65, 0.10),
        "loam": (0.40, 0.20),
        "silt loam": (0.20, 0.15),
        "silt": (0.10, 0.05),
        "sandy clay loam": (0.60, 0.25),
        "clay loam": (0.30, 0.35),
        "silty clay loam": (0.10, 0.35),
        "sandy clay": (0.50, 0.40),
        "silty clay": (0.10, 0.45),
        "clay": (0.25, 0.50),
    }
)

# Readily evaporable water [mm]: the middle of each range in FAO-56 table 19. Sandy clay loam, clay
# loam and sandy clay are not in it: they take loam's, silty clay loam's and clay's.
REW_MM: Mapping[str, float] = MappingProxyType(
    {
        "sand": 4.5,
        "loamy sand": 6.0,
        "sandy loam": 8.0,
        "loam": 9.0,
        "silt loam": 9.5,
        "silt": 9.5,
        "sandy clay loam": 9.0,
        "clay loam": 9.5,
        "silty clay loam": 9.5,
        "sandy clay": 10.0,
        "silty clay": 10.0,
        "clay": 10.0,
    }
)


def _within(value: float, lowest: float, highest: float) -> float:
    return max(lowest, min(highest, value))


def _wilting_point(sand: float, clay: float, organic: float) -> float:
    """Water at 1500 kPa [m3/m3]. Source: Saxton & Rawls 2006 eq. 1."""
    first = (
        -0.024 * sand
        + 0.487 * clay
        + 0.006 * organic
        + 0.005 * sand * organic
        - 0.013 * clay * organic
        + 0.068 * sand * clay
        + 0.031
    )
    return first + 0.14 * first - 0.02


def _field_capacity(sand: float, clay: float, organic: float) -> float:
    """Water at 33 kPa [m3/m3]. Source: Saxton & Rawls 2006 eq. 2."""
    first = (
        -0.251 * sand
        + 0.195 * clay
        + 0.011 * organic
        + 0.006 * sand * organic
        - 0.027 * clay * organic
        + 0.452 * sand * clay
        + 0.299
    )
    return first + 1.283 * first * first - 0.374 * first - 0.015


def _freely_drained(sand: float, clay: float, organic: float) -> float:
    """Water between saturation and 33 kPa [m3/m3]. Source: Saxton & Rawls 2006 eq. 3."""
    first = (
        0.278 * sand
        + 0.034 * clay
        + 0.022 * organic
        - 0.018 * sand * organic
        - 0.027 * clay * organic
        - 0.584 * sand * clay
        + 0.078
    )
    return first + 0.636 * first - 0.107


def _air_entry(sand: float, clay: float, drained: float) -> float:
    """Tension at which air enters [kPa]; `drained` is that of eq. 3, before eq. 5 adds to it.

    Source: Saxton & Rawls 2006 eq. 4.
    """
    first = (
        -21.67 * sand
        - 27.93 * clay
        - 81.97 * drained
        + 71.12 * sand * drained
        + 8.29 * clay * drained
        + 14.05 * sand * clay
        + 27.16
    )
    entry = first + 0.02 * first * first - 0.113 * first - 0.70
    return _within(entry, AIR_ENTRY_LEAST_KPA, FIELD_CAPACITY_KPA)


def saxton_rawls(
    sand_frac: float, clay_frac: float, organic_pct: float = ORGANIC_MATTER_PCT
) -> SoilHydraulics:
    """A soil's water from its texture.

    Args:
        sand_frac: by weight, taken as 0..1.
        clay_frac: by weight, taken as 0..0.60, the fitted range.
        organic_pct: organic matter [% by weight], taken as 0..8, the fitted range.

    Returns:
        Field capacity (33 kPa), wilting point, saturation [m3/m3], conductivity [mm/h], B [-] and
        the air-entry tension [kPa], 0.1..33.

    Source: Saxton & Rawls 2006 eq. 1-5, 15, 16, from memory; their class values come out.
    """
    sand = _within(sand_frac, 0.0, 1.0)
    clay = _within(clay_frac, 0.0, CLAY_MOST_FRAC)
    organic = _within(organic_pct, 0.0, ORGANIC_MOST_PCT)
    dry = max(DRIEST_M3_M3, _wilting_point(sand, clay, organic))
    full = max(dry + DRIEST_M3_M3, _field_capacity(sand, clay, organic))
    drained = _freely_drained(sand, clay, organic)
    saturated = max(full + DRIEST_M3_M3, full + drained - 0.097 * sand + 0.043)
    b = math.log(WILTING_KPA / FIELD_CAPACITY_KPA) / math.log(full / dry)
    return SoilHydraulics(
        field_capacity_m3_m3=full,
        wilting_point_m3_m3=dry,
        saturation_m3_m3=saturated,
        ks_mm_h=1930.0 * math.pow(saturated - full, 3.0 - 1.0 / b),
        b=b,
        air_entry_kpa=_air_entry(sand, clay, drained),
    )


CLASSES: Mapping[str, SoilHydraulics] = MappingProxyType(
    {name: saxton_rawls(sand, clay) for name, (sand, clay) in CENTROIDS_FRAC.items()}
)


def soil_class(name: str) -> SoilHydraulics:
    """A texture class's water at 2.5 % organic matter.

    Args:
        name: one of `CLASSES`, as "sandy loam".

    Returns:
        The class.

    Raises:
        KeyError: where the class is not known.

    Source: Saxton & Rawls 2006.
    """
    return CLASSES[name]


def tension_kpa(soil: SoilHydraulics, theta_m3_m3: float) -> float:
    """Tension at a water content.

    Args:
        soil: the soil.
        theta_m3_m3: water content [m3/m3].

    Returns:
        Tension [kPa]: 0 at saturation, straight from the air entry's to 33 kPa, then the power law
        to 1500 kPa and beyond it carried on to 1e6.

    Source: Saxton & Rawls 2006 eq. 11 to 13.
    """
    full, saturated = soil.field_capacity_m3_m3, soil.saturation_m3_m3
    if theta_m3_m3 >= saturated:
        return 0.0
    if theta_m3_m3 > full:
        share = (theta_m3_m3 - full) / (saturated - full)
        return FIELD_CAPACITY_KPA - share * (FIELD_CAPACITY_KPA - soil.air_entry_kpa)
    theta = max(theta_m3_m3, DRIEST_M3_M3)
    power = soil.b * math.log(full / theta)
    if power > math.log(TENSION_MOST_KPA / FIELD_CAPACITY_KPA):
        return TENSION_MOST_KPA
    return FIELD_CAPACITY_KPA * math.pow(full / theta, soil.b)


def theta_at_m3_m3(soil: SoilHydraulics, tension: float) -> float:
    """Water content at a tension, the inverse of `tension_kpa`.

    Args:
        soil: the soil.
        tension: [kPa], taken as 0..1e6.

    Returns:
        Water content [m3/m3]; saturated up to the air-entry tension.

    Source: Saxton & Rawls 2006 eq. 11 to 13.
    """
    pull = _within(tension, 0.0, TENSION_MOST_KPA)
    full, saturated = soil.field_capacity_m3_m3, soil.saturation_m3_m3
    if pull <= soil.air_entry_kpa:
        return saturated
    if pull < FIELD_CAPACITY_KPA:
        share = (FIELD_CAPACITY_KPA - pull) / (FIELD_CAPACITY_KPA - soil.air_entry_kpa)
        return full + share * (saturated - full)
    return full * math.pow(FIELD_CAPACITY_KPA / pull, 1.0 / soil.b)


def conductivity_mm_h(soil: SoilHydraulics, theta_m3_m3: float) -> float:
    """Hydraulic conductivity of a soil that is not saturated.

    Args:
        soil: the soil.
        theta_m3_m3: water content [m3/m3].

    Returns:
        K [mm/h], 0..Ks.

    Source: Saxton & Rawls 2006 eq. 17.
    """
    share = _within(theta_m3_m3 / soil.saturation_m3_m3, 0.0, 1.0)
    return soil.ks_mm_h * math.pow(share, 3.0 + 2.0 * soil.b)


class VanGenuchten(NamedTuple):
    """Parameters of van Genuchten's curve: water contents [m3/m3], alpha, n [-] and Ks."""

    residual_m3_m3: float
    saturation_m3_m3: float
    alpha_per_cm: float
    n: float
    ks_cm_d: float


# Class means of Carsel & Parrish 1988, read from the data of an open-source library that cites it.
CARSEL_PARRISH: Mapping[str, VanGenuchten] = MappingProxyType(
    {
        "sand": VanGenuchten(0.045, 0.43, 0.145, 2.68, 712.8),
        "loamy sand": VanGenuchten(0.057, 0.41, 0.125, 2.28, 350.2),
        "sandy loam": VanGenuchten(0.065, 0.41, 0.075, 1.89, 106.1),
        "loam": VanGenuchten(0.078, 0.43, 0.036, 1.56, 24.96),
        "silt": VanGenuchten(0.034, 0.46, 0.016, 1.37, 6.0),
        "silt loam": VanGenuchten(0.067, 0.45, 0.020, 1.41, 10.8),
        "sandy clay loam": VanGenuchten(0.100, 0.39, 0.059, 1.48, 31.44),
        "clay loam": VanGenuchten(0.095, 0.41, 0.019, 1.31, 6.24),
        "silty clay loam": VanGenuchten(0.089, 0.43, 0.010, 1.23, 1.68),
        "sandy clay": VanGenuchten(0.100, 0.38, 0.027, 1.23, 2.88),
        "silty clay": VanGenuchten(0.070, 0.36, 0.005, 1.09, 0.48),
        "clay": VanGenuchten(0.068, 0.38, 0.008, 1.09, 4.8),
    }
)


def _saturation_share(curve: VanGenuchten, tension: float) -> float:
    """Effective saturation Se [-] at a tension [kPa], 0..1."""
    head_cm = CM_PER_KPA * _within(tension, 0.0, TENSION_MOST_KPA)
    return math.pow(1.0 + math.pow(curve.alpha_per_cm * head_cm, curve.n), 1.0 / curve.n - 1.0)


def van_genuchten_theta_m3_m3(curve: VanGenuchten, tension: float) -> float:
    """Water content at a tension.

    Args:
        curve: the soil.
        tension: [kPa], taken as 0..1e6.

    Returns:
        Water content [m3/m3].

    Source: van Genuchten 1980.
    """
    span = curve.saturation_m3_m3 - curve.residual_m3_m3
    theta = curve.residual_m3_m3 + span * _saturation_share(curve, tension)
    return min(theta, curve.saturation_m3_m3)  # the sum can round above it


def van_genuchten_tension_kpa(curve: VanGenuchten, theta_m3_m3: float) -> float:
    """Tension at a water content, the inverse of `van_genuchten_theta_m3_m3`.

    Args:
        curve: the soil.
        theta_m3_m3: water content [m3/m3].

    Returns:
        Tension [kPa], 0 at saturation, at most 1e6.

    Source: van Genuchten 1980.
    """
    span = curve.saturation_m3_m3 - curve.residual_m3_m3
    share = min(1.0, (theta_m3_m3 - curve.residual_m3_m3) / span)
    if not share > _saturation_share(curve, TENSION_MOST_KPA):
        return TENSION_MOST_KPA
    m = 1.0 - 1.0 / curve.n
    return (
        math.pow(max(0.0, math.pow(share, -1.0 / m) - 1.0), 1.0 / curve.n)
        / curve.alpha_per_cm
        / CM_PER_KPA
    )


def van_genuchten_conductivity_cm_d(curve: VanGenuchten, tension: float) -> float:
    """Hydraulic conductivity at a tension.

    Args:
        curve: the soil.
        tension: [kPa], taken as 0..1e6.

    Returns:
        K [cm/d], 0..Ks.

    Source: van Genuchten 1980 with Mualem's pore model, l = 0.5.
    """
    share = _saturation_share(curve, tension)
    m = 1.0 - 1.0 / curve.n
    inner = max(0.0, 1.0 - math.pow(share, 1.0 / m))
    return curve.ks_cm_d * math.pow(share, 0.5) * math.pow(1.0 - math.pow(inner, m), 2.0)


def topp_theta_m3_m3(permittivity: float) -> float:
    """Water content of a mineral soil from its permittivity; not for peat or potting mix.

    Args:
        permittivity: apparent relative permittivity [-], taken as 1 (air) to 81 (water).

    Returns:
        Water content [m3/m3], 0 or more; fitted below 0.5.

    Source: Topp, Davis & Annan 1980 eq. 7, from memory.
    """
    k = _within(permittivity, 1.0, 81.0)
    return max(0.0, -0.053 + k * (0.0292 + k * (-5.5e-4 + k * 4.3e-6)))
