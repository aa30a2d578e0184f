"""Soil felt by hand: a wetter feel never leaves a bed drier, and each says one side at least."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.sensing.by_hand import (
    AGAIN_S,
    AGAINST_FRAC,
    Feel,
    contradicts,
    feel,
    near,
    sd_frac,
    teach_full,
    told_frac,
)
from controller.sensing.estimate import BedSoil, shift_full
from controller.sensing.full_point import begin, told_mean_m3_m3, told_sd_m3_m3
from controller.sensing.spread import spread_frac
from controller.state import BedDay, BedWater

TAW_MM = 80.0
LINE = 0.40
NOW_UTC_S = 1_782_892_800.0
DAY = BedDay(
    stage=Stage.SETTING,
    days_since_transplant=60.0,
    degree_days=900.0,
    root_depth_m=0.5,
    taw_mm=TAW_MM,
    line_frac=LINE,
    floor_frac=0.5,
    p_frac=0.4,
    kcb=1.0,
    kc_max=1.2,
    exposed_frac=0.3,
    coloured=False,
)
SOIL = BedSoil(
    bed="south",
    field_capacity_m3_m3=0.30,
    told_field_capacity_m3_m3=0.30,
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
DRIER = (Feel.WET, Feel.JUST_MOIST, Feel.DRY)


def bed(depletion_frac: float, sd: float = 0.1) -> BedWater:
    return BedWater(
        depletion_mm=max(0.0, depletion_frac) * TAW_MM,
        over_mm=max(0.0, -depletion_frac) * TAW_MM,
        var_mm2=(sd * TAW_MM) ** 2,
    )


def probed(depletion_frac: float, sd: float = 0.03, full_sd_m3_m3: float | None = None) -> BedWater:
    """A bed with odds over its full point, as known as told."""
    water = bed(depletion_frac, sd)
    begin(water, SOIL)
    if full_sd_m3_m3 is not None:
        water.full_sd_m3_m3 = full_sd_m3_m3
    return water


def felt_whole(
    water: BedWater, day: BedDay, felt: Feel, depth_cm: float, since_s: float = math.inf
) -> tuple[float, float]:
    """Full point first, then the rest, as the engine does; what the bed lacks before and after."""
    before = lacks_of(water, day)
    change = teach_full(water, SOIL, day, felt, depth_cm, NOW_UTC_S, since_s)
    soil = replace(SOIL, field_capacity_m3_m3=SOIL.field_capacity_m3_m3 + (change or 0.0))
    day = replace(day, taw_mm=soil.taw_mm(day.root_depth_m))
    shift_full(water, day)
    taught = change is not None
    feel(water, soil, day, felt, depth_cm, NOW_UTC_S, since_s=since_s, full_taught=taught)
    return before, lacks_of(water, day)


def lacks_of(water: BedWater, day: BedDay) -> float:
    return (water.depletion_mm - water.over_mm) / day.taw_mm


def lacks_frac(water: BedWater) -> float:
    return (water.depletion_mm - water.over_mm) / TAW_MM


@given(
    depletion=st.floats(-0.6, 1.0),
    sd=st.floats(0.001, 0.4),
    depth_cm=st.floats(0.5, 100.0),
    line=st.floats(0.1, 0.7),
    cov=st.floats(-5.0, 5.0),
)
def test_a_wetter_feel_never_leaves_a_bed_drier_than_a_drier_one(
    depletion: float, sd: float, depth_cm: float, line: float, cov: float
) -> None:
    after = []
    for felt in DRIER:
        water = bed(depletion, sd)
        water.cov_mm = cov
        feel(water, SOIL, replace(DAY, line_frac=line), felt, depth_cm, NOW_UTC_S)
        after.append(lacks_frac(water))
        assert -0.6 - 1e-9 <= after[-1] <= 1.0 + 1e-9
        assert math.isfinite(water.log_thirst)
        assert water.var_mm2 > 0.0
    assert after[0] <= after[1] + 1e-9
    assert after[1] <= after[2] + 1e-9


@pytest.mark.parametrize(
    ("felt", "before", "lower", "higher"),
    [
        pytest.param(Feel.WET, 0.5, 0.05, 0.4, id="wet-in-a-dry-bed"),
        pytest.param(Feel.DRY, 0.1, 0.2, 0.55, id="dry-in-a-wet-bed"),
        pytest.param(Feel.JUST_MOIST, 0.5, 0.2, 0.45, id="just-moist-in-a-dry-bed"),
        pytest.param(Feel.JUST_MOIST, 0.0, 0.03, 0.2, id="just-moist-in-a-full-bed"),
        pytest.param(Feel.WET, 0.0, 0.0, 0.0, id="wet-says-no-drier-than"),
        pytest.param(Feel.WET, -0.3, -0.3, -0.3, id="wet-leaves-an-overfull-bed"),
        pytest.param(Feel.DRY, 0.8, 0.8, 0.8, id="dry-says-no-wetter-than"),
    ],
)
def test_a_feel_pulls_towards_what_it_tells(
    felt: Feel, before: float, lower: float, higher: float
) -> None:
    water = bed(before, 0.12)
    moved_mm = feel(water, SOIL, DAY, felt, 20.0, NOW_UTC_S)
    assert lower - 1e-9 <= lacks_frac(water) <= higher + 1e-9
    assert moved_mm == pytest.approx((lacks_frac(water) - before) * TAW_MM)


def test_a_bed_that_is_surely_known_is_moved_less_than_a_guess() -> None:
    sure, guess = probed(0.6, 0.02, full_sd_m3_m3=0.01), bed(0.6, 0.2)
    for water in (sure, guess):
        feel(water, SOIL, DAY, Feel.WET, 25.0, NOW_UTC_S)
    assert 0.40 < lacks_frac(sure) < 0.55
    assert lacks_frac(guess) < 0.3


def test_a_feel_at_the_edge_of_the_roots_counts_for_less() -> None:
    middle, edge = bed(0.6), bed(0.6)
    feel(middle, SOIL, DAY, Feel.WET, 25.0, NOW_UTC_S)
    feel(edge, SOIL, DAY, Feel.WET, 2.0, NOW_UTC_S)
    assert lacks_frac(middle) < lacks_frac(edge) < 0.6
    assert sd_frac(2.0, 0.5) > sd_frac(25.0, 0.5)


def test_the_books_stay_closed() -> None:
    water = bed(0.6)
    feel(water, SOIL, DAY, Feel.WET, 20.0, NOW_UTC_S)
    assert water.pulled_mm == pytest.approx(0.6 * TAW_MM - water.depletion_mm)


def test_while_a_bed_drains_a_feel_tells_nothing_of_thirst() -> None:
    water = bed(0.3)
    water.cov_mm, water.wetted_utc_s = 2.0, NOW_UTC_S - 3600.0
    feel(water, SOIL, DAY, Feel.DRY, 20.0, NOW_UTC_S)
    assert water.log_thirst == 0.0
    water.wetted_utc_s = NOW_UTC_S - 2 * 86_400.0
    feel(water, SOIL, DAY, Feel.DRY, 20.0, NOW_UTC_S)
    assert water.log_thirst > 0.0


@pytest.mark.parametrize("depth_cm", [0.0, -5.0, math.nan, math.inf])
def test_a_depth_that_is_none_changes_nothing(depth_cm: float) -> None:
    water = bed(0.6)
    assert feel(water, SOIL, DAY, Feel.WET, depth_cm, NOW_UTC_S) == 0.0
    assert water == bed(0.6)


@pytest.mark.parametrize("felt", list(Feel))
def test_a_probe_contradicts_only_beyond_the_width_and_on_the_other_side(felt: Feel) -> None:
    told = told_frac(felt, LINE)
    assert contradicts(felt, LINE, told + AGAINST_FRAC + 0.01) is (felt is not Feel.DRY)
    assert contradicts(felt, LINE, told - AGAINST_FRAC - 0.01) is (felt is not Feel.WET)
    for within in (-0.9, 0.0, 0.9):
        assert not contradicts(felt, LINE, told + within * AGAINST_FRAC)


def test_a_probe_speaks_of_its_own_layer_only() -> None:
    assert near(20.0, 25.0)
    assert not near(40.0, 20.0)


# -- by what is not known of the bed


def test_a_sure_bed_whose_probes_may_all_be_wrong_moves_well_towards_a_dry_feel() -> None:
    """38 % by probes that agree, 55 % by hand: the filter's own variance alone moved it by 1 %."""
    water = probed(0.38)
    unsure = spread_frac(water, SOIL, DAY)
    before, after = felt_whole(water, DAY, Feel.DRY, 20.0)
    weight = unsure**2 / (unsure**2 + sd_frac(20.0, DAY.root_depth_m) ** 2)
    assert before == pytest.approx(0.38)
    # a little less than by one weight for all: of the full point a feel tells half
    assert 0.65 * weight < (after - before) / (0.55 - 0.38) <= weight
    assert after > 0.43


def test_what_moves_is_in_proportion_to_what_is_not_known() -> None:
    moved = []
    for sd in (0.02, 0.08, 0.14, 0.20):
        before, after = felt_whole(probed(0.2, sd), DAY, Feel.DRY, 20.0)
        moved.append(after - before)
    assert moved == sorted(moved)
    assert moved[-1] > 1.5 * moved[0]


def test_the_full_point_takes_its_share_and_keeps_it() -> None:
    drier, wetter = probed(0.2), probed(0.5)
    felt_whole(drier, DAY, Feel.DRY, 20.0)
    assert 0.003 < told_mean_m3_m3(drier, SOIL) < 0.02  # it lacks more: full lies higher
    assert drier.full_shift_m3_m3 == pytest.approx(told_mean_m3_m3(drier, SOIL))
    assert told_sd_m3_m3(drier, SOIL) < told_sd_m3_m3(probed(0.2), SOIL)
    felt_whole(wetter, DAY, Feel.WET, 20.0)
    assert told_mean_m3_m3(wetter, SOIL) < -0.003


def test_a_dry_bed_tells_less_of_its_full_point_than_a_fuller_one() -> None:
    fuller, drier = probed(0.10), probed(0.45)
    for water, feels in ((fuller, Feel.JUST_MOIST), (drier, Feel.DRY)):
        felt_whole(water, replace(DAY, line_frac=0.40), feels, 20.0)
    assert told_mean_m3_m3(fuller, SOIL) > told_mean_m3_m3(drier, SOIL) > 0.0


def test_a_feel_told_again_at_once_moves_little_more() -> None:
    once, twice = probed(0.2), probed(0.2)
    for water in (once, twice):
        felt_whole(water, DAY, Feel.DRY, 20.0)
    first = lacks_frac(once) - 0.2
    mean = told_mean_m3_m3(twice, SOIL)
    felt_whole(twice, DAY, Feel.DRY, 20.0, since_s=60.0)
    assert lacks_frac(twice) - lacks_frac(once) < 0.25 * first
    assert told_mean_m3_m3(twice, SOIL) == pytest.approx(mean, abs=1e-3)
    later = probed(0.2)
    felt_whole(later, DAY, Feel.DRY, 20.0)
    felt_whole(later, DAY, Feel.DRY, 20.0, since_s=AGAIN_S)
    assert lacks_frac(later) > lacks_frac(twice)


@pytest.mark.parametrize("since_wet_s", [0.0, 3600.0, 23 * 3600.0])
def test_while_a_bed_drains_a_feel_tells_nothing_of_its_full_point(since_wet_s: float) -> None:
    water = probed(0.2)
    water.wetted_utc_s = NOW_UTC_S - since_wet_s
    assert teach_full(water, SOIL, DAY, Feel.DRY, 20.0, NOW_UTC_S) is None
    assert water.full_odds_frac == probed(0.2).full_odds_frac


@pytest.mark.parametrize(
    "water",
    [pytest.param(bed(0.2), id="no-probe-ever"), pytest.param(probed(0.97), id="about-empty")],
)
def test_what_tells_nothing_of_a_full_point_leaves_it(water: BedWater) -> None:
    assert teach_full(water, SOIL, DAY, Feel.JUST_MOIST, 20.0, NOW_UTC_S) is None
    assert water.full_due_m3_m3 == 0.0


# odds of all shapes, two-humped and lopsided ones among them
ODDS = st.lists(st.floats(0.0, 1.0), min_size=15, max_size=15).filter(lambda o: sum(o) > 1e-3)


def as_told(depletion: float, sd: float, odds: list[float]) -> BedWater:
    water = probed(depletion, sd)
    water.full_odds_frac = [each / sum(odds) for each in odds]
    water.full_shift_m3_m3 = 0.0
    water.full_sd_m3_m3 = told_sd_m3_m3(water, SOIL)
    return water


@given(
    depletion=st.floats(-0.3, 1.0),
    sd=st.floats(0.001, 0.3),
    depth_cm=st.floats(1.0, 100.0),
    line=st.floats(0.1, 0.7),
    felt=st.sampled_from(DRIER),
    odds=ODDS,
    since_s=st.floats(0.0, 400_000.0),
)
def test_a_feel_moves_a_bed_towards_it_and_never_past_it(
    depletion: float,
    sd: float,
    depth_cm: float,
    line: float,
    felt: Feel,
    odds: list[float],
    since_s: float,
) -> None:
    water, day = as_told(depletion, sd, odds), replace(DAY, line_frac=line)
    told = told_frac(felt, line)
    before, after = felt_whole(water, day, felt, depth_cm, since_s)
    low, high = min(before, told), max(before, told)
    assert low - 1e-9 <= after <= high + 1e-9
    if (felt is Feel.WET and before <= told) or (felt is Feel.DRY and before >= told):
        assert after == pytest.approx(before)
    assert sum(water.full_odds_frac) == pytest.approx(1.0)
    assert all(0.0 <= each <= 1.0 for each in water.full_odds_frac)


@given(
    sd=st.floats(0.001, 0.3),
    depth_cm=st.floats(1.0, 100.0),
    line=st.floats(0.1, 0.7),
    felt=st.sampled_from(DRIER),
    off=st.floats(-0.01, 0.01),
    odds=ODDS,
)
def test_a_feel_that_agrees_changes_next_to_nothing(
    sd: float, depth_cm: float, line: float, felt: Feel, off: float, odds: list[float]
) -> None:
    water, day = as_told(told_frac(felt, line) + off, sd, odds), replace(DAY, line_frac=line)
    before, after = felt_whole(water, day, felt, depth_cm)
    assert abs(after - before) <= abs(off) + 1e-9
    # where the odds are what a probe and water ever make of them, the full point stays as well
    calm = probed(told_frac(felt, line) + off, sd)
    felt_whole(calm, day, felt, depth_cm)
    assert abs(told_mean_m3_m3(calm, SOIL)) < 0.003


LOPSIDED = [math.exp(-0.5 * ((n - 13.5) / 3.6) ** 2) for n in range(15)]


@example(depletion=0.12, sd=0.13, depth_cm=76.0, line=0.108, odds=LOPSIDED)
@given(
    depletion=st.floats(-0.3, 0.94),
    sd=st.floats(0.001, 0.3),
    depth_cm=st.floats(1.0, 100.0),
    line=st.floats(0.1, 0.7),
    odds=ODDS,
)
def test_with_its_full_point_taught_a_wetter_feel_still_never_leaves_a_bed_drier(
    depletion: float, sd: float, depth_cm: float, line: float, odds: list[float]
) -> None:
    after = []
    for felt in DRIER:
        water = as_told(depletion, sd, odds)
        after.append(felt_whole(water, replace(DAY, line_frac=line), felt, depth_cm)[1])
    assert after[0] <= after[1] + 1e-9
    assert after[1] <= after[2] + 1e-9
