"""The cheapest way to water one bed when all is known: dynamic programming over its nights.

Scale: one bed. A night's position is the depletion foretold for its dawn if no water were given, as
a fraction of the available water (0 full, 1 wilting). A dose moves it to a lower position at once;
the bed's bucket says where the next night then begins. Costs are millimetres over the strip.

First come the fewest dawns past the floor, then the least water, with an end no drier than asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller.watering.policy import REFILL_TO_FRAC

DAWN_COST_MM = 1e5  # [mm] a dawn past the floor: more than any season's water
END_COST = 20.0  # [-] a millimetre too dry at the end costs this many; ours
WETTEST_FRAC, DRIEST_FRAC = -0.10, 1.0
GRID_FRAC = 0.005
TINY = 1e-9
GRID = tuple(
    WETTEST_FRAC + i * GRID_FRAC for i in range(round((DRIEST_FRAC - WETTEST_FRAC) / GRID_FRAC) + 1)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """One night and the day after it, as a bed's bucket knows them.

    Attributes:
        taw_mm: available water at this dawn, over the strip.
        line_frac: thirst line of this evening's stage; infinite where no water may be given.
        floor_frac: floor that this dawn is held against; infinite where none is counted.
        smallest_frac: the smallest dose.
        next_frac: for each position of the grid at this dawn, that of the next night.
    """

    taw_mm: float
    line_frac: float
    floor_frac: float
    smallest_frac: float
    next_frac: tuple[float, ...]


class Plan:
    """What to do in each night from each position.

    Args:
        nights: in order, one at least; the last one's `next_frac` is not read.
        end_frac: the season shall end no drier than this.
        grid: positions, rising by equal steps.
    """

    def __init__(
        self, nights: Sequence[Night], end_frac: float, grid: tuple[float, ...] = GRID
    ) -> None:
        self._nights = nights
        self._grid = grid
        self._step_frac = grid[1] - grid[0]
        self._after: list[list[float]] = [[] for _ in nights]  # [mm] to come from each dawn on
        taw_mm = nights[-1].taw_mm
        after = [END_COST * taw_mm * max(0.0, x - end_frac) for x in grid]
        for n in range(len(nights) - 1, -1, -1):
            floor_frac = nights[n].floor_frac
            for i, x in enumerate(grid):
                if x > floor_frac + TINY:
                    after[i] += DAWN_COST_MM
            self._after[n] = after
            self._first = self._before(n)
            if n:
                after = [self._at(self._first, s) for s in nights[n - 1].next_frac]

    def _before(self, n: int) -> list[float]:
        """The least cost from each position of a night, before its decision [mm]."""
        night, after, grid = self._nights[n], self._after[n], self._grid
        # the best target up to each position: its cost to come, less the water it lacks
        best_mm = float("inf")
        targets: list[float] = []
        for x, to_come in zip(grid, after, strict=True):
            if x >= REFILL_TO_FRAC - TINY:
                best_mm = min(best_mm, to_come - x * night.taw_mm)
            targets.append(best_mm)
        least = list(after)
        apart = round(night.smallest_frac / self._step_frac)
        for i in range(apart, len(grid)):
            s = grid[i]
            watered = s * night.taw_mm + targets[i - apart]
            if watered < least[i] and self._allowed(n, s):
                least[i] = watered
        return least

    def _allowed(self, n: int, s: float) -> bool:
        """Whether water may be given from a position: at the line, or with the floor a day off."""
        night = self._nights[n]
        if s >= night.line_frac - TINY or s > night.floor_frac + TINY:
            return True
        if n + 1 == len(self._nights):
            return False
        return self._at(night.next_frac, s) > self._nights[n + 1].floor_frac + TINY

    def _at(self, values: Sequence[float], x: float) -> float:
        """A value between the grid's positions, straight; its ends beyond them."""
        place = (x - self._grid[0]) / self._step_frac
        if not place > 0.0:
            return values[0]
        i = int(place + TINY)
        if i >= len(values) - 1:
            return values[-1]
        part = place - i
        return values[i] if part < TINY else values[i] + part * (values[i + 1] - values[i])

    def cost_mm(self, s: float) -> float:
        """The least cost of the whole season from a position of its first night [mm]."""
        return self._at(self._first, s)

    def dose_frac(self, n: int, s: float) -> float:
        """What to give in a night.

        Args:
            n: number of the night, from 0.
            s: the position in truth.

        Returns:
            The dose as a fraction of the available water; 0 = wait.
        """
        if not self._allowed(n, s):
            return 0.0
        night, after = self._nights[n], self._after[n]
        least, dose = self._at(after, s), 0.0
        for x, to_come in zip(self._grid, after, strict=True):
            given = s - x
            if x < REFILL_TO_FRAC - TINY or given < night.smallest_frac - TINY:
                continue
            cost = given * night.taw_mm + to_come
            if cost < least - TINY:
                least, dose = cost, given
        return dose
