"""One bed's soil, thirst, probes and drainage from its record: the most likely, and how sure.

Coordinates are those of `priors`. Round by round the column is run at a point
and to both sides of it in each of its own quantities; between these runs it is taken as a parabola
in each (`Surrogate`), and `scipy.optimize.least_squares` finds the most likely point of that, all
quantities at once. The next round begins there, its tries as wide as the posterior is by then:
the column's adaptive steps and its made soils are not smooth over less, and tries that are too
near would take that roughness for knowledge. How sure it is follows from the slopes at the end
(Laplace: the inverse of the normal matrix).

What is left over decides how much each probe counts: its own root mean square, widened by how
alike blocks behind each other are (first-order autocorrelation), since such blocks tell the same
twice. `DISCREPANCY_M3_M3` is added for what the column itself is wrong by.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from controller.errors import UsageError
from sim.bed_truth import BedTruthSpec
from sim.draws import Placing, Sits
from sim.season_types import Season
from sim.winter.fitting.driven import Driven, Numbers, drive, rates
from sim.winter.fitting.observed import Water
from sim.winter.fitting.priors import BED, COLUMN, PROBE, SPOT, bed_draw_of, quantities, values_of
from sim.winter.fitting.seeing import Blocks, at_readings, column_theta

FIRST_SD_M3_M3 = 0.003  # [m3/m3] of a block before its scatter is known; ours
LEAST_SD_M3_M3 = 0.0007  # [m3/m3] six readings an hour of 0.004 over six hours; from sim.draws
ALIKE_MOST = 0.98  # [-] of the autocorrelation that is believed
DISCREPANCY_M3_M3 = 0.002  # [m3/m3] of a block: what the column is wrong by, at least; ours
WIDER = 1.0  # factor on standard deviations of the posterior; see DEVELOPERS.md
ROUNDS = 4
WIDEST_TRY_Z, FIRST_TRY_Z, NEAREST_TRY_Z = 0.8, 0.7, 0.6  # [-] standard deviations; ours
FARTHEST_Z = 1.5  # [-] from where it was run the column is not believed any further; ours
FEW_BLOCKS = 10
N_COLUMN, N_BED = len(COLUMN), len(BED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What a fit of one bed is given.

    Args:
        spec: the bed by the garden file.
        season: the weather.
        span_utc_s: begin and end, whole hours apart [Unix s UTC].
        water: what the record says.
        blocks: of each probe.
        places: of probes that sit elsewhere than told.
    """

    spec: BedTruthSpec
    season: Season
    span_utc_s: tuple[float, float]
    water: Sequence[Water]
    blocks: Sequence[Blocks]
    places: Mapping[str, Placing]

    @property
    def probes(self) -> tuple[str, ...]:
        """The probes by name."""
        return tuple(one.probe for one in self.blocks)

    def place(self, probe: str) -> Placing:
        """Where a probe is taken to sit."""
        return self.places.get(probe, Placing())

    def until(self, end_utc_s: float) -> Case:
        """The same with the probes' blocks up to an instant; the column is driven no further."""
        kept = [one.until(end_utc_s) for one in self.blocks]
        begin = self.span_utc_s[0]
        return replace(
            self,
            span_utc_s=(begin, end_utc_s),
            blocks=[one for one in kept if one is not None],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BedFit:
    """The posterior of one bed.

    Args:
        probes: in the order of the coordinates.
        z: the most likely point.
        covariance: of the coordinates.
        sd_m3_m3: what a block of each probe counts with [m3/m3].
        left_m3_m3: root mean square of what is left over, by probe [m3/m3].
        alike: its autocorrelation from block to block, by probe [-].
        runs: of the column.
        driven: the column at the most likely point.
    """

    probes: tuple[str, ...]
    z: Numbers
    covariance: Numbers
    sd_m3_m3: Mapping[str, float]
    left_m3_m3: Mapping[str, float]
    alike: Mapping[str, float]
    runs: int
    driven: Driven

    @property
    def values(self) -> dict[str, float]:
        """All quantities at the most likely point, by name."""
        return values_of([float(one) for one in self.z], self.probes)


class Column:
    """Runs a case's column at points of the fit, each point once."""

    def __init__(self, case: Case, run: Callable[..., Driven] = drive) -> None:
        self._case = case
        self._run = run
        self._kept: dict[tuple[float, ...], Driven] = {}
        self.runs = 0

    def at(self, z: Numbers) -> Driven:
        """The column where the first coordinates are these."""
        key = tuple(round(float(one), 9) for one in z[:N_COLUMN])
        found = self._kept.get(key)
        if found is None:
            case = self._case
            values = {one.name: one.value(at) for one, at in zip(COLUMN, key, strict=True)} | {
                one.name: 0.0 for one in SPOT
            }
            spec = replace(case.spec, start_depletion_frac=values["start_frac"])
            found = self._run(
                spec,
                case.season,
                case.span_utc_s,
                rates(case.water, 1.0 / (1.0 + values["meter_frac"])),
                bed_draw_of(values),
            )
            self.runs += 1
            if len(self._kept) > 4 * N_COLUMN:
                self._kept.clear()
            self._kept[key] = found
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Surrogate:
    """A column near a point: block means of three contents, and how they bend.

    Args:
        centre: the column's coordinates there.
        base: by probe, rows: content where it sits, that of one unit more water at the spot, that
            of one unit more use there; each by block [m3/m3].
        slope, bend: by probe, first and half second derivative with each coordinate.
    """

    centre: Numbers
    base: tuple[Numbers, ...]
    slope: tuple[Numbers, ...]
    bend: tuple[Numbers, ...]

    def at(self, z: Numbers) -> list[Numbers]:
        """The three contents of each probe where the column's coordinates are these."""
        off = z[:N_COLUMN] - self.centre
        return [
            base + np.tensordot(off, slope, 1) + np.tensordot(off**2, bend, 1)
            for base, slope, bend in zip(self.base, self.slope, self.bend, strict=True)
        ]


def contents(case: Case, driven: Driven) -> list[Numbers]:
    """The three block means of each probe of a driven column, as `Surrogate` has them."""
    found = []
    for one in case.blocks:
        place = case.place(one.probe)
        rows = [
            column_theta(driven, one.depth_cm, place),
            driven.watered_mm / driven.root_zone_mm,
            driven.used_mm / driven.root_zone_mm,
        ]
        beside = place.sits is Sits.BESIDE  # no spot there
        means = [one.mean(at_readings(row, one)) for row in rows]
        found.append(np.array([means[0], *(0.0 * row if beside else row for row in means[1:])]))
    return found


def surrogate(case: Case, column: Column, z: Numbers, tries: Numbers) -> Surrogate:
    """Run the column at a point and to both sides of it.

    Args:
        case: what was seen.
        column: runs it.
        z: the point; its first coordinates are the column's.
        tries: how far to either side, by coordinate of the column.
    """
    base = contents(case, column.at(z))
    slopes: list[list[Numbers]] = [[] for _ in base]
    bends: list[list[Numbers]] = [[] for _ in base]
    for i, far in enumerate(tries):
        ends = []
        for side in (far, -far):
            tried = z.copy()
            tried[i] += side
            ends.append(contents(case, column.at(tried)))
        for n, here in enumerate(base):
            up, down = ends[0][n], ends[1][n]
            slopes[n].append((up - down) / (2.0 * far))
            bends[n].append((up + down - 2.0 * here) / (2.0 * far**2))
    return Surrogate(
        centre=z[:N_COLUMN].copy(),
        base=tuple(base),
        slope=tuple(np.array(one) for one in slopes),
        bend=tuple(np.array(one) for one in bends),
    )


def probe_told(
    blocks: Blocks, three: Numbers, spot: Sequence[float], own: Sequence[float]
) -> Numbers:
    """What a probe would tell of three contents, block by block [m3/m3]."""
    offset, gain, drift, per_c = own
    here = three[0] + spot[0] * three[1] - spot[1] * three[2]
    told = (1.0 + gain) * here + offset
    return np.asarray(told + drift * blocks.mean_months + per_c * blocks.mean_warm_c)


def parts(z: Numbers, probe: int) -> tuple[list[float], list[float]]:
    """Values of the spot and of one probe at a point."""
    spot = [one.value(float(at)) for one, at in zip(SPOT, z[N_COLUMN:N_BED], strict=True)]
    first = N_BED + probe * len(PROBE)
    own = z[first : first + len(PROBE)]
    return spot, [one.value(float(at)) for one, at in zip(PROBE, own, strict=True)]


class _Problem:
    """What the optimiser asks: residuals over their standard deviations."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.sd = {one.probe: FIRST_SD_M3_M3 for one in case.blocks}

    def misses(self, z: Numbers, three: Sequence[Numbers]) -> list[Numbers]:
        """What each probe would have told, less what it told [m3/m3]."""
        return [
            probe_told(one, three[i], *parts(z, i)) - one.theta_m3_m3
            for i, one in enumerate(self.case.blocks)
        ]

    def residuals(self, z: Numbers, near: Surrogate) -> Numbers:
        """Of all blocks, then of the prior."""
        misses = self.misses(z, near.at(z))
        weighed = [
            miss / np.hypot(self.sd[one.probe], one.front_m3_m3)
            for miss, one in zip(misses, self.case.blocks, strict=True)
        ]
        return np.concatenate([*weighed, z])

    def best(self, z: Numbers, near: Surrogate) -> tuple[Numbers, Numbers]:
        """The most likely point of a surrogate, and the covariance there."""
        high = np.array([one.most_z for _, one in quantities(self.case.probes)])
        low = -high
        low[:N_COLUMN] = np.maximum(low[:N_COLUMN], near.centre - FARTHEST_Z)
        high[:N_COLUMN] = np.minimum(high[:N_COLUMN], near.centre + FARTHEST_Z)
        found = least_squares(
            lambda at: self.residuals(at, near),
            np.clip(z, low + 1e-6, high - 1e-6),
            bounds=(low, high),
            method="trf",
            x_scale=1.0,
        )
        slope = np.asarray(found.jac)
        return np.asarray(found.x), np.asarray(np.linalg.inv(slope.T @ slope))

    def learn(self, misses: Sequence[Numbers]) -> tuple[dict[str, float], dict[str, float]]:
        """Set how much each probe counts by what it missed; tell scatter and likeness."""
        left, alike = {}, {}
        for miss, one in zip(misses, self.case.blocks, strict=True):
            left[one.probe], alike[one.probe] = _left_over(miss, one)
            self.sd[one.probe] = _counts_with(left[one.probe], alike[one.probe])
        return left, alike


def fit_bed(case: Case, begin_z: Numbers | None = None, rounds: int = ROUNDS) -> BedFit:
    """Fit one bed.

    Args:
        case: what was seen.
        begin_z: where to begin; None for the middle of the prior.
        rounds: how often the column is run about a point.

    Raises:
        UsageError: no probe told anything.
    """
    if not case.blocks:
        msg = f"bed {case.spec.bed}: no probe told water content; nothing can be fitted"
        raise UsageError(msg)
    column, problem = Column(case), _Problem(case)
    z = np.zeros(N_BED + len(PROBE) * len(case.blocks)) if begin_z is None else begin_z.copy()
    tries = np.full(N_COLUMN, WIDEST_TRY_Z if begin_z is None else FIRST_TRY_Z)
    covariance = np.eye(len(z))
    for _ in range(rounds):
        near = surrogate(case, column, z, tries)
        z, covariance = problem.best(z, near)
        problem.learn(problem.misses(z, contents(case, column.at(z))))
        sd = np.sqrt(np.diag(covariance))[:N_COLUMN]
        tries = np.clip(sd, NEAREST_TRY_Z, WIDEST_TRY_Z)
    z, covariance = problem.best(z, near)  # by what the probes count with now
    left, alike = problem.learn(problem.misses(z, contents(case, column.at(z))))
    return BedFit(
        probes=case.probes,
        z=z,
        covariance=covariance * WIDER**2,
        sd_m3_m3=dict(problem.sd),
        left_m3_m3=left,
        alike=alike,
        runs=column.runs,
        driven=column.at(z),
    )


def _left_over(miss: Numbers, blocks: Blocks) -> tuple[float, float]:
    """A probe's scatter away from fronts [m3/m3], and how alike its blocks in a row are."""
    off = miss / np.hypot(1.0, blocks.front_m3_m3 / LEAST_SD_M3_M3)
    calm = blocks.front_m3_m3 < LEAST_SD_M3_M3
    inside = off[calm] if calm.sum() > FEW_BLOCKS else off
    whole = float(np.sum(off**2))
    alike = float(np.sum(off[:-1] * off[1:])) / whole if whole > 0.0 else 0.0
    return float(math.sqrt(np.mean(inside**2))), alike


def _counts_with(left_m3_m3: float, alike: float) -> float:
    """Standard deviation with which a block counts [m3/m3].

    The variance of a mean of n values with first-order autocorrelation r is (1 + r)/(1 - r) times
    that of n independent ones.
    """
    r = min(ALIKE_MOST, max(0.0, alike))
    return math.hypot(left_m3_m3, DISCREPANCY_M3_M3) * math.sqrt((1.0 + r) / (1.0 - r))
