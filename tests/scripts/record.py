"""The disk of a garden under hostile scripts: rows, journal and snapshot, and what a crash loses.

It keeps to the order of `controller/recorder.py` and `controller/store.py`: what waits is written
with the next thing that must be on disk, or once a minute; while the disk hangs all waits behind
it; while it refuses, reservations fail and everything else waits; what still waits when the process
dies is lost.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass, field

from controller.effects import Effect, Outcome, Reserve, SaveEpoch, Settle
from controller.events import Event, LedgerEntry
from controller.store import WATER_AFTER_S
from controller.store_schema import needs_disk

FLUSH_S = 60.0
DAY_S = 86_400.0
Clocks = tuple[int, float, float, bool, float]  # boot, mono, utc, synced, trusted
Instant = tuple[float, float]  # true time, and how far the wall clock is ahead of it


@dataclass(slots=True, kw_only=True)
class Row:
    """One reservation."""

    bed: str
    charged_l: float
    open_s: float
    ended_trusted_s: float | None = None
    outcome: Outcome | None = None


@dataclass(slots=True, kw_only=True)
class Disk:
    """What is on disk."""

    rows: dict[str, Row] = field(default_factory=dict)
    epoch: int = 0
    seq_high: int = 0
    snapshot: bytes | None = None
    events: list[Event] = field(default_factory=list)  # after the snapshot
    clocks: Clocks | None = None  # at the last thing written


class Record:
    """The store's thread and its disk."""

    def __init__(self, clocks_of: Callable[[Instant], Clocks]) -> None:
        self.clocks_of = clocks_of  # of this process
        self.disk = Disk()
        self.backup: Disk | None = None
        self.mode = "ok"  # ok | fail | hold
        self.waits: list[tuple[Event, list[Effect], Instant]] = []
        self.flushed_s = 0.0
        self.lost: set[str] = set()  # doses that only a lost or an older record knew

    def commit(self, event: Event, effects: list[Effect], at: Instant) -> list[str]:
        """Take an event; give the doses whose reservation is on disk now."""
        if self.mode == "fail":
            kept: list[Effect] = [e for e in effects if not isinstance(e, Reserve)]
            self.waits.append((event, kept, at))
            return []
        self.waits.append((event, effects, at))
        if self.mode == "ok" and needs_disk(effects):
            return self.flush()
        return []

    def flush(self) -> list[str]:
        """Write all that waits."""
        written: list[str] = []
        if not self.waits:
            return written
        self.disk.clocks = self.clocks_of(self.waits[-1][2])
        for event, effects, _ in self.waits:
            self.disk.events.append(event)
            for effect in effects:
                self._write(effect)
                if isinstance(effect, Reserve):
                    written.append(effect.dose)
        self.waits.clear()
        return written

    def _write(self, effect: Effect) -> None:
        disk = self.disk
        match effect:
            case SaveEpoch():
                disk.epoch, disk.seq_high = effect.epoch, 0
            case Reserve():
                assert effect.dose not in disk.rows, f"I8: {effect.dose} was reserved twice"
                disk.rows[effect.dose] = Row(
                    bed=effect.bed, charged_l=effect.reserved_l, open_s=effect.open_s
                )
                disk.seq_high = max(disk.seq_high, effect.seq_high)
            case Settle():
                row = disk.rows.get(effect.dose)
                if row is None:
                    return
                assert row.outcome is None, f"I8: {effect.dose} was settled twice"
                row.outcome = effect.outcome
                row.charged_l, row.open_s = effect.charged_l, effect.open_s
                row.ended_trusted_s = effect.ended_trusted_s
            case _:
                pass

    def keep_snapshot(self, dumped: bytes) -> list[str]:
        """The engine's whole state, after everything before it."""
        written = self.flush()
        self.disk.snapshot, self.disk.events = dumped, []
        if self.backup is None:
            self.backup = copy.deepcopy(self.disk)
        return written

    def restore_backup(self) -> bool:
        """Somebody puts an old copy of the record in its place."""
        if self.backup is None:
            return False
        self.lost |= self.disk.rows.keys() - self.backup.rows.keys()
        self.lost |= {
            dose
            for dose, row in self.disk.rows.items()
            if dose in self.backup.rows and self.backup.rows[dose].outcome is not row.outcome
        }
        self.disk = copy.deepcopy(self.backup)
        return True

    def lose(self) -> None:
        """The record is gone."""
        self.lost |= self.disk.rows.keys()
        self.disk, self.backup = Disk(), None

    def recover(self, trusted_s: float) -> tuple[LedgerEntry, ...]:
        """Charge in full what has no end; give the ledger."""
        self.mode = "ok"
        for row in self.disk.rows.values():
            if row.outcome is None:
                row.outcome = Outcome.ASSUMED_FULL
                row.ended_trusted_s = trusted_s + WATER_AFTER_S
        return tuple(
            LedgerEntry(
                dose=dose,
                bed=row.bed,
                charged_l=row.charged_l,
                ended_trusted_s=row.ended_trusted_s,
            )
            for dose, row in self.disk.rows.items()
            if (row.ended_trusted_s or 0.0) >= trusted_s - DAY_S
        )
