"""Turns days into hours and hours into days, filling what a source does not tell.

Estimates follow FAO-56 chapter 3: radiation from the day's temperature range (eq. 50, inland),
dew point at the day's lowest temperature (eq. 48), wind 2 m/s. The course within a day is ours:
temperature in half cosines from the lowest at sunrise to the highest three hours after noon,
radiation in the shape of the sun's height, rain in a few hours on end chosen by the date.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

from controller.agronomy.eto import DailyWeather, Site, eto_daily
from controller.errors import SeasonError
from sim.season_rows import vapour_kpa
from sim.season_types import COLUMNS, HOUR_S, Day, DayRow, HourRow, Place, WorldHour

KRS_INLAND = 0.16  # [1/sqrt(°C)] FAO-56 eq. 50
WIND_UNKNOWN_M_S = 2.0  # FAO-56 ch. 3
SOLAR_CONSTANT_MJ_M2_MINUTE = 0.0820  # FAO-56 eq. 21
WARMEST_AFTER_NOON_H = 3.0  # [h] common knowledge of day courses, no source
RAIN_MM_PER_HOUR = 3.0  # [mm/h] a day's rain is spread so that about this much falls in an hour
RAIN_HOURS_MOST = 6
MJ_PER_WH = 0.0036


@dataclass(frozen=True, slots=True, kw_only=True)
class Sun:
    """The sun of one date: Ra [MJ/m2 a day], day length [h], solar noon [Unix s UTC]."""

    ra_mj_m2: float
    day_length_h: float
    noon_utc_s: float
    declination_deg: float
    latitude_deg: float

    def height(self, at_utc_s: float) -> float:
        """Sine of the sun's height, 0 below the horizon."""
        return max(0.0, self._sine(at_utc_s))

    def depth(self, at_utc_s: float) -> float:
        """Sine of how far the sun is below the horizon, 0 above it."""
        return max(0.0, -self._sine(at_utc_s))

    def _sine(self, at_utc_s: float) -> float:
        angle = 2.0 * math.pi * (at_utc_s - self.noon_utc_s) / 86_400.0
        latitude, tilt = math.radians(self.latitude_deg), math.radians(self.declination_deg)
        both = math.sin(latitude) * math.sin(tilt)
        return both + math.cos(latitude) * math.cos(tilt) * math.cos(angle)


def sun_of(day: date, place: Place) -> Sun:
    """Where the sun stands on a date.

    Args:
        day: local date.
        place: the garden.

    Returns:
        Its sun; noon without the equation of time (up to a quarter of an hour).

    Source: FAO-56 eq. 21, 23-25, 34
    """
    year_angle = 2.0 * math.pi * day.timetuple().tm_yday / 365.0
    distance = 1.0 + 0.033 * math.cos(year_angle)
    declination = 0.409 * math.sin(year_angle - 1.39)
    latitude = math.radians(place.latitude_deg)
    sunset = math.acos(max(-1.0, min(1.0, -math.tan(latitude) * math.tan(declination))))
    level = sunset * math.sin(latitude) * math.sin(declination)
    level += math.cos(latitude) * math.cos(declination) * math.sin(sunset)
    midnight = datetime.combine(day, time(), tzinfo=UTC).timestamp()
    return Sun(
        ra_mj_m2=24.0 * 60.0 / math.pi * SOLAR_CONSTANT_MJ_M2_MINUTE * distance * level,
        day_length_h=24.0 * sunset / math.pi,
        noon_utc_s=midnight + (12.0 - place.longitude_deg / 15.0) * HOUR_S,
        declination_deg=math.degrees(declination),
        latitude_deg=place.latitude_deg,
    )


def guessed_solar_mj_m2(tmin_c: float, tmax_c: float, sun: Sun, elevation_m: float) -> float:
    """Radiation of a day from its temperature range, at most that of a clear sky [MJ/m2].

    Source: FAO-56 eq. 50 (inland), eq. 37
    """
    clear = (0.75 + 2e-5 * elevation_m) * sun.ra_mj_m2
    return min(clear, KRS_INLAND * math.sqrt(max(0.0, tmax_c - tmin_c)) * sun.ra_mj_m2)


def hours_of_days(rows: Sequence[DayRow], place: Place) -> tuple[HourRow, ...]:
    """Spread days over their hours; what the days do not tell stays None.

    Args:
        rows: consecutive local days.
        place: the garden.

    Returns:
        Hours from the first local midnight to the last.
    """
    zone = ZoneInfo(place.timezone)
    starts = [midnight_utc_s(row.date, zone) for row in rows]
    starts.append(midnight_utc_s(rows[-1].date + timedelta(days=1), zone))
    suns = [sun_of(row.date, place) for row in rows]
    anchors = _anchors(rows, suns)
    hours: list[HourRow] = []
    at = starts[0]
    reach = 0
    for row, sun, end in zip(rows, suns, starts[1:], strict=True):
        inside = []
        while at < end - 1.0:
            inside.append(at)
            at += HOUR_S
        rain = _rain_of_hours(row, len(inside))
        solar = _solar_of_hours(row.solar_mj_m2, sun, inside)
        for begin, rain_mm, solar_w_m2 in zip(inside, rain, solar, strict=True):
            while anchors[reach + 1][0] < begin + HOUR_S / 2.0:
                reach += 1
            temp_c = _between(anchors[reach], anchors[reach + 1], begin + HOUR_S / 2.0)
            hours.append(
                HourRow(
                    at_utc_s=begin,
                    temp_c=temp_c,
                    rain_mm=rain_mm,
                    rh_pct=_humidity(row, temp_c),
                    solar_w_m2=solar_w_m2,
                    wind_m_s=row.wind_m_s,
                )
            )
    return tuple(hours)


def midnight_utc_s(day: date, zone: ZoneInfo) -> float:
    """Local midnight of a date [Unix s UTC]."""
    return datetime.combine(day, time(), tzinfo=zone).timestamp()


def _anchors(rows: Sequence[DayRow], suns: Sequence[Sun]) -> list[tuple[float, float]]:
    """Instants of lowest and highest temperature, with one far before and one far after."""
    found = [(suns[0].noon_utc_s - 86_400.0, rows[0].tmin_c)]
    for row, sun in zip(rows, suns, strict=True):
        half_h = max(1.0, min(11.0, sun.day_length_h / 2.0))
        found.append((sun.noon_utc_s - half_h * HOUR_S, row.tmin_c))
        found.append((sun.noon_utc_s + WARMEST_AFTER_NOON_H * HOUR_S, row.tmax_c))
    found.append((suns[-1].noon_utc_s + 2.0 * 86_400.0, rows[-1].tmin_c))
    return found


def _between(before: tuple[float, float], after: tuple[float, float], at: float) -> float:
    """Half a cosine from one anchor to the next."""
    share = (at - before[0]) / (after[0] - before[0])
    return before[1] + (after[1] - before[1]) * (1.0 - math.cos(math.pi * share)) / 2.0


def _rain_of_hours(row: DayRow, count: int) -> list[float]:
    """A day's rain in a few hours on end, which ones the date alone decides."""
    rain = [0.0] * count
    if row.rain_mm <= 0.0:
        return rain
    length = min(RAIN_HOURS_MOST, 1 + int(row.rain_mm / RAIN_MM_PER_HOUR))
    first = zlib.crc32(row.date.isoformat().encode()) % (count - length + 1)
    for index in range(first, first + length):
        rain[index] = row.rain_mm / length
    return rain


def _solar_of_hours(
    total_mj_m2: float | None, sun: Sun, begins: Sequence[float]
) -> Sequence[float | None]:
    """A day's radiation in the shape of the sun's height [W/m2]."""
    if total_mj_m2 is None:
        return [None] * len(begins)
    heights = [sun.height(begin + HOUR_S / 2.0) for begin in begins]
    whole = sum(heights)
    if whole <= 0.0:
        return [0.0] * len(begins)
    return [height / whole * total_mj_m2 / MJ_PER_WH for height in heights]


def _humidity(row: DayRow, temp_c: float) -> float | None:
    """Relative humidity of an hour from the day's mean by a vapour pressure held all day."""
    if row.rh_mean_pct is None:
        return None
    mean_kpa = (vapour_kpa(row.tmin_c) + vapour_kpa(row.tmax_c)) / 2.0
    held_kpa = row.rh_mean_pct / 100.0 * mean_kpa
    return min(100.0, 100.0 * held_kpa / vapour_kpa(temp_c))


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """A season's parts after filling; see `sim.weather.Season`."""

    hours: tuple[WorldHour, ...]
    daily: tuple[Day, ...]
    reported: frozenset[str]
    estimated: tuple[str, ...]


def fill(
    rows: Sequence[HourRow], place: Place, told: Sequence[DayRow] = (), year: int | None = None
) -> Filled:
    """Fill every hour, cut to whole local days, and sum up the days.

    Args:
        rows: consecutive hours.
        place: where the weather is; its zone is the garden's.
        told: the days as the source told them, where the source was daily.
        year: the only year to be kept, None for all.

    Returns:
        Hours and days of the season, what is reported and what is estimated.

    Raises:
        SeasonError: not one whole local day.
    """
    zone = ZoneInfo(place.timezone)
    known = {day.date: day for day in told}
    groups = [
        (day, list(group))
        for day, group in groupby(
            rows, key=lambda row: datetime.fromtimestamp(row.at_utc_s, tz=zone).date()
        )
    ]
    whole = [
        (day, group)
        for day, group in groups
        if year in {None, day.year} and _is_whole(day, group, zone)
    ]
    if not whole:
        msg = f"the season has {len(rows)} hours; one whole local day at least is needed"
        raise SeasonError(msg)
    hours: list[WorldHour] = []
    daily: list[Day] = []
    for day, group in whole:
        row = known.get(day) or _day_row(day, group)
        hours.extend(_filled_hours(row, group, sun_of(day, place), place.elevation_m))
        daily.append(_day(row, group[0].at_utc_s, place))
    kept = [row for _, group in whole for row in group]
    return Filled(
        hours=tuple(hours),
        daily=tuple(daily),
        reported=_reported(kept),
        estimated=_estimated(kept),
    )


def _is_whole(day: date, group: Sequence[HourRow], zone: ZoneInfo) -> bool:
    """Whether all hours that begin on this local date are there."""
    length_s = midnight_utc_s(day + timedelta(days=1), zone) - midnight_utc_s(day, zone)
    return len(group) >= int(length_s // HOUR_S)


def _day_row(day: date, group: Sequence[HourRow]) -> DayRow:
    """A day summed up from its hours; a value is None unless every hour has it."""
    solar = _all_of(row.solar_w_m2 for row in group)
    humidity = _all_of(row.rh_pct for row in group)
    wind = _all_of(row.wind_m_s for row in group)
    return DayRow(
        date=day,
        tmin_c=min(row.temp_c for row in group),
        tmax_c=max(row.temp_c for row in group),
        rain_mm=sum(row.rain_mm for row in group),
        rh_mean_pct=sum(humidity) / len(humidity) if humidity else None,
        solar_mj_m2=sum(solar) * MJ_PER_WH if solar else None,
        wind_m_s=sum(wind) / len(wind) if wind else None,
    )


def _all_of(values: Iterable[float | None]) -> list[float]:
    """The values if none is missing, else nothing."""
    found = list(values)
    kept = [value for value in found if value is not None]
    return kept if len(kept) == len(found) else []


def _filled_hours(
    row: DayRow, group: Sequence[HourRow], sun: Sun, elevation_m: float
) -> list[WorldHour]:
    """The hours of a day with FAO-56 chapter 3 in the empty places."""
    begins = [hour.at_utc_s for hour in group]
    total = row.solar_mj_m2
    if total is None:
        total = guessed_solar_mj_m2(row.tmin_c, row.tmax_c, sun, elevation_m)
    shape = _solar_of_hours(total, sun, begins)
    filled = []
    for hour, guess in zip(group, shape, strict=True):
        damp = min(100.0, 100.0 * vapour_kpa(row.tmin_c) / vapour_kpa(hour.temp_c))
        solar = guess if hour.solar_w_m2 is None else hour.solar_w_m2
        filled.append(
            WorldHour(
                at_utc_s=hour.at_utc_s,
                temp_c=hour.temp_c,
                rh_pct=damp if hour.rh_pct is None else hour.rh_pct,
                rain_mm=hour.rain_mm,
                solar_w_m2=solar or 0.0,
                wind_m_s=WIND_UNKNOWN_M_S if hour.wind_m_s is None else hour.wind_m_s,
            )
        )
    return filled


def _day(row: DayRow, start_utc_s: float, place: Place) -> Day:
    weather = DailyWeather(
        tmin_c=row.tmin_c,
        tmax_c=row.tmax_c,
        rh_mean_pct=row.rh_mean_pct,
        solar_mj_m2_d=row.solar_mj_m2,
        wind_m_s=WIND_UNKNOWN_M_S if row.wind_m_s is None else row.wind_m_s,
    )
    site = Site(
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m,
    )
    eto_mm_d = row.eto_mm
    if eto_mm_d is None:
        eto_mm_d = eto_daily(weather, site, row.date.timetuple().tm_yday).eto_mm_d
    return Day(
        date=row.date,
        start_utc_s=start_utc_s,
        tmin_c=row.tmin_c,
        tmax_c=row.tmax_c,
        rain_mm=row.rain_mm,
        eto_mm=max(0.0, eto_mm_d),
    )


def _missing(rows: Sequence[HourRow]) -> dict[str, int]:
    """How many hours lack each column that may be lacking."""
    return {
        "rh_pct": sum(row.rh_pct is None for row in rows),
        "solar_w_m2": sum(row.solar_w_m2 is None for row in rows),
        "wind_m_s": sum(row.wind_m_s is None for row in rows),
    }


def _reported(rows: Sequence[HourRow]) -> frozenset[str]:
    """Columns that the source tells at least once."""
    missing = _missing(rows)
    return frozenset(name for name in COLUMNS if missing.get(name, 0) < len(rows))


def _estimated(rows: Sequence[HourRow]) -> tuple[str, ...]:
    """A sentence for each column that had to be filled."""
    rules = {
        "rh_pct": "humidity: dew point taken as the day's lowest temperature (FAO-56 eq. 48)",
        "solar_w_m2": "radiation: from the day's temperature range (FAO-56 eq. 50, inland)",
        "wind_m_s": "wind: 2 m/s (FAO-56 chapter 3)",
    }
    missing = _missing(rows)
    return tuple(
        f"{rules[name]}, {count} of {len(rows)} hours" for name, count in missing.items() if count
    )
