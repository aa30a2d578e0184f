"""A bucket for one bed, fitted to a season that its world has lived through.

Night by night the lived season tells what the plants took, what else came and went (rain,
evaporation, drainage, exchange with the ground beside and below, soil that roots grew into), and
how deep the root zone was. The bucket gives the same numbers back where the bed is as wet as it was
then; elsewhere it changes what the plants take by how far their leaves are open.

Millimetres are over the wetted strip; depletion is over the present root depth, below 0 in a soil
wetter than field capacity.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from controller.agronomy.crop import Stage, line_and_floor
from controller.garden import Bed
from controller.watering.policy import SMALLEST_BLIND_FRAC, SMALLEST_DOSE_FRAC
from sim.bed_truth import BedTruth
from sim.hindsight_plan import GRID, Night
from sim.plant import openness
from sim.season_account import truth_stage

SEEPS_PER_D = 0.06  # [1/d] of a difference in wetness goes to the ground around in a day; of 0,
# 0.02, 0.06 and 0.15 tried in one season this one gave the least water, by about 1 %
LEAST_OPEN_FRAC = 0.05  # leaves that are shut tell nothing about what open ones would take
NO_FLOOR_FRAC = float("inf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """What is true of a bed at an instant.

    Attributes:
        depletion_mm, taw_mm: over strip and present root depth.
        taken_mm: all that the plants took so far.
        given_mm: all that was given so far.
        p_frac: depletion at which the leaves begin to close today.
    """

    depletion_mm: float
    taw_mm: float
    taken_mm: float
    given_mm: float
    p_frac: float

    @property
    def depletion_frac(self) -> float:
        """Below 0 in a soil wetter than field capacity."""
        return self.depletion_mm / self.taw_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Lived:
    """A night as it was lived: at the start of the hours, at the dawn after, and its rules."""

    evening: Sight
    dawn: Sight
    stage: Stage
    floor_frac: float

    @property
    def counts(self) -> bool:
        """Whether its dawn is held against a floor."""
        return self.floor_frac < NO_FLOOR_FRAC

    @property
    def dry_frac(self) -> float:
        """Where the dawn would have been without the night's dose."""
        return (self.dawn.depletion_mm + self.dose_mm) / self.dawn.taw_mm

    @property
    def dose_mm(self) -> float:
        """Given in the night."""
        return self.dawn.given_mm - self.evening.given_mm

    @property
    def night_mm(self) -> float:
        """What the night takes without a dose."""
        return self.dawn.depletion_mm + self.dose_mm - self.evening.depletion_mm


def look(truth: BedTruth) -> Sight:
    """Look at a bed's truth now."""
    soil = truth.soil
    lacks = truth.soil_kind.field_capacity_m3_m3 - soil.root_theta_m3_m3()
    return Sight(
        depletion_mm=lacks * soil.root_zone_mm,
        taw_mm=truth.available_m3_m3 * soil.root_zone_mm,
        taken_mm=soil.transpired_mm,
        given_mm=truth.irrigation_l / truth.spec.strip_m2,
        p_frac=truth.plant.p_frac,
    )


@dataclass(slots=True, kw_only=True)
class Diary:
    """A bed's nights, written down while its world lives.

    Attributes:
        bed: the garden file's bed.
        truth: asked at each evening and dawn.
        nights: so far; the number of the coming night is their count.
        stage: of the last evening.
    """

    bed: Bed
    truth: BedTruth
    nights: list[Lived] = field(default_factory=list)
    stage: Stage = Stage.ESTABLISHING
    _evening: Sight | None = None

    def evening(self, night: date) -> Sight:
        """Write down the start of the hours."""
        self.stage = truth_stage(
            self.bed, float((night - self.bed.transplanted).days), self.truth.plant.gdd
        )
        self._evening = look(self.truth)
        return self._evening

    def dawn(self, floor_frac: float) -> None:
        """Write down a dawn and the floor that it was held against."""
        self._close(floor_frac)

    def end(self) -> None:
        """Write down the end of the season, which no floor is held against."""
        self._close(NO_FLOOR_FRAC)

    def _close(self, floor_frac: float) -> None:
        if self._evening is not None:
            self.nights.append(
                Lived(
                    evening=self._evening,
                    dawn=look(self.truth),
                    stage=self.stage,
                    floor_frac=floor_frac,
                )
            )
            self._evening = None


def smallest_frac(stage: Stage) -> float:
    """The policy's smallest dose in a stage [0..1 of the available water]."""
    return SMALLEST_BLIND_FRAC if stage is Stage.ESTABLISHING else SMALLEST_DOSE_FRAC


def bucket(bed: Bed, truth: BedTruth, lived: Sequence[Lived], margin_frac: float) -> list[Night]:
    """The bed's nights as the planner wants them.

    Args:
        bed: the garden file's bed.
        truth: the bed in its world, for its soil alone.
        lived: a season of it.
        margin_frac: the plan keeps this far from the floor [0..1].

    Returns:
        As many nights as were lived.
    """
    nights: list[Night] = []
    for n, night in enumerate(lived):
        # the last night has no dawn in the season, whose end would cut its watering
        line, _ = line_and_floor(night.stage, bed.lean, bed.crop)
        line_frac = line if night.counts else NO_FLOOR_FRAC
        following = lived[n + 1] if n + 1 < len(lived) else None
        nights.append(
            Night(
                taw_mm=night.dawn.taw_mm,
                line_frac=line_frac,
                floor_frac=night.floor_frac - margin_frac,
                smallest_frac=smallest_frac(night.stage),
                next_frac=() if following is None else _next_frac(truth, night, following),
            )
        )
    return nights


def _next_frac(truth: BedTruth, night: Lived, following: Lived) -> tuple[float, ...]:
    """From each position at a dawn to the position of the next night."""
    taw_mm, next_taw_mm = night.dawn.taw_mm, following.dawn.taw_mm
    taken_mm = following.dawn.taken_mm - night.dawn.taken_mm
    was_frac = night.dawn.depletion_frac
    ended_mm = following.dry_frac * next_taw_mm
    rest_mm = ended_mm - night.dawn.depletion_mm - taken_mm
    half_frac = 0.5 * taken_mm / taw_mm
    p_frac = following.evening.p_frac
    open_then = max(LEAST_OPEN_FRAC, _open_frac(truth, was_frac + half_frac, p_frac))
    whole_mm = taken_mm / open_then
    stays = 1.0 - SEEPS_PER_D
    rest_mm += SEEPS_PER_D * night.dawn.depletion_mm
    return tuple(
        (stays * x * taw_mm + rest_mm + whole_mm * _open_frac(truth, x + half_frac, p_frac))
        / next_taw_mm
        for x in GRID
    )


def _open_frac(truth: BedTruth, depletion_frac: float, p_frac: float) -> float:
    """How far the leaves are open at a depletion of the whole root zone."""
    if depletion_frac <= p_frac:
        return 1.0
    curve, full = truth.soil.curve, truth.soil_kind.field_capacity_m3_m3
    available = truth.available_m3_m3
    closing_kpa = curve.tension_kpa(full - p_frac * available)
    return openness(curve.tension_kpa(full - min(1.0, depletion_frac) * available), closing_kpa)
