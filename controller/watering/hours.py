"""The hours in which a garden may water, as intervals of UTC.

A garden file says `"22:00-sunrise"`, `"sunset-06:30"` or `"always"`. Each window belongs to the
local date on which it begins and is turned into UTC once; nothing is ever computed in local time.
A start that falls into the missing hour of a clock change moves to the next instant that exists,
and the window keeps its length.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from controller.agronomy.sun import sun_times_utc_s

POLAR_SUNRISE = time(6, 0)  # where the sun does not rise or set: common practice, no source
POLAR_SUNSET = time(18, 0)
DAY_S = 86_400.0


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
    """Where the garden is, as far as the hours need it."""

    latitude_deg: float
    longitude_deg: float
    timezone: str


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

    Args:
        hours: as in the garden file: `always` or two of HH:MM, sunrise, sunset with a dash.
        place: latitude, longitude and zone.
        at_utc_s: the instant [s, Unix].

    Returns:
        The window in UTC.
    """
    day = local_date(at_utc_s, ZoneInfo(place.timezone))
    for shift in (-1, 0, 1, 2):
        window = _window_of(hours, place, day + timedelta(days=shift))
        if at_utc_s < window.to_utc_s:
            return window
    return _window_of(hours, place, day + timedelta(days=3))
