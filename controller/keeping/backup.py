"""Backups: one folder each, whole or not there, proved by a way back into a scratch folder.

`<garden>-<instant>/` holds `thirstline.db` (one file), `garden.toml` where that was at hand, and
`backup.json`, which names both with length and SHA-256. It is made under another name, proved,
synced and only then renamed, so a backup that was cut short has no name that counts. Left out:
the operator's token and what was told of alarms.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from controller.errors import StoreError
from controller.store_copy import CopyFacts

DATABASE, GARDEN, MANIFEST = "thirstline.db", "garden.toml", "backup.json"
SPARE_BYTES = 16 * 1024 * 1024  # [bytes] that stay free beside a backup
NAME = re.compile(r"(?P<garden>[a-z0-9][a-z0-9-]{0,60})-(?P<at>\d{8}T\d{6}Z)(?:\.\d+)?")
PARTIAL = ".part-"
GARDEN_MOST_BYTES = 1024 * 1024
CHUNK_BYTES = 1024 * 1024


class FileFacts(BaseModel):
    """One file of a backup."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    bytes: int
    sha256: str


class Manifest(BaseModel):
    """What a backup says of itself: `backup.json`."""

    model_config = ConfigDict(frozen=True, extra="ignore", strict=True, allow_inf_nan=False)

    garden: str
    why: str
    made_utc_s: float
    program: str
    engine: str | None
    schema_version: int
    install: str
    last_utc_s: float | None
    journal_n: int
    openings: int
    files: dict[str, FileFacts]


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A backup that is whole."""

    path: Path
    manifest: Manifest

    @property
    def size_bytes(self) -> int:
        """All its files [bytes]."""
        return sum(one.bytes for one in self.manifest.files.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a backup is made of.

    Attributes:
        garden: the garden's id, part of the name.
        why: `by hand` or `before schema N`.
        at_utc_s: the instant that names it [s, Unix].
        program: this program's version.
        need_bytes: the most that it takes [bytes].
        garden_file: a copy of this file goes along, None for none.
    """

    garden: str
    why: str
    at_utc_s: float
    program: str
    need_bytes: int
    garden_file: Path | None = None


def make_backup(
    into: Path,
    wanted: Wanted,
    copy: Callable[[Path], None],
    prove: Callable[[Path, Path], CopyFacts],
) -> Made:
    """Make one backup and prove it.

    Args:
        into: the folder of backups; made where it is missing.
        wanted: what is wanted.
        copy: writes the database's copy to a path.
        prove: takes a database and an empty folder to try it in, and tells its facts.

    Returns:
        The backup, under its own name.

    Raises:
        StoreError: nothing of it is left, and what was there before is untouched.
    """
    name = f"{wanted.garden}-{datetime.fromtimestamp(wanted.at_utc_s, UTC):%Y%m%dT%H%M%SZ}"
    partial = into / f"{PARTIAL}{name}-{os.getpid()}"
    try:
        into.mkdir(mode=0o700, parents=True, exist_ok=True)
        ask_for_room(into, 2 * wanted.need_bytes)  # the copy, and where it is proved
        partial.mkdir(mode=0o700)
        copy(partial / DATABASE)
        scratch = partial / "scratch"
        scratch.mkdir(mode=0o700)
        facts = prove(partial / DATABASE, scratch)
        shutil.rmtree(scratch)
        if wanted.garden_file is not None:
            _put(partial / GARDEN, _garden_text(wanted.garden_file))
        manifest = _manifest(partial, wanted, facts)
        _put(partial / MANIFEST, manifest.model_dump_json(indent=1).encode() + b"\n")
        _sync_folder(partial)
        path = _free(into, name)
        partial.rename(path)
        _sync_folder(into)
    except OSError as exc:
        shutil.rmtree(partial, ignore_errors=True)
        msg = f"{into}: the backup cannot be written: {exc.strerror or exc}"
        raise StoreError(msg) from exc
    except StoreError:
        shutil.rmtree(partial, ignore_errors=True)
        raise
    return Made(path=path, manifest=manifest)


def read_backup(path: Path) -> Made:
    """Read a backup and hold its files against what it says of them.

    Raises:
        StoreError: it is none, was cut short, or a file of it is not the one that was written.
    """
    made = Made(path=path, manifest=_read_manifest(path))
    if DATABASE not in made.manifest.files:
        msg = f"{path / MANIFEST}: it names no {DATABASE}"
        raise StoreError(msg)
    for name, told in made.manifest.files.items():
        if name not in {DATABASE, GARDEN}:
            msg = f"{path / MANIFEST}: {name[:40]!r} is no file of a backup"
            raise StoreError(msg)
        try:
            found = _file_facts(path / name)
        except OSError as exc:
            msg = f"{path / name}: this backup is torn: {exc.strerror or exc}"
            raise StoreError(msg) from exc
        if found != told:
            msg = (
                f"{path / name}: this backup is torn or was changed: {found.bytes} bytes, written "
                f"were {told.bytes}{'' if found.bytes != told.bytes else ', of other content'}"
            )
            raise StoreError(msg)
    return made


def backups_in(into: Path, garden: str | None = None) -> list[Made]:
    """List the backups in a folder by what they say, oldest first; their files are not read.

    Args:
        into: the folder of backups.
        garden: only this garden's.
    """
    found = [one for one in _listed(into) if garden in {None, one.manifest.garden}]
    return sorted(found, key=lambda one: (one.manifest.made_utc_s, one.path.name))


def prune(into: Path, garden: str, keep: int) -> list[Path]:
    """Remove all but the newest backups made by hand or by timer, and leftovers of ours.

    A backup that a migration made stays: it is the only way back to the version before.

    Args:
        into: the folder of backups.
        garden: whose; others' are left alone.
        keep: how many stay, 1 or more.

    Returns:
        What was removed.
    """
    own = [one for one in backups_in(into, garden) if not one.manifest.why.startswith("before")]
    gone = [one.path for one in own[: max(0, len(own) - max(1, keep))]]
    for path in gone:
        # The manifest first: cut in the middle, what is left counts as no backup.
        with suppress(OSError):
            (path / MANIFEST).unlink()
        shutil.rmtree(path, ignore_errors=True)
    for path in into.glob(f"{PARTIAL}{garden}-*"):
        if not _lives(path.name.rpartition("-")[2]):
            shutil.rmtree(path, ignore_errors=True)
    return gone


def _listed(into: Path) -> Iterator[Made]:
    try:
        folders = [path for path in into.iterdir() if NAME.fullmatch(path.name)]
    except OSError:
        return
    for path in folders:
        with suppress(StoreError):
            yield Made(path=path, manifest=_read_manifest(path))


def _read_manifest(path: Path) -> Manifest:
    try:
        return Manifest.model_validate_json((path / MANIFEST).read_bytes())
    except FileNotFoundError as exc:
        msg = f"{path}: this is no backup, or one that was cut short: {MANIFEST} is missing"
        raise StoreError(msg) from exc
    except OSError as exc:
        msg = f"{path}: cannot be read: {exc.strerror or exc}"
        raise StoreError(msg) from exc
    except ValidationError as exc:
        msg = f"{path / MANIFEST}: torn, or of another kind of backup"
        raise StoreError(msg) from exc


def _manifest(partial: Path, wanted: Wanted, facts: CopyFacts) -> Manifest:
    names = [name for name in (DATABASE, GARDEN) if (partial / name).exists()]
    return Manifest(
        garden=wanted.garden,
        why=wanted.why,
        made_utc_s=wanted.at_utc_s,
        program=wanted.program,
        engine=facts.engine,
        schema_version=facts.schema,
        install=facts.install,
        last_utc_s=facts.at_utc_s,
        journal_n=facts.journal_n,
        openings=facts.openings,
        files={name: _file_facts(partial / name) for name in names},
    )


def ask_for_room(into: Path, need_bytes: int) -> None:
    """Refuse to begin what would fill the disk.

    Raises:
        StoreError: there is less room than that and the spare.
        OSError: it cannot be looked at.
    """
    free, need = shutil.disk_usage(into).free, need_bytes + SPARE_BYTES
    if not free >= need:
        msg = f"{into}: {free / 1e6:.0f} MB free, needed are {need / 1e6:.0f} MB; nothing was begun"
        raise StoreError(msg)


def _garden_text(path: Path) -> bytes:
    with path.open("rb") as file:
        text = file.read(GARDEN_MOST_BYTES + 1)
    if len(text) > GARDEN_MOST_BYTES:
        msg = f"{path}: longer than {GARDEN_MOST_BYTES} bytes: that is no garden file"
        raise StoreError(msg)
    return text


def _put(path: Path, content: bytes) -> None:
    fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    with os.fdopen(fd, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(fd)


def _file_facts(path: Path) -> FileFacts:
    digest, length = hashlib.sha256(), 0
    with path.open("rb") as file:
        while chunk := file.read(CHUNK_BYTES):
            digest.update(chunk)
            length += len(chunk)
    return FileFacts(bytes=length, sha256=digest.hexdigest())


def _free(into: Path, name: str) -> Path:
    tries = [name, *(f"{name}.{i}" for i in range(2, 1000))]
    return next(path for path in map(into.joinpath, tries) if not path.exists())


def _lives(pid: str) -> bool:
    return pid.isdecimal() and Path(f"/proc/{pid}").exists()


def _sync_folder(path: Path) -> None:
    fd = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
