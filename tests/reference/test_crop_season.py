"""The whole crop table, number by number, and the season's own numbers as the README tells them.

The first table is FAO-56's (11, 12, 17, 22, 24). What follows is not published: the degree-day
limits, the root curve, lines and floors are the project's own proposals, and these tests only hold
the code to what is said of them.
"""

from __future__ import annotations

import pytest

from controller.agronomy.crop import (
    Stage,
    coloured_fruit,
    kcb_climate_adjusted,
    kcb_of,
    line_and_floor,
    load_crops,
    p_adjusted,
    root_depth_m,
    stage_of,
)
from controller.agronomy.stages import kcb_on_day
from tests.printed import assert_ours

# Kcb ini, mid, mid staked, end, end staked; height; root least, most; p; ky; stage lengths.
Printed = tuple[float | tuple[float, ...] | None, ...]
TABLE: dict[str, Printed] = {
    "tomato": (0.15, 1.10, 1.15, 0.70, 0.80, 0.6, 0.7, 1.5, 0.40, 1.05, (30, 40, 45, 30)),
    "pepper": (0.15, 1.00, 1.10, 0.80, None, 0.7, 0.5, 1.0, 0.30, 1.10, (30, 35, 40, 20)),
    "cucumber": (0.15, 0.95, 1.10, 0.70, None, 0.3, 0.7, 1.2, 0.50, None, (20, 30, 40, 15)),
    "zucchini": (0.15, 0.90, None, 0.70, None, 0.3, 0.6, 1.0, 0.50, None, (25, 35, 25, 15)),
    "winter_squash": (0.15, 0.95, None, 0.70, None, 0.4, 1.0, 1.5, 0.35, None, (20, 30, 30, 20)),
    "bean": (0.15, 1.00, 1.10, 0.80, None, 0.4, 0.5, 0.7, 0.45, 1.15, (20, 30, 30, 10)),
    "lettuce": (0.15, 0.90, None, 0.90, None, 0.3, 0.3, 0.5, 0.30, None, (20, 30, 15, 10)),
}

# Degree-days to first flower, first set, main set over, first colour: our own proposals.
OWN: dict[str, tuple[float | None, ...]] = {
    "tomato": (300.0, 400.0, 650.0, 800.0),
    "pepper": (300.0, 400.0, 700.0, 1000.0),
    "cucumber": (250.0, None, None, None),
    "zucchini": (250.0, None, None, None),
    "winter_squash": (300.0, 400.0, 600.0, 900.0),
    "bean": (300.0, None, None, None),
    "lettuce": (None, None, None, None),
}


@pytest.mark.parametrize("name", TABLE)
def test_every_number_of_the_crop_table_is_the_printed_one(name: str) -> None:
    """FAO-56 tables 11, 12, 17, 22, 24; exact."""
    crop = load_crops()[name]
    found = (
        crop.kcb_ini,
        crop.kcb_mid,
        crop.kcb_mid_staked,
        crop.kcb_end,
        crop.kcb_end_staked,
        crop.height_m,
        crop.root_depth_least_m,
        crop.root_depth_most_m,
        crop.p_tab,
        crop.ky,
        crop.stage_d,
    )
    assert found == TABLE[name]


@pytest.mark.parametrize("name", OWN)
def test_the_degree_day_limits_are_the_proposed_ones(name: str) -> None:
    """Our own proposals; exact."""
    crop = load_crops()[name]
    found = (
        crop.first_flower_c_d,
        crop.first_set_c_d,
        crop.main_set_over_c_d,
        crop.first_colour_c_d,
    )
    assert found == OWN[name]


@pytest.mark.parametrize(
    ("day", "staked", "kcb"),
    [
        pytest.param(30.0, False, 0.15, id="initial"),
        pytest.param(50.0, False, 0.625, id="half-developed"),
        pytest.param(70.0, False, 1.10, id="mid-begins"),
        pytest.param(115.0, False, 1.10, id="mid-ends"),
        pytest.param(130.0, False, 0.90, id="half-way-down"),
        pytest.param(145.0, False, 0.70, id="end"),
        pytest.param(200.0, False, 0.70, id="after-the-end"),
        pytest.param(50.0, True, 0.65, id="staked-half-developed"),
        pytest.param(115.0, True, 1.15, id="staked-mid"),
        pytest.param(145.0, True, 0.80, id="staked-end"),
        pytest.param(float("nan"), False, 0.15, id="nan-is-the-smallest"),
    ],
)
def test_a_tomatos_coefficient_follows_the_calendar_of_table_11(
    day: float, staked: bool, kcb: float
) -> None:
    """FAO-56 eq. 66, Mediterranean tomato 30/40/45/30 d; worked by hand, 1e-12."""
    found = kcb_on_day(load_crops()["tomato"], day, staked=staked)
    assert found == pytest.approx(kcb, abs=1e-12)
    if day == 130.0:
        assert_ours("a bush tomato half way down, by the calendar", found)


@pytest.mark.parametrize(
    ("degree_days", "kcb"),
    [
        pytest.param(60.3, 0.15 + 0.95 * 0.3 / 440.0, id="growth-begins-at-60"),
        pytest.param(497.0, 0.15 + 0.95 * 437.0 / 440.0, id="full-cover-at-500"),
        pytest.param(1206.0, 1.10 - 0.40 * 6.0 / 300.0, id="decline-begins-at-1200"),
        pytest.param(1497.0, 1.10 - 0.40 * 297.0 / 300.0, id="decline-ends-at-1500"),
    ],
)
def test_a_bush_tomatos_coefficient_turns_at_its_limits(degree_days: float, kcb: float) -> None:
    """Our own limits of degree-days, FAO-56's values; worked by hand, 1e-12."""
    assert kcb_of(load_crops()["tomato"], degree_days, staked=False) == pytest.approx(
        kcb, abs=1e-12
    )


@pytest.mark.parametrize(
    ("habit", "staked", "stage", "kcb"),
    [
        pytest.param("determinate", False, Stage.COLOURING, 0.70, id="determinate-bush"),
        pytest.param("determinate", True, Stage.COLOURING, 1.15, id="determinate-staked"),
        pytest.param("indeterminate", True, Stage.SETTING, 1.15, id="indeterminate-staked"),
        pytest.param("indeterminate", False, Stage.SETTING, 0.70, id="indeterminate-sprawling"),
    ],
)
def test_habit_decides_the_stage_and_the_stake_the_coefficient(
    habit: str, staked: bool, stage: Stage, kcb: float
) -> None:
    """A tomato at 1600 degree-days: FAO-56 table 17 with its footnote."""
    tomato = load_crops()["tomato"]
    found = stage_of(
        crop=tomato,
        days_since_transplant=120.0,
        degree_days=1600.0,
        habit=habit,  # type: ignore[arg-type]
    )
    assert found is stage
    assert kcb_of(tomato, 1600.0, staked) == pytest.approx(kcb, abs=1e-12)


@pytest.mark.parametrize(
    ("stage", "line", "floor"),
    [
        pytest.param(Stage.ESTABLISHING, 0.25, 0.40, id="establishing"),
        pytest.param(Stage.VEGETATIVE, 0.50, 0.60, id="vegetative"),
        pytest.param(Stage.SETTING, 0.40, 0.50, id="setting"),
        pytest.param(Stage.SIZING, 0.42, 0.52, id="sizing"),
        pytest.param(Stage.COLOURING, 0.45, 0.55, id="colouring"),
    ],
)
def test_lines_and_floors_are_the_proposed_ones(stage: Stage, line: float, floor: float) -> None:
    """Our own proposals, at lean 0.5, and 0.08 either way at the ends; floor 0.65 at most."""
    assert line_and_floor(stage, 0.5) == (line, floor)
    assert line_and_floor(stage, 0.0) == pytest.approx((line - 0.08, floor - 0.08), abs=1e-12)
    leanest = line_and_floor(stage, 1.0)
    assert leanest == pytest.approx((line + 0.08, min(0.65, floor + 0.08)), abs=1e-12)


@pytest.mark.parametrize("crop", [name for name in TABLE if name != "tomato"])
def test_an_untried_crop_has_its_p_for_a_line_and_ten_points_to_its_floor(crop: str) -> None:
    """Line: p of FAO-56 table 22, for ETc 5 mm/d; the ten points are our own proposal."""
    p_tab = TABLE[crop][8]
    assert isinstance(p_tab, float)
    for stage in (Stage.VEGETATIVE, Stage.SETTING, Stage.SIZING, Stage.COLOURING):
        told = line_and_floor(stage, 0.5, (crop,))
        assert told == pytest.approx((p_tab, min(0.65, p_tab + 0.10)), abs=1e-12)
    # the first weeks are tomato's, where those are wetter
    young = line_and_floor(Stage.ESTABLISHING, 0.5, (crop,))
    assert young == pytest.approx((min(0.25, p_tab), min(0.40, p_tab + 0.10)), abs=1e-12)


def test_a_transplant_is_establishing_for_twelve_days_at_0_2_m() -> None:
    """Our own proposals: 12 days; roots 0.20 m, and a bed's whole depth at full cover."""
    tomato = load_crops()["tomato"]

    def stage(days: float) -> Stage:
        return stage_of(
            crop=tomato, days_since_transplant=days, degree_days=0.0, habit="determinate"
        )

    assert (stage(11.99), stage(12.0)) == (Stage.ESTABLISHING, Stage.VEGETATIVE)
    assert root_depth_m(11.99, 500.0, 0.55) == 0.20
    assert root_depth_m(12.0, 280.0, 0.55) == pytest.approx(0.375, abs=1e-12)
    assert root_depth_m(12.0, 500.0, 0.55) == 0.55


def test_a_tomato_whose_kind_is_not_told_colours_at_800() -> None:
    """Our own proposal."""
    assert not coloured_fruit(799.9)
    assert coloured_fruit(800.0)


@pytest.mark.parametrize(
    ("p_tab", "etc_mm_d", "p"),
    [
        pytest.param(0.30, 11.0, 0.10, id="lowest"),
        pytest.param(0.70, 0.0, 0.80, id="highest"),
    ],
)
def test_p_is_held_within_its_limits(p_tab: float, etc_mm_d: float, p: float) -> None:
    """FAO-56 table 22, note 2: 0.1 to 0.8; exact."""
    assert p_adjusted(p_tab, etc_mm_d) == p


@pytest.mark.parametrize(
    ("kcb_tab", "wind_m_s", "rh_min_pct", "height_m", "kcb"),
    [
        pytest.param(0.45, 3.0, 45.0, 3.0, 0.49, id="just-large-enough"),
        pytest.param(0.4499, 3.0, 45.0, 3.0, 0.4499, id="too-small"),
        pytest.param(1.0, 9.0, 45.0, 3.0, 1.16, id="wind-6-at-most"),
        pytest.param(1.0, 0.2, 45.0, 3.0, 0.96, id="wind-1-at-least"),
        pytest.param(1.0, 2.0, 5.0, 3.0, 1.10, id="rh-20-at-least"),
        pytest.param(1.0, 2.0, 95.0, 3.0, 0.86, id="rh-80-at-most"),
        pytest.param(1.0, 3.0, 45.0, 20.0, 1.057402, id="height-10-at-most"),
        pytest.param(1.0, 3.0, 45.0, 0.01, 1.014419, id="height-0.1-at-least"),
    ],
)
def test_the_climates_limits_are_the_printed_ones(
    kcb_tab: float, wind_m_s: float, rh_min_pct: float, height_m: float, kcb: float
) -> None:
    """FAO-56 eq. 70: Kcb 0.45 and more, 1-6 m/s, 20-80 %, and 0.1-10 m from memory; 1e-6."""
    found = kcb_climate_adjusted(
        kcb_tab, wind_m_s=wind_m_s, rh_min_pct=rh_min_pct, height_m=height_m
    )
    assert found == pytest.approx(kcb, abs=1e-6)
