"""A season from the daemon's own store: what the garden's masts told, hour by hour.

Temperature, humidity, radiation and wind of an hour are the mean of what was told within it; rain
is what the counter of one mast gained, a counter set back counting from its new start. The store
keeps the masts' words for 30 days, so a season of its own is at most that long. Up to three
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
from controller.events import WeatherReading
from controller.sensing.sky_sources import possible
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
        msg = (
            f"own: {folder.database}: {len(told)} words of masts, no hour with both temperature"
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


def _told(folder: DataFolder) -> tuple[WeatherReading, ...]:
    """All that the masts told, read without a lock: the daemon may be running."""
    try:
        with open_reader(folder) as reader:
            return reader.weather()
    except StoreError as exc:
        msg = f"own: {exc}"
        raise SeasonError(msg) from exc


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


def _hours(told: Iterable[WeatherReading]) -> list[HourRow]:
    """Every hour with a temperature and a rain gauge's word."""
    words = sorted(told, key=lambda word: word.at_utc_s)
    by_hour: dict[int, list[WeatherReading]] = defaultdict(list)
    for word in words:
        by_hour[int(word.at_utc_s // HOUR_S)].append(word)
    rain = _rain(words)
    rows = []
    for hour, inside in sorted(by_hour.items()):
        temp_c = _mean(inside, "temp_c")
        if temp_c is None or hour not in rain:
            continue
        rows.append(
            HourRow(
                at_utc_s=hour * HOUR_S,
                temp_c=temp_c,
                rain_mm=rain[hour],
                rh_pct=_mean(inside, "rh_pct"),
                solar_w_m2=_mean(inside, "solar_w_m2"),
                wind_m_s=_mean(inside, "wind_m_s"),
            )
        )
    return rows


def _mean(words: Iterable[WeatherReading], name: str) -> float | None:
    """The mean of what an instrument told that it can have told."""
    told = (getattr(word, name) for word in words)
    known = [value for value in told if value is not None and possible(name, value)]
    return sum(known) / len(known) if known else None


def _rain(words: Sequence[WeatherReading]) -> dict[int, float]:
    """Rain of each hour in which the mast with the most words of rain spoke [mm]."""
    counts = Counter(word.mast for word in words if word.rain_mm_total is not None)
    if not counts:
        return {}
    gauge = max(sorted(counts), key=lambda mast: counts[mast])
    rain: dict[int, float] = defaultdict(float)
    last_mm: float | None = None
    for word in words:
        total_mm = word.rain_mm_total
        if word.mast != gauge or total_mm is None:
            continue
        gained = 0.0 if last_mm is None else total_mm - last_mm
        rain[int(word.at_utc_s // HOUR_S)] += gained if gained >= 0.0 else total_mm
        last_mm = total_mm
    return dict(rain)
