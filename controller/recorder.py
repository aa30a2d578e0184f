"""The store's own thread: the engine never waits for the disk.

Jobs are written in the order in which the engine made them. A reservation that is on disk, synced,
comes back to the engine as `Recorded`; one that could not be written as `RecordFailed`, and from
then on the store is tried again every ten seconds.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from controller.clock import ScaledClock
from controller.datafolder import DataFolder
from controller.effects import Effect, Reserve
from controller.errors import LockedError, NewerError, StoreError
from controller.events import NEWER, Event, Recorded, RecordFailed, StoreState
from controller.store import Recovered, Store, needs_disk
from controller.trusted import ClockStamp

log = logging.getLogger(__name__)

FLUSH_S = 60.0  # [s] real, between batches of readings
RETRY_S = 10.0  # [s] real, between trials of a store that failed
JOBS_MOST = 20_000
OPEN_WAIT_S = 60.0
END_WAIT_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One event with what it led to."""

    event: Event
    effects: list[Effect]
    stamp: ClockStamp


@dataclass(frozen=True, slots=True, kw_only=True)
class SnapshotJob:
    """The engine's whole state, to be kept after everything before it."""

    version: str
    state_json: str


class Recorder:
    """Owns the store in a thread of its own.

    Args:
        folder: the data folder.
        clock: for the events that go back to the engine.
        deliver: takes those events, and a record that could be opened only later.
    """

    def __init__(
        self, folder: DataFolder, clock: ScaledClock, deliver: Callable[[Event | Recovered], None]
    ) -> None:
        self._folder = folder
        self._clock = clock
        self._deliver = deliver
        self._jobs: queue.Queue[Job | SnapshotJob | None] = queue.Queue(JOBS_MOST)
        self._opened = threading.Event()
        self._failure: LockedError | None = None
        self.cause = ""  # why the record could not be opened at the start
        self._ending = threading.Event()
        self._recovered: Recovered | None = None
        self._late = False  # whether `start` has answered already
        self._first = threading.Lock()
        self._failing = False
        self._tried_s = 0.0
        self._thread = threading.Thread(target=self._live, name="recorder", daemon=True)

    def start(self) -> Recovered | None:
        """Open the store and take stock.

        Returns:
            What it knows; None where it cannot be opened now: then it is tried every ten seconds,
            and what it knows is delivered once it can.

        Raises:
            LockedError: another process holds the data folder.
        """
        self._thread.start()
        if not self._opened.wait(OPEN_WAIT_S):
            log.error("%s: the database is slow to open", self._folder.path)
        if self._failure is not None:
            raise self._failure
        with self._first:
            self._late = True
            return self._recovered

    def is_working(self) -> bool:
        """Tell whether the thread lives (for the watchdog); a disk that hangs is no reason."""
        return self._thread.is_alive()

    def take(self, job: Job | SnapshotJob) -> None:
        """Take a job; a full queue counts as a store that cannot write."""
        try:
            self._jobs.put_nowait(job)
        except queue.Full:
            if not isinstance(getattr(job, "event", None), RecordFailed):  # one answer, no echo
                self._answer_failed(job, "the queue to the disk is full")

    def stop(self) -> None:
        """Write what waits and end; at most ten seconds."""
        self._ending.set()
        try:
            self._jobs.put(None, timeout=1.0)
        except queue.Full:
            log.error("the disk does not keep up: the last records may be lost")  # noqa: TRY400
        self._thread.join(END_WAIT_S)

    def _live(self) -> None:
        store = self._open()
        while store is None and self._failure is None and not self._ending.wait(RETRY_S):
            store = self._open()
        if store is None:
            return
        self._serve(store)
        try:
            store.close()
        except StoreError:
            log.exception("the last records could not be written")

    def _open(self) -> Store | None:
        """Open the store and take stock; None where that cannot be done now."""
        store = None
        try:
            store = Store.open(self._folder)
            known = store.recover(self._clock.stamp(0.0), scaled=self._clock.speed > 1.0)
        except LockedError as exc:
            self._failure = exc
        except (StoreError, ValueError) as exc:
            log.error("cannot record: %s", exc)  # noqa: TRY400 - expected trouble
            self.cause = NEWER if isinstance(exc, NewerError) else "not opened"
            if store is not None:
                with suppress(StoreError):
                    store.close()
            store = None
        else:
            with self._first:
                self._recovered = known
                if self._late:
                    self._deliver(known)
        self._opened.set()
        return store

    def _serve(self, store: Store) -> None:
        flushed_s = time.monotonic()
        while True:
            try:
                job = self._jobs.get(timeout=1.0)
            except queue.Empty:
                job = None
                done = False
            else:
                done = job is None
            if done:
                return
            if job is not None:
                self._write(store, job)
            now_s = time.monotonic()
            every_s = RETRY_S if self._failing else FLUSH_S
            if now_s - max(flushed_s, self._tried_s) >= every_s:
                flushed_s = now_s
                self._flush(store)

    def _write(self, store: Store, job: Job | SnapshotJob) -> None:
        try:
            if isinstance(job, SnapshotJob):
                store.save_snapshot(job.version, job.state_json)
                return
            store.commit(job.event, job.effects, durable=False, stamp=job.stamp, keep=True)
        except StoreError as exc:
            self._failed(store, job, exc)
            return
        for effect in job.effects:
            if isinstance(effect, Reserve):
                self._deliver(
                    Recorded(
                        at_utc_s=self._clock.utc_s(),
                        mono_s=self._clock.mono_s(),
                        dose=effect.dose,
                    )
                )
        if self._failing and needs_disk(job.effects):
            self._works_again()

    def _failed(self, store: Store, job: Job | SnapshotJob, exc: StoreError) -> None:
        if not self._failing:
            log.error("cannot record: %s", exc)
        self._failing = True
        self._tried_s = time.monotonic()
        if isinstance(job, Job):
            kept = [effect for effect in job.effects if not isinstance(effect, Reserve)]
            try:
                store.postpone(job.event, kept, stamp=job.stamp)
            except StoreError:
                log.exception("a record was lost")
        self._answer_failed(job, str(exc))

    def _answer_failed(self, job: Job | SnapshotJob, cause: str) -> None:
        doses = [e.dose for e in getattr(job, "effects", []) if isinstance(e, Reserve)]
        for dose in doses or [""]:
            self._deliver(
                RecordFailed(
                    at_utc_s=self._clock.utc_s(),
                    mono_s=self._clock.mono_s(),
                    dose=dose,
                    cause=cause[:200],
                )
            )

    def _flush(self, store: Store) -> None:
        self._tried_s = time.monotonic()
        try:
            store.flush()
        except StoreError as exc:
            if not self._failing:
                self._failing = True
                log.error("cannot record: %s", exc)  # noqa: TRY400 - expected trouble
                self._answer_failed(SnapshotJob(version="", state_json=""), str(exc))
            return
        if self._failing:
            self._works_again()

    def _works_again(self) -> None:
        self._failing = False
        log.warning("the record can be written again")
        self._deliver(
            StoreState(at_utc_s=self._clock.utc_s(), mono_s=self._clock.mono_s(), can_record=True)
        )
