"""Numbers and instants as people say them: local 24-hour times, litres or gallons, days left.

Wires and files stay metric and UTC; only what a person reads is turned here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from controller.us_units import (
    CM_PER_IN,
    KG_PER_LB,
    L_PER_GAL,
    MM_PER_IN,
    Typed,
    few_digits,
    in_us_units,
)

HOUR_S = 3600.0
DAY_S = 86_400.0
NIGHT_WORDS = {  # by the nights until the first and how many there are
    (-1, 1): "this morning",
    (0, 1): "tonight",
    (1, 1): "tomorrow night",
    (0, 2): "tonight or tomorrow night",
    (0, 3): "tonight or the two nights after",
}
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WINDOW_STEP_S = 600.0  # [s] an expected window is not known more finely
NEAR_DAYS = 6  # beyond this a weekday alone is ambiguous
RISING_HOUR = 6  # until here "tonight" is the night that runs
EVENING_HOUR = 16  # a window that begins from here on is one of the night
DAWN_HOUR = 4  # a window that begins from here on is one of the day
MORNING_HOUR = 11  # and ends before here


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


def listed(names: list[str]) -> str:
    """`Hedge`, `Hedge and Low`, `Hedge, Low and Wall`."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


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
        return "line within 1 h"
    if hours < 20.0:
        return f"line in {hours:.0f} h"
    return f"line in {count(max(1, round(hours / 24.0)), 'day', 'days')}"


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
        """`14:32`; in the hour that an autumn night has twice, which one: `01:30 PDT`."""
        at = self.local(utc_s)
        twice = at.replace(fold=0).utcoffset() != at.replace(fold=1).utcoffset()
        return f"{at:%H:%M %Z}" if twice else f"{at:%H:%M}"

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
        nights = self._nights(from_utc_s, to_utc_s)
        if nights is not None:
            return self._at_night(*nights, from_utc_s, to_utc_s)
        first, last = self.day(from_utc_s), self.day(to_utc_s)
        if first == last:
            return f"{first} {self.clock(from_utc_s)}–{self.clock(to_utc_s)}"
        if to_utc_s - from_utc_s < 12.0 * HOUR_S:
            return f"{first} {self.clock(from_utc_s)} – {last} {self.clock(to_utc_s)}"
        return f"{first} – {last}"

    def about(self, from_utc_s: float, to_utc_s: float) -> str:
        """The day on which a window most likely falls, and what part of it."""
        nights = self._nights(from_utc_s, to_utc_s)
        if nights is not None:
            return self._nights_words(*nights)
        middle = (from_utc_s + to_utc_s) / 2.0
        if to_utc_s - from_utc_s > DAY_S:
            return self.window(from_utc_s, to_utc_s)
        day, hour = self.day(middle), self.local(middle).hour
        if day == "today":
            return "tonight" if hour >= 18 else "today"
        part = "early " if hour < 9 else ""
        return f"{part}{day}" if hour < 18 else f"{day} night"

    def _evening(self, utc_s: float) -> date:
        """The local date on which the night of this instant began."""
        at = self.local(utc_s)
        return at.date() - timedelta(days=1) if at.hour < MORNING_HOUR else at.date()

    def _nights(self, from_utc_s: float, to_utc_s: float) -> tuple[date, date] | None:
        """The evenings of the first and last night, None where a window is one of the day."""
        runs = from_utc_s <= self.now_utc_s
        day_begins = MORNING_HOUR if runs else DAWN_HOUR
        if day_begins <= self.local(from_utc_s).hour < EVENING_HOUR:
            return None
        if not 0 < self.local(to_utc_s).hour < MORNING_HOUR:
            return None
        first, final = self._evening(from_utc_s), self._evening(to_utc_s)
        return (first, final) if (final - first).days >= 0 else None

    def _tonight(self) -> date:
        """The evening of the night that runs, or of the one to come."""
        at = self.local(self.now_utc_s)
        return at.date() - timedelta(days=1) if at.hour < RISING_HOUR else at.date()

    def _at_night(self, first: date, last: date, from_utc_s: float, to_utc_s: float) -> str:
        said = self._nights_words(first, last)
        if first != last:
            return said
        if from_utc_s <= self.now_utc_s:
            return f"{said} until {self.clock(to_utc_s)}"
        return f"{said} from {self.clock(from_utc_s)}"

    def _nights_words(self, first: date, last: date) -> str:
        """Which nights: `tonight`, `in the night to Tue or Wed`, `between Tue and 8 Dec`."""
        soon, many = (first - self._tonight()).days, (last - first).days + 1
        late = self.local(self.now_utc_s).hour < RISING_HOUR  # then "tomorrow" means two things
        known = NIGHT_WORDS.get((soon, many))
        if known is not None and not (late and soon == 1):
            return known
        ends = [self._near(first + timedelta(days=n + 1)) for n in range(min(many, 3))]
        if many == 1 or (many <= 3 and all(end in DAYS for end in ends)):
            listed = f"{', '.join(ends[:-1])} or {ends[-1]}" if many > 1 else ends[0]
            return f"in the night to {listed}"
        today = self.local(self.now_utc_s).date()
        begins = "tonight" if soon == 0 or first == today else self._near(first)
        return f"between {begins} and {self._near(last + timedelta(days=1))}"

    def _near(self, at: date) -> str:
        """A date by its weekday, or in full where that would be ambiguous."""
        ahead = (at - self.local(self.now_utc_s).date()).days
        return DAYS[at.weekday()] if abs(ahead) <= NEAR_DAYS else f"{at.day} {MONTHS[at.month - 1]}"

    def litres(self, litres: float, *, unit: bool = True) -> str:
        """Water as litres or gallons, without false digits."""
        amount, name = (litres / L_PER_GAL, "gal") if self.us else (litres, "L")
        text = few_digits(amount)
        return f"{text} {name}" if unit else text

    def mass(self, kg: float) -> str:
        """Fruit as kilograms or pounds."""
        return f"{kg / KG_PER_LB:.1f} lb" if self.us else f"{kg:.1f} kg"

    def mass_about(self, kg: float) -> str:
        """The same in three digits, for a sentence."""
        return f"{kg / KG_PER_LB:.3g} lb" if self.us else f"{kg:.3g} kg"

    @property
    def mass_word(self) -> str:
        """`pound` or `kilogram`."""
        return "pound" if self.us else "kilogram"

    @property
    def mass_short(self) -> str:
        """`lb` or `kg`."""
        return "lb" if self.us else "kg"

    def per_mass(self, per_kg: float) -> float:
        """A number for each kilogram as one for each of `mass_word`."""
        return per_kg * KG_PER_LB if self.us else per_kg

    def deep(self, depth_cm: float) -> str:
        """A depth in the soil as centimetres or inches."""
        return f"{depth_cm / CM_PER_IN:.0f} in" if self.us else f"{depth_cm:.0f} cm"

    def said(self, text: str, *typed: Typed) -> str:
        """A sentence of ours, its amounts in the units of this garden.

        Args:
            text: as the engine wrote it, metric; nothing that a person wrote.
            typed: amounts that were typed just now.
        """
        return in_us_units(text, *typed) if self.us else text

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
            case "d":
                return f"{value:.1f} days" if value % 1.0 else count(round(value), "day", "days")
            case _:
                return f"{value:g}"


NAMED_NUMBERS = {
    "depletion_frac": "used of its water now",
    "sunrise_frac": "used by sunrise",
    "thirst_line_frac": "thirst line",
    "line_frac": "thirst line",
    "floor_frac": "floor",
    "day_use_frac": "used in a day",
    "spread_frac": "how sure: give or take",
    "depletion_sd_frac": "how sure: give or take",
    "taw_mm": "water within reach of its roots",
    "dose_l": "water it gets",
    "dose_mm": "water it gets, as depth",
    "given_l": "given so far",
    "allowed_l": "left of its daily limit",
    "left_l": "left of scarce water",
    "rain_expected_mm": "rain expected",
    "reserved_l": "reserved for this pulse",
    "blind_d": "without a probe to go by",
    "pick_d": "until its pick",
    "cut_frac": "cut from the next dose",
    "efficiency_frac": "share of a dose that stays among its roots",
    "want_l": "water it was to get",
    "least_l": "least that a watering gives",
    "more_frac": "more to drink before sunrise",
    "rain_mm": "rain",
}


def named(key: str) -> str:
    """A number's key in words."""
    known = NAMED_NUMBERS.get(key)
    if known is not None:
        return known
    stem, _, unit = key.rpartition("_")
    words = stem if stem and unit in {"frac", "l", "mm", "c", "s", "d", "share"} else key
    return words.replace("_", " ")
