"""The simulated soil: water is never made or lost, and it moves the way water moves."""

from __future__ import annotations

import ast
import random
from itertools import pairwise
from pathlib import Path

import pytest

import sim
from controller.errors import SeasonError
from sim.soil_column import POND_DEPTH_MM, SoilColumn
from sim.soil_curve import Curve
from sim.soil_making import from_field_capacity

STEP_H = 1.0 / 6.0
CLEAN = ("soil_column", "soil_curve", "soil_flow", "soil_making", "plant", "fruit")


def loam(theta: float, *, ground_width_m: float = 1.2) -> SoilColumn:
    soil = from_field_capacity(0.28, 0.137, saturation_m3_m3=0.46, full_root_depth_m=0.55)
    return soil.column((theta,) * 10, strip_width_m=0.8, ground_width_m=ground_width_m)


@pytest.mark.parametrize("module", CLEAN)
def test_soil_and_plant_know_nothing_of_the_controllers_agronomy(module: str) -> None:
    tree = ast.parse((Path(sim.__path__[0]) / f"{module}.py").read_text(encoding="utf-8"))
    named = [node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    named += [a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names]
    assert named
    assert [name for name in named if name.startswith("controller.")] in (
        [],
        ["controller.errors"],
    )
    # what they import of the simulator is clean in turn
    clean = {f"sim.{name}" for name in CLEAN}
    assert {name for name in named if name.startswith("sim.")} <= clean


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(
    ("fc", "wp", "sat"),
    [
        pytest.param(0.103, 0.050, 0.46, id="sand"),
        pytest.param(0.280, 0.137, 0.46, id="loam"),
        pytest.param(0.421, 0.298, 0.50, id="clay"),
    ],
)
def test_mass_closes_at_every_step_whatever_falls_and_flows(
    seed: int, fc: float, wp: float, sat: float
) -> None:
    draw = random.Random(seed)
    soil = from_field_capacity(fc, wp, saturation_m3_m3=sat, full_root_depth_m=0.55)
    column = soil.column((fc,) * 10, strip_width_m=0.8, ground_width_m=draw.choice([0.8, 1.2]))
    for _ in range(1500):
        column.step(
            draw.uniform(0.01, STEP_H),
            irrigation_mm_h=draw.choice([0.0, 0.0, 0.0, 8.0, 80.0]),
            rain_mm_h=draw.choice([0.0, 0.0, 0.0, 1.0, 30.0]),
            evaporation_mm_h=draw.choice([0.0, 0.5]),
            transpiration_mm_h=draw.choice([0.0, 1.5]),
            side_rain_mm_h=draw.choice([None, 0.0, 5.0]),
        )
        assert abs(column.mass_error_mm()) < 1e-6
        for water, thickness in zip(column.water_mm, column.thickness_mm, strict=True):
            assert 0.0 < water / thickness <= sat + 1e-9


def test_the_mass_error_would_be_seen() -> None:
    column = loam(0.25)
    column.water_mm[3] += 0.01
    assert column.mass_error_mm() == pytest.approx(-0.01)


def test_tension_and_content_are_each_others_inverse() -> None:
    curve = Curve(theta_s_m3_m3=0.46, entry_tension_kpa=0.3, b=7.0, ks_mm_h=500.0)
    for theta in (0.10, 0.20, 0.30, 0.45):
        assert curve.theta_m3_m3(curve.tension_kpa(theta)) == pytest.approx(theta)
    assert curve.theta_m3_m3(0.1) == 0.46


def test_flux_potential_is_the_conductivity_added_up_over_tension() -> None:
    curve = Curve(theta_s_m3_m3=0.46, entry_tension_kpa=0.3, b=7.0, ks_mm_h=500.0)
    ends = [20.0 * 1.01**i for i in range(401)]
    added = 0.0
    for low, high in pairwise(ends):
        middle = curve.conductivity_mm_h(curve.theta_m3_m3((low + high) / 2.0))
        added += middle * (high - low) * 101.97
    whole = curve.flux_potential_mm2_h(curve.theta_m3_m3(ends[0]))
    rest = curve.flux_potential_mm2_h(curve.theta_m3_m3(ends[-1]))
    assert whole - rest == pytest.approx(added, rel=1e-4)


@pytest.mark.parametrize("fc", [0.18, 0.28, 0.36], ids=["light", "middle", "heavy"])
def test_a_garden_s_column_at_rest_over_its_floor_stays_there(fc: float) -> None:
    soil = from_field_capacity(fc, 0.45 * fc, saturation_m3_m3=0.46, full_root_depth_m=0.55)
    whole = sum(soil.thickness_mm)
    top, rest = 0.0, []
    for layer in soil.thickness_mm:
        above_m = (whole - top - layer / 2.0) / 1000.0
        rest.append(soil.curve.theta_m3_m3(soil.floor_tension_kpa + 9.807 * above_m))
        top += layer
    column = soil.column(tuple(rest))
    before = list(column.water_mm)
    column.step(24.0 * 20.0)
    assert column.water_mm == pytest.approx(before, abs=0.01)
    assert column.drained_mm == pytest.approx(0.0, abs=0.01)


def test_roots_drink_what_is_left_and_no_more() -> None:
    column = loam(0.1372)
    column.step(STEP_H, transpiration_mm_h=200.0)
    assert 0.0 < column.transpired_mm < 0.2
    assert column.root_theta_m3_m3() >= 0.137 - 1e-9


def test_a_long_step_beside_a_dry_strip_never_empties_the_side() -> None:
    soil = from_field_capacity(0.179, 0.081, saturation_m3_m3=0.45, full_root_depth_m=0.55)
    column = soil.column((0.15,) * 10, strip_width_m=0.6, ground_width_m=0.8)
    column.step(12.0, rain_mm_h=13.0)
    column.step(12.0)
    assert column.side_mm > 0.081 * sum(column.thickness_mm)
    assert column.mass_error_mm() == pytest.approx(0.0, abs=1e-6)


def test_conductivity_never_exceeds_its_cap() -> None:
    curve = Curve(theta_s_m3_m3=0.46, entry_tension_kpa=0.3, b=7.0, ks_mm_h=900.0, k_cap_mm_h=200.0)
    assert curve.conductivity_mm_h(0.46) == 200.0
    assert curve.conductivity_mm_h(0.30) < 10.0


def test_covered_soil_at_rest_keeps_its_water() -> None:
    column = loam(0.20)
    before = column.stored_mm()
    for _ in range(6 * 24 * 5):
        column.step(STEP_H)
    assert column.stored_mm() == pytest.approx(before, abs=1e-9)
    assert column.drained_mm == 0.0


def test_roots_of_a_dry_top_drink_deeper() -> None:
    drunk, left = loam(0.26), loam(0.26)
    for column in (drunk, left):
        column.water_mm[0] = 0.14 * 50.0
        column.water_mm[1] = 0.14 * 50.0
    drunk.step(0.001, transpiration_mm_h=100.0)
    left.step(0.001)
    taken = [a - b for a, b in zip(left.water_mm, drunk.water_mm, strict=True)]
    assert sum(taken) == pytest.approx(0.1, abs=1e-6)
    assert taken[2] > 10.0 * taken[0]
    assert sum(taken[7:]) == pytest.approx(0.0, abs=1e-5)


def test_roots_take_nothing_below_the_wilting_point() -> None:
    column = loam(0.136)
    column.step(STEP_H, transpiration_mm_h=1.0)
    assert column.transpired_mm == 0.0


def test_evaporation_slows_as_the_surface_dries() -> None:
    column = loam(0.25)
    lost = []
    for _ in range(8):
        before = column.evaporated_mm
        for _ in range(6 * 24):
            column.step(STEP_H, evaporation_mm_h=0.25)
        lost.append(column.evaporated_mm - before)
    assert lost[0] > 2.0 * lost[-1]
    assert column.water_mm[0] / 50.0 >= 0.5 * 0.137 - 1e-9


def test_more_than_the_soil_takes_stands_and_then_runs_to_the_side() -> None:
    soil = from_field_capacity(0.421, 0.298, saturation_m3_m3=0.50, full_root_depth_m=0.55)
    column = soil.column((0.45,) * 10, strip_width_m=0.8, ground_width_m=1.2)
    for _ in range(6):
        column.step(STEP_H, irrigation_mm_h=200.0, side_rain_mm_h=0.0)
    assert column.pond_mm == POND_DEPTH_MM
    assert column.side_skin_mm + column.side_mm > 0.45 * sum(column.thickness_mm) + 10.0


def test_a_strip_as_wide_as_the_ground_sheds_what_it_cannot_hold() -> None:
    column = loam(0.45, ground_width_m=0.8)
    for _ in range(12):
        column.step(STEP_H, irrigation_mm_h=300.0)
    assert column.runoff_mm > 50.0
    assert column.mass_error_mm() == pytest.approx(0.0, abs=1e-6)


def test_a_wet_side_feeds_a_dry_strip() -> None:
    column = loam(0.18)
    column.side_mm = 0.28 * sum(column.thickness_mm)
    before = sum(column.water_mm)
    for _ in range(6 * 24):
        column.step(STEP_H)
    assert 0.2 < sum(column.water_mm) - before < 5.0


def test_content_between_layers_lies_between_theirs() -> None:
    column = loam(0.20)
    column.water_mm[0] = 0.30 * 50.0
    assert column.theta_at(0.0) == 0.30
    assert column.theta_at(50.0) == pytest.approx(0.25)
    assert column.theta_at(400.0) == pytest.approx(0.20)
    assert column.theta_at(5000.0) == pytest.approx(0.20)


@pytest.mark.parametrize(
    ("fc", "wp", "sat", "depth_m"),
    [
        pytest.param(0.10, 0.20, 0.46, 0.5, id="wilting-above-field-capacity"),
        pytest.param(0.50, 0.20, 0.46, 0.5, id="field-capacity-above-saturation"),
        pytest.param(0.28, 0.00, 0.46, 0.5, id="no-wilting-point"),
        pytest.param(0.28, 0.13, 0.46, 0.1, id="roots-too-shallow"),
        pytest.param(float("nan"), 0.13, 0.46, 0.5, id="nan"),
    ],
)
def test_a_soil_that_cannot_be_is_refused(fc: float, wp: float, sat: float, depth_m: float) -> None:
    with pytest.raises(SeasonError, match="are allowed"):
        from_field_capacity(fc, wp, saturation_m3_m3=sat, full_root_depth_m=depth_m)
