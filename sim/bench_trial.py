"""`thirstline bench`: the virtual garden alone, until it is told to stop."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from controller.clock import CLOCK_VARIABLE, ScaledClock
from controller.errors import SeasonError, WrongUseError
from controller.garden import Garden
from sim.bench import Bench
from sim.fault_file import bench_faults
from sim.garden_world import GardenWorld, season_for
from sim.season_types import Season

FOREVER_S = 1e9
DAY_S = 86_400.0


def depletions(told: Iterable[str], garden: Garden) -> dict[str, float]:
    """Read `BED=0.42` words.

    Raises:
        WrongUseError: no such bed, or no fraction.
    """
    found: dict[str, float] = {}
    for word in told:
        bed, _, number = word.partition("=")
        if bed not in garden.beds:
            msg = f"--depletion {word[:60]!r}: the beds are {', '.join(garden.beds)}"
            raise WrongUseError(msg)
        try:
            value = float(number)
        except ValueError:
            value = -1.0
        if not 0.0 <= value <= 1.0:
            msg = f"--depletion {word[:60]!r}: a fraction from 0 to 1 is needed after BED="
            raise WrongUseError(msg)
        found[bed] = value
    return found


def shifted(season: Season, at_utc_s: float) -> Season:
    """Move a season by whole years so that it holds an instant.

    Raises:
        SeasonError: it is shorter than a year and does not hold this day.
    """
    wanted = datetime.fromtimestamp(at_utc_s, UTC).year
    here = season.daily[len(season.daily) // 2].date.year
    days = (date(wanted, 1, 1) - date(here, 1, 1)).days
    by_s = days * DAY_S
    moved = replace(
        season,
        hours=tuple(replace(hour, at_utc_s=hour.at_utc_s + by_s) for hour in season.hours),
        daily=tuple(
            replace(day, date=day.date + timedelta(days=days), start_utc_s=day.start_utc_s + by_s)
            for day in season.daily
        ),
    )
    if not moved.hours[0].at_utc_s <= at_utc_s < moved.hours[-1].at_utc_s:
        when = datetime.fromtimestamp(at_utc_s, UTC).date()
        msg = f"{season.source}: does not hold {when:%d %B} in any year"
        raise SeasonError(msg)
    return moved


def run_bench(
    garden: Garden,
    clock: ScaledClock,
    weather: str,
    *,
    depletion: Iterable[str],
    faults: Path | None = None,
    truth: Path | None,
    url: str | None,
    seed: int,
    say: Callable[[str], None],
    wait: Callable[[float], bool],
) -> None:
    """Run the virtual garden until `wait` says that it is time to end.

    Args:
        garden: whose nodes; its dates count as they stand.
        clock: shared with the daemon.
        weather: a season; moved by whole years to the clock's.
        depletion: `BED=0.42` words.
        faults: a fault script; None for none.
        truth: file for the truth.
        url: the broker, in place of the garden file's.
        seed: of the virtual garden.
        say: takes lines for people.
        wait: waits so many seconds, True when it is time to end.

    Raises:
        ThirstlineError: something given cannot be used.
    """
    told = depletions(depletion, garden)
    script = None if faults is None else bench_faults(faults, garden, clock.utc_s())
    season = shifted(season_for(garden, weather), clock.utc_s())
    world = GardenWorld(garden, season, clock.utc_s(), seed=seed, depletion_frac=told)
    bench = Bench(
        garden, world, clock, url, speed=clock.speed, truth_path=truth, seed=seed, faults=script
    )
    say(f"Virtual nodes of {garden.garden.id}. The daemon shares their time with:")
    say(f"  {CLOCK_VARIABLE}={clock.anchor.text()}")
    if script is not None:
        say(f"  Faults on purpose: {len(script.faults)}.")
    with bench:
        wait(FOREVER_S)
    say("Every virtual valve is closed.")
