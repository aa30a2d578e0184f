"""When people sleep, and when the week's message is due: local hours, worked out from UTC. Pure."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
WEEKLY_AT = time(18, 0)  # local


def local(at_utc_s: float, zone: ZoneInfo) -> datetime:
    """An instant as the clock on the wall shows it."""
    return datetime.fromtimestamp(at_utc_s, UTC).astimezone(zone)


def is_quiet(at_utc_s: float, zone: ZoneInfo, hours: str) -> bool:
    """Whether an instant lies in the quiet hours.

    Args:
        at_utc_s: the instant [s, Unix].
        zone: of the garden.
        hours: `22:00-07:00`, from the first to before the second, or `never`.
    """
    if hours == "never":
        return False
    begin, end = (time.fromisoformat(part) for part in hours.split("-"))
    now = local(at_utc_s, zone).time()
    return begin <= now < end if begin < end else now >= begin or now < end


def weekly_before(at_utc_s: float, zone: ZoneInfo, day: str) -> float:
    """The last instant at or before this one at which the week's message was due [s, Unix].

    Args:
        at_utc_s: the instant [s, Unix].
        zone: of the garden.
        day: `mon` to `sun`.
    """
    here = local(at_utc_s, zone)
    back = (here.weekday() - WEEKDAYS.index(day)) % 7
    for days in (back, back + 7):
        due = datetime.combine(here.date() - timedelta(days=days), WEEKLY_AT, zone)
        if due.timestamp() <= at_utc_s:
            return due.timestamp()
    return at_utc_s


def weekly_after(at_utc_s: float, zone: ZoneInfo, day: str) -> float:
    """The next instant after this one at which the week's message is due [s, Unix]."""
    before = local(weekly_before(at_utc_s, zone, day), zone)
    return datetime.combine(before.date() + timedelta(days=7), WEEKLY_AT, zone).timestamp()


def said(at_utc_s: float, zone: ZoneInfo) -> str:
    """`Thu 26 Nov 21:48`, local."""
    return f"{local(at_utc_s, zone):%a %d %b %H:%M}"


def said_with_zone(at_utc_s: float, zone: ZoneInfo) -> str:
    """`Thu 26 Nov 21:48 PST`, local."""
    return f"{local(at_utc_s, zone):%a %d %b %H:%M %Z}"


def in_frost_months(at_utc_s: float, zone: ZoneInfo, span: tuple[str, ...] | None) -> bool:
    """Whether a day lies in the garden file's frost months (`MM-DD` to `MM-DD`)."""
    if span is None:
        return False
    day, first, last = local(at_utc_s, zone).strftime("%m-%d"), span[0], span[1]
    return first <= day <= last if first <= last else day >= first or day <= last
