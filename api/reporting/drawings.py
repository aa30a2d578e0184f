"""The report's own pictures: water against yield, and the calendar of waterings.

SVG within the page; sizes in px of a 720 wide drawing that fills its column. Each mark has its name
beside it and each picture a sentence for those who cannot see it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from markupsafe import Markup, escape

from api.page.strip_water import DROP_SMALL
from api.page.words import MONTHS, bed_name, count
from api.season_strip import Scale

WIDE, HIGH = 720.0, 330.0
LEFT, RIGHT, TOP, FOOT = 52.0, 700.0, 26.0, 284.0
NAMES_APART, NAME_WIDE = 15.0, 130.0  # [px] a name's height, and the width of most
NAMES_LEFT_FRAC = 0.72  # of the width: further right a name stands left of its mark
PARTS = 5  # about so many on the axis of litres
STEPS_PCT = ((90.0, 2.0), (70.0, 5.0), (0.0, 10.0))  # axis of yield: from its foot, its step
ROW, ROWS_TOP, NAMED = 34.0, 40.0, 110.0
SMALLEST, LARGEST = 0.7, 1.9  # a drop's scale from the least to the most litres


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One policy or setting: median, lowest and highest of its runs.

    Args:
        name: what stands beside it.
        litres: of a season.
        yield_frac: relative yield [-].
        ours: whether it is the one that the page is about.
    """

    name: str
    litres: tuple[float, float, float]
    yield_frac: tuple[float, float, float]
    ours: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plane:
    """Where litres and yields lie."""

    step_l: float
    parts: int
    foot_pct: float
    step_pct: float

    @classmethod
    def of(cls, marks: Sequence[Mark]) -> _Plane:
        most_l = max(1.0, *(mark.litres[2] for mark in marks))
        size = 10.0 ** math.floor(math.log10(most_l / PARTS))
        step_l = next(size * by for by in (1.0, 2.0, 5.0, 10.0) if size * by >= most_l / PARTS)
        worst_pct = 100.0 * min(mark.yield_frac[1] for mark in marks)
        step_pct = next(step for foot, step in STEPS_PCT if worst_pct >= foot)
        foot_pct = min(100.0 - step_pct, step_pct * (worst_pct // step_pct))
        parts = math.ceil(most_l / step_l)
        return cls(step_l=step_l, parts=parts, foot_pct=foot_pct, step_pct=step_pct)

    def across(self, litres: float) -> float:
        return LEFT + (RIGHT - LEFT) * litres / (self.step_l * self.parts)

    def down(self, yield_frac: float) -> float:
        part = (100.0 * yield_frac - self.foot_pct) / (100.0 - self.foot_pct)
        return FOOT - (FOOT - TOP) * part

    def drawn(self) -> str:
        lines = []
        for index in range(self.parts + 1):
            litres = index * self.step_l
            x = self.across(litres)
            lines.append(
                f'<path class="rule" d="M{x:.1f} {TOP:g}V{FOOT:g}"/>'
                f'<text class="mid axis" x="{x:.1f}" y="{FOOT + 16:g}">{litres:.0f}</text>'
            )
        for index in range(round((100.0 - self.foot_pct) / self.step_pct) + 1):
            pct = self.foot_pct + index * self.step_pct
            y = self.down(pct / 100.0)
            lines.append(
                f'<path class="rule" d="M{LEFT:g} {y:.1f}H{RIGHT:g}"/>'
                f'<text class="end axis" x="{LEFT - 6:g}" y="{y + 4:.1f}">{pct:.0f}</text>'
            )
        lines.append(
            f'<text class="mid" x="{(LEFT + RIGHT) / 2:g}" y="{FOOT + 36:g}">litres of the'
            f' season</text><text class="axis" x="4" y="{TOP - 12:g}">% of the full yield</text>'
        )
        return "".join(lines)


def _apart(places: Sequence[tuple[float, float]]) -> list[float]:
    """Heights for names, as near below their marks as keeps neighbours from lying on each other."""
    placed = [y for _, y in places]
    order = sorted(range(len(places)), key=lambda index: places[index][1])
    for rank, index in enumerate(order):
        for before in order[:rank]:
            if abs(places[before][0] - places[index][0]) < NAME_WIDE:
                placed[index] = max(placed[index], placed[before] + NAMES_APART)
    return placed


def water_and_yield(marks: Sequence[Mark]) -> Markup:
    """Litres across, relative yield upwards: further left and higher is better.

    Args:
        marks: one or more.
    """
    plane = _Plane.of(marks)
    parts = [plane.drawn()]
    heights = _apart(
        [(plane.across(mark.litres[0]), plane.down(mark.yield_frac[0])) for mark in marks]
    )
    for mark, height in zip(marks, heights, strict=True):
        parts.append(_marked(plane, mark, height))
    said = "; ".join(
        f"{mark.name} {mark.litres[0]:.0f} L and {100.0 * mark.yield_frac[0]:.0f} %"
        for mark in marks
    )
    return _svg(HIGH, f"Litres of the season against relative yield: {said}.", "".join(parts))


def _marked(plane: _Plane, mark: Mark, height: float) -> str:
    """A mark with its ranges and its name at a height."""
    x, y = plane.across(mark.litres[0]), plane.down(mark.yield_frac[0])
    low_l, high_l = mark.litres[1:]
    worst, best = mark.yield_frac[1:]
    ranges = ""
    if high_l > low_l or best > worst:
        ranges = (
            f'<path class="range" d="M{plane.across(low_l):.1f} {y:.1f}H{plane.across(high_l):.1f}'
            f'M{x:.1f} {plane.down(worst):.1f}V{plane.down(best):.1f}"/>'
        )
    shape = (
        f'<circle class="ours" cx="{x:.1f}" cy="{y:.1f}" r="6"/>'
        if mark.ours
        else f'<path class="other" d="M{x - 5:.1f} {y - 5:.1f}h10v10h-10Z"/>'
    )
    to_left = x > LEFT + NAMES_LEFT_FRAC * (RIGHT - LEFT)
    where = f'class="end" x="{x - 11:.1f}"' if to_left else f'x="{x + 11:.1f}"'
    return f'{ranges}{shape}<text {where} y="{height + 4:.1f}">{escape(mark.name)}</text>'


def calendar(
    scale: Scale, waterings: Sequence[tuple[str, Sequence[tuple[float, float]]]]
) -> Markup:
    """A row a bed, a drop a watering: the larger, the more litres.

    Args:
        scale: the days.
        waterings: each bed's, as instants [s, Unix] and litres.
    """
    most_l = max((litres for _, row in waterings for _, litres in row), default=1.0)
    foot = ROWS_TOP + ROW * len(waterings)
    parts = [_months(scale, foot)]
    said = []
    for index, (bed, row) in enumerate(waterings):
        y = ROWS_TOP + ROW * (index + 0.5)
        name = bed_name(bed)[:14]
        parts.append(
            f'<path class="rule" d="M{NAMED:g} {y + 12:.1f}H{RIGHT:g}"/>'
            f'<text x="2" y="{y + 8:.1f}">{escape(name)}</text>'
        )
        for at_utc_s, litres in row:
            size = SMALLEST + (LARGEST - SMALLEST) * math.sqrt(litres / most_l)
            parts.append(
                f'<path class="drop" transform="translate({_across(scale, at_utc_s):.1f} '
                f'{y + 12:.1f}) scale({size:.2f})" d="M0 0{DROP_SMALL}"/>'
            )
        given_l = sum(litres for _, litres in row)
        said.append(f"{name} {count(len(row), 'watering', 'waterings')}, {given_l:.0f} L")
    return _svg(foot + 6.0, f"Waterings by day: {'; '.join(said)}.", "".join(parts))


def _across(scale: Scale, at_utc_s: float) -> float:
    return NAMED + (RIGHT - NAMED) * scale.pct(at_utc_s) / 100.0


def _months(scale: Scale, foot: float) -> str:
    """A line and a name where each month begins."""
    parts = []
    day = scale.first
    while day <= scale.last:
        if day.day == 1 or day == scale.first:
            x = _across(scale, scale.begins(day))
            parts.append(
                f'<path class="rule" d="M{x:.1f} {ROWS_TOP - 14:g}V{foot:g}"/>'
                f'<text class="axis" x="{x + 3:.1f}" y="{ROWS_TOP - 18:g}">'
                f"{MONTHS[day.month - 1]}</text>"
            )
        day += timedelta(days=1)
    return "".join(parts)


def _svg(high: float, said: str, inner: str) -> Markup:
    return Markup(  # noqa: S704 - every name within is escaped
        f'<svg viewBox="0 0 {WIDE:g} {high:g}" role="img" aria-label="{escape(said)}">{inner}</svg>'
    )
