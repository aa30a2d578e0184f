"""The turn of the year: what a new planting date begins anew, and what of the bed goes on."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from controller.agronomy.crop import Stage
from controller.agronomy.stages import Seen
from controller.events import GardenChanged, LedgerEntry, Started
from controller.garden import Garden
from controller.proving.memory import Walked
from controller.state import BedDay, BedWater
from controller.watering.guard import caps_of
from tests.engine_bench import Bench
from tests.engine_garden import START_UTC_S, small_garden

PLANTED = date(2026, 5, 9)
SPRING_UTC_S = datetime(2027, 5, 20, 18, 0, tzinfo=UTC).timestamp()
FULL_SHIFT_M3_M3 = 0.02


def planted(on: str) -> Garden:
    told = small_garden(master=True, meter=True).model_dump(mode="json")
    told["beds"]["south"]["transplanted"] = on
    return Garden.model_validate(told)


@pytest.fixture
def bench() -> Bench:
    """A bed in its third month that has learned and was told a lot."""
    lived = Bench(small_garden(master=True, meter=True))
    water, memory = water_of(lived), lived.engine.state.beds["south"]
    water.degree_days = 700.0
    water.log_thirst, water.var_thirst, water.cov_mm = 0.2, 0.004, 1.0
    water.full_shift_m3_m3 = water.full_said_m3_m3 = FULL_SHIFT_M3_M3
    memory.marks = {"first_flower": Seen(day=PLANTED.toordinal() + 30, degree_days=300.0)}
    memory.picks = [date(2026, 8, 1).toordinal()]
    lived.step(GardenChanged(**lived.times(), garden_json=lived.garden.model_dump_json()))
    assert today_of(lived).stage not in {Stage.ESTABLISHING, Stage.VEGETATIVE}
    return lived


def water_of(bench: Bench) -> BedWater:
    return bench.engine.state.water["south"]


def today_of(bench: Bench) -> BedDay:
    return bench.engine.state.days["south"]


def lacks_mm(bench: Bench) -> float:
    """What bed and ground lack together, down to the full depth."""
    water = water_of(bench)
    return water.depletion_mm - water.over_mm + water.below_mm


def winter(bench: Bench) -> None:
    """The wall clock of the next spring."""
    bench.wall_ahead_s += SPRING_UTC_S - START_UTC_S
    bench.tick(700.0)


def read_anew(bench: Bench, garden: Garden, how: str) -> None:
    """A reload of the garden file, or a restart with it."""
    told: dict[str, Any] = {"garden_json": garden.model_dump_json()}
    if how == "reload":
        bench.step(GardenChanged(**bench.times(), **told))
    else:
        state = bench.engine.state
        told |= {"stored_epoch": state.epoch, "ledger": tuple(state.ledger)}
        bench.step(Started(**bench.times(), trusted_s=bench.trusted_s, **told))


@pytest.mark.parametrize("how", ["reload", "restart"])
def test_other_plants_begin_anew_and_the_soil_and_the_pipes_go_on(bench: Bench, how: str) -> None:
    state = bench.engine.state
    entry = LedgerEntry(dose="d", bed="south", charged_l=7.0, ended_trusted_s=bench.trusted_s)
    state.ledger.append(entry)
    caps = caps_of(bench.engine.run, "south")
    winter(bench)
    old_m, before_mm = today_of(bench).root_depth_m, lacks_mm(bench)
    assert old_m > 0.4
    read_anew(bench, planted("2027-05-16"), how)
    day, water, memory = today_of(bench), water_of(bench), state.beds["south"]
    assert (day.stage, day.days_since_transplant) == (Stage.ESTABLISHING, 4.0)
    assert day.root_depth_m < 0.25
    assert water.degree_days <= 4 * 30.0
    assert (water.log_thirst, water.cov_mm) == (0.0, 0.0)
    assert water.var_thirst == pytest.approx(0.15**2, abs=1e-3)
    assert (memory.marks, memory.picks, memory.eye.looks) == ({}, [], 0)
    assert lacks_mm(bench) == pytest.approx(before_mm, abs=0.5)  # no water came or went
    assert water.full_shift_m3_m3 == FULL_SHIFT_M3_M3
    assert entry in state.ledger
    assert caps_of(bench.engine.run, "south") == caps
    assert [n.code for n in bench.notes("learned", "south")] == ["new_plants"]


def test_a_planting_to_come_holds_the_bed_and_counts_no_warmth(bench: Bench) -> None:
    winter(bench)
    read_anew(bench, planted("2027-06-10"), "reload")
    assert water_of(bench).degree_days == 0.0
    bench.live(1200.0, tick_s=60.0)
    assert bench.engine.state.beds["south"].said.code == "not_planted"


@pytest.mark.parametrize(("on", "days"), [("2026-05-12", -3), ("2026-05-06", 3)])
def test_a_date_put_right_moves_the_degree_days_and_forgets_nothing(
    bench: Bench, on: str, days: int
) -> None:
    state = bench.engine.state
    state.warmth_c_d = {PLANTED.toordinal() + n: 10.0 for n in range(-10, 68)}
    before_mm = lacks_mm(bench)
    read_anew(bench, planted(on), "reload")
    water, memory = water_of(bench), state.beds["south"]
    today = state.day - PLANTED.toordinal()
    assert water.degree_days == pytest.approx(10.0 * (today + days), abs=1e-6)
    assert water.log_thirst == 0.2
    assert "first_flower" in memory.marks
    assert lacks_mm(bench) == pytest.approx(before_mm, abs=1e-6)
    assert bench.notes("learned", "south") == []


def test_the_same_file_again_changes_nothing(bench: Bench) -> None:
    before = bench.engine.dump()
    read_anew(bench, bench.garden, "reload")
    after = bench.engine.state
    assert after.water["south"] == type(bench.engine).load(before).state.water["south"]
    assert after.days["south"] == type(bench.engine).load(before).state.days["south"]


# -- the walk


def walked(bench: Bench, at_utc_s: float) -> None:
    run = bench.engine.run
    run.state.proving.walks["south"] = Walked(
        mark=run.marks["south"],
        who="tester",
        at_utc_s=at_utc_s,
        verdict="ok",
        expected_l_min=1.6,
        flow_l_min=1.55,
    )


def test_after_a_winter_a_fresh_walk_is_asked_for_and_the_old_one_still_counts(
    bench: Bench,
) -> None:
    walked(bench, START_UTC_S)
    bench.live(120.0, tick_s=60.0)
    assert "walk_stale" not in bench.alert_codes()
    winter(bench)
    read_anew(bench, planted("2027-05-16"), "reload")
    bench.live(1200.0, tick_s=60.0)
    assert "walk_stale" in bench.alert_codes()
    assert "not_armed" not in bench.alert_codes()
    flow_l_min = bench.engine.state.proving.walks["south"].flow_l_min
    assert flow_l_min == 1.55  # goes on
    walked(bench, bench.at_utc_s)
    bench.live(1200.0, tick_s=60.0)
    assert "walk_stale" not in bench.alert_codes()
