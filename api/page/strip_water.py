"""Water on the soil strip: rain that hangs from the top, waterings that stand on the bottom.

The sky is only as high as the rain that fell: without any the strip begins at the plot.
Units: px of the strip's box, millimetres of rain, litres.
"""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from typing import Any

from api.page.strip_scale import BOTTOM, LINE_NAME_PX, TOP, WIDE, Ahead, Scale
from api.page.words import HOUR_S, Tongue, number

SKY_BARE = 5.0  # px of sky where none fell: room for the curve's own width
SKY_NAMED = 18.0  # where rain is named
SKY_ROOM = 4.0  # px between the longest rain and the plot
WATERING_APART_S = 6.0 * HOUR_S  # pulses closer than this are one watering
RAIN_NAMED_MM = 1.0  # less is drawn, not named
RAIN_FULL_MM = 25.0  # a day of rain that fills the sky
BAR_PX = 2.5  # half of a bar
LABEL_PX = 42.0  # what a number with its unit needs, in the larger letters of a phone
DROP_PX = 7.0  # half of a drop: none is cut at the edge
BY_FAR = 1.2  # times the last of those that stand close together
NAME_PX = LABEL_PX + 9.0 + DROP_PX  # from a drop to the next, to have its litres between them
# a drop, drawn from its foot up and round
DROP = "a6 6 0 0 1-6-6c0-5 4-8 6-13c2 5 6 8 6 13a6 6 0 0 1-6 6Z"
DROP_SMALL = "a3 3 0 0 1-3-3c0-3 2-4 3-7c1 3 3 4 3 7a3 3 0 0 1-3 3Z"
DROPS_LARGE_MOST = 8


def rain_by_day(scale: Scale, rows: list[dict[str, Any]], tongue: Tongue) -> dict[datetime, float]:
    """Millimetres by local noon, of the days that are shown."""
    by_day: dict[datetime, float] = {}
    for row in rows:
        rain_mm = number(row["rain_mm"]) or 0.0
        if rain_mm > 0.0 and float(row["at_utc_s"]) >= scale.first_utc_s:
            at = tongue.local(float(row["at_utc_s"]))
            noon = at.replace(hour=12, minute=0, second=0, microsecond=0)
            by_day[noon] = by_day.get(noon, 0.0) + rain_mm
    return by_day


def _rain_px(rain_mm: float) -> float:
    return max(2.0, 22.0 * min(1.0, rain_mm / RAIN_FULL_MM))


def sky_px(rain: dict[datetime, float]) -> float:
    """How much sky the rain needs; hardly any where none fell."""
    if not rain:
        return SKY_BARE
    most_mm = max(rain.values())
    named = SKY_NAMED if most_mm >= RAIN_NAMED_MM else 0.0
    return min(TOP, max(named, _rain_px(most_mm) + SKY_ROOM))


def rain(scale: Scale, by_day: dict[datetime, float], tongue: Tongue) -> str:
    """One bar a local day, hanging from the top, with its millimetres where there is room."""
    if not by_day:
        return ""
    head = TOP - sky_px(by_day)
    now_x = scale.x(scale.now_utc_s)  # what fell this morning does not hang in the future
    places = [
        (min(now_x, max(BAR_PX, scale.x(noon.timestamp()))), rain_mm)
        for noon, rain_mm in by_day.items()
    ]
    bars, named = [f'<path class="rule" d="M0 {head:g}H{WIDE:g}"/>'], False
    for (x, rain_mm), room in zip(places, _rooms([x for x, _ in places]), strict=True):
        bars.append(f'<path class="rain" d="M{x:.1f} {head:g}v{_rain_px(rain_mm):.1f}"/>')
        if rain_mm >= RAIN_NAMED_MM and room > LABEL_PX + 8.0:
            rain = " rain" if not named and room > 2.0 * LABEL_PX else ""
            named = named or bool(rain)
            said = f"{tongue.depth(rain_mm)}{rain}"
            bars.append(f'<text class="rain-name" x="{x + 5:.1f}" y="{head + 12:g}">{said}</text>')
    return "".join(bars)


def _rooms(places: list[float]) -> list[float]:
    """Px that each place has to its right, up to the next one or the edge."""
    return [after - before for before, after in pairwise([*places, WIDE])]


def drops_of(rows: list[dict[str, Any]], ahead: Ahead, scale: Scale) -> list[list[float]]:
    """Each watering as [last_utc_s, litres]; the one under way with all its pulses."""
    now_utc_s = scale.now_utc_s
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
    return [drop for drop in drops if drop[0] >= scale.first_utc_s]


def waterings(scale: Scale, rows: list[dict[str, Any]], ahead: Ahead, tongue: Tongue) -> str:
    """The drops, with litres beside them where there is room."""
    drops, now_x = drops_of(rows, ahead, scale), scale.x(scale.now_utc_s)
    places = [max(DROP_PX, scale.x(at)) for at, _ in drops]
    shape = DROP if len(drops) <= DROPS_LARGE_MOST else DROP_SMALL
    parts = []
    named = _named(drops, places, 0.0 if scale.line_named_right else LINE_NAME_PX)
    before = -WIDE
    for n, (x, room, (_, litres)) in enumerate(zip(places, _rooms(places), drops, strict=True)):
        parts.append(f'<path class="drop" d="M{x:.1f} {BOTTOM - 2:g}{shape}"/>')
        if n in named:
            crossed = x <= now_x < x + LABEL_PX + 9.0
            at = _beside(x, x - before, crossed=crossed) if room > NAME_PX else _above(x, now_x)
            parts.append(f'<text class="drop-name" {at}>{tongue.litres(litres)}</text>')
        before = x
    return "".join(parts)


def _named(drops: list[list[float]], places: list[float], free_px: float) -> set[int]:
    """Which drops have their litres: of those that stand too close together the last.

    Another one where it is the largest by far, and its number has room above it.

    Args:
        drops: as `drops_of` gives them.
        places: where each stands [px].
        free_px: from here on nothing else is written above the drops.
    """
    named, close = set(), list[int]()
    for n, room in enumerate(_rooms(places)):
        close.append(n)
        if room > NAME_PX:
            above = [one for one in close if places[one] - 0.5 * LABEL_PX >= free_px or not free_px]
            most = max(above, key=lambda one: drops[one][1], default=n)
            named.add(most if drops[most][1] > BY_FAR * drops[n][1] else n)
            close = []
    return named


def _above(x: float, now_x: float) -> str:
    """Where the litres of a drop stand that has another close to its right."""
    left = min(x - 0.5 * LABEL_PX, now_x - 2.0 - LABEL_PX)  # not through the rule of now
    return f'x="{max(0.0, left):.1f}" y="{BOTTOM - 24:g}"'


def _beside(x: float, room_left: float, *, crossed: bool) -> str:
    """Where a drop's litres stand: right of it, unless the rule of now would cross them."""
    if not crossed:
        return f'x="{x + 9.0:.1f}" y="{BOTTOM - 4:g}"'
    if room_left > 2.0 * LABEL_PX + 18.0:
        return f'x="{x - 9.0:.1f}" y="{BOTTOM - 4:g}" text-anchor="end"'
    return f'x="{x + 5.0:.1f}" y="{BOTTOM - 24:g}" text-anchor="end"'
