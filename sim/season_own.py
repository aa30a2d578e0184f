"""A season from the daemon's own store: what the garden's masts told, hour by hour.

Temperature, humidity, radiation and wind of an hour are the mean of what was told within it; rain
is what the counter of one mast gained, a counter set back counting from its new start. Of words
older than the journal's reach the store keeps the hours. Up to three
missing hours on end are filled; of what longer gaps cut apart the longest stretch is taken, and
said.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.datafolder import DataFolder
from controller.errors import SeasonError, StoreError
from controller.sensing.sky_hours import SkyHour, hours_of, together
from controller.store import open_reader
from sim.season_making import season_of
from sim.season_repair import CSV_GAP_H, close_gaps
from sim.season_types import HOUR_S, HourRow, Place, Record, Season

LEAST_DAYS = 3  # whole days; below this nothing is worth replaying (ours)


def own_season(database: Path, place: Place) -> Season:
    """A season of the longest unbroken weather in a store.

    Args:
        database: the store's file, or the data folder that holds it.
        place: the garden.

    Returns:
        Its whole local days, and what was repaired or left out.

    Raises:
        SeasonError: no store, no weather in it, no rain told, or fewer than three days on end.
    """
    folder = DataFolder(database if database.is_dir() else database.parent, make=False)
    told = _told(folder)
    rows = _hours(told)
    if not rows:
        words = sum(hour.words for hour in told)
        msg = (
            f"own: {folder.database}: {words} words of masts, no hour with both temperature"
            " and rain; a mast with both is needed"
        )
        raise SeasonError(msg)
    stretch = _longest(rows)
    full, notes = close_gaps(stretch)
    record = Record(hours=full, notes=(*notes, *_left_out(rows, stretch)))
    days = _whole_days(full, place)
    if days < LEAST_DAYS:
        msg = (
            f"own: {folder.database}: {days} whole local days without a gap of more than"
            f" {CSV_GAP_H} h ({_when(stretch[0])} to {_when(stretch[-1])}); {LEAST_DAYS} at least"
            " are needed"
        )
        raise SeasonError(msg)
    return season_of("own", record, place)


def _told(folder: DataFolder) -> list[SkyHour]:
    """The masts' hours, read without a lock: the daemon may be running."""
    try:
        with open_reader(folder) as reader:
            kept, words = reader.sky_hours(), reader.weather()
    except StoreError as exc:
        msg = f"own: {exc}"
        raise SeasonError(msg) from exc
    totals = {hour.mast: hour.rain_mm_total for hour in kept if hour.rain_mm_total is not None}
    found = {(hour.hour_utc_s, hour.mast): hour for hour in kept}
    for hour in hours_of(words, totals):
        key = (hour.hour_utc_s, hour.mast)
        found[key] = together(found[key], hour) if key in found else hour
    return [found[key] for key in sorted(found)]


def _whole_days(rows: Sequence[HourRow], place: Place) -> int:
    """How many local days lie wholly within consecutive hours."""
    zone = ZoneInfo(place.timezone)
    first = datetime.fromtimestamp(rows[0].at_utc_s - 1.0, tz=zone).date()
    end = datetime.fromtimestamp(rows[-1].at_utc_s + HOUR_S, tz=zone).date()
    return max(0, (end - first).days - 1)


def _when(row: HourRow) -> str:
    return f"{datetime.fromtimestamp(row.at_utc_s, tz=UTC):%Y-%m-%dT%H:%MZ}"


def _left_out(rows: Sequence[HourRow], stretch: Sequence[HourRow]) -> tuple[str, ...]:
    """A sentence about hours before and after the stretch."""
    count = len(rows) - len(stretch)
    if not count:
        return ()
    return (
        f"own: {count} of {len(rows)} hours left out, a gap of more than {CSV_GAP_H} h parts them"
        f" from those of {_when(stretch[0])} to {_when(stretch[-1])}",
    )


def _longest(rows: Sequence[HourRow]) -> Sequence[HourRow]:
    """The longest stretch whose gaps can be filled; of equals the latest."""
    begins = [0]
    for index, (before, after) in enumerate(pairwise(rows), 1):
        if after.at_utc_s - before.at_utc_s > (CSV_GAP_H + 1) * HOUR_S:
            begins.append(index)
    ends = [*begins[1:], len(rows)]
    begin, end = max(zip(begins, ends, strict=True), key=lambda span: (span[1] - span[0], span[0]))
    return rows[begin:end]


def _hours(told: Iterable[SkyHour]) -> list[HourRow]:
    """Every hour with a temperature and a rain gauge's word."""
    by_hour: dict[int, list[SkyHour]] = defaultdict(list)
    words: Counter[str] = Counter()
    for hour in told:
        by_hour[hour.hour_utc_s].append(hour)
        words[hour.mast] += hour.rain_words
    gauge = max(sorted(words), key=lambda mast: words[mast], default=None)
    rows = []
    for at_utc_s, inside in sorted(by_hour.items()):
        temp_c = _mean(inside, "temp_c")
        rain = [one.rain_mm for one in inside if one.mast == gauge and one.rain_words]
        if temp_c is None or not rain:
            continue
        rows.append(
            HourRow(
                at_utc_s=float(at_utc_s),
                temp_c=temp_c,
                rain_mm=rain[0],
                rh_pct=_mean(inside, "rh_pct"),
                solar_w_m2=_mean(inside, "solar_w_m2"),
                wind_m_s=_mean(inside, "wind_m_s"),
            )
        )
    return rows


def _mean(hours: Iterable[SkyHour], name: str) -> float | None:
    """What the masts with this instrument told, by the number of their words."""
    known = [(getattr(hour, name), hour.words) for hour in hours]
    told = [(value, words) for value, words in known if value is not None]
    many = sum(words for _, words in told)
    return sum(value * words for value, words in told) / many if many else None
