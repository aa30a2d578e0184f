"""What masts told, hour by hour: what is kept of their words when these grow old.

Pure. An hour of a mast is the mean of each instrument over the words that fell within it, and what
its rain counter gained; a counter set back counts from its new start. Two parts of one hour can be
put together, so it does not matter where a row of words is cut.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from controller.events import WeatherReading
from controller.sensing.sky_sources import possible

HOUR_S = 3_600
INSTRUMENTS: Final = ("temp_c", "rh_pct", "solar_w_m2", "wind_m_s")


@dataclass(frozen=True, slots=True, kw_only=True)
class SkyHour:
    """One hour of one mast; None where it has no such instrument.

    Args:
        mast: which.
        hour_utc_s: when it begins [s, Unix].
        words: how many fell within it.
        temp_c, rh_pct, solar_w_m2, wind_m_s: means [°C, %, W/m2, m/s].
        rain_mm: gained in it [mm].
        rain_words: how many words told of rain.
        rain_mm_total: the counter at the last of them [mm].
    """

    mast: str
    hour_utc_s: int
    words: int
    temp_c: float | None = None
    rh_pct: float | None = None
    solar_w_m2: float | None = None
    wind_m_s: float | None = None
    rain_mm: float = 0.0
    rain_words: int = 0
    rain_mm_total: float | None = None


def hours_of(
    words: Iterable[WeatherReading], totals_mm: Mapping[str, float] | None = None
) -> list[SkyHour]:
    """The hours that words make, in order of hour and mast.

    Args:
        words: in any order; values that no instrument can tell are left out.
        totals_mm: each mast's counter before the first of them [mm].
    """
    totals = dict(totals_mm or {})
    found: dict[tuple[int, str], SkyHour] = {}
    for word in sorted(words, key=lambda one: one.at_utc_s):
        hour = _hour(word, totals)
        key = (hour.hour_utc_s, hour.mast)
        found[key] = together(found[key], hour) if key in found else hour
    return [found[key] for key in sorted(found)]


def _hour(word: WeatherReading, totals: dict[str, float]) -> SkyHour:
    """The hour of one word alone; notes its counter."""
    told = {name: getattr(word, name) for name in INSTRUMENTS}
    known = {
        name: value for name, value in told.items() if value is not None and possible(name, value)
    }
    total_mm = word.rain_mm_total
    hour = SkyHour(
        mast=word.mast,
        hour_utc_s=int(word.at_utc_s // HOUR_S) * HOUR_S,
        words=1,
        **known,
    )
    if total_mm is None:
        return hour
    before_mm = totals.get(word.mast)
    gained_mm = 0.0 if before_mm is None else total_mm - before_mm
    totals[word.mast] = total_mm
    return replace(
        hour,
        rain_mm=gained_mm if gained_mm >= 0.0 else total_mm,
        rain_words=1,
        rain_mm_total=total_mm,
    )


def together(first: SkyHour, second: SkyHour) -> SkyHour:
    """Two parts of one hour of one mast, the earlier one first."""
    many, more = first.words, second.words
    last_mm = first.rain_mm_total if second.rain_mm_total is None else second.rain_mm_total
    return replace(
        first,
        words=many + more,
        temp_c=_mean(first.temp_c, many, second.temp_c, more),
        rh_pct=_mean(first.rh_pct, many, second.rh_pct, more),
        solar_w_m2=_mean(first.solar_w_m2, many, second.solar_w_m2, more),
        wind_m_s=_mean(first.wind_m_s, many, second.wind_m_s, more),
        rain_mm=first.rain_mm + second.rain_mm,
        rain_words=first.rain_words + second.rain_words,
        rain_mm_total=last_mm,
    )


def _mean(first: float | None, many: int, second: float | None, more: int) -> float | None:
    """The mean by the number of words; an instrument that one part lacks is the other's."""
    if first is None or second is None:
        return second if first is None else first
    return (first * many + second * more) / (many + more)
