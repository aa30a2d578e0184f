"""An old record that comes back waters nobody past the caps: engine, recorder and database, a day.

A backup is taken, then people water up to the bed's limit, then the backup comes back. For the next
day nodes, people and a dry bed all ask for more.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from controller.datafolder import DataFolder
from controller.keeping.copying import back_up
from controller.keeping.restore import restore
from controller.recorder import Recorder
from controller.restoring import restored
from sim.nodes import ValveNode
from tests.engine_garden import DAY_S, QUIET_S, START_UTC_S, small_garden
from tests.faults.stored_bench import Clock, StoredBench

CAP_L = 60.0
ORDER_L = 12.0
GARDEN = small_garden(master=True, meter=True, bed_l_day=CAP_L, dose_l=40.0, site_l_day=2.0 * CAP_L)
GAP_S = 600.0


class KeptBench(StoredBench):
    """A bench whose engine goes on from the record, as the daemon's does."""

    def _open(self) -> None:
        super()._open()
        if self.store is not None and self.recorder._recovered is not None:
            self.engine, _ = restored(self.garden, self.recorder._recovered)

    def ask(self, seconds: float) -> None:
        """People order water again and again."""
        end_s = self.now_s + seconds
        while self.now_s < end_s:
            self.order("water", "south", litres=ORDER_L)
            self.live(900.0, tick_s=20.0)
            assert self.litres_of_last_day("south") <= CAP_L + 1e-6

    def end_process(self) -> None:
        """The process ends; the folder is free."""
        self.cut_power()
        self.end()

    def begin_process(self) -> None:
        """A new process on the same folder, after a while."""
        self.advance(self.now_s + GAP_S)
        self.power, self.born_s = True, self.now_s
        self.folder = DataFolder(self.folder.path)
        self.recorder = Recorder(self.folder, Clock(self), self._told)  # type: ignore[arg-type]
        self.start()
        self.connect()
        self.live(QUIET_S + 10.0, tick_s=10.0)

    def forget_nodes(self) -> None:
        """All nodes are new ones: none remembers an epoch."""
        self.nodes = {
            valve: ValveNode(valve, seed=n, now_s=self.now_s)
            for n, valve in enumerate(self.nodes, 101)
        }


def spent(place: Path) -> tuple[KeptBench, Path]:
    """A bench whose bed has drunk its day's limit since the backup that comes with it."""
    bench = KeptBench(GARDEN, place / "data")
    bench.live(700.0, tick_s=10.0)
    bench.recorder._flush(bench.store)  # type: ignore[arg-type]
    made = back_up(bench.folder, place / "backups", now_utc_s=START_UTC_S, program="").made
    bench.ask(5 * 3600.0)
    assert bench.litres_of_last_day("south") > 3.0 * ORDER_L  # there is something to forget
    bench.end_process()
    return bench, made.path


@pytest.mark.hazard("S4")
@pytest.mark.parametrize(
    "new_nodes",
    [
        pytest.param(False, id="same-nodes"),
        pytest.param(True, id="new-nodes", marks=pytest.mark.slow),
    ],
)
def test_a_backup_that_comes_back_waters_nothing_past_the_caps(
    tmp_path: Path, new_nodes: bool
) -> None:
    bench, backup = spent(tmp_path)
    before_l = bench.litres["south"]
    folder = DataFolder(tmp_path / "data")
    restore(backup, folder)
    folder.unlock()
    if new_nodes:
        bench.forget_nodes()
    bench.begin_process()
    back_s = bench.now_s
    assert "history_lost" in bench.alert_codes()
    answer = bench.order("water", "south", litres=ORDER_L)
    assert answer is not None
    assert (answer.status, answer.reason) == ("refused", "budget_spent")
    bench.dry_out(0.6)
    bench.ask(DAY_S - 3600.0)
    assert bench.litres["south"] == before_l
    bench.ask(3600.0 + 2 * 900.0)
    assert bench.litres["south"] > before_l, "a day later it waters again"
    assert bench.now_s - back_s >= DAY_S
    assert bench.unrecorded == []
    bench.end()


@pytest.mark.hazard("S4")
def test_without_the_way_back_an_old_copy_would_water_past_the_caps(tmp_path: Path) -> None:
    """The control: the same file laid in place by hand, before nodes that remember nothing."""
    bench, backup = spent(tmp_path)
    before_l = bench.litres["south"]
    database = tmp_path / "data" / "thirstline.db"
    for tail in ("-wal", "-shm"):
        database.with_name(database.name + tail).unlink(missing_ok=True)
    shutil.copy(backup / "thirstline.db", database)
    bench.forget_nodes()
    bench.begin_process()
    with pytest.raises(AssertionError):
        bench.ask(6 * 3600.0)
    assert bench.litres["south"] > before_l
    assert bench.litres_of_last_day("south") > CAP_L
    bench.end()


@pytest.mark.hazard("S4")
def test_a_person_who_vouches_has_the_ledger_of_then_and_no_more(tmp_path: Path) -> None:
    bench, backup = spent(tmp_path)
    folder = DataFolder(tmp_path / "data")
    restore(backup, folder)
    folder.unlock()
    bench.begin_process()
    assert bench.order("clear", alert="history_lost", why="I measured it") is not None
    bench.live(700.0, tick_s=10.0)
    answer = bench.order("water", "south", litres=ORDER_L)
    assert answer is None or answer.status == "accepted"
    bench.live(900.0, tick_s=10.0)
    more = bench.order("water", "south", litres=CAP_L + 1.0)
    assert more is not None
    assert (more.status, more.reason) == ("refused", "dose_cap")
    bench.end()


@pytest.mark.hazard("S4")
def test_a_second_loss_spends_the_budget_again(tmp_path: Path) -> None:
    """The day of the first loss is over and nobody lifted it; its end counts for nothing now."""
    bench, backup = spent(tmp_path)
    folder = DataFolder(tmp_path / "data")
    restore(backup, folder)
    folder.unlock()
    bench.begin_process()
    bench.live(DAY_S + 600.0, tick_s=60.0)
    answer = bench.order("water", "south", litres=ORDER_L)
    assert answer is None or answer.status == "accepted"
    bench.live(900.0, tick_s=10.0)
    bench.recorder._flush(bench.store)  # type: ignore[arg-type]
    now_utc_s = bench.at_utc_s
    second = back_up(bench.folder, tmp_path / "b", now_utc_s=now_utc_s, program="").made
    bench.end_process()
    folder = DataFolder(tmp_path / "data")
    restore(second.path, folder)
    folder.unlock()
    bench.begin_process()
    answer = bench.order("water", "south", litres=ORDER_L)
    assert answer is not None
    assert answer.reason == "budget_spent"
    bench.end()
