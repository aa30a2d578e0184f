"""What outlives the journal: hours of probes and masts, whole wherever the journal was cut."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.datafolder import DataFolder
from controller.errors import StoreError
from controller.events import Event, LinkUp, ProbeReading, WeatherReading
from controller.sensing.sky_hours import SkyHour, hours_of, together
from controller.store import JOURNAL_S, Store, open_reader
from controller.store_hours import SEASON_HOURS
from controller.trusted import ClockStamp
from sim.season_own import own_season
from sim.season_types import Place

BEGIN_UTC_S = 1_782_864_000.0  # 2026-07-01T00:00Z
HOUR_S, DAY_S = 3_600.0, 86_400.0
LONDON = Place(latitude_deg=51.5, longitude_deg=0.0, elevation_m=20.0, timezone="Etc/GMT")
RAIN_MM_H = 0.1


def stamp(at_s: float) -> ClockStamp:
    return ClockStamp(
        boot_id="a", mono_s=at_s, utc_s=BEGIN_UTC_S + at_s, synced=True, trusted_s=at_s
    )


def words(days: float) -> Iterable[tuple[float, Event]]:
    """A mast and a probe that speak every twenty minutes."""
    for n in range(int(days * 72)):
        at_s = n * 1200.0
        yield (
            at_s,
            WeatherReading(
                at_utc_s=BEGIN_UTC_S + at_s,
                mono_s=at_s,
                mast="roof",
                temp_c=15.0 + at_s % DAY_S / 14_400.0,
                rh_pct=70.0,
                solar_w_m2=200.0,
                wind_m_s=1.5,
                rain_mm_total=RAIN_MM_H * at_s / HOUR_S,
            ),
        )
        yield (
            at_s + 1.0,
            ProbeReading(
                at_utc_s=BEGIN_UTC_S + at_s + 1.0, mono_s=at_s, probe="s1", value=0.2 + n % 3 / 10.0
            ),
        )


def lived(folder: Path, days: float, snapshot_every_s: float) -> Path:
    """A store that told of so many days, with its snapshots and what they let go; its file."""
    data = DataFolder(folder / "data")
    store = Store.open(data)
    store.recover(stamp(0.0), scaled=False)
    store.commit(LinkUp(at_utc_s=BEGIN_UTC_S, mono_s=0.0), (), durable=True, stamp=stamp(0.0))
    next_s = snapshot_every_s
    for at_s, event in words(days):
        if at_s >= next_s:
            store.save_snapshot("4", "{}")
            next_s += snapshot_every_s
        store.commit(event, (), durable=False, stamp=stamp(at_s))
    store.save_snapshot("4", "{}")
    store.close()
    data.unlock()
    return data.database


def rows(database: Path, sql: str) -> list[tuple[float, ...]]:
    with closing(sqlite3.connect(database)) as db:
        return db.execute(sql).fetchall()


def in_the_journal(database: Path) -> int:
    """How many readings of probes are in it."""
    with open_reader(DataFolder(database.parent)) as reader:
        return sum(isinstance(row.event, ProbeReading) for row in reader.journal())


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """36 days, cut at odd times of an hour."""
    return lived(tmp_path_factory.mktemp("hours"), 36.0, 5_000.0)


def test_every_reading_is_in_the_journal_or_in_its_hour(database: Path) -> None:
    kept = in_the_journal(database)
    ((old,),) = rows(database, "SELECT sum(readings) FROM probe_hours")
    assert kept + old == 36 * 72
    assert old >= 5 * 72
    assert kept <= (JOURNAL_S / DAY_S + 1.0) * 72


def test_an_hour_is_the_mean_of_what_was_told_in_it(database: Path) -> None:
    hours = rows(database, "SELECT readings, value FROM probe_hours ORDER BY hour_utc_s")
    whole = [value for many, value in hours if many == 3]
    assert len(whole) >= len(hours) - 1
    assert whole == pytest.approx([0.3] * len(whole))


def test_rain_is_kept_to_the_millimetre(database: Path) -> None:
    """The first word has none before it, so its hour lacks a third."""
    found = rows(database, "SELECT rain_mm, words FROM sky_hours ORDER BY hour_utc_s")
    assert found[0] == pytest.approx((RAIN_MM_H * 2.0 / 3.0, 3))
    assert [mm for mm, many in found[1:] if many == 3] == pytest.approx(
        [RAIN_MM_H] * sum(many == 3 for _, many in found[1:])
    )


def test_an_own_season_is_longer_than_the_journal(database: Path) -> None:
    season = own_season(database, LONDON)
    assert len(season.daily) == 36
    assert season.estimated == ()
    assert sum(hour.rain_mm for hour in season.hours) == pytest.approx(
        RAIN_MM_H * (36 * 24 - 1.0 / 3.0)
    )
    assert season.hours[30 * 24 + 5].temp_c == pytest.approx(season.hours[5].temp_c)


def test_where_the_journal_was_cut_does_not_matter(tmp_path: Path) -> None:
    often, seldom = (lived(tmp_path / str(n), 33.0, every) for n, every in ((1, 3_700.0), (2, 9e4)))
    one, other = (own_season(found, LONDON) for found in (often, seldom))
    assert [hour.temp_c for hour in one.hours] == pytest.approx([h.temp_c for h in other.hours])
    assert [hour.rain_mm for hour in one.hours] == pytest.approx([h.rain_mm for h in other.hours])


def test_what_cannot_be_condensed_is_not_let_go(tmp_path: Path) -> None:
    """Condensing and dropping are one transaction."""
    database = lived(tmp_path, 31.0, 40_000.0)
    before = in_the_journal(database)
    with closing(sqlite3.connect(database)) as db:
        db.execute("DROP TABLE sky_hours")
        db.commit()
    data = DataFolder(database.parent)
    store = Store.open(data)
    store.commit(
        LinkUp(at_utc_s=BEGIN_UTC_S, mono_s=0.0), (), durable=True, stamp=stamp(34.0 * DAY_S)
    )
    with pytest.raises(StoreError, match="sky_hours"):
        store.save_snapshot("4", "{}")
    store.close()
    assert in_the_journal(database) == before
    assert len(SEASON_HOURS) == 3


def word(at_s: float, total_mm: float | None, temp_c: float | None = 10.0) -> WeatherReading:
    return WeatherReading(
        at_utc_s=at_s, mono_s=at_s, mast="roof", temp_c=temp_c, rain_mm_total=total_mm
    )


def test_a_counter_that_was_set_back_counts_from_its_new_start() -> None:
    (hour,) = hours_of([word(10.0, 5.0), word(20.0, 7.0), word(30.0, 1.0)], {"roof": 4.0})
    assert (hour.rain_mm, hour.rain_mm_total, hour.rain_words) == (1.0 + 2.0 + 1.0, 1.0, 3)


def test_an_instrument_that_one_part_lacks_is_the_others() -> None:
    first = SkyHour(mast="roof", hour_utc_s=0, words=2, temp_c=10.0)
    second = SkyHour(mast="roof", hour_utc_s=0, words=1, temp_c=13.0, rh_pct=50.0)
    both = together(first, second)
    assert (both.temp_c, both.rh_pct, both.words) == (11.0, 50.0, 3)
    assert replace(both, rh_pct=None).solar_w_m2 is None


@given(
    st.lists(st.floats(0.0, 3.0), min_size=2, max_size=40),
    st.integers(0, 40),
    st.integers(0, 10_000),
)
def test_hours_are_the_same_wherever_a_row_of_words_is_cut(
    gains_mm: list[float], cut: int, seed: int
) -> None:
    lots = random.Random(seed)
    told, total_mm = [], 100.0
    for n, gain_mm in enumerate(gains_mm):
        total_mm += gain_mm
        told.append(word(n * 700.0, total_mm, lots.uniform(-5.0, 30.0)))
    whole = hours_of(told)
    first = hours_of(told[:cut])
    totals = {hour.mast: hour.rain_mm_total for hour in first if hour.rain_mm_total is not None}
    found = {hour.hour_utc_s: hour for hour in first}
    for hour in hours_of(told[cut:], totals):
        before = found.get(hour.hour_utc_s)
        found[hour.hour_utc_s] = hour if before is None else together(before, hour)
    assert len(found) == len(whole)
    for one in whole:
        other = found[one.hour_utc_s]
        assert other.words == one.words
        assert other.rain_mm == pytest.approx(one.rain_mm)
        assert other.temp_c == pytest.approx(one.temp_c)
