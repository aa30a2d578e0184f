"""Faulty fruit against the swings of a bed's water, along the season, as one small SVG.

Above, a pair of bars a pick: cracked fruit a kilogram filled, black-ended ones hatched. Below, a
stroke a day as long as the water that came back within 24 h. Shapes differ, not colours alone.
Units of the drawing are px of a box 640 wide.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from markupsafe import Markup, escape

from api.page.book_words import day_words
from api.page.words import MONTHS, Tongue, bed_name, count

WIDE, HIGH = 640.0, 150.0
LEFT = 8.0
BARS_FOOT, BARS_HIGH = 66.0, 56.0
SWINGS_TOP, SWINGS_HIGH = 74.0, 52.0
RATE_LEAST = 1.0  # fruit a kilogram that fills the bars at least
BAR_PX = 5.0


def draw(name: str, bed: dict[str, Any], first: str, last: str, tongue: Tongue) -> Markup:
    """One bed's season.

    Args:
        name: the bed's id.
        bed: its entry in the season book.
        first: the first local day.
        last: the last one.
        tongue: units.
    """
    begins, ends = date.fromisoformat(first), date.fromisoformat(last)
    days = max(1, (ends - begins).days)

    def x(day: str) -> float:
        return LEFT + (WIDE - 2.0 * LEFT) * (date.fromisoformat(day) - begins).days / days

    rates = [pick[key] / pick["kg"] for pick in bed["picks"] for key in ("cracked", "black_ended")]
    most = max([RATE_LEAST, *rates])
    parts = [
        f'<line class="axis" x1="{LEFT}" x2="{WIDE - LEFT}" y1="{BARS_FOOT}" y2="{BARS_FOOT}"/>',
        f'<line class="axis" x1="{LEFT}" x2="{WIDE - LEFT}" y1="{SWINGS_TOP}" y2="{SWINGS_TOP}"/>',
    ]
    for pick in bed["picks"]:
        at = x(pick["on"])
        parts.append(f'<path class="tick" d="M{at:.1f} {BARS_FOOT}v5"/>')
        for key, to in (("cracked", -BAR_PX), ("black_ended", 0.5)):
            high = BARS_HIGH * pick[key] / pick["kg"] / most
            if high > 0.0:
                box = f'x="{at + to:.1f}" y="{BARS_FOOT - high:.1f}" width="{BAR_PX}"'
                parts.append(f'<rect class="{key}" {box} height="{high:.1f}"/>')
    for swing in bed["swings"]:
        long = SWINGS_HIGH * min(1.0, swing["back_frac"])
        parts.append(f'<path class="swing" d="M{x(swing["on"]):.1f} {SWINGS_TOP}v{long:.1f}"/>')
    rate = f"{tongue.per_mass(most):.1f} a {tongue.mass_short}"
    parts.append(f'<text class="scale" x="{LEFT}" y="{BARS_FOOT - BARS_HIGH + 10}">{rate}</text>')
    parts.append(f'<text class="scale" x="{LEFT}" y="{SWINGS_TOP + SWINGS_HIGH}">100 %</text>')
    parts += _months(begins, ends, x)
    words = escape(sentence(name, bed))
    return Markup(  # noqa: S704 - numbers, and words that were escaped
        f'<svg class="faults" viewBox="0 0 {WIDE:.0f} {HIGH:.0f}" role="img" '
        f'aria-label="{words}">{"".join(parts)}</svg>'
    )


def _months(begins: date, ends: date, x: Any) -> list[str]:  # noqa: ANN401 - a day's place
    found: list[str] = []
    year, month = begins.year, begins.month
    while True:
        year, month = (year, month + 1) if month < 12 else (year + 1, 1)
        day = date(year, month, 1)
        if day >= ends:
            return found
        at = x(day.isoformat())
        found.append(f'<text x="{at:.1f}" y="{HIGH - 6:.0f}">{MONTHS[month - 1]}</text>')


def sentence(name: str, bed: dict[str, Any]) -> str:
    """The picture in words."""
    if not bed["picks"]:
        return f"{bed_name(name)}: no pick was told."
    got = bed["fruit"]
    worst = max(bed["picks"], key=lambda pick: pick["cracked"] / pick["kg"])
    text = (
        f"{bed_name(name)}: {count(got['picks'], 'pick', 'picks')}, {got['cracked']} fruit "
        f"cracked, {got['black_ended']} black at the end"
    )
    if worst["cracked"]:
        text += f"; most cracked on {day_words(worst['on'])}"
    swings = bed["swings"]
    if swings:
        most = max(swings, key=lambda swing: swing["back_frac"])
        text += (
            f". Most of its water that came back within a day: {100.0 * most['back_frac']:.0f} %, "
            f"on {day_words(most['on'])}"
        )
    return f"{text}."
