"""Soil classes without a laboratory: by a ribbon between the fingers, or by layers in a jar.

Pure. Stones are left out of both; soils with much humus feel finer than they are.

Sources: the ribbon is the key of Thien 1979 (J. Agron. Educ. 8:54-55), which the USDA NRCS hands
out as its guide to texture by feel: from memory. The jar's three marks (1 minute, 2 hours, 48
hours) are those of American extension services (Colorado State, Clemson). The limits of the twelve
classes are the USDA Soil Survey Manual's: from memory.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

from controller.garden_parts import SoilName

Rubbed = Literal["gritty", "smooth", "neither"]

LONGEST_RIBBON_CM = 30.0
SHORT_CM, LONG_CM = 2.5, 5.0  # [cm] ribbons up to and past these, Thien 1979: from memory
RIBBON: Mapping[tuple[int, str], SoilName] = MappingProxyType(
    {
        (0, "gritty"): "sandy loam",
        (0, "smooth"): "silt loam",
        (0, "neither"): "loam",
        (1, "gritty"): "sandy clay loam",
        (1, "smooth"): "silty clay loam",
        (1, "neither"): "clay loam",
        (2, "gritty"): "sandy clay",
        (2, "smooth"): "silty clay",
        (2, "neither"): "clay",
    }
)


def by_ribbon(ribbon_cm: float, rubbed: Rubbed, *, ball: bool = True) -> SoilName:
    """Name a soil by its ribbon.

    Args:
        ribbon_cm: how long it gets before it breaks by its own weight [cm]; 0: it forms none.
        rubbed: how a very wet pinch feels when rubbed in the palm.
        ball: whether a moist handful stays together when squeezed.
    """
    if not ball:
        return "sand"
    if ribbon_cm <= 0.0:
        return "loamy sand"
    step = 0 if ribbon_cm < SHORT_CM else 1 if ribbon_cm <= LONG_CM else 2
    return RIBBON[step, rubbed]


def by_jar(sand: float, silt: float, clay: float) -> SoilName:
    """Name a soil by the thickness of its layers in a jar.

    Args:
        sand: what had settled after one minute, in any unit of length.
        silt: what came on top of it within two hours, in the same unit.
        clay: what came on top of that within two days.

    Returns:
        The class. Layers are volumes and classes are weights: good to a neighbouring class.

    Raises:
        ValueError: there is no soil, or a layer is no length.
    """
    layers = (sand, silt, clay)
    total = sum(layers)
    if not all(math.isfinite(layer) and layer >= 0.0 for layer in layers) or total <= 0.0:
        msg = "three thicknesses of 0 or more, not all 0, are needed"
        raise ValueError(msg)
    return by_shares(100.0 * sand / total, 100.0 * clay / total)


def by_shares(sand_pct: float, clay_pct: float) -> SoilName:
    """Name the USDA class of a soil of so much sand and clay [% by weight], the rest being silt."""
    silt_pct = 100.0 - sand_pct - clay_pct
    if silt_pct + 1.5 * clay_pct < 15.0:
        return "sand"
    if silt_pct + 2.0 * clay_pct < 30.0:
        return "loamy sand"
    if clay_pct >= 27.0:
        return _clayey(sand_pct, silt_pct, clay_pct)
    if clay_pct >= 20.0 and silt_pct < 28.0 and sand_pct > 45.0:
        return "sandy clay loam"
    if silt_pct >= 80.0 and clay_pct < 12.0:
        return "silt"
    if silt_pct >= 50.0:
        return "silt loam"
    if clay_pct >= 7.0 and silt_pct >= 28.0 and sand_pct <= 52.0:
        return "loam"
    return "sandy loam"


def _clayey(sand_pct: float, silt_pct: float, clay_pct: float) -> SoilName:
    if clay_pct >= 35.0 and sand_pct > 45.0:
        return "sandy clay"
    if clay_pct >= 40.0:
        return "silty clay" if silt_pct >= 40.0 else "clay"
    if sand_pct > 45.0:
        return "sandy clay loam"
    return "clay loam" if sand_pct > 20.0 else "silty clay loam"
