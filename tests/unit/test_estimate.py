"""The root zone's balance and filter: nothing is lost or negative, wetter is never drier."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.sensing.estimate import (
    BedSoil,
    add_rain,
    add_water,
    advance,
    correct,
    deepen,
    measured_mm,
    start,
    weights_m,
)
from controller.state import BedDay, BedWater

SOIL = BedSoil(
    bed="south",
    field_capacity_m3_m3=0.28,
    told_field_capacity_m3_m3=0.28,
    wilting_point_m3_m3=0.14,
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
    ("depth_mm", "depletion_mm", "below_mm"),
    [
        pytest.param(10.0, 20.0, 5.0, id="fits"),
        pytest.param(30.0, 0.0, 5.0, id="fills"),
        pytest.param(33.0, 0.0, 2.0, id="drains-to-the-ground-below"),
        pytest.param(100.0, 0.0, 0.0, id="drains-away"),
    ],
)
def test_water_fills_the_roots_first_and_then_the_ground_below(
    depth_mm: float, depletion_mm: float, below_mm: float
) -> None:
    water = bed()
    add_water(water, depth_mm, 0.08, 1e9)
    assert (water.depletion_mm, water.below_mm) == pytest.approx((depletion_mm, below_mm))


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


@settings(derandomize=True, max_examples=200)
@given(
    steps=st.lists(
        st.tuples(st.sampled_from(["water", "use"]), st.floats(0.0, 3.0)), min_size=1, max_size=60
    ),
    depletion_mm=st.floats(0.0, 77.0),
)
def test_the_balance_closes(steps: list[tuple[str, float]], depletion_mm: float) -> None:
    water = bed(depletion_mm, surface_mm=21.0)
    for kind, amount_mm in steps:
        before_mm = water.depletion_mm + water.below_mm
        if kind == "water":
            add_water(water, amount_mm, 0.08, 1e9)
            stored_mm = before_mm - water.depletion_mm - water.below_mm
            assert -1e-9 <= stored_mm <= amount_mm + 1e-9
            if water.below_mm > 0.0:
                assert stored_mm == pytest.approx(amount_mm)
        else:
            used_mm = water.use_today_mm
            advance(water, SOIL, DAY, min(amount_mm, 0.2))
            gained_mm = water.depletion_mm + water.below_mm - before_mm
            assert -1e-9 <= gained_mm <= water.use_today_mm - used_mm + 1e-9
        assert 0.0 <= water.depletion_mm <= 77.0
        assert water.below_mm >= 0.0


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


@pytest.mark.parametrize(
    ("theta", "told_mm"),
    [
        pytest.param(0.28, 0.0, id="full"),
        pytest.param(0.21, 38.5, id="half"),
        pytest.param(0.14, 77.0, id="wilting"),
        pytest.param(0.35, -38.5, id="wetter-than-full"),
    ],
)
def test_even_soil_tells_its_depletion(theta: float, told_mm: float) -> None:
    assert measured_mm(SOIL, [(40.0, theta), (20.0, theta)], 0.55) == pytest.approx(told_mm)


@pytest.mark.parametrize("told_mm", [math.nan, math.inf, -math.inf])
def test_a_reading_that_is_no_number_changes_nothing(told_mm: float) -> None:
    water, before = bed(), bed()
    assert correct(water, DAY, told_mm, 2, 1e9) is None
    assert water == before


def test_wetter_than_full_counts_as_full() -> None:
    water, full = bed(), bed()
    correct(water, DAY, -12.0, 2, 1e9)
    correct(full, DAY, 0.0, 2, 1e9)
    assert water == full


def test_a_probe_that_tells_nan_is_ignored_by_the_whole_bed() -> None:
    told_mm = measured_mm(SOIL, [(20.0, math.nan), (40.0, 0.2)], 0.55)
    water, before = bed(), bed()
    correct(water, DAY, told_mm, 2, 1e9)
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
    told_mm=st.floats(0.0, 120.0),
    wetter_by_mm=st.floats(0.0, 120.0),
    probes=st.integers(1, 3),
)
def test_a_wetter_reading_never_raises_depletion(
    state: BedWater, told_mm: float, wetter_by_mm: float, probes: int
) -> None:
    dry, wet = replace(state), replace(state)
    correct(dry, DAY, told_mm, probes, 1e9)
    correct(wet, DAY, max(0.0, told_mm - wetter_by_mm), probes, 1e9)
    assert wet.depletion_mm <= dry.depletion_mm + 1e-9
    assert wet.log_thirst <= dry.log_thirst + 1e-12
    assert wet.var_mm2 == dry.var_mm2


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
            correct(water, DAY, amount, 2, at_utc_s)
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
