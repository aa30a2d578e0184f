"""The command that lives one season in the simulated garden: `replay`.

It tells the world's truth and nothing else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import click

from api.garden_meant import garden_of
from api.options import data_option, json_flag, print_json, say
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
from api.season_pictures import make_folder, write_pictures
from sim.fault_file import read_faults
from sim.fault_lots import random_faults
from sim.faults import FaultScript
from sim.picks import read_picks
from sim.replay import POLICIES, PolicyRun, Replay, prepare, run_policy, season_json
from sim.report import as_text
from sim.weather import OWN


def _faults(told: str, replayed: Replay) -> FaultScript:
    """What breaks in a replay: by a file, or drawn from its seed."""
    span = replayed.span
    if told == "random":
        return random_faults(
            replayed.garden,
            span.to_utc_s - span.from_utc_s,
            replayed.seed,
            begin_utc_s=span.from_utc_s,
        )
    return read_faults(Path(told), replayed.garden, span.from_utc_s)


@click.command(short_help="Live a season through the real engine.")
@click.argument("garden")
@click.option("--weather", required=True, help=weather_help)
@first_option
@last_option
@policy_option
@click.option("--seed", type=int, default=1, show_default=True)
@sure_flag
@click.option("--picks", type=click.Path(path_type=Path), help="Planned picks by bed (a file).")
@click.option("--faults", metavar="FILE|random", help="What breaks when: a TOML file, or random.")
@click.option("--out", type=click.Path(path_type=Path), help="A folder for one picture a bed.")
@report_option
@data_option
@json_flag
def replay(
    garden: str,
    weather: str,
    first: datetime | None,
    last: datetime | None,
    policies: tuple[str, ...],
    seed: int,
    sure: bool,
    picks: Path | None,
    faults: str | None,
    out: Path | None,
    report_file: Path | None,
    data: Path | None,
    as_json: bool,
) -> None:
    """Live a season through the real engine, and rivals beside it.

    Example:  thirstline replay hollin-lane --weather seattle-2015 --policy thirstline --sure
    """
    setting = garden_of(garden)[0]
    replayed = prepare(
        setting,
        own_weather(setting, data) if weather == OWN else weather,
        first=day_of(first),
        last=day_of(last),
        seed=seed,
        sure=sure,
        picks=None if picks is None else read_picks(picks, setting),
    )
    if faults is not None:
        replayed = replace(replayed, faults=_faults(faults, replayed))
    if out is not None:
        make_folder(out)
    if report_file is not None:
        report.begin(report_file)
    runs = _lived(replayed, policies or POLICIES, as_json)
    pictures = [] if out is None else write_pictures(out, replayed, runs)
    _tell(replayed, runs, pictures, report_file, as_json=as_json)


def _tell(
    replayed: Replay,
    runs: list[PolicyRun],
    pictures: Sequence[Path],
    report_file: Path | None,
    *,
    as_json: bool,
) -> None:
    """What a replay came to, on the terminal and as a page."""
    info = replayed.garden.garden
    told = {
        "garden": info.id,
        "season": season_json(replayed),
        "policies": [one.json() for one in runs],
    }
    if report_file is not None:
        made = Made(command=typed(), garden=info.name or info.id)
        report.write(report_file, report.of_replay(made, replayed, runs, told))
    if as_json:
        print_json(told)
        return
    say(as_text(replayed, runs))
    for path in pictures:
        say(f"Picture: {path}")
    if report_file is not None:
        say(f"Report: {report_file}")


def _lived(replayed: Replay, policies: Sequence[str], as_json: bool) -> list[PolicyRun]:
    """Run the policies one after the other, and say how far it is."""
    runs = []
    with progress(as_json, len(policies), "Policies") as bar:
        for policy in policies:
            runs.append(run_policy(replayed, policy))
            if bar is not None:
                bar.update(1)
    return runs
