"""The weather that truly was, drawn around a record."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import fmean, median, stdev

import pytest

from controller.garden import Garden, load_garden
from sim.draws import Drawn, WeatherDraw
from sim.examples import find_garden
from sim.garden_world import GardenWorld
from sim.season_run import Replay, prepare
from sim.season_types import COLUMNS, Season
from sim.true_weather import (
    ETO_DAY_SD_FRAC,
    GAUGE_SD_FRAC,
    RAIN_DAY_SD_FRAC,
    eto_day_sd_frac,
    truly,
    weather_draw,
)

DAY_S = 86_400.0


@pytest.fixture(scope="module")
def replay() -> Replay:
    garden: Garden = load_garden(find_garden("hollin-lane"))
    return prepare(garden, "hesse-2015")


@pytest.fixture(scope="module")
def season(replay: Replay) -> Season:
    found: Season = replay.season
    return found


def even(season: Season, eto: float, rain: float) -> WeatherDraw:
    days = len(season.daily)
    return WeatherDraw(eto_to_record_frac=(eto,) * days, rain_to_record_frac=(rain,) * days)


def test_a_draw_is_its_numbers_and_the_seasons_own(season: Season) -> None:
    one = weather_draw(season, 7)
    assert one == weather_draw(season, 7)
    assert one != weather_draw(season, 8)
    assert one != weather_draw(replace(season, source="another"), 7)
    assert len(one.eto_to_record_frac) == len(one.rain_to_record_frac) == len(season.daily)
    assert min(*one.eto_to_record_frac, *one.rain_to_record_frac) > 0.0


def test_days_scatter_as_told_and_seasons_do_not_drift(season: Season) -> None:
    draws = [weather_draw(season, number) for number in range(60)]
    logs = [[math.log(factor) for factor in one.eto_to_record_frac] for one in draws]
    sd = eto_day_sd_frac(season)
    assert fmean(stdev(one) for one in logs) == pytest.approx(sd, rel=0.05)
    assert max(abs(fmean(one)) for one in logs) < 4.0 * sd / math.sqrt(len(season.daily))
    rain = [[math.log(factor) for factor in one.rain_to_record_frac] for one in draws]
    assert fmean(stdev(one) for one in rain) == pytest.approx(RAIN_DAY_SD_FRAC, rel=0.05)
    # of 60 gauges the standard deviation is known to a tenth
    assert stdev(fmean(one) for one in rain) == pytest.approx(GAUGE_SD_FRAC, rel=0.3)
    assert median(fmean(one) for one in rain) == pytest.approx(0.0, abs=0.02)


def test_what_no_mast_told_makes_the_use_less_sure(season: Season) -> None:
    whole = replace(season, reported=frozenset(COLUMNS))
    assert eto_day_sd_frac(whole) == pytest.approx(ETO_DAY_SD_FRAC)
    told = frozenset(COLUMNS) - {"solar_w_m2"}
    assert eto_day_sd_frac(replace(season, reported=told)) == pytest.approx(
        math.hypot(ETO_DAY_SD_FRAC, 0.10)
    )
    bare = eto_day_sd_frac(replace(season, reported=frozenset({"temp_c", "rain_mm"})))
    assert bare == pytest.approx(math.sqrt(0.10**2 + 0.10**2 + 0.05**2 + 0.08**2))


def test_the_drawn_season_is_the_record_times_each_days_factor(season: Season) -> None:
    draw = weather_draw(season, 3)
    drawn = truly(season, draw)
    assert [one.at_utc_s for one in drawn.hours] == [one.at_utc_s for one in season.hours]
    for day, was, eto, rain in zip(
        drawn.daily, season.daily, draw.eto_to_record_frac, draw.rain_to_record_frac, strict=True
    ):
        inside = [
            one.rain_mm
            for one in drawn.hours
            if day.start_utc_s <= one.at_utc_s < day.start_utc_s + DAY_S - 1.0
        ]
        assert day.eto_mm == pytest.approx(was.eto_mm * eto)
        assert day.rain_mm == pytest.approx(was.rain_mm * rain)
        if len(inside) == 24:  # a day of the clocks' change has another count
            assert sum(inside) == pytest.approx(day.rain_mm, abs=1e-9)
    assert truly(season, even(season, 1.0, 1.0)).daily == season.daily


def world(replay: Replay, draw: WeatherDraw | None) -> GardenWorld:
    drawn = Drawn(beds={}, weather=draw)
    return GardenWorld(
        replay.garden, replay.season, replay.span.from_utc_s, sure=False, drawn=drawn
    )


def test_the_mast_tells_the_record_and_the_soil_gets_what_fell(replay: Replay) -> None:
    usual = world(replay, None)
    wetter = world(replay, even(replay.season, 1.0, 1.5))
    thirstier = world(replay, even(replay.season, 1.3, 1.0))
    for one in (usual, wetter, thirstier):
        one.advance(replay.span.from_utc_s + 40.0 * DAY_S)
    told = [dict(one.weather()) for one in (usual, wetter, thirstier)]
    assert told[0] == told[1] == told[2]
    assert told[0]["rain_mm_total"] > 5.0
    assert usual.truth.rain_mm_total == usual.truth.gauge_mm_total
    assert wetter.truth.rain_mm_total == pytest.approx(1.5 * wetter.truth.gauge_mm_total)
    for bed in replay.garden.beds:
        dry = [one.truth.depletion_frac(bed) for one in (wetter, usual, thirstier)]
        assert dry[0] < dry[1] < dry[2], bed
