"""Bytes from the wire to text, a number or JSON, with every looseness of the usual parsers closed.

The byte limit comes first, then strict UTF-8, then the depth of nesting is counted before the JSON
parser sees the text. Refused are duplicate keys, `NaN`, `Infinity`, numbers that overflow and
integers of more digits than a counter can have. No cause ever repeats what was sent.

Sources: RFC 8259 (JSON), RFC 6901 (JSON pointer).
"""

from __future__ import annotations

import json
import math
import re
from typing import Never

from controller.errors import PayloadError

MAX_BYTES = 2048  # [bytes] one message; a design choice, far above what any node here sends
MAX_DEPTH = 8  # nesting of arrays and objects; a design choice
MAX_DIGITS = 18  # of an integer; keeps it inside 64 bits

_NUMBER = re.compile(r"[-+]?[0-9]{1,18}(?:\.[0-9]{0,18})?(?:[eE][-+]?[0-9]{1,3})?", re.ASCII)
_INDEX = re.compile(r"0|[1-9][0-9]{0,4}", re.ASCII)
_BAD_ESCAPE = re.compile(r"~(?![01])")


def text_of(payload: bytes) -> str:
    """Decode one message.

    Args:
        payload: what arrived, at most 2048 bytes.

    Returns:
        The text.

    Raises:
        PayloadError: too large, or not UTF-8.
    """
    if len(payload) > MAX_BYTES:
        msg = f"larger than {MAX_BYTES} bytes"
        raise PayloadError(msg)
    try:
        return payload.decode("utf-8", errors="strict")
    except UnicodeDecodeError:
        msg = "not UTF-8"
        raise PayloadError(msg) from None


def plain_number(payload: bytes) -> float:
    """Read a message that is one decimal number in ASCII digits.

    Args:
        payload: what arrived; blanks and line ends around the number are allowed.

    Returns:
        The number, finite.

    Raises:
        PayloadError: anything else.
    """
    found = _NUMBER.fullmatch(text_of(payload).strip(" \t\r\n"))
    if found is None:
        msg = "not a plain number"
        raise PayloadError(msg)
    return finite(float(found[0]))


def finite(number: float) -> float:
    """Let only finite numbers pass.

    Raises:
        PayloadError: NaN or infinite.
    """
    if not math.isfinite(number):
        msg = "a number that is not finite"
        raise PayloadError(msg)
    return number


def parse_json(payload: bytes) -> object:
    """Read a message that is one JSON document.

    Args:
        payload: what arrived, at most 2048 bytes and 8 levels deep.

    Returns:
        dict, list, str, int, float, bool or None.

    Raises:
        PayloadError: anything that is not strict JSON.

    Source: RFC 8259.
    """
    text = text_of(payload)
    _bound_depth(text)
    try:
        found: object = json.loads(
            text,
            object_pairs_hook=_unique,
            parse_constant=_no_constant,
            parse_float=_float,
            parse_int=_int,
        )
    except (ValueError, RecursionError):
        msg = "not JSON"
        raise PayloadError(msg) from None
    return found


def number_in(value: object) -> float:
    """Take a JSON value that must be a number; `true` and `"12"` are none.

    Raises:
        PayloadError: no number, or not finite.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        msg = "not a number where one is expected"
        raise PayloadError(msg)
    return finite(float(value))


def point_at(document: object, pointer: str) -> object:
    """Follow a JSON pointer.

    Args:
        document: parsed JSON.
        pointer: empty for the whole, else `/` and a token for each step.

    Returns:
        What it points at.

    Raises:
        PayloadError: the pointer is malformed or points at nothing.

    Source: RFC 6901 sections 3 and 4.
    """
    if (pointer and not pointer.startswith("/")) or _BAD_ESCAPE.search(pointer):
        msg = "the field of the garden file is no JSON pointer"
        raise PayloadError(msg)
    found = document
    for raw in pointer.split("/")[1:]:
        found = _step(found, raw.replace("~1", "/").replace("~0", "~"))
    return found


def _step(found: object, token: str) -> object:
    within = isinstance(found, list) and _INDEX.fullmatch(token) and int(token) < len(found)
    if isinstance(found, list) and within:
        found = found[int(token)]
    elif isinstance(found, dict) and token in found:
        found = found[token]
    else:
        msg = "nothing stands where the JSON pointer points"
        raise PayloadError(msg)
    return found


def _bound_depth(text: str) -> None:
    """Count brackets outside strings; the parser itself would recurse."""
    depth = 0
    quoted = escaped = False
    for char in text:
        if quoted:
            quoted = escaped or char != '"'
            escaped = char == "\\" and not escaped
        elif char == '"':
            quoted = True
        elif char in "[{":
            depth += 1
            if depth > MAX_DEPTH:
                msg = f"nested deeper than {MAX_DEPTH} levels"
                raise PayloadError(msg)
        elif char in "]}":
            depth -= 1


def _unique(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        msg = "a key stands twice"
        raise PayloadError(msg)
    return found


def _no_constant(_: str) -> Never:
    msg = "a number that is not finite"
    raise PayloadError(msg)


def _float(digits: str) -> float:
    return finite(float(digits))


def _int(digits: str) -> int:
    if len(digits.lstrip("-")) > MAX_DIGITS:
        msg = f"an integer of more than {MAX_DIGITS} digits"
        raise PayloadError(msg)
    return int(digits)
