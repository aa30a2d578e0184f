"""The invented seasons against the stations whose statistics they have.

Thirty generated years (seeds 0 to 29) against the station's own years, April to October: Seattle
2012-15 for `invented-dry`, the Danish station 1998-2018 for `invented-wet`. Each tolerance is
about twice the standard error of the station's mean, or what the method is known to miss: chains of
first order make the longest dry spells too short (here by up to half), and years differ from each
other by chance alone.
"""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Iterator, Sequence
from dataclasses import fields
from functools import cache

import pytest

from controller.agronomy.eto import DailyWeather, Site, eto_daily
from sim.season_climates import DENMARK, SEATTLE
from sim.season_fit import Climate, fit, is_wet
from sim.season_generator import generate
from sim.season_invented import invent
from sim.season_open import RECORDS, open_record
from sim.season_types import DayRow, Place

pytestmark = pytest.mark.skipif(
    any(importlib.util.find_spec(package) is None for package in ("vega_datasets", "edcrop")),
    reason="the extra `seasons` is not installed",
)
CLIMATES = {"seattle": SEATTLE, "danish": DENMARK}
SEEDS = range(30)


@cache
def years(station: str) -> tuple[tuple[DayRow, ...], ...]:
    return tuple(open_record(name).days for name in RECORDS if name.startswith(station))


def place(station: str) -> Place:
    found = open_record(next(name for name in RECORDS if name.startswith(station))).station
    assert found is not None
    return found


@cache
def generated(station: str) -> tuple[tuple[DayRow, ...], ...]:
    return tuple(generate(CLIMATES[station], seed, place(station), 2025) for seed in SEEDS)


def growing(rows: Sequence[DayRow]) -> list[DayRow]:
    return [row for row in rows if 4 <= row.date.month <= 10]


def mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def rain_mm(rows: Sequence[DayRow]) -> float:
    return sum(row.rain_mm for row in growing(rows))


def wet_days(rows: Sequence[DayRow]) -> float:
    return sum(is_wet(row) for row in growing(rows))


def summer_rain_mm(rows: Sequence[DayRow]) -> float:
    return sum(row.rain_mm for row in rows if 6 <= row.date.month <= 8)


def longest_dry_d(rows: Sequence[DayRow]) -> float:
    longest = run = 0
    for row in growing(rows):
        run = 0 if row.rain_mm > 1.0 else run + 1
        longest = max(longest, run)
    return longest


def mean_c(rows: Sequence[DayRow]) -> float:
    return mean([(row.tmin_c + row.tmax_c) / 2.0 for row in growing(rows)])


def width_c(rows: Sequence[DayRow]) -> float:
    return mean([row.tmax_c - row.tmin_c for row in growing(rows)])


def eto_mm(rows: Sequence[DayRow], here: Place) -> float:
    site = Site(
        latitude_deg=here.latitude_deg,
        longitude_deg=here.longitude_deg,
        elevation_m=here.elevation_m,
    )
    return sum(_eto_mm(row, site) for row in growing(rows))


def _eto_mm(row: DayRow, site: Site) -> float:
    if row.eto_mm is not None:
        return row.eto_mm
    weather = DailyWeather(
        tmin_c=row.tmin_c,
        tmax_c=row.tmax_c,
        rh_mean_pct=row.rh_mean_pct,
        solar_mj_m2_d=row.solar_mj_m2,
        wind_m_s=row.wind_m_s,
    )
    return eto_daily(weather, site, row.date.timetuple().tm_yday).eto_mm_d


def numbers(climate: Climate) -> Iterator[tuple[str, float]]:
    for field in fields(climate):
        value = getattr(climate, field.name)
        for n, number in enumerate(value if isinstance(value, tuple) else (value,)):
            yield f"{field.name}[{n}]", number


@pytest.mark.parametrize("station", CLIMATES)
def test_the_numbers_are_those_of_the_station(station: str) -> None:
    """Fitted anew from the file; the table is rounded to 0.01."""
    rows = [row for year in years(station) for row in year]
    fitted = dict(numbers(fit(rows)))
    for name, number in numbers(CLIMATES[station]):
        assert number == pytest.approx(fitted[name], abs=0.0051), name


@pytest.mark.parametrize("station", CLIMATES)
def test_rain_of_the_growing_season_agrees(station: str) -> None:
    told, made = years(station), generated(station)
    assert mean([rain_mm(y) for y in made]) == pytest.approx(
        mean([rain_mm(y) for y in told]), rel=0.08
    )
    assert mean([wet_days(y) for y in made]) == pytest.approx(
        mean([wet_days(y) for y in told]), rel=0.06
    )
    assert mean([summer_rain_mm(y) for y in made]) == pytest.approx(
        mean([summer_rain_mm(y) for y in told]), rel=0.25
    )


@pytest.mark.parametrize("station", CLIMATES)
def test_rain_of_years_spreads_as_much(station: str) -> None:
    """Standard deviation of a season's rain within a third of the station's."""

    def spread(rows: Sequence[Sequence[DayRow]]) -> float:
        totals = [rain_mm(y) for y in rows]
        return math.sqrt(mean([(t - mean(totals)) ** 2 for t in totals]))

    assert spread(generated(station)) == pytest.approx(spread(years(station)), rel=0.34)


@pytest.mark.slow
@pytest.mark.parametrize("station", CLIMATES)
def test_dry_spells_are_shorter_by_no_more_than_half(station: str) -> None:
    told = mean([longest_dry_d(y) for y in years(station)])
    made = mean([longest_dry_d(y) for y in generated(station)])
    assert 0.5 * told < made < 1.1 * told


@pytest.mark.parametrize("station", CLIMATES)
def test_temperature_and_reference_et_agree(station: str) -> None:
    told, made, here = years(station), generated(station), place(station)
    assert mean([mean_c(y) for y in made]) == pytest.approx(
        mean([mean_c(y) for y in told]), abs=0.4
    )
    assert mean([width_c(y) for y in made]) == pytest.approx(
        mean([width_c(y) for y in told]), abs=0.5
    )
    assert mean([eto_mm(y, here) for y in made]) == pytest.approx(
        mean([eto_mm(y, here) for y in told]), rel=0.05
    )


def test_the_named_years_lie_within_what_their_station_had() -> None:
    """Rain April-October: Seattle 301 to 499 mm in 2012-15, Denmark 350 to 680 in 1998-2018."""
    assert 301.0 <= rain_mm(invent("invented-dry", place("seattle"))) <= 417.0
    assert 542.0 <= rain_mm(invent("invented-wet", place("danish"))) <= 680.0
