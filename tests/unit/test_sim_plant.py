"""The simulated plants: growth by warmth, stress by tension, yield by stage."""

from __future__ import annotations

import pytest

from sim.fruit import Fruit, relief_risk
from sim.plant import Growth, Plant, degree_days, depletion_p, openness


@pytest.mark.parametrize(
    ("tmin_c", "tmax_c", "warmth"),
    [
        pytest.param(14.0, 28.0, 11.0, id="mild"),
        pytest.param(18.0, 35.0, 14.0, id="hot-is-capped"),
        pytest.param(6.0, 24.0, 7.0, id="cold-night-is-clipped"),
        pytest.param(-3.0, 8.0, 0.0, id="too-cold"),
    ],
)
def test_degree_days(tmin_c: float, tmax_c: float, warmth: float) -> None:
    assert degree_days(tmin_c, tmax_c) == pytest.approx(warmth)


@pytest.mark.parametrize(("etc", "p"), [(2.0, 0.52), (5.0, 0.40), (8.0, 0.28), (20.0, 0.10)])
def test_stress_begins_earlier_on_a_hot_day(etc: float, p: float) -> None:
    """FAO-56 Table 22, note 2: tomato 0.52, 0.40 and 0.28 at 2, 5 and 8 mm/d; at least 0.1."""
    assert depletion_p(etc) == pytest.approx(p)


def test_leaves_close_from_their_tension_to_wilting() -> None:
    assert openness(49.0, 50.0) == 1.0
    assert openness(50.0, 50.0) == 1.0
    assert 0.99 > openness(60.0, 50.0) > openness(200.0, 50.0) > openness(1400.0, 50.0) > 0.0
    assert openness(1500.0, 50.0) == 0.0


def grown(days: int, *, share: float = 1.0, kc_factor: float = 1.0) -> Plant:
    plant = Plant(0.55, kc_factor=kc_factor)
    for _ in range(days):
        plant.new_day(14.0, 26.0, 5.0)
        plant.day_potential_mm = plant.water_use * 5.0
        plant.day_actual_mm = share * plant.day_potential_mm
    plant.close_day()
    return plant


def test_plants_cover_root_and_drink_more_as_they_grow() -> None:
    young, grown_up = grown(3), grown(70)
    assert young.root_depth_m == 0.20
    assert grown_up.root_depth_m == 0.55
    assert young.cover_frac < 0.1 < 0.79 < grown_up.cover_frac
    assert young.water_use < 0.2 < 1.1 < grown_up.water_use
    assert grown(70, kc_factor=1.15).water_use == pytest.approx(1.15 * grown_up.water_use)


def test_stages_and_fruit_follow_the_warmth() -> None:
    assert [grown(days).growth for days in (10, 35, 60, 90)] == list(Growth)
    assert not grown(60).has_coloured_fruit
    assert grown(90).has_coloured_fruit
    assert grown(90).trusses_set > grown(90).trusses_coloured > 0


def test_unstressed_plants_yield_fully() -> None:
    assert grown(120).relative_yield == 1.0


def test_thirst_costs_yield_by_stage() -> None:
    """With T/Tp = 0.8 all along: (1 - 0.4 x 0.2)(1 - 1.1 x 0.2)(1 - 0.8 x 0.2)(1 - 0.4 x 0.2)."""
    assert grown(120, share=0.8).relative_yield == pytest.approx(
        0.92 * 0.78 * 0.84 * 0.92, abs=1e-9
    )


def test_thirst_slows_the_cover() -> None:
    assert grown(40, share=0.5).cover_frac < grown(40).cover_frac


@pytest.mark.parametrize(
    ("opened", "seen"),
    [
        pytest.param(1.0, 0, id="upright"),
        pytest.param(0.85, 1, id="rolled"),
        pytest.param(0.2, 2, id="limp"),
    ],
)
def test_what_a_person_sees_in_the_morning(opened: float, seen: int) -> None:
    assert Plant.posture(opened) == seen


@pytest.mark.parametrize(
    ("opened", "eto_mm_h", "seen"),
    [
        pytest.param(1.0, 0.4, 0, id="mild-noon"),
        pytest.param(1.0, 0.9, 1, id="hot-noon-flags-though-wet"),
        pytest.param(1.0, 2.0, 1, id="heat-alone-never-makes-limp"),
        pytest.param(0.65, 0.4, 1, id="short-mild-noon"),
        pytest.param(0.65, 0.9, 2, id="short-and-hot"),
    ],
)
def test_what_a_person_sees_at_midday(opened: float, eto_mm_h: float, seen: int) -> None:
    assert Plant.posture_midday(opened, eto_mm_h) == seen


def test_trusses_flower_set_and_colour_on_their_days() -> None:
    """10 °C d a day: 300 to flower on day 29, 75 more each, 100 to set, 500 to colour."""
    trusses = grown(90).trusses
    assert [truss.flower_day for truss in trusses[:3]] == [29, 37, 44]
    assert [truss.set_day for truss in trusses[:3]] == [39, 47, 54]
    assert [truss.colour_day for truss in trusses[:3]] == [79, 87, None]


@pytest.mark.parametrize(
    ("before_kpa", "after_kpa", "risk"),
    [
        pytest.param(30.0, 5.0, 0.0, id="was-not-dry"),
        pytest.param(60.0, 15.0, 0.25, id="working-limits"),
        pytest.param(120.0, 15.0, 1.0, id="full"),
        pytest.param(900.0, 10.0, 1.0, id="no-more-than-full"),
        pytest.param(100.0, 60.0, 0.0, id="hardly-relieved"),
        pytest.param(20.0, 40.0, 0.0, id="drying"),
    ],
)
def test_a_relief_counts_by_dryness_and_by_fall(
    before_kpa: float, after_kpa: float, risk: float
) -> None:
    assert relief_risk(before_kpa, after_kpa) == pytest.approx(risk)


def test_green_fruit_does_not_crack() -> None:
    fruit = Fruit()
    fruit.grow(50, 700.0)
    fruit.relieved(200.0, 10.0)
    fruit.end_day(50, 1.0, 1.0, 1.0)
    assert fruit.cracking_risk == 0.0
    fruit.grow(60, 800.0)
    fruit.relieved(200.0, 10.0)
    assert fruit.cracking_risk == 1.0
    fruit.end_day(60, 1.0, 0.0, 0.5)
    assert fruit.cracking_risk == pytest.approx(1.15)


def fruit_with(*, hurt_from: int, hurt_to: int, kept: float = 1.0, wet: float = 0.0) -> Fruit:
    """One truss that sets on day 10 and fifty days of which some are bad."""
    fruit = Fruit()
    fruit.grow(0, 300.0)
    for day in range(50):
        if day == 10:
            fruit.grow(day, 374.0 + 26.0)
        bad = hurt_from <= day < hurt_to
        fruit.end_day(day, kept if bad else 1.0, wet if bad else 0.0, 0.0)
    return fruit


@pytest.mark.parametrize(
    ("hurt_from", "hurt_to", "kept", "wet", "risk"),
    [
        pytest.param(10, 24, 0.5, 0.0, 1.0, id="dry-all-two-weeks"),
        pytest.param(10, 24, 0.75, 0.0, 0.5, id="half-as-short"),
        pytest.param(10, 17, 1.0, 1.0, 0.5, id="drowned-one-of-two-weeks"),
        pytest.param(10, 24, 0.0, 1.0, 1.0, id="never-over-one"),
        pytest.param(24, 50, 0.0, 1.0, 0.0, id="coin-sized-fruit-are-past-it"),
        pytest.param(0, 10, 0.0, 1.0, 0.0, id="before-the-set"),
    ],
)
def test_blossom_end_rot_comes_from_the_two_weeks_after_the_set(
    hurt_from: int, hurt_to: int, kept: float, wet: float, risk: float
) -> None:
    fruit = fruit_with(hurt_from=hurt_from, hurt_to=hurt_to, kept=kept, wet=wet)
    assert fruit.trusses[0].blossom_end_rot_risk == pytest.approx(risk)


def test_unset_trusses_do_not_water_the_rot_down() -> None:
    fruit = fruit_with(hurt_from=10, hurt_to=24, kept=0.5)
    assert len(fruit.trusses) == 2
    assert fruit.blossom_end_rot_risk == pytest.approx(1.0)
