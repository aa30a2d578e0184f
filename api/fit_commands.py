"""Winter's commands: `fit`, a world out of an own season's record, and `what-if`, played in it.

Both need the extra `winter`, which is looked for only when they are called.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from api.garden_meant import garden_of
from api.options import data_option, json_flag, print_json, say
from controller.datafolder import DataFolder, default_data_dir
from controller.errors import UsageError, WrongUseError
from controller.garden_file import read_document
from sim.replay import POLICIES
from sim.sweep_vary import parse_vary, settings_of

if TYPE_CHECKING:
    from sim.winter.fitting.fit_file import FitFile
    from sim.winter.fitting.what_if import Band, Line, Pair, Play

DRAWS = 20
MOST_DRAWS = 1000
LINE_MOST = 0.3
NEEDS_WINTER = "needs numpy and scipy: pip install 'thirstline[winter]'"


def _winter(what: str) -> None:
    """Refuse where the extra is not there."""
    try:
        import numpy  # noqa: F401
        import scipy  # noqa: F401
    except ModuleNotFoundError as exc:
        msg = f"{what}: {NEEDS_WINTER}"
        raise UsageError(msg) from exc


@click.command(short_help="Learn soil, thirst and probes from a season's record.")
@click.argument("garden")
@data_option
@click.option(
    "--csv",
    "csv_folder",
    type=click.Path(path_type=Path),
    help="A folder with weather.csv, waterings.csv and readings.csv, instead of the store.",
)
@click.option("--out", type=click.Path(path_type=Path), help="Where the fit is written.")
@json_flag
def fit(
    garden: str, data: Path | None, csv_folder: Path | None, out: Path | None, as_json: bool
) -> None:
    """Fit soil, thirst and probes to what an own season's record tells.

    Foretells the last quarter from the rest first, and says what it could not learn.

    Example:  thirstline fit garden.toml --out fit-2026.json
    """
    _winter("fit")
    from sim.winter.fitting import fit_file
    from sim.winter.fitting.csv_record import from_csv
    from sim.winter.fitting.season_fit import fit_season
    from sim.winter.fitting.store_record import from_store
    from sim.winter.fitting.words import as_text

    if csv_folder is not None and data is not None:
        msg = "--csv and --data: only one of the two"
        raise WrongUseError(msg)
    setting, path = garden_of(garden)
    if csv_folder is not None:
        observed = from_csv(setting, csv_folder)
    else:
        where = default_data_dir(setting.garden.id, os.environ) if data is None else data
        observed = from_store(setting, DataFolder(where, make=False).database)
    results = fit_season(observed, tell=lambda text: click.echo(text, err=True))
    document = fit_file.as_document(observed, read_document(path).data, results)
    if out is not None:
        fit_file.write(out, document)
    if as_json:
        left_out = ("garden_file", "weather")
        print_json({name: told for name, told in document.items() if name not in left_out})
    else:
        say(as_text(observed, results))
        if out is not None:
            say(f"Fit: {out}")
    if all(one.fit is None for one in results):
        msg = "no bed could be fitted; a what-if would only play the class table"
        raise UsageError(msg)


@click.command("what-if", short_help="Live a fitted season with other lines or mulch.")
@click.argument("fit_path", metavar="FIT", type=click.Path(path_type=Path))
@click.option("--line", type=float, help="Thirst lines further by this: 0.05 drier, -0.05 wetter.")
@click.option("--policy", type=click.Choice(POLICIES), help="Who waters instead.")
@click.option("--lean", type=float, help="Of every bed, 0 lush to 1 lean.")
@click.option("--mulch", type=click.Choice(["none", "straw", "plastic"]), help="Of every bed.")
@click.option("--wetted-width", type=float, help="Of every bed [m].")
@click.option(
    "--set",
    "varied",
    multiple=True,
    metavar="KEY=VALUE",
    help="Any value of the garden file: beds.south.lean=0.8, limits.…",
)
@click.option("--draws", type=click.IntRange(3, MOST_DRAWS), default=DRAWS, show_default=True)
@click.option("--jobs", type=click.IntRange(1, 1024), help="Processes; else one a core.")
@json_flag
def what_if(**told: Any) -> None:  # noqa: ANN401 - as click has it
    """Ask what another line, policy or mulch would have done in the season that was fitted.

    Example:  thirstline what-if fit-2026.json --line 0.05
    """
    _winter("what-if")
    from sim.winter.fitting import fit_file
    from sim.winter.fitting import what_if as winter
    from sim.winter.fitting.words import bands_as_text

    fitted = fit_file.read(told["fit_path"])
    changes = _changes(told)
    plays = _plays(fitted, told, changes)
    jobs = told["jobs"] or os.cpu_count() or 1
    question = _question(told, changes)

    def early(pairs: Sequence[Pair]) -> None:
        if not told["as_json"]:
            click.echo(bands_as_text(f"{question}, so far", winter.bands(pairs)), err=True)

    found = winter.bands(winter.played(plays, jobs, early))
    if told["as_json"]:
        print_json(_document(fitted, question, found))
        return
    say(bands_as_text(question, found))
    for bed, why in fitted.refused.items():
        say(f"{bed} was not fitted ({why}); it is drawn from the class table's spreads.")


def _changes(told: dict[str, Any]) -> list[str]:
    """What is set in the garden file, as `key=value`."""
    named = {"lean": "lean", "mulch": "mulch", "wetted_width": "wetted_width_m"}
    found = [f"{key}={told[name]}" for name, key in named.items() if told[name] is not None]
    return [*found, *told["varied"]]


def _question(told: dict[str, Any], changes: Sequence[str]) -> str:
    words = list(changes)
    if told["line"] is not None:
        words.insert(0, f"thirst lines {100 * told['line']:+g} points")
    if told["policy"] is not None:
        words.append(f"policy {told['policy']}")
    if not words:
        msg = "what-if: nothing is changed; name --line, --policy, --lean, --mulch or --set"
        raise WrongUseError(msg)
    return ", ".join(words)


def _plays(fitted: FitFile, told: dict[str, Any], changes: Sequence[str]) -> list[Play]:
    from sim.true_weather import weather_draw
    from sim.winter.fitting.posterior import drawn_from
    from sim.winter.fitting.what_if import Line, Play

    shift = told["line"] or 0.0
    if not -LINE_MOST <= shift <= LINE_MOST:
        msg = f"--line: {shift:g} is outside -{LINE_MOST:g} to {LINE_MOST:g}"
        raise WrongUseError(msg)
    _question(told, changes)
    varied = [parse_vary(text) for text in changes]
    if any(len(one.values) > 1 for one in varied):
        msg = "--set: one value for each key; `sweep --vary` takes several"
        raise WrongUseError(msg)
    was: Line = Line(garden=fitted.garden)
    then = Line(
        garden=settings_of(fitted.document, varied)[0].garden,
        policy=told["policy"] or was.policy,
        shift_frac=shift,
    )
    return [
        Play(
            number=number,
            drawn=replace(drawn_from(fitted, number), weather=weather_draw(fitted.season, number)),
            season=fitted.season,
            last=fitted.last,
            was=was,
            then=then,
        )
        for number in range(1, told["draws"] + 1)
    ]


def _document(fitted: FitFile, question: str, found: dict[str, Band]) -> dict[str, Any]:
    return {
        "garden": fitted.garden.garden.id,
        "garden_digest": fitted.garden_digest,
        "question": question,
        "unfitted": dict(fitted.refused),
        "bands_80": {name: asdict(one) for name, one in found.items()},
    }
