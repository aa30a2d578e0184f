"""Where the reference evapotranspiration of a step comes from, best first, and how sure it is.

1. `mast`: all of temperature, humidity, sun and wind are told (FAO-56's hourly form).
2. `half-mast`: the temperature is told; what is missing is estimated (FAO-56 ch. 3).
3. `outlook`: lowest and highest temperature are only foretold (Hargreaves, FAO-56 eq. 52).
4. `recent-mean`: the mean of the last seven days that sources 1 to 3 told, of three at least.
5. `normals`: the grower's table of months.
6. `latitude`: a share of the sun above the air, a mere guess.

The order is that of `controller.agronomy.eto_missing`, whose rules give 4 and 5. What a source
leaves unsure comes on top of what the filter takes for granted anyhow; the figures are our own
proposals: the scatter of a day's ETo around what each source makes of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum

from controller.agronomy.eto import hargreaves_mm_d
from controller.agronomy.eto_missing import RECENT_DAYS, Means, best_day_eto
from controller.agronomy.radiation import Site, extraterrestrial_radiation_mj_m2_d
from controller.events import OutlookSpan

BOUNDS: dict[str, tuple[float, float]] = {  # beyond them an instrument is broken: our own bounds
    "temp_c": (-45.0, 60.0),  # [°C]
    "rh_pct": (0.0, 105.0),  # [%] a little past full in fog
    "solar_w_m2": (0.0, 1500.0),  # [W/m2] the sun itself gives 1361 above the air
    "wind_m_s": (0.0, 75.0),  # [m/s]
}
FIELD_WORDS = {
    "temp_c": ("temperature", "°C"),
    "rh_pct": ("humidity", "%"),
    "solar_w_m2": ("sunshine", "W/m2"),
    "wind_m_s": ("wind", "m/s"),
}
ASSUMED_WORDS = {
    "wind_m_s": "wind is missing, 2 m/s taken",
    "rh_pct": "humidity is missing, the lowest temperature taken for the dew point",
    "solar_w_m2": "sunshine is missing, reckoned from the span of temperature",
}
LEAST_FORETOLD_H = 12.0  # [h] shorter spans do not tell a day's lowest and highest
HALF_DAY_S = 43_200.0
DAY_S = 86_400.0
DEGREE_S = 240.0  # the sun takes so long for a degree of longitude
DAY_STEPS = 144  # of ten minutes
FIRST_DAY = date(1970, 1, 1)


class EtoSource(StrEnum):
    """Where a step's reference evapotranspiration comes from, best first."""

    MAST = "mast"
    HALF_MAST = "half-mast"
    OUTLOOK = "outlook"
    RECENT_MEAN = "recent-mean"
    NORMALS = "normals"
    LATITUDE = "latitude"


KNOWN = frozenset({EtoSource.MAST, EtoSource.HALF_MAST, EtoSource.OUTLOOK})
SOURCE_SD_FRAC: dict[EtoSource, float] = {  # of a day's ETo, on top of the filter's own
    EtoSource.MAST: 0.0,
    EtoSource.HALF_MAST: 0.0,  # by what is missing
    EtoSource.OUTLOOK: 0.25,
    EtoSource.RECENT_MEAN: 0.30,
    EtoSource.NORMALS: 0.35,
    EtoSource.LATITUDE: 0.50,
}
# What the filter takes for unexplained use was found by trial in seasons whose masts tell
# temperature and wind, but no sun and little humidity: for these two nothing comes on top.
MISSING_SD_FRAC = {"wind_m_s": 0.08, "rh_pct": 0.0, "solar_w_m2": 0.0}
SOURCE_WORDS: dict[EtoSource, str] = {
    EtoSource.MAST: "Water use is reckoned from the weather instruments",
    EtoSource.HALF_MAST: "Water use is reckoned from the weather instruments",
    EtoSource.OUTLOOK: "No instrument tells the temperature; water use is reckoned from the one "
    "foretold",
    EtoSource.RECENT_MEAN: "No instrument tells the temperature and none is foretold; the mean use "
    "of the last known days is taken",
    EtoSource.NORMALS: "No instrument tells the temperature and none is foretold; the garden "
    "file's usual use of the month is taken",
    EtoSource.LATITUDE: "No instrument tells the temperature, none is foretold and the garden file "
    "has no normals; water use is guessed from the latitude",
}


@dataclass(slots=True, kw_only=True)
class Reckoned:
    """How the last step's ETo was come by, and the days that were known."""

    source: str = ""  # an `EtoSource`; empty before the first step
    assumed: list[str] = field(default_factory=list)  # fields of the mast that were estimated
    eto_sd_frac: float = 0.0  # of a day's ETo, beyond what the filter takes for granted
    refused: dict[str, float] = field(default_factory=dict)  # impossible values, by field
    day: int = 0  # days since 1970 by the sun of the place
    today_mm: float = 0.0  # of sources 1 to 3
    today_steps: int = 0
    recent_mm_d: list[float | None] = field(default_factory=list)  # None: a day not known


def possible(name: str, value: float) -> bool:
    """Whether an instrument that works could tell this value of this field."""
    low, high = BOUNDS[name]
    return low <= value <= high


def eto_sd_frac(source: EtoSource, assumed: Sequence[str] = ()) -> float:
    """How far a day's ETo from this source may be off, beyond what the filter takes for granted.

    Args:
        source: which.
        assumed: the fields of a half mast that were estimated.

    Returns:
        Standard deviation as a fraction of the day's ETo, 0…1. Our own proposals.
    """
    if source is EtoSource.HALF_MAST:
        return math.sqrt(sum(MISSING_SD_FRAC[name] ** 2 for name in assumed))
    return SOURCE_SD_FRAC[source]


def foretold_range_c(spans: Sequence[OutlookSpan], at_utc_s: float) -> tuple[float, float] | None:
    """Lowest and highest temperature foretold for the 24 hours around an instant.

    Args:
        spans: the outlook.
        at_utc_s: the instant [s, Unix].

    Returns:
        Both [°C]; None where no span holds the instant, they are too short to tell a day, or what
        they tell is impossible.
    """
    low_c, high_c, hours, holds = math.inf, -math.inf, 0.0, False
    for span in spans:
        ends_utc_s = span.from_utc_s + 3600.0 * span.hours
        if span.tmin_c is None or span.tmax_c is None or ends_utc_s <= at_utc_s - HALF_DAY_S:
            continue
        if span.from_utc_s >= at_utc_s + HALF_DAY_S:
            continue
        low_c, high_c = min(low_c, span.tmin_c), max(high_c, span.tmax_c)
        hours += span.hours
        holds = holds or span.from_utc_s <= at_utc_s < ends_utc_s
    if not holds or hours < LEAST_FORETOLD_H or low_c > high_c:
        return None
    return (low_c, high_c) if possible("temp_c", low_c) and possible("temp_c", high_c) else None


def day_without_mast(
    *,
    spans: Sequence[OutlookSpan],
    recent_mm_d: Sequence[float | None],
    monthly_mm_d: Sequence[float] | None,
    site: Site,
    at_utc_s: float,
) -> tuple[EtoSource, float | None]:
    """A day's ETo where no mast tells the temperature: sources 3 to 6.

    Args:
        spans: the outlook.
        recent_mm_d: the days before, newest last [mm/d].
        monthly_mm_d: the grower's twelve [mm/d].
        site: the place.
        at_utc_s: an instant of the day [s, Unix].

    Returns:
        The source and its ETo [mm/d], 0 or more; None for the latitude's guess, which is not made
        here.
    """
    when = FIRST_DAY + timedelta(days=int(at_utc_s // DAY_S))
    day_of_year = when.timetuple().tm_yday
    ends_c = foretold_range_c(spans, at_utc_s)
    if ends_c is not None:
        ra = extraterrestrial_radiation_mj_m2_d(site.latitude_deg, day_of_year)
        told_mm_d = hargreaves_mm_d(tmin_c=ends_c[0], tmax_c=ends_c[1], ra_mj_m2_d=ra)
        return EtoSource.OUTLOOK, told_mm_d
    found = best_day_eto(
        weather=None,
        site=site,
        day_of_year=day_of_year,
        month=when.month,
        recent_mm_d=[one for one in recent_mm_d if one is not None],
        monthly_mm_d=monthly_mm_d,
    )
    if found is None:
        return EtoSource.LATITUDE, None
    recent = found.means is Means.RECENT_MEAN
    return (EtoSource.RECENT_MEAN if recent else EtoSource.NORMALS), found.eto_mm_d


def keep(reckoned: Reckoned, source: EtoSource, eto_mm: float, site: Site, at_utc_s: float) -> None:
    """Add a step to its day, by the sun of the place; a day known in part is no known day.

    Args:
        reckoned: changed in place.
        source: of the step.
        eto_mm: the step's ETo [mm].
        site: for the day's ends.
        at_utc_s: middle of the step [s, Unix].
    """
    day = int((at_utc_s + DEGREE_S * site.longitude_deg) // DAY_S)
    if day != reckoned.day:
        _end_day(reckoned, day)
    if source in KNOWN:
        reckoned.today_mm += eto_mm
        reckoned.today_steps += 1


def _end_day(reckoned: Reckoned, day: int) -> None:
    if reckoned.day:
        whole = reckoned.today_steps >= DAY_STEPS
        reckoned.recent_mm_d.append(reckoned.today_mm if whole else None)
        lost = min(RECENT_DAYS, max(0, day - reckoned.day - 1))  # days without a step
        reckoned.recent_mm_d.extend([None] * lost)
        del reckoned.recent_mm_d[:-RECENT_DAYS]
    reckoned.day, reckoned.today_mm, reckoned.today_steps = day, 0.0, 0


def source_sentence(reckoned: Reckoned) -> str:
    """Where the water use comes from, and what was assumed or left out; empty before a step."""
    if not reckoned.source:
        return ""
    said = [SOURCE_WORDS[EtoSource(reckoned.source)]]
    said += [ASSUMED_WORDS[name] for name in reckoned.assumed]
    sentences = ["; ".join(said) + "."]
    for name, value in reckoned.refused.items():
        word, unit = FIELD_WORDS[name]
        sentences.append(
            f"The weather instruments tell a {word} of {value:g} {unit}: impossible, left out."
        )
    return " ".join(sentences)
