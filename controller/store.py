"""The database: what is kept, and what is on disk before anything goes on the air.

One writer, one connection, one thread: the one that called `Store.open`; others read through
`open_reader`. Commits are synchronous=FULL: once returned, a durable one survives a power cut as
far as the card honours syncs. What is not durable waits in memory for `flush` or for the next
durable commit, which writes it first, in the same transaction, so that the journal keeps the order.
"""

from __future__ import annotations

import logging
import secrets
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from controller import store_schema as tables
from controller.datafolder import DataFolder
from controller.effects import Effect
from controller.errors import NewerError, StoreError
from controller.events import Event, Tick
from controller.keeping.before_upgrade import back_up_first, newer_words
from controller.store_batches import put
from controller.store_copy import copy_open
from controller.store_hours import let_go
from controller.store_migrations import migrations
from controller.store_reads import DAY_S, History, HourRow, Reader, Recovered
from controller.store_schema import Entry, Params, Statement, effects_json, needs_disk, prepare
from controller.store_states import packed
from controller.trusted import ClockStamp, trusted_gap_s

__all__ = ["MOST_PENDING", "Recovered", "Store", "effects_json", "needs_disk", "open_reader"]

log = logging.getLogger(__name__)

MOST_PENDING = 20_000  # events that wait in memory; beyond it the oldest readings go
WATER_AFTER_S = 140.0  # [s] a lease and the life of a nonce: so long it may still have flowed
BUSY_MS = 2_000  # [ms] to wait for another connection's lock
MOST_BYTES = 140_000_000  # [bytes] beyond it the journal reaches back for less than that
JOURNAL_S = 30 * DAY_S  # [s] of trusted time that the journal reaches back
DAMAGE = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
PRAGMAS = (  # name, what to set, what it must then answer
    ("busy_timeout", str(BUSY_MS), BUSY_MS),
    ("journal_mode", "WAL", "wal"),
    ("synchronous", "FULL", 2),
    ("foreign_keys", "ON", 1),
    ("journal_size_limit", str(4 * 1024 * 1024), 4 * 1024 * 1024),
    ("secure_delete", "OFF", 0),  # Debian's writes zeros over all that goes: wear for nothing
)


class Store(Reader):
    """The writer's side of the database; make one with `Store.open`."""

    def __init__(self, db: Database, path: Path) -> None:
        super().__init__(lambda sql, params: _rows(db, path, sql, params))
        self._db = db
        self._path = path
        self._pending: list[Entry] = []
        self._dropped_unsaved = 0
        self._dropped = 0
        self._stamp: ClockStamp | None = None
        self._next_n = self.last_n() + 1

    @classmethod
    def open(cls, folder: DataFolder) -> Store:
        """Lock the folder and open its database, or begin a new one where it is lost.

        Raises:
            LockedError: Another process holds the folder.
            StoreError: It cannot be read or written, or a newer version wrote it.
        """
        folder.lock()
        return cls(_begin(folder), folder.database)

    @property
    def pending(self) -> int:
        """How many events wait in memory."""
        return len(self._pending)

    @property
    def dropped(self) -> int:
        """How many events this process had to drop because nothing could be written."""
        return self._dropped

    def recover(self, now: ClockStamp, *, scaled: bool) -> Recovered:
        """Take stock at the start: openings without an end are charged in full, on disk.

        Args:
            now: The clocks now; its `trusted_s` is not looked at.
            scaled: A trial under a scaled clock.

        Raises:
            StoreError: It could not be written; it can be tried again.
        """
        last = self.last_stamp()
        trusted_s = last.trusted_s + trusted_gap_s(last, now, scaled) if last else 0.0
        with _writing(self._db, self._path):
            self._db.execute(tables.ASSUME_FULL, (trusted_s + WATER_AFTER_S,))
            self._keep_stamp(replace(now, trusted_s=trusted_s))
        self._stamp = replace(now, trusted_s=trusted_s)
        epoch, seq = self.high_mark()
        snapshot, events, whole = self.going_on()
        if not whole:  # what is lost may have been a lock, so nothing opens for a day
            log.error("%s: history lost: the kept states or the journal are damaged", self._path)
        return Recovered(
            history=self.history_kind() if whole else "lost",
            stored_epoch=epoch,
            stored_seq=seq,
            ledger=self.entries(trusted_s),
            trusted_s=trusted_s,
            snapshot=snapshot,
            events=iter(events),
        )

    def commit(
        self,
        event: Event,
        effects: Sequence[Effect],
        *,
        durable: bool,
        stamp: ClockStamp,
        keep: bool = False,
    ) -> None:
        """Journal one event with what it led to.

        A tick without effects is not journalled unless `keep` says that it moved something all
        the same. Where the effects need it the commit is durable whatever `durable` says: on disk,
        with all that waited before it, when this returns.

        Raises:
            StoreError: Nothing of this event was kept; what waited before it still waits.
        """
        if isinstance(event, Tick) and not effects and not keep:
            self._stamp = stamp
            return
        entry = prepare(self._next_n, event, effects)
        if durable or entry.needs_disk:
            self._write([*self._pending, entry], stamp)
            self._written()
        else:
            self._wait(entry)
        self._next_n += 1
        self._stamp = stamp

    def postpone(self, event: Event, effects: Sequence[Effect], *, stamp: ClockStamp) -> None:
        """Keep, in its place, an event whose commit failed: written with the next that succeeds.

        Nothing may go on the air for it; its reservation is not on disk.

        Raises:
            StoreError: No room in memory either.
        """
        self._wait(prepare(self._next_n, event, effects))
        self._next_n += 1
        self._stamp = stamp

    def flush(self) -> None:
        """Write what waits, and the last clock stamp.

        Raises:
            StoreError: It still waits.
        """
        if self._stamp is not None:
            self._write(self._pending, self._stamp)
            self._written()

    def save_snapshot(self, version: str, state_json: str) -> None:
        """Keep the engine's state after the last committed event; thin out what is old.

        Args:
            version: The engine's version.
            state_json: The engine's whole state.

        Raises:
            StoreError: Nothing of it was kept.
        """
        stamp = self._stamp or self.last_stamp()
        if stamp is None:
            msg = f"{self._path}: a snapshot was offered before anything was committed"
            raise StoreError(msg)
        with _writing(self._db, self._path):
            self._write(self._pending, stamp)
            row = (self._next_n - 1, version, stamp.trusted_s, packed(state_json))
            self._db.execute(tables.INSERT_SNAPSHOT, row)
            let_go(self._db, self.prunable_n(stamp.trusted_s - JOURNAL_S, MOST_BYTES))
        self._written()

    def add_history(self, rows: Iterable[HourRow]) -> None:
        """Put hours that were lived elsewhere into the history: a trial's days before its start.

        Raises:
            StoreError: None of them was kept.
        """
        laid_out = [
            (r.hour_utc_s, r.bed, r.depletion_frac, r.line_frac, r.rain_mm, r.given_l) for r in rows
        ]
        with _writing(self._db, self._path):
            self._db.conn.executemany(tables.INSERT_HOUR, laid_out)

    def close(self) -> None:
        """Write what waits and close.

        Raises:
            StoreError: What waited is lost; the database is closed all the same.
        """
        try:
            self.flush()
        finally:
            self._db.close()

    def _wait(self, entry: Entry) -> None:
        """Let an entry wait in memory, within its bound."""
        if len(self._pending) >= MOST_PENDING:
            self._drop_oldest()
        self._pending.append(entry)

    def _drop_oldest(self) -> None:
        """Make room: the oldest reading, else the oldest event that no opening rests on."""
        spare = [i for i, entry in enumerate(self._pending) if not entry.needs_disk]
        if not spare:
            msg = f"{self._path}: {MOST_PENDING} events wait and none may be dropped"
            raise StoreError(msg)
        oldest = next((i for i in spare if self._pending[i].is_reading), spare[0])
        del self._pending[oldest]
        self._dropped += 1
        self._dropped_unsaved += 1

    def _write(self, entries: Sequence[Entry], stamp: ClockStamp) -> None:
        """Write entries and the stamp in one transaction, on disk when this returns."""
        with _writing(self._db, self._path):
            put(self._db, [entry.line for entry in entries])
            for entry in entries:
                for statement in entry.statements:
                    self._run(statement)
            self._keep_stamp(stamp)

    def _written(self) -> None:
        self._pending.clear()
        self._dropped_unsaved = 0

    def _run(self, statement: Statement) -> None:
        cursor = self._db.execute(statement.sql, statement.params)
        if cursor.rowcount > 0 or statement.if_none == "fine":
            return
        if statement.if_none == "refuse":
            msg = f"{self._path}: {statement.about}"
            raise StoreError(msg)
        log.error("%s: %s", self._path, statement.about)

    def _keep_stamp(self, stamp: ClockStamp) -> None:
        row = (stamp.boot_id, stamp.mono_s, stamp.utc_s, int(stamp.synced), stamp.trusted_s)
        self._db.execute(tables.KEEP_STAMP, (*row, self._dropped_unsaved))


@contextmanager
def open_reader(folder: DataFolder) -> Iterator[Reader]:
    """Open a second connection that cannot write, for another thread or process.

    Raises:
        StoreError: There is no database that can be read.
    """
    path = folder.database
    if not path.exists():
        msg = f"{folder.path}: there is no record here; a daemon that never ran leaves none"
        raise StoreError(msg)
    uri = f"{path.absolute().as_uri()}?mode=ro"
    try:
        db = Database(sqlite3.connect(uri, uri=True), execute_plugins=False)
        db.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    except sqlite3.Error as exc:
        msg = f"{path}: cannot be opened for reading: {exc}"
        raise StoreError(msg) from exc
    try:
        yield Reader(lambda sql, params: _rows(db, path, sql, params))
    finally:
        db.close()


def _rows(db: Database, path: Path, sql: str, params: Params) -> list[dict[str, Any]]:
    try:
        return list(db.query(sql, params))
    except sqlite3.Error as exc:
        msg = f"{path}: cannot be read: {exc}"
        raise StoreError(msg) from exc


@contextmanager
def _writing(db: Database, path: Path) -> Iterator[None]:
    """Write all or nothing; a failure is a StoreError and leaves no transaction open."""
    try:
        with db.atomic():
            yield
    except (sqlite3.Error, OSError) as exc:
        msg = f"{path}: cannot be written: {exc}"
        raise StoreError(msg) from exc


def _begin(folder: DataFolder) -> Database:
    """Open the database that belongs to this folder, or set it aside and make a new one."""
    install = folder.install_id()
    without: History = "first" if install is None else "lost"
    if folder.database_size() == 0:
        return _make(folder, without, "the database is missing or empty")
    with ExitStack() as at_fault:
        try:
            db = _connect(folder.database)
            at_fault.callback(db.close)
            history, why = _judge(db, folder.database, install)
        except sqlite3.Error as exc:
            history, why = "lost", _damage(folder.database, exc)
        if history == "kept":
            if install is None:
                folder.write_install_id(why)
            at_fault.pop_all()
            return db
    # Closed by now: at its close SQLite removes the log by name, which then may be the new one's.
    return _make(folder, history, why)


def _judge(db: Database, path: Path, install: str | None) -> tuple[History, str]:
    """Tell whether a database is whole and this folder's; with `kept` comes its install id."""
    check = next(db.query("PRAGMA quick_check(1)"))["quick_check"]
    if check != "ok":
        return "lost", f"quick_check: {check}"
    meta = list(db.query("SELECT * FROM meta")) if "meta" in db.table_names() else []
    if not meta:  # without an install id a first start that was cut short
        return ("first" if install is None else "lost"), "it holds no tables of ours"
    found = meta[0]
    if found["schema"] > tables.SCHEMA_VERSION:
        raise NewerError(newer_words(path, found["schema"], tables.SCHEMA_VERSION))
    if install != found["install"] and (install is not None or found["history"] != "first"):
        return "lost", f"it belongs to install {found['install']}, the folder to {install}"
    if migrations.pending(db):
        _back_up_first(db, path, found["utc_s"])
        migrations.apply(db)
    return "kept", str(found["install"])


def _back_up_first(db: Database, path: Path, at_utc_s: float | None) -> None:
    garden_json = Reader(lambda sql, params: _rows(db, path, sql, params)).garden_json()
    copy = partial(copy_open, db.conn)
    made = back_up_first(copy, path, at_utc_s=at_utc_s, garden_json=garden_json)
    log.warning("%s: its tables change; as it was it is kept in %s", path, made.path)


def _make(folder: DataFolder, history: History, why: str) -> Database:
    """Begin a new database; what lies in its place is kept aside."""
    aside = folder.set_database_aside()
    if history == "lost":
        log.error("%s: history lost: %s; kept aside as %s", folder.database, why, aside)
    install = secrets.token_hex(16)
    try:
        with ExitStack() as at_fault:
            db = _connect(folder.database)
            at_fault.callback(db.close)
            with db.atomic():
                migrations.apply(db)
                db.execute(tables.INSERT_META, (install, tables.SCHEMA_VERSION, history))
            folder.write_install_id(install)
            at_fault.pop_all()
    except sqlite3.Error as exc:
        msg = f"{folder.database}: cannot be made: {exc}"
        raise StoreError(msg) from exc
    return db


def _connect(path: Path) -> Database:
    """Connect with what a power cut asks for, and make sure that it is in force."""
    with ExitStack() as at_fault:
        db = Database(path, execute_plugins=False)
        at_fault.callback(db.close)
        for name, wanted, answer in PRAGMAS:
            db.execute(f"PRAGMA {name} = {wanted}")
            found = db.execute(f"PRAGMA {name}").fetchone()[0]
            if found != answer:
                msg = f"{path}: PRAGMA {name} is {found}, not {answer}: this disk cannot do it"
                raise StoreError(msg)
        at_fault.pop_all()
    return db


def _damage(path: Path, exc: sqlite3.Error) -> str:
    """Put damage into words; any other trouble (full, read-only, busy) is a StoreError."""
    if (getattr(exc, "sqlite_errorcode", 0) & 0xFF) in DAMAGE:
        return str(exc)
    msg = f"{path}: cannot be opened: {exc}"
    raise StoreError(msg) from exc
