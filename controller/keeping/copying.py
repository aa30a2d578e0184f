"""A backup of a data folder, from what the record itself says of its garden."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from controller.datafolder import DataFolder
from controller.errors import GardenError, StoreError
from controller.garden import Garden, load_garden
from controller.keeping.backup import Made, Wanted, make_backup, prune
from controller.keeping.last import remember
from controller.keeping.restore import prove
from controller.store import open_reader
from controller.store_copy import copy_database, database_bytes

FOLDER = "backups"  # in the data folder, where none is told


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A backup made, what had to give way for it, and what is to be said of it."""

    made: Made
    pruned: tuple[Path, ...]
    said: tuple[str, ...]


def back_up(
    folder: DataFolder,
    into: Path | None,
    *,
    now_utc_s: float,
    program: str,
    keep: int | None = None,
    garden_file: Path | None = None,
) -> Kept:
    """Back a data folder up; the daemon may run or not.

    Args:
        folder: the data folder.
        into: the folder of backups; None: within the data folder.
        now_utc_s: now [s, Unix].
        program: this program's version.
        keep: how many stay; None: all.
        garden_file: goes along; None: the one that the running daemon reads.

    Raises:
        StoreError: there is no record, or no backup could be made.
    """
    where = (folder.path / FOLDER if into is None else into).absolute()
    known = garden_known(folder)
    address = folder.read_daemon_json()
    if garden_file is None and address is not None and address.garden_file is not None:
        garden_file = Path(address.garden_file)
    wanted = Wanted(
        garden=known.garden.id if known is not None else _plain(folder.path.name),
        why="by hand",
        at_utc_s=now_utc_s,
        program=program,
        need_bytes=database_bytes(folder.database),
        garden_file=garden_file,
    )
    made = make_backup(where, wanted, lambda path: copy_database(folder.database, path), prove)
    gone = [] if keep is None else prune(where, wanted.garden, keep)
    said = [*_doubts(made, known, garden_file), *_remembered(folder, made)]
    if where.stat().st_dev == folder.path.stat().st_dev:
        said.append("It lies on the same disk as the record, and does not outlive it.")
    return Kept(made=made, pruned=tuple(gone), said=tuple(said))


def garden_known(folder: DataFolder) -> Garden | None:
    """The garden file in force when the record was last written; None where it tells of none.

    Raises:
        StoreError: the record cannot be read.
    """
    with open_reader(folder) as reader:
        text = reader.garden_json()
    if text is None:
        return None
    try:
        return Garden.model_validate_json(text)
    except ValueError:
        return None  # of another version


def _remembered(folder: DataFolder, made: Made) -> list[str]:
    try:
        remember(folder, made)
    except StoreError as exc:  # a full disk: the backup is whole all the same
        return [f"Its date cannot be remembered: {exc}"]
    return []


def _doubts(made: Made, known: Garden | None, garden_file: Path | None) -> list[str]:
    if garden_file is None:
        return ["The garden file is not in it: tell it with --garden FILE."]
    try:
        same = known is None or load_garden(garden_file) == known
    except GardenError:
        same = False
    if same:
        return []
    return [f"{garden_file} is not the garden file that was in force: both are kept as they are."]


def _plain(name: str) -> str:
    """A folder's name as the name of a garden."""
    return re.sub(r"[^a-z0-9-]+", "-", name.lower()).strip("-")[:40] or "garden"
