"""What a bed's probes would have told in a driven column, block by block, and how that changes.

A block is six hours of one probe; its mean is held against the mean of the same hours as recorded.
Each block has a standard deviation: what the probe's hours scatter by, which the fit learns from
what is left over, and a share of what the content moved since the block before, since a front that
comes an hour early is no sign of another soil.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sim.draws import PROBE_RIGHT_AT_C, Placing, Sits
from sim.probe_truth import MONTH_S, SoilWarmth, point_at
from sim.season_types import HOUR_S, Season
from sim.winter.fitting.driven import Driven, Numbers
from sim.winter.fitting.observed import ProbeHours

BLOCK_H = 6
LATE_FRAC = 25.0 / 60.0  # of an hour: the middle of readings at its minutes 0, 10 ... 50
FRONT_FRAC = 0.25  # of a block's move since the one before is taken as uncertain; ours
LEAST_IN_BLOCK = 2  # hours with readings that a block needs


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """One probe's record in blocks, and what does not hang on the column.

    Args:
        probe: its name.
        depth_cm: as told [cm].
        rows: the hours that have readings, as rows of `Driven`.
        starts: where each block begins in `rows`.
        counts: hours of each block.
        theta_m3_m3: recorded mean of each block [m3/m3].
        front_m3_m3: what of it may be a front's timing [m3/m3].
        at_utc_s: the middle of each block [Unix s UTC].
        months: of 30 days since the start, of each hour.
        warm_c: soil over 20 °C at its depth, of each hour [°C].
    """

    probe: str
    depth_cm: float
    rows: np.ndarray
    starts: np.ndarray
    counts: Numbers
    theta_m3_m3: Numbers
    front_m3_m3: Numbers
    at_utc_s: Numbers
    months: Numbers
    warm_c: Numbers

    def mean(self, hourly: Numbers) -> Numbers:
        """Mean of each block of one value an hour."""
        return np.asarray(np.add.reduceat(hourly, self.starts) / self.counts)

    @property
    def mean_months(self) -> Numbers:
        """Months since the start, of each block."""
        return self.mean(self.months)

    @property
    def mean_warm_c(self) -> Numbers:
        """Soil over 20 °C, of each block [°C]."""
        return self.mean(self.warm_c)

    def until(self, end_utc_s: float) -> Blocks | None:
        """The blocks that end by an instant; None where there is none."""
        many = int(np.sum(self.at_utc_s + 0.5 * BLOCK_H * HOUR_S <= end_utc_s))
        if not many:
            return None
        last = len(self.rows) if many == len(self.starts) else int(self.starts[many])
        return replace(
            self,
            rows=self.rows[:last],
            starts=self.starts[:many],
            counts=self.counts[:many],
            theta_m3_m3=self.theta_m3_m3[:many],
            front_m3_m3=self.front_m3_m3[:many],
            at_utc_s=self.at_utc_s[:many],
            months=self.months[:last],
            warm_c=self.warm_c[:last],
        )


def blocks_of(
    hours: ProbeHours, depth_cm: float, mulch: str, season: Season, span_utc_s: tuple[float, float]
) -> Blocks | None:
    """Cut a probe's hours into blocks.

    Args:
        hours: as recorded.
        depth_cm: as told [cm].
        mulch: of the bed.
        season: the weather, which warms the soil.
        span_utc_s: begin and end of what counts [Unix s UTC].

    Returns:
        The blocks, None where there is none.
    """
    begin, end = span_utc_s
    inside = [
        (round((at - begin) / HOUR_S), theta)
        for at, theta in zip(hours.hour_utc_s, hours.theta_m3_m3, strict=True)
        if begin <= at and at + HOUR_S <= end
    ]
    rows = np.array([row for row, _ in inside], dtype=int)
    theta = np.array([value for _, value in inside])
    if not len(rows):
        return None
    block = rows // BLOCK_H
    numbers, counts = np.unique(block, return_counts=True)
    kept = np.isin(block, numbers[counts >= LEAST_IN_BLOCK])
    rows, theta, block = rows[kept], theta[kept], block[kept]
    if not len(rows):
        return None
    numbers, starts, counts = np.unique(block, return_index=True, return_counts=True)
    mean = np.add.reduceat(theta, starts) / counts
    moved = np.abs(np.diff(mean, prepend=mean[0]))
    warmth = SoilWarmth(season)
    instants = begin + rows * HOUR_S
    warm = [warmth.temp_c(float(at), depth_cm / 100.0, mulch) for at in instants]
    return Blocks(
        probe=hours.probe,
        depth_cm=depth_cm,
        rows=rows,
        starts=starts,
        counts=counts.astype(float),
        theta_m3_m3=mean,
        front_m3_m3=FRONT_FRAC * moved,
        at_utc_s=begin + (numbers + 0.5) * BLOCK_H * HOUR_S,
        months=(instants - begin) / MONTH_S,
        warm_c=np.array(warm) - PROBE_RIGHT_AT_C,
    )


def column_theta(driven: Driven, depth_cm: float, place: Placing) -> Numbers:
    """The bed's mean content where a probe sits, each hour's end [m3/m3]."""
    if place.sits is Sits.BESIDE and not np.isnan(driven.side_m3_m3[0]):
        return driven.side_m3_m3
    depth_mm = (depth_cm + place.deeper_cm) * 10.0
    if place.sits is Sits.RIGHT:
        depth_mm = depth_cm * 10.0
    return column_of_layers(driven.layers_m3_m3, driven.thickness_mm, depth_mm / 10.0)


def column_of_layers(
    layers_m3_m3: Numbers, thickness_mm: tuple[float, ...], depth_cm: float
) -> Numbers:
    """Content at a depth, straight between the layers' middles: hours x layers in, hours out."""
    upper, lower, share = point_at(thickness_mm, depth_cm * 10.0)
    return np.asarray((1.0 - share) * layers_m3_m3[:, upper] + share * layers_m3_m3[:, lower])


def seen(
    driven: Driven, blocks: Blocks, place: Placing, spot: Sequence[float], probe: Sequence[float]
) -> Numbers:
    """What a probe would have told, block by block [m3/m3].

    Args:
        driven: the column.
        blocks: the probe's.
        place: where it truly sits.
        spot: values of `SPOT` in order.
        probe: values of `PROBE` in order.
    """
    here, _ = _here(driven, blocks, place, spot)
    offset, gain, drift, per_c = probe
    told = (1.0 + gain) * here + offset + drift * blocks.months + per_c * blocks.warm_c
    return blocks.mean(told)


def at_readings(hourly: Numbers, blocks: Blocks) -> Numbers:
    """A value at the middle of an hour's readings, from those at its two ends."""
    before, after = hourly[blocks.rows], hourly[blocks.rows + 1]
    return np.asarray(before + LATE_FRAC * (after - before))


def _here(
    driven: Driven, blocks: Blocks, place: Placing, spot: Sequence[float]
) -> tuple[Numbers, Numbers]:
    """True content where it sits each hour, and 1 where no bound holds it [m3/m3]."""
    mean = at_readings(column_theta(driven, blocks.depth_cm, place), blocks)
    if place.sits is Sits.BESIDE:
        return mean, np.zeros_like(mean)
    water, use = spot
    deviation = water * driven.watered_mm - use * driven.used_mm
    raw = mean + at_readings(deviation / driven.root_zone_mm, blocks)
    here = np.clip(raw, driven.driest_m3_m3, driven.wettest_m3_m3)
    return here, (here == raw).astype(float)
