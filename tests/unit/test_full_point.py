"""A bed's own full point is learned from water that vanished or stayed, and from nothing else."""

import pytest

from controller.sensing.estimate import BedSoil
from controller.sensing.full_point import (
    FIRST_LOOK_S,
    SECOND_LOOK_S,
    SHIFT_MOST_FRAC,
    VANISHED_TIMES,
    look,
    soaked,
)
from controller.state import BedWater

ROOT_M = 0.5
SOIL = BedSoil(
    bed="south",
    field_capacity_m3_m3=0.28,
    told_field_capacity_m3_m3=0.28,
    wilting_point_m3_m3=0.14,
    saturation_m3_m3=0.46,
    wetted_area_m2=11.5,
    ground_ratio=1.5,
    full_root_depth_m=0.55,
    mulch="straw",
    evaporation_share=0.5,
    tew_mm=21.0,
    rew_mm=9.0,
)
TAW_MM = 70.0


def a_soaking(
    water: BedWater, day: int, *, before_mm: float, given_mm: float, after_mm: float
) -> float:
    """One watering and the look a day later, without any use in between."""
    at_utc_s = day * 3 * 86_400.0
    soaked(water, given_mm, before_mm, at_utc_s)
    return look(water, SOIL, ROOT_M, after_mm, at_utc_s + FIRST_LOOK_S)


def test_water_that_the_probes_find_again_teaches_nothing() -> None:
    water = BedWater(depletion_mm=28.0, var_mm2=9.0)
    for day in range(6):
        assert a_soaking(water, day, before_mm=28.0, given_mm=24.5, after_mm=6.0) == 0.0
    assert water.full_shift_m3_m3 == 0.0


def test_water_that_vanished_three_times_lowers_the_full_point() -> None:
    water = BedWater(depletion_mm=28.0, var_mm2=9.0)
    changes = [
        a_soaking(water, day, before_mm=28.0, given_mm=24.5, after_mm=20.0)
        for day in range(VANISHED_TIMES)
    ]
    assert changes[:-1] == [0.0, 0.0]
    # half of 20 mm less the 3.5 mm that a refill leaves, over 0.5 m
    assert changes[-1] == pytest.approx(-0.5 * (20.0 - 3.5) / 500.0, abs=1e-9)


def test_one_odd_soaking_among_sound_ones_teaches_nothing() -> None:
    water = BedWater(depletion_mm=28.0, var_mm2=9.0)
    for day in range(6):
        after_mm = 20.0 if day == 2 else 6.0
        assert a_soaking(water, day, before_mm=28.0, given_mm=24.5, after_mm=after_mm) == 0.0


def test_rain_after_the_watering_makes_it_teach_nothing() -> None:
    water = BedWater(depletion_mm=28.0, var_mm2=9.0)
    for day in range(6):
        at_utc_s = day * 3 * 86_400.0
        soaked(water, 24.5, 28.0, at_utc_s)
        water.soak_rain_mm += 5.0
        assert look(water, SOIL, ROOT_M, 20.0, at_utc_s + FIRST_LOOK_S) == 0.0


def test_a_bed_wetter_than_full_two_days_after_water_holds_more_than_told() -> None:
    water = BedWater(depletion_mm=5.0, var_mm2=9.0)
    soaked(water, 24.5, 28.0, 0.0)
    assert look(water, SOIL, ROOT_M, -10.0, FIRST_LOOK_S) == 0.0  # may still be draining
    assert look(water, SOIL, ROOT_M, -10.0, SECOND_LOOK_S) == pytest.approx(0.5 * 10.0 / 500.0)


def test_it_is_looked_at_twice_after_a_soaking_and_no_more() -> None:
    water = BedWater(depletion_mm=5.0, var_mm2=9.0)
    soaked(water, 24.5, 28.0, 0.0)
    look(water, SOIL, ROOT_M, -10.0, FIRST_LOOK_S)
    assert look(water, SOIL, ROOT_M, -10.0, SECOND_LOOK_S) > 0.0
    assert look(water, SOIL, ROOT_M, -10.0, SECOND_LOOK_S + 3600.0) == 0.0


@pytest.mark.parametrize("after_mm", [500.0, -500.0], ids=["far-too-dry", "far-too-wet"])
def test_whatever_the_probes_say_the_full_point_stays_within_its_bounds(after_mm: float) -> None:
    water = BedWater(depletion_mm=28.0, var_mm2=9.0)
    for day in range(60):
        at_utc_s = day * 3 * 86_400.0
        soaked(water, 24.5, 28.0, at_utc_s)
        look(water, SOIL, ROOT_M, after_mm, at_utc_s + FIRST_LOOK_S)
        look(water, SOIL, ROOT_M, after_mm, at_utc_s + SECOND_LOOK_S)
    assert abs(water.full_shift_m3_m3) <= SHIFT_MOST_FRAC * 0.14 + 1e-12
    assert abs(water.full_shift_m3_m3) == pytest.approx(SHIFT_MOST_FRAC * 0.14)


def test_not_a_number_teaches_nothing() -> None:
    water = BedWater(depletion_mm=28.0, var_mm2=9.0)
    for day in range(5):
        a_soaking(water, day, before_mm=28.0, given_mm=24.5, after_mm=float("nan"))
    assert water.full_shift_m3_m3 == 0.0
    assert water.depletion_mm == 28.0
