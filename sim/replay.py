"""A season through the real engine, as fast as the machine allows, and rivals beside it.

Time jumps from grid point to grid point while nothing is due and goes in half minutes while water
runs. Everything is deterministic: the same garden, season and seed give the same numbers.
"""

from __future__ import annotations

import time as walltime
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from controller.agronomy.sun import sun_times_utc_s
from controller.engine import Engine
from controller.errors import UsageError
from controller.events import LinkUp, ProbeReading, Started, Tick, WeatherReading
from controller.garden import Garden
from controller.view import alert_json, rfc3339
from sim.forms import told_value
from sim.garden_world import GardenWorld, Span, midnight_utc_s, moved_to, season_for, span_of
from sim.hands import Flow, Hands, TimedNote
from sim.rivals import DailyClock
from sim.season_account import SeasonAccount
from sim.season_types import Season

GRID_S = 600.0
WATER_STEP_S = 30.0
TENSION_KINDS = frozenset({"tension_kpa", "resistance_kohm"})
POLICIES = ("thirstline", "daily-clock")


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """What is replayed."""

    garden: Garden
    season: Season
    span: Span
    seed: int
    sure: bool

    def world(self) -> GardenWorld:
        """A fresh world of this replay."""
        return GardenWorld(
            self.garden, self.season, self.span.from_utc_s, seed=self.seed, sure=self.sure
        )


@dataclass(slots=True, kw_only=True)
class PolicyRun:
    """What one policy came to."""

    name: str
    seconds: float
    numbers: dict[str, object]
    alerts: list[dict[str, Any]]
    notes: list[TimedNote] = field(default_factory=list)
    flows: list[Flow] = field(default_factory=list)
    depletion_at_dawn: dict[str, list[float]] = field(default_factory=dict)

    def json(self) -> dict[str, object]:
        """As `replay --json` prints it."""
        return {
            "name": self.name,
            "seconds": round(self.seconds, 2),
            **self.numbers,
            "alerts": self.alerts,
        }


def prepare(
    garden: Garden,
    season_name: str,
    *,
    first: date | None = None,
    last: date | None = None,
    seed: int = 1,
    sure: bool = False,
) -> Replay:
    """Load the season and move the garden into its year.

    Raises:
        SeasonError: the season cannot be used.
        UsageError: the days asked for make no span.
    """
    season = season_for(garden, season_name)
    year = season.daily[0].date.year
    moved = moved_to(garden, year)
    span = span_of(moved, season, first, last)
    return Replay(garden=moved, season=season, span=span, seed=seed, sure=sure)


class Dawns:
    """Hands out each dawn of a span once."""

    def __init__(self, garden: Garden, span: Span) -> None:
        self._garden = garden
        self._day = span.first
        self._at_s = self._dawn_s(span.first)

    def _dawn_s(self, day: date) -> float:
        info = self._garden.garden
        sun = sun_times_utc_s(info.latitude, info.longitude, day)
        return sun[0] if sun is not None else midnight_utc_s(self._garden, day) + 6 * 3600.0

    def due(self, at_utc_s: float) -> date | None:
        """The day whose dawn has come, else None."""
        if at_utc_s < self._at_s:
            return None
        today = self._day
        self._day = today + timedelta(days=1)
        self._at_s = self._dawn_s(self._day)
        return today


class EngineReplay:
    """The real engine in a world, carried on from instant to instant.

    Args:
        garden: its dates in the season's year.
        world: where it lives.
        span: the days.
    """

    def __init__(self, garden: Garden, world: GardenWorld, span: Span) -> None:
        self.garden = garden
        self.world = world
        self.account = SeasonAccount(garden, world)
        self.engine = Engine(garden)
        self.hands = Hands(
            garden,
            self.engine,
            world,
            utc_ahead_s=span.from_utc_s,
            started=self.account.watering,
        )
        self._begin_utc_s = span.from_utc_s
        self._dawns = Dawns(garden, span)
        self.now_s = 0.0
        _begin(self.hands, garden, span.from_utc_s)

    def go(self, to_utc_s: float) -> None:
        """Live until an instant [s, Unix]."""
        end_s = to_utc_s - self._begin_utc_s
        while self.now_s < end_s:
            step_s = self._step_s()
            self.now_s = min(end_s, (self.now_s // step_s + 1.0) * step_s)
            at_utc_s = self._begin_utc_s + self.now_s
            _live(self.hands, self.world, self.garden, at_utc_s, self.now_s)
            today = self._dawns.due(at_utc_s)
            if today is not None:
                self.account.dawn(today)

    def _step_s(self) -> float:
        """To the next grid point while nothing is due; half minutes while water runs."""
        waterings = self.engine.state.waterings
        moving = any(one.pulse is not None for one in waterings.values())
        if moving or self.hands.meter_speaks(self.now_s):
            return WATER_STEP_S
        return 2.0 * WATER_STEP_S if waterings else GRID_S


def run_engine(replay: Replay) -> PolicyRun:
    """Run the real engine through the season."""
    began_s = walltime.perf_counter()
    live = EngineReplay(replay.garden, replay.world(), replay.span)
    live.go(replay.span.to_utc_s)
    return PolicyRun(
        name="thirstline",
        seconds=walltime.perf_counter() - began_s,
        numbers=live.account.result(),
        alerts=[alert_json(alert) for alert in live.hands.alerts.values()],
        notes=[note for note in live.hands.notes if note.note.what in {"decision", "watering"}],
        flows=live.hands.flows,
        depletion_at_dawn=live.account.depletion_at_dawn,
    )


def _begin(hands: Hands, garden: Garden, at_utc_s: float) -> None:
    hands.step(Started(at_utc_s=at_utc_s, mono_s=0.0, trusted_s=0.0, stored_epoch=0))
    hands.step(LinkUp(at_utc_s=at_utc_s, mono_s=0.0))
    for valve in garden.valves:
        hands.step(hands.report(valve, at_utc_s, 0.0))


def _live(hands: Hands, world: GardenWorld, garden: Garden, at_utc_s: float, now_s: float) -> None:
    """One instant: leases that lapse, readings that are due, the meter, the tick."""
    hands.lapse(at_utc_s, now_s)
    on_grid = now_s % GRID_S == 0.0
    if on_grid:
        world.advance(at_utc_s)
        _sense(hands, world, garden, at_utc_s, now_s)
    if on_grid or hands.meter_speaks(now_s):
        reading = hands.meter_reading(at_utc_s, now_s)
        if reading is not None:
            hands.step(reading)
    hands.step(Tick(at_utc_s=at_utc_s, mono_s=now_s))


def _sense(hands: Hands, world: GardenWorld, garden: Garden, at_utc_s: float, now_s: float) -> None:
    for mast in garden.weather:
        told = world.weather()
        hands.step(
            WeatherReading(
                at_utc_s=at_utc_s,
                mono_s=now_s,
                mast=mast,
                temp_c=told.get("temp_c"),
                rh_pct=told.get("rh_pct"),
                rain_mm_total=told.get("rain_mm_total"),
                solar_w_m2=told.get("solar_w_m2"),
                wind_m_s=told.get("wind_m_s"),
            )
        )
    for name, probe in garden.probes.items():
        tension_kpa = world.tension_kpa(name) if probe.kind in TENSION_KINDS else 0.0
        value = told_value(probe, world.probe_value(name), tension_kpa)
        hands.step(ProbeReading(at_utc_s=at_utc_s, mono_s=now_s, probe=name, value=value))


def run_clock(replay: Replay) -> PolicyRun:
    """Run the daily clock through the season."""
    began_s = walltime.perf_counter()
    world = replay.world()
    account = SeasonAccount(replay.garden, world)
    clock = DailyClock(replay.garden, replay.season, replay.span, world)
    dawns = Dawns(replay.garden, replay.span)
    now_s = replay.span.from_utc_s
    while now_s < replay.span.to_utc_s:
        now_s = min(replay.span.to_utc_s, (now_s // GRID_S + 1.0) * GRID_S)
        for bed in clock.live(now_s):
            account.watering(bed, now_s)
        world.advance(now_s)
        today = dawns.due(now_s)
        if today is not None:
            account.dawn(today)
    return PolicyRun(
        name="daily-clock",
        seconds=walltime.perf_counter() - began_s,
        numbers=account.result(),
        alerts=[],
        depletion_at_dawn=account.depletion_at_dawn,
    )


def run_policy(replay: Replay, policy: str) -> PolicyRun:
    """Run one policy through a prepared season.

    Raises:
        UsageError: there is no such policy.
    """
    if policy == "thirstline":
        return run_engine(replay)
    if policy == "daily-clock":
        return run_clock(replay)
    msg = f"--policy: {policy[:40]!r} is not one of {', '.join(POLICIES)}"
    raise UsageError(msg)


def season_json(replay: Replay) -> dict[str, object]:
    """The season as `replay --json` prints it."""
    span, days = replay.span, replay.season.daily
    inside = [day for day in days if span.first <= day.date <= span.last]
    return {
        "source": replay.season.source,
        "from": span.first.isoformat(),
        "to": span.last.isoformat(),
        "rain_mm": round(sum(day.rain_mm for day in inside), 1),
        "eto_mm": round(sum(day.eto_mm for day in inside), 1),
        "estimated": list(replay.season.estimated),
        "sure": replay.sure,
        "seed": replay.seed,
        "begins": rfc3339(span.from_utc_s),
    }
