"""The daemon: engine, link, recorder and clock put together, each in its own thread.

The engine's thread takes one event at a time from a bounded queue. Closes go on the air at once;
what is to be recorded goes to the recorder; leases go out after them. People's orders come in from
other threads and are answered through futures.
"""

from __future__ import annotations

import asyncio
import logging
import queue
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from concurrent.futures import TimeoutError as FutureTimeout
from contextlib import suppress
from pathlib import Path
from typing import Any

from controller.clock import ScaledClock
from controller.datafolder import DataFolder
from controller.effects import Alerts, Answer, Close, Effect, Lease, Note, Ready
from controller.engine import Engine
from controller.events import (
    ClockState,
    Event,
    GardenChanged,
    LinkUp,
    Order,
    OrderKind,
    ProbeReading,
    RecordFailed,
    StoreState,
    Stumbled,
    Tick,
)
from controller.garden import Garden
from controller.link import MqttLink
from controller.living.runs import Lately, RunBook
from controller.orders import ENDING
from controller.past import Past
from controller.proving.driving import under_way
from controller.recorder import Job, Recorder, SnapshotJob
from controller.restoring import NO_RECORD, reread, restored, started
from controller.run import VERSION
from controller.store import Recovered
from controller.stranger import StrangerWatch
from controller.telling.pair_orders import holding
from controller.told_state import Paired
from controller.view import limits_json, picture

log = logging.getLogger(__name__)

QUEUE_MOST = 2000
QUEUE_WAIT_S = 1.0
TICK_S = 60.0  # [s] garden time, while nothing is due
TICK_BUSY_S = 5.0  # while water runs or is near
TICK_LEAST_REAL_S = 0.02
SNAPSHOT_S = 3600.0
VIEW_LEAST_S = 0.5  # real, between two pictures for the page
ANSWER_S = 5.0
STOP_ANSWER_S = 2.0
HEALTHY_S = 30.0  # real, since the engine's last step
CLOSE_WAIT_S = 10.0  # real, for valves to confirm at the end
FEED_S = 5.0  # real, between two words to the watchdog
LIVED_S = 600.0  # [s] garden time, after which a run is no part of a crash loop


class Daemon(Past):
    """A garden's keeper.

    Args:
        garden: the validated garden file.
        folder: the data folder.
        clock: real or scaled.
        url: the broker's, in place of the garden file's.
        garden_path: what a reload reads.
        armed: whether valves may open without a commissioning walk (trials and benches).
    """

    def __init__(
        self,
        garden: Garden,
        folder: DataFolder,
        clock: ScaledClock,
        *,
        url: str | None = None,
        garden_path: Path | None = None,
        armed: bool = True,
    ) -> None:
        super().__init__(garden, folder, clock)
        self.broker = url or garden.broker.url
        self._garden_path = garden_path
        self._armed = armed
        self._events: queue.Queue[Event | Recovered] = queue.Queue(QUEUE_MOST)
        self._answers: dict[str, Future[Answer]] = {}
        self._orders = 0
        self._orders_lock = threading.Lock()
        self._stopping = threading.Event()
        self._ending = threading.Event()  # nothing is ordered any more
        self._stepped_s = time.monotonic()
        self._ticked_s = 0.0
        self._snapshot_s = clock.mono_s()
        self._view: dict[str, Any] = {}
        self._version = 0
        self._viewed_s = 0.0
        self._dirty = True
        self.listeners: list[Callable[[float, Effect], None]] = []
        self._view_lock = threading.Lock()
        self._engine_lock = threading.Lock()  # a picture is never taken in the middle of a step
        self._recorder = Recorder(folder, clock, self.deliver)
        self._link = MqttLink(garden, clock, self.deliver, speed=clock.speed, url=url)
        self._stranger = StrangerWatch(garden, clock, self.deliver)
        self._engine = Engine(garden)
        self._recording = False
        self._runs, self._lately = RunBook(folder), Lately()
        self.alive: Callable[[], None] = lambda: None  # feeds the watchdog
        self._fed_s = 0.0
        self._thread = threading.Thread(target=self._live, name="engine", daemon=True)

    # -- coming and going

    def start(self) -> None:
        """Open the store, take stock, and begin.

        Raises:
            LockedError: another process holds the data folder.
            LinkError: the broker's address is no good.
        """
        known = self._recorder.start()  # from here on the folder is ours
        self._lately = self._runs.begin(self.clock.stamp(0.0), scaled=self.clock.speed > 1.0)
        self._begin(known)
        self._link.start()
        self._thread.start()
        if self.clock.speed == 1.0:  # a trial asks nobody
            self._stranger.start()

    def _begin(self, recovered: Recovered | None) -> None:
        """Go on from the record; nothing opens while it cannot be opened itself."""
        self._recording = recovered is not None
        known = recovered or NO_RECORD
        engine, known = restored(self.garden, known)
        with self._engine_lock:
            self._engine = engine
        told = started(self.garden, known, self.clock, armed=self._armed, lately=self._lately)
        self._step(told)
        self._save_state()  # the journal can be re-fed from here
        if recovered is None:
            at_utc_s, mono_s = self.clock.utc_s(), self.clock.mono_s()
            self._step(
                RecordFailed(at_utc_s=at_utc_s, mono_s=mono_s, dose="", cause=self._recorder.cause)
            )

    def close_everything(self) -> None:
        """Close every valve and wait for their word; ten seconds at most."""
        self.order_now({"what": "stop_all", "who": ENDING, "why": "the daemon ends"})
        self._ending.set()
        end_s = time.monotonic() + CLOSE_WAIT_S
        while time.monotonic() < end_s and self._link.online and not self._all_settled():
            time.sleep(0.02)

    def stop(self) -> None:
        """Close every valve, wait for their word, write the books, end."""
        if not self._thread.is_alive():
            return  # it never began
        if not self._ending.is_set():
            self.close_everything()
        self._stopping.set()
        self._stranger.stop()
        self._thread.join(STOP_ANSWER_S)
        self._link.stop()
        self._save_state()
        self._recorder.stop()
        self._runs.end()

    def picture_now(self) -> dict[str, Any]:
        """The garden at this very moment."""
        with self._engine_lock:
            return self._picture()

    def _all_settled(self) -> bool:
        with self._engine_lock:
            state = self._engine.state
            closed = all(valve.state == "closed" for valve in state.valves.values())
            return closed and not state.waterings and self._events.empty()

    # -- the engine's thread

    def deliver(self, event: Event | Recovered) -> None:
        """Take an event from any thread; of readings the newest are dropped when it is too much."""
        try:
            self._events.put_nowait(event)
        except queue.Full:
            if isinstance(event, ProbeReading) or threading.current_thread() is self._thread:
                return  # the engine never waits for itself
            with suppress(queue.Full):
                self._events.put(event, timeout=QUEUE_WAIT_S)

    def _live(self) -> None:
        while not self._stopping.is_set():
            busy = under_way(self._engine.run) or not self._engine.state.ready
            every_s = min((TICK_BUSY_S if busy else TICK_S) / self.clock.speed, FEED_S / 2.0)
            try:
                event = self._events.get(timeout=max(TICK_LEAST_REAL_S, every_s))
                self._step_safely(event)
            except queue.Empty:
                pass
            if self.clock.mono_s() - self._ticked_s >= (TICK_BUSY_S if busy else TICK_S):
                self._step_safely(self._tick())
            self._tell_alive()

    def _tell_alive(self) -> None:
        """Feed the watchdog: from the engine's own loop only, and only while the rest works too."""
        now_s = time.monotonic()
        if now_s - self._fed_s < FEED_S / 2.0:
            return
        if self._link.is_working() and self._recorder.is_working():
            self._fed_s = now_s
            self.alive()
        if self.clock.mono_s() >= LIVED_S:
            self._runs.lived()

    def _tick(self) -> Tick | ClockState:
        self._ticked_s = self.clock.mono_s()
        if self._engine.state.clock_synced is self.clock.known_unset():
            synced = not self._engine.state.clock_synced
            return ClockState(at_utc_s=self.clock.utc_s(), mono_s=self._ticked_s, synced=synced)
        return Tick(at_utc_s=self.clock.utc_s(), mono_s=self._ticked_s)

    def _step_safely(self, event: Event | Recovered) -> None:
        try:
            if isinstance(event, Recovered):  # the record could be opened after all
                self._begin(event)
                if self._link.online:  # it said so to the run before
                    self._step(LinkUp(at_utc_s=self.clock.utc_s(), mono_s=self.clock.mono_s()))
            else:
                self._step(event)
        except Exception:
            kind = type(event).__name__
            log.exception("the engine stumbled over a %s; every valve is closed", kind)
            self._link.close_all()
            if not isinstance(event, Stumbled):
                at_utc_s, mono_s = self.clock.utc_s(), self.clock.mono_s()
                self.deliver(Stumbled(at_utc_s=at_utc_s, mono_s=mono_s, over=kind))

    def _step(self, event: Event) -> None:
        with self._engine_lock:
            effects = self._engine.step(event)
        self._stepped_s = time.monotonic()
        self._dirty = True
        for effect in effects:
            if isinstance(effect, Close):
                self._link.send_close(effect)
        # an idle tick that overtakes what waits moves time past it: the journal has to tell
        if self._recording and not (self._engine.idle and self._events.empty()):
            stamp = self.clock.stamp(self._engine.run.trusted_s)
            self._recorder.take(Job(event=event, effects=effects, stamp=stamp))
        for effect in effects:
            self._carry_out(effect)
            for listener in self.listeners:
                listener(event.at_utc_s, effect)
        self._keep_snapshot(event, effects)

    def _carry_out(self, effect: Effect) -> None:
        match effect:
            case Lease():
                if not self._ending.is_set():
                    self._link.send_lease(effect)
            case Ready():
                self._link.announce(effect.epoch)
            case Alerts():
                self._link.publish_alerts(effect.standing)
            case Answer():
                waiting = self._answers.pop(effect.order, None)
                if waiting is not None and not waiting.done():
                    waiting.set_result(effect)
            case _:
                pass

    def _keep_snapshot(self, event: Event, effects: list[Effect]) -> None:
        """Once an hour; at once for a latch, for another version to keep, or a disk mended."""
        due = self.clock.mono_s() - self._snapshot_s >= SNAPSHOT_S
        due = due and not self._engine.run.nudge  # what is to be judged is no part of the state
        due = due or (isinstance(event, StoreState) and event.can_record)
        if due or any(isinstance(e, Note) and e.what == "alert" and e.durable for e in effects):
            self._save_state()

    def _save_state(self) -> None:
        self._snapshot_s = self.clock.mono_s()
        if not self._recording:
            return
        state_json = self._engine.dump().decode("utf-8")
        self._recorder.take(SnapshotJob(version=VERSION, state_json=state_json))

    # -- for people and programs (any thread)

    @property
    def setting(self) -> Garden:
        """The garden file in force."""
        return self._engine.run.garden

    def view(self) -> dict[str, Any]:
        """The garden now, at most half a second old."""
        with self._view_lock:
            now_s = time.monotonic()
            if (self._dirty and now_s - self._viewed_s >= VIEW_LEAST_S) or not self._view:
                self._dirty = False
                self._viewed_s = now_s
                with self._engine_lock:
                    fresh = self._picture()
                if fresh != self._view:
                    self._view, self._version = fresh, self._version + 1
            return self._view

    def _picture(self) -> dict[str, Any]:
        run = self._engine.run
        return {
            "broker": self.broker,
            "speed": self.clock.speed,
            **picture(run),
            "limits": limits_json(run),
        }

    def version(self) -> str:
        """Changes whenever the view does."""
        self.view()
        return f"{self._engine.state.epoch}-{self._version}"

    def order_now(self, fields: dict[str, Any]) -> Future[Answer]:
        """Put an order to the engine; the future has its answer."""
        with self._orders_lock:
            self._orders += 1
            order = str(fields.get("order") or f"order-{self._orders}-{time.monotonic_ns()}")
        waiting: Future[Answer] = Future()
        self._answers[order] = waiting
        told = {**fields, "order": order, "what": OrderKind(fields["what"])}
        if self._ending.is_set() and fields.get("what") == "water":
            waiting.set_result(
                Answer(order=order, status="refused", reason="ending", text="The daemon ends.")
            )
            return waiting
        self.deliver(Order(at_utc_s=self.clock.utc_s(), mono_s=self.clock.mono_s(), **told))
        return waiting

    async def order(self, order_fields: dict[str, Any]) -> Answer:
        """Put an order to the engine and wait for its answer.

        Raises:
            TimeoutError: no answer within 5 s.
        """
        waiting = asyncio.wrap_future(self.order_now(order_fields))
        return await asyncio.wait_for(waiting, ANSWER_S)

    async def stop_now(self, bed: str | None, who: str) -> Answer:
        """Close one bed's valve or all.

        Raises:
            TimeoutError: the engine did not answer within 2 s; the closes went out all the same.
        """
        what = "stop_all" if bed is None else "stop"
        self._close_past_engine(bed)  # first of all, whatever the engine is busy with
        waiting = self.order_now({"what": what, "bed": bed, "who": who})
        try:
            return await asyncio.wait_for(asyncio.wrap_future(waiting), STOP_ANSWER_S)
        except FutureTimeout as exc:
            raise TimeoutError from exc

    def _close_past_engine(self, bed: str | None) -> None:
        if bed is None:
            self._link.close_all()
        elif bed in self.garden.beds:
            self._link.send_close(Close(valve=self.garden.beds[bed].valve))

    def pairs(self) -> Mapping[str, Paired]:
        """The paired browsers that may come in now, by id."""
        return holding(self._engine.run)

    def healthy(self) -> bool:
        """Whether the engine steps and its thread lives."""
        recent = time.monotonic() - self._stepped_s < HEALTHY_S + TICK_S / self.clock.speed
        return self._thread.is_alive() and recent

    def reload(self) -> None:
        """Read the garden file anew; a refused one changes nothing but an alert."""
        if self._garden_path is None:
            return
        garden_json, cause = reread(self._garden_path, self.garden)
        self.deliver(
            GardenChanged(
                at_utc_s=self.clock.utc_s(),
                mono_s=self.clock.mono_s(),
                garden_json=garden_json,
                cause=cause,
            )
        )
