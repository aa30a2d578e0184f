"""What a season's picture is made of: months, rain, soil, picks, waterings, and what each means.

Places along the season are per cent of the width, heights are px. Depletion runs downwards from
full (0) to dry (1); every mark has a shape of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from api.page.straight import straighten
from api.page.strip_water import DROP_SMALL
from api.page.words import MONTHS
from sim.season_account import HOUR_S, DawnTruth, HourTruth, Window

SKY, SKY_FOOT = 106.0, 136.0  # rain hangs here
TOP, BOTTOM = 146.0, 326.0  # the soil: depletion 0 to 1
STEMS, FOOT = 364.0, 398.0  # the waterings: the highest stem, and where they stand
MONTH_NAMES = FOOT + 16.0
LEGEND, LEGEND_ROW = FOOT + 42.0, 20.0
GRAIN = 1000.0  # units across the drawing of the curve
OFF = 0.3  # of those units or px that the straightened curve may lie off
DAY_S = 86_400.0
WIDE_PCT, NARROW_PCT = 3.4, 10.0  # room that a number needs on a wide and on a narrow screen
FIRST_PCT = 1.5  # further left a number would lie on those of the axis
DROPS_NARROW_PCT = 3.0
MONTH_PCT = 7.5  # room that a month's name needs

STYLE = """
svg:root{background:#fff}
text{font:12px system-ui,sans-serif;fill:#231f1a}
.name{font-size:16px;font-weight:700}.axis{font-size:11px;fill:#4d463d}.end{text-anchor:end}
.mid{text-anchor:middle}
.soil{fill:#e9dcc6}.curve,.thirst,.floor{fill:none;vector-effect:non-scaling-stroke}
.curve{stroke:#231f1a;stroke-width:1.3;stroke-linejoin:round}
.thirst{stroke:#b84400;stroke-width:1.8;stroke-dasharray:6 4}
.floor{stroke:#7a2d00;stroke-width:2.4}.below{fill:url(#lines)}
.rule{stroke:#cfc5b5;stroke-width:1}.rain,.stem{stroke:#0072b2;stroke-width:2}.drop{fill:#0072b2}
.cross{fill:none;stroke:#231f1a;stroke-width:2}.halo{fill:none;stroke:#fff;stroke-width:5}
.late{fill:#231f1a;fill-opacity:.1}.pick{stroke:#231f1a;stroke-width:1.2;stroke-dasharray:2 3}
.flag{fill:#231f1a}
@media (max-width:900px){.beside{display:none}}
@media (max-width:640px){.fine{display:none}.curve{stroke-width:.8}}
"""
SHAPES = f"""
<path id="drop" class="drop" d="M0 0{DROP_SMALL}"/>
<g id="cross"><path class="halo" d="M-4-4 4 4M-4 4 4-4"/>
<path class="cross" d="M-4-4 4 4M-4 4 4-4"/></g><path
 id="flag" class="flag" d="M0 0v-9h7l-2 3 2 3h-7Z"/>
<pattern id="lines" width="8" height="5" patternUnits="userSpaceOnUse"><path d="M0 2.5H8"
 stroke="#7a2d00" stroke-opacity=".3"/></pattern>
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """From instants to places across the picture: the days, their ends, and where they are days."""

    first: date
    last: date
    from_utc_s: float
    to_utc_s: float
    zone: ZoneInfo

    def pct(self, at_utc_s: float) -> float:
        """Per cent from the left."""
        return 100.0 * (at_utc_s - self.from_utc_s) / (self.to_utc_s - self.from_utc_s)

    def day(self, at_utc_s: float) -> date:
        """The local day that holds an instant."""
        return datetime.fromtimestamp(at_utc_s, UTC).astimezone(self.zone).date()

    def begins(self, day: date) -> float:
        """The start of a local day [s, Unix]."""
        return datetime.combine(day, time(0), tzinfo=self.zone).timestamp()


def day_name(day: date) -> str:
    """`9 May`."""
    return f"{day.day} {MONTHS[day.month - 1]}"


def _axis(y: float, text: str) -> str:
    return f'<text class="axis end" x="-6" y="{y:g}">{text}</text>'


def _rule(y: float) -> str:
    return f'<line class="rule" x1="0" x2="100%" y1="{y:g}" y2="{y:g}"/>'


def _upright(kind: str, pct: float, y1: float, y2: float) -> str:
    return f'<line class="{kind}" x1="{pct:.2f}%" x2="{pct:.2f}%" y1="{y1:.1f}" y2="{y2:.1f}"/>'


# -- the drawing


def months_drawn(scale: Scale) -> str:
    """A rule where each month begins, and the names of those that have room."""
    parts = [_rule(SKY), _rule(FOOT)]
    day, starts = scale.first, [scale.from_utc_s]
    months = [day.month]
    while day <= scale.last:
        following = (day.replace(day=1) + timedelta(days=32)).replace(day=1)
        starts.append(min(scale.begins(following), scale.to_utc_s))
        months.append(following.month)
        day = following
    for month, (begin, end) in zip(months, pairwise(starts), strict=False):
        at = scale.pct(begin)
        parts.append(_upright("rule", at, SKY, FOOT))
        if scale.pct(end) - at >= MONTH_PCT:
            parts.append(
                f'<text class="axis" x="{at:.2f}%" dx="3" y="{MONTH_NAMES:g}">'
                f"{MONTHS[month - 1]}</text>"
            )
    return "".join(parts)


def rain_drawn(scale: Scale, hours: Sequence[HourTruth]) -> str:
    """One bar a local day, hanging from the top, and how much the longest is."""
    days: dict[date, float] = {}
    for hour in hours:
        if hour.rain_mm > 0.0:
            day = scale.day(hour.at_utc_s - HOUR_S / 2.0)
            days[day] = days.get(day, 0.0) + hour.rain_mm
    if not days:
        return _axis(SKY + 11.0, "no rain")
    most_mm = max(days.values())
    bars = []
    for day, rain_mm in days.items():
        high = max(1.0, (SKY_FOOT - SKY) * rain_mm / most_mm)
        bars.append(_upright("rain", scale.pct(scale.begins(day) + DAY_S / 2.0), SKY, SKY + high))
    return _axis(SKY + 11.0, f"{most_mm:.0f} mm") + "".join(bars)


def _across(scale: Scale, at_utc_s: float) -> float:
    return round(GRAIN * scale.pct(at_utc_s) / 100.0, 1)


def _down(depletion_frac: float) -> float:
    return round((BOTTOM - TOP) * depletion_frac, 1)


def soil_drawn(scale: Scale, hours: Sequence[HourTruth], dawns: list[DawnTruth]) -> str:
    """The body of soil under its curve, the thirst line and the floor."""
    gone = [f"{percent:g} %" for percent in (0.0, 25.0, 50.0, 75.0, 100.0)]
    levels = [TOP + (BOTTOM - TOP) * share / 4.0 for share in range(5)]
    rules = "".join(map(_rule, levels))
    return (
        f'<svg y="{TOP:g}" width="100%" height="{BOTTOM - TOP:g}" '
        f'viewBox="0 0 {GRAIN:g} {BOTTOM - TOP:g}" preserveAspectRatio="none">'
        f"{_body(scale, hours)}{_below(scale, dawns)}</svg>{rules}"
        f'<svg y="{TOP:g}" width="100%" height="{BOTTOM - TOP:g}" '
        f'viewBox="0 0 {GRAIN:g} {BOTTOM - TOP:g}" preserveAspectRatio="none">'
        f"{_lines(scale, dawns)}{_curve(scale, hours)}</svg>"
        + "".join(_axis(y + 4.0, text) for y, text in zip(levels, gone, strict=True))
        + _names(dawns)
    )


def _names(dawns: list[DawnTruth]) -> str:
    """The last thirst line and floor by their names, on the right where the screen is wide."""
    if not dawns:
        return ""
    levels = (("thirst line", dawns[-1].line_frac), ("floor", dawns[-1].floor_frac))
    return "".join(
        f'<text class="beside" x="100%" dx="6" y="{TOP + _down(frac) + 4.0:g}">{name}</text>'
        for name, frac in levels
    )


def _points(scale: Scale, hours: Sequence[HourTruth], off: float) -> list[str]:
    at = [(_across(scale, hour.at_utc_s), _down(hour.depletion_frac)) for hour in hours]
    return [f"{x:g} {y:g}" for x, y in straighten(at, off)]


def _curve(scale: Scale, hours: Sequence[HourTruth]) -> str:
    return f'<path class="curve" d="M{"L".join(_points(scale, hours, OFF))}"/>' if hours else ""


def _body(scale: Scale, hours: Sequence[HourTruth]) -> str:
    if not hours:
        return ""
    first, last = (_across(scale, hour.at_utc_s) for hour in (hours[0], hours[-1]))
    edge = "L".join(_points(scale, hours, 2.0 * OFF))
    return f'<path class="soil" d="M{edge}L{last:g} {BOTTOM - TOP:g}H{first:g}Z"/>'


def _levels(scale: Scale, dawns: list[DawnTruth]) -> tuple[str, str]:
    """Thirst line and floor as they lay from each dawn to the next."""
    ends = [*(dawn.at_utc_s for dawn in dawns[1:]), dawns[-1].at_utc_s + DAY_S]
    thirst = floor = ""
    for dawn, end_s in zip(dawns, ends, strict=True):
        begin, end = _across(scale, dawn.at_utc_s), min(GRAIN, _across(scale, end_s))
        step = "L" if thirst else "M"
        thirst += f"{step}{begin:g} {_down(dawn.line_frac):g}H{end:g}"
        floor += f"{step}{begin:g} {_down(dawn.floor_frac):g}H{end:g}"
    return thirst, floor


def _lines(scale: Scale, dawns: list[DawnTruth]) -> str:
    if not dawns:
        return ""
    thirst, floor = _levels(scale, dawns)
    return f'<path class="floor" d="{floor}"/><path class="thirst" d="{thirst}"/>'


def _below(scale: Scale, dawns: list[DawnTruth]) -> str:
    """Thin lines over all that lies below the floor."""
    if not dawns:
        return ""
    foot = f"V{BOTTOM - TOP:g}H{_across(scale, dawns[0].at_utc_s):g}Z"
    return f'<path class="below" d="{_levels(scale, dawns)[1]}{foot}"/>'


def crosses_drawn(scale: Scale, dawns: list[DawnTruth]) -> str:
    """A cross on each dawn past the floor."""
    return "".join(
        f'<use href="#cross" x="{scale.pct(dawn.at_utc_s):.2f}%" '
        f'y="{TOP + _down(dawn.depletion_frac):g}"/>'
        for dawn in dawns
        if dawn.past_floor
    )


def picks_drawn(scale: Scale, late: Iterable[Window], picks: Iterable[date]) -> str:
    """A flag at each planned pick, and a grey band over the days in which water is late."""
    parts = []
    for begin, end in late:
        x0, x1 = (min(100.0, max(0.0, scale.pct(at))) for at in (begin, end))
        parts.append(
            f'<rect class="late" x="{x0:.2f}%" width="{x1 - x0:.2f}%" y="{TOP:g}" '
            f'height="{FOOT - TOP:g}"/>'
        )
    for day in picks:
        if scale.first <= day <= scale.last:
            at = scale.pct(scale.begins(day))
            parts.append(_upright("pick", at, TOP, FOOT))
            parts.append(f'<use href="#flag" x="{at:.2f}%" y="{TOP:g}"/>')
    return "".join(parts)


def waterings_drawn(scale: Scale, waterings: list[tuple[float, float]]) -> str:
    """A drop on a stem for each watering, with its litres where there is room."""
    if not waterings:
        return _axis(FOOT, "no water")
    most_l = max(litres for _, litres in waterings) or 1.0
    places = [scale.pct(at) for at, _ in waterings]
    parts = [_axis(STEMS + 4.0, f"{most_l:.0f} L")]
    roomy = all(after - before >= DROPS_NARROW_PCT for before, after in pairwise(places))
    before = -100.0
    for at, (at_utc_s, litres) in zip(places, waterings, strict=True):
        y = FOOT - (FOOT - STEMS) * litres / most_l
        said = f"{day_name(scale.day(at_utc_s))}: {litres:.0f} L"
        parts.append(_upright("stem", at, FOOT, y))
        kind = "" if roomy else ' class="fine"'
        parts.append(
            f'<use href="#drop"{kind} x="{at:.2f}%" y="{y:.1f}"><title>{said}</title></use>'
        )
        if at >= FIRST_PCT and at - before >= WIDE_PCT:
            fine = "" if at - before >= NARROW_PCT and at >= NARROW_PCT / 2.0 else " fine"
            parts.append(
                f'<text class="axis mid{fine}" x="{at:.2f}%" y="{y - 13:.1f}">{litres:.0f}</text>'
            )
            before = at
    return "".join(parts)


def entries_of(*, picks: bool) -> list[tuple[str, str]]:
    """What each mark means: the mark at its place of 18 px, and its words."""
    entries = [
        ('<path class="curve" d="M0 0c6-8 10 6 18-2"/>', "available water gone"),
        ('<path class="thirst" d="M0-4H18"/>', "thirst line"),
        ('<path class="floor" d="M0-4H18"/>', "floor"),
        ('<use href="#cross" x="9" y="-4"/>', "dawn past the floor"),
        ('<use href="#drop" x="9" y="2"/>', "watering, in litres"),
        ('<path class="rain" d="M9-10V2"/>', "rain, in mm a day"),
    ]
    if picks:
        entries.append(('<use href="#flag" x="9" y="2"/>', "pick; grey: late"))
    return entries


def legend_drawn(entries: list[tuple[str, str]]) -> str:
    """The marks and their words in two columns."""
    return "".join(
        f'<svg x="{54 * (index % 2)}%" y="{LEGEND + LEGEND_ROW * (index // 2):g}" '
        f'overflow="visible">{mark}<text x="26">{words}</text></svg>'
        for index, (mark, words) in enumerate(entries)
    )
