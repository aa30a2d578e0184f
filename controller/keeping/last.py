"""The last backup as the data folder remembers it, and the words for its age."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from controller.datafolder import DataFolder
from controller.errors import StoreError
from controller.keeping.backup import Made

DAY_S = 86_400.0
OLD_S = 8.0 * DAY_S  # [s] a weekly backup that was missed


class LastBackup(BaseModel):
    """`backups.json`: when and where the last backup was made."""

    model_config = ConfigDict(frozen=True, extra="ignore", strict=True, allow_inf_nan=False)

    at_utc_s: float
    path: str
    bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupState:
    """How the backups stand.

    Attributes:
        age_s: since the last one [s]; None where none is known. Negative: a clock put back.
        path: where it lies.
        there: whether it is there now; a stick that is pulled out is none.
        same_disk: whether it lies on the disk that it is to outlive; None where nobody can tell.
    """

    age_s: float | None
    path: str = ""
    there: bool = False
    same_disk: bool | None = None


def remember(folder: DataFolder, made: Made) -> None:
    """Let the data folder remember its last backup.

    Raises:
        StoreError: it cannot be written.
    """
    told = {"at_utc_s": made.manifest.made_utc_s, "path": str(made.path), "bytes": made.size_bytes}
    folder.write_backups(json.dumps(told))


def backup_state(folder: DataFolder, now_utc_s: float) -> BackupState:
    """See how the backups of a data folder stand.

    Args:
        folder: the data folder.
        now_utc_s: now [s, Unix].
    """
    try:
        last = LastBackup.model_validate_json(folder.read_backups())
    except (StoreError, ValidationError):
        return BackupState(age_s=None)
    there, same = _where(Path(last.path), folder.path)
    age_s = now_utc_s - last.at_utc_s
    return BackupState(age_s=age_s, path=last.path, there=there, same_disk=same)


def age_words(state: BackupState) -> str:
    """The age of the last backup in a sentence, for the weekly message and `doctor`."""
    if state.age_s is None:
        return "No backup of the record is known."
    days = state.age_s / DAY_S
    age = "today" if days < 1.0 else f"{days:.0f} {'day' if days < 1.5 else 'days'} ago"
    where = ", on the same disk as the record" if state.same_disk else ""
    return f"The last backup was made {age}{where}."


def weekly_words(state: BackupState) -> str:
    """The same with what to do where it is old or none."""
    words = age_words(state)
    if state.age_s is None or not state.age_s <= OLD_S:
        return f"{words} Make one: thirstline backup FOLDER, on another disk or a stick."
    return words


def _where(path: Path, data: Path) -> tuple[bool, bool | None]:
    try:
        backup, here = path.stat(), data.stat()
    except OSError:
        return False, None
    return True, backup.st_dev == here.st_dev
