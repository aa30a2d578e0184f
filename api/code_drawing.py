"""A link drawn as a QR code (ISO/IEC 18004), for a phone to read off a terminal or a page.

The symbol is `segno`'s; drawing it is ours. On a terminal it needs no colours: two modules, one
above the other, share a character. On a page it is dark on white in the dark too, as cameras want.
"""

from __future__ import annotations

from itertools import groupby, zip_longest

from markupsafe import Markup, escape

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
    dark = _modules(text)
    ink = dark if light else [[1 - module for module in row] for row in dark]
    width = len(ink[0])
    pairs = zip_longest(ink[::2], ink[1::2], fillvalue=[0] * width)
    return "\n".join(
        "".join(BLOCKS[upper, lower] for upper, lower in zip(above, below, strict=True))
        for above, below in pairs
    )


def svg(text: str, label: str) -> Markup:
    """Draw a text for a page.

    Args:
        text: what the phone is to read.
        label: for those who cannot see it.

    Returns:
        An SVG element, a unit a module.
    """
    dark = _modules(text)
    path = ""
    for y, row in enumerate(dark):
        x = 0
        for module, run in groupby(row):
            wide = len(list(run))
            path += f"M{x} {y}h{wide}v1h-{wide}z" if module else ""
            x += wide
    size = len(dark)
    return Markup(  # noqa: S704 - numbers, and words that are escaped
        f'<svg viewBox="0 0 {size} {size}" role="img" aria-label="{escape(label)}" '
        f'shape-rendering="crispEdges"><rect width="{size}" height="{size}" fill="#fff"/>'
        f'<path d="{path}" fill="#000"/></svg>'
    )


def _modules(text: str) -> list[list[int]]:
    """The symbol with its margin: 1 is dark."""
    import segno  # for the minute in which a phone is let in

    symbol = segno.make(text, error="m", micro=False)
    return [[int(module) for module in row] for row in symbol.matrix_iter(border=QUIET)]
