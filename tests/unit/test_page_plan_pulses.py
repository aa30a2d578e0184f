"""What the page says of pulses before a watering by hand is what the engine then does."""

import pytest

from api.page import plans
from controller.events import Order, OrderKind
from controller.garden import Garden
from controller.watering.dosing import nominal_s
from controller.watering.ponding import pond_pulses
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

ROOM = {"dose_l": 200.0, "bed_l_day": 400.0, "site_l_day": 500.0}


def _garden(texture: str, emitters: int, *, meter: bool = True) -> Garden:
    told = small_garden(meter=meter, emitters=emitters, **ROOM).model_dump(
        mode="json", exclude_unset=True
    )
    for key in ("field_capacity_m3_m3", "wilting_point_m3_m3"):
        del told["beds"]["south"][key]
    told["beds"]["south"] |= {"soil": texture, "emitter_l_h": 2.0, "wetted_width_m": 0.3}
    return Garden.model_validate(told)


@pytest.mark.parametrize("meter", [True, False], ids=["metered", "unmetered"])
@pytest.mark.parametrize("litres", [12.0, 30.0, 60.0])
@pytest.mark.parametrize("texture", ["sand", "loam", "clay"])
def test_the_plan_has_the_engines_pulses(texture: str, litres: float, meter: bool) -> None:
    garden = _garden(texture, 48, meter=meter)
    bench = Bench(garden)
    bench.live(300.0)
    bench.step(
        Order(
            **bench.times(), order="o", who="Ann", what=OrderKind.WATER, bed="south", litres=litres
        )
    )
    answer = bench.answer("o")
    assert answer is not None
    assert answer.status == "accepted", answer
    watering = bench.engine.run.state.waterings["south"]
    flow = garden.beds["south"].flow_l_min
    assert plans.parts_of("south", litres, flow, garden).pulses == watering.pulses


def test_on_clay_the_pond_asks_for_more_pulses_than_the_longest_opening() -> None:
    """Else the test above would hold without the rule."""
    garden = _garden("clay", 48)
    flow = garden.beds["south"].flow_l_min
    assert pond_pulses(garden.beds["south"], nominal_s(60.0, flow)) > 1
    by_pond = plans.parts_of("south", 60.0, flow, garden).pulses
    assert by_pond > plans.parts_of("south", 60.0, flow, None).pulses
