"""The root zone's balance and filter: nothing is lost or negative, wetter is never drier."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.agronomy.rootzone import evaporation_reduction, ke, ks, surface_dried_mm
from controller.correcting import content_m3_m3
from controller.sensing.estimate import (
    BedSoil,
    add_rain,
    add_water,
    advance,
    correct,
    deepen,
    shift_full,
    start,
    weights_m,
)
from controller.sensing.spread import (
    SHARED_SD_FRAC,
    SPREAD_MOST_FRAC,
    accounted_mm,
    spread_frac,
    stored_mm,
)
from controller.state import BedDay, BedWater

SOIL = BedSoil(
    bed="south",
    field_capacity_m3_m3=0.28,
    told_field_capacity_m3_m3=0.28,
    wilting_point_m3_m3=0.14,
    wilting_told_m3_m3=0.14,
    saturation_m3_m3=0.46,
    wetted_area_m2=10.0,
    ground_ratio=1.5,
    full_root_depth_m=0.55,
    mulch="none",
    evaporation_share=1.0,
    tew_mm=21.0,
    rew_mm=9.0,
)
DAY = BedDay(
    stage=Stage.SETTING,
    days_since_transplant=60.0,
    degree_days=600.0,
    root_depth_m=0.55,
    taw_mm=77.0,
    line_frac=0.40,
    floor_frac=0.50,
    p_frac=0.4,
    kcb=1.1,
    kc_max=1.2,
    exposed_frac=0.2,
    coloured=False,
)


def bed(depletion_mm: float = 30.0, **change: float) -> BedWater:
    return replace(
        BedWater(depletion_mm=depletion_mm, var_mm2=40.0, below_mm=5.0),
        **change,  # type: ignore[arg-type]
    )


def test_taw_is_the_depth_between_field_capacity_and_wilting_point() -> None:
    assert SOIL.taw_mm(0.55) == pytest.approx(77.0)  # FAO-56 eq. 82


def test_a_beginning_knows_little() -> None:
    water = start(SOIL, 0.55, 0.25)
    assert water.depletion_mm == pytest.approx(0.25 * 77.0)
    assert math.sqrt(water.var_mm2) == pytest.approx(0.2 * 77.0)


@pytest.mark.parametrize(
    ("depth_mm", "depletion_mm", "over_mm", "below_mm", "drained_mm"),
    [
        pytest.param(10.0, 20.0, 0.0, 5.0, 0.0, id="fits"),
        pytest.param(30.0, 0.0, 0.0, 5.0, 0.0, id="fills"),
        pytest.param(33.0, 0.0, 0.0, 2.0, 0.0, id="drains-to-the-ground-below"),
        pytest.param(100.0, 0.0, 0.0, 0.0, 65.0, id="drains-away"),
    ],
)
def test_water_fills_the_roots_first_and_then_within_days_the_ground_below(
    depth_mm: float, depletion_mm: float, over_mm: float, below_mm: float, drained_mm: float
) -> None:
    water = bed()
    add_water(water, depth_mm, 0.08, 1e9)
    assert water.over_mm == pytest.approx(max(0.0, depth_mm - 30.0))
    for _ in range(10 * 144):
        advance(water, SOIL, DAY, 0.0)
    found = (water.depletion_mm, water.over_mm, water.below_mm, water.drained_mm)
    assert found == pytest.approx((depletion_mm, over_mm, below_mm, drained_mm), abs=0.01)


def test_water_above_full_is_drunk_first() -> None:
    water = bed(0.0, over_mm=3.0, surface_mm=21.0)
    advance(water, SOIL, DAY, 0.1)
    assert water.depletion_mm == 0.0
    assert water.over_mm < 3.0 - 1.1 * 0.15
    for _ in range(30):
        advance(water, SOIL, DAY, 0.1)
    assert water.over_mm == 0.0
    assert water.depletion_mm > 0.0


def test_a_bed_that_is_surely_full_is_known_again() -> None:
    surely, hardly = bed(30.0, var_mm2=200.0), bed(30.0, var_mm2=200.0)
    add_water(surely, 90.0, 0.08, 1e9)
    add_water(hardly, 15.0, 0.08, 1e9)
    assert surely.var_mm2 < 0.01 * 200.0
    assert 100.0 < hardly.var_mm2 < 200.0


@pytest.mark.parametrize("depth_mm", [0.0, -5.0, math.nan, math.inf, -math.inf])
def test_water_that_is_no_amount_changes_nothing(depth_mm: float) -> None:
    water, before = bed(), bed()
    add_water(water, depth_mm, 0.08, 1e9)
    assert water == before


def test_use_adds_what_the_plants_drink_and_what_evaporates() -> None:
    water = bed(10.0, surface_mm=21.0)  # a dry surface does not evaporate
    advance(water, SOIL, DAY, 0.1)
    # above the stress point: Kcb x ETo x ground per strip
    assert water.depletion_mm - 10.0 == pytest.approx(1.1 * 0.1 * 1.5)
    assert water.use_today_mm == pytest.approx(1.1 * 0.1 * 1.5)
    wet = bed(10.0, surface_mm=0.0)
    advance(wet, SOIL, DAY, 0.1)
    # what leaves the surface comes from its exposed share: FAO-56 eq. 77
    evaporated_mm = wet.surface_mm * DAY.exposed_frac * 1.5
    assert wet.depletion_mm - 10.0 == pytest.approx(1.1 * 0.15 + evaporated_mm)


def test_stress_slows_drinking_and_stops_at_the_wilting_point() -> None:
    water = bed(77.0, surface_mm=21.0)
    advance(water, SOIL, DAY, 0.1)
    assert water.depletion_mm == 77.0
    half = bed(0.7 * 77.0, surface_mm=21.0)  # halfway from p = 0.4 to 1: Ks = 0.5
    advance(half, SOIL, DAY, 0.1)
    assert half.depletion_mm - 0.7 * 77.0 == pytest.approx(0.5 * 1.1 * 0.15)


KINDS = ["water", "rain", "use", "told", "deepen", "full"]


@settings(derandomize=True, max_examples=200)
@given(
    steps=st.lists(
        st.tuples(st.sampled_from(KINDS), st.floats(0.0, 30.0)), min_size=1, max_size=60
    ),
    depletion_mm=st.floats(0.0, 77.0),
)
def test_the_balance_closes(steps: list[tuple[str, float]], depletion_mm: float) -> None:
    water = bed(depletion_mm, surface_mm=21.0)
    began_mm, root_m, fallen_mm = stored_mm(water), 0.35, 0.0
    for kind, amount in steps:
        if kind == "water":
            add_water(water, amount, 0.08, 1e9)
            fallen_mm += amount
        elif kind == "rain":
            fallen_mm += add_rain(water, SOIL, amount, 1e9)
        elif kind == "use":
            advance(water, SOIL, DAY, amount / 100.0)
        elif kind == "told":
            correct(water, DAY, 3.0 * amount - 20.0, 2, 1e9)
        elif kind == "full":
            water.full_due_m3_m3 = (amount - 15.0) / 1000.0
            shift_full(water, DAY)
        else:
            deeper_m = min(SOIL.full_root_depth_m, root_m + amount / 1000.0)
            deepen(water, SOIL, root_m, deeper_m)
            root_m = deeper_m
        assert stored_mm(water) - began_mm == pytest.approx(accounted_mm(water), abs=1e-6)
        assert water.in_mm == pytest.approx(fallen_mm)
        assert min(water.depletion_mm, water.over_mm) == 0.0
        assert min(water.below_mm, water.used_mm, water.drained_mm) >= 0.0


@settings(derandomize=True, max_examples=300)
@given(
    depletion_mm=st.floats(0.0, 77.0),
    surface_mm=st.floats(0.0, 21.0),
    eto_mm=st.floats(0.001, 0.3),
    exposed_frac=st.floats(0.0, 1.0),
    log_thirst=st.floats(-0.6, 0.5),
)
def test_a_step_is_that_of_the_rootzone_formulas(
    depletion_mm: float, surface_mm: float, eto_mm: float, exposed_frac: float, log_thirst: float
) -> None:
    day = replace(DAY, exposed_frac=exposed_frac)
    soil = replace(SOIL, evaporation_share=0.5)
    water = bed(depletion_mm, surface_mm=surface_mm, log_thirst=log_thirst)
    advance(water, soil, day, eto_mm)
    kr = evaporation_reduction(surface_mm, soil.tew_mm, soil.rew_mm)
    lost_mm = 0.5 * ke(kr, day.kc_max, day.kcb, exposed_frac) * eto_mm
    potential_mm = day.kcb * math.exp(log_thirst) * eto_mm * soil.ground_ratio
    drunk_mm = ks(depletion_mm, day.taw_mm, day.p_frac) * potential_mm
    after_mm = depletion_mm + drunk_mm + lost_mm * soil.ground_ratio
    assert water.depletion_mm == pytest.approx(min(day.taw_mm, after_mm))
    dried_mm = surface_dried_mm(surface_mm, lost_mm, exposed_frac, soil.tew_mm)
    assert water.surface_mm == pytest.approx(dried_mm)


def test_roots_that_grow_take_over_what_the_ground_below_lacks() -> None:
    water = bed(10.0, below_mm=8.0)
    before_mm2 = water.var_mm2
    deepen(water, SOIL, 0.35, 0.40)  # a quarter of what is left
    assert (water.depletion_mm, water.below_mm) == pytest.approx((12.0, 6.0))
    assert water.var_mm2 > before_mm2
    deepen(water, SOIL, 0.40, 0.55)
    assert (water.depletion_mm, water.below_mm) == pytest.approx((18.0, 0.0))


@pytest.mark.parametrize(
    ("old_m", "new_m"),
    [
        pytest.param(0.4, 0.4, id="same"),
        pytest.param(0.4, 0.3, id="back"),
        pytest.param(0.4, 0.6, id="past-full-depth"),
        pytest.param(0.4, math.nan, id="nan"),
        pytest.param(0.55, 0.55, id="full-grown"),
    ],
)
def test_roots_that_do_not_grow_change_nothing(old_m: float, new_m: float) -> None:
    water, before = bed(), bed()
    deepen(water, SOIL, old_m, new_m)
    assert water == before


def test_rain_leaves_its_share_on_leaves_straw_and_sheet() -> None:
    assert add_rain(bed(), SOIL, 10.0, 1e9) == pytest.approx(9.5)
    assert add_rain(bed(), replace(SOIL, mulch="straw"), 10.0, 1e9) == pytest.approx(8.0)
    assert add_rain(bed(), replace(SOIL, mulch="plastic"), 10.0, 1e9) == pytest.approx(0.3 * 9.5)


FOUND = [0.0] * 7 + [1.0] + [0.0] * 7  # odds over the full point that are sure of the file's


DEPTHS = st.lists(st.floats(1.0, 150.0), min_size=1, max_size=5).map(sorted)


@settings(derandomize=True, max_examples=300)
@given(depths_cm=DEPTHS, root_depth_m=st.floats(0.1, 1.5))
def test_the_probes_speak_for_the_whole_root_zone_and_no_more(
    depths_cm: list[float], root_depth_m: float
) -> None:
    weights = weights_m(depths_cm, root_depth_m)
    assert all(weight >= 0.0 for weight in weights)
    assert sum(weights) == pytest.approx(root_depth_m)
    assert weights[0] > 0.0


def test_two_probes_meet_half_way() -> None:
    assert weights_m([20.0, 40.0], 0.55) == pytest.approx([0.30, 0.25])
    assert weights_m([20.0, 40.0], 0.20) == pytest.approx([0.20, 0.0])


@pytest.mark.parametrize("theta", [0.0, 0.14, 0.28, 0.35])
def test_even_soil_tells_its_content_whatever_the_depths(theta: float) -> None:
    assert content_m3_m3([(40.0, theta), (20.0, theta)], 0.55) == pytest.approx(theta)


def test_each_probe_counts_by_its_layer() -> None:
    assert content_m3_m3([(40.0, 0.30), (20.0, 0.20)], 0.50) == pytest.approx(0.24)
    assert content_m3_m3([(40.0, 0.30), (20.0, 0.20)], 0.20) == pytest.approx(0.20)


@pytest.mark.parametrize("told_mm", [math.nan, math.inf, -math.inf])
def test_a_reading_that_is_no_number_changes_nothing(told_mm: float) -> None:
    water, before = bed(), bed()
    assert correct(water, DAY, told_mm, 2, 1e9) is None
    assert water == before


def test_wetter_than_full_is_kept_as_water_above_full_within_bounds() -> None:
    water, drenched = bed(0.0, var_mm2=400.0), bed(0.0, var_mm2=400.0)
    correct(water, DAY, -12.0, 2, 1e9)
    correct(drenched, DAY, -500.0, 2, 1e9)
    assert water.depletion_mm == drenched.depletion_mm == 0.0
    assert 10.0 < water.over_mm <= 12.0
    assert drenched.over_mm <= 0.6 * 77.0


def test_a_probe_that_tells_nan_is_ignored_by_the_whole_bed() -> None:
    theta = content_m3_m3([(20.0, math.nan), (40.0, 0.2)], 0.55)
    water, before = bed(), bed()
    correct(water, DAY, 1000.0 * (0.28 - theta) * 0.55, 2, 1e9)
    assert water == before


STATES = st.builds(
    BedWater,
    depletion_mm=st.floats(0.0, 77.0),
    var_mm2=st.floats(1e-6, 400.0),
    var_thirst=st.floats(1e-6, 0.1),
    log_thirst=st.floats(-0.6, 0.5),
    cov_mm=st.floats(0.0, 0.5),
)


@settings(derandomize=True, max_examples=300)
@given(
    state=STATES,
    told_mm=st.floats(-80.0, 120.0),
    wetter_by_mm=st.floats(0.0, 120.0),
    probes=st.integers(1, 3),
    since_water_s=st.one_of(st.none(), st.floats(0.0, 2e5)),
)
def test_a_wetter_reading_never_raises_depletion(
    state: BedWater, told_mm: float, wetter_by_mm: float, probes: int, since_water_s: float | None
) -> None:
    wetted_utc_s = None if since_water_s is None else 1e9 - since_water_s
    dry, wet = replace(state, wetted_utc_s=wetted_utc_s), replace(state, wetted_utc_s=wetted_utc_s)
    correct(dry, DAY, told_mm, probes, 1e9)
    correct(wet, DAY, told_mm - wetter_by_mm, probes, 1e9)
    assert wet.depletion_mm - wet.over_mm <= dry.depletion_mm - dry.over_mm + 1e-9
    assert wet.depletion_mm <= dry.depletion_mm + 1e-9
    assert wet.log_thirst <= dry.log_thirst + 1e-12


@settings(derandomize=True, max_examples=200)
@given(
    state=STATES,
    script=st.lists(
        st.tuples(st.sampled_from(["use", "told", "water", "rain"]), st.floats(0.0, 90.0)),
        max_size=80,
    ),
)
def test_variances_stay_positive_and_the_state_within_its_bounds(
    state: BedWater, script: list[tuple[str, float]]
) -> None:
    water = replace(state, use_mm_d=[])
    for n, (what, amount) in enumerate(script):
        at_utc_s = 1e9 + 600.0 * n
        if what == "use":
            advance(water, SOIL, DAY, amount / 100.0)
        elif what == "told":
            correct(water, DAY, amount - 10.0, 2, at_utc_s)
        elif what == "water":
            add_water(water, amount, 0.08, at_utc_s)
        else:
            add_rain(water, SOIL, amount, at_utc_s)
        assert 0.0 < water.var_mm2 < math.inf
        assert 0.0 < water.var_thirst < math.inf
        assert 0.0 <= water.depletion_mm <= 77.0
        assert math.log(0.5) - 1e-9 <= water.log_thirst <= math.log(1.8) + 1e-9


def test_readings_pull_a_wrong_state_to_where_the_probes_are() -> None:
    water = bed(10.0)
    for hour in range(7 * 24):
        for _ in range(6):
            advance(water, SOIL, DAY, 0.0)
        correct(water, DAY, 40.0, 2, 1e9 + 3600.0 * hour)
    assert water.depletion_mm == pytest.approx(40.0, abs=1.5)


def test_just_after_water_a_reading_counts_for_less() -> None:
    settled, wet = bed(), bed()
    wet.wetted_utc_s = 1e9
    correct(settled, DAY, 20.0, 2, 1e9)
    correct(wet, DAY, 20.0, 2, 1e9)
    assert 20.0 < settled.depletion_mm < wet.depletion_mm < 30.0


@pytest.mark.parametrize("believed_mm", [0.0, 77.0], ids=["full", "at-wilting-point"])
@pytest.mark.parametrize("sure", [True, False], ids=["and-sure-of-it", "and-not-sure"])
@pytest.mark.parametrize("true_mm", [5.0, 40.0, 70.0])
def test_a_wrong_belief_is_righted_by_a_day_of_readings(
    believed_mm: float, sure: bool, true_mm: float
) -> None:
    water = bed(believed_mm, var_mm2=4.0 if sure else (0.2 * 77.0) ** 2)
    for hour in range(24):
        for _ in range(6):
            advance(water, SOIL, DAY, 0.0)
        correct(water, DAY, true_mm, 2, 1e9 + 3600.0 * hour)
    assert water.depletion_mm == pytest.approx(true_mm, abs=0.12 * 77.0)


def test_the_spread_is_never_less_than_what_a_beds_probes_share_nor_more_than_a_guess() -> None:
    known = bed(30.0, var_mm2=1e-6, full_odds_frac=FOUND, full_sd_m3_m3=0.0)
    assert spread_frac(known, replace(SOIL, probe_sd_m3_m3=0.0), DAY) == pytest.approx(
        SHARED_SD_FRAC, abs=1e-4
    )
    assert spread_frac(bed(30.0, var_mm2=1e6), SOIL, DAY) == SPREAD_MOST_FRAC


def test_a_doubtful_full_point_is_felt_most_in_a_full_bed_with_probes() -> None:
    full = bed(0.0, var_mm2=1.0, full_odds_frac=FOUND, full_sd_m3_m3=0.02)
    dry = bed(70.0, var_mm2=1.0, full_odds_frac=FOUND, full_sd_m3_m3=0.02)
    assert spread_frac(full, SOIL, DAY) > 1.5 * spread_frac(dry, SOIL, DAY)


def test_without_probes_it_is_the_other_way_round() -> None:
    full, dry = bed(0.0, var_mm2=1.0), bed(70.0, var_mm2=1.0)
    assert spread_frac(dry, SOIL, DAY) > 1.5 * spread_frac(full, SOIL, DAY)
