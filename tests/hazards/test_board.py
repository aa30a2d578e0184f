"""The board and what runs on it: another controller beside this one, and a clock never set."""

from __future__ import annotations

import pytest

from controller.effects import Lease
from controller.events import BrokerRights, ForeignController
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

HOUR_S = 3600.0


@pytest.mark.hazard("B10", "C7", "B9")
def test_beside_another_controller_nothing_opens_whoever_asks_until_a_restart() -> None:
    bench = Bench(small_garden(master=True))
    bench.order("water", "south", litres=40.0)
    bench.live(120.0)
    assert bench.open_beds() == ["south"]
    bench.step(ForeignController(**bench.times(), epoch=bench.engine.state.epoch))
    assert not any(node.is_open for node in bench.nodes.values())
    leases = len(bench.of(Lease))
    bench.dry_out(0.9)
    bench.live(2 * HOUR_S)
    answer = bench.order("water", "south", litres=20.0)
    assert answer is not None
    assert (answer.status, answer.reason) == ("refused", "other_controller")
    assert len(bench.of(Lease)) == leases
    assert "other_controller" in bench.alert_codes()
    bench.restart(60.0)
    bench.connect()
    bench.dry_out(0.9)
    bench.live(HOUR_S)
    assert len(bench.of(Lease)) > leases, "once the other is gone and this one began anew"


@pytest.mark.hazard("B9")
def test_a_broker_that_lets_strangers_write_is_called_out_until_it_does_not() -> None:
    bench = Bench(small_garden())
    bench.step(BrokerRights(**bench.times(), open=True))
    assert "broker_open" in bench.alert_codes()
    answer = bench.order("water", "south", litres=20.0)
    assert answer is not None
    assert answer.status == "accepted", "the nonces hold; a dry crop helps nobody"
    bench.step(BrokerRights(**bench.times(), open=False))
    assert "broker_open" not in bench.alert_codes()


@pytest.mark.hazard("T4")
def test_a_garden_whose_clock_was_never_set_is_watered_by_its_soil() -> None:
    bench = Bench(small_garden(), clock_synced=False)
    bench.dry_out(0.45)
    bench.live(HOUR_S)
    assert bench.litres["south"] > 0.0


@pytest.mark.hazard("T4", "T1")
def test_over_a_reboot_without_a_set_clock_the_budget_stays_spent() -> None:
    bench = Bench(small_garden(bed_l_day=130.0, dose_l=110.0))
    bench.order("water", "south", litres=80.0)
    bench.live(3 * HOUR_S)
    assert bench.litres["south"] > 60.0
    bench.restart(3 * 86_400.0, trusted=False)
    bench.connect()
    bench.live(300.0)
    answer = bench.order("water", "south", litres=60.0)
    assert answer is not None
    assert answer.reason == "bed_cap"
