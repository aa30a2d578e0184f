"""A small tomato plant at its stake, drawn as SVG: its posture is the state of the bed.

Shape carries the state: leaves up, level, or hanging; an outline only where nothing is known; a cut
stem where the bed is cleared. A word stands beside it and colour says nothing by itself.
"""

from __future__ import annotations

from enum import StrEnum

from markupsafe import Markup

SOFT_FROM = 0.75  # of the way to the thirst line
HANGING_FROM = 1.08  # a little past it: at the line itself a plant is soft


class Posture(StrEnum):
    """How the plant stands."""

    UPRIGHT = "upright"
    SOFT = "soft"
    HANGING = "hanging"
    UNKNOWN = "unknown"
    CLEARED = "cleared"


def posture(state: str, depletion_frac: float | None, line_frac: float | None) -> Posture:
    """The posture of a bed.

    Args:
        state: the bed's state.
        depletion_frac: used share of TAW [-].
        line_frac: the thirst line [-].
    """
    if state == "cleared":
        return Posture.CLEARED
    if depletion_frac is None or line_frac is None or not line_frac > 0.0:
        return Posture.UNKNOWN
    way = depletion_frac / line_frac
    if way >= HANGING_FROM:
        return Posture.HANGING
    return Posture.SOFT if way >= SOFT_FROM else Posture.UPRIGHT


# leaf angle [deg, right side, down is positive], bend of the stem's tip [px], leaf width [-]
_SHAPES = {
    Posture.UPRIGHT: (-34, 0, 1.0),
    Posture.SOFT: (10, 5, 0.9),
    Posture.HANGING: (64, 12, 0.55),
    Posture.UNKNOWN: (-12, 0, 1.0),
}
# where leaves spring from the stem, from below: height, length
_LEAVES = ((50, 0.82), (37, 1.0), (24, 0.86))
# one lobed leaf along +x from its own foot; a page that shows plants defines it once
LEAF = Markup(
    '<path id="leaf" d="M0 0C3-3 5-6 9-6 11-9 15-8 16-5 20-6 23-3 25 1 21 3 18 5 15 4 13 7 9 6 8 3 '
    '5 3 2 2 0 0Z"/>'
)


def draw(shape: Posture) -> Markup:
    """The plant as an SVG element of class `plant`."""
    ground = '<path class="ground" d="M4 66H60"/>'
    if shape is Posture.CLEARED:
        inner = f'{ground}<path class="stem" d="M32 66V56M32 58l5-5"/>'
    else:
        inner = f'<path class="stake" d="M36 66V5"/>{ground}{_standing(shape)}'
    return Markup(  # noqa: S704 - made of this module's own constants
        f'<svg class="plant {shape.value}" viewBox="0 0 64 70" aria-hidden="true" '
        f'focusable="false">{inner}</svg>'
    )


def _standing(shape: Posture) -> str:
    angle, bend, broad = _SHAPES[shape]
    tip_y = 10 + bend
    turn_y = 20 + bend // 3
    stem = f'<path class="stem" d="M32 66C31 48 33 34 32 {turn_y}Q32 {tip_y} {32 - bend} {tip_y}"/>'
    leaves = "".join(_pair(y, size, angle, broad) for y, size in _LEAVES)
    top = _leaf(f"translate({32 - bend} {tip_y}) rotate({-64 + 2 * angle}) scale(.5)")
    fruit = (
        '<path class="truss" d="M32 45q5 1 7 4"/><circle class="fruit" cx="40" cy="52" r="3.4"/>'
    )
    return stem + leaves + top + fruit


def _pair(y: int, size: float, angle: int, broad: float) -> str:
    """Two leaves; the higher they spring the steeper they stand, unless they hang."""
    turned = angle - (50 - y) // 3 if angle < 40 else angle
    long = size * (0.7 if angle >= 40 else 1.0)  # what hangs is folded, and clear of the ground
    form = f"rotate({turned}) scale({long:.2f} {size * broad:.2f})"
    return _leaf(f"translate(32 {y}) {form}") + _leaf(f"translate(32 {y + 4}) scale(-1 1) {form}")


def _leaf(where: str) -> str:
    return f'<use class="leaf" transform="{where}" href="#leaf"/>'
