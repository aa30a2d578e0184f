"""A kept state that the card spoiled: the one before it counts; with none the history is lost."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from controller.clock import ScaledClock
from controller.datafolder import DataFolder
from controller.engine import Engine
from controller.restoring import restored, started
from controller.run import VERSION
from controller.store import Recovered, Store, open_reader
from controller.store_states import MARK, packed
from controller.trusted import ClockStamp
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden
from tests.faults.stored_bench import StoredBench

GARDEN = small_garden()


def flipped(state: str) -> str:
    """One character of it is another."""
    return state[:200] + ("A" if state[200] != "A" else "B") + state[201:]


HARMS: dict[str, Callable[[str], str]] = {
    "flipped": flipped,
    "short": lambda state: state[:-400],
    "empty": lambda _: "",
    "no_state": lambda _: packed("[]"),
    "plain_and_torn": lambda _: '{"lock_why": nu',
}
HARMED = pytest.mark.parametrize("harm", HARMS.values(), ids=HARMS)


@pytest.fixture
def lived(tmp_path: Path) -> StoredBench:
    """Locked, paused and full of a valve that stays open; then an hour and another kept state."""
    bench = StoredBench(GARDEN, tmp_path)
    bench.order("lock", why="hands in the pipes")
    bench.order("pause", until_utc_s=bench.at_utc_s + 9 * DAY_S, why="away")
    bench.live(3700.0, tick_s=20.0)
    bench._snapshot()
    bench.live(120.0, tick_s=20.0)
    bench.end()
    return bench


def spoil(folder: DataFolder, harm: Callable[[str], str], tail: str) -> None:
    """Harm the rows that this tail of a query names."""
    db = sqlite3.connect(folder.database)
    with db:
        for n, state in db.execute(f"SELECT n, state FROM snapshots {tail}").fetchall():  # noqa: S608
            db.execute("UPDATE snapshots SET state = ? WHERE n = ?", (harm(state), n))
    assert db.execute("PRAGMA quick_check").fetchone()[0] == "ok"
    db.close()


def begun(bench: StoredBench) -> tuple[Engine, Recovered]:
    """The next process, up to its first event."""
    folder = DataFolder(bench.folder.path)
    store = Store.open(folder)
    stamp = ClockStamp(
        boot_id="a", mono_s=bench.now_s + 60.0, utc_s=bench.at_utc_s + 60.0, synced=True,
        trusted_s=0.0,
    )  # fmt: skip
    engine, known = restored(GARDEN, store.recover(stamp, scaled=False))
    store.close()
    folder.unlock()
    return engine, known


@pytest.mark.hazard("S3")
@HARMED
def test_with_the_newest_state_spoilt_the_one_before_and_its_journal_give_the_same(
    lived: StoredBench, harm: Callable[[str], str], caplog: pytest.LogCaptureFixture
) -> None:
    whole, _ = begun(lived)
    spoil(lived.folder, harm, "ORDER BY n DESC LIMIT 1")
    engine, known = begun(lived)
    assert known.history == "kept"
    assert engine.dump() == whole.dump()
    assert engine.state.lock_why == "hands in the pipes"
    assert engine.state.pause is not None
    assert "is damaged" in caplog.text


@pytest.mark.hazard("S3", "S4")
@HARMED
def test_with_no_state_that_can_be_read_the_history_is_lost_and_nothing_opens_for_a_day(
    lived: StoredBench, harm: Callable[[str], str], caplog: pytest.LogCaptureFixture
) -> None:
    spoil(lived.folder, harm, "")
    engine, known = begun(lived)
    assert known.history == "lost"
    assert "history lost" in caplog.text
    assert engine.state.lock_why == "hands in the pipes", "the journal has the order"
    assert engine.state.pause is not None
    told = started(GARDEN, known, ScaledClock(), armed=True)
    assert told.history == "lost"
    bench = Bench(GARDEN, ready=False)
    bench.engine = engine
    bench.log.clear()
    bench.step(replace(told, **bench.times()))
    bench.connect()
    bench.order("unlock")
    bench.order("resume")
    bench.dry_out(0.9)
    bench.live(0.9 * DAY_S, tick_s=60.0)
    assert bench.litres["south"] == 0.0
    assert "history_lost" in bench.alert_codes()
    bench.order("clear", alert="history_lost", why="the meter stood still")
    bench.live(7200.0, tick_s=60.0)
    assert bench.litres["south"] > 0.0, "a person may vouch"


@pytest.mark.hazard("S3")
def test_a_state_that_the_engine_does_not_take_is_lost_history_too(lived: StoredBench) -> None:
    spoil(lived.folder, lambda _: packed('{"lock_why": "trench", "beds": 7}'), "")
    engine, known = begun(lived)
    assert (known.history, engine.state.lock_why) == ("lost", "trench")


@pytest.mark.hazard("S3")
def test_going_back_past_an_update_is_lost_history(lived: StoredBench) -> None:
    """Alerts that a version raised after its update stand in no order of the journal."""
    db = sqlite3.connect(lived.folder.database)
    with db:
        db.execute("UPDATE snapshots SET engine = 'older' WHERE n < (SELECT max(n) FROM snapshots)")
    db.close()
    assert begun(lived)[1].history == "kept"
    spoil(lived.folder, flipped, "ORDER BY n DESC LIMIT 1")
    engine, known = begun(lived)
    assert (known.history, known.snapshot.version) == ("lost", "older")
    assert engine.state.lock_why == "hands in the pipes"


def test_a_verification_begins_at_the_first_state_that_can_be_read(lived: StoredBench) -> None:
    with open_reader(lived.folder) as reader:
        first, newest = reader.first_snapshot(VERSION), reader.newest_snapshot()
    assert first.n < newest.n
    spoil(lived.folder, lambda state: state.replace(MARK, f"{MARK}?"), "ORDER BY n LIMIT 1")
    with open_reader(lived.folder) as reader:
        assert reader.first_snapshot(VERSION).n > first.n
