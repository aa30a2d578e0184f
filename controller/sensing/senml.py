"""Sensor Measurement Lists in JSON: a pack of records to resolved records.

Base name, time, unit and value hold from the record that sets them on. A record without any value
of its own carries none; one in a base value alone counts as that value. A time below 2^28 s is
relative to now (0 = now, negative = past); absolute times are read, never trusted.

Left out: sums (`s`), update times, links, CBOR, XML and EXI forms; data, string and boolean values
are skipped. A field whose label ends in `_` must be understood, so it refuses the pack.

Source: RFC 8428 sections 4.1 to 4.6.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from controller.errors import PayloadError
from controller.sensing.strict_json import finite, number_in

RELATIVE_BELOW_S = 2.0**28  # [s] RFC 8428 section 4.5.3
OLDEST_S = 900.0  # [s] a reading that calls itself older is history, not a reading; design choice
FUTURE_S = 5.0  # [s] rounding in a node; design choice
VERSION = 10  # RFC 8428 section 4.1

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]{0,255}", re.ASCII)  # RFC 8428 section 4.5.1
_UNIT = re.compile(r"[A-Za-z0-9/%^_.*-]{1,16}", re.ASCII)
_OTHER_VALUES = ("vb", "vs", "vd")


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One resolved record: `own_name` is its `n` alone, `time_s` as sent (relative or absolute)."""

    name: str
    own_name: str
    unit: str | None
    value: float | None
    time_s: float


@dataclass(slots=True, kw_only=True)
class _Base:
    name: str = ""
    unit: str | None = None
    value: float | None = None
    time_s: float = 0.0


def resolve(pack: object) -> list[Record]:
    """Resolve a pack.

    Args:
        pack: parsed JSON, an array of 1 or more objects.

    Returns:
        The records in the order of the pack.

    Raises:
        PayloadError: no SenML pack.

    Source: RFC 8428 section 4.6.
    """
    if not isinstance(pack, list) or not pack:
        msg = "not a SenML pack: an array of records"
        raise PayloadError(msg)
    base = _Base()
    return [_resolve_one(record, base) for record in pack]


def choose(records: list[Record], key: str) -> Record:
    """Choose the newest record of a name that carries a number, and is of now.

    Args:
        records: a resolved pack.
        key: the full name, or the record's own name behind the base name.

    Returns:
        The newest; of equals the last in the pack.

    Raises:
        PayloadError: none, ambiguous, stale or from the future.
    """
    found = newest(records, key)
    if misdated(found):
        msg = f"a SenML record older than {OLDEST_S:.0f} s, or from the future"
        raise PayloadError(msg)
    return found


def misdated(record: Record) -> bool:
    """Whether a record with a relative time calls itself old, or of the future."""
    relative = record.time_s < RELATIVE_BELOW_S
    return relative and not -OLDEST_S <= record.time_s <= FUTURE_S


def newest(records: list[Record], key: str) -> Record:
    """Choose the newest record of a name that carries a number, whenever it was.

    Args:
        records: a resolved pack.
        key: the full name, or the record's own name behind the base name.

    Returns:
        The newest; of equals the last in the pack.

    Raises:
        PayloadError: none, or ambiguous.
    """
    found = [r for r in records if r.value is not None and r.name == key]
    found = found or [r for r in records if r.value is not None and r.own_name == key]
    if not found:
        msg = "no SenML record of the name that the garden file gives"
        raise PayloadError(msg)
    if len({r.name for r in found}) > 1:
        msg = "several SenML records answer to the name that the garden file gives"
        raise PayloadError(msg)
    last = found[0]
    for record in found[1:]:
        last = record if record.time_s >= last.time_s else last
    return last


def _resolve_one(record: object, base: _Base) -> Record:
    if not isinstance(record, dict):
        msg = "a SenML record is no object"
        raise PayloadError(msg)
    _bound_labels(record)
    _take_bases(record, base)
    own = _text(record, "n")
    name = base.name + own
    if not _NAME.fullmatch(name):
        msg = "a SenML record without a proper name"
        raise PayloadError(msg)
    unit = _unit(record, "u")
    return Record(
        name=name,
        own_name=own,
        unit=base.unit if unit is None else unit,
        value=_value(record, base),
        time_s=finite(base.time_s + _number(record, "t", 0.0)),
    )


def _bound_labels(record: dict[str, object]) -> None:
    if any(label.endswith("_") for label in record):
        msg = "a SenML field that must be understood is not"
        raise PayloadError(msg)
    version = record.get("bver", VERSION)
    if isinstance(version, bool) or not isinstance(version, int) or not 1 <= version <= VERSION:
        msg = f"a SenML version above {VERSION}"
        raise PayloadError(msg)


def _take_bases(record: dict[str, object], base: _Base) -> None:
    if "bn" in record:
        base.name = _text(record, "bn")
    if "bu" in record:
        base.unit = _unit(record, "bu")
    if "bv" in record:
        base.value = _number(record, "bv", 0.0)
    if "bt" in record:
        base.time_s = _number(record, "bt", 0.0)


def _value(record: dict[str, object], base: _Base) -> float | None:
    others = [label for label in _OTHER_VALUES if label in record]
    if len(others) + ("v" in record) > 1:
        msg = "a SenML record with two values"
        raise PayloadError(msg)
    if "v" in record:
        return finite((base.value or 0.0) + number_in(record["v"]))
    return None if others else base.value


def _number(record: dict[str, object], label: str, missing: float) -> float:
    return number_in(record[label]) if label in record else missing


def _text(record: dict[str, object], label: str) -> str:
    found = record.get(label, "")
    if not isinstance(found, str):
        msg = "a SenML name that is no text"
        raise PayloadError(msg)
    return found


def _unit(record: dict[str, object], label: str) -> str | None:
    if label not in record:
        return None
    found = record[label]
    if not isinstance(found, str) or not _UNIT.fullmatch(found):
        msg = "a SenML unit that is no unit"
        raise PayloadError(msg)
    return found
