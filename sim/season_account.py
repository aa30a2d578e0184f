"""What a season came to, by the world's truth and not by anybody's belief.

At each dawn the true depletion of every bed is held against the line and the floor of its stage.
Each hour its depletion, its rain and its water are kept: late water is counted from them, and the
pictures are drawn from them.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from statistics import median
from typing import NamedTuple, overload

from controller.agronomy.crop import Stage, line_and_floor, load_crops, stage_of
from controller.garden import Bed, Garden
from controller.view import rfc3339
from sim.garden_world import GardenWorld, midnight_utc_s

HOUR_S = 3600.0
LATE_S = 3.0 * 86_400.0  # water this near before a pick swells and splits fruit; ours

Window = tuple[float, float]  # (from_utc_s, to_utc_s)


class HourTruth(NamedTuple):
    """One bed over one hour.

    Attributes:
        at_utc_s: the hour's end [s, Unix].
        depletion_frac: true depletion then, 0..1.
        rain_mm: rain of the hour over the ground [mm].
        irrigation_l: litres that reached the bed in the hour [L].
    """

    at_utc_s: float
    depletion_frac: float
    rain_mm: float
    irrigation_l: float


class HourBook(Sequence[HourTruth]):
    """The hours of one bed, one after the other, kept as plain columns of numbers.

    A record an hour would have the garbage collector walk all of them again and again.

    Args:
        begin_utc_s: where the first hour begins [s, Unix].
    """

    __slots__ = ("_begin_utc_s", "_depletion_frac", "_irrigation_l", "_rain_mm")

    def __init__(self, begin_utc_s: float) -> None:
        self._begin_utc_s = begin_utc_s
        self._depletion_frac = array("d")
        self._rain_mm = array("d")
        self._irrigation_l = array("d")

    def add(self, depletion_frac: float, rain_mm: float, irrigation_l: float) -> None:
        """Write down the next hour; values as in `HourTruth`."""
        self._depletion_frac.append(depletion_frac)
        self._rain_mm.append(rain_mm)
        self._irrigation_l.append(irrigation_l)

    def __len__(self) -> int:
        return len(self._depletion_frac)

    @overload
    def __getitem__(self, index: int) -> HourTruth: ...
    @overload
    def __getitem__(self, index: slice) -> list[HourTruth]: ...
    def __getitem__(self, index: int | slice) -> HourTruth | list[HourTruth]:
        if isinstance(index, slice):
            return [self[place] for place in range(*index.indices(len(self)))]
        place = range(len(self))[index]
        return HourTruth(
            self._begin_utc_s + HOUR_S * (place + 1),
            self._depletion_frac[place],
            self._rain_mm[place],
            self._irrigation_l[place],
        )


class DawnTruth(NamedTuple):
    """One planted bed at one dawn, held against its line and floor.

    Attributes:
        at_utc_s: when it was looked at [s, Unix].
        depletion_frac: true depletion, 0..1.
        line_frac: the thirst line of the stage.
        floor_frac: the floor that counts that day.
    """

    at_utc_s: float
    depletion_frac: float
    line_frac: float
    floor_frac: float

    @property
    def past_floor(self) -> bool:
        """Whether the bed had dried past its floor."""
        return self.depletion_frac > self.floor_frac


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


def late_windows(garden: Garden, days: Iterable[date]) -> list[Window]:
    """The spans before planned picks in which water is late, those that meet made one.

    Args:
        garden: whose local days these are.
        days: the days of the picks.

    Returns:
        In order of time; each from 72 h before the local start of a pick's day to that start.
    """
    merged: list[Window] = []
    for end_s in sorted(midnight_utc_s(garden, day) for day in days):
        begin_s = end_s - LATE_S
        if merged and begin_s <= merged[-1][1]:
            begin_s = merged.pop()[0]
        merged.append((begin_s, end_s))
    return merged


def litres_within(hours: Iterable[HourTruth], windows: Iterable[Window]) -> float | None:
    """Litres that arrived within spans that do not overlap.

    Args:
        hours: of one bed, one after the other; water within an hour counts as even.
        windows: the spans.

    Returns:
        Litres [L]; None where no span meets the hours.
    """
    spans = list(windows)
    litres, met = 0.0, False
    for hour in hours:
        for begin_s, end_s in spans:
            inside_s = min(hour.at_utc_s, end_s) - max(hour.at_utc_s - HOUR_S, begin_s)
            if inside_s > 0.0:
                met = True
                litres += hour.irrigation_l * min(1.0, inside_s / HOUR_S)
    return litres if met else None


def share(part: float, whole: float) -> float | None:
    """A part of a whole, None of nothing."""
    return part / whole if whole > 0.0 else None


class SeasonAccount:
    """The books of all beds through one replay.

    Args:
        garden: its dates in the season's year.
        world: asked for the truth; its instant now is where the books begin.
    """

    def __init__(self, garden: Garden, world: GardenWorld) -> None:
        self._garden = garden
        self._world = world
        self.beds = {bed: BedAccount() for bed in garden.beds}
        self.depletion_at_dawn: dict[str, list[float]] = {bed: [] for bed in garden.beds}
        self.dawns: dict[str, list[DawnTruth]] = {bed: [] for bed in garden.beds}
        self._begin_utc_s = world.truth.now_utc_s
        self.hours = {bed: HourBook(self._begin_utc_s) for bed in garden.beds}
        self._hour_due_s = self._begin_utc_s + HOUR_S
        self._rain_mm = world.truth.rain_mm_total
        self._irrigation_l = {bed: world.truth.litres(bed) for bed in garden.beds}

    def watering(self, bed: str, at_utc_s: float) -> None:
        """A watering began."""
        self.beds[bed].waterings_utc_s.append(at_utc_s)

    def look(self, at_utc_s: float, today: date | None = None) -> None:
        """Write what is true now into the books; asked at every grid point.

        Args:
            at_utc_s: now [s, Unix]; the world has lived until here.
            today: the local day whose dawn has come, None at any other time.
        """
        while at_utc_s >= self._hour_due_s:
            self._hour()
        if today is not None:
            self._dawn(at_utc_s, today)

    def _hour(self) -> None:
        truth = self._world.truth
        self._hour_due_s += HOUR_S
        rain_mm = truth.rain_mm_total - self._rain_mm
        self._rain_mm = truth.rain_mm_total
        given = self._irrigation_l
        for name, hours in self.hours.items():
            bed = truth.beds[name]
            litres = bed.irrigation_l
            hours.add(bed.depletion_frac, rain_mm, litres - given[name])
            given[name] = litres

    def _dawn(self, at_utc_s: float, today: date) -> None:
        """Hold every planted bed against its line and floor."""
        for name, account in self.beds.items():
            bed = self._garden.beds[name]
            if today < bed.transplanted or (bed.cleared is not None and today >= bed.cleared):
                continue
            truth = self._world.truth.beds[name]
            stage = truth_stage(bed, float((today - bed.transplanted).days), truth.plant.gdd)
            account.stage_dawns = account.stage_dawns + 1 if stage is account.stage else 1
            before, account.stage = account.stage, stage
            line, floor = line_and_floor(stage, bed.lean, bed.crop)
            if account.stage_dawns == 1 and before is not None:
                floor = max(floor, line_and_floor(before, bed.lean, bed.crop)[1])
            dawn = DawnTruth(at_utc_s, truth.depletion_frac, line, floor)
            self.dawns[name].append(dawn)
            self.depletion_at_dawn[name].append(dawn.depletion_frac)
            if dawn.depletion_frac > line:
                account.stress_days[str(stage)] += 1
            if dawn.past_floor:
                account.days_past_floor += 1

    def result(self, picks: Mapping[str, tuple[date, ...]] | None = None) -> dict[str, object]:
        """The numbers of `replay --json` for one policy, without name and time.

        Args:
            picks: planned picks by bed, in the season's year; those that the books do not reach
                do not count.
        """
        truth, accounts = self._world.truth, self.beds.values()
        planned = picks or {}
        plants = {name: bed.plants for name, bed in self._garden.beds.items()}
        yields = {name: truth.relative_yield(name) for name in plants}
        litres = sum(truth.litres(name) for name in plants)
        drained = share(sum(truth.beds[name].drained_l for name in plants), litres)
        return {
            "litres": round(litres, 1),
            "waterings": sum(len(account.waterings_utc_s) for account in accounts),
            "drained_share": _rounded(drained, 4),
            "days_past_floor": sum(account.days_past_floor for account in accounts),
            "sudden_rewettings": sum(truth.beds[name].sudden_rewettings for name in plants),
            "relative_yield": round(
                sum(plants[name] * yields[name] for name in plants) / sum(plants.values()), 4
            ),
            "beds": {name: self._bed(name, planned.get(name, ())) for name in plants},
        }

    def _bed(self, name: str, picks: tuple[date, ...]) -> dict[str, object]:
        truth, account = self._world.truth.beds[name], self.beds[name]
        times = account.waterings_utc_s
        gaps = [(b - a) / 86_400.0 for a, b in pairwise(times)]
        litres = truth.irrigation_l
        late = litres_within(self.hours[name], late_windows(self._garden, self._lived(picks)))
        return {
            "litres": round(litres, 1),
            "waterings": len(times),
            "began": [rfc3339(at_utc_s) for at_utc_s in times],
            "median_days_between": round(median(gaps), 2) if gaps else None,
            "litres_per_watering": round(litres / len(times), 1) if times else None,
            "drained_l": round(truth.drained_l, 1),
            "drained_share": _rounded(share(truth.drained_l, litres), 4),
            "rain_drained_l": round(truth.rain_drained_l, 1),
            "stress_days": dict(account.stress_days),
            "days_past_floor": account.days_past_floor,
            "sudden_rewettings": truth.sudden_rewettings,
            "late_litres": _rounded(late, 1),
            "max_depletion_frac": round(truth.max_depletion_frac, 4),
            "end_depletion_frac": round(self._end_depletion_frac(name), 4),
            "cracking_risk": round(truth.plant.cracking_risk, 4),
            "blossom_end_rot_risk": round(truth.plant.blossom_end_rot_risk, 4),
            "relative_yield": round(truth.plant.relative_yield, 4),
        }

    def _lived(self, picks: tuple[date, ...]) -> list[date]:
        """The picks that the books reach."""
        end_s = self._world.truth.now_utc_s
        begins = {day: midnight_utc_s(self._garden, day) for day in picks}
        return [day for day, at_s in begins.items() if self._begin_utc_s < at_s <= end_s]

    def _end_depletion_frac(self, name: str) -> float:
        """Depletion when the plants went, or at the end."""
        truth = self._world.truth.beds[name]
        cleared_s = truth.spec.cleared_utc_s
        if cleared_s < self._world.truth.now_utc_s:
            for hour in reversed(self.hours[name]):
                if hour.at_utc_s <= cleared_s:
                    return hour.depletion_frac
        return truth.depletion_frac


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
