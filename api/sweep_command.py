"""The command that lives many seasons in the simulated garden: `sweep`.

It tells the world's truth and nothing else, and writes each run to its file as it ends, so that it
can be stopped at any time and goes on with the same command.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from api.garden_meant import garden_of
from api.options import data_option, json_flag, print_json
from api.reporting import report
from api.reporting.report import Made
from api.season_options import (
    day_of,
    first_option,
    last_option,
    own_weather,
    policy_option,
    progress,
    report_option,
    sure_flag,
    typed,
    weather_help,
)
from controller.errors import WrongUseError
from controller.garden import Garden
from controller.garden_file import read_document
from sim.replay import POLICIES
from sim.season_types import Season
from sim.sweep import Sweep, run_all, runner, weather_of
from sim.sweep_file import SweepFile
from sim.sweep_rows import Row, Task, season_digest
from sim.sweep_summary import as_markdown, differences, summary
from sim.sweep_summary import as_text as summary_text
from sim.sweep_vary import POLICY_KEY, Vary, parse_vary, settings_of
from sim.weather import OWN

MOST_SEEDS = 100_000
SEEDS = 8  # where the command line names none, in drawn worlds


@click.command(short_help="Live many seasons on many soils.")
@click.argument("garden")
@click.argument("more", nargs=-1, metavar="[SEASON]...")
@click.option("--weather", "weathers", required=True, multiple=True, help=weather_help)
@click.option(
    "--vary",
    "varied",
    multiple=True,
    metavar="KEY=A,B,C",
    help="A value of the garden file: lean=0.2,0.5 or beds.south.lean=0.2,0.5; or policy=A,B.",
)
@click.option("--seeds", type=click.IntRange(1, MOST_SEEDS), help="Seeds 1 to this one.")
@click.option("--seed", "listed", metavar="3,5", help="These seeds.")
@policy_option
@first_option
@last_option
@sure_flag
@click.option("--jobs", type=click.IntRange(1, 1024), help="Processes; else one a core.")
@click.option("--dask", metavar="ADDRESS", help="Runs on the cluster of this Dask scheduler.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="A CSV file: one line a run; runs that stand in it are not run again.",
)
@report_option
@click.option("--seasons", "by_season", is_flag=True, help="Tell seasons apart in the summary.")
@click.option("--markdown", is_flag=True, help="The summary as a Markdown table.")
@data_option
@json_flag
def sweep(**told: Any) -> None:  # noqa: ANN401 - as click has it; `Asked` has the types
    """Live many seasons on many soils that nobody knows exactly, with and against the rivals.

    Example:  thirstline sweep hollin-lane --weather seattle-2014 seattle-2015 --seeds 20
    """
    asked = Asked(**told)
    setting, path = garden_of(asked.garden)
    planned = _planned(asked, path)
    if asked.report_file is not None:
        report.begin(asked.report_file)
    tasks = planned.tasks(lambda one, name: _weather(one, name, asked.data))
    run = runner(asked.jobs, asked.dask)
    began_s = time.perf_counter()
    done, kept = _swept(asked, setting, planned, tasks, run)
    rows = [done[task.key] for task in tasks if task.key in done]
    told_json = {
        "garden": setting.garden.id,
        "swept": planned.swept(setting),
        "runs": len(tasks),
        "finished": len(rows),
        "kept": kept,
        "seconds": round(time.perf_counter() - began_s, 2),
        "summary": [one.json() for one in summary(rows, by_season=asked.by_season)],
        "differences": [one.json() for one in differences(rows, by_season=asked.by_season)],
        "rows": [asdict(row) | {"beds": _beds(row)} for row in rows],
    }
    if asked.report_file is not None and rows:
        _write_report(asked, asked.report_file, planned, rows, told_json)
    if asked.as_json:
        print_json(told_json)
    else:
        _show(asked, planned, rows)
    if len(rows) < len(tasks):
        where = "lost without --out" if asked.out is None else f"in {asked.out}"
        click.echo(
            f"Stopped after {len(rows)} of {len(tasks)} runs; their rows are {where}.", err=True
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The words of one `sweep`."""

    garden: str
    more: tuple[str, ...]
    weathers: tuple[str, ...]
    varied: tuple[str, ...]
    seeds: int | None
    listed: str | None
    policies: tuple[str, ...]
    first: datetime | None
    last: datetime | None
    sure: bool
    jobs: int | None
    dask: str | None
    out: Path | None
    report_file: Path | None
    by_season: bool
    markdown: bool
    data: Path | None
    as_json: bool


def _planned(asked: Asked, path: Path) -> Sweep:
    varied = [parse_vary(text) for text in asked.varied]
    in_file = [one for one in varied if one.key != POLICY_KEY]
    seasons = (asked.weathers[0], *asked.more, *asked.weathers[1:])
    return Sweep(
        settings=tuple(settings_of(read_document(path).data, in_file)),
        seasons=tuple(dict.fromkeys(seasons)),
        seeds=_seeds(asked),
        policies=_policies(asked.policies, [one for one in varied if one.key == POLICY_KEY]),
        sure=asked.sure,
        first=day_of(asked.first),
        last=day_of(asked.last),
    )


def _policies(told: tuple[str, ...], varied: Sequence[Vary]) -> tuple[str, ...]:
    if len(varied) + bool(told) > 1:
        msg = "--vary policy=…: policies stand there twice; name them once, here or with --policy"
        raise WrongUseError(msg)
    found = varied[0].values if varied else told
    wrong = next((name for name in found if name not in POLICIES), None)
    if wrong is not None:
        msg = f"--vary policy: {wrong[:40]!r} is not one of {', '.join(POLICIES)}"
        raise WrongUseError(msg)
    return tuple(dict.fromkeys(found)) or POLICIES


def _seeds(asked: Asked) -> tuple[int, ...]:
    if asked.listed is None:
        return tuple(range(1, 1 + (asked.seeds or (1 if asked.sure else SEEDS))))
    if asked.seeds is not None:
        msg = "--seeds and --seed: only one of the two"
        raise WrongUseError(msg)
    words = [word.strip() for word in asked.listed.split(",")]
    if not all(word.isascii() and word.isdecimal() and len(word) < 10 for word in words):
        msg = f"--seed {asked.listed[:40]!r}: is not of the form 3,5 (whole numbers from 0)"
        raise WrongUseError(msg)
    return tuple(dict.fromkeys(int(word) for word in words))


def _weather(garden: Garden, name: str, data: Path | None) -> tuple[Season | str, str]:
    if name != OWN:
        return weather_of(garden, name)
    season = own_weather(garden, data)
    return season, season_digest(season)


def _swept(
    asked: Asked,
    garden: Garden,
    planned: Sweep,
    tasks: Sequence[Task],
    run: Callable[[Sequence[Task]], Any],
) -> tuple[dict[str, Row], int]:
    """Run what is missing; the rows by key, and how many of those asked for were there."""
    file = None
    if asked.out is not None:
        file = SweepFile(asked.out, planned.swept(garden), tuple(garden.beds))
    with file or nullcontext():
        done = dict(file.kept) if file is not None else {}
        kept = sum(task.key in done for task in tasks)
        if file is not None and file.dropped:
            click.echo(file.dropped, err=True)
        if kept:
            click.echo(f"{kept} of {len(tasks)} runs stood in {asked.out}.", err=True)
        with progress(asked.as_json, len(tasks), "Seasons") as bar:
            if bar is not None:
                bar.update(kept)

            def ended(row: Row) -> None:
                done[row.key] = row
                if file is not None:
                    file.add(row)
                if bar is not None:
                    bar.update(1)

            run_all(tasks, run, done, ended)
    return done, kept


def _swept_words(planned: Sweep, rows: Sequence[Row]) -> str:
    world = "sure worlds" if planned.sure else "drawn worlds"
    seeds = len({row.seed for row in rows})
    return (
        f"{', '.join(planned.seasons)}: {len(rows)} runs in {world},"
        f" {seeds} seed{'' if seeds == 1 else 's'}."
    )


def _write_report(
    asked: Asked, path: Path, planned: Sweep, rows: Sequence[Row], told: dict[str, Any]
) -> None:
    groups = summary(rows, by_season=asked.by_season)
    less = differences(rows, by_season=asked.by_season)
    info = garden_of(asked.garden)[0].garden
    made = Made(command=typed(), garden=info.name or info.id)
    words = (_swept_words(planned, rows), rows[0].setting or "the file as it is")
    report.write(path, report.of_sweep(made, groups, less, words, told))


def _show(asked: Asked, planned: Sweep, rows: Sequence[Row]) -> None:
    if not rows:
        return
    table = as_markdown if asked.markdown else summary_text
    click.echo(
        f"{_swept_words(planned, rows)}\n"
        "Median and whole range; dawns and rewettings are summed over the beds.\n"
    )
    click.echo(table(summary(rows, by_season=asked.by_season)))
    less = differences(rows, by_season=asked.by_season)
    if less:
        click.echo(
            f"\nAgainst {rows[0].setting}, run by run on the same season and seed"
            "\n(shares and yield in percentage points):\n"
        )
        click.echo(table(less, signed=True))
    if asked.report_file is not None:
        click.echo(f"\nReport: {asked.report_file}")


def _beds(row: Row) -> dict[str, Any]:
    return {name: asdict(bed) for name, bed in row.beds}
