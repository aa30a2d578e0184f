"""Seasons under the rivals, by their names, without the engine."""

from __future__ import annotations

import time as walltime
from collections.abc import Callable

from sim.garden_world import GardenWorld
from sim.hindsight import run_hindsight
from sim.rival_season import live_through, run_of
from sim.rivals import DailyClock, KeepMoist, Rival, ThirdDayClock
from sim.season_run import PolicyRun, Replay


def _daily_clock(replay: Replay, world: GardenWorld) -> Rival:
    return DailyClock(replay.garden, replay.season, replay.span, world)


def _third_day_clock(replay: Replay, world: GardenWorld) -> Rival:
    return ThirdDayClock(replay.garden, replay.season, replay.span, world)


def _keep_moist(_replay: Replay, world: GardenWorld) -> Rival:
    return KeepMoist(world)


ONE_PASS: dict[str, Callable[[Replay, GardenWorld], Rival]] = {
    "daily-clock": _daily_clock,
    "third-day-clock": _third_day_clock,
    "keep-moist": _keep_moist,
}
RIVALS = (*ONE_PASS, "hindsight")
# hindsight kept further off its floor, by what share of the available water: for `sim.frontier`
KEPT_OFF_FRAC = {f"hindsight-{off:.2f}": off for off in (0.05, 0.10, 0.15, 0.20, 0.25)}


def run_rival(replay: Replay, name: str) -> PolicyRun:
    """Run one rival through the season.

    Args:
        replay: what is replayed.
        name: one of `RIVALS` or `KEPT_OFF_FRAC`.
    """
    if name == "hindsight" or name in KEPT_OFF_FRAC:
        run = run_hindsight(replay, off_frac=KEPT_OFF_FRAC.get(name, 0.0))
        run.name = name
        return run
    began_s = walltime.perf_counter()
    world = replay.world()
    account = live_through(replay, world, ONE_PASS[name](replay, world))
    return run_of(name, walltime.perf_counter() - began_s, account, replay)
