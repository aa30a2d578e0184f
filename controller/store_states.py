"""The engine's state as the database keeps it: packed, since it is written once an hour.

A plot of 32 beds has about a megabyte of it. Packed it takes a fifth of the room and of the
card's wear. It stays text, as its column is; a state that stands there unpacked is read as it is.
"""

from __future__ import annotations

import base64
import zlib

MARK = "zlib:"  # no JSON begins so
LEVEL = 6  # zlib's own usual one


def packed(state_json: str) -> str:
    """The text to be kept for a state."""
    pressed = zlib.compress(state_json.encode("utf-8"), LEVEL)
    return MARK + base64.b64encode(pressed).decode("ascii")


def unpacked(kept: str) -> str:
    """The state in a text that was kept; empty, which no engine takes, where it is damaged."""
    if not kept.startswith(MARK):
        return kept
    try:
        return zlib.decompress(base64.b64decode(kept[len(MARK) :], validate=True)).decode("utf-8")
    except (ValueError, zlib.error):
        return ""
