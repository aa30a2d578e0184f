"""A drawn curve with as few points as the eye needs."""

from __future__ import annotations

import math

STRAIGHT_PX = 0.2  # a curve may be straightened by this, less than half of what is seen

Point = tuple[float, float]  # px


def straighten(at: list[Point], off_px: float = STRAIGHT_PX) -> list[Point]:
    """Leave out px points that lie on the straight way between those that stay.

    Args:
        at: points in px.
        off_px: how far off that way a point may lie.

    Source: the method of Ramer (1972) and Douglas and Peucker (1973), from memory.
    """
    kept = {0, len(at) - 1}
    open_spans = [(0, len(at) - 1)]
    while open_spans:
        first, last = open_spans.pop()
        if last - first < 2:
            continue
        (x0, y0), (x1, y1) = at[first], at[last]
        length = math.hypot(x1 - x0, y1 - y0) or 1.0
        off = [
            abs((x1 - x0) * (y0 - y) - (x0 - x) * (y1 - y0)) / length
            for x, y in at[first + 1 : last]
        ]
        worst = max(range(len(off)), key=off.__getitem__)
        if off[worst] > off_px:
            middle = first + 1 + worst
            kept.add(middle)
            open_spans += [(first, middle), (middle, last)]
    return [at[index] for index in sorted(kept)]
