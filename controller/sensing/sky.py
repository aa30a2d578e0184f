"""What the mast tells, hour by hour, and what stands in where it is silent.

Rates are per grid step of ten minutes. Two hours after its last word a field of the mast counts as
missing; what stands in, and in which order, is in `sky_sources`, and the view says it.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from functools import lru_cache

from controller.agronomy.crop import degree_days_capped
from controller.agronomy.eto import Site, eto_rate_mm_h, extraterrestrial_radiation_mj_m2_d
from controller.events import WeatherReading
from controller.garden import Garden
from controller.sensing.climate import WHOLE_DAY_H
from controller.sensing.estimate import GRID_S
from controller.sensing.foretold import foretold_by
from controller.sensing.sky_sources import (
    ASSUMED_WORDS,
    BOUNDS,
    EtoSource,
    day_without_mast,
    eto_sd_frac,
    keep,
)
from controller.state import Hour, SkyState

MAST_FRESH_S = 7200.0
FIELDS = ("temp_c", "rh_pct", "solar_w_m2", "wind_m_s")
HOURS_KEPT = 24
RAIN_STEP_MOST_MM = 100.0  # [mm] between two words of a mast; more is a fault of its counter
ASSUMED_ETO_SHARE = 0.30  # of Ra in mm/d, growing season, 40-50° latitude: our own proposal
MM_PER_MJ_M2 = 0.408  # FAO-56 eq. 20
ASSUMED_DEGREE_DAYS_D = 8.0  # [°C d] a day of a temperate summer: our own proposal
RAIN_AHEAD_S = 86_400.0
DAY_S = 86_400.0
FIRST_DAY = date(1970, 1, 1)  # day 0 of Unix time
HOT_C = 35.0


def hear(sky: SkyState, reading: WeatherReading) -> float:
    """Take in what a mast says.

    Args:
        sky: changed in place.
        reading: the mast's word.

    Returns:
        Rain since its last word [mm].
    """
    mono_s, told_mono_s = reading.mono_s, sky.told_mono_s
    sky.mono_s, sky.at_utc_s = mono_s, reading.at_utc_s
    sky.masts_mono_s[reading.mast] = mono_s
    refused = sky.reckoned.refused
    for name in FIELDS:
        value, (low, high) = getattr(reading, name), BOUNDS[name]
        if value is not None and not low <= value <= high:
            refused[name], value = value, None  # the others of the same word are used
        elif value is not None and refused:
            refused.pop(name, None)
        if value is not None:
            setattr(sky, name, value)
            told_mono_s[name] = mono_s
        elif mono_s - told_mono_s.get(name, -math.inf) > MAST_FRESH_S:
            setattr(sky, name, None)  # an instrument that fell silent is estimated, not held
    hour = int(reading.at_utc_s // 3600.0)
    _drop_old(sky, hour)
    if reading.temp_c is not None and "temp_c" not in refused:
        _note_temp(sky, hour, reading.temp_c)
    return _rain_since(sky, reading)


def _drop_old(sky: SkyState, hour: int) -> None:
    """Keep the hours of the last day alone: a silence leaves a gap, and an older day is no day."""
    temps = sky.temps
    if temps and abs(hour - temps[0].hour) >= HOURS_KEPT:  # in order, unless the clock was put back
        temps[:] = [one for one in temps if abs(hour - one.hour) < HOURS_KEPT]


def _note_temp(sky: SkyState, hour: int, temp_c: float) -> None:
    if sky.temps and sky.temps[-1].hour == hour:
        last = sky.temps[-1]
        last.tmin_c, last.tmax_c = min(last.tmin_c, temp_c), max(last.tmax_c, temp_c)
        return
    sky.temps.append(Hour(hour=hour, tmin_c=temp_c, tmax_c=temp_c))
    del sky.temps[:-HOURS_KEPT]


def _rain_since(sky: SkyState, reading: WeatherReading) -> float:
    """Rain by one mast's counter; another takes over only where that one fell silent [mm]."""
    total_mm = reading.rain_mm_total
    if total_mm is None:
        return 0.0
    before_mm = sky.rain_totals_mm.get(reading.mast)
    sky.rain_totals_mm[reading.mast] = total_mm
    silent = reading.mono_s - sky.rain_mono_s > MAST_FRESH_S
    if not sky.rain_mast or (reading.mast != sky.rain_mast and silent):
        sky.rain_mast, before_mm = reading.mast, None
    if reading.mast != sky.rain_mast:
        return 0.0
    sky.rain_mono_s = reading.mono_s
    if before_mm is None:
        return 0.0
    fallen_mm = total_mm - before_mm
    return fallen_mm if 0.0 < fallen_mm <= RAIN_STEP_MOST_MM else 0.0


def mast_speaks(sky: SkyState, mono_s: float) -> bool:
    """Whether a mast said anything in the last two hours."""
    return sky.mono_s is not None and mono_s - sky.mono_s <= MAST_FRESH_S


def whole_day_c(sky: SkyState, mono_s: float) -> tuple[float, float] | None:
    """The same as `day_range_c`, None too where more than a quarter of the day was not told."""
    told = mast_speaks(sky, mono_s) and len(sky.temps) >= WHOLE_DAY_H
    return day_range_c(sky) if told else None


def day_range_c(sky: SkyState) -> tuple[float, float] | None:
    """Lowest and highest of the 24 hours up to a mast's last word [°C], None where none told it."""
    if not sky.temps:
        return None
    low_c, high_c = sky.temps[0].tmin_c, sky.temps[0].tmax_c
    for hour in sky.temps:  # asked at every step of the balance: one walk, no lists
        if hour.tmin_c < low_c:
            low_c = hour.tmin_c
        if hour.tmax_c > high_c:
            high_c = hour.tmax_c
    return low_c, high_c


def normal_eto_mm_d(garden: Garden, at_utc_s: float) -> float:
    """The month's usual ETo [mm/d]: the grower's, else assumed from the latitude."""
    told, day = garden.normals.eto_mm_d, int(at_utc_s // DAY_S)
    return _normal_mm_d(told, garden.garden.latitude, day)


@lru_cache(maxsize=8)  # asked for each bed, day by day
def _normal_mm_d(told_mm_d: tuple[float, ...] | None, latitude_deg: float, day: int) -> float:
    when = FIRST_DAY + timedelta(days=day)
    if told_mm_d is not None:
        return float(told_mm_d[when.month - 1])
    ra = extraterrestrial_radiation_mj_m2_d(latitude_deg, when.timetuple().tm_yday)
    return ASSUMED_ETO_SHARE * MM_PER_MJ_M2 * ra


def site_of(garden: Garden) -> Site:
    """Where the garden is."""
    info = garden.garden
    return _site(info.latitude, info.longitude, info.elevation_m)


@lru_cache(maxsize=8)
def _site(latitude_deg: float, longitude_deg: float, elevation_m: float) -> Site:
    return Site(latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=elevation_m)


def step_eto_mm(garden: Garden, site: Site, sky: SkyState, at_utc_s: float, mono_s: float) -> float:
    """Reference evapotranspiration of one grid step, by the best source that speaks.

    Args:
        garden: for the normals.
        site: for the sun.
        sky: what the mast told and what is foretold; `reckoned` is changed in place.
        at_utc_s: middle of the step [s, Unix].
        mono_s: now, for the age of the mast's word.

    Returns:
        ETo [mm over the ground], finite, 0 or more.
    """
    reckoned = sky.reckoned
    eto_mm = _mast_eto_mm(site, sky, at_utc_s, mono_s)
    if eto_mm is not None:
        assumed = [name for name in ASSUMED_WORDS if getattr(sky, name) is None]
        source = EtoSource.HALF_MAST if assumed else EtoSource.MAST
    else:
        assumed = []
        source, day_mm = day_without_mast(
            spans=foretold_by(sky),
            recent_mm_d=reckoned.recent_mm_d,
            monthly_mm_d=garden.normals.eto_mm_d,
            site=site,
            at_utc_s=at_utc_s,
        )
        if day_mm is None:
            day_mm = normal_eto_mm_d(garden, at_utc_s)
        eto_mm = day_mm * _daylight_share(site, at_utc_s)
    if source != reckoned.source or assumed != reckoned.assumed:
        reckoned.source, reckoned.assumed = source.value, assumed
        reckoned.eto_sd_frac = eto_sd_frac(source, assumed)
    keep(reckoned, source, eto_mm, site, at_utc_s)
    return eto_mm


def _mast_eto_mm(site: Site, sky: SkyState, at_utc_s: float, mono_s: float) -> float | None:
    """A step's ETo by the mast [mm], missing parts estimated; None where it tells too little."""
    ends, heard_s = day_range_c(sky), sky.mono_s
    if heard_s is None or mono_s - heard_s > MAST_FRESH_S or not ends or sky.temp_c is None:
        return None
    rate_mm_h = eto_rate_mm_h(
        at_utc_s=at_utc_s,
        site=site,
        temp_c=sky.temp_c,
        tmin_c=ends[0],
        tmax_c=ends[1],
        rh_pct=sky.rh_pct,
        solar_w_m2=sky.solar_w_m2,
        wind_m_s=sky.wind_m_s,
    )
    return rate_mm_h * GRID_S / 3600.0 if 0.0 <= rate_mm_h < math.inf else None


def _daylight_share(site: Site, at_utc_s: float) -> float:
    """The share of a day's sum in this grid step: a half sine over solar 6 h to 18 h."""
    solar_h = (at_utc_s / 3600.0 + site.longitude_deg / 15.0) % 24.0
    if not 6.0 < solar_h < 18.0:
        return 0.0
    step_h = GRID_S / 3600.0
    return math.pi / 24.0 * math.sin(math.pi * (solar_h - 6.0) / 12.0) * step_h


def day_degree_days(sky: SkyState, mono_s: float) -> float:
    """Degree-days of the last 24 hours [°C d], assumed where too few of them were told."""
    ends = whole_day_c(sky, mono_s)
    return ASSUMED_DEGREE_DAYS_D if ends is None else degree_days_capped(ends[0], ends[1])


def rain_expected_mm(sky: SkyState, at_utc_s: float) -> float:
    """Rain foretold for the next 24 h, amount times odds [mm]."""
    total_mm = 0.0
    for span in foretold_by(sky):
        length_s = span.hours * 3600.0
        first_s = max(span.from_utc_s, at_utc_s)
        last_s = min(span.from_utc_s + length_s, at_utc_s + RAIN_AHEAD_S)
        if last_s > first_s:
            total_mm += span.rain_mm * span.chance_frac * (last_s - first_s) / length_s
    return total_mm


def rains_expected(sky: SkyState, at_utc_s: float) -> tuple[tuple[float, float], ...]:
    """The spells of rain foretold for the next 24 h: what would fall in it [mm], and the odds."""
    found = []
    for span in foretold_by(sky):
        length_s = span.hours * 3600.0
        first_s = max(span.from_utc_s, at_utc_s)
        last_s = min(span.from_utc_s + length_s, at_utc_s + RAIN_AHEAD_S)
        if last_s > first_s and span.rain_mm > 0.0:
            found.append((span.rain_mm * (last_s - first_s) / length_s, span.chance_frac))
    return tuple(found)


def heat_expected(sky: SkyState, at_utc_s: float) -> bool:
    """Whether 35 °C or more are foretold within a day."""
    return any(
        span.tmax_c is not None
        and span.tmax_c >= HOT_C
        and span.from_utc_s < at_utc_s + RAIN_AHEAD_S
        and span.from_utc_s + span.hours * 3600.0 > at_utc_s
        for span in foretold_by(sky)
    )
