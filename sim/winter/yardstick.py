"""How far the fast column is from Richards' equation where a garden uses it.

`python -m sim.winter.yardstick` prints every moment of the table in DEVELOPERS.md: the same curve,
start, water and floor for both; the column in a garden's ten layers, Richards in cells of 5 mm.
Root depth 0.6 m under a strip, no side, no roots.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sim.soil_column import SoilColumn
from sim.soil_curve import MM_PER_KPA
from sim.soil_making import GardenSoil, from_field_capacity
from sim.winter.richards import Campbell, Cells, Ends, Richards

CELL_MM = 5.0
ROOT_DEPTH_M = 0.6
WATERED_H = 6.0
SOAKED_FRAC = 0.97  # of saturation: where a soak begins, so that both have something to conduct
STEP_H = 1.0 / 6.0  # of the column, as in a season
SOILS = {  # field capacity, wilting point, saturation; the class table's middles
    "loam": (0.28, 0.14, 0.46),
    "silt loam": (0.31, 0.13, 0.48),
    "sandy loam": (0.18, 0.08, 0.45),
}
CASES = ("soak", "refill", "refill + 30 %")


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One moment of one case.

    Args:
        soil: its name.
        case: one of `CASES`.
        hours: since it began [h].
        column_m3_m3: mean content of the root zone by the column [m3/m3].
        richards_m3_m3: the same by Richards' equation.
        column_below_mm: passed below the roots since the beginning, negative = risen [mm].
        richards_below_mm: the same.
    """

    soil: str
    case: str
    hours: float
    column_m3_m3: float
    richards_m3_m3: float
    column_below_mm: float
    richards_below_mm: float

    @property
    def content_off_m3_m3(self) -> float:
        """Column less Richards [m3/m3]."""
        return self.column_m3_m3 - self.richards_m3_m3

    @property
    def below_off_mm(self) -> float:
        """Column less Richards [mm]."""
        return self.column_below_mm - self.richards_below_mm


class _Both:
    """One soil under both, from the same start."""

    def __init__(self, soil: GardenSoil, root_m3_m3: float, below_m3_m3: float) -> None:
        layers = soil.thickness_mm
        zone = soil.zone_layers
        theta = (root_m3_m3,) * zone + (below_m3_m3,) * (len(layers) - zone)
        self._cells = round(sum(layers) / CELL_MM)
        self._zone = round(sum(layers[:zone]) / CELL_MM)
        curve = Campbell(soil.curve)
        heads = np.full(self._cells, curve.head_mm(below_m3_m3))
        heads[: self._zone] = curve.head_mm(root_m3_m3)
        self.column: SoilColumn = soil.column(theta)
        self.richards = Richards(curve, CELL_MM, heads)
        self._below_mm = self._under(self.richards.theta_m3_m3())
        self._floor_mm = -soil.floor_tension_kpa * MM_PER_KPA

    def _under(self, theta: Cells) -> float:
        return float(theta[self._zone :].sum()) * CELL_MM

    def run(self, hours: float, flow_mm_h: float) -> None:
        """Both through a stretch of steady drip."""
        parts = max(1, round(hours / STEP_H))
        for _ in range(parts):
            self.column.step(hours / parts, irrigation_mm_h=flow_mm_h)
        ends = Ends(top_mm_h=flow_mm_h, bottom_head_mm=self._floor_mm, bottom_gives=False)
        self.richards.run(hours, ends, step_h=1e-4)

    def look(self, soil: str, case: str, hours: float) -> Compared:
        """Both now."""
        theta = self.richards.theta_m3_m3()
        return Compared(
            soil=soil,
            case=case,
            hours=hours,
            column_m3_m3=self.column.root_theta_m3_m3(),
            richards_m3_m3=float(theta[: self._zone].mean()),
            column_below_mm=self.column.below_roots_mm,
            richards_below_mm=self.richards.drained_mm + self._under(theta) - self._below_mm,
        )


def compare(name: str) -> Iterator[Compared]:
    """A soak left alone, a refill from half the available water, and one a third too large.

    Args:
        name: one of `SOILS`.
    """
    capacity, wilting, saturation = SOILS[name]
    soil = from_field_capacity(
        capacity, wilting, saturation_m3_m3=saturation, full_root_depth_m=ROOT_DEPTH_M
    )
    wet = SOAKED_FRAC * saturation
    yield from _lived(_Both(soil, wet, wet), name, "soak", (6.0, 24.0, 48.0, 120.0, 240.0), 0.0)
    dry = (capacity + wilting) / 2.0
    need_mm = (capacity - dry) * ROOT_DEPTH_M * 1000.0
    for case, mm in zip(CASES[1:], (need_mm, 1.3 * need_mm), strict=True):
        both = _Both(soil, dry, capacity)
        yield from _lived(both, name, case, (6.0, 12.0, 24.0, 72.0), mm / WATERED_H)


def _lived(
    both: _Both, name: str, case: str, looks_h: tuple[float, ...], flow_mm_h: float
) -> Iterator[Compared]:
    done_h = 0.0
    for hours in looks_h:
        both.run(hours - done_h, flow_mm_h if hours <= WATERED_H else 0.0)
        done_h = hours
        yield both.look(name, case, hours)


def main() -> None:
    """Print the table."""
    sys.stdout.write(
        "| soil | case | after | root zone: column | Richards | off | below the roots | off |\n"
    )
    sys.stdout.write("|---|---|---|---|---|---|---|---|\n")
    for name in SOILS:
        for one in compare(name):
            sys.stdout.write(
                f"| {name} | {one.case} | {one.hours:.0f} h | {one.column_m3_m3:.4f} |"
                f" {one.richards_m3_m3:.4f} | {one.content_off_m3_m3:+.4f} |"
                f" {one.column_below_mm:+.1f} mm | {one.below_off_mm:+.2f} mm |\n"
            )


if __name__ == "__main__":
    main()
