"""The engine among virtual nodes with the real recorder and database, and disks that fail.

Everything runs in one thread: the recorder's own functions are called where its thread would call
them, so that the Nth operation of the disk is the same one each time. `Disk` counts what the
database is asked and fails what it is told to.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from controller.datafolder import DataFolder
from controller.effects import Effect, Reserve
from controller.engine import Engine
from controller.events import Event, RecordFailed, Started, Tick
from controller.garden import Garden
from controller.recorder import RETRY_S, Job, Recorder, SnapshotJob
from controller.run import VERSION
from controller.store import Recovered, Store
from controller.trusted import ClockStamp
from tests.engine_bench import Bench

FLUSH_S = 60.0
CONNECT = sqlite3.connect  # before anybody changes it
NO_IO = ("SAVEPOINT", "RELEASE", "ROLLBACK")  # they touch no file
CAUSES = ("disk I/O error", "database or disk is full", "attempt to write a readonly database")


@dataclass(slots=True)
class Disk:
    """Counts operations; the Nth fails, and all after it where it lasts."""

    fails_at: int = 0  # 0: never
    lasts: bool = False
    done: int = 0
    failed: list[str] = field(default_factory=list)

    def ask(self, what: str) -> None:
        """One operation is about to happen.

        Raises:
            sqlite3.OperationalError: It is one that fails.
        """
        self.done += 1
        hit = self.done == self.fails_at or (self.lasts and self.done > self.fails_at > 0)
        if hit:
            self.failed.append(" ".join(what.split())[:60])
            raise sqlite3.OperationalError(CAUSES[self.done % len(CAUSES)])

    def mend(self) -> None:
        """From now on everything works."""
        self.fails_at = 0

    def connect(self) -> Callable[..., sqlite3.Connection]:
        """What to put in the place of `sqlite3.connect`."""
        disk = self

        class Counted(sqlite3.Connection):
            """A connection that asks the disk first."""

            def execute(self, sql: str, *more: Any) -> sqlite3.Cursor:  # type: ignore[override]
                if not sql.lstrip().upper().startswith(NO_IO):
                    disk.ask(sql)
                return super().execute(sql, *more)

            def executemany(self, sql: str, *more: Any) -> sqlite3.Cursor:  # type: ignore[override]
                disk.ask(sql)
                return super().executemany(sql, *more)

            def commit(self) -> None:
                disk.ask("commit")
                super().commit()

        def connect(*args: Any, **named: Any) -> sqlite3.Connection:
            return CONNECT(*args, **{"factory": Counted, **named})

        return connect


class Clock:
    """The recorder's clock: the bench's."""

    speed = 1.0

    def __init__(self, bench: StoredBench) -> None:
        self._bench = bench

    def utc_s(self) -> float:
        """Unix seconds."""
        return self._bench.at_utc_s

    def mono_s(self) -> float:
        """Since this process began."""
        return self._bench.mono_s

    def stamp(self, trusted_s: float) -> ClockStamp:
        """All clocks; those of the machine never jump here."""
        return ClockStamp(
            boot_id="a",
            mono_s=self._bench.now_s,
            utc_s=self._bench.at_utc_s,
            synced=True,
            trusted_s=trusted_s,
        )


class StoredBench(Bench):
    """A bench whose record is the real one.

    Args:
        garden: the garden.
        place: the data folder.
    """

    def __init__(self, garden: Garden, place: Path) -> None:
        self.folder = DataFolder(place)
        self.recorder = Recorder(self.folder, Clock(self), self._told)  # type: ignore[arg-type]
        self.store: Store | None = None
        self.unrecorded: list[str] = []  # doses that opened without a row: there must be none
        self._tried_s = 0.0
        super().__init__(garden)

    def _told(self, event: Event | Recovered) -> None:
        if not isinstance(event, Recovered):
            self._todo.append(event)

    # -- the process

    def start(self, **told: Any) -> list[Effect]:
        """Begin as the daemon does: with what the store knows, or without it."""
        self._open()
        known = self.recorder._recovered if self.store is not None else None
        fields: dict[str, Any] = {"trusted_s": 0.0, "stored_epoch": 0}
        if known is not None:
            fields = {
                "trusted_s": known.trusted_s,
                "stored_epoch": known.stored_epoch,
                "stored_seq": known.stored_seq,
                "ledger": tuple(known.ledger),
                "history": known.history,
            }
        self.trusted_born_s = float(fields["trusted_s"])
        effects = self.step(Started(**self.times(), **{**fields, **told}))
        self._snapshot()
        if known is None:
            self.step(RecordFailed(**self.times(), dose="", cause="not opened"))
        return effects

    def _open(self) -> None:
        self._tried_s = self.now_s
        self.store = self.recorder._open()

    def _snapshot(self) -> None:
        if self.store is not None:
            state_json = self.engine.dump().decode("utf-8")
            self.recorder._write(self.store, SnapshotJob(version=VERSION, state_json=state_json))

    def seen(self, event: Event, effects: list[Effect]) -> None:
        """What the engine did goes to the disk before it is carried out."""
        if self.store is not None and not self.engine.idle:
            stamp = Clock(self).stamp(self.engine.run.trusted_s)
            self.recorder._write(self.store, Job(event=event, effects=effects, stamp=stamp))

    def tick(self, dt_s: float = 5.0) -> list[Effect]:
        """As ever; and the recorder tries again what it could not do."""
        effects = super().tick(dt_s)
        every_s = RETRY_S if self.store is None or self.recorder._failing else FLUSH_S
        if self.now_s - self._tried_s >= every_s:
            self._tried_s = self.now_s
            if self.store is not None:
                self.recorder._flush(self.store)
            else:
                self._try_to_begin()
            if self._todo:
                self.step(Tick(**self.times()))
        return effects

    def _try_to_begin(self) -> None:
        """A store that could not be opened at the start can be now: begin anew."""
        self.born_s = self.now_s
        self.engine = Engine(self.garden)
        self.start()
        self.connect()

    def _reserve(self, effect: Reserve) -> None:
        """The recorder answers."""

    def opened(self, valve: str, dose: str) -> None:
        """A valve truly opened: is its reservation on disk?"""
        if valve not in self.beds:
            return
        rows = self.look("SELECT 1 FROM reservations WHERE dose = ?", dose)
        if not rows:
            self.unrecorded.append(dose)

    # -- looking, past the failing disk

    def look(self, sql: str, *params: Any) -> list[tuple[Any, ...]]:
        """Ask the file through a connection of one's own."""
        if not self.folder.database.exists():
            return []
        beside = CONNECT(f"{self.folder.database.as_uri()}?mode=ro", uri=True)
        try:
            return beside.execute(sql, params).fetchall()
        except sqlite3.OperationalError:
            return []  # no tables yet
        finally:
            beside.close()

    def end(self) -> None:
        """End the process and let go of the folder."""
        if self.store is not None:
            self.store.close()
        self.folder.unlock()
