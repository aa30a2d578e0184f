"""The season `own`: made from what the masts told a real store."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

import pytest

from controller.datafolder import DataFolder
from controller.errors import SeasonError
from controller.events import LinkUp, WeatherReading
from controller.store import Store
from controller.trusted import ClockStamp
from sim.season_own import own_season
from sim.season_types import Place, Season
from sim.weather import load_season

BEGIN_UTC_S = 1_782_864_000.0  # 2026-07-01T00:00Z
HOUR_S = 3600.0
LONDON = Place(latitude_deg=51.5, longitude_deg=0.0, elevation_m=20.0, timezone="Etc/GMT")


def word(hours: float, *, rain_mm: float | None = 0.0, **other: float | str) -> WeatherReading:
    """What a mast tells so many hours after the beginning."""
    told: dict[str, float | str | None] = {
        "mast": "roof",
        "temp_c": 15.0 + hours % 24 / 4.0,
        "rh_pct": 70.0,
        "solar_w_m2": 200.0,
        "wind_m_s": 1.5,
        **other,
    }
    return WeatherReading(
        at_utc_s=BEGIN_UTC_S + hours * HOUR_S,
        mono_s=hours * HOUR_S,
        rain_mm_total=rain_mm,
        **told,  # type: ignore[arg-type]
    )


def kept(folder: Path, words: Iterable[WeatherReading]) -> Path:
    """A store that journalled these words; its file."""
    data = DataFolder(folder / "data")
    store = Store.open(data)
    stamp = ClockStamp(boot_id="a", mono_s=0.0, utc_s=BEGIN_UTC_S, synced=True, trusted_s=0.0)
    store.recover(stamp, scaled=False)
    store.commit(LinkUp(at_utc_s=BEGIN_UTC_S, mono_s=0.0), (), durable=True, stamp=stamp)
    for told in words:
        store.commit(told, (), durable=False, stamp=stamp)
    store.close()
    return data.database


def every_half_hour(days: float, rain_mm_h: float = 0.0) -> list[WeatherReading]:
    return [word(n / 2, rain_mm=10.0 + rain_mm_h * n / 2) for n in range(int(days * 48))]


def season(database: Path) -> Season:
    return own_season(database, LONDON)


def test_hours_are_means_of_what_was_told_within_them(tmp_path: Path) -> None:
    own = season(kept(tmp_path, every_half_hour(4)))
    assert own.source == "own"
    assert len(own.daily) == 4
    assert len(own.hours) == 96
    assert own.hours[0].at_utc_s == BEGIN_UTC_S
    assert own.hours[5].temp_c == pytest.approx(15.0 + (5.0 + 5.5) / 2 / 4.0)
    assert own.estimated == ()


def test_impossible_values_in_the_record_are_left_out(tmp_path: Path) -> None:
    words = every_half_hour(4)
    words[10] = word(5.0, rain_mm=10.0, temp_c=-999.0, wind_m_s=65535.0, solar_w_m2=180.0)
    hour = season(kept(tmp_path, words)).hours[5]
    assert hour.temp_c == pytest.approx(15.0 + 5.5 / 4.0)
    assert (hour.wind_m_s, hour.solar_w_m2) == (1.5, 190.0)


def test_rain_is_what_the_counter_gained(tmp_path: Path) -> None:
    words = [word(n / 2, rain_mm=7.0 + (3.2 if n >= 61 else 0.0)) for n in range(4 * 48)]
    own = season(kept(tmp_path, words))
    assert own.hours[30].rain_mm == pytest.approx(3.2)
    assert math.fsum(h.rain_mm for h in own.hours) == pytest.approx(3.2)
    assert [round(day.rain_mm, 6) for day in own.daily] == [0.0, 3.2, 0.0, 0.0]


def test_a_counter_set_back_counts_from_its_new_start(tmp_path: Path) -> None:
    words = [word(n / 2, rain_mm=50.0 if n < 40 else 0.6) for n in range(4 * 48)]
    assert season(kept(tmp_path, words)).hours[20].rain_mm == pytest.approx(0.6)


def test_a_second_gauge_does_not_rain_twice(tmp_path: Path) -> None:
    words = []
    for n in range(4 * 48):
        words.append(word(n / 2, rain_mm=0.1 * n))
        if n % 2:
            words.append(word(n / 2 + 0.1, mast="shed", rain_mm=500.0 + n))
    total = sum(h.rain_mm for h in season(kept(tmp_path, words)).hours)
    assert total == pytest.approx(0.1 * (4 * 48 - 1))


def test_an_absent_instrument_is_estimated_and_said(tmp_path: Path) -> None:
    words = [
        WeatherReading(
            at_utc_s=told.at_utc_s,
            mono_s=told.mono_s,
            mast="roof",
            temp_c=told.temp_c,
            rain_mm_total=told.rain_mm_total,
        )
        for told in every_half_hour(4)
    ]
    own = season(kept(tmp_path, words))
    assert own.reported == {"temp_c", "rain_mm"}
    assert [text.split(":")[0] for text in own.estimated] == ["humidity", "radiation", "wind"]


def test_a_short_silence_is_filled_and_said(tmp_path: Path) -> None:
    words = [w for w in every_half_hour(4) if not 30 <= (w.mono_s / HOUR_S) < 33]
    own = season(kept(tmp_path, words))
    assert len(own.hours) == 96
    assert own.estimated[0].startswith("gaps: 3 missing hours filled")


def test_a_longer_silence_parts_the_store_and_the_longest_stretch_is_said(tmp_path: Path) -> None:
    words = [w for w in every_half_hour(6) if not 30 <= (w.mono_s / HOUR_S) < 34]
    own = season(kept(tmp_path, words))
    assert [f"{day.date}" for day in own.daily] == [
        "2026-07-03",
        "2026-07-04",
        "2026-07-05",
        "2026-07-06",
    ]
    (said,) = own.estimated
    assert said.startswith("own: 30 of 140 hours left out")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        pytest.param([], "0 words of masts, no hour with both temperature and rain", id="none"),
        pytest.param(
            [word(float(n), rain_mm=None) for n in range(120)],
            "120 words of masts, no hour with both",
            id="no-gauge",
        ),
        pytest.param(every_half_hour(2.9), "2 whole local days.*3 at least", id="too-short"),
    ],
)
def test_too_little_is_refused(tmp_path: Path, words: list[WeatherReading], said: str) -> None:
    database = kept(tmp_path, words)
    with pytest.raises(SeasonError, match=f"own: .*thirstline.db: {said}"):
        season(database)


def test_days_cut_at_both_ends_do_not_count(tmp_path: Path) -> None:
    database = kept(tmp_path, [word(n / 2 + 5.0) for n in range(7 * 24)])
    with pytest.raises(SeasonError, match="2 whole local days"):
        season(database)


def test_no_store_is_refused_and_none_is_made(tmp_path: Path) -> None:
    with pytest.raises(SeasonError, match=r"own: .*nowhere: there is no record here"):
        season(tmp_path / "nowhere" / "thirstline.db")
    assert list(tmp_path.iterdir()) == []


def by_name(database: Path | None) -> Season:
    return load_season(
        "own",
        latitude_deg=51.5,
        longitude_deg=0.0,
        elevation_m=20.0,
        timezone="Etc/GMT",
        database=database,
    )


def test_the_name_own_needs_a_store(tmp_path: Path) -> None:
    with pytest.raises(SeasonError, match="no store was named"):
        by_name(None)
    database = kept(tmp_path, every_half_hour(4))
    assert by_name(database) == by_name(database.parent) == season(database)
