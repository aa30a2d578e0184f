"""The way back from a backup: the record of then, and no water on the strength of it.

What has flowed since the backup stands nowhere, so the day's budget counts as spent: for 24 hours
of trusted time nothing opens by the policy or by hand, unless a person vouches. What was learned,
the walk, waterings and the season book are as they were. The record that gives way is kept aside.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from controller.datafolder import DataFolder
from controller.errors import StoreError
from controller.keeping.backup import DATABASE, Made, ask_for_room, read_backup
from controller.store import open_reader
from controller.store_copy import CopyFacts, facts_of, make_ready
from controller.store_schema import SCHEMA_VERSION

FRESH = "thirstline.db.restoring"


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """What a restore did.

    Attributes:
        made: the backup that came back.
        aside: the record that gave way, None where there was none.
        said: what stood in the record that gave way and is not in the backup, a sentence each.
    """

    made: Made
    aside: Path | None
    said: tuple[str, ...]


def restore(backup: Path, folder: DataFolder) -> Restored:
    """Put a backup in the place of the record.

    Args:
        backup: the folder of one backup.
        folder: the data folder; no daemon may hold it. It stays locked until `folder.unlock`.

    Returns:
        What was done.

    Raises:
        LockedError: a daemon holds the data folder.
        StoreError: the backup is torn, damaged or of a newer version, or there is no room. Until
            the last step the record is untouched.
    """
    folder.lock()
    made = read_backup(backup)
    facts = look_through(backup / DATABASE)
    said = tuple(_stood(folder))
    fresh = folder.path / FRESH
    _lay_ready(backup / DATABASE, fresh)
    folder.own(fresh)
    aside = folder.set_database_aside("replaced")
    try:
        folder.write_install_id(facts.install)
        fresh.rename(folder.database)
        folder.sync()
    except OSError as exc:
        msg = f"{folder.database}: cannot be put in place: {exc.strerror or exc}"
        raise StoreError(msg) from exc
    return Restored(made=made, aside=aside, said=said)


def look_through(database: Path) -> CopyFacts:
    """Look a copy through, and refuse one that this version cannot read.

    Raises:
        StoreError: it is damaged, or a newer version wrote it.
    """
    facts = facts_of(database)
    if facts.schema > SCHEMA_VERSION:
        msg = (
            f"{database}: schema {facts.schema}, written by a newer version; this one knows "
            f"{SCHEMA_VERSION}. Install the newer version and restore with it"
        )
        raise StoreError(msg)
    return facts


def prove(database: Path, scratch: Path) -> CopyFacts:
    """Restore a copy into an empty folder, open it there as a daemon would, and look it through.

    Args:
        database: the copy.
        scratch: an empty folder.

    Raises:
        StoreError: it would not come back.
    """
    facts = look_through(database)
    folder = DataFolder(scratch)
    _lay_ready(database, folder.database)
    folder.write_install_id(facts.install)
    with open_reader(folder) as reader:
        if reader.last_n() != facts.journal_n or reader.history_kind() != "lost":
            msg = f"{database}: the copy came back with other content"
            raise StoreError(msg)
        state_json = reader.newest_snapshot().state_json
    if state_json is not None and not isinstance(_document(state_json), dict):
        msg = f"{database}: its newest state cannot be read back"
        raise StoreError(msg)
    return facts


def _lay_ready(source: Path, target: Path) -> None:
    """Copy a database to the data folder, mark it, look it through there, and sync it."""
    try:
        ask_for_room(target.parent, source.stat().st_size)
        target.unlink(missing_ok=True)
        shutil.copyfile(source, target)
        make_ready(target)
        facts_of(target)
    except OSError as exc:
        target.unlink(missing_ok=True)
        msg = f"{target}: cannot be written: {exc.strerror or exc}"
        raise StoreError(msg) from exc
    except StoreError:
        with suppress(OSError):
            target.unlink(missing_ok=True)
        raise


def _stood(folder: DataFolder) -> Iterator[str]:
    """What a person said no with, in the record that gives way."""
    try:
        with open_reader(folder) as reader:
            state = _document(reader.readable_snapshot().state_json or "{}")
    except StoreError:
        return
    if not isinstance(state, dict):
        return
    if isinstance(state.get("lock_why"), str):
        yield f"The record that is replaced was locked ({state['lock_why'][:200]}): lock it again."
    if state.get("pause"):
        yield "The record that is replaced held a pause of the whole garden: set it again."
    alerts = state.get("alerts")
    for alert in alerts.values() if isinstance(alerts, dict) else ():
        if isinstance(alert, dict) and alert.get("person_needed"):
            yield f"An alert stood that waits for a person: {str(alert.get('text', ''))[:300]}"


def _document(text: str) -> Any:  # noqa: ANN401 - whatever stands there
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None
