"""Stages, roots, coefficients and lines: order, bounds, and what a missing number does."""

from __future__ import annotations

import math
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.agronomy import crop as agronomy
from controller.agronomy.crop import Stage, kcb_of, line_and_floor, load_crops, root_depth_m

TOMATO = load_crops()["tomato"]
NAMES = list(load_crops())
ORDER = list(Stage)
Habit = Literal["determinate", "indeterminate"]
temps_c = st.floats(-80.0, 80.0)
sums_c_d = st.floats(0.0, 5000.0)


def stage(
    days: float,
    degree_days: float,
    habit: Habit = "determinate",
    name: str = "tomato",
    topped: bool = False,
) -> Stage:
    return agronomy.stage_of(
        crop=load_crops()[name],
        days_since_transplant=days,
        degree_days=degree_days,
        habit=habit,
        topped=topped,
    )


@pytest.mark.parametrize(
    ("days", "degree_days", "expected"),
    [
        pytest.param(11.9, 0.0, Stage.ESTABLISHING, id="just-planted"),
        pytest.param(11.9, 400.0, Stage.ESTABLISHING, id="hot-first-days"),
        pytest.param(12.0, 100.0, Stage.VEGETATIVE, id="established"),
        pytest.param(30.0, 299.9, Stage.VEGETATIVE, id="before-first-flower"),
        pytest.param(30.0, 300.0, Stage.SETTING, id="first-flower"),
        pytest.param(60.0, 650.0, Stage.SIZING, id="main-set-over"),
        pytest.param(80.0, 800.0, Stage.COLOURING, id="first-colour"),
        pytest.param(80.0, math.nan, Stage.VEGETATIVE, id="nan-sum-is-the-dry-stage"),
        pytest.param(math.nan, 100.0, Stage.VEGETATIVE, id="nan-days-are-not-establishing"),
    ],
)
def test_a_bush_tomato_passes_through_its_stages(
    days: float, degree_days: float, expected: Stage
) -> None:
    assert stage(days, degree_days) is expected


def test_a_tall_tomato_stays_at_the_sensitive_stage_until_it_is_topped() -> None:
    assert stage(120, 1400, "indeterminate") is Stage.SETTING
    assert stage(120, 700, "indeterminate", topped=True) is Stage.SIZING
    assert stage(120, 1400, "indeterminate", topped=True) is Stage.COLOURING


@pytest.mark.parametrize("name", ["cucumber", "zucchini", "bean"])
def test_a_crop_picked_unripe_never_colours(name: str) -> None:
    assert stage(90, 1400, name=name) is Stage.SETTING
    assert not agronomy.coloured_fruit(1400, load_crops()[name])


def test_lettuce_is_never_dried_as_deeply_as_a_plant_before_flower() -> None:
    assert {stage(40, degree_days, name="lettuce") for degree_days in (0, 300, 900)} == {
        Stage.SIZING
    }


@pytest.mark.parametrize(
    ("degree_days", "expected"),
    [(799.9, False), (800.0, True), (math.nan, False)],
    ids=["just-before", "on-the-limit", "nan"],
)
def test_tomatoes_colour_at_their_limit(degree_days: float, expected: bool) -> None:
    assert agronomy.coloured_fruit(degree_days) is expected
    assert agronomy.coloured_fruit(degree_days, TOMATO) is expected


@pytest.mark.parametrize("name", NAMES)
@given(
    first=st.tuples(st.floats(0.0, 200.0), sums_c_d),
    step=st.tuples(st.floats(0.0, 100.0), st.floats(0.0, 2000.0)),
    habit=st.sampled_from(["determinate", "indeterminate"]),
)
def test_stages_never_go_back(
    name: str, first: tuple[float, float], step: tuple[float, float], habit: Habit
) -> None:
    before = stage(*first, habit, name)
    after = stage(first[0] + step[0], first[1] + step[1], habit, name)
    assert ORDER.index(after) >= ORDER.index(before)


@given(
    first=st.tuples(st.floats(0.0, 200.0), sums_c_d),
    step=st.tuples(st.floats(0.0, 100.0), st.floats(0.0, 2000.0)),
    full_m=st.floats(0.05, 1.5),
)
def test_roots_only_ever_grow_and_stay_in_their_bed(
    first: tuple[float, float], step: tuple[float, float], full_m: float
) -> None:
    young = root_depth_m(*first, full_m)
    older = root_depth_m(first[0] + step[0], first[1] + step[1], full_m)
    assert 0.0 < young <= older <= full_m


def test_roots_of_a_transplant_are_shallow_and_reach_down_by_full_cover() -> None:
    assert root_depth_m(5, 200, 0.55) == 0.2
    assert root_depth_m(20, 280, 0.55) == pytest.approx(0.375)
    assert root_depth_m(60, 500, 0.55) == 0.55


@pytest.mark.parametrize(
    ("degree_days", "staked", "expected"),
    [
        pytest.param(59.0, True, 0.15, id="initial"),
        pytest.param(280.0, True, 0.65, id="half-grown-staked"),
        pytest.param(280.0, False, 0.625, id="half-grown-bush"),
        pytest.param(500.0, True, 1.15, id="full-cover-staked"),
        pytest.param(1200.0, False, 1.10, id="bush-before-its-decline"),
        pytest.param(1350.0, False, 0.90, id="bush-half-way-down"),
        pytest.param(1500.0, False, 0.70, id="bush-at-its-end"),
        pytest.param(2500.0, False, 0.70, id="bush-past-its-end"),
        pytest.param(2500.0, True, 1.15, id="staked-never-declines"),
        pytest.param(math.nan, True, 0.15, id="nan-is-the-smallest"),
    ],
)
def test_kcb_rises_holds_and_falls_for_bush_tomatoes_only(
    degree_days: float, staked: bool, expected: float
) -> None:
    assert kcb_of(TOMATO, degree_days, staked) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("name", NAMES)
@given(degree_days=sums_c_d, staked=st.booleans())
def test_kcb_stays_between_its_tabulated_ends(name: str, degree_days: float, staked: bool) -> None:
    crop = load_crops()[name]
    found = kcb_of(crop, degree_days, staked)
    assert 0.15 - 1e-12 <= found <= (crop.kcb_mid_staked or crop.kcb_mid) + 1e-12


@pytest.mark.parametrize("one", list(Stage), ids=str)
@given(lean=st.floats(0.0, 1.0))
def test_the_line_is_always_wetter_than_the_floor(one: Stage, lean: float) -> None:
    line, floor = line_and_floor(one, lean)
    assert 0.0 < line < floor <= 0.65


@pytest.mark.parametrize("one", list(Stage), ids=str)
def test_a_leaner_garden_dries_further(one: Stage) -> None:
    lush, lean = line_and_floor(one, 0.0), line_and_floor(one, 1.0)
    assert lean[0] - lush[0] == pytest.approx(0.16)
    assert lean[1] > lush[1]


@given(tmin_c=temps_c, tmax_c=temps_c)
def test_degree_days_are_finite_and_never_negative(tmin_c: float, tmax_c: float) -> None:
    tmin_c, tmax_c = sorted((tmin_c, tmax_c))
    assert 0.0 <= agronomy.degree_days_capped(tmin_c, tmax_c) <= 20.0
    for form in (agronomy.degree_days_average, agronomy.degree_days_reduced):
        assert 0.0 <= form(tmin_c, tmax_c) < math.inf
    assert -1e-9 <= agronomy.degree_days_triangle(tmin_c, tmax_c) <= 20.0 + 1e-9


@given(p_tab=st.floats(0.0, 1.0), etc_mm_d=st.floats(-1e6, 1e6))
def test_p_keeps_its_limits(p_tab: float, etc_mm_d: float) -> None:
    assert 0.1 <= agronomy.p_adjusted(p_tab, etc_mm_d) <= 0.8


@given(
    wind_m_s=st.floats(-1e6, 1e6), rh_min_pct=st.floats(-1e6, 1e6), height_m=st.floats(-1e6, 1e6)
)
def test_the_climate_moves_a_kcb_a_little_only(
    wind_m_s: float, rh_min_pct: float, height_m: float
) -> None:
    adjusted = agronomy.kcb_climate_adjusted(
        1.1, wind_m_s=wind_m_s, rh_min_pct=rh_min_pct, height_m=height_m
    )
    assert abs(adjusted - 1.1) < 0.4
    small = agronomy.kcb_climate_adjusted(
        0.15, wind_m_s=wind_m_s, rh_min_pct=rh_min_pct, height_m=height_m
    )
    assert small == 0.15
