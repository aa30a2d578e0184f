"""What a season came to, by the world's truth and not by anybody's belief.

At each dawn the true depletion of every bed is held against the line and the floor of its stage.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from statistics import median

from controller.agronomy.crop import Stage, line_and_floor, load_crops, stage_of
from controller.garden import Bed, Garden
from controller.view import rfc3339
from sim.garden_world import GardenWorld


@dataclass(slots=True, kw_only=True)
class BedAccount:
    """One bed's books."""

    waterings_utc_s: list[float] = field(default_factory=list)
    stress_days: dict[str, int] = field(default_factory=lambda: dict.fromkeys(map(str, Stage), 0))
    days_past_floor: int = 0
    stage: Stage | None = None
    stage_dawns: int = 0


def truth_stage(garden_bed: Bed, days: float, degree_days: float) -> Stage:
    """The stage whose line counts for a bed, from the world's own degree-days."""
    crop = load_crops()[garden_bed.crop[0]]
    return stage_of(
        crop=crop,
        days_since_transplant=days,
        degree_days=degree_days,
        habit=garden_bed.habit,
    )


class SeasonAccount:
    """The books of all beds through one replay.

    Args:
        garden: its dates in the season's year.
        world: asked for the truth.
    """

    def __init__(self, garden: Garden, world: GardenWorld) -> None:
        self._garden = garden
        self._world = world
        self.beds = {bed: BedAccount() for bed in garden.beds}
        self.depletion_at_dawn: dict[str, list[float]] = {bed: [] for bed in garden.beds}

    def watering(self, bed: str, at_utc_s: float) -> None:
        """A watering began."""
        self.beds[bed].waterings_utc_s.append(at_utc_s)

    def dawn(self, today: date) -> None:
        """Hold every planted bed against its line and floor."""
        for name, account in self.beds.items():
            bed = self._garden.beds[name]
            if today < bed.transplanted or (bed.cleared is not None and today >= bed.cleared):
                continue
            truth = self._world.truth.beds[name]
            stage = truth_stage(bed, float((today - bed.transplanted).days), truth.plant.gdd)
            account.stage_dawns = account.stage_dawns + 1 if stage is account.stage else 1
            before, account.stage = account.stage, stage
            line, floor = line_and_floor(stage, bed.lean)
            depletion = truth.depletion_frac
            self.depletion_at_dawn[name].append(depletion)
            if depletion > line:
                account.stress_days[str(stage)] += 1
            if account.stage_dawns == 1 and before is not None:
                floor = max(floor, line_and_floor(before, bed.lean)[1])
            if depletion > floor:
                account.days_past_floor += 1

    def result(self) -> dict[str, object]:
        """The numbers of `replay --json` for one policy, without name and time."""
        beds = {name: self._bed(name) for name in self._garden.beds}
        plants = {name: bed.plants for name, bed in self._garden.beds.items()}
        yields = {name: self._world.truth.relative_yield(name) for name in beds}
        return {
            "litres": round(sum(self._world.truth.litres(name) for name in beds), 1),
            "waterings": sum(len(account.waterings_utc_s) for account in self.beds.values()),
            "relative_yield": round(
                sum(plants[name] * yields[name] for name in beds) / sum(plants.values()), 4
            ),
            "beds": beds,
        }

    def _bed(self, name: str) -> dict[str, object]:
        truth, account = self._world.truth.beds[name], self.beds[name]
        times = account.waterings_utc_s
        gaps = [(b - a) / 86_400.0 for a, b in pairwise(times)]
        litres = truth.irrigation_l
        return {
            "litres": round(litres, 1),
            "waterings": len(times),
            "began": [rfc3339(at_utc_s) for at_utc_s in times],
            "median_days_between": round(median(gaps), 2) if gaps else None,
            "litres_per_watering": round(litres / len(times), 1) if times else None,
            "drained_l": round(truth.drained_l, 1),
            "rain_drained_l": round(truth.rain_drained_l, 1),
            "stress_days": dict(account.stress_days),
            "days_past_floor": account.days_past_floor,
            "sudden_rewettings": truth.sudden_rewettings,
            "late_litres": None,  # without marked picks there is no late water
            "max_depletion_frac": round(truth.max_depletion_frac, 4),
            "relative_yield": round(self._world.truth.relative_yield(name), 4),
        }
