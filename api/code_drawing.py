"""A link drawn as a QR code (ISO/IEC 18004) in half blocks, for a phone to read off a terminal.

The symbol is `segno`'s; drawing it is ours, so that it needs no colours: two modules, one above the
other, share a character.
"""

from __future__ import annotations

from itertools import zip_longest

import segno

QUIET = 4  # modules of margin around the symbol, as the standard asks: from memory
BLOCKS = {(0, 0): " ", (1, 0): "▀", (0, 1): "▄", (1, 1): "█"}


def drawn(text: str, *, light: bool = False) -> str:
    """Draw a text.

    Args:
        text: what the phone is to read.
        light: whether the terminal has dark letters on a light ground; else light on dark.

    Returns:
        Lines of block characters.
    """
    symbol = segno.make(text, error="m", micro=False)
    dark = [[int(module) for module in row] for row in symbol.matrix_iter(border=QUIET)]
    ink = dark if light else [[1 - module for module in row] for row in dark]
    width = len(ink[0])
    pairs = zip_longest(ink[::2], ink[1::2], fillvalue=[0] * width)
    return "\n".join(
        "".join(BLOCKS[upper, lower] for upper, lower in zip(above, below, strict=True))
        for above, below in pairs
    )
