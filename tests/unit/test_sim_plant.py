"""The simulated plants: growth by warmth, stress by tension, yield by stage."""

from __future__ import annotations

import pytest

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
