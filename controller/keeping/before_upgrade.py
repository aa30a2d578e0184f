"""Before the tables change: a backup of the record as the earlier version left it.

It lies in `backups` of the data folder, named by the record's own last instant, and no pruning
takes it. Without it the tables do not change: the earlier version cannot read them afterwards.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

from controller.errors import StoreError
from controller.keeping.backup import Made, Wanted, make_backup
from controller.store_copy import CopyFacts, database_bytes, facts_of

FOLDER = "backups"


def newer_words(database: Path, schema: int, known: int) -> str:
    """What to say of a record that a newer version wrote: what was found, and what to do.

    Args:
        database: the record.
        schema: the version of its tables.
        known: the newest that this program knows.
    """
    return (
        f"{database}: schema {schema} of a newer version; known is {known}. Nothing was changed. "
        "Install the newer version again, or give this one the backup that was made before the "
        f"upgrade: thirstline restore BACKUP. Look for it in {database.parent / FOLDER}"
    )


def back_up_first(
    copy: Callable[[Path], None],
    database: Path,
    *,
    at_utc_s: float | None,
    garden_json: str | None,
) -> Made:
    """Back the record up before its tables change.

    Args:
        copy: writes a copy of it to a path; nobody else writes to it.
        database: its file.
        at_utc_s: the record's last instant, None where it tells none.
        garden_json: the garden file in force, None where it tells none.

    Raises:
        StoreError: no backup could be made; the tables have to stay as they are.
    """
    at_s = database.stat().st_mtime if at_utc_s is None else at_utc_s
    wanted = Wanted(
        garden=_garden_id(garden_json, database.parent.name),
        why="before an upgrade",
        at_utc_s=at_s,
        program="",
        need_bytes=database_bytes(database),
    )
    try:
        return make_backup(database.parent / FOLDER, wanted, copy, _whole)
    except StoreError as exc:
        msg = f"{database}: not brought up to this version, since no backup can be made: {exc}"
        raise StoreError(msg) from exc


def _whole(copy: Path, scratch: Path) -> CopyFacts:
    """Look the copy through; it is not opened as a daemon would, which would change its tables."""
    del scratch
    return facts_of(copy)


def _garden_id(garden_json: str | None, otherwise: str) -> str:
    try:
        told = str(json.loads(garden_json or "")["garden"]["id"])
    except (ValueError, KeyError, TypeError):
        told = otherwise
    return re.sub(r"[^a-z0-9-]+", "-", told.lower()).strip("-")[:40] or "garden"
