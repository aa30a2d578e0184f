"""Seasons that cross the New Year: a garden south of the equator is replayed as its file says."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import SeasonError
from controller.garden import Garden, garden_of_json, load_garden
from sim.examples import find_garden
from sim.garden_world import in_year, moved_to
from sim.growing_year import day_of, growing_year
from sim.season_run import prepare
from sim.season_types import Season
from sim.weather import load_season, season_span
from sim.winter.fitting.spans import span_within

ZONE = "Australia/Melbourne"
OCTOBER, MARCH = date(2030, 10, 20), date(2031, 3, 20)
Beds = dict[str, tuple[date, date | None]]


def garden(beds: Beds, latitude: float = -38.0) -> Garden:
    """The example garden with these beds alone, planted and cleared then."""
    found: Garden = load_garden(find_garden("hollin-lane"))
    info = found.garden.model_copy(
        update={"latitude": latitude, "longitude": 145.0, "timezone": ZONE}
    )
    some = {
        name: found.beds[name].model_copy(update={"transplanted": planted, "cleared": cleared})
        for name, (planted, cleared) in beds.items()
    }
    made: Garden = found.model_copy(update={"garden": info, "beds": some})
    return made


def weather(
    place: Path, first: date, last: date, frost: tuple[date, ...] = (), latitude: float = -38.0
) -> Season:
    rows = ["date,tmin_c,tmax_c,rain_mm"]
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        rows.append(f"{day},{0 if day in frost else 8},24,{n % 3}")
    path = place / "weather.csv"
    path.write_text("\n".join(rows), encoding="utf-8")
    return load_season(
        str(path), latitude_deg=latitude, longitude_deg=145.0, elevation_m=60.0, timezone=ZONE
    )


@pytest.fixture(scope="module")
def two_years(tmp_path_factory: pytest.TempPathFactory) -> Season:
    return weather(tmp_path_factory.mktemp("two"), date(2015, 1, 1), date(2016, 12, 31))


@pytest.mark.parametrize(
    ("day", "north", "south"),
    [
        (date(2025, 1, 1), 2025, 2024),
        (date(2025, 6, 30), 2025, 2024),
        (date(2025, 7, 1), 2025, 2025),
        (date(2025, 12, 31), 2025, 2025),
    ],
)
def test_a_growing_year_begins_in_winter(day: date, north: int, south: int) -> None:
    assert (growing_year(day, 47.6), growing_year(day, -38.0)) == (north, south)


def test_a_southern_day_is_half_a_year_later() -> None:
    told = [day_of(day, 2025, -38.0) for day in ((1, 1), (5, 9), (8, 1), (11, 1))]
    assert told == [date(2025, 7, 1), date(2025, 11, 9), date(2026, 2, 1), date(2026, 5, 1)]
    assert day_of((8, 1), 2025, 0.0) == date(2025, 8, 1)


def test_a_bed_is_cleared_as_long_after_its_planting_as_ever(two_years: Season) -> None:
    replay = prepare(garden({"south": (OCTOBER, MARCH)}), two_years, sure=True)
    bed = replay.garden.beds["south"]
    assert (bed.transplanted, bed.cleared) == (date(2015, 10, 20), date(2016, 3, 20))
    assert (replay.span.first, replay.span.last) == (bed.transplanted, bed.cleared)


def test_a_bed_across_the_new_year_is_the_same_north_of_the_equator(two_years: Season) -> None:
    north = garden({"south": (date(2030, 11, 20), date(2031, 4, 1))}, latitude=20.0)
    replay = prepare(north, two_years, sure=True)
    assert replay.garden.beds["south"].cleared == date(2016, 4, 1)
    assert replay.span.last == date(2016, 4, 1)


def test_beds_of_one_summer_stay_in_one_summer(two_years: Season) -> None:
    """January's comes after October's, and one whose day is a year old still grows with them."""
    told = garden(
        {
            "south": (OCTOBER, None),
            "wall": (date(2031, 1, 10), None),
            "low": (date(2029, 11, 5), date(2030, 3, 1)),
        }
    )
    beds = prepare(told, two_years, sure=True).garden.beds
    assert [bed.transplanted for bed in beds.values()] == [
        date(2015, 10, 20),
        date(2016, 1, 10),
        date(2015, 11, 5),
    ]
    assert beds["low"].cleared == date(2016, 3, 1)


@pytest.mark.parametrize(
    ("frost", "end"),
    [
        pytest.param((), date(2016, 4, 30), id="no-frost"),
        pytest.param((date(2016, 4, 12),), date(2016, 4, 11), id="april"),
        pytest.param((date(2015, 12, 2), date(2016, 2, 1)), date(2016, 4, 30), id="summer"),
    ],
)
@pytest.mark.parametrize("planted", [OCTOBER, date(2030, 11, 5), date(2031, 1, 10)])
def test_without_a_last_day_a_southern_season_ends_in_its_own_autumn(
    tmp_path: Path, planted: date, frost: tuple[date, ...], end: date
) -> None:
    season = weather(tmp_path, date(2015, 7, 1), date(2016, 6, 30), frost)
    replay = prepare(garden({"south": (planted, None)}), season, sure=True)
    year = 2015 if planted.year == 2030 else 2016
    assert (replay.span.first, replay.span.last) == (in_year(planted, year), end)


def test_weather_that_ends_with_the_calendar_year_is_too_short(tmp_path: Path) -> None:
    season = weather(tmp_path, date(2015, 1, 1), date(2015, 12, 31))
    with pytest.raises(SeasonError, match="season asked for is 2015-10-20 to 2016-04-30"):
        prepare(garden({"south": (OCTOBER, None)}), season, sure=True)


@pytest.mark.parametrize("name", ["invented-dry", "invented-wet", "invented-demo"])
def test_an_invented_southern_season_holds_a_whole_summer(name: str) -> None:
    replay = prepare(garden({"south": (OCTOBER, None)}), name, sure=True)
    days = replay.season.daily
    assert (days[0].date, days[-1].date) == (date(2025, 7, 1), date(2026, 6, 30))
    assert replay.span.first == date(2025, 10, 20)
    assert date(2026, 2, 1) <= replay.span.last <= date(2026, 4, 30)
    january = [day.tmax_c for day in days if day.date.month == 1]
    july = [day.tmax_c for day in days if day.date.month == 7]
    assert sum(january) / 31 > sum(july) / 31 + 8.0


def test_picks_after_the_new_year_come_after_it(two_years: Season) -> None:
    picks = {"south": (date(2031, 1, 15), date(2030, 12, 1))}
    replay = prepare(garden({"south": (OCTOBER, None)}), two_years, sure=True, picks=picks)
    assert replay.picks["south"] == (date(2015, 12, 1), date(2016, 1, 15))


def test_a_season_that_begins_after_the_planting_day_takes_the_next_year(tmp_path: Path) -> None:
    """The beds are planted on the first day that is lived, not a year before."""
    season = weather(tmp_path, date(2015, 6, 1), date(2016, 12, 31), latitude=47.6)
    north = garden({"south": (date(2026, 5, 9), None)}, latitude=47.6)
    replay = prepare(north, season, sure=True)
    assert replay.garden.beds["south"].transplanted == replay.span.first == date(2016, 5, 9)


@given(
    planted=st.dates(date(2025, 1, 1), date(2025, 12, 30)),
    days=st.none() | st.integers(1, 364),
    year=st.integers(1998, 2026),
)
def test_north_of_the_equator_days_of_one_year_move_by_month_and_day(
    planted: date, days: int | None, year: int
) -> None:
    ends = date(2025, 12, 31)
    cleared = None if days is None else min(ends, planted + timedelta(days=days))
    bed = moved_to(garden({"south": (planted, cleared)}, latitude=47.6), year).beds["south"]
    assert bed.transplanted == in_year(planted, year)
    assert bed.cleared == (None if cleared is None else in_year(cleared, year))


@pytest.mark.parametrize(
    ("first", "last", "begins"),
    [
        pytest.param(date(2031, 1, 5), date(2031, 4, 1), date(2031, 1, 5), id="since-new-year"),
        pytest.param(date(2030, 2, 1), date(2031, 4, 1), OCTOBER, id="since-the-summer-before"),
        pytest.param(date(2030, 10, 1), date(2030, 12, 20), OCTOBER, id="until-now"),
    ],
)
def test_a_record_of_the_gardens_own_summer_keeps_its_own_days(
    tmp_path: Path, first: date, last: date, begins: date
) -> None:
    moved, span = span_within(garden({"south": (OCTOBER, MARCH)}), weather(tmp_path, first, last))
    assert (moved.beds["south"].transplanted, moved.beds["south"].cleared) == (OCTOBER, MARCH)
    assert (span.first, span.last) == (begins, last)


def test_a_record_of_another_summer_moves_the_garden_there(two_years: Season) -> None:
    moved, span = span_within(garden({"south": (OCTOBER, MARCH)}), two_years)
    assert moved.beds["south"].cleared == date(2016, 3, 20)
    assert span.first == date(2015, 10, 20)


def test_a_span_asked_for_apart_ends_as_long_after(two_years: Season) -> None:
    asked = season_span(two_years, OCTOBER, MARCH, ZONE)
    assert asked == (date(2015, 10, 20), date(2016, 3, 20))


def test_a_record_with_a_bed_cleared_when_planted_can_still_be_read() -> None:
    """The file is refused for it (`test_garden_faults`); a record that holds one is not lost."""
    kept = garden({"south": (OCTOBER, OCTOBER)})
    assert garden_of_json(kept.model_dump_json()).beds["south"].cleared == OCTOBER
