"""What a person said "no" with, carried over from the record of another engine version.

What beds have learned is of no use to another version; a lock while somebody works at the pipes,
a pause, an alert that only a person may lift, which valves were walked, which browsers are paired
and what a week and a tank have given are. Nothing here opens a valve.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import TypeAdapter, ValidationError

from controller.effects import Alert
from controller.errors import StoreError
from controller.events import Event, Order, OrderKind
from controller.pausing import merged, put, standing
from controller.proving.memory import Proving
from controller.run import Run
from controller.scarcity import fill
from controller.state import Pause
from controller.telling.pair_orders import PAIRS
from controller.told_state import Paired, Scarce
from controller.watering.guard import LATCHING

_ALERT: TypeAdapter[Alert] = TypeAdapter(Alert)
_PAUSE: TypeAdapter[Pause] = TypeAdapter(Pause)
_SCARCE: TypeAdapter[Scarce] = TypeAdapter(Scarce)
_PAIRS: TypeAdapter[dict[str, Paired]] = TypeAdapter(dict[str, Paired])
_PROVING: TypeAdapter[Proving] = TypeAdapter(Proving)


def carry_holds(run: Run, state_json: str | None, events: Iterable[Event]) -> None:
    """Take lock, pauses, latching alerts, the count of scarce water and the pairings over.

    Whatever cannot be read is left behind.

    Args:
        run: of an engine that begins anew, changed in place.
        state_json: the other version's snapshot, None where there was none.
        events: the journal after it; people's orders in it are looked at.
    """
    if state_json is not None:
        _from_snapshot(run, state_json)
    try:
        for event in events:
            if isinstance(event, Order):
                _from_order(run, event)
    except (StoreError, ValueError, KeyError, TypeError):
        return  # events that this version does not know


def _from_snapshot(run: Run, state_json: str) -> None:
    try:
        old = json.loads(state_json)
    except (ValueError, RecursionError):
        return
    if not isinstance(old, dict):
        return
    lock_why = old.get("lock_why")
    run.state.lock_why = lock_why if isinstance(lock_why, str) else None
    run.state.pause = _pause(old.get("pause"))
    try:
        run.state.scarce = _SCARCE.validate_python(old.get("scarce", {}))
    except ValidationError:
        run.state.scarce = Scarce()
    try:
        run.state.pairs = _PAIRS.validate_python(old.get("pairs", {}))
    except ValidationError:
        run.state.pairs = {}
    run.state.proving = _proving(old.get("proving", {}))
    for bed, memory in _items(old.get("beds")):
        if bed in run.state.beds and isinstance(memory, dict):
            run.state.beds[bed].pause = _pause(memory.get("pause"))
    for key, told in _items(old.get("alerts")):
        try:
            alert = _ALERT.validate_python(told)
        except ValidationError:
            continue
        paused = alert.code == "paused" and standing(run, alert.bed) is not None
        if alert.code in LATCHING or paused:
            run.state.alerts[key] = alert


def _proving(told: object) -> Proving:
    """The record of walks and proofs; one that cannot be read is none, and the walk is due."""
    try:
        proving = _PROVING.validate_python(told)
    except ValidationError:
        return Proving()
    proving.active = None
    return proving


def _from_order(run: Run, order: Order) -> None:
    state = run.state
    match order.what:
        case OrderKind.LOCK if order.why.strip():
            state.lock_why = order.why
        case OrderKind.UNLOCK:
            state.lock_why = None
        case OrderKind.PAUSE if order.until_utc_s is not None:
            asked = Pause(until_utc_s=order.until_utc_s, why=order.why)
            before = standing(run, order.bed)
            kept = merged(before, asked, only_longer=order.only_longer)
            put(run, order.bed, before if kept is None else kept)
        case OrderKind.RESUME if not order.yes:
            put(run, order.bed, None)
        case OrderKind.TANK:
            fill(run, order.litres)
        case OrderKind.PAIR | OrderKind.UNPAIR:
            PAIRS[order.what](run, order)
        case _:
            pass


def _pause(told: object) -> Pause | None:
    try:
        return _PAUSE.validate_python(told)
    except ValidationError:
        return None


def _items(told: object) -> Iterable[tuple[str, Any]]:
    return told.items() if isinstance(told, Mapping) else ()
