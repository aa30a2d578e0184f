"""The soil strip's measures: from instants and depletions to px of its box, and what lies ahead.

Units: px of a box 380 wide; instants as Unix seconds; depletion as a share of the water that a bed
holds.
"""

from __future__ import annotations

from dataclasses import dataclass

WIDE = 380.0  # px of the box
TOP = 34.0  # the plot's head; above it the sky, where rain hangs
BOTTOM = 150.0  # the plot's foot
LINE_NAME_PX = 84.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """What is so now and expected: the line, the bed, its running water, its next window."""

    line_frac: float | None
    from_utc_s: float | None = None
    to_utc_s: float | None = None
    later: str = ""  # what stands behind the window's end where that is open
    words: str = ""
    now_frac: float | None = None  # depletion now, fresher than the record's last row
    running_l: float = 0.0  # given so far by the watering under way


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """From instants and depletions to px."""

    first_utc_s: float
    now_utc_s: float
    last_utc_s: float
    deepest_frac: float

    def x(self, utc_s: float) -> float:
        """Px from the left."""
        return WIDE * (utc_s - self.first_utc_s) / (self.last_utc_s - self.first_utc_s)

    @property
    def line_named_right(self) -> bool:
        """Whether the thirst line has its name in the time ahead; else at the left edge."""
        return WIDE - self.x(self.now_utc_s) > LINE_NAME_PX

    def y(self, depletion_frac: float) -> float:
        """Px from the top."""
        share = min(1.0, max(0.0, depletion_frac / self.deepest_frac))
        return TOP + (BOTTOM - TOP) * share
