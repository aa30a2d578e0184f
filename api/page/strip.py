"""The soil strip: a bed's last days and its next ones as one small SVG.

A soil-coloured body stands under the moisture curve. The thirst line is dashed, hatched below.
Rain hangs from the top, waterings stand on the bottom as drops. Right of now lies a paler future
with two dotted lines that fan down to the line and a bracket for the expected window. Where no
reading came there is a gap, never a bridge. Colours and strokes come from the page's style sheet.

Depletion runs downwards: 0 (full) at the top of the plot. Units of the drawing are px of a box
380 wide; it scales with the page.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from markupsafe import Markup, escape

from api.page.straight import STRAIGHT_PX, straighten
from api.page.words import DAY_S, DAYS, HOUR_S, Tongue, number

WIDE = 380.0  # px of the box
TOP = 34.0  # the sky above the plot, where rain hangs
BOTTOM = 150.0  # the plot's foot
HIGH = 170.0  # with the day letters
FUTURE_SHARE = 0.30
FUTURE_MOST_S = 6.0 * DAY_S
GAP_S = 3.0 * HOUR_S  # silence longer than this is a gap; hourly values are not
WATERING_APART_S = 6.0 * HOUR_S  # pulses closer than this are one watering
RAIN_FULL_MM = 25.0  # a day of rain that fills the sky
BODY_PX = 0.8  # and the body beneath it by half the width of the curve
LABEL_PX = 36.0  # what a number with its unit needs
LETTER_PX = 8.0  # half of what a day's letters need
LINE_NAME_PX = 72.0
# a drop, drawn from its foot up and round
DROP = "a6 6 0 0 1-6-6c0-5 4-8 6-13c2 5 6 8 6 13a6 6 0 0 1-6 6Z"
DROP_SMALL = "a3 3 0 0 1-3-3c0-3 2-4 3-7c1 3 3 4 3 7a3 3 0 0 1-3 3Z"
DROPS_LARGE_MOST = 8
DEEPEST_FRAC = 0.62  # shown at least: beyond the deepest floor there is


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """What is so now and expected: the line, the bed, its running water, its next window."""

    line_frac: float | None
    from_utc_s: float | None = None
    to_utc_s: float | None = None
    words: str = ""
    now_frac: float | None = None  # depletion now, fresher than the record's last row
    running_l: float = 0.0  # given so far by the watering under way


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """From instants and depletions to px."""

    first_utc_s: float
    now_utc_s: float
    last_utc_s: float
    deepest_frac: float

    def x(self, utc_s: float) -> float:
        """Px from the left."""
        return WIDE * (utc_s - self.first_utc_s) / (self.last_utc_s - self.first_utc_s)

    def y(self, depletion_frac: float) -> float:
        """Px from the top."""
        share = min(1.0, max(0.0, depletion_frac / self.deepest_frac))
        return TOP + (BOTTOM - TOP) * share


Point = tuple[float, float]  # (at_utc_s, depletion_frac)


def draw(
    rows: list[dict[str, Any]], ahead: Ahead, tongue: Tongue, days: float, name: str
) -> Markup:
    """The strip of one bed.

    Args:
        rows: history as the desk gives it, in order.
        ahead: what is expected.
        tongue: the garden's zone, units and now.
        days: how far back [d].
        name: the bed's name, for those who cannot see the drawing.

    Returns:
        An SVG element of class `strip`.
    """
    scale = _scale(rows, ahead, tongue.now_utc_s, days)
    pieces = up_to_now(list(runs(rows)), ahead, tongue.now_utc_s)
    parts = [
        _days(scale, tongue, days),
        *(_body(scale, piece) for piece in pieces),
        _line(scale, rows, ahead),
        *(f'<path class="curve" d="{_path(scale, piece)}"/>' for piece in pieces),
        _silences(scale, pieces),
        _rain(scale, rows, tongue),
        _waterings(scale, rows, ahead, tongue),
        _future(scale, pieces, ahead),
    ]
    data = (
        f'data-from="{scale.first_utc_s:.0f}" data-to="{scale.last_utc_s:.0f}" '
        f'data-deep="{scale.deepest_frac:.3f}"'
    )
    label = escape(f"Soil moisture of {name}, the last {days:.0f} days. {ahead.words}")
    inner = "".join(parts)
    return Markup(  # noqa: S704 - numbers and words of ours, names escaped above
        f'<svg class="strip" viewBox="0 0 {WIDE:.0f} {HIGH:.0f}" role="img" aria-label="{label}" '
        f"{data}>{inner}</svg>"
    )


def _scale(rows: list[dict[str, Any]], ahead: Ahead, now_utc_s: float, days: float) -> Scale:
    seen = [frac for row in rows if (frac := number(row["depletion_frac"])) is not None]
    line = ahead.line_frac or 0.0
    future_s = min(FUTURE_MOST_S, days * DAY_S * FUTURE_SHARE / (1.0 - FUTURE_SHARE))
    return Scale(
        first_utc_s=now_utc_s - days * DAY_S,
        now_utc_s=now_utc_s,
        last_utc_s=now_utc_s + future_s,
        deepest_frac=max(DEEPEST_FRAC, line + 0.15, *(frac + 0.03 for frac in seen), 0.0),
    )


# -- the curve


def runs(rows: Iterable[dict[str, Any]]) -> Iterator[list[Point]]:
    """Unbroken stretches of readings; silence or a missing value ends one."""
    piece: list[Point] = []
    for row in rows:
        at_utc_s, frac = float(row["at_utc_s"]), number(row["depletion_frac"])
        if piece and (frac is None or at_utc_s - piece[-1][0] > GAP_S):
            yield piece
            piece = []
        if frac is not None:
            piece.append((at_utc_s, frac))
    if piece:
        yield piece


def up_to_now(pieces: list[list[Point]], ahead: Ahead, now_utc_s: float) -> list[list[Point]]:
    """The last stretch led on to now, unless the record has been silent for too long."""
    if not pieces or ahead.now_frac is None:
        return pieces
    if not 0.0 < now_utc_s - pieces[-1][-1][0] <= GAP_S:
        return pieces
    return [*pieces[:-1], [*pieces[-1], (now_utc_s, ahead.now_frac)]]


def thin(scale: Scale, piece: list[Point]) -> list[Point]:
    """First, lowest, highest and last point of each px column: peaks stay.

    Args:
        scale: of the drawing.
        piece: points in order of time.
    """
    columns: dict[int, list[Point]] = {}
    for point in piece:
        columns.setdefault(int(scale.x(point[0])), []).append(point)
    kept: list[Point] = []
    for column in columns.values():
        ends = {column[0], column[-1], min(column, key=_depth), max(column, key=_depth)}
        kept.extend(sorted(ends))
    return kept


def _depth(point: Point) -> float:
    return point[1]


def _path(scale: Scale, piece: list[Point], off_px: float = STRAIGHT_PX) -> str:
    """A path in relative tenths of px, which is the shortest way to write it."""
    px = [(round(scale.x(t), 1), round(scale.y(frac), 1)) for t, frac in thin(scale, piece)]
    at = straighten(px, off_px)
    steps = [f"M{at[0][0]:g} {at[0][1]:g}"]
    for (x0, y0), (x1, y1) in pairwise(at):
        steps.append(f"l{round(x1 - x0, 1):g} {round(y1 - y0, 1):g}")
    if len(at) == 1:
        steps.append("h.1")
    return "".join(steps)


def _body(scale: Scale, piece: list[Point]) -> str:
    foot = f"V{BOTTOM:g}H{scale.x(piece[0][0]):.1f}Z"
    return f'<path class="soil" d="{_path(scale, piece, BODY_PX)}{foot}"/>'


def _silences(scale: Scale, pieces: list[list[Point]]) -> str:
    if not pieces:
        x = scale.x(scale.now_utc_s) / 2.0
        return f'<text class="quiet" x="{x:.1f}" y="94">no record yet</text>'
    said = []
    for before, after in pairwise(pieces):
        x0, x1 = scale.x(before[-1][0]), scale.x(after[0][0])
        if x1 - x0 > LABEL_PX:
            said.append(f'<text class="quiet" x="{(x0 + x1) / 2:.1f}" y="94">silent</text>')
    return "".join(said)


# -- the thirst line


def _line(scale: Scale, rows: list[dict[str, Any]], ahead: Ahead) -> str:
    """The dashed line as it lay on each day, and the hatching below it."""
    levels = [
        (float(row["at_utc_s"]), frac)
        for row in rows
        if (frac := number(row["line_frac"])) is not None
    ]
    if ahead.line_frac is not None:
        levels.append((scale.now_utc_s, ahead.line_frac))
    if not levels:
        return ""
    path = f"M0 {scale.y(levels[0][1]):.1f}"
    for (_, before), (at_utc_s, frac) in pairwise(levels):
        if abs(frac - before) > 1e-9:
            path += f"H{scale.x(at_utc_s):.1f}V{scale.y(frac):.1f}"
    path += f"H{WIDE:g}"
    label_y = scale.y(levels[-1][1]) + 17.0
    roomy = WIDE - scale.x(scale.now_utc_s) > LINE_NAME_PX
    at, kind = (WIDE - 4.0, "") if roomy else (4.0, " first")
    return (
        f'<path class="dry" d="{path}V{BOTTOM:g}H0Z"/><path class="thirst" d="{path}"/>'
        f'<text class="thirst-name{kind}" x="{at:g}" y="{label_y:.1f}">thirst line</text>'
    )


# -- days, rain, waterings


def _midnights(scale: Scale, tongue: Tongue) -> Iterator[datetime]:
    day = tongue.local(scale.first_utc_s).replace(hour=0, minute=0, second=0, microsecond=0)
    while day.timestamp() < scale.last_utc_s:
        yield day
        # wall-clock arithmetic: the next local midnight, 23 to 25 h away
        day = (day + timedelta(days=1)).replace(tzinfo=tongue.zone)


def _days(scale: Scale, tongue: Tongue, days: float) -> str:
    """A thin line at each local midnight and a letter for each day (each week if many)."""
    today = tongue.local(tongue.now_utc_s).date()
    today_x = scale.x(scale.now_utc_s)
    ruled, letters = [], []
    for midnight in _midnights(scale, tongue):
        noon_x = scale.x(midnight.timestamp() + DAY_S / 2.0)
        here = midnight.date() == today
        if days > 14 and midnight.weekday() != 0 and not here:
            continue
        ruled.append(f"M{scale.x(midnight.timestamp()):.1f} {TOP:g}V{BOTTOM:g}")
        crowded = days > 14 and not here and abs(noon_x - today_x) < 2.0 * LETTER_PX
        if LETTER_PX < noon_x < WIDE - LETTER_PX and days <= 45 and not crowded:
            letter = DAYS[midnight.weekday()][:2]
            kind = ' class="today"' if here else ""
            letters.append(f'<text{kind} x="{noon_x:.1f}" y="{HIGH - 6:g}">{letter}</text>')
    now_x = scale.x(scale.now_utc_s)
    return (
        f'<rect class="ahead" x="{now_x:.1f}" y="{TOP:g}" width="{WIDE - now_x:.1f}" '
        f'height="{BOTTOM - TOP:g}"/><path class="rule" d="{"".join(ruled)}"/>'
        f'<g class="days">{"".join(letters)}</g>'
    )


def _rain(scale: Scale, rows: list[dict[str, Any]], tongue: Tongue) -> str:
    """One bar a local day, hanging from the top, with its millimetres where there is room."""
    by_day: dict[datetime, float] = {}
    for row in rows:
        rain_mm = number(row["rain_mm"]) or 0.0
        if rain_mm > 0.0:
            at = tongue.local(float(row["at_utc_s"]))
            noon = at.replace(hour=12, minute=0, second=0, microsecond=0)
            by_day[noon] = by_day.get(noon, 0.0) + rain_mm
    places = [(scale.x(noon.timestamp()), rain_mm) for noon, rain_mm in by_day.items()]
    bars, named = [], False
    for (x, rain_mm), room in zip(places, _rooms([x for x, _ in places]), strict=True):
        high = max(2.0, 22.0 * min(1.0, rain_mm / RAIN_FULL_MM))
        bars.append(f'<path class="rain" d="M{x:.1f} 0v{high:.1f}"/>')
        if rain_mm >= 1.0 and room > LABEL_PX + 8.0:
            rain = " rain" if not named and room > 2.0 * LABEL_PX else ""
            named = named or bool(rain)
            said = f"{tongue.depth(rain_mm)}{rain}"
            bars.append(f'<text class="rain-name" x="{x + 5:.1f}" y="10">{said}</text>')
    return "".join(bars)


def _rooms(places: list[float]) -> list[float]:
    """Px that each place has to its right, up to the next one or the edge."""
    return [after - before for before, after in pairwise([*places, WIDE])]


def _drops(rows: list[dict[str, Any]], ahead: Ahead, now_utc_s: float) -> list[list[float]]:
    """Each watering as [last_utc_s, litres]; the one under way with all its pulses."""
    drops: list[list[float]] = []
    for row in rows:
        at_utc_s, given_l = float(row["at_utc_s"]), number(row["given_l"]) or 0.0
        if not given_l > 0.0:
            continue
        if drops and at_utc_s - drops[-1][0] < WATERING_APART_S:
            drops[-1] = [at_utc_s, drops[-1][1] + given_l]
        else:
            drops.append([at_utc_s, given_l])
    if ahead.running_l > 0.0:
        begun = bool(drops) and now_utc_s - drops[-1][0] < WATERING_APART_S
        litres = max(ahead.running_l, drops.pop()[1]) if begun else ahead.running_l
        drops.append([now_utc_s, litres])
    return drops


def _waterings(scale: Scale, rows: list[dict[str, Any]], ahead: Ahead, tongue: Tongue) -> str:
    drops, now_x = _drops(rows, ahead, scale.now_utc_s), scale.x(scale.now_utc_s)
    places = [scale.x(at) for at, _ in drops]
    shape = DROP if len(drops) <= DROPS_LARGE_MOST else DROP_SMALL
    parts = []
    before = -WIDE
    for x, room, (_, litres) in zip(places, _rooms(places), drops, strict=True):
        parts.append(f'<path class="drop" d="M{x:.1f} {BOTTOM - 2:g}{shape}"/>')
        if room > LABEL_PX + 9.0:
            at = _beside(x, x - before, crossed=x <= now_x < x + LABEL_PX + 9.0)
            parts.append(f'<text class="drop-name" {at}>{tongue.litres(litres)}</text>')
        before = x
    return "".join(parts)


def _beside(x: float, room_left: float, *, crossed: bool) -> str:
    """Where a drop's litres stand: right of it, unless the rule of now would cross them."""
    if not crossed:
        return f'x="{x + 9.0:.1f}" y="{BOTTOM - 4:g}"'
    if room_left > 2.0 * LABEL_PX + 18.0:
        return f'x="{x - 9.0:.1f}" y="{BOTTOM - 4:g}" text-anchor="end"'
    return f'x="{x + 5.0:.1f}" y="{BOTTOM - 24:g}" text-anchor="end"'


# -- what comes


def _future(scale: Scale, pieces: list[list[Point]], ahead: Ahead) -> str:
    now_x = scale.x(scale.now_utc_s)
    rule = f'<path class="now" d="M{now_x:.1f} {TOP:g}V{BOTTOM:g}"/>'
    fresh = bool(pieces) and scale.now_utc_s - pieces[-1][-1][0] <= GAP_S
    frac = pieces[-1][-1][1] if fresh else None
    parts = [rule, _expected(scale, frac, ahead)]
    if frac is not None:
        y = scale.y(frac)
        parts.append(f'<circle class="now-dot" cx="{now_x:.1f}" cy="{y:.1f}" r="4"/>')
        said = f'x="{now_x + 8:.1f}" y="{y - 8:.1f}">{escape(ahead.words)}</text>'
        roomy = WIDE - now_x > LINE_NAME_PX
        parts.append(f'<text class="now-name" {said}' if ahead.words and roomy else "")
    return "".join(parts)


def _expected(scale: Scale, frac: float | None, ahead: Ahead) -> str:
    """The bracket on the line, and the fan down to it where the bed is above it."""
    if ahead.line_frac is None or ahead.from_utc_s is None or ahead.to_utc_s is None:
        return ""
    spots = (ahead.from_utc_s, ahead.to_utc_s)
    above = frac is not None and frac < ahead.line_frac
    fan = _fan(scale, frac, ahead.line_frac, spots) if frac is not None and above else ""
    return fan + _bracket(scale, ahead.line_frac, spots)


def _fan(scale: Scale, frac: float, line_frac: float, spots: tuple[float, float]) -> str:
    """Two straight ways down to the line, cut at the edge of the drawing."""
    start = f"M{scale.x(scale.now_utc_s):.1f} {scale.y(frac):.1f}"
    lines = ""
    for at_utc_s in spots:
        span_s = at_utc_s - scale.now_utc_s
        if span_s > 0.0:
            share = min(1.0, (scale.last_utc_s - scale.now_utc_s) / span_s)
            end_x = scale.x(scale.now_utc_s + span_s * share)
            lines += f"{start}L{end_x:.1f} {scale.y(frac + (line_frac - frac) * share):.1f}"
    return f'<path class="fan" d="{lines}"/>' if lines else ""


def _bracket(scale: Scale, line_frac: float, spots: tuple[float, float]) -> str:
    x0 = max(scale.x(spots[0]), scale.x(scale.now_utc_s))
    x1 = min(scale.x(spots[1]), WIDE)
    if x0 > WIDE - 3.0:
        return ""
    x1 = max(x1, x0 + 4.0)
    y = scale.y(line_frac)
    ends = f"M{x0:.1f} {y - 6:.1f}v12" + (f"M{x1:.1f} {y - 6:.1f}v12" if x1 < WIDE else "")
    return f'<path class="window" d="{ends}M{x0:.1f} {y:.1f}H{x1:.1f}"/>'
