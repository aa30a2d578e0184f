"""What another line, policy, width or mulch would have done: worlds of a fit lived twice each.

Each draw of the posterior is one world; the season goes through it once as it was and once
changed, with the same soil, plants, probes, noise and weather (common random numbers), so that
what is told is a difference and not two levels. Bands are the middle 80 % over the draws. What the
record of the weather is wrong by from day to day, and what its gauge missed, is drawn with them
(`sim/true_weather.py`); what its evapotranspiration is wrong by over a season is in the fitted
thirst. Other processes share the work; an early band is told after `EARLY_S`.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from controller.garden import Garden
from sim.draws import Drawn
from sim.drier_trials import lines_shifted
from sim.replay import run_policy
from sim.season_run import Replay
from sim.season_types import Season
from sim.winter.fitting.spans import span_within

EARLY_S = 15.0  # [s] after which the first band is told
LEAST_EARLY = 3  # draws that it needs
LOW_PCT, HIGH_PCT = 10.0, 90.0
MEASURES = ("litres", "waterings", "days_past_floor", "relative_yield")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One way of watering.

    Args:
        garden: as a garden file has it, its own dates.
        policy: who waters.
        shift_frac: how much further every thirst line lies; the floors stay [-].
    """

    garden: Garden
    policy: str = "thirstline"
    shift_frac: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Play:
    """One draw under both lines; it can be sent to another process.

    Args:
        number: of the draw.
        drawn: its world.
        season: the weather.
        last: the last day that is lived.
        was, then: the two lines.
    """

    number: int
    drawn: Drawn
    season: Season
    last: date
    was: Line
    then: Line


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """What one draw came to under both lines, by `MEASURES`."""

    number: int
    was: Mapping[str, float]
    then: Mapping[str, float]

    def differs(self, measure: str) -> float:
        """Changed less as it was."""
        return self.then[measure] - self.was[measure]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A measure over the draws.

    Args:
        was, then: medians.
        differs: median of the differences, draw by draw.
        low, high: ends of the middle 80 % of the differences.
        draws: how many.
    """

    was: float
    then: float
    differs: float
    low: float
    high: float
    draws: int


def lived(
    line: Line, season: Season, drawn: Drawn, number: int, last: date | None = None
) -> dict[str, float]:
    """One season under one line.

    Args:
        line: the way of watering.
        season: the weather.
        drawn: the world.
        number: seeds what `drawn` leaves open.
        last: the last day; None for the season's own end.
    """
    garden, span = span_within(line.garden, season, last)
    replay = Replay(garden=garden, season=season, span=span, seed=number, sure=False, drawn=drawn)
    with lines_shifted(line.shift_frac) if line.shift_frac else nullcontext():
        numbers: dict[str, Any] = run_policy(replay, line.policy).numbers
    return {name: float(numbers[name]) for name in MEASURES}


def play(one: Play) -> Pair:
    """Live one draw under both lines."""
    return Pair(
        number=one.number,
        was=lived(one.was, one.season, one.drawn, one.number, one.last),
        then=lived(one.then, one.season, one.drawn, one.number, one.last),
    )


def bands(pairs: Sequence[Pair]) -> dict[str, Band]:
    """Every measure over the draws; one draw at least."""
    found = {}
    for name in MEASURES:
        differs = [one.differs(name) for one in pairs]
        low, high = np.percentile(differs, [LOW_PCT, HIGH_PCT])
        found[name] = Band(
            was=float(np.median([one.was[name] for one in pairs])),
            then=float(np.median([one.then[name] for one in pairs])),
            differs=float(np.median(differs)),
            low=float(low),
            high=float(high),
            draws=len(pairs),
        )
    return found


def played(
    plays: Sequence[Play],
    jobs: int,
    early: Callable[[Sequence[Pair]], None] = lambda _: None,
    clock: Callable[[], float] = time.perf_counter,
) -> list[Pair]:
    """Live all draws.

    Args:
        plays: the draws.
        jobs: processes.
        early: told once, after `EARLY_S`, what has ended by then.
        clock: seconds that rise.

    Returns:
        In the order of the draws.
    """
    began_s, done, is_told = clock(), [], False
    for pair in _one_by_one(plays, jobs):
        done.append(pair)
        due = clock() - began_s >= EARLY_S and len(done) >= LEAST_EARLY
        if due and not is_told and len(done) < len(plays):
            early(tuple(done))
            is_told = True
    return sorted(done, key=lambda one: one.number)


def _one_by_one(plays: Sequence[Play], jobs: int) -> Iterator[Pair]:
    """Pairs as they end."""
    if jobs == 1:
        yield from map(play, plays)
        return
    with ProcessPoolExecutor(max_workers=jobs) as pool:
        waiting: set[Future[Pair]] = {pool.submit(play, one) for one in plays}
        while waiting:
            ended, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for one in ended:
                yield one.result()
