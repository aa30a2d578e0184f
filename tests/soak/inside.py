"""A soak in one process: daemon, real store and virtual nodes on one driven clock.

The daemon is the real one but for its threads: what its threads would do is done in turn. Once a
day of the garden all is kept, so that the same command goes on with a run that was cut off.
"""

from __future__ import annotations

import gc
import logging
import os
import pickle
import shutil
import sqlite3
import sys
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

from controller.clock import ScaledClock
from controller.daemon import TICK_BUSY_S, TICK_S, Daemon
from controller.datafolder import DataFolder
from controller.events import Event, LinkDown, LinkUp
from controller.garden import Garden, load_garden
from controller.proving.driving import under_way
from controller.recorder import RETRY_S, Job, SnapshotJob
from controller.store import Store
from controller.trusted import ClockStamp
from sim import plumbing
from sim.bench_trial import shifted
from sim.fault_lots import USUAL, random_faults
from sim.faults import Fault, FaultScript, Kind, What
from sim.garden_world import GardenWorld, season_for
from sim.plumbing import Truth, VirtualGarden
from tests.faults.stored_bench import Disk
from tests.soak.air import Air
from tests.soak.plot import BEDS, depletions, write_plot
from tests.soak.samples import memory_kib, of_folder, read_lines, write_line

DAY_S, HOUR_S = 86_400.0, 3600.0
FLUSH_S = 60.0
BEGIN_UTC_S = 1_783_065_600.0  # 2026-07-03 08:00 UTC, 01:00 at the plot
STRIDE_S = 60.0  # [s] the world's own steps where nothing asks for finer ones
TURN_S = 5.0  # [s] so late may a word be heard; pulses of the meter come in such steps
PROBES_AT_S = 7.0  # [s] of each minute: all probes tell at the same instant
SAMPLE_H = 6  # [h]
SEASON = "invented-dry"
OURS = {(Kind.POWER, What.CONTROLLER_DOWN), (Kind.STORE, What.REFUSE)}  # broken here, not out there
LEFT_OUT = {(Kind.VALVE, What.STUCK_OPEN), (Kind.CLOCK, What.STEP)}
BROKEN_TIMES = 2.0  # as often as usual
CALM_S = DAY_S  # [s] at the end, in which nothing breaks


class DrivenClock(ScaledClock):
    """Time as the driver says: `now_s` since the run began, anew for each process."""

    def __init__(self, born_s: float) -> None:
        super().__init__()
        self.born_s = self.now_s = born_s

    def utc_s(self) -> float:
        """Unix seconds."""
        return BEGIN_UTC_S + self.now_s

    def mono_s(self) -> float:
        """Since this process began."""
        return self.now_s - self.born_s

    def known_unset(self) -> bool:
        """Somebody has set it."""
        return False

    def stamp(self, trusted_s: float) -> ClockStamp:
        """All clocks of a machine that never stops."""
        return ClockStamp(
            boot_id="soak", mono_s=self.now_s, utc_s=self.utc_s(), synced=True, trusted_s=trusted_s
        )


class StridingWorld:
    """A world that goes on in strides of a minute: probes that differ by seconds see the same."""

    def __init__(self, world: GardenWorld) -> None:
        self._world, self._at_utc_s = world, BEGIN_UTC_S

    def advance(self, to_utc_s: float) -> None:
        """Let time pass, once a minute of it is there."""
        if to_utc_s - self._at_utc_s >= STRIDE_S:
            self._world.advance(to_utc_s)
            self._at_utc_s = to_utc_s

    def exactly(self, to_utc_s: float) -> None:
        """Let time pass up to an instant at which water begins or ends."""
        self._world.advance(to_utc_s)
        self._at_utc_s = max(self._at_utc_s, to_utc_s)

    def set_flow(self, bed: str, l_min: float) -> None:
        """Let water onto a bed."""
        self._world.set_flow(bed, l_min)

    def flow_l_min(self, bed: str) -> float:
        """What its emitters pass."""
        return self._world.flow_l_min(bed)

    def probe_value(self, probe: str) -> float | None:
        """Water content."""
        return self._world.probe_value(probe)

    def tension_kpa(self, probe: str) -> float:
        """Tension."""
        return self._world.tension_kpa(probe)

    def weather(self) -> Mapping[str, float]:
        """What the mast tells."""
        return self._world.weather()


@dataclass(slots=True)
class Opened:
    """What truly happened to each valve, from the nodes' own words."""

    litres: dict[str, float] = field(default_factory=dict)
    open_s: dict[str, float] = field(default_factory=dict)
    since_s: dict[str, float] = field(default_factory=dict)
    openings: int = 0

    def take(self, line: Truth) -> None:
        """One line of truth."""
        valve, at_s = str(line["valve"]), float(str(line["node_s"]))
        self.litres[valve] = float(str(line["litres"]))
        if line["open"] and valve not in self.since_s:
            self.since_s[valve] = at_s
            self.openings += 1
        elif not line["open"] and valve in self.since_s:
            self.open_s[valve] = self.open_s.get(valve, 0.0) + at_s - self.since_s.pop(valve)


class Inside:
    """One run.

    Args:
        folder: for everything that is written.
        days: how long it lasts [d].
        seed: of world, nodes and faults.
    """

    def __init__(self, folder: Path, days: float, seed: int = 1) -> None:
        self.folder, self.days = folder.absolute(), days
        self.garden: Garden = load_garden(write_plot(self.folder, "mqtt://127.0.0.1:1883"))
        self.disk, self.opened = Disk(), Opened()
        self.now_s = self._flushed_s = 0.0
        self.days_done = self.starts = 0
        usual = {key: how for key, how in USUAL.items() if key not in LEFT_OUT}
        span_s = max(days * DAY_S - CALM_S, 0.5 * days * DAY_S)
        drawn = random_faults(self.garden, span_s, seed, times=BROKEN_TIMES, usual=usual)
        told = [one for one in drawn.faults if one.end_s <= span_s]
        self._ours = [one for one in told if (one.kind, one.what) in OURS]
        theirs = tuple(one for one in told if (one.kind, one.what) not in OURS)
        self.faults = len(told)
        season = shifted(season_for(self.garden, SEASON), BEGIN_UTC_S)
        world = GardenWorld(
            self.garden, season, BEGIN_UTC_S, seed=seed, depletion_frac=depletions()
        )
        self.nodes = VirtualGarden(
            self.garden,
            StridingWorld(world),
            seed=seed,
            node_s=0.0,
            utc_s=BEGIN_UTC_S,
            truth=self.opened.take,
            faults=FaultScript(begin_utc_s=BEGIN_UTC_S, faults=theirs),
        )
        for node, _ in self.nodes._probes.values():
            node._due_s = PROBES_AT_S
        self.daemon: Daemon | None = None
        self.air: Air
        self.clock: DrivenClock
        self._store: Store | None = None
        self._sent: list[tuple[str, bytes]] = []

    # -- coming and going

    @property
    def data(self) -> Path:
        """The data folder."""
        return self.folder / "data"

    def begin(self) -> None:
        """A process begins: the daemon over what the store knows."""
        self.starts += 1
        self.clock = DrivenClock(self.now_s)
        self.air = Air(self.garden, self.clock)
        daemon = Daemon(self.garden, DataFolder(self.data), self.clock)
        daemon._link = self.air  # type: ignore[assignment]
        recorder = daemon._recorder
        with patch.object(sqlite3, "connect", self.disk.connect()):
            self._store = recorder._open()
        recorder.take = self._write  # type: ignore[method-assign]
        daemon._lately = daemon._runs.begin(self.clock.stamp(0.0), scaled=False)
        self.daemon = daemon
        daemon._begin(recorder._recovered)
        self._flushed_s = self.now_s

    def end(self, *, well: bool) -> None:
        """The process ends, by itself or by a power cut."""
        daemon, self.daemon = self.daemon, None
        if daemon is None:
            return
        if well:
            daemon._save_state()
            daemon._runs.end()
        if self._store is not None:
            with suppress(Exception):
                self._store.close() if well else self._store._db.close()
        daemon.folder.unlock()
        self._store = None
        self.air.online = False

    def _write(self, job: Job | SnapshotJob) -> None:
        if self.daemon is not None and self._store is not None:
            self.daemon._recorder._write(self._store, job)

    # -- time

    def live(self, to_s: float) -> None:
        """Let everything happen up to an instant."""
        while self.now_s < to_s:
            self.now_s = min(to_s, self._next_s())
            self._break()
            self._sent.clear()
            self.nodes.run_to(self.now_s, self._take)
            if self.daemon is not None:
                self.clock.now_s = self.now_s
                self._turn(self.daemon)

    def _take(self, topic: str, payload: bytes, qos: int) -> None:
        del qos
        if not self.nodes.breakage.network_down:
            self._sent.append((topic, payload))

    def _next_s(self) -> float:
        """One turn further, or as far as nothing is due."""
        due_s = max(self.nodes.next_due_s(), self.now_s + TURN_S)
        if self.daemon is None:  # no power: the nodes live on
            return due_s
        due_s = min(due_s, self.clock.born_s + self._tick_due_s(self.daemon))
        return min(max(due_s, self.now_s + TURN_S), self._flushed_s + FLUSH_S + TURN_S)

    def _tick_due_s(self, daemon: Daemon) -> float:
        busy = under_way(daemon._engine.run) or not daemon._engine.state.ready
        return daemon._ticked_s + (TICK_BUSY_S if busy else TICK_S)

    def _turn(self, daemon: Daemon) -> None:
        """What the daemon's threads do at this instant."""
        linked = not self.nodes.breakage.network_down
        if linked != self.air.online:
            self.air.turn(online=linked)
            times = {"at_utc_s": self.clock.utc_s(), "mono_s": self.clock.mono_s()}
            self._step(daemon, LinkUp(**times) if linked else LinkDown(**times))
            if linked:
                self.nodes.greet(self._take)
        for topic, payload in self._sent:
            for event in self.air.hear(topic, payload):
                self._step(daemon, event)
        if self.clock.mono_s() >= self._tick_due_s(daemon):
            self._step(daemon, daemon._tick())
            daemon._tell_alive()
        self.air.repeat_closes()
        self._deliver(daemon)
        failing = daemon._recorder._failing
        if self.now_s - self._flushed_s >= (RETRY_S if failing else FLUSH_S) - 1e-6:
            self._flushed_s = self.now_s
            if self._store is not None:
                daemon._recorder._flush(self._store)
                self._drain(daemon)

    def _step(self, daemon: Daemon, event: Event) -> None:
        daemon._step_safely(event)
        self._drain(daemon)

    def _drain(self, daemon: Daemon) -> None:
        """What came back from the recorder, or was ordered."""
        while not daemon._events.empty():
            daemon._step_safely(daemon._events.get_nowait())

    def _deliver(self, daemon: Daemon) -> None:
        """The nodes hear what was said to them, and answer at once."""
        while self.air.words:
            topic, payload = self.air.words.popleft()
            self._sent.clear()
            if self.nodes.breakage.network_down:
                continue
            self.nodes.hear(topic, payload, retained=False, node_s=self.now_s, send=self._take)
            for told in list(self._sent):
                for event in self.air.hear(*told):
                    self._step(daemon, event)

    def _break(self) -> None:
        """Power and disk of the controller."""
        down = any(self._lasts(one) for one in self._ours if one.kind is Kind.POWER)
        if down and self.daemon is not None:
            self.end(well=False)
        elif not down and self.daemon is None:
            self.begin()
        refuses = any(self._lasts(one) for one in self._ours if one.kind is Kind.STORE)
        if refuses and not self.disk.lasts:
            self.disk.fails_at, self.disk.lasts = self.disk.done + 1, True
        elif not refuses and self.disk.lasts:
            self.disk.lasts = False
            self.disk.mend()

    def _lasts(self, fault: Fault) -> bool:
        return fault.start_s <= self.now_s < fault.end_s

    # -- people

    def look_after(self, hour: int) -> None:
        """Somebody looks at the page, lifts what asks for a person, waters by hand."""
        daemon = self.daemon
        if daemon is None:
            return
        daemon.view()
        daemon.log(0, 200)
        daemon.history(BEDS[hour % len(BEDS)], self.clock.utc_s() - DAY_S, self.clock.utc_s())
        if hour % 6 == 5:
            for alert in list(daemon._engine.state.alerts.values()):
                if alert.person_needed:
                    self._order(daemon, what="clear", alert=alert.id, why="looked after")
        if hour % 24 == 10:
            self._order(daemon, what="water", bed=BEDS[hour // 24 % len(BEDS)], litres=6.0)

    def _order(self, daemon: Daemon, **fields: Any) -> None:
        daemon.order_now({"who": "operator", **fields})
        self._drain(daemon)
        self._deliver(daemon)


def sample(run: Inside, hour: int) -> dict[str, Any]:
    """What there is to measure now."""
    gc.collect()
    daemon = run.daemon
    alerts = [] if daemon is None else [a.code for a in daemon._engine.state.alerts.values()]
    return {
        "garden_s": hour * HOUR_S,
        "at": time.time(),
        "pid": os.getpid(),
        "rss_kib": memory_kib(os.getpid()),
        "blocks": sys.getallocatedblocks(),
        "threads": threading.active_count(),
        "fds": len(list(Path("/proc/self/fd").iterdir())),
        "state_bytes": 0 if daemon is None else len(daemon._engine.dump()),
        "answers": 0 if daemon is None else len(daemon._answers),
        "pending": 0 if run._store is None else run._store.pending,
        "files": of_folder(run.data),
        "alerts": sorted(set(alerts)),
        "starts": run.starts,
    }


def run(folder: Path, days: float, seed: int = 1) -> Inside:
    """Begin or go on, to the end.

    Args:
        folder: for everything that is written.
        days: garden time [d].
        seed: of world, nodes and faults.
    """
    logging.getLogger("controller").setLevel(logging.CRITICAL)  # it breaks on purpose
    live = taken_up(folder, days, seed)
    hours = round(24 * days)
    with patch.object(plumbing, "FLOW_STEP_S", TURN_S):
        _live_on(live, hours)
    live.end(well=True)
    return live


def _live_on(live: Inside, hours: int) -> None:
    """Hour after hour, to the end."""
    for hour in range(24 * live.days_done, hours):
        live.live((hour + 1) * HOUR_S)
        live.look_after(hour)
        if hour % SAMPLE_H == SAMPLE_H - 1:
            write_line(live.folder / "samples.jsonl", sample(live, hour + 1))
        if hour % 24 == 23 and hour + 1 < hours and live.daemon is not None:
            keep(live, (hour + 1) // 24)


def keep(live: Inside, day: int) -> None:
    """Keep all of a run after so many days: the process ends well and another one begins."""
    live.end(well=True)
    live.days_done = day
    part = live.folder / "kept.part"
    shutil.rmtree(part, ignore_errors=True)
    shutil.copytree(live.data, part / "data")
    (part / "run.pickle").write_bytes(pickle.dumps(live))
    shutil.rmtree(live.folder / "kept", ignore_errors=True)
    part.rename(live.folder / "kept")
    live.begin()


def taken_up(folder: Path, days: float, seed: int) -> Inside:
    """A run that goes on from its last whole day, or a new one."""
    kept = folder / "kept"
    if not (kept / "run.pickle").exists():
        live = Inside(folder, days, seed)
        live.begin()
        return live
    live = pickle.loads((kept / "run.pickle").read_bytes())  # noqa: S301 - our own
    shutil.rmtree(live.data, ignore_errors=True)
    shutil.copytree(kept / "data", live.data)
    lines = read_lines(folder / "samples.jsonl")
    (folder / "samples.jsonl").unlink(missing_ok=True)
    for line in lines:
        if line["garden_s"] <= live.days_done * DAY_S:
            write_line(folder / "samples.jsonl", line)
    live.begin()
    return live
