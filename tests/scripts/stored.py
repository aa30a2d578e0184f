"""A garden's life whose record is the real store, beside the one in memory that it is held against.

Everything that `Life` writes goes to the database as well; a start goes on from what the database
brings back, and that has to be what memory has: ledger, epoch, and the engine's whole state.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from controller.datafolder import DataFolder
from controller.effects import Answer, Effect, Note
from controller.engine import Engine
from controller.errors import StoreError
from controller.events import Event, LedgerEntry
from controller.restoring import restored
from controller.run import VERSION
from controller.store import Recovered, Store
from controller.store_schema import needs_disk
from controller.trusted import ClockStamp
from tests.faults.stored_bench import CONNECT, Disk
from tests.scripts.life import GRID_S, Life
from tests.scripts.oracle import Oracle
from tests.scripts.record import Instant, Record
from tests.scripts.script import Script
from tests.scripts.seen import Seen

USE_FRAC_H = (0.006, 0.02)  # [1/h] of what the soil holds, by night and day: a third of it a day
FIRST_FRAC = {"south": 0.3, "wall": 0.2, "hedge": 0.1}


class StoredRecord(Record):
    """The record in memory and the real one behind it."""

    def __init__(self, life: StoredLife, place: Path, io: Disk) -> None:
        super().__init__(life._clocks)
        self.life, self.io = life, io
        self.folder = DataFolder(place)
        self.store: Store | None = None
        self.known: Recovered | None = None
        self.refused = 0  # reservations that the failing database would not take

    def _stamp(self, at: Instant) -> ClockStamp:
        return self.life._stamp_of(self.clocks_of(at))

    def open(self) -> None:
        """A process opens the store and takes stock."""
        self.store = Store.open(self.folder)
        now = self._stamp((self.life.now_s, self.life.wall_off_s))
        known = self.store.recover(now, scaled=False)
        self.known = replace(known, events=iter(list(known.events)))

    def drop(self) -> None:
        """The process is gone; so is its hold on the folder."""
        if self.store is not None:
            self.store._db.close()
            self.folder.unlock()
        self.store = None

    def commit(self, event: Event, effects: list[Effect], at: Instant) -> list[str]:
        """As in memory; a database that fails has to refuse it by itself."""
        if self.mode == "fail" and needs_disk(effects) and self.store is not None:
            try:
                self.store.commit(event, effects, durable=True, stamp=self._stamp(at))
            except StoreError:
                self.refused += 1
            else:
                raise AssertionError("I20: a failing disk took a reservation")
        return super().commit(event, effects, at)

    def flush(self) -> list[str]:
        """Write all that waits, to the database first."""
        if self.waits and self.store is not None:
            for event, effects, at in self.waits:
                stamp = self._stamp(at)
                self.store.commit(event, effects, durable=False, stamp=stamp, keep=True)
            self.store.flush()
        return super().flush()

    def keep_snapshot(self, dumped: bytes) -> list[str]:
        """Keep the engine's state in both."""
        written = super().keep_snapshot(dumped)
        if self.store is not None:
            self.store.save_snapshot(VERSION, dumped.decode("utf-8"))
        return written

    def lose(self) -> None:
        """The database is gone with its snapshots."""
        super().lose()
        for name in ("thirstline.db", "thirstline.db-wal", "thirstline.db-shm"):
            (self.folder.path / name).unlink(missing_ok=True)

    def recover(self, trusted_s: float) -> tuple[LedgerEntry, ...]:
        """What the database brings back, which is what memory has."""
        if self.store is None:
            self.open()
        known = self.known
        assert known is not None
        mine, theirs = _told(super().recover(trusted_s)), _told(known.ledger)
        assert theirs == mine, f"I8: the store brings back {theirs}, not {mine}"
        assert known.stored_epoch == self.disk.epoch, "I12: another epoch"
        assert abs(known.trusted_s - trusted_s) < 1e-3, "I4: another age"
        return known.ledger


def _told(ledger: tuple[LedgerEntry, ...]) -> dict[str, tuple[float, float]]:
    return {e.dose: (round(e.charged_l, 6), round(e.ended_trusted_s or 0.0, 2)) for e in ledger}


class Watch(Oracle):
    """The oracle that also keeps when which alarm came and went."""

    def __init__(self, life: Life) -> None:
        super().__init__(life)
        self.alarms: list[tuple[float, str]] = []  # codes; over: `CODE_ended`
        self.answers: list[tuple[float, str, str]] = []  # status and reason

    def _check_note(self, note: Note) -> None:
        super()._check_note(note)
        if note.what == "alert":
            self.alarms.append((self.life.now_s, note.code))

    def _check_answer(self, answer: Answer) -> None:
        super()._check_answer(answer)
        self.answers.append((self.life.now_s, answer.status, answer.reason))


class StoredLife(Life):
    """One garden, its nodes and the real store.

    Args:
        script: garden, start and pace; its steps are not looked at.
        place: the data folder.
        io: what the database's connections ask (`sqlite3.connect` gives such ones).
    """

    def __init__(self, script: Script, place: Path, io: Disk) -> None:
        super().__init__(script, Seen())
        self.record: StoredRecord = StoredRecord(self, place, io)
        self.oracle: Watch = Watch(self)
        self.depletion = dict(FIRST_FRAC)

    def _live_on(self) -> None:
        hour = int((self.now_s + 23.0 * 3600.0) // 3600.0) % 24
        use = USE_FRAC_H[8 <= hour < 20] * GRID_S / 3600.0
        for bed in self.depletion:
            self.depletion[bed] = min(1.0, self.depletion[bed] + use)

    def set_record(self, mode: str) -> None:
        """The disk works, hangs or refuses: the real one as well."""
        io = self.record.io
        if mode == "fail":
            io.fails_at, io.lasts = io.done + 1, True
        else:
            io.mend()
        super().set_record(mode)

    def kill(self, how: str) -> None:
        """The process ends."""
        lives = self.power
        super().kill(how)
        if lives:
            self.record.drop()

    def _refed(self) -> Engine:
        """The engine as the store brings it back: to the byte the one that memory does."""
        self.record.open()
        assert self.record.known is not None
        engine, _ = restored(self.garden, self.record.known)
        assert engine.dump() == super()._refed().dump(), "I8: the store brings back another state"
        return engine

    def rows(self) -> list[tuple[str, str, str | None, float, float]]:
        """What the database says of each opening: dose, bed, outcome, charged [L], open [s]."""
        place = f"{self.record.folder.database.as_uri()}?mode=ro"
        beside = CONNECT(place, uri=True)
        try:
            return beside.execute(
                "SELECT dose, bed, outcome, charged_l, open_s FROM reservations"
            ).fetchall()
        finally:
            beside.close()
