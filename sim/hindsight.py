"""The rival that knows everything beforehand: how little water a season could have taken.

Each bed is planned by dynamic programming (`sim.hindsight_plan`) on a bucket fitted to its own
world (`sim.hindsight_bucket`), under the policy's rules: the same lines and floors by stage, the
same smallest dose, the same fullest refill, one watering a night within the hours. The plan is then
lived in the world: each evening the bed's true depletion is looked up in it. The bucket is fitted
anew to that season and the bed planned again. The best season counts, the first one included: in
it each bed gets the smallest dose as late as its floor lets it.

Knows: the weather of the whole season, the true soil, water use, depletion and emitters, the stages
to come. Does not know: how the water moves beyond what its bucket tells, so it is near the least
possible water and not surely at it. Cares for nothing but floor and water: it holds its beds in
stress just above the floor at every dawn, well past it by the afternoon, and its yield is the
poorer for it: what it spares is in good part what its plants do not drink. Kept further off the
floor it tells what a better yield takes at least. Leaves out: the policy's drawing-in of the line
in heat or with doubtful probes, and its leave to break the hours for a bed past its floor.
"""

from __future__ import annotations

import time as walltime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from controller.agronomy.crop import line_and_floor
from controller.garden import Garden
from sim.garden_world import GardenWorld
from sim.hindsight_bucket import Diary, Lived, bucket, smallest_frac
from sim.hindsight_plan import Plan
from sim.rival_season import live_through, run_of
from sim.rivals import grows
from sim.season_account import SeasonAccount
from sim.season_run import PolicyRun, Replay

ROUNDS = 3
LATE_FRAC = 0.04  # of the available water: more than a bed loses in a night; ours
MARGIN_FRAC = 0.01  # of the available water; a first plan keeps this far from the floor
WORTH_FRAC = 0.005  # of the litres: a last trial of each bed's best plan must promise this much
END_SLACK_FRAC = 0.01  # [-] an end this little too dry is as good as asked
MARGIN_STEP_FRAC = 0.01  # further off after a round with a dawn past it


Score = tuple[int, float, float]  # dawns past the floor, too dry an end [-], litres


@dataclass(frozen=True, slots=True, kw_only=True)
class BedPlan:
    """A plan and the season whose nights it counts with."""

    plan: Plan
    lived: tuple[Lived, ...]

    def dose_mm(self, n: int, depletion_mm: float) -> float:
        """The dose of a night from a true depletion at the start of its hours [mm]."""
        if n >= len(self.lived):
            return 0.0
        night = self.lived[n]
        taw_mm = night.dawn.taw_mm
        return taw_mm * self.plan.dose_frac(n, (depletion_mm + night.night_mm) / taw_mm)


class Planned:
    """Waters by plan; a bed without one gets the smallest dose as late as its floor lets it.

    Args:
        garden: its dates in the season's year.
        world: where the water goes.
        plans: by bed.
        off_frac: what is kept from the floor at dawn besides [0..1].
    """

    def __init__(
        self,
        garden: Garden,
        world: GardenWorld,
        plans: Mapping[str, BedPlan],
        off_frac: float = 0.0,
    ) -> None:
        self._world = world
        self._plans = plans
        self._off_frac = off_frac
        self.diaries = {
            name: Diary(bed=bed, truth=world.truth.beds[name]) for name, bed in garden.beds.items()
        }

    def open_s(self, bed: str, night: date, left_s: float) -> float:
        """As `Rival`; what is left is judged anew."""
        diary = self.diaries[bed]
        sight = diary.evening(night)
        flow_l_min = self._world.flow_l_min(bed)
        if not flow_l_min > 0.0:
            return 0.0
        if bed in self._plans:
            dose_mm = self._plans[bed].dose_mm(len(diary.nights), sight.depletion_mm)
        else:
            drier_frac = sight.depletion_frac + self._off_frac
            dose_mm = _late_frac(diary, drier_frac) * sight.taw_mm
        return 60.0 * dose_mm * diary.truth.spec.strip_m2 / flow_l_min

    def dawn(self, account: SeasonAccount, today: date) -> None:
        """A dawn has come and stands in the books."""
        for name, diary in self.diaries.items():
            if grows(diary.bed, today):
                diary.dawn(account.dawns[name][-1].floor_frac - self._off_frac)
            else:
                diary.end()

    def close(self) -> None:
        """The season is over."""
        for diary in self.diaries.values():
            diary.end()


def _sum(scores: Sequence[Score]) -> Score:
    """Scores of several beds as one."""
    dawns, too_dry_frac, litres = zip(*scores, strict=True)
    return sum(dawns), sum(too_dry_frac), sum(litres)


def _late_frac(diary: Diary, depletion_frac: float) -> float:
    """The smallest dose where the night would bring the bed to its floor, else none [-]."""
    _, floor_frac = line_and_floor(diary.stage, diary.bed.lean, diary.bed.crop)
    return smallest_frac(diary.stage) if depletion_frac > floor_frac - LATE_FRAC else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A season lived by plans."""

    plans: Mapping[str, BedPlan]
    rival: Planned
    account: SeasonAccount
    off_frac: float

    def past(self, bed: str) -> int:
        """Dawns of a bed past what it was to keep."""
        dawns = self.account.dawns[bed]
        return sum(dawn.depletion_frac > dawn.floor_frac - self.off_frac for dawn in dawns)

    def score(self, bed: str, end_frac: float) -> Score:
        """The less the better: dawns past the floor, too dry an end, litres."""
        diary = self.rival.diaries[bed]
        ended_frac = diary.nights[-1].dawn.depletion_frac if diary.nights else 0.0
        too_dry_frac = round(max(0.0, ended_frac - end_frac - END_SLACK_FRAC), 2)
        return self.past(bed), too_dry_frac, diary.truth.irrigation_l

    def total(self, ends: Mapping[str, float]) -> Score:
        """The scores of all beds together."""
        return _sum([self.score(bed, end) for bed, end in ends.items()])


def run_hindsight(
    replay: Replay,
    end_frac: Mapping[str, float] | None = None,
    rounds: int = ROUNDS,
    off_frac: float = 0.0,
) -> PolicyRun:
    """Plan a season with all known, live it, and answer the best that came of it.

    Args:
        replay: what is replayed.
        end_frac: by bed, the true depletion at the end that is dry enough, 0 to 1; a bed that is
            not named ends no drier than the thirst line of its last stage.
        rounds: how often the buckets are fitted and the beds planned, 1 or more.
        off_frac: what it keeps from the floor at dawn besides, of the available water [0..1].

    Returns:
        The run; its seconds hold all rounds.
    """
    began_s = walltime.perf_counter()
    trial = _live(replay, {}, off_frac)
    ends = {**_last_lines(replay.garden, trial), **(end_frac or {})}
    margins = dict.fromkeys(replay.garden.beds, MARGIN_FRAC)
    trials = [trial]
    for _ in range(rounds):
        trial = _live(replay, _plans(replay.garden, trial, ends, margins), off_frac)
        trials.append(trial)
        for bed in margins:
            if trial.past(bed):
                margins[bed] += MARGIN_STEP_FRAC
    best = _best(replay, trials, ends)
    return run_of("hindsight", walltime.perf_counter() - began_s, best.account, replay)


def _best(replay: Replay, trials: list[Trial], ends: Mapping[str, float]) -> Trial:
    """The best trial, or a last one of each bed's best plan where that promises enough."""
    whole = min(trials, key=lambda trial: trial.total(ends))
    beds = {bed: min(trials, key=lambda one: one.score(bed, end)) for bed, end in ends.items()}
    promised = _sum([trial.score(bed, ends[bed]) for bed, trial in beds.items()])
    dawns, too_dry_frac, litres = whole.total(ends)
    if promised >= (dawns, too_dry_frac, (1.0 - WORTH_FRAC) * litres):
        return whole
    plans = {bed: trial.plans[bed] for bed, trial in beds.items() if bed in trial.plans}
    return min(whole, _live(replay, plans, whole.off_frac), key=lambda trial: trial.total(ends))


def _live(replay: Replay, plans: Mapping[str, BedPlan], off_frac: float) -> Trial:
    """A fresh world of the replay, lived by plans."""
    world = replay.world()
    rival = Planned(replay.garden, world, plans, off_frac)
    account = live_through(replay, world, rival, rival.dawn)
    rival.close()
    return Trial(plans=plans, rival=rival, account=account, off_frac=off_frac)


def _last_lines(garden: Garden, trial: Trial) -> dict[str, float]:
    """The thirst line of each bed's last stage."""
    return {
        name: line_and_floor(trial.rival.diaries[name].stage, bed.lean, bed.crop)[0]
        for name, bed in garden.beds.items()
    }


def _plans(
    garden: Garden, trial: Trial, ends: Mapping[str, float], margins: Mapping[str, float]
) -> dict[str, BedPlan]:
    """Fit each bed's bucket to a lived season and plan it; a bed without nights has no plan."""
    plans: dict[str, BedPlan] = {}
    for name, bed in garden.beds.items():
        diary = trial.rival.diaries[name]
        if diary.nights:
            nights = bucket(bed, diary.truth, diary.nights, margins[name])
            plan = Plan(nights, ends[name])
            plans[name] = BedPlan(plan=plan, lived=tuple(diary.nights))
    return plans
