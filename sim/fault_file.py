"""Reads a fault script: a TOML file of `[[fault]]` tables with at, which, what and how long.

    [[fault]]
    at = "36h"              # since the start, or an instant such as 2026-07-03T02:10:00Z
    which = "valve:south"   # by its id in the garden file; or supply, network, power ...
    what = "stuck_open"
    for = "20m"             # until the end where it is left out
    value = 0.5             # where the way to break needs one

All that is wrong is told at once: file, entry, key, what was found and what is allowed.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.errors import GardenError, UsageError, WrongUseError
from controller.garden_file import file_name, read_document
from controller.garden_rules import listed, shown
from sim.fault_lots import names_of
from sim.faults import (
    NAMED,
    OFF_TENSION,
    OFF_THETA,
    TENSION_KINDS,
    WAYS,
    Fault,
    FaultScript,
    Kind,
    Way,
    What,
    which_of,
)

if TYPE_CHECKING:
    from controller.garden import Garden

UNITS_S = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86_400.0}
LONGEST_S = 400.0 * 86_400.0  # [s] longer than any season
MOST_NAMED = 12  # ids in a message
KEYS = AT, WHICH, WHAT, FOR, VALUE = ("at", "which", "what", "for", "value")
NOT_HERE = frozenset({What.STEP, What.CONTROLLER_DOWN, What.REFUSE})  # of the controller's board
SPAN = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,6})?)([smhd])", re.ASCII)
SPANS = "a span such as 90s, 20m, 36h or 2d"


class _WrongError(Exception):
    """What is wrong with a key."""


def read_faults(path: Path, garden: Garden, start_utc_s: float) -> FaultScript:
    """Read a fault script and hold it against the garden.

    Args:
        path: the TOML file.
        garden: whose things break.
        start_utc_s: when the run begins [s, Unix].

    Returns:
        The script, in seconds since then.

    Raises:
        UsageError: it cannot be read or does not fit; each fault of it has its line.
    """
    name = file_name(path)
    if path.is_dir():
        msg = f"{name}: is a folder; a file of [[fault]] tables is needed"
        raise UsageError(msg)
    try:
        data = read_document(path).data
    except GardenError as exc:
        raise UsageError(str(exc)) from None
    return FaultScript(
        begin_utc_s=start_utc_s,
        faults=tuple(_entries(name, data, garden, start_utc_s)),
    )


def bench_faults(path: Path, garden: Garden, start_utc_s: float) -> FaultScript:
    """Read a fault script of which everything can be broken from outside the controller.

    Args:
        path: the TOML file.
        garden: whose things break.
        start_utc_s: when the bench begins [s, Unix].

    Raises:
        WrongUseError: it breaks what only the controller's own board has.
        UsageError: it cannot be read or does not fit.
    """
    script = read_faults(path, garden, start_utc_s)
    for fault in script.faults:
        if fault.what in NOT_HERE:
            kinds = [str(kind) for kind in Kind if kind not in {Kind.CLOCK, Kind.STORE, Kind.POWER}]
            msg = (
                f"--faults {path.name}: {fault.which} {fault.what}: a bench stands in for the "
                f"hardware and cannot reach the controller; it can break {', '.join(kinds)}, "
                f"and power with {What.NODES_REBOOT}"
            )
            raise WrongUseError(msg)
    return script


def _entries(name: str, data: Mapping[str, Any], garden: Garden, start_utc_s: float) -> list[Fault]:
    tables = data.get("fault", "nothing")
    strange = sorted(set(data) - {"fault"})
    wrong = [f"{name}: {shown(key)}: there is no such key; known is fault" for key in strange]
    if not isinstance(tables, list) or not all(isinstance(one, dict) for one in tables):
        wrong.append(f"{name}: fault: {shown(tables)} is no list of tables; write [[fault]]")
        tables = []
    found: list[Fault] = []
    for number, table in enumerate(tables, start=1):
        try:
            found.append(_fault(table, garden, start_utc_s))
        except _WrongError as exc:
            wrong.append(f"{name}: fault {number}: {exc}")
    if wrong:
        raise UsageError("\n".join(wrong))
    return found


def _fault(table: Mapping[str, Any], garden: Garden, start_utc_s: float) -> Fault:
    for key in table:
        if key not in KEYS:
            known = _nearest(key, KEYS)
            raise _wrong(shown(key).strip("'"), f"there is no such key; {known}")
    kind, name = _which(_text(table, WHICH), garden)
    what = _what(_text(table, WHAT), kind)
    way = _way(kind, name, what, garden)
    start_s = _at_s(table.get(AT), start_utc_s)
    end_s = start_s + _lasts_s(table, way)
    return Fault(
        start_s=start_s,
        end_s=end_s,
        kind=kind,
        name=name,
        what=what,
        value=_value(table, way, what),
    )


def _wrong(key: str, predicate: str) -> _WrongError:
    return _WrongError(f"{key}: {predicate}")


def _text(table: Mapping[str, Any], key: str) -> str:
    found = table.get(key)
    if found is None:
        raise _wrong(key, "is missing")
    if not isinstance(found, str):
        raise _wrong(key, f"{shown(found)} is no text")
    return found


def _nearest(word: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(word[:60], known, n=1, cutoff=0.6)
    some = listed(known) if len(known) <= MOST_NAMED else ", ".join(known[:MOST_NAMED])
    others = "" if len(known) <= MOST_NAMED else " and others"
    return f"the nearest is {near[0]}" if near else f"known are {some}{others}"


def _which(word: str, garden: Garden) -> tuple[Kind, str]:
    known = {
        which_of(kind, name): (kind, name)
        for kind in Kind
        for name in names_of(garden, kind)
        if name or kind not in NAMED
    }
    if word not in known:
        near = _nearest(word, list(known))
        raise _wrong(WHICH, f"{shown(word)} is not in this garden; {near}")
    return known[word]


def _what(word: str, kind: Kind) -> What:
    ways = [str(what) for what in WAYS[kind]]
    if word not in ways:
        raise _wrong(WHAT, f"{shown(word)} is no way for a {kind}; known are {listed(ways)}")
    return What(word)


def _way(kind: Kind, name: str, what: What, garden: Garden) -> Way:
    """How it breaks; what a probe of tension is off by is in kPa."""
    way = WAYS[kind][what]
    if way is OFF_THETA and garden.probes[name].kind in TENSION_KINDS:
        return OFF_TENSION
    return way


def _at_s(found: object, start_utc_s: float) -> float:
    if found is None:
        raise _wrong(AT, f"is missing; allowed is an instant or {SPANS}")
    if isinstance(found, str) and SPAN.fullmatch(found):
        return _span_s(AT, found)
    instant = _instant(found)
    if instant is None or instant.tzinfo is None:
        allowed = f"allowed is 2026-07-03T02:10:00Z or {SPANS} since the start"
        raise _wrong(AT, f"{shown(found)} is no instant with its offset; {allowed}")
    since_s = instant.timestamp() - start_utc_s
    if not 0.0 <= since_s <= LONGEST_S:
        start = datetime.fromtimestamp(start_utc_s, UTC).isoformat(timespec="seconds")
        begins = start.replace("+00:00", "Z")
        raise _wrong(AT, f"{shown(found)} is not within 400 days of the start at {begins}")
    return since_s


def _instant(found: object) -> datetime | None:
    if isinstance(found, datetime):
        return found
    if not isinstance(found, str):
        return None
    try:
        return datetime.fromisoformat(found)
    except ValueError:
        return None


def _span_s(key: str, found: object) -> float:
    match = SPAN.fullmatch(found) if isinstance(found, str) else None
    seconds = float(match[1]) * UNITS_S[match[2]] if match else math.nan
    if not 0.0 <= seconds <= LONGEST_S:
        raise _wrong(key, f"{shown(found)} is not {SPANS}, at most 400d")
    return seconds


def _lasts_s(table: Mapping[str, Any], way: Way) -> float:
    found = table.get(FOR)
    if way.moment:
        if found is not None:
            raise _wrong(FOR, f"{shown(found)}: this happens at a moment and does not last")
        return 0.0
    if found is None:
        return math.inf
    seconds = _span_s(FOR, found)
    if not seconds > 0.0:
        raise _wrong(FOR, f"{shown(found)} is no time at all")
    return seconds


def _value(table: Mapping[str, Any], way: Way, what: What) -> float:
    found = table.get(VALUE)
    if not way.unit:
        if found is not None:
            raise _wrong(VALUE, f"{shown(found)}: {what} takes no value")
        return 0.0
    allowed = f"allowed is {way.low:g} to {way.high:g} {way.unit}"
    if found is None:
        raise _wrong(VALUE, f"is missing; {allowed}")
    number = isinstance(found, int | float) and not isinstance(found, bool)
    if not number or not way.low <= found <= way.high:
        raise _wrong(VALUE, f"{shown(found)} is not possible; {allowed}")
    return float(found)
