"""A sheet of paper for small line drawings, written as SVG text: the same calls give the same text."""

from __future__ import annotations

from xml.sax.saxutils import escape

INK = "#1d2a22"
SOFT = "#5c6b62"
PAPER = "#ffffff"
WATER = "#2f6f9f"
EARTH = "#efe4d2"
LEAF = "#4d7c3a"
WARM = "#a5422a"


class Sheet:
    """One drawing.

    Args:
        width: [px].
        height: [px].
        title: said to those who cannot see it.
    """

    def __init__(self, width: int, height: int, title: str) -> None:
        self._parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
            f'width="{width}" height="{height}" role="img" font-family="sans-serif">',
            f"<title>{escape(title)}</title>",
            f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
        ]

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: int = 14,
        at: str = "middle",
        ink: str = INK,
        bold: bool = False,
    ) -> None:
        """Write; several lines where `words` has line breaks."""
        weight = ' font-weight="bold"' if bold else ""
        for number, line in enumerate(words.split("\n")):
            self._parts.append(
                f'<text x="{x:g}" y="{y + 1.25 * size * number:g}" font-size="{size}" '
                f'text-anchor="{at}" fill="{ink}"{weight}>{escape(line)}</text>'
            )

    def line(
        self, *points: tuple[float, float], ink: str = INK, wide: float = 2.0, dash: str = ""
    ) -> None:
        """Draw through points."""
        way = " ".join(f"{x:g},{y:g}" for x, y in points)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<polyline points="{way}" fill="none" stroke="{ink}" stroke-width="{wide:g}"'
            f'{dashes} stroke-linejoin="round" stroke-linecap="round"/>'
        )

    def shape(
        self, *points: tuple[float, float], fill: str = PAPER, ink: str = INK, wide: float = 2.0
    ) -> None:
        """Fill a polygon."""
        way = " ".join(f"{x:g},{y:g}" for x, y in points)
        self._parts.append(
            f'<polygon points="{way}" fill="{fill}" stroke="{ink}" stroke-width="{wide:g}" '
            'stroke-linejoin="round"/>'
        )

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        words: str = "",
        *,
        fill: str = PAPER,
        ink: str = INK,
        dash: str = "",
        size: int = 14,
    ) -> None:
        """Draw a box with words in its middle."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="4" '
            f'fill="{fill}" stroke="{ink}" stroke-width="2"{dashes}/>'
        )
        lines = words.count("\n")
        if words:
            middle = y + height / 2.0 + 0.35 * size - 0.625 * size * lines
            self.text(x + width / 2.0, middle, words, size=size)

    def dot(self, x: float, y: float, radius: float = 4.0, ink: str = INK) -> None:
        """Draw a dot: where wires join, or a drop."""
        self._parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="{ink}"/>')

    def ring(self, x: float, y: float, across: float, high: float, **look: str) -> None:
        """Draw an ellipse."""
        fill, ink = look.get("fill", "none"), look.get("ink", INK)
        dashes = f' stroke-dasharray="{look["dash"]}"' if "dash" in look else ""
        self._parts.append(
            f'<ellipse cx="{x:g}" cy="{y:g}" rx="{across:g}" ry="{high:g}" fill="{fill}" '
            f'stroke="{ink}" stroke-width="2"{dashes}/>'
        )

    def arrow(self, x: float, y: float, to_x: float, to_y: float, *, ink: str = INK) -> None:
        """Draw an arrow, level or upright."""
        self.line((x, y), (to_x, to_y), ink=ink)
        if x == to_x:
            back = -8.0 if to_y > y else 8.0
            self.shape((to_x, to_y), (to_x - 4, to_y + back), (to_x + 4, to_y + back), fill=ink)
        else:
            back = -8.0 if to_x > x else 8.0
            self.shape((to_x, to_y), (to_x + back, to_y - 4), (to_x + back, to_y + 4), fill=ink)

    def measure(self, x: float, y: float, to_x: float, to_y: float, words: str) -> None:
        """Draw a distance with its words beside it."""
        self.arrow((x + to_x) / 2.0, (y + to_y) / 2.0, to_x, to_y, ink=SOFT)
        self.arrow((x + to_x) / 2.0, (y + to_y) / 2.0, x, y, ink=SOFT)
        if y == to_y:
            self.text((x + to_x) / 2.0, y - 8, words, size=13, ink=SOFT)
        else:
            self.text(x + 8, (y + to_y) / 2.0 + 5, words, size=13, at="start", ink=SOFT)

    # -- signs of a circuit, lying level unless said otherwise

    def fuse(self, x: float, y: float, words: str = "fuse") -> None:
        """Draw a fuse 40 px long from x on, on a wire that runs through."""
        self.box(x, y - 8, 40, 16)
        self.line((x, y), (x + 40, y))
        self.text(x + 20, y - 14, words, size=12, ink=SOFT)

    def resistor(self, x: float, y: float, words: str, *, upright: bool = False) -> None:
        """Draw a resistor 44 px long from (x, y) on, to the right or down."""
        if upright:
            self.box(x - 8, y, 16, 44)
            self.text(x + 14, y + 27, words, size=12, at="start", ink=SOFT)
        else:
            self.box(x, y - 8, 44, 16)
            self.text(x + 22, y - 14, words, size=12, ink=SOFT)

    def ground(self, x: float, y: float) -> None:
        """Draw the common minus of the low-voltage supply."""
        for half, down in ((14, 0), (9, 6), (4, 12)):
            self.line((x - half, y + down), (x + half, y + down))

    def svg(self) -> str:
        """Give the whole drawing."""
        return "\n".join([*self._parts, "</svg>", ""])
