"""The hours in which a garden may water, as intervals of UTC.

A garden file says `"22:00-sunrise"`, `"sunset-06:30"` or `"always"`. Each window belongs to the
local date on which it begins and is turned into UTC once; nothing is ever computed in local time.
A start that falls into the missing hour of a clock change moves to the next instant that exists,
and the window keeps its length.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from controller.agronomy.sun import sun_times_utc_s

POLAR_SUNRISE = time(6, 0)  # where the sun does not rise or set: common practice, no source
POLAR_SUNSET = time(18, 0)
DAY_S = 86_400.0
HOUR_S = 3600.0
MIDNIGHT_S = 60.0
WEEK_D = 7
FURTHEST_D = 9  # a window is looked for so far ahead: one weekday comes round within eight


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """One night's span: from `from_utc_s` up to, not including, `to_utc_s`."""

    from_utc_s: float
    to_utc_s: float

    def holds(self, at_utc_s: float) -> bool:
        """Whether this instant lies inside."""
        return self.from_utc_s <= at_utc_s < self.to_utc_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the garden is, and on which weekdays water may run, as far as the hours need it."""

    latitude_deg: float
    longitude_deg: float
    timezone: str
    weekdays: frozenset[int] | None = None  # Monday is 0; None: all of them


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalDay:
    """A local date and its span: from `from_utc_s` up to, not including, `to_utc_s`."""

    date: date
    from_utc_s: float
    to_utc_s: float


def local_to_utc_s(day: date, clock: time, zone: ZoneInfo) -> float:
    """Turn a local date and clock time into Unix seconds.

    Args:
        day: local date.
        clock: local clock time; one that occurs twice means its first occurrence, one that does
            not occur means the first instant after the gap.
        zone: the garden's zone.

    Returns:
        Unix seconds, UTC.
    """
    local = datetime.combine(day, clock, tzinfo=zone)
    late_s = local.timestamp()
    early_s = local.replace(fold=1).timestamp()
    if early_s >= late_s:
        return late_s
    offset = datetime.fromtimestamp(early_s, zone).utcoffset()
    low_s, high_s = (
        int(early_s),
        int(late_s),
    )  # the change lies between: find the first second after
    while high_s - low_s > 1:
        middle_s = (low_s + high_s) // 2
        if datetime.fromtimestamp(middle_s, zone).utcoffset() == offset:
            low_s = middle_s
        else:
            high_s = middle_s
    return float(high_s)


def local_date(at_utc_s: float, zone: ZoneInfo) -> date:
    """The local date at an instant."""
    return datetime.fromtimestamp(at_utc_s, UTC).astimezone(zone).date()


def local_day_at(at_utc_s: float, zone: ZoneInfo) -> LocalDay:
    """The local day at an instant, from its midnight to the next, 23 to 25 h as a rule."""
    day = local_date(at_utc_s, zone)
    return LocalDay(
        date=day,
        from_utc_s=local_to_utc_s(day, time(0), zone),
        to_utc_s=local_to_utc_s(day + timedelta(days=1), time(0), zone),
    )


def _edge_utc_s(word: str, day: date, place: Place, zone: ZoneInfo) -> float:
    if word in {"sunrise", "sunset"}:
        sun = sun_times_utc_s(place.latitude_deg, place.longitude_deg, day)
        if sun is not None:
            return sun[0] if word == "sunrise" else sun[1]
        return local_to_utc_s(day, POLAR_SUNRISE if word == "sunrise" else POLAR_SUNSET, zone)
    return local_to_utc_s(day, time.fromisoformat(word), zone)


@lru_cache(maxsize=64)
def _window_of(hours: str, place: Place, day: date) -> Window:
    zone = ZoneInfo(place.timezone)
    if hours == "always":
        return Window(
            from_utc_s=local_to_utc_s(day, time(0), zone),
            to_utc_s=local_to_utc_s(day + timedelta(days=1), time(0), zone),
        )
    first, last = hours.split("-", 1)
    start_s = _edge_utc_s(first, day, place, zone)
    end_s = _edge_utc_s(last, day, place, zone)
    if end_s <= start_s:
        end_s = _edge_utc_s(last, day + timedelta(days=1), place, zone)
    wall = datetime.fromtimestamp(start_s, zone)
    if first not in {"sunrise", "sunset"} and wall.time() != time.fromisoformat(first):
        moved_s = (
            datetime.combine(day, wall.time()) - datetime.combine(day, time.fromisoformat(first))
        ).total_seconds()
        end_s += moved_s  # the start moved past the gap: the window keeps its length
    return Window(from_utc_s=start_s, to_utc_s=end_s)


def window_at(hours: str, place: Place, at_utc_s: float) -> Window:
    """The window that holds an instant, else the next one to begin.

    Where water may run on some weekdays only, a window is the part of a night that lies on them:
    a night from Monday to Tuesday ends at midnight where Tuesday is none of them.

    Args:
        hours: as in the garden file: `always` or two of HH:MM, sunrise, sunset with a dash.
        place: latitude, longitude, zone and weekdays.
        at_utc_s: the instant [s, Unix].

    Returns:
        The window in UTC.
    """
    day = local_date(at_utc_s, ZoneInfo(place.timezone))
    for shift in range(-1, FURTHEST_D):
        for window in _parts_of(hours, place, day + timedelta(days=shift)):
            if at_utc_s < window.to_utc_s:
                return window
    never_s = local_to_utc_s(day + timedelta(days=FURTHEST_D), time(0), ZoneInfo(place.timezone))
    return Window(from_utc_s=never_s, to_utc_s=never_s)  # no weekday at all: nothing is inside


@lru_cache(maxsize=64)
def _parts_of(hours: str, place: Place, day: date) -> tuple[Window, ...]:
    """The window that begins on a local date, cut to the weekdays on which water may run."""
    window = _window_of(hours, place, day)
    if place.weekdays is None:
        return (window,)
    zone = ZoneInfo(place.timezone)
    parts: list[Window] = []
    for shift in (0, 1, 2):
        one = day + timedelta(days=shift)
        if one.weekday() not in place.weekdays:
            continue
        from_s = max(window.from_utc_s, local_to_utc_s(one, time(0), zone))
        to_s = min(window.to_utc_s, local_to_utc_s(one + timedelta(days=1), time(0), zone))
        if not from_s < to_s:
            continue
        if parts and parts[-1].to_utc_s == from_s:
            from_s = parts.pop().from_utc_s
        parts.append(Window(from_utc_s=from_s, to_utc_s=to_s))
    return tuple(_closed_by(part, window.to_utc_s) for part in parts)


def _closed_by(part: Window, night_ends_s: float) -> Window:
    """A part that ends at a midnight ends a minute before: a valve needs its time to close."""
    if part.to_utc_s == night_ends_s:
        return part
    return replace(part, to_utc_s=part.to_utc_s - MIDNIGHT_S)


def turn_after_d(hours: str, place: Place, window: Window) -> float:
    """How long after a window the next one ends that can be counted on [d].

    Where water may run on some weekdays only, less than half a night is used where it comes, and
    not counted on.

    Args:
        hours: as in the garden file.
        place: latitude, longitude, zone and weekdays.
        window: as `window_at` gave it.
    """
    if place.weekdays is None:
        return 1.0
    whole_s = DAY_S if hours == "always" else _whole_s(hours, place, window.to_utc_s)
    at_s = window.to_utc_s
    for _ in range(2 * FURTHEST_D):
        after = window_at(hours, place, at_s)
        if after.to_utc_s - after.from_utc_s >= 0.5 * whole_s - HOUR_S / 2.0:
            return max(1.0, (after.to_utc_s - window.to_utc_s) / DAY_S)
        at_s = after.to_utc_s
    return float(WEEK_D)


def _whole_s(hours: str, place: Place, at_utc_s: float) -> float:
    """The length of a whole night's window about an instant [s]."""
    whole = window_at(hours, replace(place, weekdays=None), at_utc_s)
    return whole.to_utc_s - whole.from_utc_s


def on_weekday(place: Place, at_utc_s: float) -> bool:
    """Whether water may run on an instant's local day."""
    if place.weekdays is None:
        return True
    return local_date(at_utc_s, ZoneInfo(place.timezone)).weekday() in place.weekdays


def days_end_utc_s(place: Place, at_utc_s: float) -> float | None:
    """When to end water that runs on an allowed day: a minute before the first that is none.

    Args:
        place: zone and weekdays.
        at_utc_s: an instant on an allowed day [s, Unix].

    Returns:
        [s, Unix]; None where the allowed days have no end.
    """
    zone = ZoneInfo(place.timezone)
    day = local_date(at_utc_s, zone)
    if place.weekdays is None or len(place.weekdays) >= WEEK_D:
        return None
    while day.weekday() in place.weekdays:
        day += timedelta(days=1)
    return local_to_utc_s(day, time(0), zone) - MIDNIGHT_S
