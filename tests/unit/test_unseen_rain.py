"""Rain that nobody measures: a bed in the dark is spared a part of its use, and no more."""

from __future__ import annotations

import pytest

from controller import grid, unseen_rain
from controller.events import WeatherReading
from controller.garden import Garden
from controller.unseen_rain import AFTER_D, COUNTED_FRAC
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden

STEP_MM = 0.03
HOUR_S = 3600.0


def garden(*, mast: bool = True) -> Garden:
    told = small_garden(hours="22:00-sunrise").model_dump(mode="json")
    return Garden.model_validate({**told, "weather": {"mast": {}} if mast else {}})


def in_the_dark(bench: Bench, days: float) -> Bench:
    run = bench.engine.run
    run.state.beds["south"].blind_trusted_s = run.trusted_s - days * DAY_S
    return bench


def hour(bench: Bench) -> tuple[float, float]:
    """What an hour took out of the bed, and what it would have without rain [mm]."""
    water = bench.engine.state.water["south"]
    before_mm, used_mm = water.depletion_mm, water.used_mm
    bench.live(HOUR_S, tick_s=60.0)
    return water.depletion_mm - before_mm, water.used_mm - used_mm


@pytest.fixture(autouse=True)
def _steady(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(grid, "step_eto_mm", lambda *_: STEP_MM)


def test_a_bed_in_the_dark_under_an_unknown_sky_is_spared_a_part_of_its_use() -> None:
    dried_mm, used_mm = hour(in_the_dark(Bench(garden()), AFTER_D + 1.0))
    assert used_mm > 0.0
    assert dried_mm == pytest.approx(COUNTED_FRAC * used_mm)


def test_within_a_day_of_its_last_word_nothing_is_spared() -> None:
    dried_mm, used_mm = hour(in_the_dark(Bench(garden()), AFTER_D - 0.1))
    assert dried_mm == pytest.approx(used_mm)


def test_a_bed_that_was_never_given_a_probe_is_spared_from_the_first_hour() -> None:
    told = small_garden().model_dump(mode="json")
    for bed in told["beds"].values():
        bed["probes"] = []
    told["probes"] = {}
    dried_mm, used_mm = hour(Bench(Garden.model_validate(told)))
    assert dried_mm == pytest.approx(COUNTED_FRAC * used_mm)


def mast_speaks(bench: Bench, rain_mm: float) -> None:
    bench.engine.step(
        WeatherReading(
            at_utc_s=bench.at_utc_s, mono_s=bench.now_s, mast="mast", rain_mm_total=rain_mm
        )
    )


def test_what_was_spared_is_taken_back_once_a_mast_tells_what_fell() -> None:
    bench = in_the_dark(Bench(garden()), AFTER_D + 1.0)
    dried_mm, used_mm = hour(bench)
    memory, water = bench.engine.state.beds["south"], bench.engine.state.water["south"]
    assert memory.spared_mm == pytest.approx(used_mm - dried_mm)
    before_mm, used_before_mm = water.depletion_mm, water.used_mm
    mast_speaks(bench, 0.0)
    bench.live(1200.0, tick_s=60.0)
    used_since_mm = water.used_mm - used_before_mm
    assert water.depletion_mm - before_mm == pytest.approx(used_mm - dried_mm + used_since_mm)
    assert memory.spared_mm == 0.0


def test_where_a_probe_speaks_again_nothing_is_taken_back() -> None:
    bench = in_the_dark(Bench(garden()), AFTER_D + 1.0)
    hour(bench)
    memory, water = bench.engine.state.beds["south"], bench.engine.state.water["south"]
    memory.blind_trusted_s = None
    before_mm = water.depletion_mm
    unseen_rain.settle(bench.engine.run, "south", 0.1, heard=True)
    assert (memory.spared_mm, water.depletion_mm) == (0.0, before_mm)


def test_a_wilted_bed_is_not_dried_further_by_what_is_taken_back() -> None:
    bench = in_the_dark(Bench(garden()), AFTER_D + 1.0)
    run = bench.engine.run
    memory, water = run.state.beds["south"], run.state.water["south"]
    memory.spared_mm, water.depletion_mm = 50.0, run.days["south"].taw_mm - 1.0
    unseen_rain.settle(run, "south", 0.0, heard=True)
    assert water.depletion_mm == run.days["south"].taw_mm
