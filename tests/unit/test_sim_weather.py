"""Seasons: forms of files, what is refused, how days become hours, which days a garden gets."""

from __future__ import annotations

import importlib.util
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from controller.errors import SeasonError
from sim.weather import Season, load_season, season_span

ZONE = "America/Los_Angeles"
DAILY = "date,tmin_c,tmax_c,rh_mean_pct,rain_mm,solar_mj_m2,wind_m_s"
HOURLY = "time_utc,temp_c,rh_pct,rain_mm,solar_w_m2,wind_m_s"


def load(name: str | Path, timezone: str = ZONE) -> Season:
    return load_season(
        str(name), latitude_deg=47.6, longitude_deg=-122.3, elevation_m=60.0, timezone=timezone
    )


def written(folder: Path, text: str) -> Path:
    path = folder / "season.csv"
    path.write_text(text, encoding="utf-8")
    return path


def daily_file(folder: Path, days: int = 20, first: date = date(2015, 5, 1)) -> Path:
    rows = [
        f"{first + timedelta(days=n)},{8 + n % 3},{20 + n % 5},60,{4.5 if n % 4 == 1 else 0},20.0,2"
        for n in range(days)
    ]
    return written(folder, "\n".join([DAILY, *rows]))


def hourly_rows(count: int = 72, rain: str = "0") -> list[str]:
    """Hours of a garden at 122 degrees west: it is light from 14 to 2 UTC."""
    return [
        f"2015-05-{1 + n // 24:02d}T{n % 24:02d}:00Z,{10 + n % 24 / 2},70,{rain},"
        f"{0 if 3 <= n % 24 <= 13 else 100},1.5"
        for n in range(count)
    ]


def test_a_daily_file_keeps_its_totals_when_spread_over_hours(tmp_path: Path) -> None:
    season = load(daily_file(tmp_path))
    assert len(season.hours) == 20 * 24
    for number, day in enumerate(season.daily):
        inside = season.hours[24 * number : 24 * number + 24]
        assert sum(h.rain_mm for h in inside) == pytest.approx(4.5 if number % 4 == 1 else 0.0)
        assert sum(h.solar_w_m2 for h in inside) * 0.0036 == pytest.approx(20.0)
        assert day.rain_mm == pytest.approx(4.5 if number % 4 == 1 else 0.0)


def test_temperature_of_the_hours_reaches_the_days_extremes(tmp_path: Path) -> None:
    season = load(daily_file(tmp_path))
    for number in range(1, 19):
        inside = [h.temp_c for h in season.hours[24 * number : 24 * number + 24]]
        assert min(inside) == pytest.approx(season.daily[number].tmin_c, abs=0.3)
        assert max(inside) == pytest.approx(season.daily[number].tmax_c, abs=0.3)
        assert inside.index(min(inside)) in {4, 5, 6}
        assert inside.index(max(inside)) in {15, 16}


def test_rain_of_a_day_falls_in_hours_on_end_and_always_the_same(tmp_path: Path) -> None:
    first = load(daily_file(tmp_path))
    second = load(daily_file(tmp_path))
    assert first == second
    wet = [n for n, h in enumerate(first.hours[24:48]) if h.rain_mm > 0.0]
    assert wet == list(range(wet[0], wet[-1] + 1))
    assert len(wet) == 2


def test_hours_run_on_through_a_clock_change(tmp_path: Path) -> None:
    season = load(daily_file(tmp_path, days=5, first=date(2015, 3, 6)))
    at = [h.at_utc_s for h in season.hours]
    assert len(at) == 5 * 24 - 1
    assert all(b - a == 3600.0 for a, b in pairwise(at))
    assert season.daily[3].start_utc_s - season.daily[2].start_utc_s == 23 * 3600.0


def test_an_hourly_file_is_cut_to_whole_local_days(tmp_path: Path) -> None:
    season = load(written(tmp_path, "\n".join([HOURLY, *hourly_rows(72)])))
    assert [day.date for day in season.daily] == [date(2015, 5, 1), date(2015, 5, 2)]
    assert len(season.hours) == 48
    assert season.reported == {"temp_c", "rh_pct", "rain_mm", "solar_w_m2", "wind_m_s"}
    assert season.estimated == ()


def test_what_a_file_lacks_is_filled_and_said(tmp_path: Path) -> None:
    rows = [",".join(row.split(",")[:2]) + ",0" for row in hourly_rows(48)]
    season = load(written(tmp_path, "\n".join(["time_utc,temp_c,rain_mm", *rows])), "UTC")
    assert season.reported == {"temp_c", "rain_mm"}
    assert [text.split(":")[0] for text in season.estimated] == ["humidity", "radiation", "wind"]
    assert all("48 of 48 hours" in text for text in season.estimated)
    assert {h.wind_m_s for h in season.hours} == {2.0}
    assert min(h.temp_c for h in season.hours) == 10.0
    assert max(h.rh_pct for h in season.hours) == 100.0


def test_dew_point_becomes_humidity(tmp_path: Path) -> None:
    """FAO-56 Annex 2, Table 2.3: e0(20 °C) = 2.338 kPa, e0(10 °C) = 1.228 kPa: 52.5 %."""
    rows = [f"2015-05-01T{n:02d}:00Z,20,10,0" for n in range(24)]
    text = "\n".join(["time_utc,temp_c,dew_point_c,rain_mm", *rows])
    season = load(written(tmp_path, text), "UTC")
    assert season.hours[3].rh_pct == pytest.approx(52.5, abs=0.05)


def test_wind_height_on_top_brings_wind_down(tmp_path: Path) -> None:
    """FAO-56 example 14: 3.2 m/s at 10 m is 2.4 m/s at 2 m."""
    rows = [row.replace(",1.5", ",3.2") for row in hourly_rows(24)]
    text = "\n".join(["# wind_height_m = 10", "# made for a test", HOURLY, *rows])
    season = load(written(tmp_path, text), "UTC")
    assert season.hours[0].wind_m_s == pytest.approx(2.4, abs=0.05)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        pytest.param("2015-05-03,8,72,60,0,20,2", "tmax_c is 72.*Fahrenheit", id="fahrenheit"),
        pytest.param("2015-05-03,21,20,60,0,20,2", "above tmax_c", id="swapped"),
        pytest.param("2015-05-03,nan,20,60,0,20,2", "tmin_c is nan", id="nan"),
        pytest.param("2015-05-03,8,inf,60,0,20,2", "tmax_c is inf", id="infinite"),
        pytest.param("2015-05-03,8,20,60,-1,20,2", "rain_mm is -1", id="negative-rain"),
        pytest.param("2015-05-03,8,20,60,,20,2", "rain_mm is empty", id="no-rain"),
        pytest.param("2015-05-03,8,20,600,0,20,2", "rh_mean_pct is 600", id="humidity"),
        pytest.param("2015-05-03,8,20,60,0,400,2", "MJ/m2 a day", id="radiation-in-watts"),
        pytest.param("2015-05-03,8,warm,60,0,20,2", "tmax_c is 'warm'", id="word"),
        pytest.param("2015-05-02,8,20,60,0,20,2", "same day", id="double"),
        pytest.param("2015-05-05,8,20,60,0,20,2", "2 days are missing", id="gap"),
        pytest.param("2015-04-30,8,20,60,0,20,2", "earlier", id="backwards"),
        pytest.param("03.05.2015,8,20,60,0,20,2", "date is", id="date-form"),
    ],
)
def test_a_row_that_is_no_weather_is_refused_by_its_number(
    tmp_path: Path, row: str, said: str
) -> None:
    good = ["2015-05-01,8,20,60,0,20,2", "2015-05-02,8,20,60,0,20,2"]
    path = written(tmp_path, "\n".join([DAILY, *good, row]))
    with pytest.raises(SeasonError, match=f"season.csv, row 4: .*{said}"):
        load(path)


def test_row_numbers_count_the_lines_on_top(tmp_path: Path) -> None:
    text = "\n".join(["# wind_height_m = 2", DAILY, "2015-05-01,30,20,60,0,20,2"])
    with pytest.raises(SeasonError, match="row 3:"):
        load(written(tmp_path, text))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param("", "no header", id="empty"),
        pytest.param("date,tmin_c,tmax_c\n2015-05-01,1,2", "missing: rain_mm", id="no-rain-column"),
        pytest.param("time_utc,temp_c\n", "missing: rain_mm", id="hourly-no-rain"),
        pytest.param(DAILY, "no days", id="header-only"),
        pytest.param(f"# wind_height_m = 0.1\n{DAILY}", "0.5 to 200", id="wind-height"),
        pytest.param(f"# wind_height_m = tall\n{DAILY}", "a number is needed", id="wind-word"),
        pytest.param(f"{HOURLY}\n2015-05-01T00:00Z,1,1,0,1,1", "one whole local day", id="short"),
    ],
)
def test_a_file_that_is_no_season_is_refused(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(SeasonError, match=said):
        load(written(tmp_path, text))


def test_rain_that_only_rises_is_taken_for_a_running_total(tmp_path: Path) -> None:
    rows = [row.replace(",70,0,", f",70,{n},") for n, row in enumerate(hourly_rows(48))]
    with pytest.raises(SeasonError, match="running total"):
        load(written(tmp_path, "\n".join([HOURLY, *rows])))


def test_humidity_as_a_fraction_is_refused(tmp_path: Path) -> None:
    rows = [row.replace(",70,", ",0.7,") for row in hourly_rows(48)]
    with pytest.raises(SeasonError, match="per cent"):
        load(written(tmp_path, "\n".join([HOURLY, *rows])))


def test_an_unknown_season_names_the_known_ones() -> None:
    with pytest.raises(SeasonError, match=r"seattle-2015.*invented-dry"):
        load("atlantis-2020")


def test_without_the_package_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    with pytest.raises(SeasonError, match=r"thirstline\[seasons\]"):
        load("seattle-2015")


@pytest.mark.parametrize("name", ["invented-dry", "invented-wet", "invented-demo"])
def test_an_invented_season_is_whole_and_always_the_same(name: str) -> None:
    season = load(name)
    assert season == load(name)
    assert len(season.daily) == 365
    assert len(season.hours) == 8760
    assert season.estimated == ()
    assert all(0.0 <= h.rh_pct <= 100.0 for h in season.hours)
    july = [day for day in season.daily if day.date.month == 7]
    assert 2.5 < sum(day.eto_mm for day in july) / 31 < 6.5


def test_the_dry_season_is_dry_and_the_wet_one_wet() -> None:
    rain = {
        name: sum(d.rain_mm for d in load(name).daily if 5 <= d.date.month <= 9)
        for name in ("invented-dry", "invented-demo", "invented-wet")
    }
    assert rain["invented-dry"] < 150.0 < rain["invented-demo"] < rain["invented-wet"]


def test_a_garden_moves_into_the_seasons_year() -> None:
    season = load("invented-demo")
    span = season_span(season, date(2031, 5, 9), date(2031, 9, 20), ZONE)
    assert span == (date(2025, 5, 9), date(2025, 9, 20))


def test_a_leap_day_moves_to_the_28th() -> None:
    season = load("invented-demo")
    assert season_span(season, date(2028, 2, 29), None, ZONE)[0] == date(2025, 2, 28)


def test_without_frost_a_season_ends_with_october() -> None:
    season = load("invented-wet")
    assert all(d.tmin_c > 0.0 for d in season.daily if 8 <= d.date.month <= 10)
    assert season_span(season, date(2026, 5, 9), None, ZONE)[1] == date(2025, 10, 31)


@pytest.mark.parametrize(
    ("frost", "end"),
    [
        pytest.param(date(2015, 9, 28), date(2015, 9, 27), id="september"),
        pytest.param(date(2015, 5, 20), date(2015, 10, 31), id="spring-frost-does-not-count"),
        pytest.param(date(2015, 8, 1), date(2015, 10, 31), id="the-first-of-august-itself"),
    ],
)
def test_the_first_frost_after_july_ends_a_season(tmp_path: Path, frost: date, end: date) -> None:
    rows = []
    for n in range(240):
        day = date(2015, 4, 1) + timedelta(days=n)
        rows.append(f"{day},{0 if day == frost else 6},20,60,{n % 2},20,2")
    season = load(written(tmp_path, "\n".join([DAILY, *rows])))
    assert season_span(season, date(2026, 5, 9), None, ZONE) == (date(2015, 5, 9), end)


def test_days_outside_the_season_are_refused(tmp_path: Path) -> None:
    season = load(daily_file(tmp_path))
    with pytest.raises(SeasonError, match="transplanting on 04-02"):
        season_span(season, date(2026, 4, 2), None, ZONE)
    with pytest.raises(SeasonError, match="2015-05-09 to 2015-10-31"):
        season_span(season, date(2026, 5, 9), None, ZONE)
