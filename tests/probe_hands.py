"""An engine that hears probes and a mast as a test dictates, ten minutes at a time."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from controller.effects import Effect, Note, Reserve
from controller.engine import Engine
from controller.events import (
    Event,
    LinkUp,
    Order,
    OrderKind,
    ProbeReading,
    Recorded,
    Started,
    Tick,
    WeatherReading,
)
from controller.garden import Garden
from controller.sensing.flags import Flag
from controller.state import ProbeState
from tests.engine_garden import DAY_S, QUIET_S, START_UTC_S, small_garden

STEP_S = 600.0
HOUR_S = 3600.0
A, B = "south-20", "south-40"
Told = Callable[[float], float | None]  # elapsed time [s] to a value in the probe's unit


def garden(mast: bool = True, beds: tuple[str, ...] = ("south",), **probe: Any) -> Garden:
    """The small garden with a mast; `every_s` for all probes, the rest told of `south-20`."""
    document = json.loads(small_garden(beds=beds).model_dump_json(exclude_none=True))
    document["weather"] = {"mast": {}} if mast else {}
    every_s = probe.pop("every_s", STEP_S)
    for told in document["probes"].values():
        told["every_s"] = every_s
    document["probes"][A].update(probe)
    return Garden.model_validate(document)


class Hands:
    """One engine, ready and connected; `probes` says what each probe tells at each step."""

    def __init__(self, plot: Garden | None = None, **probes: Told) -> None:
        self.garden = plot or garden()
        self.engine = Engine(self.garden)
        self.now_s = 0.0
        self.rain_mm = 0.0
        self.temp_c = 20.0
        self.sun_w_m2 = 300.0
        self.probes = {name.replace("_", "-"): told for name, told in probes.items()}
        self.more: dict[str, dict[str, Any]] = {}  # what a probe tells beside its value
        self.effects: list[Effect] = []
        self.step(Started(**self.times(), trusted_s=0.0, stored_epoch=0))
        self.step(LinkUp(**self.times()))
        self.now_s = QUIET_S + 5.0
        self.step(Tick(**self.times()))
        self.now_s = STEP_S

    def times(self) -> dict[str, float]:
        """The two clocks of an event."""
        return {"at_utc_s": START_UTC_S + self.now_s, "mono_s": self.now_s}

    def step(self, event: Event) -> list[Effect]:
        """Feed an event; the record answers at once."""
        found = self.engine.step(event)
        self.effects += found
        for effect in found:
            if isinstance(effect, Reserve):
                self.step(Recorded(**self.times(), dose=effect.dose))
        return found

    def tell(self, name: str, value: float, **more: Any) -> list[Effect]:
        """One reading of one probe, now."""
        return self.step(ProbeReading(**self.times(), probe=name, value=value, **more))

    def live(self, hours: float) -> None:
        """Let the mast and the probes speak every ten minutes."""
        until_s = self.now_s + hours * HOUR_S
        while self.now_s < until_s:
            self.now_s += STEP_S
            self.step(
                WeatherReading(
                    **self.times(),
                    mast="mast",
                    temp_c=self.temp_c,
                    rh_pct=50.0,
                    rain_mm_total=self.rain_mm,
                    solar_w_m2=self.sun_w_m2,
                    wind_m_s=1.0,
                )
            ) if self.garden.weather else None
            for name, told in self.probes.items():
                value = told(self.now_s)
                if value is not None:
                    self.tell(name, value, **self.more.get(name, {}))
            self.step(Tick(**self.times()))

    def edge(self, valve: str = "south") -> None:
        """A valve is told to close just now, out of an opening."""
        self.step(Tick(**self.times()))
        self.engine.state.valves[valve].state = "open"
        self.engine.run.close(valve)

    def clear(self, name: str = A, bed: str = "south") -> None:
        """A person clears the probe's alert."""
        self.step(
            Order(
                **self.times(),
                order=f"o{self.now_s}",
                what=OrderKind.CLEAR,
                who="tester",
                alert=f"probe_suspect-{bed}-{name}",
                why="looked at it",
            )
        )

    def probe(self, name: str = A) -> ProbeState:
        """What is remembered of a probe."""
        return self.engine.state.probes[name]

    def stands(self, flag: Flag, name: str = A) -> bool:
        """Whether a flag stands."""
        return flag in self.probe(name).flags

    def doses(self) -> int:
        """How many openings were reserved."""
        return sum(isinstance(effect, Reserve) for effect in self.effects)

    def notes(self, what: str) -> list[Note]:
        """All notes of a kind."""
        return [e for e in self.effects if isinstance(e, Note) and e.what == what]

    def alert(self, name: str = A, bed: str = "south") -> str:
        """What the probe's alert says; empty without one."""
        found = self.engine.state.alerts.get(f"probe_suspect-{bed}-{name}")
        return "" if found is None else found.text


def flat(value: float) -> Told:
    """Always the same."""
    return lambda _: value


def drying(value: float = 0.25, per_day: float = 0.012) -> Told:
    """Slowly less."""
    return lambda now_s: value - per_day * now_s / DAY_S


def until(at_s: float, first: Told, then: Told) -> Told:
    """One thing before an instant, another from it on."""
    return lambda now_s: first(now_s) if now_s < at_s else then(now_s)
