"""From what the store knows to an engine that goes on from there, and the event that begins it."""

from __future__ import annotations

import logging
from dataclasses import replace
from pathlib import Path

from controller.clock import ScaledClock
from controller.engine import Engine
from controller.errors import GardenError
from controller.events import Started
from controller.garden import Garden, load_garden
from controller.holds import carry_holds
from controller.living.runs import Lately
from controller.run import VERSION
from controller.store import Recovered
from controller.store_reads import Snapshot

log = logging.getLogger(__name__)

ARRIVAL_LEAST_REAL_S = 0.5  # [s] real: windows that compare arrivals are never shorter
# While the record cannot be opened nobody knows what was given: the day's water counts as spent.
NO_RECORD = Recovered(
    history="lost",
    stored_epoch=0,
    stored_seq=0,
    ledger=(),
    trusted_s=0.0,
    snapshot=Snapshot(),
    events=iter(()),
)


def restored(garden: Garden, recovered: Recovered) -> tuple[Engine, Recovered]:
    """Feed the journal after the kept state to the engine that this state holds.

    Args:
        garden: for an engine that begins anew: lost history, or another version's record.
        recovered: what the store knows; its events are used up.

    Returns:
        The engine as it stood when the last process ended, and what the store knows: with its
        history lost where the engine does not take the kept state.
    """
    kept = recovered.snapshot
    if recovered.history == "lost" and kept.state_json is None:
        return _anew(garden, recovered), recovered  # with a state only water is unknown
    if kept.version not in {None, VERSION}:
        log.warning(
            "the kept state is of engine version %s, this is %s: what the beds had learned is left "
            "behind, and they begin anew from the garden file; kept are waterings, limits, lock, "
            "pauses and alerts that only a person may lift",
            kept.version,
            VERSION,
        )
        return _anew(garden, recovered), recovered
    if kept.state_json is None:
        engine = Engine(garden)
    else:
        try:
            engine = Engine.load(kept.state_json.encode("utf-8"))
        except ValueError:
            log.exception("the kept state cannot be read: the history counts as lost")
            return _anew(garden, recovered), replace(recovered, history="lost")
    for event in recovered.events:
        try:
            engine.step(event)
        except Exception:  # one bad row must not keep page and alarms from coming up
            log.exception("a row of the journal could not be fed again: %s", event.kind)
    return engine, recovered


def _anew(garden: Garden, recovered: Recovered) -> Engine:
    """An engine that knows of the record what people said no with, as far as it can be read."""
    engine = Engine(garden)
    carry_holds(engine.run, recovered.snapshot.state_json, recovered.events)
    return engine


def started(
    garden: Garden,
    recovered: Recovered,
    clock: ScaledClock,
    *,
    armed: bool,
    lately: Lately | None = None,
) -> Started:
    """Make the event with which a run begins.

    Args:
        garden: the garden file in force.
        recovered: what the store knows.
        clock: the run's.
        armed: whether valves may open without a commissioning walk.
        lately: how the runs before this one ended; None where nobody knows.
    """
    before = lately or Lately()
    return Started(
        at_utc_s=clock.utc_s(),
        mono_s=clock.mono_s(),
        trusted_s=recovered.trusted_s,
        stored_epoch=recovered.stored_epoch,
        stored_seq=recovered.stored_seq,
        ledger=tuple(recovered.ledger),
        history=recovered.history,
        clock_synced=not clock.known_unset(),
        armed=armed,
        arrival_least_s=ARRIVAL_LEAST_REAL_S * clock.speed,
        garden_json=garden.model_dump_json(),
        crashed=before.crashed,
        starts_lately=before.starts,
        proofs=True,
    )


WIRED = ("broker", "page", "topics", "probes", "valves", "meters", "weather")


def reread(path: Path, running: Garden) -> tuple[str | None, str]:
    """Read the garden file anew for a daemon that runs.

    What goes over wires is set up once: a file that changes it is refused until a restart, so that
    no permission ever goes to another pipe than the one that is listened to.

    Args:
        path: the file.
        running: the garden in force.

    Returns:
        The new garden as JSON and nothing, or None and why it is refused.
    """
    try:
        garden = load_garden(path)
    except GardenError as exc:
        return None, exc.faults[0]
    changed = [part for part in WIRED if getattr(garden, part) != getattr(running, part)]
    if garden.garden.id != running.garden.id:
        changed.append("garden.id")
    pipes = {name: (bed.valve, bed.probes) for name, bed in garden.beds.items()}
    if pipes != {name: (bed.valve, bed.probes) for name, bed in running.beds.items()}:
        changed.append("a bed's valve or probes")
    if changed:
        return None, f"{', '.join(changed)} changed: that needs a restart"
    return garden.model_dump_json(), ""
