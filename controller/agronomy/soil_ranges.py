"""What soils of a texture hold, as ranges: FAO-56 table 19.

Scale: a point in the soil. For the same name Saxton & Rawls and the class means of Carsel & Parrish
give one number each, and not the same; the ranges say how far a bed may lie from either. They are
for telling a grower what is usual, never for setting a bed's own two points.

Source: FAO-56 table 19; TEW there is for 0.10 m of surface.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

Range = tuple[float, float]


class SoilRanges(NamedTuple):
    """Lowest and highest of a texture: water contents [m3/m3] and evaporable water [mm]."""

    field_capacity_m3_m3: Range
    wilting_point_m3_m3: Range
    available_m3_m3: Range
    rew_mm: Range
    tew_mm: Range


TABLE_19: Mapping[str, SoilRanges] = MappingProxyType(
    {
        "sand": SoilRanges((0.07, 0.17), (0.02, 0.07), (0.05, 0.11), (2.0, 7.0), (6.0, 12.0)),
        "loamy sand": SoilRanges((0.11, 0.19), (0.03, 0.10), (0.06, 0.12), (4.0, 8.0), (9.0, 14.0)),
        "sandy loam": SoilRanges(
            (0.18, 0.28), (0.06, 0.16), (0.11, 0.15), (6.0, 10.0), (15.0, 20.0)
        ),
        "loam": SoilRanges((0.20, 0.30), (0.07, 0.17), (0.13, 0.18), (8.0, 10.0), (16.0, 22.0)),
        "silt loam": SoilRanges(
            (0.22, 0.36), (0.09, 0.21), (0.13, 0.19), (8.0, 11.0), (18.0, 25.0)
        ),
        "silt": SoilRanges((0.28, 0.36), (0.12, 0.22), (0.16, 0.20), (8.0, 11.0), (22.0, 26.0)),
        "silty clay loam": SoilRanges(
            (0.30, 0.37), (0.17, 0.24), (0.13, 0.18), (8.0, 11.0), (22.0, 27.0)
        ),
        "silty clay": SoilRanges(
            (0.30, 0.42), (0.17, 0.29), (0.13, 0.19), (8.0, 12.0), (22.0, 28.0)
        ),
        "clay": SoilRanges((0.32, 0.40), (0.20, 0.24), (0.12, 0.20), (8.0, 12.0), (22.0, 29.0)),
    }
)


def usual(name: str) -> SoilRanges | None:
    """The ranges of a texture class.

    Args:
        name: a class, as "sandy loam".

    Returns:
        Its ranges; None for the three classes that the table leaves out: sandy clay loam, clay
        loam and sandy clay.

    Source: FAO-56 table 19.
    """
    return TABLE_19.get(name)
