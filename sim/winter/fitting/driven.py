"""One bed's column carried through a season by recorded water and weather: no engine, no valves.

The column, the plants and their growth are those of the simulated garden (`sim.world`), with
departures told instead of drawn. What probes in it would see is worked out afterwards from the
hours kept here, so that offsets, places and depths of probes cost no further run.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.bed_truth import BedTruth, BedTruthSpec
from sim.draws import BedDraw, Drawn
from sim.probe_truth import SPOT_DRIEST_FRAC, SPOT_RELAXES_H, Spot
from sim.season_types import HOUR_S, Season
from sim.winter.fitting.observed import Water
from sim.world import World

Numbers = NDArray[np.float64]


class UnitSpot(Spot):
    """Follows what one unit more water, and one unit more use, would do to a spot [mm].

    A spot's deviation is straight in both of its shares, so that these two tell it for all.
    """

    __slots__ = ("used_mm", "watered_mm")

    def __init__(self) -> None:
        super().__init__(0.0, 0.0)
        self.watered_mm = self.used_mm = 0.0

    def step(self, hours: float, irrigation_mm: float, uptake_mm: float) -> None:
        """As `Spot.step`, for both shares apart."""
        gone = hours / SPOT_RELAXES_H
        self.watered_mm += irrigation_mm - self.watered_mm * gone
        self.used_mm += uptake_mm - self.used_mm * gone


@dataclass(frozen=True, slots=True, kw_only=True)
class Driven:
    """A bed's hours; row 0 is the start, row k the end of hour k.

    Args:
        begin_utc_s: the start [Unix s UTC].
        thickness_mm: of the layers [mm].
        layers_m3_m3: content, hours x layers [m3/m3].
        side_m3_m3: content of the ground between the strips; NaN where there is none [m3/m3].
        root_zone_mm: present root depth [mm].
        watered_mm, used_mm: of a spot with one unit more water, more use [mm].
        depletion_frac: true depletion [0..1].
        driest_m3_m3, wettest_m3_m3: no spot is beyond [m3/m3].
        drained_l: irrigation that drained by the end [L].
    """

    begin_utc_s: float
    thickness_mm: tuple[float, ...]
    layers_m3_m3: Numbers
    side_m3_m3: Numbers
    root_zone_mm: Numbers
    watered_mm: Numbers
    used_mm: Numbers
    depletion_frac: Numbers
    driest_m3_m3: float
    wettest_m3_m3: float
    drained_l: float


def rates(water: Sequence[Water], factor: float) -> list[tuple[float, float]]:
    """Instants at which a bed's flow changes, and the flow from then on [L/min].

    Args:
        water: stretches, which may overlap.
        factor: what flowed over what the record says.
    """
    changes: dict[float, float] = {}
    for one in water:
        l_min = factor * one.litres / ((one.to_utc_s - one.from_utc_s) / 60.0)
        changes[one.from_utc_s] = changes.get(one.from_utc_s, 0.0) + l_min
        changes[one.to_utc_s] = changes.get(one.to_utc_s, 0.0) - l_min
    flow, found = 0.0, []
    for at_utc_s in sorted(changes):
        flow += changes[at_utc_s]
        found.append((at_utc_s, flow if flow > 1e-9 else 0.0))
    return found


def drive(
    spec: BedTruthSpec,
    season: Season,
    span_utc_s: tuple[float, float],
    changes: Sequence[tuple[float, float]],
    draw: BedDraw,
) -> Driven:
    """Carry one bed through a season.

    Args:
        spec: the bed, its start depletion with it.
        season: the weather.
        span_utc_s: begin and end [Unix s UTC], whole hours apart.
        changes: what `rates` gives.
        draw: how it departs from the garden file.

    Raises:
        SeasonError: the season does not hold the span, or no soil fits.
    """
    begin, end = span_utc_s
    world = World([spec], season, begin, 1, drawn=Drawn(beds={spec.bed: draw}))
    bed, soil = world.beds[spec.bed], world.beds[spec.bed].soil
    bed.spot = spot = UnitSpot()
    bed.uneven = True
    layers: list[list[float]] = []
    rest: list[tuple[float, ...]] = []
    waiting = list(reversed(changes))
    for hour in range(1 + round((end - begin) / HOUR_S)):
        now = begin + hour * HOUR_S
        while waiting and waiting[-1][0] <= now:
            at_utc_s, l_min = waiting.pop()
            world.advance(at_utc_s)
            bed.flow_l_min = l_min
        world.advance(now)
        layers.append(soil.water_mm[:])
        rest.append(
            (soil.side_mm, soil.root_zone_mm, spot.watered_mm, spot.used_mm, bed.depletion_frac)
        )
    return _driven(begin, bed, np.array(layers), np.array(rest))


def _driven(begin_utc_s: float, bed: BedTruth, layers_mm: Numbers, table: Numbers) -> Driven:
    """What was kept each hour, as contents."""
    soil = bed.soil
    depth_mm = sum(soil.thickness_mm)
    side = table[:, 0] / depth_mm if soil.side_ratio else np.full(len(table), np.nan)
    return Driven(
        begin_utc_s=begin_utc_s,
        thickness_mm=soil.thickness_mm,
        layers_m3_m3=layers_mm / np.array(soil.thickness_mm),
        side_m3_m3=side,
        root_zone_mm=table[:, 1],
        watered_mm=table[:, 2],
        used_mm=table[:, 3],
        depletion_frac=table[:, 4],
        driest_m3_m3=SPOT_DRIEST_FRAC * soil.wilting_point_m3_m3,
        wettest_m3_m3=soil.curve.theta_s_m3_m3,
        drained_l=bed.drained_l,
    )
