"""The demo: broker, virtual garden, daemon and page in one command, without hardware.

Everything is real but the garden: messages go over an MQTT broker, valves open on leases, the page
shows what the engine thinks. Its data folder is made for the run and gone after it.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from api.garden_meant import garden_of
from api.keeper import Keeper
from api.options import DEMO_SEASON
from api.signals import Signals
from controller.clock import Anchor, ScaledClock, real_utc_s
from controller.datafolder import DataFolder
from controller.effects import Effect, Lease, Note, Reserve, Settle
from controller.events import Started
from controller.run import VERSION
from controller.store import Store
from controller.watering.words import bed_name
from sim.bench import Bench
from sim.broker import EmbeddedBroker
from sim.trial import Trial, lived

DEMO_GARDEN = "hollin-lane"
WAIT_S = 0.2


@dataclass(slots=True)
class Teller:
    """Turns effects into lines that a grower can follow."""

    zone: ZoneInfo
    say: Callable[[str], None]
    _doses: dict[str, Reserve] = field(default_factory=dict)
    _beds: dict[str, str] = field(default_factory=dict)
    _said: list[str] = field(default_factory=list)

    def __call__(self, at_utc_s: float, effect: Effect) -> None:
        """Say one effect, if there is something to say."""
        text = self._words(effect)
        if text:
            clock = datetime.fromtimestamp(at_utc_s, UTC).astimezone(self.zone)
            self.say(f"{clock:%H:%M:%S}  {text}")

    def _words(self, effect: Effect) -> str:
        match effect:
            case Note() if effect.what in {"decision", "watering", "alert", "order"}:
                if effect.text in self._said:
                    return ""
                self._said = [*self._said[-7:], effect.text]
                return effect.text
            case Reserve():
                self._doses[effect.dose] = effect
                return ""
            case Lease() if effect.dose in self._doses:
                return self._first_lease(effect)
            case Settle():
                bed = self._beds.pop(effect.dose, None)
                given = f"{effect.credited_l:.0f} L"
                return "" if bed is None else f"{bed}: valve closed, this pulse gave {given}."
            case _:
                return ""

    def _first_lease(self, lease: Lease) -> str:
        reserved = self._doses[lease.dose]
        if lease.valve != reserved.valve:
            return ""  # the master, on its behalf
        del self._doses[lease.dose]
        self._beds[lease.dose] = bed_name(reserved.bed)
        return f"{bed_name(reserved.bed)}: valve opens, a pulse of {reserved.want_l:.0f} L."


def prefill(folder: DataFolder, clock: ScaledClock, trial: Trial) -> None:
    """Put a trial's past into a fresh data folder.

    Raises:
        StoreError: it cannot be written.
    """
    store = Store.open(folder)
    try:
        stamp = clock.stamp(trial.trusted_s)
        event = Started(at_utc_s=stamp.utc_s, mono_s=0.0, trusted_s=trial.trusted_s, stored_epoch=0)
        store.commit(event, trial.ledger, durable=True, stamp=stamp)
        store.save_snapshot(VERSION, trial.state_json)
        store.add_history(trial.hours)
    finally:
        store.close()
        folder.unlock()


@dataclass(slots=True)
class Demo:
    """One run of the demo.

    Args:
        speed: garden seconds in a real second.
        season: the weather's name.
        say: takes each line for people.
        port: of the page; 0 takes any that is free.
    """

    speed: float = 240.0
    season: str = DEMO_SEASON
    say: Callable[[str], None] = print
    port: int = 0

    def run(self, seconds: float | None) -> dict[str, Any]:
        """Run until a signal, or for some real seconds.

        Returns:
            The last picture of the garden, every valve closed.

        Raises:
            UsageError: the `demo` extra is missing.
            ThirstlineError: a part cannot start.
        """
        signals = Signals()
        with ExitStack() as stack:
            broker = EmbeddedBroker()
            stack.callback(broker.stop)
            broker.start()
            garden, _ = garden_of(DEMO_GARDEN)
            self.say("Ten days of an invented July pass …")
            trial = lived(garden, self.season)
            keeper = self._start(stack, trial, broker.url)
            self._greet(trial, keeper)
            signals.wait(seconds if seconds is not None else 1e9)
            keeper.daemon.close_everything()
            return keeper.daemon.picture_now()

    def _start(self, stack: ExitStack, trial: Trial, url: str) -> Keeper:
        place = stack.enter_context(tempfile.TemporaryDirectory(prefix="thirstline-demo-"))
        folder = DataFolder(Path(place) / "data")
        anchor = Anchor(sim_utc_s=trial.at_utc_s, real_utc_s=real_utc_s())
        clock = ScaledClock(self.speed, anchor)
        prefill(folder, clock, trial)
        bench = Bench(trial.garden, trial.world, clock, url, speed=self.speed)
        stack.callback(bench.stop)
        bench.start()
        keeper = Keeper(trial.garden, folder, clock, url=url, port=self.port)
        keeper.daemon.listeners.append(Teller(trial.garden.garden.zone, self.say))
        stack.callback(keeper.stop)
        keeper.start()
        return keeper

    def _greet(self, trial: Trial, keeper: Keeper) -> None:
        info = trial.garden.garden
        plants = sum(bed.plants for bed in trial.garden.beds.values())
        moment = datetime.fromtimestamp(trial.at_utc_s, UTC).astimezone(info.zone)
        self.say(
            f"{info.name}: {plants} plants in {len(trial.garden.beds)} beds, invented. "
            f"It is {moment:%A %H:%M}, dark; time runs {self.speed:g} times faster."
        )
        self.say(f"The page: {keeper.link()}")
        self.say("For status, why and record in another terminal:")
        self.say(f"  --data {keeper.daemon.folder.path}")
        self.say("Ctrl-C ends it and closes every valve.")
