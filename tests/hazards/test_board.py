"""The board and what runs on it: another controller beside this one, and a clock never set."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller import clock
from controller.effects import Lease
from controller.events import BrokerRights, ClockState, ForeignController
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


def dry_at_eleven(**started: bool) -> Bench:
    """A dry bed at 23:00, whose hours begin at one."""
    bench = Bench(small_garden(hours="01:00-02:00"), **started)
    bench.dry_out(0.45)
    return bench


def begun(bench: Bench) -> int:
    return bench.engine.state.waterings_started


@pytest.mark.hazard("T4")
def test_no_hours_hold_while_the_clock_is_not_set_and_each_bed_has_its_turn_a_day() -> None:
    unset, known = dry_at_eleven(clock_synced=False), dry_at_eleven()
    for bench in (unset, known):
        bench.live(HOUR_S)
    assert (begun(unset), begun(known)) == (1, 0)
    assert ("clock_unsynced" in unset.alert_codes(), known.alert_codes()) == (True, set())
    unset.wall_ahead_s += 400 * 86_400.0  # wherever its clock goes meanwhile
    unset.live(20 * HOUR_S, tick_s=60.0)
    assert begun(unset) == 1, "judged again within its 24 hours"
    unset.live(5 * HOUR_S, tick_s=60.0)
    assert begun(unset) == 2


@pytest.mark.hazard("T4")
def test_as_soon_as_the_clock_is_set_the_hours_hold() -> None:
    bench = dry_at_eleven(clock_synced=False)
    bench.step(ClockState(**bench.times(), synced=True))
    bench.live(HOUR_S)
    assert (begun(bench), bench.alert_codes()) == (0, set())
    bench.live(2 * HOUR_S)
    assert begun(bench) == 1
    bench.step(ClockState(**bench.times(), synced=False))
    bench.live(600.0)
    assert bench.alert_codes() == {"clock_unsynced"}


@pytest.mark.hazard("T4")
@pytest.mark.parametrize(
    ("marked", "serviced", "kernel", "now_s", "speed", "unset"),
    [
        pytest.param(True, True, True, 2e9, 1.0, False, id="the-service-says-set"),
        pytest.param(False, True, False, 2e9, 1.0, True, id="the-service-has-not-yet"),
        pytest.param(False, False, True, 2e9, 1.0, True, id="the-kernel-says-unset"),
        pytest.param(False, False, False, 2e9, 1.0, False, id="nobody-tells"),
        pytest.param(False, False, False, 1e9, 1.0, True, id="that-year-is-over"),
        pytest.param(False, True, True, 1e9, 60.0, False, id="a-trial"),
    ],
)
def test_what_the_system_says_of_its_clock(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    marked: bool,
    serviced: bool,
    kernel: bool,
    now_s: float,
    speed: float,
    unset: bool,
) -> None:
    mark = tmp_path / "timesync" / "synchronized"
    if serviced:
        mark.parent.mkdir()
    if marked:
        mark.touch()
    monkeypatch.setattr(clock, "SYNCED_MARK", mark)
    monkeypatch.setattr(clock, "kernel_says_unset", lambda: kernel)
    monkeypatch.setattr("controller.clock.time.time", lambda: now_s)
    assert clock.ScaledClock(speed).known_unset() is unset


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
