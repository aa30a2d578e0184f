"""What a probe of the simulated garden sees and says: its spot, the soil's warmth, its own faults.

A spot is where a bed's probes are: emitters and plants near it depart from the bed's mean, so its
water runs away from the column's and comes back over days. One spot a bed, since the garden file
tells nothing finer. Contents in m3/m3, water in mm over the strip, temperature in °C.

Leaves out: hysteresis, salt, the volume that a probe feels, the time that it needs to follow.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from typing import Protocol

from sim.draws import (
    DAY_S,
    PROBE_RIGHT_AT_C,
    SPOT_RELAXES_DAYS,
    ProbeDraw,
    Sits,
    bits,
    is_lost,
    noise_of,
    spell_of_day,
)
from sim.season_types import HOUR_S, Season
from sim.soil_column import SoilColumn

SPOT_RELAXES_H = SPOT_RELAXES_DAYS * 24.0
SPOT_DRIEST_FRAC = 0.5  # [-] of the wilting point; no spot is drier, as the air-dry top (FAO-56)
DAMPING_DEPTH_M = 0.10  # [m] of the daily wave in moist mineral soil; from memory
# the yearly wave lags by 365/(2 pi) days for each of its damping depths, sqrt(365) daily ones
LAG_DAYS_PER_M = math.sqrt(365.0) / (2.0 * math.pi * DAMPING_DEPTH_M)
WARMEST_H = 14.0  # [h] after local midnight, at the surface; ours
# surface wave over the air's; ours
SURFACE_WAVE = {"none": 1.0, "straw": 0.5, "plastic": 1.0}
MEAN_FROM_DAYS = 10  # [d] whose mean stands for the time before the season
MONTH_S = 30.0 * DAY_S
DRIEST_READ_M3_M3 = 0.02  # [m3/m3] a tension is worked out of nothing drier


class Ground(Protocol):
    """The bed that a probe is in."""

    soil: SoilColumn
    spot: Spot


class Spot:
    """Where a bed's probes are: what its water is more than the bed's mean."""

    __slots__ = ("deviation_mm", "use_frac", "water_frac")

    def __init__(self, water_frac: float, use_frac: float) -> None:
        """Lay it out.

        Args:
            water_frac: what more of the bed's irrigation it gets [-].
            use_frac: what more its plants use [-].
        """
        self.water_frac = water_frac
        self.use_frac = use_frac
        self.deviation_mm = 0.0

    def step(self, hours: float, irrigation_mm: float, uptake_mm: float) -> None:
        """d(dev)/dt = e x irrigation - u x uptake - dev/tau.

        Args:
            hours: length [h].
            irrigation_mm: the bed's drip over it, over the strip [mm].
            uptake_mm: the bed's uptake over it [mm].
        """
        gained = self.water_frac * irrigation_mm - self.use_frac * uptake_mm
        self.deviation_mm += gained - self.deviation_mm * hours / SPOT_RELAXES_H

    def theta_m3_m3(self, mean_m3_m3: float, soil: SoilColumn) -> float:
        """Content here where the bed's mean at the same depth is known [m3/m3]."""
        here = mean_m3_m3 + self.deviation_mm / soil.root_zone_mm
        lowest = SPOT_DRIEST_FRAC * soil.wilting_point_m3_m3
        if here < lowest:
            return lowest
        highest = soil.curve.theta_s_m3_m3
        return here if here < highest else highest


class SoilWarmth:
    """Temperature of the soil by depth, from the air's: a lagging mean and a damped daily wave.

    The wave follows the conduction of heat into a uniform half-space, sin(w t - z/D) exp(-z/D).
    """

    def __init__(self, season: Season) -> None:
        """Take the days of a season."""
        self._starts = [day.start_utc_s for day in season.daily]
        self._means = [(day.tmin_c + day.tmax_c) / 2.0 for day in season.daily]
        self._half_range = [(day.tmax_c - day.tmin_c) / 2.0 for day in season.daily]
        self._lagging: dict[float, list[float]] = {}

    def temp_c(self, at_utc_s: float, depth_m: float, mulch: str) -> float:
        """Soil temperature [°C].

        Args:
            at_utc_s: [Unix s UTC].
            depth_m: [m], 0 or more.
            mulch: none, straw or plastic.
        """
        day = max(0, bisect_right(self._starts, at_utc_s) - 1)
        hours = (at_utc_s - self._starts[day]) / HOUR_S
        means = self._lagging.get(depth_m)
        if means is None:
            means = self._lagging[depth_m] = self._lag(depth_m)
        before, here = means[max(0, day - 1)], means[day]
        mean = before + (here - before) * min(1.0, hours / 24.0)
        depths = depth_m / DAMPING_DEPTH_M
        wave = math.cos(2.0 * math.pi * (hours - WARMEST_H) / 24.0 - depths) * math.exp(-depths)
        return mean + SURFACE_WAVE[mulch] * self._half_range[day] * wave

    def _lag(self, depth_m: float) -> list[float]:
        """The running mean of the air's daily mean that a depth feels, for each day [°C]."""
        share = 1.0 / max(1.0, LAG_DAYS_PER_M * depth_m)
        first = self._means[:MEAN_FROM_DAYS]
        here = sum(first) / len(first)
        felt = []
        for mean in self._means:
            here += share * (mean - here)
            felt.append(here)
        return felt


class ProbeTruth:
    """One probe in one bed."""

    __slots__ = (
        "_began_utc_s",
        "_day",
        "_depth_m",
        "_draw",
        "_gain",
        "_ground",
        "_hour",
        "_is_beside",
        "_mulch",
        "_point",
        "_slow_m3_m3",
        "_sound",
        "_spells",
        "_warmth",
    )

    def __init__(
        self,
        draw: ProbeDraw,
        ground: Ground,
        *,
        depth_cm: float,
        sits: Sits,
        mulch: str,
        warmth: SoilWarmth,
        began_utc_s: float,
    ) -> None:
        """Put it in.

        Args:
            draw: how it departs.
            ground: its bed.
            depth_cm: where it truly is [cm].
            sits: in the strip or beside it.
            mulch: of the bed.
            warmth: of the season's soil.
            began_utc_s: when its drift began [Unix s UTC].
        """
        self._draw = draw
        self._sound = draw == ProbeDraw()
        self._gain = 1.0 + draw.gain_frac
        self._ground = ground
        self._depth_m = depth_cm / 100.0
        self._is_beside = sits is Sits.BESIDE
        self._mulch = mulch
        self._warmth = warmth
        self._began_utc_s = began_utc_s
        self._point = point_at(ground.soil.thickness_mm, depth_cm * 10.0)
        self._hour = self._day = -1
        self._slow_m3_m3 = 0.0
        self._spells: list[tuple[float, float]] = []

    def theta_m3_m3(self) -> float:
        """True content where it sits [m3/m3]."""
        soil = self._ground.soil
        if self._is_beside and soil.side_ratio:
            return soil.side_mm / sum(soil.thickness_mm)
        upper, lower, share = self._point
        here = soil.water_mm[upper] / soil.thickness_mm[upper]
        if share:
            here += share * (soil.water_mm[lower] / soil.thickness_mm[lower] - here)
        spot = self._ground.spot
        return spot.theta_m3_m3(here, soil) if spot.deviation_mm else here

    def reading_m3_m3(self, at_utc_s: float) -> float | None:
        """What it says now, not below 0 [m3/m3]; None when nothing arrives.

        Args:
            at_utc_s: now [Unix s UTC]; with seed and probe it alone decides noise and losses.
        """
        if self._sound:
            return self.theta_m3_m3()
        lot = bits(self._draw.seed, int(at_utc_s * 1000.0))
        if self._draw.loses and (is_lost(lot) or self._in_spell(at_utc_s)):
            return None
        return self._told(at_utc_s, lot)

    def tension_kpa(self, at_utc_s: float) -> float:
        """What it says as tension, lost or not: its content through the soil's own curve [kPa]."""
        if self._sound:
            told = self.theta_m3_m3()
        else:
            told = self._told(at_utc_s, bits(self._draw.seed, int(at_utc_s * 1000.0)))
        return self._ground.soil.curve.tension_kpa(max(DRIEST_READ_M3_M3, told))

    def _told(self, at_utc_s: float, lot: int) -> float:
        """What it says if the reading arrives [m3/m3]."""
        hour = int(at_utc_s // HOUR_S)
        if hour != self._hour:
            self._hour = hour
            self._slow_m3_m3 = self._slow(hour * HOUR_S)
        noise = self._draw.noise_m3_m3 * noise_of(lot)
        return max(0.0, self._gain * self.theta_m3_m3() + self._slow_m3_m3 + noise)

    def _slow(self, at_utc_s: float) -> float:
        """Offset, drift and warmth, which change from hour to hour only [m3/m3]."""
        draw = self._draw
        months = (at_utc_s - self._began_utc_s) / MONTH_S
        warm_c = self._warmth.temp_c(at_utc_s, self._depth_m, self._mulch) - PROBE_RIGHT_AT_C
        drifted = draw.offset_m3_m3 + draw.monthly_drift_m3_m3 * months
        return drifted + draw.temperature_per_c * warm_c

    def _in_spell(self, at_utc_s: float) -> bool:
        """Whether it is silent for hours now."""
        day = int(at_utc_s // DAY_S)
        if day != self._day:
            self._day = day
            seed = self._draw.seed
            spells = (spell_of_day(seed, day - 1), spell_of_day(seed, day))
            self._spells = [spell for spell in spells if spell is not None]
        if not self._spells:
            return False
        return any(begin <= at_utc_s < end for begin, end in self._spells)


def point_at(thickness_mm: tuple[float, ...], depth_mm: float) -> tuple[int, int, float]:
    """Between which layers' middles a depth is, and how far on the way down.

    Args:
        thickness_mm: layers from the top [mm].
        depth_mm: [mm], 0 or more.

    Returns:
        Upper layer, lower layer, share of the way 0..1; above the first and below the last middle
        the layer itself.
    """
    top = before = 0.0
    for i, layer in enumerate(thickness_mm):
        middle = top + layer / 2.0
        if depth_mm <= middle:
            return (i - 1, i, (depth_mm - before) / (middle - before)) if i else (0, 0, 0.0)
        before = middle
        top += layer
    last = len(thickness_mm) - 1
    return last, last, 0.0
