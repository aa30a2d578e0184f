"""The Seattle season of 2015 against numbers worked out beforehand from the same open data.

Source: file `seattle-weather.csv` of vega-datasets 0.9.0 (US government data). April to October
2015: rain 301 mm, longest run of days with at most 1 mm of rain 54, ETo (FAO-56, radiation from
temperature) 712 mm; the tolerance of 1 % covers the unwritten height of the wind instrument.
"""

from __future__ import annotations

import importlib.util

import pytest

from sim.weather import Season, load_season
from tests.printed import assert_ours

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("vega_datasets") is None, reason="the extra `seasons` is not installed"
)


@pytest.fixture(scope="module")
def season() -> Season:
    return load_season(
        "seattle-2015",
        latitude_deg=47.6,
        longitude_deg=-122.3,
        elevation_m=60.0,
        timezone="America/Los_Angeles",
    )


def test_rain_from_april_to_october(season: Season) -> None:
    days = [day for day in season.daily if 4 <= day.date.month <= 10]
    rain_mm = sum(day.rain_mm for day in days)
    assert rain_mm == pytest.approx(301.0, abs=0.5)
    assert_ours("rain, Seattle, April to October 2015", rain_mm)


def test_the_longest_dry_run(season: Season) -> None:
    longest = run = 0
    for day in season.daily:
        if 4 <= day.date.month <= 10:
            run = 0 if day.rain_mm > 1.0 else run + 1
            longest = max(longest, run)
    assert longest == 54


def test_reference_evapotranspiration_from_april_to_october(season: Season) -> None:
    days = [day for day in season.daily if 4 <= day.date.month <= 10]
    eto_mm = sum(day.eto_mm for day in days)
    assert eto_mm == pytest.approx(712.0, rel=0.01)
    assert_ours("ETo, Seattle, April to October 2015", eto_mm)


def test_only_what_the_file_has_is_reported(season: Season) -> None:
    assert season.reported == {"temp_c", "rain_mm", "wind_m_s"}
    assert len(season.estimated) == 2
    assert len(season.daily) == 365


@pytest.mark.parametrize("year", [2012, 2013, 2014, 2015])
def test_every_year_loads(year: int) -> None:
    season = load_season(
        f"seattle-{year}", latitude_deg=47.6, longitude_deg=-122.3, elevation_m=60.0, timezone="UTC"
    )
    assert {day.date.year for day in season.daily} == {year}
