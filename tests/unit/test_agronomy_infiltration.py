"""Water into and out of a soil, stones, density: bounds, order, and equations put back."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from controller.agronomy import drip, infiltration, soil_bulk
from controller.agronomy.soil import CLASSES, conductivity_mm_h, soil_class, theta_at_m3_m3
from controller.agronomy.soil import tension_kpa as tension_of

NAMES = list(CLASSES)
ks_rates = st.floats(0.1, 500.0)
suctions = st.floats(1.0, 1000.0)
rooms = st.floats(0.01, 0.5)
hours = st.floats(0.0, 500.0)


@given(hours=hours, later=st.floats(0.0, 100.0), ks=ks_rates, suction=suctions, room=rooms)
@example(hours=0.0, later=5e-324, ks=1.0, suction=4.0, room=0.5)
def test_a_pond_goes_in_faster_than_by_weight_alone_and_never_comes_out(
    hours: float, later: float, ks: float, suction: float, room: float
) -> None:
    taken = infiltration.green_ampt_mm(hours, ks, suction, room)
    assert taken >= ks * hours - 1e-9
    assert infiltration.green_ampt_mm(hours + later, ks, suction, room) >= taken * (1.0 - 1e-12)


@given(hours=st.floats(1e-3, 500.0), ks=ks_rates, suction=suctions, room=rooms)
def test_what_went_in_solves_green_and_ampts_equation(
    hours: float, ks: float, suction: float, room: float
) -> None:
    pull = suction * room
    taken = infiltration.green_ampt_mm(hours, ks, suction, room)
    assert taken - pull * math.log1p(taken / pull) == pytest.approx(ks * hours, rel=1e-6)


@given(rate=st.floats(0.0, 1000.0), ks=ks_rates, suction=suctions, room=rooms)
def test_rain_ponds_when_the_soil_takes_no_more_than_it(
    rate: float, ks: float, suction: float, room: float
) -> None:
    until_h = infiltration.ponding_h(rate, ks, suction, room)
    if rate <= ks:
        assert until_h == math.inf
    elif rate > 1.01 * ks:
        then = infiltration.green_ampt_rate_mm_h(rate * until_h, ks, suction, room)
        assert then == pytest.approx(rate, rel=1e-6)


@pytest.mark.parametrize("name", NAMES)
@given(layer_m=st.floats(0.05, 2.0), hours=hours, more=st.floats(0.0, 500.0))
def test_a_layer_only_ever_drains(name: str, layer_m: float, hours: float, more: float) -> None:
    soil = soil_class(name)
    start = soil.saturation_m3_m3
    theta = infiltration.drained_theta_m3_m3(soil, start, layer_m, hours)
    assert 0.0 < theta <= start
    later = infiltration.drained_theta_m3_m3(soil, start, layer_m, hours + more)
    assert later <= theta
    onward = infiltration.drained_theta_m3_m3(soil, theta, layer_m, more)
    assert onward == pytest.approx(later, rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
@given(layer_m=st.floats(0.05, 2.0), rate_mm_d=st.floats(0.01, 50.0))
def test_drained_means_that_it_gives_no_more_than_the_rate(
    name: str, layer_m: float, rate_mm_d: float
) -> None:
    soil = soil_class(name)
    until_h = infiltration.drained_h(soil, layer_m, rate_mm_d)
    theta = infiltration.drained_theta_m3_m3(soil, soil.saturation_m3_m3, layer_m, until_h)
    gives = 24.0 * conductivity_mm_h(soil, theta)
    assert gives == pytest.approx(min(rate_mm_d, 24.0 * soil.ks_mm_h), rel=1e-6)


@pytest.mark.parametrize(
    "found",
    [
        pytest.param(infiltration.green_ampt_mm(math.nan, 6.5, 167.0, 0.34), id="no-time"),
        pytest.param(infiltration.green_ampt_mm(1.0, 6.5, 0.0, 0.34), id="no-suction"),
        pytest.param(infiltration.gardner_coefficient(1.0), id="exponent-of-one"),
        pytest.param(infiltration.gardner_most_mm_h(1.0, 3.0, 0.0), id="no-depth"),
        pytest.param(infiltration.drained_theta_m3_m3(CLASSES["loam"], 0.4, 0.0, 1.0), id="thin"),
        pytest.param(infiltration.drained_h(CLASSES["loam"], 0.3, math.nan), id="no-rate"),
    ],
)
def test_senseless_inputs_give_nan(found: float) -> None:
    assert math.isnan(found)


def test_nothing_is_in_before_the_first_moment() -> None:
    assert infiltration.green_ampt_mm(0.0, 6.5, 167.0, 0.34) == 0.0
    assert infiltration.green_ampt_rate_mm_h(0.0, 6.5, 167.0, 0.34) == math.inf


@pytest.mark.parametrize("name", NAMES)
@given(stones=st.floats(-1.0, 2.0), factor=st.floats(0.0, 3.0))
def test_stones_and_treading_keep_the_order_of_the_contents(
    name: str, stones: float, factor: float
) -> None:
    ours = soil_bulk.with_stones(soil_bulk.with_density(soil_class(name), factor), stones)
    assert 0.0 < ours.wilting_point_m3_m3 < ours.field_capacity_m3_m3 < ours.saturation_m3_m3
    assert 0.0 < ours.ks_mm_h < math.inf
    assert 0.0 < ours.b < math.inf


@pytest.mark.parametrize("name", NAMES)
@given(tension=st.floats(0.0, 1e6))
def test_content_and_tension_lead_back_to_each_other(name: str, tension: float) -> None:
    soil = soil_class(name)
    theta = theta_at_m3_m3(soil, tension)
    assert 0.0 < theta <= soil.saturation_m3_m3
    if tension > soil.air_entry_kpa * 1.000001 and theta > 0.002:
        assert tension_of(soil, theta) == pytest.approx(tension, rel=1e-6)


@given(litres=st.floats(0.01, 100.0), flow=st.floats(0.2, 20.0), ks=ks_rates)
def test_the_litres_for_a_depth_make_that_depth(litres: float, flow: float, ks: float) -> None:
    depth_m = drip.bulb_depth_m(litres, flow, ks)
    assert drip.bulb_litres(depth_m, flow, ks) == pytest.approx(litres, rel=1e-9)
