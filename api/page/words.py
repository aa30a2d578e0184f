"""Numbers and instants as people say them: local 24-hour times, litres or gallons, days left.

Wires and files stay metric and UTC; only what a person reads is turned here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

L_PER_GAL = 3.785411784  # US liquid gallon, by definition 231 cubic inches
MM_PER_IN = 25.4  # by definition
HOUR_S = 3600.0
DAY_S = 86_400.0
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WINDOW_STEP_S = 600.0  # [s] an expected window is not known more finely
NEAR_DAYS = 6  # beyond this a weekday alone is ambiguous


def utc_s_of(text: object) -> float | None:
    """An RFC 3339 text as Unix seconds, None where it is none."""
    if not isinstance(text, str):
        return None
    try:
        return datetime.fromisoformat(text).timestamp()
    except ValueError:
        return None


def number(value: object) -> float | None:
    """A finite number, None for anything else."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    return float(value) if math.isfinite(value) else None


def bed_name(bed: str) -> str:
    """A bed's id as people say it."""
    return bed.replace("-", " ").replace("_", " ").capitalize()


def count(many: int, one: str, several: str) -> str:
    """`1 day`, `2 days`."""
    return f"{many} {one if many == 1 else several}"


def duration(seconds: float) -> str:
    """A length of time, as long as it needs to be: `40 s`, `18 min`, `1 h 10 min`, `3 days`."""
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    if minutes < 60:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours >= 48:
        return count(round(hours / 24.0), "day", "days")
    return f"{hours} h {rest} min" if rest and hours < 12 else f"{hours} h"


def left(seconds: float) -> str:
    """How long a bed still has to its thirst line."""
    hours = seconds / HOUR_S
    if hours < 1.0:
        return "under an hour left"
    if hours < 20.0:
        return f"{hours:.0f} h left"
    return f"{count(max(1, round(hours / 24.0)), 'day', 'days')} left"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tongue:
    """How this garden is spoken of: its time zone, its units, its now."""

    zone: ZoneInfo
    us: bool
    now_utc_s: float

    def local(self, utc_s: float) -> datetime:
        """The instant on the garden's own clock."""
        return datetime.fromtimestamp(utc_s, UTC).astimezone(self.zone)

    def clock(self, utc_s: float) -> str:
        """`14:32`."""
        return f"{self.local(utc_s):%H:%M}"

    def day(self, utc_s: float) -> str:
        """`today`, `tomorrow`, `Thu`, or `12 Jul` where the weekday would be ambiguous."""
        at, now = self.local(utc_s).date(), self.local(self.now_utc_s).date()
        ahead = (at - now).days
        near = {-1: "yesterday", 0: "today", 1: "tomorrow"}
        if ahead in near:
            return near[ahead]
        if abs(ahead) <= NEAR_DAYS:
            return DAYS[at.weekday()]
        return f"{at.day} {MONTHS[at.month - 1]}"

    def when(self, utc_s: float) -> str:
        """Day and time; of today the time alone."""
        day = self.day(utc_s)
        return self.clock(utc_s) if day == "today" else f"{day} {self.clock(utc_s)}"

    def window(self, from_utc_s: float, to_utc_s: float) -> str:
        """A window as a person would plan by it: hours when it is short, days when it is long."""
        from_utc_s = math.floor(from_utc_s / WINDOW_STEP_S) * WINDOW_STEP_S
        to_utc_s = math.ceil(to_utc_s / WINDOW_STEP_S) * WINDOW_STEP_S
        first, last = self.day(from_utc_s), self.day(to_utc_s)
        if first == last:
            return f"{first} {self.clock(from_utc_s)}–{self.clock(to_utc_s)}"
        if to_utc_s - from_utc_s < 12.0 * HOUR_S:
            return f"{first} {self.clock(from_utc_s)} – {last} {self.clock(to_utc_s)}"
        return f"{first} – {last}"

    def about(self, from_utc_s: float, to_utc_s: float) -> str:
        """The day on which a window most likely falls, and what part of it."""
        middle = (from_utc_s + to_utc_s) / 2.0
        if to_utc_s - from_utc_s > DAY_S:
            return self.window(from_utc_s, to_utc_s)
        day, hour = self.day(middle), self.local(middle).hour
        if day == "today":
            return "tonight" if hour >= 18 else "today"
        part = "early " if hour < 9 else ""
        return f"{part}{day}" if hour < 18 else f"{day} night"

    def litres(self, litres: float, *, unit: bool = True) -> str:
        """Water as litres or gallons, without false digits."""
        amount, name = (litres / L_PER_GAL, "gal") if self.us else (litres, "L")
        text = f"{amount:.1f}" if 0.0 < abs(amount) < 9.95 else f"{amount:.0f}"
        return f"{text} {name}" if unit else text

    def depth(self, depth_mm: float) -> str:
        """Rain or soil water as millimetres or inches."""
        return f"{depth_mm / MM_PER_IN:.2f} in" if self.us else f"{depth_mm:.0f} mm"

    def temp(self, temp_c: float) -> str:
        """Degrees Celsius or Fahrenheit."""
        return f"{temp_c * 1.8 + 32.0:.0f} °F" if self.us else f"{temp_c:.0f} °C"

    def value(self, key: str, value: float) -> str:
        """A number by the unit that its key ends in."""
        match key.rsplit("_", 1)[-1]:
            case "frac" | "share":
                return f"{100.0 * value:.0f} %"
            case "l":
                return self.litres(value)
            case "mm":
                return f"{value / MM_PER_IN:.2f} in" if self.us else f"{value:.1f} mm"
            case "c":
                return self.temp(value)
            case "s" if key.endswith("utc_s"):
                return self.when(value)
            case "s":
                return duration(value)
            case _:
                return f"{value:g}"


NAMED_NUMBERS = {
    "depletion_frac": "used of its water now",
    "sunrise_frac": "used by next sunrise",
    "thirst_line_frac": "thirst line",
    "line_frac": "thirst line",
    "floor_frac": "floor, never to be passed",
    "day_use_frac": "use of one expected day",
    "spread_frac": "how sure: give or take",
    "depletion_sd_frac": "how sure: give or take",
    "taw_mm": "water within reach of its roots",
    "dose_l": "water it gets",
    "dose_mm": "water it gets, as depth",
    "given_l": "given so far",
    "allowed_l": "left of its daily limit",
    "rain_expected_mm": "rain expected",
    "reserved_l": "reserved for this pulse",
}


def named(key: str) -> str:
    """A number's key in words."""
    known = NAMED_NUMBERS.get(key)
    if known is not None:
        return known
    stem, _, unit = key.rpartition("_")
    words = stem if stem and unit in {"frac", "l", "mm", "c", "s", "share"} else key
    return words.replace("_", " ")
