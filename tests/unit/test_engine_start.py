"""The quiet start: only closes, one epoch above all that is known, and lost history costs a day."""

from __future__ import annotations

import json
from typing import Any

import pytest

from controller.effects import Alerts, Close, Lease, Note, Ready, Reserve, SaveEpoch
from controller.engine import Engine
from controller.events import (
    ForeignController,
    LedgerEntry,
    LinkUp,
    Order,
    OrderKind,
    Started,
    Tick,
    ValveReport,
)
from controller.garden import Garden, load_garden
from sim.examples import find_garden
from sim.trial import lived
from tests.engine_bench import Bench
from tests.engine_garden import QUIET_S, START_UTC_S, small_garden


def report(at_s: float, **told: Any) -> ValveReport:
    fields: dict[str, Any] = {
        "valve": "south",
        "open": False,
        "left_s": 0.0,
        "dose": "",
        "boot": "b",
        "epoch": 0,
        "seq": 0,
        "contract": 1,
    }
    return ValveReport(at_utc_s=START_UTC_S + at_s, mono_s=at_s, **{**fields, **told})


def started(**told: Any) -> Started:
    return Started(
        **{"at_utc_s": START_UTC_S, "mono_s": 0.0, "trusted_s": 0.0, "stored_epoch": 0, **told}
    )


def tick(at_s: float) -> Tick:
    return Tick(at_utc_s=START_UTC_S + at_s, mono_s=at_s)


def begun(garden: Garden | None = None, **told: Any) -> Engine:
    engine = Engine(garden or small_garden())
    engine.step(started(**told))
    engine.step(LinkUp(at_utc_s=START_UTC_S, mono_s=0.0))
    return engine


def epoch_after(engine: Engine) -> int:
    effects = engine.step(tick(QUIET_S))
    ready = [e for e in effects if isinstance(e, Ready)]
    saved = [e for e in effects if isinstance(e, SaveEpoch)]
    assert len(ready) == len(saved) == 1
    assert ready[0].epoch == saved[0].epoch
    return ready[0].epoch


def test_the_first_thing_that_is_sent_closes_every_valve_bed_valves_first() -> None:
    engine = Engine(small_garden(beds=("south", "wall"), master=True))
    effects = engine.step(started())
    closed = [effect.valve for effect in effects if isinstance(effect, Close)]
    assert closed == ["south", "wall", "master"]


@pytest.mark.hazard("C1", "C5")
def test_only_closes_go_out_until_every_older_permission_has_run_out() -> None:
    bench = Bench(small_garden(master=True), ready=False)
    bench.connect()
    bench.dry_out(0.9)
    bench.order("water", "south", litres=20.0)
    while bench.now_s < QUIET_S - 1.0:
        effects = bench.tick(1.0)
        assert all(isinstance(effect, Close | Note | Alerts) for effect in effects)
        assert not bench.is_ready
    assert bench.of(Lease) == bench.of(Reserve) == []
    bench.tick(1.0)
    assert bench.is_ready


def test_a_dry_bed_waits_for_the_quiet_start_to_end_and_drinks_then() -> None:
    bench = Bench(small_garden(), ready=False)
    bench.connect()
    bench.dry_out(0.45)
    bench.live(QUIET_S + 20.0)
    assert bench.leases("south")[0] >= QUIET_S


def test_time_without_a_link_counts_for_the_quiet_start_but_opens_nothing() -> None:
    bench = Bench(small_garden(), ready=False)
    bench.live(QUIET_S + 60.0)
    assert bench.is_ready
    bench.order("water", "south", litres=20.0)
    assert bench.of(Lease) == []


@pytest.mark.parametrize(
    ("stored", "heard", "epoch"),
    [
        pytest.param(0, [], 1, id="first-start"),
        pytest.param(7, [], 8, id="stored"),
        pytest.param(7, [3, 7], 8, id="heard-less"),
        pytest.param(7, [9, 4], 10, id="heard-more"),
        pytest.param(0, [9], 10, id="store-lost"),
    ],
)
def test_the_epoch_is_one_above_all_that_is_stored_or_heard(
    stored: int, heard: list[int], epoch: int
) -> None:
    engine = begun(stored_epoch=stored, stored_seq=99)
    for n, one in enumerate(heard):
        engine.step(report(5.0 + n, epoch=one, seq=1, boot=f"b{n}"))
    assert epoch_after(engine) == epoch


def test_a_retained_word_of_another_controller_counts_before_ready() -> None:
    engine = begun(stored_epoch=2)
    engine.step(ForeignController(at_utc_s=START_UTC_S + 1, mono_s=1.0, epoch=5))
    assert epoch_after(engine) == 6
    assert "history_lost" in engine.state.alerts
    assert not engine.state.foreign


def test_ones_own_retained_word_is_neither_foreign_nor_lost_history() -> None:
    engine = begun(stored_epoch=5)
    engine.step(ForeignController(at_utc_s=START_UTC_S + 1, mono_s=1.0, epoch=5))
    assert epoch_after(engine) == 6
    assert engine.state.alerts == {}


@pytest.mark.hazard("B10", "C7")
def test_another_controller_of_the_same_epoch_stops_everything_once_ready() -> None:
    bench = Bench(small_garden(master=True))
    bench.dry_out(0.45)
    bench.live(300.0)
    assert bench.open_beds() == ["south"]
    bench.step(ForeignController(**bench.times(), epoch=bench.engine.state.epoch))
    assert bench.open_beds() == []
    leases = len(bench.of(Lease))
    bench.live(1200.0)
    assert len(bench.of(Lease)) == leases
    assert "other_controller" in bench.alert_codes()


@pytest.mark.parametrize(
    ("epoch", "seq", "lost"),
    [
        pytest.param(3, 40, False, id="what-was-stored"),
        pytest.param(3, 41, True, id="a-higher-sequence"),
        pytest.param(4, 1, True, id="a-higher-epoch"),
        pytest.param(2, 500, False, id="an-older-epoch"),
        pytest.param(0, 0, False, id="an-unused-node"),
    ],
)
def test_a_node_that_obeyed_more_than_is_stored_means_lost_history(
    epoch: int, seq: int, lost: bool
) -> None:
    engine = begun(stored_epoch=3, stored_seq=40)
    engine.step(report(5.0, epoch=epoch, seq=seq))
    assert ("history_lost" in engine.state.alerts) is lost
    spent_s = engine.state.budget_spent_until_trusted_s
    assert (spent_s is not None) is lost


@pytest.mark.hazard("S3", "S4")
def test_lost_history_waters_nothing_for_a_day_and_a_person_may_vouch() -> None:
    bench = Bench(small_garden(), history="lost")
    bench.dry_out(0.45)
    answer = bench.order("water", "south", litres=20.0)
    assert answer is not None
    assert (answer.status, answer.reason) == ("refused", "budget_spent")
    bench.live(1200.0, tick_s=20.0)
    assert bench.of(Lease) == []
    bench.order("clear", alert="history_lost", why="I turned it off myself")
    bench.live(1200.0, tick_s=20.0)
    assert bench.litres["south"] > 0.0


def test_lost_history_ends_by_itself_after_a_day_of_trusted_time() -> None:
    bench = Bench(small_garden(), history="lost")
    bench.dry_out(0.45)
    bench.wall_ahead_s += 25 * 3600.0  # a clock that jumps does not help
    bench.live(86_000.0, tick_s=300.0)
    assert bench.of(Lease) == []
    bench.live(2000.0, tick_s=20.0)
    assert bench.of(Lease) != []


@pytest.mark.hazard("E5")
def test_a_valve_found_open_is_told_to_close_again() -> None:
    engine = begun()
    effects = engine.step(report(5.0, open=True, left_s=60.0, dose="old", epoch=0, seq=0))
    assert [e.valve for e in effects if isinstance(e, Close)] == ["south"]


def test_the_ledger_of_the_store_counts_from_the_first_moment() -> None:
    entry = LedgerEntry(dose="1-1", bed="south", charged_l=115.0, ended_trusted_s=500.0)
    bench = Bench(small_garden(), trusted_s=1000.0, ledger=(entry,))
    answer = bench.order("water", "south", litres=20.0)
    assert answer is not None
    assert answer.reason == "bed_cap"  # 122 L a day, 115 of them gone


@pytest.mark.hazard("C1")
def test_a_dose_cut_by_a_crash_is_not_resumed() -> None:
    bench = Bench(small_garden(), ready=True)
    bench.dry_out(0.3)
    bench.order("water", "south", litres=40.0)
    bench.live(60.0)
    assert bench.open_beds() == ["south"]
    bench.restart(10.0)
    bench.connect()
    bench.dry_out(0.3)
    before = len(bench.leases("south"))
    bench.live(3 * 3600.0, tick_s=20.0)
    assert len(bench.leases("south")) == before
    assert [row.outcome for row in bench.record.rows.values()] == ["ASSUMED_FULL"]
    assert bench.engine.state.waterings == {}


def test_a_garden_without_a_name_starts_from_its_own_json() -> None:
    garden = small_garden()
    engine = Engine(garden)
    engine.step(started(garden_json=garden.model_dump_json()))
    assert engine.run.garden == garden
    assert Engine.load(engine.dump()).run.garden == garden


def test_orders_in_the_quiet_start_are_told_when_it_ends() -> None:
    engine = begun()
    effects = engine.step(
        Order(
            at_utc_s=START_UTC_S + 40.0,
            mono_s=40.0,
            order="o",
            what=OrderKind.WATER,
            who="tester",
            bed="south",
            litres=20.0,
        )
    )
    answer = next(e for e in effects if e.kind == "answer")
    assert (answer.status, answer.reason) == ("refused", "quiet_start")
    assert answer.next_possible_utc_s == START_UTC_S + QUIET_S


def test_a_trials_past_leaves_it_armed_and_without_an_alert() -> None:
    state = json.loads(lived(load_garden(find_garden("hollin-lane")), "invented-demo").state_json)
    assert state["armed"]
    assert state["alerts"] == {}
