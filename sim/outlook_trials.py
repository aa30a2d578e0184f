"""Whether the window of the next watering holds the night on which a bed really drinks.

    python -m sim.outlook_trials [--seeds N | --seeds A-B] [--weather NAME] [--garden NAME]
        [--sure] [--jobs J] [--json]

Each season is lived through the real engine in drawn worlds (`--sure`: as the garden file says). At
every dawn each growing bed that does not drink tells its window, as the page shows it; it is held
against the start of the bed's next watering by policy. `--weather` may be given more than once. The
window is meant to hold 75 to 88 % of them.

A dawn counts where the answer is known: the bed drank, or the window was over before the season
was. A bed that tells no window foresees no watering: that holds where none came in the nights that
it looks ahead. *Early* means that the bed drank before its window, *late* after it.

`--json` prints an object: `garden`, `seeds`, `sure` and `groups`, a list of objects with `weather`
(a name, or `all`), `by` (`all`, `month`, `stage` or `nights`: until it really drank), `group`,
`worlds`, `dawns`, `open_dawns`, `held_share`, `early_share`, `late_share`, `nights_median` and
`nights_ninth_decile` (width of the window in nights).
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date
from functools import partial
from statistics import fmean, median, quantiles
from typing import Any, NamedTuple

from controller.bed_views import view_of, window_now
from controller.coming import outlook_of
from controller.errors import ThirstlineError
from controller.garden import Garden, load_garden
from controller.watering.outlook import NIGHTS_MOST
from sim.examples import find_garden
from sim.replay import EngineReplay
from sim.season_run import prepare
from sim.sureness import dawns_of, seeds_of

WEATHER = ("seattle-2015", "ewr-2013")
SEEDS = 10
FAR_NIGHTS = 10
DAY_S = 86_400.0


class Told(NamedTuple):
    """One bed's window at one dawn.

    Attributes:
        bed: which.
        month: of the dawn, 1..12.
        stage: of growth.
        at_utc_s: the dawn [s, Unix].
        first_utc_s: the window's begin [s, Unix]; infinite where none was told.
        last_utc_s: its end.
    """

    bed: str
    month: int
    stage: str
    at_utc_s: float
    first_utc_s: float
    last_utc_s: float

    @property
    def nights(self) -> int:
        """Width of the window in nights."""
        return int((self.last_utc_s - self.first_utc_s) // DAY_S) + 1


class Answer(NamedTuple):
    """A window and what came.

    Attributes:
        told: the window.
        drank_utc_s: when the bed's next watering began [s, Unix]; infinite: not in this season.
        ends_utc_s: end of the season [s, Unix].
    """

    told: Told
    drank_utc_s: float
    ends_utc_s: float

    @property
    def known(self) -> bool:
        """Whether it can be said if the window held."""
        if math.isfinite(self.drank_utc_s):
            return True
        return self._over_utc_s <= self.ends_utc_s

    @property
    def _over_utc_s(self) -> float:
        """The end of what was foreseen; without a window of the nights looked ahead."""
        if math.isfinite(self.told.first_utc_s):
            return self.told.last_utc_s
        return self.told.at_utc_s + NIGHTS_MOST * DAY_S

    @property
    def early(self) -> bool:
        """Whether the bed drank before its window, or where none was foreseen."""
        return self.drank_utc_s < min(self.told.first_utc_s, self._over_utc_s)

    @property
    def late(self) -> bool:
        """Whether the window was over before the bed drank."""
        return math.isfinite(self.told.first_utc_s) and self.drank_utc_s > self.told.last_utc_s

    @property
    def held(self) -> bool:
        """Whether the window held the watering, or none came where none was foreseen."""
        return not self.early and not self.late

    @property
    def ahead(self) -> str:
        """Nights from the dawn until the bed drank, in words."""
        nights = (self.drank_utc_s - self.told.at_utc_s) // DAY_S
        return f"{nights:.0f}" if nights < FAR_NIGHTS else f"{FAR_NIGHTS} or more"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lived:
    """One season in one world."""

    weather: str
    seed: int
    answers: tuple[Answer, ...]


def lived(garden: Garden, sure: bool, job: tuple[str, int]) -> Lived:
    """Live one season in one world and take down every window.

    Args:
        garden: the garden file.
        sure: whether the world is as that file says.
        job: weather and seed.

    Raises:
        SeasonError: the season cannot be used.
    """
    weather, seed = job
    replay = prepare(garden, weather, seed=seed, sure=sure)
    live = EngineReplay(replay.garden, replay.world(), replay.span)
    told: list[Told] = []
    for day, at_utc_s in dawns_of(replay):
        live.go(at_utc_s)
        told += _look(live, day, at_utc_s)
    live.go(replay.span.to_utc_s)
    began = {name: bed.waterings_utc_s for name, bed in live.account.beds.items()}
    return Lived(
        weather=weather,
        seed=seed,
        answers=tuple(
            Answer(one, _first(began[one.bed], one.at_utc_s), replay.span.to_utc_s) for one in told
        ),
    )


def _first(began_utc_s: Sequence[float], at_utc_s: float) -> float:
    """The first watering from an instant on, infinite where there is none."""
    return next((one for one in began_utc_s if one >= at_utc_s), math.inf)


def _look(live: EngineReplay, day: date, at_utc_s: float) -> Iterator[Told]:
    """The window of every growing bed that does not drink now."""
    run = live.engine.run
    window = window_now(run)
    for name, bed in live.garden.beds.items():
        gone = bed.cleared is not None and day >= bed.cleared
        if day < bed.transplanted or gone or name in run.state.waterings:
            continue
        view = view_of(run, name, window)
        found = outlook_of(run, view, window).window
        yield Told(
            bed=name,
            month=day.month,
            stage=view.stage.value,
            at_utc_s=at_utc_s,
            first_utc_s=math.inf if found is None else found.from_utc_s,
            last_utc_s=math.inf if found is None else found.to_utc_s,
        )


GROUPS: tuple[tuple[str, Callable[[Answer], str]], ...] = (
    ("month", lambda one: f"{one.told.month:02d}"),
    ("stage", lambda one: one.told.stage),
    ("nights", lambda one: one.ahead),
)


def measured(
    garden: Garden,
    seeds: Iterable[int],
    weather: Sequence[str] = WEATHER,
    *,
    sure: bool = False,
    jobs: int = 1,
) -> list[dict[str, Any]]:
    """Live all seasons and tell how the windows held, group by group.

    Args:
        garden: the garden file.
        seeds: which worlds.
        weather: names or paths of seasons.
        sure: whether the worlds are as the garden file says.
        jobs: processes, 1 or more.

    Returns:
        What `--json` prints as `groups`.

    Raises:
        SeasonError: a season cannot be used.
    """
    worlds = tuple(seeds)
    tasks = [(name, seed) for name in weather for seed in worlds]
    one = partial(lived, garden, sure)
    if jobs == 1:
        ended = [one(task) for task in tasks]
    else:
        with ProcessPoolExecutor(max_workers=jobs) as pool:
            ended = list(pool.map(one, tasks))
    parts = [(name, [each for each in ended if each.weather == name]) for name in weather]
    if len(parts) > 1:
        parts.append(("all", ended))
    return [row for name, some in parts for row in _rows(name, some)]


def _rows(weather: str, some: Sequence[Lived]) -> Iterator[dict[str, Any]]:
    """One season's groups; those of months, stages and nights where a dawn counts."""
    answers = [answer for one in some for answer in one.answers]
    head = {"weather": weather, "worlds": len(some)}
    yield head | {"by": "all", "group": "all"} | summary(answers)
    for by, of in GROUPS:
        found: dict[str, list[Answer]] = {}
        for answer in answers:
            if by != "nights" or math.isfinite(answer.drank_utc_s):
                found.setdefault(of(answer), []).append(answer)
        for group in sorted(found, key=lambda text: (len(text), text)):
            yield head | {"by": by, "group": group} | summary(found[group])


def summary(answers: Sequence[Answer]) -> dict[str, Any]:
    """What some windows came to; None where none counts."""
    known = [one for one in answers if one.known]
    widths = [one.told.nights for one in known if math.isfinite(one.told.first_utc_s)]
    wide = quantiles(widths, n=10)[8] if len(widths) > 1 else None
    return {
        "dawns": len(known),
        "open_dawns": len(answers) - len(known),
        "held_share": _share(one.held for one in known),
        "early_share": _share(one.early for one in known),
        "late_share": _share(one.late for one in known),
        "nights_median": median(widths) if widths else None,
        "nights_ninth_decile": None if wide is None else round(wide, 1),
    }


def _share(some: Iterable[bool]) -> float | None:
    counted = [float(one) for one in some]
    return round(fmean(counted), 4) if counted else None


def _cell(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"


def _lines(groups: Sequence[dict[str, Any]]) -> str:
    """The same for people."""
    head = (
        "weather        by      group         worlds  dawns   open   held  early   late"
        "  nights  9 of 10"
    )
    rows = [
        f"{one['weather']:13.13s}  {one['by']:6s}  {one['group']:12s}  {one['worlds']:6d}"
        f"  {one['dawns']:5d}  {one['open_dawns']:5d}  {_cell(one['held_share']):>5s}"
        f"  {_cell(one['early_share']):>5s}  {_cell(one['late_share']):>5s}"
        f"  {one['nights_median'] or 0:6.1f}  {one['nights_ninth_decile'] or 0:7.1f}"
        for one in groups
    ]
    return "\n".join([head, *rows])


def main(words: Sequence[str] | None = None) -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(
        prog="python -m sim.outlook_trials",
        description="Whether the window of the next watering holds the real night.",
    )
    parser.add_argument("--seeds", type=seeds_of, default=range(1, SEEDS + 1), help="N or A-B")
    parser.add_argument("--weather", action="append", help="a season; may be repeated")
    parser.add_argument("--garden", default="hollin-lane", help="a garden file or an example")
    parser.add_argument("--sure", action="store_true", help="worlds as the garden file says")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--json", action="store_true", help="print an object instead of lines")
    told = parser.parse_args(words)
    try:
        groups = measured(
            load_garden(find_garden(told.garden)),
            told.seeds,
            told.weather or WEATHER,
            sure=told.sure,
            jobs=max(1, told.jobs),
        )
    except ThirstlineError as exc:
        parser.error(str(exc))
    found = {"garden": told.garden, "seeds": list(told.seeds), "sure": told.sure, "groups": groups}
    sys.stdout.write((json.dumps(found) if told.json else _lines(groups)) + "\n")


if __name__ == "__main__":
    main()
