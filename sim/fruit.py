"""The simulated fruit of one bed: trusses with their days, and what water did to them.

Trusses flower, set and colour by degree-days after transplanting. Two troubles are told as indices,
to compare ways of watering with, not to forecast a harvest: no published threshold for either was
found, so both scales are ours.

- Cracking, an index from 0 up: each day or relief adds 0 to 1 while fruit that has coloured hangs.
  A relief is a fall of the roots' tension within a day; it counts by how dry the soil was and by
  how many times the tension fell, half each at the working limits 60 kPa and 60 to 15 kPa (Peet
  1992, abstract: high soil tension suddenly relieved; the limits are ours). A day in soil wetter
  than field capacity adds a share.
- Blossom-end rot, 0 to 1: mean over the trusses set of how much of the two weeks after their set
  was spent short of water or in saturated soil. Calcium comes with the transpiration stream, so
  both hurt alike (extension pages).

Leaves out: varieties, calcium itself, heat, salt, which truss hangs how high, and picking.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

FIRST_FLOWER_GDD = 300.0  # [°C d] a guess, varies with variety
TRUSS_EVERY_GDD = 75.0  # [°C d] a guess
SET_AFTER_FLOWER_GDD = 100.0  # [°C d] a guess
COLOUR_AFTER_FLOWER_GDD = 500.0  # [°C d] first flower to first colour; a guess
RELIEF_FROM_KPA = (30.0, 120.0)  # [kPa] tension before: counts not at all, fully; ours
RELIEF_FALL = (2.0, 8.0)  # [-] tension before over after: counts not at all, fully; ours
EXCESS_RISK = 0.3  # [-] a whole day far above field capacity is this much of a day's risk; ours
BLOSSOM_END_DAYS = 14  # [d] of cell division after the set; extension pages
SHORT_FULLY_FRAC = 0.5  # [-] of transpiration lost in a day hurts fully; ours


@dataclass(slots=True, kw_only=True)
class Truss:
    """One truss; days count from 0 on the day of transplanting, None = not yet."""

    flower_day: int
    set_day: int | None = None
    colour_day: int | None = None
    hurt_d: float = 0.0
    young_days: int = 0

    @property
    def blossom_end_rot_risk(self) -> float | None:
        """Share of its young days so far that hurt, 0 to 1; None before the first."""
        return self.hurt_d / self.young_days if self.young_days else None


def reached(gdd: float, after_flower_gdd: float) -> int:
    """How many trusses are a number of degree-days past their flower."""
    past = gdd - FIRST_FLOWER_GDD - after_flower_gdd
    return 0 if past < 0.0 else 1 + int(past / TRUSS_EVERY_GDD)


def relief_risk(before_kpa: float, after_kpa: float) -> float:
    """What one fall of the tension at the roots adds to the risk of cracking.

    Args:
        before_kpa: tension before it fell [kPa], above 0.
        after_kpa: tension after [kPa], above 0.

    Returns:
        0 to 1.
    """
    dry = _log_ramp(before_kpa, *RELIEF_FROM_KPA)
    return dry * _log_ramp(before_kpa / after_kpa, *RELIEF_FALL)


def _log_ramp(value: float, begin: float, end: float) -> float:
    return min(1.0, max(0.0, math.log(value / begin) / math.log(end / begin)))


class Fruit:
    """All trusses of a bed's plants, and the indices."""

    __slots__ = ("coloured", "cracking_risk", "trusses")

    def __init__(self) -> None:
        self.trusses: list[Truss] = []
        self.coloured = 0
        self.cracking_risk = 0.0

    def grow(self, day: int, gdd: float) -> None:
        """Let trusses flower, set and colour.

        Args:
            day: today, counted from transplanting [d].
            gdd: degree-days since then [°C d].
        """
        trusses = self.trusses
        while len(trusses) < reached(gdd, 0.0):
            trusses.append(Truss(flower_day=day))
        for truss in trusses[: reached(gdd, SET_AFTER_FLOWER_GDD)]:
            if truss.set_day is None:
                truss.set_day = day
        self.coloured = reached(gdd, COLOUR_AFTER_FLOWER_GDD)
        for truss in trusses[: self.coloured]:
            if truss.colour_day is None:
                truss.colour_day = day

    def end_day(self, day: int, kept_frac: float, wet_frac: float, excess_frac: float) -> None:
        """Book what a day that is over did.

        Args:
            day: that day, counted from transplanting [d].
            kept_frac: transpiration over that of plants that lack nothing [-].
            wet_frac: share of the day with the roots in saturated soil [-].
            excess_frac: share of the day above field capacity, weighed by how far [-].
        """
        hurt = min(1.0, (1.0 - kept_frac) / SHORT_FULLY_FRAC + wet_frac)
        for truss in self.trusses:
            if truss.set_day is not None and day - truss.set_day < BLOSSOM_END_DAYS:
                truss.hurt_d += hurt
                truss.young_days += 1
        if self.coloured:
            self.cracking_risk += EXCESS_RISK * excess_frac

    def relieved(self, before_kpa: float, after_kpa: float) -> None:
        """Book a fall of the tension at the roots within a day [kPa]."""
        if self.coloured:
            self.cracking_risk += relief_risk(before_kpa, after_kpa)

    @property
    def blossom_end_rot_risk(self) -> float:
        """Mean over the trusses set so far, 0 to 1."""
        risks = [truss.blossom_end_rot_risk for truss in self.trusses]
        told = [risk for risk in risks if risk is not None]
        return sum(told) / len(told) if told else 0.0
