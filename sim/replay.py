"""A season through the real engine, as fast as the machine allows, and rivals beside it.

Time strides from one instant at which something is due to the next: grid points, renewals of
leases, ends of pulses and soaks, changes of a fault script. Everything is deterministic: the same
garden, season and seed give the same numbers.
"""

from __future__ import annotations

import time as walltime
from collections.abc import Callable

from controller.engine import Engine
from controller.errors import UsageError
from controller.events import (
    Event,
    LinkDown,
    LinkUp,
    Started,
    StoreState,
    Tick,
)
from controller.garden import Garden
from controller.state import Watering
from controller.view import alert_json
from sim.fault_replay import ReplayFaults
from sim.faults import FaultScript
from sim.garden_world import GardenWorld, Span
from sim.hands import Hands
from sim.instruments import Instruments
from sim.rival_run import KEPT_OFF_FRAC, RIVALS, run_rival
from sim.season_account import SeasonAccount
from sim.season_run import Dawns, Picks, PolicyRun, Replay, prepare, season_json
from sim.told_picks import ToldPicks

__all__ = [
    "POLICIES",
    "EngineReplay",
    "PolicyRun",
    "Replay",
    "prepare",
    "run_policy",
    "season_json",
]

GRID_S = 600.0
WATER_STEP_S = 60.0  # [s] while water runs: leases of 90 s are renewed in time
EDGE_STEP_S = 6.0  # [s] where a valve is about to open or close; edges keep 5 s apart
FAULTY_STEP_S = 10.0  # [s] while water runs and things may break
POLICIES = ("thirstline", *RIVALS)


class EngineReplay:
    """The real engine in a world, carried on from instant to instant.

    Args:
        garden: its dates in the season's year.
        world: where it lives.
        span: the days.
        faults: what breaks when; None for nothing.
        picks: planned picks by bed that the controller is told of.
    """

    def __init__(
        self,
        garden: Garden,
        world: GardenWorld,
        span: Span,
        faults: FaultScript | None = None,
        picks: Picks | None = None,
    ) -> None:
        self.garden = garden
        self.world = world
        self.account = SeasonAccount(garden, world)
        self.faults = None if faults is None else ReplayFaults(faults, garden)
        self.hands = Hands(
            garden,
            Engine(garden),
            world,
            utc_ahead_s=span.from_utc_s,
            started=self.account.watering,
            faults=self.faults,
        )
        self._instruments = Instruments(garden, world, self.faults)
        self._begin_utc_s = span.from_utc_s
        self._dawns = Dawns(garden, span)
        self._picks = ToldPicks(garden, picks or {})
        self._cut: bytes | None = None  # the engine's memory while it has no power
        self.now_s = 0.0
        self.hands.step(self._told(Started, trusted_s=0.0, stored_epoch=0))
        self._link_up()

    @property
    def engine(self) -> Engine:
        """The engine that lives now; after a power cut another one."""
        return self.hands.engine

    @property
    def at_utc_s(self) -> float:
        """What the controller's wall clock says [s, Unix]."""
        ahead_s = 0.0 if self.faults is None else self.faults.clock_ahead_s
        return self._begin_utc_s + self.now_s + ahead_s

    def _told(self, kind: Callable[..., Event], **what: object) -> Event:
        return kind(at_utc_s=self.at_utc_s, mono_s=self.now_s, **what)

    def go(self, to_utc_s: float) -> None:
        """Live until an instant [s, Unix]."""
        end_s = to_utc_s - self._begin_utc_s
        while self.now_s < end_s:
            self.now_s = min(end_s, self._next_s())
            if self.faults is not None:
                self._break(self.faults)
            if self._cut is None:
                self._live()
            else:
                self._lie_idle()
            true_utc_s = self._begin_utc_s + self.now_s
            self.account.look(true_utc_s, self._dawns.due(true_utc_s))

    def _next_s(self) -> float:
        """The next instant at which something is due."""
        now_s = self.now_s
        due_s = (now_s // GRID_S + 1.0) * GRID_S
        if self.faults is not None:
            due_s = min(due_s, max(now_s, self.faults.next_change_s()))
            if self.hands.any_open:
                due_s = min(due_s, now_s + FAULTY_STEP_S)
        hands = self.hands
        waterings = hands.engine.state.waterings
        drinks = False
        for one in waterings.values():
            due_s = min(due_s, now_s + self._wait_s(one))
            drinks = drinks or one.pulse is not None
        if hands.any_open and not drinks:
            return min(due_s, now_s + EDGE_STEP_S)  # the master closes last
        return min(due_s, now_s + WATER_STEP_S) if hands.meter_speaks(now_s) else due_s

    def _wait_s(self, watering: Watering) -> float:
        """How long a watering can be left alone: to a renewal, its litres, the end of a soak."""
        pulse = watering.pulse
        if pulse is None:
            soaks_s = watering.next_mono_s - self.now_s
            return soaks_s if soaks_s > 0.0 else WATER_STEP_S
        if pulse.phase != "running":
            return EDGE_STEP_S
        flow_l_min = self.garden.beds[pulse.bed].flow_l_min
        ends_s = 60.0 * (pulse.want_l - pulse.given_l) / flow_l_min
        return max(EDGE_STEP_S, min(WATER_STEP_S, ends_s))

    def _live(self) -> None:
        """One instant: leases that lapse, readings that are due, the meter, the tick."""
        hands, at_utc_s, now_s = self.hands, self.at_utc_s, self.now_s
        hands.lapse(at_utc_s, now_s)
        on_grid = now_s % GRID_S == 0.0
        if on_grid:
            self.world.advance(self._begin_utc_s + now_s)
            hands.hear(self._instruments.weather(at_utc_s, now_s))
            hands.hear(self._instruments.probes(at_utc_s, now_s))
        if on_grid or hands.meter_speaks(now_s):
            reading = hands.meter_reading(at_utc_s, now_s)
            if reading is not None:
                hands.step(reading)
        hands.speak(at_utc_s, now_s)
        for order in self._picks.due(at_utc_s, now_s):
            hands.step(order)
        hands.step(Tick(at_utc_s=at_utc_s, mono_s=now_s))

    def _lie_idle(self) -> None:
        """One instant without a controller: leases run out, the world goes on."""
        for node in self.hands.nodes.values():
            node.advance(self.now_s)
        self.hands.flow(self.now_s)
        self.world.advance(self._begin_utc_s + self.now_s)

    def _link_up(self) -> None:
        self.hands.step(self._told(LinkUp))
        for valve in self.garden.valves:
            report = self.hands.told(valve, self.at_utc_s, self.now_s)
            if report is not None:
                self.hands.step(report)

    def _break(self, faults: ReplayFaults) -> None:
        """Take every change that is due, each at its place in the order."""
        hands, now_s = self.hands, self.now_s
        while (turn := faults.turn(now_s, hands.metered_l(now_s))) is not None:
            if turn.power_cut:
                self._cut = self.engine.dump()
            if turn.link_lost and self._cut is None:
                hands.step(self._told(LinkDown))
            for valve in turn.rebooted:
                hands.nodes[valve].reboot(now_s)
            hands.flow(now_s)
            if turn.power_back and self._cut is not None:
                hands.engine, self._cut = Engine.load(self._cut, self.garden), None
                hands.step(
                    hands.record.started(at_utc_s=self.at_utc_s, mono_s=now_s, trusted_s=now_s)
                )
            if turn.link_back and self._cut is None:
                self._link_up()
            if turn.record_back and self._cut is None:
                hands.step(self._told(StoreState, can_record=True))


def run_engine(replay: Replay) -> PolicyRun:
    """Run the real engine through the season."""
    began_s = walltime.perf_counter()
    picks = replay.picks if replay.tells_picks else None
    live = EngineReplay(replay.garden, replay.world(), replay.span, replay.faults, picks)
    live.go(replay.span.to_utc_s)
    return PolicyRun(
        name="thirstline",
        seconds=walltime.perf_counter() - began_s,
        numbers=live.account.result(replay.picks),
        alerts=[alert_json(alert) for alert in live.hands.alerts.values()],
        notes=[note for note in live.hands.notes if note.note.what in {"decision", "watering"}],
        flows=live.hands.flows,
        depletion_at_dawn=live.account.depletion_at_dawn,
        hours=live.account.hours,
        dawns=live.account.dawns,
    )


def run_policy(replay: Replay, policy: str) -> PolicyRun:
    """Run one policy through a prepared season.

    Raises:
        UsageError: there is no such policy.
    """
    if policy == "thirstline":
        return run_engine(replay)
    if policy in RIVALS or policy in KEPT_OFF_FRAC:
        return run_rival(replay, policy)
    msg = f"--policy: {policy[:40]!r} is not one of {', '.join(POLICIES)}"
    raise UsageError(msg)
