"""A small picture of curves for people: panels side by side, written as SVG text.

Grey lines for what was measured, one dark line for ours, axes with units. Nothing is drawn that is
not told; the same numbers give the same text.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple
from xml.sax.saxutils import escape

PANEL_PX = (360.0, 260.0)  # width and height of the plotted part
MARGIN_PX = (64.0, 46.0, 56.0)  # left of each panel, above, below
GREY = "#9a9a9a"
DARK = "#1d2a22"
FONT = "font-family='sans-serif' font-size='12'"


class Axis(NamedTuple):
    """One axis: what it says, with its unit, and its ticks in rising order."""

    label: str
    ticks: tuple[float, ...]
    form: str = "g"

    def share(self, value: float) -> float:
        """Where a value lies between the outer ticks, 0 to 1 inside."""
        return (value - self.ticks[0]) / (self.ticks[-1] - self.ticks[0])


class Panel(NamedTuple):
    """One plot, its values in the units that the axes say.

    Args:
        title: above it.
        x: values of all lines along the first axis.
        grey: measured lines, each as long as `x`.
        dark: our line.
        apart: grey lines with values of their own along the first axis, dotted at each.
        marks: words at the dark line's places, each dotted; none for a plain line.
    """

    title: str
    x: tuple[float, ...]
    grey: tuple[tuple[float, ...], ...]
    dark: tuple[float, ...]
    apart: tuple[tuple[tuple[float, ...], tuple[float, ...]], ...] = ()
    marks: tuple[str, ...] = ()


def ticks_of(values: Sequence[float], step: float) -> tuple[float, ...]:
    """Ticks on whole steps that hold all values between the outer two.

    Args:
        values: at least one, in the axis's unit.
        step: between two ticks, above 0, same unit.
    """
    low, high = math.floor(min(values) / step), math.ceil(max(values) / step)
    return tuple(round(step * i, 6) for i in range(low, max(high, low + 1) + 1))


def picture(title: str, across: Axis, up: Axis, panels: Sequence[Panel]) -> str:
    """Draw panels side by side.

    Args:
        title: the whole picture's, also for those who cannot see it.
        across: the first axis of every panel.
        up: the second.
        panels: from left to right.

    Returns:
        SVG text.
    """
    width, height = PANEL_PX
    left, above, below = MARGIN_PX
    whole = (left + width) * len(panels) + 20.0
    lines = [
        f"<svg xmlns='http://www.w3.org/2000/svg' width='{whole:.0f}'"
        f" height='{above + height + below:.0f}' role='img' aria-label='{escape(title)}'>",
        f"<title>{escape(title)}</title>",
        "<rect width='100%' height='100%' fill='#ffffff'/>",
        f"<text x='{left:.0f}' y='18' {FONT} font-weight='bold'>{escape(title)}</text>",
    ]
    for i, panel in enumerate(panels):
        shift = left + i * (left + width)
        lines.append(f"<g transform='translate({shift:.0f} {above:.0f})'>")
        lines += _axes(panel.title, across, up)
        lines += [_line(panel.x, grey, across, up, GREY, 1.0) for grey in panel.grey]
        for x, y in panel.apart:
            lines.append(_line(x, y, across, up, GREY, 1.0))
            lines += _dots(x, y, ("",) * len(x), across, up, GREY)
        lines.append(_line(panel.x, panel.dark, across, up, DARK, 2.5))
        lines += _dots(panel.x, panel.dark, panel.marks, across, up, DARK)
        lines.append("</g>")
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


def _axes(title: str, across: Axis, up: Axis) -> list[str]:
    """Frame, ticks and labels of one panel."""
    width, height = PANEL_PX
    lines = [
        f"<text x='0' y='-8' {FONT}>{escape(title)}</text>",
        f"<path d='M0 0V{height:.0f}H{width:.0f}' fill='none' stroke='{DARK}'/>",
    ]
    for tick in across.ticks:
        x = across.share(tick) * width
        lines.append(f"<path d='M{x:.1f} {height:.0f}v5' stroke='{DARK}'/>")
        lines.append(
            f"<text x='{x:.1f}' y='{height + 19:.0f}' {FONT} text-anchor='middle'>"
            f"{tick:{across.form}}</text>"
        )
    for tick in up.ticks:
        y = (1.0 - up.share(tick)) * height
        lines.append(f"<path d='M0 {y:.1f}h-5' stroke='{DARK}'/>")
        lines.append(
            f"<text x='-8' y='{y + 4:.1f}' {FONT} text-anchor='end'>{tick:{up.form}}</text>"
        )
    lines.append(
        f"<text x='{width / 2:.0f}' y='{height + 40:.0f}' {FONT} text-anchor='middle'>"
        f"{escape(across.label)}</text>"
    )
    lines.append(
        f"<text transform='translate(-46 {height / 2:.0f}) rotate(-90)' {FONT}"
        f" text-anchor='middle'>{escape(up.label)}</text>"
    )
    return lines


def _line(
    x: Sequence[float], y: Sequence[float], across: Axis, up: Axis, colour: str, width_px: float
) -> str:
    """One curve."""
    width, height = PANEL_PX
    points = " ".join(
        f"{across.share(a) * width:.1f},{(1.0 - up.share(b)) * height:.1f}"
        for a, b in zip(x, y, strict=True)
    )
    return (
        f"<polyline points='{points}' fill='none' stroke='{colour}' stroke-width='{width_px:g}'/>"
    )


def _dots(
    x: Sequence[float],
    y: Sequence[float],
    words: Sequence[str],
    across: Axis,
    up: Axis,
    colour: str,
) -> list[str]:
    """A dot at each place that has words, and the words beside it."""
    width, height = PANEL_PX
    lines = []
    for a, b, word in zip(x, y, words, strict=False):
        left, top = across.share(a) * width, (1.0 - up.share(b)) * height
        lines.append(f"<circle cx='{left:.1f}' cy='{top:.1f}' r='4' fill='{colour}'/>")
        if word:
            side, anchor = (7.0, "start") if left < width / 2 else (-7.0, "end")
            lines.append(
                f"<text x='{left + side:.1f}' y='{top - 6:.1f}' {FONT} text-anchor='{anchor}'>"
                f"{escape(word)}</text>"
            )
    return lines
