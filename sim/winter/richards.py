"""An exact yardstick for the simulated soil: Richards' equation in one dimension.

The mixed form of Celia, Bouloutas & Zarba 1990 (Water Resour. Res. 26:1483, from memory): storage
is the change of content itself, not capacity times the change of head, so that a step makes or
loses no water however long it is; each step is iterated (modified Picard) and its length follows
how hard that was. Cells of equal height; conductivity at a face is the mean of its neighbours'.
Slow and fine, it judges `sim.soil_column`, which is fast and coarse; seasons never run on it.

Units: mm and hours; head h in mm of water, negative where the soil is drier than saturated; depth
and flows count downwards. Needs numpy and scipy (extra `winter`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

from sim.soil_curve import MM_PER_KPA, Curve

Cells = NDArray[np.float64]

TOLERANCE_MM = 1e-3  # [mm] of head, where an iteration ends (beside 1e-6 of the head itself)
THETA_TOLERANCE = 1e-9  # [m3/m3] the same for content
MOST_ITERATIONS = 25
FEW, MANY = 6, 12  # iterations: fewer lengthen the next step, more shorten it
LONGER, SHORTER = 1.3, 0.6
THETA_STEP = 0.01  # [m3/m3] no cell changes by more in a step, for accuracy
SHORTEST_H = 1e-10


class Soil(Protocol):
    """Retention and conductivity as functions of the head [mm]."""

    def theta_m3_m3(self, head_mm: Cells) -> Cells:
        """Content [m3/m3]."""

    def capacity_per_mm(self, head_mm: Cells) -> Cells:
        """Its slope with the head [1/mm]."""

    def conductivity_mm_h(self, head_mm: Cells) -> Cells:
        """Conductivity [mm/h]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VanGenuchten:
    """Van Genuchten 1980 with Mualem's conductivity (from memory).

    Args:
        theta_r_m3_m3: residual content [m3/m3].
        theta_s_m3_m3: content at saturation [m3/m3].
        alpha_per_mm: [1/mm].
        n: above 1 [-].
        ks_mm_h: conductivity at saturation [mm/h].
        pore: Mualem's exponent l [-].
    """

    theta_r_m3_m3: float
    theta_s_m3_m3: float
    alpha_per_mm: float
    n: float
    ks_mm_h: float
    pore: float = 0.5

    def _share(self, head_mm: Cells) -> Cells:
        wet = self.alpha_per_mm * np.maximum(-head_mm, 0.0)
        return np.asarray((1.0 + wet**self.n) ** -(1.0 - 1.0 / self.n))

    def theta_m3_m3(self, head_mm: Cells) -> Cells:
        """Content [m3/m3]."""
        room = self.theta_s_m3_m3 - self.theta_r_m3_m3
        return self.theta_r_m3_m3 + room * self._share(head_mm)

    def capacity_per_mm(self, head_mm: Cells) -> Cells:
        """Slope of the content [1/mm]; 0 where saturated."""
        m = 1.0 - 1.0 / self.n
        wet = self.alpha_per_mm * np.maximum(-head_mm, 0.0)
        room = self.theta_s_m3_m3 - self.theta_r_m3_m3
        slope = room * m * self.n * self.alpha_per_mm * wet ** (self.n - 1.0)
        return np.asarray(slope * (1.0 + wet**self.n) ** -(m + 1.0))

    def conductivity_mm_h(self, head_mm: Cells) -> Cells:
        """Conductivity [mm/h]."""
        m = 1.0 - 1.0 / self.n
        share = self._share(head_mm)
        return np.asarray(
            self.ks_mm_h * share**self.pore * (1.0 - (1.0 - share ** (1.0 / m)) ** m) ** 2
        )


@dataclass(frozen=True, slots=True)
class Campbell:
    """The simulated soil's own curve (`sim.soil_curve`), so that both are asked the same thing."""

    curve: Curve

    def _share(self, head_mm: Cells) -> Cells:
        entry_mm = self.curve.entry_tension_kpa * MM_PER_KPA
        return np.asarray((np.maximum(-head_mm, entry_mm) / entry_mm) ** (-1.0 / self.curve.b))

    def theta_m3_m3(self, head_mm: Cells) -> Cells:
        """Content [m3/m3]."""
        return self.curve.theta_s_m3_m3 * self._share(head_mm)

    def capacity_per_mm(self, head_mm: Cells) -> Cells:
        """Slope of the content [1/mm]; 0 wetter than the entry tension."""
        entry_mm = self.curve.entry_tension_kpa * MM_PER_KPA
        dry_mm = np.maximum(-head_mm, entry_mm)
        slope = self.theta_m3_m3(head_mm) / (self.curve.b * dry_mm)
        return np.where(-head_mm > entry_mm, slope, 0.0)

    def conductivity_mm_h(self, head_mm: Cells) -> Cells:
        """Conductivity [mm/h], capped as the curve's is."""
        power = self._share(head_mm) ** (2.0 * self.curve.b + 3.0)
        return np.minimum(self.curve.k_cap_mm_h, self.curve.ks_mm_h * power)

    def head_mm(self, theta_m3_m3: float) -> float:
        """Head at a content [mm]."""
        return -self.curve.tension_kpa(theta_m3_m3) * MM_PER_KPA


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """What holds above and below.

    Args:
        top_mm_h: flow into the soil [mm/h], negative = evaporation.
        wettest_mm: head at which the surface ponds: it takes no more than it can there [mm].
        driest_mm: head that the air leaves at the surface: no more evaporates than rises [mm].
        top_head_mm: the surface is held at this head instead [mm].
        bottom_head_mm: the floor is held at this head [mm]; None = free drainage (unit gradient).
        bottom_gives: water also rises from a floor that is held; False: it only takes.
    """

    top_mm_h: float = 0.0
    wettest_mm: float = 0.0
    driest_mm: float = -1.0e5
    top_head_mm: float | None = None
    bottom_head_mm: float | None = None
    bottom_gives: bool = True


@dataclass(slots=True)
class Richards:
    """A column of soil and what has passed through its ends.

    Args:
        soil: the curves.
        cell_mm: height of a cell [mm].
        head_mm: head of each cell from the top down [mm]; changed in place.
        conservative: False takes capacity times the change of head for the storage. Kept only to
            show why that must not be done: it loses water.
    """

    soil: Soil
    cell_mm: float
    head_mm: Cells
    conservative: bool = True
    entered_mm: float = 0.0
    drained_mm: float = 0.0
    steps: int = 0
    _start_mm: float = field(init=False)

    def __post_init__(self) -> None:
        self._start_mm = self.stored_mm()

    def theta_m3_m3(self) -> Cells:
        """Content of each cell [m3/m3]."""
        return self.soil.theta_m3_m3(self.head_mm)

    def stored_mm(self) -> float:
        """Water in the column [mm]."""
        return float(self.theta_m3_m3().sum()) * self.cell_mm

    def mass_ratio(self) -> float:
        """Water gained over water that came in less what left [-]: 1 where none is made or lost."""
        return (self.stored_mm() - self._start_mm) / (self.entered_mm - self.drained_mm)

    def mass_error_mm(self) -> float:
        """Water that came in less what left and what is stored since the start [mm]."""
        return self.entered_mm - self.drained_mm - (self.stored_mm() - self._start_mm)

    def run(
        self, hours: float, ends: Ends, *, step_h: float = 1e-3, longest_h: float = 1.0
    ) -> None:
        """Carry the column through a stretch.

        Args:
            hours: its length [h].
            ends: what holds above and below meanwhile.
            step_h: the first step tried [h].
            longest_h: no step is longer [h]; equal to `step_h`, all are, where they converge.

        Raises:
            ArithmeticError: no step, however short, converges.
        """
        left_h = hours
        while left_h > SHORTEST_H:
            part_h = min(step_h, left_h, longest_h)
            found = self._step(part_h, ends)
            if found is None:
                step_h = part_h * SHORTER / 2.0
                if step_h < SHORTEST_H:
                    said = f"no step down to {SHORTEST_H:g} h converges"
                    raise ArithmeticError(said)
                continue
            left_h -= part_h
            if found <= FEW:
                step_h = max(step_h, part_h) * LONGER
            elif found > MANY:
                step_h = part_h * SHORTER

    def _step(self, hours: float, ends: Ends) -> int | None:
        """One implicit step; how many iterations it took, None where it was too long."""
        before = self.theta_m3_m3()
        head = self.head_mm.copy()
        count = 0
        while True:
            count += 1
            if count > MOST_ITERATIONS:
                return None
            change, top, bottom = self._picard(head, before, hours, ends)
            head = head + change
            if not np.isfinite(head).all():
                return None
            if np.abs(change).max() <= TOLERANCE_MM + 1e-6 * np.abs(head).max():
                break
        after = self.soil.theta_m3_m3(head)
        if np.abs(after - before).max() > THETA_STEP and self.conservative:
            return None
        self.head_mm = head
        self.entered_mm += top(head[0]) * hours
        self.drained_mm += bottom(head[-1]) * hours
        self.steps += 1
        return count

    def _picard(
        self, head: Cells, before: Cells, hours: float, ends: Ends
    ) -> tuple[Cells, Callable[[float], float], Callable[[float], float]]:
        """The next change of the heads, and the flows through both ends as lines of their cell."""
        k = self.soil.conductivity_mm_h(head)
        capacity = self.soil.capacity_per_mm(head)
        faces = 0.5 * (k[1:] + k[:-1])
        links = faces / self.cell_mm
        flows = faces - links * np.diff(head)
        top_flow, top_slope = self._top(head[0], k[0], ends)
        floor_flow, floor_slope = self._floor(head[-1], k[-1], ends)
        incoming = np.concatenate(([top_flow], flows))
        outgoing = np.concatenate((flows, [floor_flow]))
        if self.conservative:
            stored = (self.soil.theta_m3_m3(head) - before) * self.cell_mm / hours
        else:
            stored = capacity * (head - self.head_mm) * self.cell_mm / hours
        bands = np.zeros((3, head.size))
        bands[1] = capacity * self.cell_mm / hours
        bands[1, 1:] += links
        bands[1, :-1] += links
        bands[1, 0] += top_slope
        bands[1, -1] += floor_slope
        bands[0, 1:] = bands[2, :-1] = -links
        change = solve_banded((1, 1), bands, incoming - outgoing - stored)
        first, last = float(head[0]), float(head[-1])
        return (
            change,
            lambda now: top_flow - top_slope * (now - first),
            lambda now: floor_flow + floor_slope * (now - last),
        )

    def _top(self, head_mm: float, k_mm_h: float, ends: Ends) -> tuple[float, float]:
        """Flow into the first cell [mm/h], and how it falls as that cell's head rises [1/h]."""
        if ends.top_head_mm is not None:
            return self._held(ends.top_head_mm, head_mm, k_mm_h)
        wettest, slope = self._held(ends.wettest_mm, head_mm, k_mm_h)
        if ends.top_mm_h > wettest:
            return wettest, slope
        if ends.top_mm_h < 0.0:
            rising, slope = self._held(ends.driest_mm, head_mm, k_mm_h)
            if ends.top_mm_h < rising:
                return min(0.0, rising), slope if rising < 0.0 else 0.0
        return ends.top_mm_h, 0.0

    def _held(self, surface_mm: float, head_mm: float, k_mm_h: float) -> tuple[float, float]:
        at_mm_h = float(self.soil.conductivity_mm_h(np.array([surface_mm]))[0])
        k = 0.5 * (at_mm_h + k_mm_h)
        link = 2.0 * k / self.cell_mm
        return k - link * (head_mm - surface_mm), link

    def _floor(self, head_mm: float, k_mm_h: float, ends: Ends) -> tuple[float, float]:
        """Flow out of the last cell [mm/h], and how it grows as that cell's head rises [1/h]."""
        if ends.bottom_head_mm is None:
            return k_mm_h, 0.0
        at_mm_h = float(self.soil.conductivity_mm_h(np.array([ends.bottom_head_mm]))[0])
        k = 0.5 * (at_mm_h + k_mm_h)
        link = 2.0 * k / self.cell_mm
        out = k - link * (ends.bottom_head_mm - head_mm)
        return (out, link) if out > 0.0 or ends.bottom_gives else (0.0, 0.0)
