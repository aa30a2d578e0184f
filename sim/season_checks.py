"""Is a whole series of weather what its columns say it is?

Single values are judged row by row in `sim.season_rows`; here stands what only many rows tell:
Fahrenheit inside the bounds of Celsius, running totals of rain, columns in each other's place,
hours of another time zone. Every bound is ours, chosen so that no station known to us meets it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

from controller.errors import SeasonError
from sim.season_shapes import sun_of
from sim.season_types import HOUR_S, DayRow, HourRow, Place

ENOUGH_ROWS = 10  # below this a series tells nothing
# [°C] the mean of the nights of ten days; the hottest places known stay below (from memory)
WARMEST_NIGHTS_C = 35.0
NIGHTS = 10
WIDEST_RANGE_C = 30.0  # [°C] the mean daily range of ten days; deserts reach about 22
RISES = 10  # so many rises of rain with hardly a fall are a running total
RISES_PER_FALL = 5.0
SAME_AGAIN_FRAC = 0.6  # of wet rows that repeat the row before
WET_ROWS = 24
ALWAYS_WET_ROWS = {"hour": 240, "day": 60}
ALWAYS_WET_FRAC = {"hour": 0.7, "day": 0.95}
REPEATS_FRAC = 0.9  # of rows in which one column repeats or undercuts another
DRIEST_MOST_PCT = 40.0  # [%] a humidity that never exceeds this and lies under the temperature
NIGHT_SUN_FRAC = 0.2  # of all radiation, while the sun is well below the horizon
TWILIGHT = 0.1  # [-] sine of the sun's depth below the horizon, about an hour


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """The columns of a file side by side; `unit` is "hour" or "day".

    Args:
        file: its name, for messages.
        unit: of a row.
        tmin_c, tmax_c: lowest and highest of each day, or of 24 hours on end [°C].
        temp_c: of each row; the mean of both in a daily file [°C].
        rh_pct: of each row, None where empty.
        rain_mm: of each row [mm].
    """

    file: str
    unit: str
    tmin_c: Sequence[float]
    tmax_c: Sequence[float]
    temp_c: Sequence[float]
    rh_pct: Sequence[float | None]
    rain_mm: Sequence[float]

    def refuse(self, text: str) -> None:
        """Raise an error about the whole file."""
        msg = f"{self.file}: {text}"
        raise SeasonError(msg)


def check_days(file: str, rows: Sequence[DayRow]) -> None:
    """Refuse a daily file whose columns as a whole are not what they say.

    Args:
        file: its name, for messages.
        rows: in order.

    Raises:
        SeasonError: what was found and what is allowed.
    """
    _check(
        Series(
            file=file,
            unit="day",
            tmin_c=[row.tmin_c for row in rows],
            tmax_c=[row.tmax_c for row in rows],
            temp_c=[(row.tmin_c + row.tmax_c) / 2.0 for row in rows],
            rh_pct=[row.rh_mean_pct for row in rows],
            rain_mm=[row.rain_mm for row in rows],
        )
    )


def check_hours(file: str, rows: Sequence[HourRow]) -> None:
    """Refuse an hourly file whose columns as a whole are not what they say.

    Args:
        file: its name, for messages.
        rows: in order.

    Raises:
        SeasonError: what was found and what is allowed.
    """
    temps = [row.temp_c for row in rows]
    days = [temps[n : n + 24] for n in range(0, len(temps) - 23, 24)]
    _check(
        Series(
            file=file,
            unit="hour",
            tmin_c=[min(day) for day in days],
            tmax_c=[max(day) for day in days],
            temp_c=temps,
            rh_pct=[row.rh_pct for row in rows],
            rain_mm=[row.rain_mm for row in rows],
        )
    )


def _check(series: Series) -> None:
    checks: tuple[Callable[[Series], None], ...] = (
        _refuse_running_total,
        _refuse_fahrenheit,
        _refuse_fractions,
        _refuse_no_humidity,
        _refuse_always_wet,
    )
    for check in checks:
        check(series)


def _refuse_running_total(series: Series) -> None:
    """Refuse rain that hardly ever falls back, or that repeats itself row after row."""
    pairs = list(pairwise(series.rain_mm))
    rises = sum(b > a for a, b in pairs)
    falls = sum(b < a for a, b in pairs)
    if rises >= RISES and falls * RISES_PER_FALL < rises:
        series.refuse(
            f"rain_mm rises {rises} times and falls {falls} times, to {max(series.rain_mm):g}: it"
            " looks like a running total; the rain of each row alone is needed"
        )
    wet = sum(b > 0.0 for _, b in pairs)
    same = sum(b > 0.0 and a == b for a, b in pairs)
    if wet >= WET_ROWS and same > SAME_AGAIN_FRAC * wet:
        series.refuse(
            f"rain_mm repeats the row before in {same} of {wet} wet rows: it looks like a running"
            " total, perhaps set back each day; the rain of each row alone is needed"
        )


def _refuse_fahrenheit(series: Series) -> None:
    """Refuse ten days on end that no place on earth has in Celsius."""
    nights = _highest_mean(series.tmin_c)
    if nights > WARMEST_NIGHTS_C:
        series.refuse(
            f"the nights of ten days on end average {nights:.0f} °C; at most"
            f" {WARMEST_NIGHTS_C:g} is allowed (Fahrenheit, or another column?)"
        )
    width = _highest_mean([b - a for a, b in zip(series.tmin_c, series.tmax_c, strict=True)])
    if width > WIDEST_RANGE_C:
        series.refuse(
            f"ten days on end have a mean daily range of {width:.0f} °C; at most"
            f" {WIDEST_RANGE_C:g} is allowed (Fahrenheit, or another column?)"
        )


def _highest_mean(values: Sequence[float]) -> float:
    """The highest mean of ten values on end; of all where they are fewer."""
    length = min(NIGHTS, len(values))
    if not length:
        return -math.inf
    starts = range(len(values) - length + 1)
    return max(sum(values[n : n + length]) / length for n in starts)


def _refuse_fractions(series: Series) -> None:
    """Refuse humidity told as 0 to 1."""
    known = [value for value in series.rh_pct if value is not None]
    if len(known) >= ENOUGH_ROWS and max(known) <= 1.0:
        series.refuse(
            f"humidity never exceeds {max(known):g}; per cent (0 to 100) is needed (a fraction?)"
        )


def _refuse_no_humidity(series: Series) -> None:
    """Refuse a humidity column that holds temperatures or dew points."""
    pairs = [
        (rh, temp) for rh, temp in zip(series.rh_pct, series.temp_c, strict=True) if rh is not None
    ]
    if len(pairs) < ENOUGH_ROWS:
        return
    same = sum(rh == temp for rh, temp in pairs)
    under = sum(rh <= temp for rh, temp in pairs)
    highest = max(rh for rh, _ in pairs)
    if same > REPEATS_FRAC * len(pairs) or (
        highest <= DRIEST_MOST_PCT and under > REPEATS_FRAC * len(pairs)
    ):
        series.refuse(
            f"humidity never exceeds {highest:g} and lies at or under the temperature in {under} of"
            f" {len(pairs)} rows: it looks like temperature or dew point; per cent is needed"
        )


def _refuse_always_wet(series: Series) -> None:
    """Refuse rain in nearly every row: another column stands in its place."""
    rows = len(series.rain_mm)
    wet = sum(value > 0.0 for value in series.rain_mm)
    if rows >= ALWAYS_WET_ROWS[series.unit] and wet > ALWAYS_WET_FRAC[series.unit] * rows:
        series.refuse(
            f"rain_mm is above 0 in {wet} of {rows} {series.unit}s: it looks like another column;"
            f" at most {100.0 * ALWAYS_WET_FRAC[series.unit]:.0f} % are allowed"
        )


def check_sun(file: str, rows: Iterable[HourRow], place: Place) -> None:
    """Refuse hours whose sun shines at night: local time under a column of UTC, or a wrong column.

    Args:
        file: its name, for messages.
        rows: hours of an hourly file.
        place: the garden.

    Raises:
        SeasonError: how much of the radiation falls at night and how much is allowed.
    """
    whole = dark = 0.0
    for row in rows:
        if row.solar_w_m2 is None:
            continue
        middle = row.at_utc_s + HOUR_S / 2.0
        whole += row.solar_w_m2
        if _is_dark(middle, place):
            dark += row.solar_w_m2
    if whole > 0.0 and dark > NIGHT_SUN_FRAC * whole:
        msg = (
            f"{file}: {100.0 * dark / whole:.0f} % of solar_w_m2 falls while it is dark at"
            f" {place.latitude_deg:g}, {place.longitude_deg:g}; at most"
            f" {100.0 * NIGHT_SUN_FRAC:.0f} % is"
            " allowed (local time in time_utc, or another column?)"
        )
        raise SeasonError(msg)


def _is_dark(at_utc_s: float, place: Place) -> bool:
    """Whether the sun is well below the horizon."""
    solar_s = at_utc_s + place.longitude_deg / 15.0 * HOUR_S
    sun = sun_of(datetime.fromtimestamp(solar_s, tz=UTC).date(), place)
    return sun.depth(at_utc_s) > TWILIGHT
