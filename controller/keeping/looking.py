"""What a record tells `doctor`: the garden's picture without its daemon, and boots of its nodes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from controller.datafolder import DataFolder
from controller.engine import Engine
from controller.errors import StoreError
from controller.garden import Garden
from controller.keeping.copying import garden_known
from controller.run import VERSION
from controller.store import open_reader
from controller.store_copy import facts_of
from controller.view import picture

WEEK_S = 7 * 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What a record tells.

    Attributes:
        fault: why it cannot be read, empty where it can.
        garden: the file in force, None where it tells of none.
        picture: of its newest state, up to an hour old; None for another version's.
        boots: how many boots each node told within the week before its last row.
        whole: what a look through every page found, empty for well; None: not looked through.
        lost: how many events of the journal that look found damaged.
    """

    fault: str = ""
    garden: Garden | None = None
    picture: Mapping[str, Any] | None = None
    boots: Mapping[str, int] = field(default_factory=dict)
    whole: str | None = None
    lost: int = 0


def look_at(folder: DataFolder, *, deep: bool = False) -> Record:
    """Read a record, whoever writes it meanwhile.

    Args:
        folder: the data folder.
        deep: looks through every page, which takes a while on a card.
    """
    if folder.database_size() == 0:
        return Record(fault=f"{folder.path}: there is no record here")
    try:
        with open_reader(folder) as reader:
            snapshot, last = reader.readable_snapshot(), reader.last_stamp()
            boots = {} if last is None else reader.boots_since(last.utc_s - WEEK_S)
        garden = garden_known(folder)
    except StoreError as exc:
        return Record(fault=str(exc), whole=_whole(folder) if deep else None)
    shown = None
    if snapshot.version == VERSION and snapshot.state_json is not None:
        shown = _picture(snapshot.state_json)
    whole, lost = (_whole(folder), _lost(folder)) if deep else (None, 0)
    return Record(garden=garden, picture=shown, boots=boots, whole=whole, lost=lost)


def _picture(state_json: str) -> Mapping[str, Any] | None:
    try:
        return picture(Engine.load(state_json.encode("utf-8")).run)
    except (ValueError, KeyError):
        return None


def _whole(folder: DataFolder) -> str:
    try:
        facts_of(folder.database)
    except StoreError as exc:
        return str(exc)
    return ""


def _lost(folder: DataFolder) -> int:
    try:
        with open_reader(folder) as reader:
            return reader.look_through()
    except StoreError:
        return 0  # the look through every page tells of it
