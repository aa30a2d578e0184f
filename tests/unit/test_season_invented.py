"""Invented seasons: names, seeds, the demo's year as it always was."""

from __future__ import annotations

import hashlib
from datetime import date

import pytest

from controller.errors import SeasonError
from sim.season_climates import DENMARK, SEATTLE
from sim.season_generator import course, generate, wet_share
from sim.season_invented import invent
from sim.season_types import DayRow, Place
from sim.weather import load_season

NORTH = Place(
    latitude_deg=47.6, longitude_deg=-122.3, elevation_m=60.0, timezone="America/Los_Angeles"
)
SOUTH = Place(
    latitude_deg=-38.0, longitude_deg=145.0, elevation_m=60.0, timezone="Australia/Melbourne"
)


def july_c(rows: tuple[DayRow, ...]) -> float:
    inside = [(row.tmin_c + row.tmax_c) / 2.0 for row in rows if row.date.month == 7]
    return sum(inside) / len(inside)


def test_the_demos_year_is_the_one_it_always_was() -> None:
    """All numbers of the 365 days; the sum was taken before the other climates were fitted."""
    told = "\n".join(
        f"{r.date} {r.tmin_c} {r.tmax_c} {r.rain_mm} {r.rh_mean_pct} {r.solar_mj_m2} {r.wind_m_s}"
        for r in invent("invented-demo", NORTH)
    )
    assert hashlib.sha256(told.encode()).hexdigest()[:16] == "af23bda830a093b9"


def test_another_seed_is_another_year_and_always_the_same() -> None:
    assert invent("invented-dry:7", NORTH) == invent("invented-dry:7", NORTH)
    assert invent("invented-dry:7", NORTH) != invent("invented-dry:8", NORTH)
    assert invent("invented-dry:17", NORTH) == invent("invented-dry", NORTH)
    assert invent("invented-wet:11", NORTH) == invent("invented-wet", NORTH)


def test_a_seed_is_part_of_a_seasons_name() -> None:
    season = load_season(
        "invented-wet:7",
        latitude_deg=47.6,
        longitude_deg=-122.3,
        elevation_m=60.0,
        timezone="America/Los_Angeles",
    )
    assert season.source == "invented-wet:7"
    assert season.daily[0].date == date(2025, 1, 1)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        pytest.param("invented-dry:", "'' is no seed", id="empty"),
        pytest.param("invented-dry:-1", "'-1' is no seed", id="negative"),
        pytest.param("invented-wet:x", "'x' is no seed; a whole number from 0", id="word"),
        pytest.param("invented-dry:1.5", "'1.5' is no seed", id="fraction"),
        pytest.param("invented-demo:2", "one year only", id="demo"),
    ],
)
def test_what_is_no_seed_is_refused(name: str, said: str) -> None:
    with pytest.raises(SeasonError, match=said):
        invent(name, NORTH)


def test_summer_is_in_january_south_of_the_equator() -> None:
    north, south = invent("invented-dry", NORTH), invent("invented-dry", SOUTH)
    assert july_c(north) > 17.0
    assert july_c(south) < 9.0


@pytest.mark.parametrize("climate", [SEATTLE, DENMARK], ids=["seattle", "denmark"])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_every_day_is_weather(climate: object, seed: int) -> None:
    rows = generate(climate, seed, NORTH, 2025)  # type: ignore[arg-type]
    assert len(rows) == 365
    for row in rows:
        assert row.tmin_c < row.tmax_c <= row.tmin_c + 22.1
        assert row.rain_mm == 0.0 or row.rain_mm >= 0.2
        assert row.rh_mean_pct is not None
        assert 10.0 < row.rh_mean_pct <= 100.0
        assert row.solar_mj_m2 is not None
        assert 0.0 < row.solar_mj_m2 < 33.0


def test_a_monthly_mean_runs_straight_between_the_middles_of_months() -> None:
    table = tuple(float(n) for n in range(12))
    assert course(table, date(2025, 3, 15)) == pytest.approx(2.0, abs=0.02)
    assert course(table, date(2025, 3, 31)) == pytest.approx(2.5, abs=0.02)
    assert course(table, date(2025, 1, 1)) == pytest.approx(5.25, abs=0.1)


def test_the_chain_comes_to_its_share_of_wet_days() -> None:
    """Seattle's January: 0.32 after dry, 0.73 after wet: 0.32 / (1 - 0.73 + 0.32) = 0.542."""
    assert wet_share(SEATTLE, 0) == pytest.approx(0.542, abs=0.001)
