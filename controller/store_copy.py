"""Whole copies of the database: made while it is written to, looked through, made ready to go back.

A copy is one file, without a write-ahead log. It holds all that is on disk at its instant; what
still waits in the daemon's memory (a minute of readings at most) is not in it.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from controller import store_batches, store_before
from controller.errors import StoreError

BUSY_S = 10.0  # [s] to wait for the daemon's lock
PAGE_BYTES = 4096  # [bytes] SQLite's own page, which our database has


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyFacts:
    """What a database says of itself; `at_utc_s` is its last written instant, None for none."""

    install: str
    schema: int
    at_utc_s: float | None
    engine: str | None
    openings: int
    journal_n: int


def copy_database(source: Path, target: Path) -> None:
    """Copy a database by SQLite's backup interface, whoever writes to it meanwhile.

    Args:
        source: the database; a daemon may hold it.
        target: a new file.

    Raises:
        StoreError: it cannot be read, or the copy cannot be written.
    """
    with _reading(source) as db:
        copy_open(db, target)


def copy_open(db: sqlite3.Connection, target: Path) -> None:
    """Copy the database of an open connection into one file, synced.

    Raises:
        StoreError: the copy cannot be written.
    """
    try:
        with closing(sqlite3.connect(target)) as copy:
            db.backup(copy)  # all pages in one step: one instant, and no writer is held up
            copy.execute("PRAGMA journal_mode = DELETE")
        with suppress(OSError):  # a stick's file system knows no modes
            target.chmod(0o600)
        _sync(target)
    except (sqlite3.Error, OSError) as exc:
        msg = f"{target}: the copy cannot be written: {exc}"
        raise StoreError(msg) from exc


def database_bytes(source: Path) -> int:
    """Tell the most that a copy of this database takes [bytes], its log included."""
    parts = (source, source.with_name(f"{source.name}-wal"))
    return sum(part.stat().st_size for part in parts if part.exists())


def facts_of(path: Path) -> CopyFacts:
    """Look a database through, every page of it.

    Raises:
        StoreError: it is damaged, is none of ours, or cannot be read.
    """
    with _reading(path) as db:
        try:
            found = [row[0] for row in db.execute("PRAGMA integrity_check(1)")]
            if found != ["ok"]:
                msg = f"{path}: damaged: {found[0] if found else 'it answers nothing'}"
                raise StoreError(msg)
            if db.execute("PRAGMA foreign_key_check").fetchone() is not None:
                msg = f"{path}: damaged: a row names another that is not there"
                raise StoreError(msg)
            return _facts(db, path)
        except sqlite3.Error as exc:
            msg = f"{path}: damaged, or no database of ours: {exc}"
            raise StoreError(msg) from exc


def make_ready(path: Path) -> None:
    """Mark a copy that goes back: the water since then is unknown, so the day's budget is spent.

    Raises:
        StoreError: it cannot be written.
    """
    try:
        with closing(sqlite3.connect(path)) as db:
            db.execute("UPDATE meta SET history = 'lost'")
            db.commit()
        path.chmod(0o600)
        _sync(path)
    except (sqlite3.Error, OSError) as exc:
        msg = f"{path}: cannot be written: {exc}"
        raise StoreError(msg) from exc


def _facts(db: sqlite3.Connection, path: Path) -> CopyFacts:
    meta = db.execute("SELECT install, schema, utc_s FROM meta").fetchone()
    if meta is None:
        msg = f"{path}: no record of ours: it has no install id"
        raise StoreError(msg)
    engine = db.execute("SELECT engine FROM snapshots ORDER BY n DESC LIMIT 1").fetchone()
    openings = db.execute("SELECT count(*) FROM reservations").fetchone()
    is_before = db.execute(store_before.IS_BEFORE).fetchone() is not None
    last = db.execute(store_before.LAST_N if is_before else store_batches.LAST_N).fetchone()
    return CopyFacts(
        install=str(meta[0]),
        schema=int(meta[1]),
        at_utc_s=None if meta[2] is None else float(meta[2]),
        engine=None if engine is None else str(engine[0]),
        openings=int(openings[0]),
        journal_n=int(last[0]),
    )


@contextmanager
def _reading(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a connection that cannot write."""
    if not path.exists():
        msg = f"{path}: there is no database"
        raise StoreError(msg)
    try:
        db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=BUSY_S)
    except sqlite3.Error as exc:
        msg = f"{path}: cannot be opened for reading: {exc}"
        raise StoreError(msg) from exc
    with closing(db):
        yield db


def _sync(path: Path) -> None:
    fd = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
