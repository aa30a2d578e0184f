"""How well a bed's state is known, and whether the controller knows how well.

    python -m sim.sureness [--seeds N | --seeds A-B] [--weather NAME] [--probes KIND]
        [--garden NAME] [--jobs J] [--json]

Each season is lived through the real engine in drawn worlds, and at every dawn each planted bed's
believed depletion fraction is held against the world's truth: how far it is off, and whether the
truth lies inside the interval that the controller would call 90 % sure. `--weather` and `--probes`
may be given more than once. `--probes` is one of

- `calibrated`: the probes as the garden file has them;
- `raw`: each probe tells bare counts and has no calibration table; only dawns at which the bed has
  left `learning` count, the others are told beside;
- `none`: no probes at all: the balance alone.

Errors are believed less true, as fractions of TAW: above 0 the bed is believed drier than it is.
`--json` prints an object: `garden`, `seeds` and `groups`, a list of objects with `probes`,
`weather` (a name, or `all`), `worlds`, `dawns`, `learning_dawns`, `inside_share`,
`median_error_frac`, `ninth_decile_error_frac`, `bias_frac`, `half_width_frac` (of the interval, its
median), `drained_share` and `litres` (medians of the worlds), `dawns_past_floor` (sum).
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from statistics import fmean, median, quantiles
from typing import Any, NamedTuple

from controller.agronomy.sun import sun_times_utc_s
from controller.bed_views import view_of, window_now
from controller.correcting import bed_learns
from controller.errors import ThirstlineError, UsageError
from controller.garden import Garden, load_garden
from sim.examples import find_garden
from sim.garden_world import midnight_utc_s
from sim.replay import GRID_S, EngineReplay
from sim.season_run import Replay, prepare

KINDS = ("calibrated", "raw", "none")
WEATHER = ("seattle-2015", "ewr-2013")
SEEDS = 40
SURE_OF = 1.6449  # standard deviations either side that hold 90 % of a normal distribution


class Dawn(NamedTuple):
    """One planted bed at one dawn; fractions of TAW.

    Attributes:
        bed: which.
        true_frac: true depletion, 0..1.
        believed_frac: the controller's.
        sd_frac: the standard deviation that it gives.
        learned: whether the bed's probes count; beds without probes always.
    """

    bed: str
    true_frac: float
    believed_frac: float
    sd_frac: float
    learned: bool

    @property
    def error_frac(self) -> float:
        """Believed less true."""
        return self.believed_frac - self.true_frac

    @property
    def inside(self) -> bool:
        """Whether the truth is in the interval, which like the truth ends at 0 and 1."""
        return abs(self.error_frac) <= SURE_OF * self.sd_frac


@dataclass(frozen=True, slots=True, kw_only=True)
class Lived:
    """One season in one world."""

    probes: str
    weather: str
    seed: int
    dawns: tuple[Dawn, ...]
    drained_frac: float
    litres: float
    past_floor: int


def with_probes(garden: Garden, kind: str) -> Garden:
    """The garden as it would be with other probes.

    Args:
        garden: the garden file.
        kind: `calibrated`, `raw` or `none`.

    Raises:
        UsageError: there is no such kind.
    """
    if kind == "calibrated":
        return garden
    if kind == "raw":
        probes = {
            name: probe.model_copy(update={"kind": "raw", "calibration": None})
            for name, probe in garden.probes.items()
        }
        bare: Garden = garden.model_copy(update={"probes": probes})
        return bare
    if kind == "none":
        beds = {name: bed.model_copy(update={"probes": ()}) for name, bed in garden.beds.items()}
        blind: Garden = garden.model_copy(update={"probes": {}, "beds": beds})
        return blind
    msg = f"--probes: {kind[:40]!r} is not one of {', '.join(KINDS)}"
    raise UsageError(msg)


def lived(garden: Garden, job: tuple[str, str, int]) -> Lived:
    """Live one season in one drawn world and look at every dawn.

    Args:
        garden: the garden file.
        job: kind of probes, weather and seed.

    Raises:
        SeasonError: the season cannot be used.
    """
    kind, weather, seed = job
    replay = prepare(with_probes(garden, kind), weather, seed=seed)
    live = EngineReplay(replay.garden, replay.world(), replay.span)
    found: list[Dawn] = []
    for day, at_utc_s in dawns_of(replay):
        live.go(at_utc_s)
        found += _look(live, day)
    live.go(replay.span.to_utc_s)
    numbers = live.account.result()
    return Lived(
        probes=kind,
        weather=weather,
        seed=seed,
        dawns=tuple(found),
        drained_frac=float(str(numbers["drained_share"] or 0.0)),
        litres=float(str(numbers["litres"])),
        past_floor=int(str(numbers["days_past_floor"])),
    )


def dawns_of(replay: Replay) -> Iterator[tuple[date, float]]:
    """Each day and the first grid point after its dawn [s, Unix]; no tick is added by looking."""
    info, span = replay.garden.garden, replay.span
    day = span.first
    while day <= span.last:
        sun = sun_times_utc_s(info.latitude, info.longitude, day)
        dawn_s = sun[0] if sun is not None else midnight_utc_s(replay.garden, day) + 6 * 3600.0
        ahead_s = dawn_s - span.from_utc_s
        yield day, span.from_utc_s + math.ceil(ahead_s / GRID_S) * GRID_S
        day += timedelta(days=1)


def _look(live: EngineReplay, day: date) -> Iterator[Dawn]:
    """Every planted bed now."""
    run = live.engine.run
    window = window_now(run)
    for name, bed in live.garden.beds.items():
        if day < bed.transplanted or (bed.cleared is not None and day >= bed.cleared):
            continue
        view = view_of(run, name, window)
        yield Dawn(
            bed=name,
            true_frac=live.world.truth.beds[name].depletion_frac,
            believed_frac=view.depletion_frac,
            sd_frac=view.spread_frac,
            learned=not bed_learns(run, name),
        )


def measured(
    garden: Garden,
    seeds: Iterable[int],
    weather: Sequence[str] = WEATHER,
    probes: Sequence[str] = KINDS,
    jobs: int = 1,
) -> list[dict[str, Any]]:
    """Live all seasons and tell how sure the controller was, group by group.

    Args:
        garden: the garden file.
        seeds: which worlds.
        weather: names or paths of seasons.
        probes: kinds of probes.
        jobs: processes, 1 or more.

    Returns:
        What `--json` prints as `groups`.

    Raises:
        UsageError: there is no such kind of probes.
        SeasonError: a season cannot be used.
    """
    worlds = tuple(seeds)
    tasks = [(kind, name, seed) for kind in probes for name in weather for seed in worlds]
    one = partial(lived, garden)
    if jobs == 1:
        ended = [one(task) for task in tasks]
    else:
        with ProcessPoolExecutor(max_workers=jobs) as pool:
            ended = list(pool.map(one, tasks))
    groups = []
    for kind in probes:
        mine = [each for each in ended if each.probes == kind]
        parts = [(name, [each for each in mine if each.weather == name]) for name in weather]
        if len(parts) > 1:
            parts.append(("all", mine))
        groups += [{"probes": kind, "weather": name, **summary(some)} for name, some in parts]
    return groups


def summary(some: Sequence[Lived]) -> dict[str, Any]:
    """What some seasons came to together; None where no dawn counts."""
    every = [dawn for one in some for dawn in one.dawns]
    counted = [dawn for dawn in every if dawn.learned]
    errors = [abs(dawn.error_frac) for dawn in counted]
    return {
        "worlds": len(some),
        "dawns": len(counted),
        "learning_dawns": len(every) - len(counted),
        "inside_share": _rounded(fmean(dawn.inside for dawn in counted) if counted else None),
        "median_error_frac": _rounded(median(errors) if errors else None),
        "ninth_decile_error_frac": _rounded(
            quantiles(errors, n=10)[8] if len(errors) > 1 else None
        ),
        "bias_frac": _rounded(fmean(one.error_frac for one in counted) if counted else None),
        "half_width_frac": _rounded(
            SURE_OF * median(one.sd_frac for one in counted) if counted else None
        ),
        "drained_share": _rounded(median(one.drained_frac for one in some)),
        "litres": round(median(one.litres for one in some), 1),
        "dawns_past_floor": sum(one.past_floor for one in some),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def _cell(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"


def _lines(groups: Sequence[dict[str, Any]]) -> str:
    """The same for people."""
    head = (
        "probes      weather        worlds   dawns  learning  inside  error  9 of 10    bias"
        "  90 % +-  drained  past floor"
    )
    rows = [
        f"{one['probes']:10s}  {one['weather']:13.13s}  {one['worlds']:6d}  {one['dawns']:6d}"
        f"  {one['learning_dawns']:8d}  {_cell(one['inside_share']):>6s}"
        f"  {_cell(one['median_error_frac']):>5s}  {_cell(one['ninth_decile_error_frac']):>7s}"
        f"  {_cell(one['bias_frac']):>6s}  {_cell(one['half_width_frac']):>7s}"
        f"  {_cell(one['drained_share']):>7s}  {one['dawns_past_floor']:10d}"
        for one in groups
    ]
    return "\n".join([head, *rows])


def seeds_of(text: str) -> range:
    """Read `N` as the seeds 1 to N and `A-B` as A to B.

    Raises:
        ArgumentTypeError: it is neither.
    """
    first, dash, last = text.partition("-")
    try:
        found = range(int(first), int(last) + 1) if dash else range(1, int(first) + 1)
    except ValueError:
        found = range(0)
    if not found or found[0] < 0:
        msg = f"{text[:40]!r} is neither a number of seeds nor a span such as 11-40"
        raise argparse.ArgumentTypeError(msg)
    return found


def main(words: Sequence[str] | None = None) -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(
        prog="python -m sim.sureness",
        description="How well a bed's state is known, held against the simulated garden's truth.",
    )
    parser.add_argument("--seeds", type=seeds_of, default=range(1, SEEDS + 1), help="N or A-B")
    parser.add_argument("--weather", action="append", help="a season; may be repeated")
    parser.add_argument("--probes", action="append", choices=KINDS, help="may be repeated")
    parser.add_argument("--garden", default="hollin-lane", help="a garden file or an example")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--json", action="store_true", help="print an object instead of lines")
    told = parser.parse_args(words)
    try:
        groups = measured(
            load_garden(find_garden(told.garden)),
            told.seeds,
            told.weather or WEATHER,
            told.probes or KINDS,
            max(1, told.jobs),
        )
    except ThirstlineError as exc:
        parser.error(str(exc))
    found = {"garden": told.garden, "seeds": list(told.seeds), "groups": groups}
    sys.stdout.write((json.dumps(found) if told.json else _lines(groups)) + "\n")


if __name__ == "__main__":
    main()
