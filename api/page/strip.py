"""The soil strip: a bed's last days and its next ones as one small SVG.

A soil-coloured body stands under the moisture curve. The thirst line is dashed, hatched below.
Rain hangs from the top, waterings stand on the bottom as drops. Right of now lies a paler future
with two dotted lines that fan down to the line and a bracket for the expected window. Where no
reading came there is a gap, never a bridge. Colours and strokes come from the page's style sheet.

Depletion runs downwards: 0 (full) at the top of the plot. Units of the drawing are px of a box
380 wide; it scales with the page.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from markupsafe import Markup, escape

from api.page.straight import STRAIGHT_PX, straighten
from api.page.strip_scale import BOTTOM, TOP, WIDE, Ahead, Scale
from api.page.strip_water import drops_of, rain_by_day, sky_px
from api.page.strip_water import rain as draw_rain
from api.page.strip_water import waterings as draw_waterings
from api.page.words import DAY_S, DAYS, HOUR_S, MONTHS, Tongue, count, number

HIGH = 170.0  # with the day letters
FUTURE_SHARE = 0.30
FUTURE_MOST_S = 6.0 * DAY_S
BEFORE_S = DAY_S  # read before the days shown: no watering at their edge is cut in two
GAP_S = 3.0 * HOUR_S  # silence longer than this is a gap; hourly values are not
SEASON_DAYS = 60.0  # a strip of more days is ruled by months
SEASON_LEAST_DAYS = 30.0  # a young record fills at least this
BODY_PX = 0.8  # and the body beneath it by half the width of the curve
LETTER_PX = 9.0  # half of what a day's letters need
SILENT_PX = 42.0  # what the word needs
DATE_PX = 19.0  # half of what a date or a month needs
DEEPEST_FRAC = 0.62  # shown at least: beyond the deepest floor there is

Point = tuple[float, float]  # (at_utc_s, depletion_frac)


def draw(
    rows: list[dict[str, Any]], ahead: Ahead, tongue: Tongue, days: float, name: str
) -> Markup:
    """The strip of one bed.

    Args:
        rows: history as the desk gives it, in order; what is before the days shown counts only for
            a watering that reaches over their edge.
        ahead: what is expected.
        tongue: the garden's zone, units and now.
        days: how far back [d].
        name: the bed's name, for those who cannot see the drawing.

    Returns:
        An SVG element of class `strip`.
    """
    days = _shown_days(rows, tongue.now_utc_s, days)
    scale = _scale(rows, ahead, tongue.now_utc_s, days)
    shown = _since(rows, scale.first_utc_s)
    pieces = up_to_now(list(runs(shown)), ahead, tongue.now_utc_s)
    rain = rain_by_day(scale, shown, tongue)
    parts = [
        _days(scale, tongue, days),
        *(_body(scale, piece) for piece in pieces),
        _line(scale, shown, ahead),
        *(f'<path class="curve" d="{_path(scale, piece)}"/>' for piece in pieces),
        _silences(scale, pieces),
        draw_rain(scale, rain, tongue),
        draw_waterings(scale, rows, ahead, tongue),
        _future(scale, pieces, ahead),
    ]
    data = (
        f'data-from="{scale.first_utc_s:.0f}" data-to="{scale.last_utc_s:.0f}" '
        f'data-deep="{scale.deepest_frac:.3f}"'
    )
    drops = drops_of(rows, ahead, scale)
    words = _in_words(ahead, drops, rain, tongue)
    label = escape(f"Soil moisture of {name}, the last {days:.0f} days. {words}".strip())
    sky = sky_px(rain)
    box = f"0 {TOP - sky:g} {WIDE:.0f} {HIGH - TOP + sky:g}"
    inner = "".join(parts)
    return Markup(  # noqa: S704 - numbers and words of ours, names escaped above
        f'<svg class="strip" viewBox="{box}" role="img" aria-label="{label}" {data}>{inner}</svg>'
    )


def _in_words(
    ahead: Ahead, drops: list[list[float]], rain: dict[datetime, float], tongue: Tongue
) -> str:
    """The picture for those who cannot see it."""
    told = []
    if ahead.now_frac is not None and ahead.line_frac is not None:
        told.append(
            f"{100.0 * ahead.now_frac:.0f} % of its water is used, its thirst line lies at "
            f"{100.0 * ahead.line_frac:.0f} %."
        )
    if drops:
        last = f"{tongue.day(drops[-1][0])}, {tongue.litres(drops[-1][1])}"
        told.append(f"{count(len(drops), 'watering', 'waterings')}, the last {last}.")
    if rain:
        fell = tongue.depth(sum(rain.values()))
        told.append(f"{fell} of rain on {count(len(rain), 'day', 'days')}.")
    if ahead.from_utc_s is not None and ahead.to_utc_s is not None:
        window = tongue.window(ahead.from_utc_s, ahead.to_utc_s)
        told.append(f"Next watering {window}{ahead.later}.")
    return " ".join([*told, f"{ahead.words[0].upper()}{ahead.words[1:]}." if ahead.words else ""])


def _since(rows: list[dict[str, Any]], first_utc_s: float) -> list[dict[str, Any]]:
    return [row for row in rows if float(row["at_utc_s"]) >= first_utc_s]


def _shown_days(rows: list[dict[str, Any]], now_utc_s: float, days: float) -> float:
    """A season that has hardly begun does not show months before it."""
    if days <= SEASON_DAYS or not rows:
        return days
    since = math.ceil((now_utc_s - float(rows[0]["at_utc_s"])) / DAY_S)
    return float(min(days, max(SEASON_LEAST_DAYS, since)))


def _scale(rows: list[dict[str, Any]], ahead: Ahead, now_utc_s: float, days: float) -> Scale:
    first_utc_s = now_utc_s - days * DAY_S
    shown = _since(rows, first_utc_s)
    seen = [frac for row in shown if (frac := number(row["depletion_frac"])) is not None]
    line = ahead.line_frac or 0.0
    future_s = min(FUTURE_MOST_S, days * DAY_S * FUTURE_SHARE / (1.0 - FUTURE_SHARE))
    return Scale(
        first_utc_s=first_utc_s,
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
        if x1 - x0 > SILENT_PX:
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
    at, kind = (WIDE - 4.0, "") if scale.line_named_right else (4.0, " first")
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
    """A thin line at each local midnight and a letter for each day.

    Of many days only Mondays are ruled, with their date; of a season the months, with their name.
    """
    by_month = days > SEASON_DAYS
    today = tongue.local(tongue.now_utc_s).date()
    today_x = scale.x(scale.now_utc_s)
    ruled, letters = [], []
    for midnight in _midnights(scale, tongue):
        noon_x = scale.x(midnight.timestamp() + DAY_S / 2.0)
        here = midnight.date() == today
        ruled_by = midnight.day == 1 if by_month else days <= 14 or midnight.weekday() == 0
        if not ruled_by and not here:
            continue
        ruled.append(f"M{scale.x(midnight.timestamp()):.1f} {TOP:g}V{BOTTOM:g}")
        half_px = LETTER_PX if days <= 14 else DATE_PX
        crowded = days > 14 and not here and abs(noon_x - today_x) < LETTER_PX + half_px
        if half_px < noon_x < WIDE - half_px and not crowded:
            letter = _day_name(midnight, days, here=here)
            kind = ' class="today"' if here else ""
            letters.append(f'<text{kind} x="{noon_x:.1f}" y="{HIGH - 6:g}">{letter}</text>')
    now_x = scale.x(scale.now_utc_s)
    return (
        f'<rect class="ahead" x="{now_x:.1f}" y="{TOP:g}" width="{WIDE - now_x:.1f}" '
        f'height="{BOTTOM - TOP:g}"/><path class="rule" d="{"".join(ruled)}"/>'
        f'<g class="days">{"".join(letters)}</g>'
    )


def _day_name(midnight: datetime, days: float, *, here: bool) -> str:
    """`Th`; of many days `23 Jun`, of a season `Jun`."""
    if days <= 14 or here:
        return DAYS[midnight.weekday()][:2]
    month = MONTHS[midnight.month - 1]
    return month if days > SEASON_DAYS else f"{midnight.day} {month}"


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
        parts.append(
            f'<text class="now-name" {said}' if ahead.words and scale.line_named_right else ""
        )
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
