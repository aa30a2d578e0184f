"""A valve node whose kept number went bad: its own fault, and no other valve's."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.datafolder import DataFolder
from controller.effects import SaveEpoch
from controller.events import ForeignController, LinkUp
from controller.inbox import Inbox
from controller.inputs import EPOCH_AHEAD_MOST
from controller.sensing.messages import MAX_COUNTER
from controller.store import Store
from controller.trusted import ClockStamp
from tests.engine_bench import Bench
from tests.engine_garden import small_garden
from tests.unit.test_engine_start import begun, report, tick

TWO = small_garden(beds=("south", "north"))
ABSURD = [MAX_COUNTER, MAX_COUNTER - 1, 2**31, 8 + EPOCH_AHEAD_MOST]


@pytest.mark.hazard("V7", "C7")
@pytest.mark.parametrize("epoch", ABSURD)
def test_a_damaged_number_is_taken_for_no_run(epoch: int) -> None:
    engine = begun(TWO, stored_epoch=7)
    engine.step(report(5.0, epoch=epoch))
    for at_s in range(10, 200, 10):
        engine.step(tick(float(at_s)))
    assert engine.state.ready
    assert engine.state.epoch == 8
    assert set(engine.state.alerts) == {"node_contract-south-south"}
    alert = engine.state.alerts["node_contract-south-south"]
    assert alert.person_needed
    assert str(epoch) in alert.text
    assert engine.state.budget_spent_until_trusted_s is None, "no water is unknown for it"


@pytest.mark.hazard("V7", "C7")
@pytest.mark.parametrize("epoch", ABSURD)
def test_while_it_runs_it_stops_its_own_valve_and_no_other(epoch: int) -> None:
    bench = Bench(TWO)
    bench.step(report(bench.now_s, epoch=epoch + bench.engine.state.epoch))
    assert bench.alert_codes() == {"node_contract"}
    assert not bench.engine.state.foreign
    refused = bench.order("water", "south", litres=5.0)
    assert refused is not None
    assert refused.status == "refused"
    bench.order("water", "north", litres=5.0)
    bench.live(1200.0)
    assert bench.litres["north"] > 4.0
    assert bench.litres["south"] == 0.0


def test_what_runs_there_can_have_been_is_believed_as_before() -> None:
    engine = begun(TWO, stored_epoch=7)
    engine.step(report(5.0, epoch=7 + EPOCH_AHEAD_MOST))
    for at_s in range(10, 200, 10):
        engine.step(tick(float(at_s)))
    assert engine.state.epoch == 8 + EPOCH_AHEAD_MOST
    assert set(engine.state.alerts) == {"history_lost"}


def test_another_controller_with_a_damaged_number_moves_ours_neither() -> None:
    engine = begun(TWO, stored_epoch=7)
    engine.step(ForeignController(at_utc_s=1.0, mono_s=1.0, epoch=MAX_COUNTER))
    assert engine.state.heard_epoch == 0
    assert "history_lost" in engine.state.alerts


@pytest.mark.hazard("V7")
def test_a_record_with_a_number_of_no_run_goes_on_from_the_highest_that_is_one(
    tmp_path: Path,
) -> None:
    stamp = ClockStamp(boot_id="a", mono_s=1.0, utc_s=1e9, synced=True, trusted_s=1.0)
    store = Store.open(DataFolder(tmp_path))
    for epoch in (1, 2, 2**53):
        word = LinkUp(at_utc_s=1e9, mono_s=float(epoch))
        store.commit(word, [SaveEpoch(epoch=epoch)], durable=True, stamp=stamp)
    known = store.recover(stamp, scaled=False)
    store.close()
    assert known.stored_epoch == 2
    engine = begun(TWO, stored_epoch=known.stored_epoch)
    for at_s in range(10, 200, 10):
        engine.step(tick(float(at_s)))
    told = {"open": False, "left_s": 0, "dose": "", "nonce": "n1", "boot": "b9", "seq": 1}
    told |= {"contract": 1, "epoch": engine.state.epoch}
    heard = Inbox(TWO).hear(
        TWO.topic("state", "north"), json.dumps(told).encode(), retained=False,
        at_utc_s=1e9, mono_s=1.0,
    )  # fmt: skip
    assert heard, "a node that took its lease is heard"
