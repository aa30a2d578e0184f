"""Whatever falls, flows, dries and drinks: no step makes or loses water in the simulated soil."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.soil_column import SoilColumn
from sim.soil_curve import Curve
from sim.soil_making import from_field_capacity

MASS_MM = 1e-6
SOILS = {
    "sand": (0.103, 0.050, 0.46),
    "sandy-loam": (0.179, 0.081, 0.45),
    "loam": (0.280, 0.137, 0.46),
    "clay": (0.421, 0.298, 0.50),
}


def rates(most: float) -> st.SearchStrategy[float]:
    """Nothing, or anything up to a most."""
    return st.one_of(st.just(0.0), st.floats(0.0, most))


STEPS = st.lists(
    st.fixed_dictionaries(
        {
            "hours": st.one_of(st.floats(1e-4, 0.2), st.floats(0.2, 30.0)),
            "irrigation_mm_h": rates(120.0),
            "rain_mm_h": rates(60.0),
            "evaporation_mm_h": rates(1.0),
            "transpiration_mm_h": rates(2.0),
            "side_rain_mm_h": st.one_of(st.none(), rates(80.0)),
        }
    ),
    min_size=1,
    max_size=25,
)


def run(column: SoilColumn, steps: list[dict[str, float | None]], roots_mm: list[float]) -> None:
    """Take every step and hold its own balance, and that no layer is empty or over-full."""
    before = column.mass_error_mm()
    full = column.curve.theta_s_m3_m3
    for i, step in enumerate(steps):
        column.set_roots(roots_mm[i % len(roots_mm)])
        column.step(**step)  # type: ignore[arg-type]
        error = column.mass_error_mm()
        assert abs(error - before) < MASS_MM
        before = error
        for water, layer in zip(column.water_mm, column.thickness_mm, strict=True):
            assert 0.0 < water / layer <= full + 1e-9
        assert column.pond_mm >= 0.0
        assert column.side_skin_mm >= 0.0


@settings(max_examples=30, deadline=None)
@given(
    steps=STEPS,
    start=st.floats(0.02, 0.98),
    roots_mm=st.lists(st.floats(20.0, 550.0), min_size=1, max_size=3),
    ground_width_m=st.sampled_from([0.6, 0.8, 1.2, 2.5]),
)
@pytest.mark.parametrize("soil", list(SOILS))
def test_every_single_step_closes_in_every_soil_at_every_width(
    soil: str,
    steps: list[dict[str, float | None]],
    start: float,
    roots_mm: list[float],
    ground_width_m: float,
) -> None:
    fc, wp, sat = SOILS[soil]
    made = from_field_capacity(fc, wp, saturation_m3_m3=sat, full_root_depth_m=0.55)
    theta = wp * 0.6 + start * (sat - wp * 0.6)
    column = made.column((theta,) * 10, strip_width_m=0.6, ground_width_m=ground_width_m)
    run(column, steps, roots_mm)


@settings(max_examples=20, deadline=None)
@given(
    steps=STEPS,
    start=st.floats(0.05, 0.99),
    floor_kpa=st.one_of(st.none(), st.floats(0.5, 20.0)),
    layers=st.lists(st.floats(5.0, 200.0), min_size=1, max_size=8),
)
def test_every_single_step_closes_over_every_floor(
    steps: list[dict[str, float | None]],
    start: float,
    floor_kpa: float | None,
    layers: list[float],
) -> None:
    curve = Curve(theta_s_m3_m3=0.46, entry_tension_kpa=0.4, b=6.0, ks_mm_h=300.0, k_cap_mm_h=200.0)
    column = SoilColumn(
        curve,
        thickness_mm=tuple(layers),
        zone_layers=1,
        theta_m3_m3=(0.46 * start,) * len(layers),
        wilting_point_m3_m3=0.10,
        floor_tension_kpa=floor_kpa,
        floor_gives=floor_kpa is not None,
    )
    run(column, steps, [layers[0]])
