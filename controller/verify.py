"""Feed the journal to a fresh engine and compare: the flight recorder's proof."""

from __future__ import annotations

from dataclasses import dataclass

from controller.datafolder import DataFolder
from controller.effects import Effect, Reserve
from controller.engine import Engine
from controller.errors import StoreError
from controller.events import Started
from controller.garden import Garden
from controller.run import VERSION
from controller.store import effects_json, open_reader


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What a re-feed came to.

    Attributes:
        events: how many were fed.
        first_utc_s: time of the first, None where there is none.
        differs_at: journal number of the first event that was answered otherwise, else None.
        what: the kind of that event.
        damaged: first and last number of events that the disk lost: what came after is not fed.
        timezone: of the garden, for people.
    """

    events: int
    first_utc_s: float | None
    differs_at: int | None = None
    what: str = ""
    damaged: tuple[int, int] | None = None
    timezone: str = "UTC"


def verify(folder: DataFolder) -> Verified:
    """Re-feed the journal from the first snapshot of this engine's version.

    Args:
        folder: the data folder; a running daemon may hold it.

    Returns:
        What came of it.

    Raises:
        StoreError: the journal cannot be read, or begins without a garden.
    """
    with open_reader(folder) as reader:
        snapshot, rows = reader.journal_since_snapshot(VERSION)
        engine: Engine | None = None
        if snapshot.state_json is not None:
            engine = Engine.load(snapshot.state_json.encode("utf-8"))
        events, first_utc_s = 0, None
        for row in rows:
            if reader.damaged:
                break
            if engine is None:
                engine = _begin(row.event, folder)
            events += 1
            first_utc_s = row.event.at_utc_s if first_utc_s is None else first_utc_s
            if not _same(engine.step(row.event), row.effects_json):
                return Verified(
                    events=events,
                    first_utc_s=first_utc_s,
                    differs_at=row.n,
                    what=row.event.kind,
                    timezone=_zone_of(engine),
                )
        damaged = reader.damaged[0] if reader.damaged else None
    return Verified(
        events=events, first_utc_s=first_utc_s, damaged=damaged, timezone=_zone_of(engine)
    )


def _zone_of(engine: Engine | None) -> str:
    return "UTC" if engine is None else engine.run.garden.garden.timezone


def _same(effects: list[Effect], recorded: str) -> bool:
    """Whether the record holds these effects; a reservation that could not be written is not."""
    if effects_json(effects) == recorded:
        return True
    kept = [effect for effect in effects if not isinstance(effect, Reserve)]
    return len(kept) < len(effects) and effects_json(kept) == recorded


def _begin(event: object, folder: DataFolder) -> Engine:
    if not isinstance(event, Started) or event.garden_json is None:
        msg = f"{folder.path}: the journal does not begin with a start that holds its garden"
        raise StoreError(msg)
    return Engine(Garden.model_validate_json(event.garden_json))
