"""One run of a sweep: what is to be run, and what it came to, as a row.

A run is one policy in one season, one seed and one setting of the garden file. Its row depends on
nothing else: not on the machine, nor the process, nor the runs beside it. The time it took is the
only cell that may differ. Depths are in mm, water in litres, shares and depletions are fractions.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import astuple, dataclass, fields
from datetime import date, datetime
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

import controller
import sim
from controller.errors import SeasonError, ThirstlineError, UsageError
from controller.garden import Garden
from sim.replay import run_policy
from sim.season_run import PolicyRun, Replay, prepare, season_json
from sim.season_types import Season
from sim.weather import load_season

CODE_SUFFIXES = frozenset({".py", ".toml", ".csv"})
DIGEST_LENGTH = 16  # [hexadecimal digits] 64 bits: a false match is out of sight
DAY_S = 86_400.0
SEASONS_HELD = 64  # [seasons] a worker keeps
FAR_FRAC = 0.05  # of the available water: a dawn this far past its floor is no near miss; ours
WARMEST_MONTHS = {True: (7, 8), False: (1, 2)}  # by whether the garden lies north


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is to be run; it can be sent to any process that has this code.

    Attributes:
        garden: the garden file with its setting applied, as JSON.
        season: a name that every installation knows, or the weather itself.
        season_digest: of the weather; another process has to find the same.
        setting: what was varied, as words; empty where nothing was.
        seed: draws an unsure world.
        sure: whether the world is exactly as the garden file says.
        policy: who waters.
        first: first day or None.
        last: last day or None.
        code: digest of the program that has to run it.
    """

    garden: str
    season: str | Season
    season_digest: str
    setting: str
    seed: int
    sure: bool
    policy: str
    first: date | None
    last: date | None
    code: str

    @property
    def season_name(self) -> str:
        """What the season is called."""
        return self.season if isinstance(self.season, str) else self.season.source

    @property
    def label(self) -> str:
        """The run in words."""
        parts = (self.season_name, f"seed {self.seed}", self.policy, self.setting)
        return ", ".join(part for part in parts if part)

    @property
    def key(self) -> str:
        """Digest of all that the row depends on: equal keys, equal rows."""
        told = [
            self.garden, self.season_digest, self.seed, self.sure, self.policy,
            str(self.first), str(self.last), self.code, self.season_name, self.setting,
        ]  # fmt: skip
        return digest_of(json.dumps(told))


@dataclass(frozen=True, slots=True, kw_only=True)
class BedRow:
    """What one bed came to. Dawns past the floor and depletions are the world's truth.

    Dawns far past the floor are past it by more than `FAR_FRAC`; `worst_past_floor_frac` is the
    furthest that any dawn was past it, 0 where none was. `summer_days_between_d` is the median
    between waterings that began in the two warmest months, None where there were not two.
    """

    litres: float
    waterings: int
    drained_l: float
    dawns_past_floor: int
    dawns_far_past_floor: int
    worst_past_floor_frac: float
    summer_days_between_d: float | None
    sudden_rewettings: int
    relative_yield_frac: float
    max_depletion_frac: float
    last_dawn_depletion_frac: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What one run came to, over all beds; `beds` in the garden file's order.

    Dawns past the floor and past the line are summed over the beds; `drained_l` is irrigation,
    `rain_drained_l` rain; the yield is weighted by plants.
    """

    key: str
    season: str
    first: str
    last: str
    seed: int
    setting: str
    policy: str
    rain_mm: float
    eto_mm: float
    litres: float
    waterings: int
    dawns_past_floor: int
    dawns_past_line: int
    sudden_rewettings: int
    drained_l: float
    rain_drained_l: float
    relative_yield_frac: float
    max_depletion_frac: float
    alerts: int
    wall_s: float
    beds: tuple[tuple[str, BedRow], ...]

    @property
    def drained_frac(self) -> float:
        """Irrigation that drained, of the irrigation; 0 where none was given."""
        return self.drained_l / self.litres if self.litres > 0.0 else 0.0

    def without_time(self) -> tuple[Any, ...]:
        """All cells but the time it took."""
        named = zip((one.name for one in fields(self)), astuple(self), strict=True)
        return tuple(value for name, value in named if name != "wall_s")


def digest_of(text: str) -> str:
    """A short digest of a text."""
    return hashlib.sha256(text.encode()).hexdigest()[:DIGEST_LENGTH]


@lru_cache(maxsize=1)
def code_digest() -> str:
    """Digest of the program that decides over a row: controller and simulated garden."""
    found = hashlib.sha256()
    for package in (controller, sim):
        root = Path(str(package.__file__)).parent
        for path in sorted(root.rglob("*")):
            if path.suffix in CODE_SUFFIXES:
                name = path.relative_to(root).as_posix()
                found.update(f"{package.__name__}/{name}\0".encode())
                found.update(path.read_bytes())
    return found.hexdigest()[:DIGEST_LENGTH]


def season_digest(season: Season) -> str:
    """Digest of the weather of a season, its place included."""
    return digest_of(repr((astuple(season.place), season.hours, season.daily)))


def run_task(task: Task) -> Row:
    """Run one policy through one season.

    Args:
        task: what is to be run.

    Returns:
        Its row.

    Raises:
        UsageError: it cannot be run; says which run it was.
    """
    try:
        return _run(task)
    except ThirstlineError as exc:
        msg = f"{task.label}: {exc}"
        raise UsageError(msg) from exc
    except Exception as exc:
        exc.add_note(f"in the run: {task.label}")
        raise


def _run(task: Task) -> Row:
    if task.code != code_digest():
        msg = f"this worker has another program: {code_digest()}, asked for is {task.code}"
        raise UsageError(msg)
    garden = Garden.model_validate_json(task.garden)
    replay = prepare(
        garden,
        _season(garden, task),
        first=task.first,
        last=task.last,
        seed=task.seed,
        sure=task.sure,
    )
    return _row(task, replay, run_policy(replay, task.policy))


def season_by_name(garden: Garden, name_or_path: str) -> tuple[Season, str]:
    """A season for where a garden is, and its digest; each process reads it once.

    Raises:
        SeasonError: it cannot be read or used.
    """
    info = garden.garden
    return _read_once(name_or_path, info.latitude, info.longitude, info.elevation_m, info.timezone)


@lru_cache(maxsize=SEASONS_HELD)
def _read_once(
    name_or_path: str, latitude_deg: float, longitude_deg: float, elevation_m: float, timezone: str
) -> tuple[Season, str]:
    season = load_season(
        name_or_path,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=elevation_m,
        timezone=timezone,
    )
    return season, season_digest(season)


def _season(garden: Garden, task: Task) -> Season:
    if isinstance(task.season, Season):
        return task.season
    found, digest = season_by_name(garden, task.season)
    if digest != task.season_digest:
        msg = f"{task.season}: the weather here is not the weather that was asked for"
        raise SeasonError(msg)
    return found


def _row(task: Task, replay: Replay, run: PolicyRun) -> Row:
    season, numbers = season_json(replay), run.numbers
    beds: dict[str, dict[str, Any]] = numbers["beds"]
    return Row(
        key=task.key,
        season=task.season_name,
        first=season["from"],
        last=season["to"],
        seed=task.seed,
        setting=task.setting,
        policy=task.policy,
        rain_mm=season["rain_mm"],
        eto_mm=season["eto_mm"],
        litres=numbers["litres"],
        waterings=numbers["waterings"],
        dawns_past_floor=sum(bed["days_past_floor"] for bed in beds.values()),
        dawns_past_line=sum(sum(bed["stress_days"].values()) for bed in beds.values()),
        sudden_rewettings=sum(bed["sudden_rewettings"] for bed in beds.values()),
        drained_l=round(sum(bed["drained_l"] for bed in beds.values()), 1),
        rain_drained_l=round(sum(bed["rain_drained_l"] for bed in beds.values()), 1),
        relative_yield_frac=numbers["relative_yield"],
        max_depletion_frac=max(bed["max_depletion_frac"] for bed in beds.values()),
        alerts=len(run.alerts),
        wall_s=round(run.seconds, 3),
        beds=tuple(
            (name, _bed_row(bed, run, name, north=replay.garden.garden.latitude >= 0.0))
            for name, bed in beds.items()
        ),
    )


def _bed_row(bed: dict[str, Any], run: PolicyRun, name: str, *, north: bool) -> BedRow:
    dawns = run.depletion_at_dawn.get(name)
    past = [dawn.depletion_frac - dawn.floor_frac for dawn in run.dawns.get(name, ())]
    return BedRow(
        litres=bed["litres"],
        waterings=bed["waterings"],
        drained_l=bed["drained_l"],
        dawns_past_floor=bed["days_past_floor"],
        dawns_far_past_floor=sum(one > FAR_FRAC for one in past),
        worst_past_floor_frac=round(max(0.0, *past), 4) if past else 0.0,
        summer_days_between_d=_summer_days_between_d(bed["began"], north=north),
        sudden_rewettings=bed["sudden_rewettings"],
        relative_yield_frac=bed["relative_yield"],
        max_depletion_frac=bed["max_depletion_frac"],
        last_dawn_depletion_frac=round(dawns[-1], 4) if dawns else None,
    )


def _summer_days_between_d(began: list[str], *, north: bool) -> float | None:
    """The median between waterings that began in the two warmest months [d]."""
    times = [datetime.fromisoformat(at) for at in began]
    summer = [at.timestamp() for at in times if at.month in WARMEST_MONTHS[north]]
    gaps = [(later - sooner) / DAY_S for sooner, later in pairwise(summer)]
    return round(median(gaps), 3) if gaps else None
