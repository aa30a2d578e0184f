"""A bed's own full point: odds that water which vanished or stayed moves, and nothing else."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.sensing.estimate import BedSoil
from controller.sensing.full_point import (
    FIRST_H,
    LAST_H,
    NEW_SOAK_S,
    REACH_FRAC,
    SEEN_FRAC,
    begin,
    candidates_m3_m3,
    fed,
    hour,
    look,
    told_mean_m3_m3,
    told_sd_m3_m3,
)
from controller.sensing.spread import spread_frac
from controller.state import BedDay, BedWater

SOIL = BedSoil(
    bed="south",
    field_capacity_m3_m3=0.28,
    told_field_capacity_m3_m3=0.28,
    wilting_point_m3_m3=0.14,
    wilting_told_m3_m3=0.14,
    saturation_m3_m3=0.46,
    wetted_area_m2=11.5,
    ground_ratio=1.5,
    full_root_depth_m=0.50,
    mulch="straw",
    evaporation_share=0.5,
    tew_mm=21.0,
    rew_mm=9.0,
)
AVAILABLE = 0.14
FULL_MM = 1000.0 * SOIL.full_root_depth_m


def a_bed() -> BedWater:
    water = BedWater(depletion_mm=28.0, var_mm2=9.0)
    begin(water, SOIL)
    return water


def a_soaking(
    water: BedWater, day: int, *, before: float, given: float, after: float, hours: int = 24
) -> None:
    """A watering in m3/m3 over the full depth and the hours after it, without any use."""
    at_utc_s = day * 3 * 86_400.0
    fed(water, given * FULL_MM, 0.0, before, at_utc_s)
    for n in range(hours):
        hour(water, SOIL, after, at_utc_s + 3600.0 * (FIRST_H + 10.0 + n))


def test_the_odds_begin_near_the_file() -> None:
    water = a_bed()
    assert sum(water.full_odds_frac) == pytest.approx(1.0)
    assert told_mean_m3_m3(water, SOIL) == pytest.approx(0.0, abs=1e-12)
    assert 0.015 < told_sd_m3_m3(water, SOIL) < 0.04


def test_water_that_vanished_lowers_the_full_point() -> None:
    water = a_bed()
    for day in range(3):
        a_soaking(water, day, before=0.22, given=0.06, after=0.235)
    assert told_mean_m3_m3(water, SOIL) == pytest.approx(0.235 - 0.28, abs=0.012)
    assert told_sd_m3_m3(water, SOIL) < 0.012


def test_water_that_is_found_again_past_the_file_raises_it() -> None:
    water = a_bed()
    for day in range(3):
        a_soaking(water, day, before=0.25, given=0.06, after=0.25 + SEEN_FRAC * 0.06)
    assert told_mean_m3_m3(water, SOIL) > 0.015


def test_a_bed_that_never_was_near_full_says_nothing_from_above() -> None:
    water = a_bed()
    for day in range(6):
        a_soaking(water, day, before=0.16, given=0.03, after=0.16 + SEEN_FRAC * 0.03)
    assert told_mean_m3_m3(water, SOIL) == pytest.approx(0.0, abs=0.006)
    assert told_sd_m3_m3(water, SOIL) > 0.015


def test_doubtful_water_teaches_less() -> None:
    sure, doubtful = a_bed(), a_bed()
    for water, sd_mm in ((sure, 0.0), (doubtful, 15.0)):
        fed(water, 0.06 * FULL_MM, sd_mm, 0.22, 0.0)
        for n in range(24):
            hour(water, SOIL, 0.255, 3600.0 * (20.0 + n))
    assert told_sd_m3_m3(doubtful, SOIL) > told_sd_m3_m3(sure, SOIL)


@pytest.mark.parametrize("age_h", [0.0, FIRST_H - 1.0, LAST_H + 1.0])
def test_only_the_hours_well_after_water_speak(age_h: float) -> None:
    water = a_bed()
    fed(water, 30.0, 0.0, 0.22, 0.0)
    assert not hour(water, SOIL, 0.20, 3600.0 * age_h)
    assert water.full_odds_frac == a_bed().full_odds_frac


def test_a_splash_says_nothing() -> None:
    water = a_bed()
    fed(water, 5.0, 0.0, 0.22, 0.0)
    assert not hour(water, SOIL, 0.20, 3600.0 * 24.0)


def test_water_without_a_reading_before_it_says_nothing() -> None:
    water = a_bed()
    fed(water, 30.0, 0.0, None, 0.0)
    assert not hour(water, SOIL, 0.20, 3600.0 * 24.0)


@pytest.mark.parametrize("told", [math.nan, math.inf, -math.inf])
def test_no_number_teaches_nothing(told: float) -> None:
    water = a_bed()
    fed(water, 30.0, 0.0, 0.22, 0.0)
    assert not hour(water, SOIL, told, 3600.0 * 24.0)
    assert water.full_odds_frac == a_bed().full_odds_frac


def test_pulses_are_one_soaking_and_a_pause_begins_another() -> None:
    water = a_bed()
    fed(water, 10.0, 0.0, 0.22, 0.0)
    fed(water, 10.0, 0.0, 0.24, 3600.0)
    assert (water.soak_given_mm, water.soak_before_m3_m3) == (20.0, 0.22)
    fed(water, 10.0, 0.0, 0.25, 3601.0 + NEW_SOAK_S)
    assert (water.soak_given_mm, water.soak_before_m3_m3) == (10.0, 0.25)


def looks(water: BedWater, from_s: float, hours: int) -> list[float]:
    """What each hourly look changes."""
    return [look(water, SOIL, from_s + 3600.0 * n) for n in range(hours)]


def test_what_was_learned_counts_a_day_later_and_its_depletion_in_the_next_hour() -> None:
    water = a_bed()
    assert not any(looks(water, 0.0, 30))
    a_soaking(water, 1, before=0.22, given=0.06, after=0.235)
    mean, from_s = told_mean_m3_m3(water, SOIL), 120 * 3600.0
    found = looks(water, from_s, 31)
    assert not any(found[:24])
    change = sum(found)
    assert change == pytest.approx(mean)
    assert (water.full_shift_m3_m3, water.full_due_m3_m3) == (change, change)
    assert water.depletion_mm == 28.0
    assert from_s + 24 * 3600.0 <= (water.full_since_utc_s or 0.0) <= from_s + 30 * 3600.0
    assert not any(looks(water, from_s + 40 * 3600.0, 24))


def test_what_waits_to_count_is_in_how_sure_the_bed_is() -> None:
    water = a_bed()
    day = BedDay(
        stage=Stage.SETTING,
        days_since_transplant=60.0,
        degree_days=900.0,
        root_depth_m=0.5,
        taw_mm=SOIL.taw_mm(0.5),
        line_frac=0.4,
        floor_frac=0.5,
        p_frac=0.4,
        kcb=1.0,
        kc_max=1.2,
        exposed_frac=0.3,
        coloured=False,
    )
    a_soaking(water, 0, before=0.22, given=0.06, after=0.235)
    waiting = spread_frac(water, SOIL, day)
    water.full_shift_m3_m3 = told_mean_m3_m3(water, SOIL)
    assert waiting > 1.3 * spread_frac(water, SOIL, day)


@settings(derandomize=True, max_examples=60)
@given(
    told=st.lists(st.floats(-1.0, 2.0), min_size=1, max_size=20),
    given_mm=st.floats(0.0, 500.0),
    before=st.floats(0.0, 0.6),
)
def test_whatever_the_probes_say_the_odds_stay_odds(
    told: list[float], given_mm: float, before: float
) -> None:
    water = a_bed()
    fed(water, given_mm, 3.0, before, 0.0)
    for n, theta in enumerate(told):
        hour(water, SOIL, theta, 3600.0 * (FIRST_H + n))
    assert sum(water.full_odds_frac) == pytest.approx(1.0)
    assert all(0.0 <= each <= 1.0 for each in water.full_odds_frac)
    assert abs(told_mean_m3_m3(water, SOIL)) <= REACH_FRAC * AVAILABLE + 1e-12
    assert 0.0 < told_sd_m3_m3(water, SOIL) <= REACH_FRAC * AVAILABLE * 1.1


def test_the_candidates_reach_as_far_both_ways_and_hold_the_file_itself() -> None:
    shifts = candidates_m3_m3(SOIL)
    assert shifts == sorted(shifts)
    assert (shifts[0], shifts[-1]) == pytest.approx((-0.07, 0.07))
    assert 0.0 in shifts
    assert candidates_m3_m3(replace(SOIL, field_capacity_m3_m3=0.20)) == shifts
