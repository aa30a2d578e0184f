"""`thirstline backup` and `thirstline restore`: the record kept twice, and the way back."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import click

from api.folders import folder_meant
from api.garden_meant import garden_of
from api.options import data_option, json_flag, print_json
from api.orders import rfc3339
from controller.clock import real_utc_s
from controller.datafolder import DataFolder, default_data_dir
from controller.errors import StoreError, UsageError
from controller.keeping.backup import GARDEN, backups_in, read_backup
from controller.keeping.copying import FOLDER, Kept, back_up
from controller.keeping.restore import Restored, restore

SPENT_WORDS = (
    "What has flowed since then stands nowhere: when the daemon starts, the day's water counts as "
    "spent. For 24 hours it opens nothing, by itself or by hand, and says so (history_lost). "
    "Whoever knows that little has flowed may lift that on the page, with the reason."
)
PAIRS_WORDS = "Phones that were withdrawn since then are paired again: thirstline pair --list."


def program_version() -> str:
    """This program's version; empty in a bare checkout."""
    try:
        return version("thirstline")
    except PackageNotFoundError:
        return ""


@click.command(short_help="Copy the record while the daemon runs.")
@click.argument("to", metavar="[FOLDER]", required=False, type=click.Path(path_type=Path))
@click.option("--garden", default=None, help="The garden file, where no daemon runs.")
@click.option("--keep", type=click.IntRange(1, 1000), default=None, help="How many stay.")
@click.option("--list", "lists", is_flag=True, help="Show what is there, and make none.")
@data_option
@json_flag
def backup(
    to: Path | None,
    garden: str | None,
    keep: int | None,
    lists: bool,
    data: Path | None,
    as_json: bool,
) -> None:
    """Copy the record while the daemon runs, and prove the copy by a way back.

    Example:  thirstline backup /media/stick --keep 12
    """
    if lists:
        _list(folder_meant(garden, data).path / FOLDER if to is None else to, as_json)
        return
    folder = folder_meant(garden, data)
    file = None if garden is None else garden_of(garden)[1]
    kept = back_up(
        folder,
        to,
        now_utc_s=real_utc_s(),
        program=program_version(),
        keep=keep,
        garden_file=file,
    )
    if as_json:
        print_json(_kept_json(kept))
        return
    told = kept.made.manifest
    click.echo(
        f"{kept.made.path}: {kept.made.size_bytes / 1e6:.1f} MB, {told.openings} openings, "
        f"{told.journal_n} events. Proved: it came back into an empty folder, whole."
    )
    for gone in kept.pruned:
        click.echo(f"Removed: {gone}")
    for line in kept.said:
        click.echo(line)


def _kept_json(kept: Kept) -> dict[str, object]:
    return {
        "path": str(kept.made.path),
        "bytes": kept.made.size_bytes,
        "proved": True,
        "manifest": kept.made.manifest.model_dump(),
        "removed": [str(path) for path in kept.pruned],
        "said": list(kept.said),
    }


def _list(where: Path, as_json: bool) -> None:
    found = backups_in(where)
    if as_json:
        rows = [
            {"path": str(one.path), "bytes": one.size_bytes, **one.manifest.model_dump()}
            for one in found
        ]
        print_json({"folder": str(where), "backups": rows})
        return
    for one in found:
        told = one.manifest
        made = datetime.fromtimestamp(told.made_utc_s, UTC)
        click.echo(
            f"{made:%Y-%m-%d %H:%M} UTC  {one.size_bytes / 1e6:8.1f} MB  {told.garden}, "
            f"{told.why}: {one.path}"
        )
    if not found:
        click.echo(f"{where}: no backup")


@click.command(name="restore", short_help="Put a backup in the place of the record.")
@click.argument("backup", type=click.Path(path_type=Path))
@click.option(
    "--garden-file", type=click.Path(path_type=Path), help="Where its garden file goes; a new name."
)
@data_option
@json_flag
def restore_command(
    backup: Path, garden_file: Path | None, data: Path | None, as_json: bool
) -> None:
    """Put a backup in the place of the record; the daemon has to be stopped.

    The record that gives way is kept aside. Nothing opens for a day after it, unless a person
    vouches.

    Example:  thirstline restore /media/stick/plot-20260801T020000Z
    """
    told = read_backup(backup).manifest
    where = data if data is not None else default_data_dir(told.garden, os.environ)
    if garden_file is not None:
        _ask_for_new(backup, garden_file)
    folder = DataFolder(where)
    try:
        done = restore(backup, folder)
    finally:
        folder.unlock()
    if garden_file is not None:
        _lay_garden(backup / GARDEN, garden_file)
    if as_json:
        print_json(_restored_json(done, where))
    else:
        _tell(done, where, garden_file)


def _ask_for_new(backup: Path, garden_file: Path) -> None:
    if not (backup / GARDEN).exists():
        msg = f"{backup}: there is no garden file in this backup"
        raise UsageError(msg)
    if garden_file.exists():
        msg = f"{garden_file}: there is a file already; it is not written over"
        raise UsageError(msg)


def _lay_garden(source: Path, target: Path) -> None:
    try:
        with target.open("xb") as file:
            file.write(source.read_bytes())
    except OSError as exc:
        msg = f"{target}: the record is restored, its garden file cannot be written: {exc.strerror}"
        raise StoreError(msg) from exc


def _restored_json(done: Restored, where: Path) -> dict[str, object]:
    return {
        "data": str(where),
        "aside": None if done.aside is None else str(done.aside),
        "manifest": done.made.manifest.model_dump(),
        "budget_spent_hours": 24,
        "said": [*done.said, SPENT_WORDS, PAIRS_WORDS],
    }


def _tell(done: Restored, where: Path, garden_file: Path | None) -> None:
    told = done.made.manifest
    last = "nothing" if told.last_utc_s is None else rfc3339(told.last_utc_s)
    click.echo(f"{where}: the record of {last} is back, {told.openings} openings.")
    if done.aside is not None:
        click.echo(f"The record that gave way is kept: {done.aside}")
    for line in (*done.said, SPENT_WORDS, PAIRS_WORDS):
        click.echo(line)
    if garden_file is not None:
        click.echo(f"The garden file of then: {garden_file}. Read it before the daemon does.")
    elif GARDEN in told.files:
        click.echo(f"The garden file of then lies in the backup: {done.made.path / GARDEN}")
