"""A full disk: refused in words, nothing half-written, and what waits in memory is not lost."""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller import store as store_module
from controller.datafolder import DataFolder
from controller.effects import Effect, Note, Outcome, Reserve, SaveEpoch, Settle
from controller.errors import StoreError
from controller.events import LinkUp, ProbeReading
from controller.store import Store
from controller.trusted import ClockStamp

STAMP = ClockStamp(boot_id="a", mono_s=1.0, utc_s=1_783_000_000.0, synced=True, trusted_s=1.0)
EVENT = LinkUp(at_utc_s=1.0, mono_s=1.0)
ROOT = Path(__file__).parents[2]


def reserve(dose: str) -> Reserve:
    return Reserve(
        dose=dose,
        watering="w",
        bed="south",
        valve="v",
        by="policy",
        from_utc_s=1.0,
        open_s=60.0,
        reserved_l=5.0,
        want_l=1.0,
        epoch=1,
        seq_high=1,
        trusted_s=1.0,
    )


def reading(i: int) -> ProbeReading:
    return ProbeReading(at_utc_s=float(i), mono_s=float(i), probe="p", value=0.2)


def big_note(i: int) -> Note:
    return Note(what="decision", bed=None, code=f"c{i}", text="x" * 9_000)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(DataFolder(tmp_path))
    opened.commit(EVENT, [SaveEpoch(epoch=1)], durable=True, stamp=STAMP)
    yield opened
    opened.close()


def fill(store: Store) -> None:
    """Let the database grow by nothing more."""
    pages = store._query("PRAGMA page_count", ())[0]["page_count"]
    store._db.execute(f"PRAGMA max_page_count = {pages}")


def free(store: Store) -> None:
    store._db.execute("PRAGMA max_page_count = 1000000")


@pytest.mark.hazard("S1")
def test_full_disk_refuses_and_loses_nothing_that_waited(store: Store) -> None:
    fill(store)
    for i in range(200):
        store.commit(reading(i), [big_note(i)], durable=False, stamp=STAMP)
    with pytest.raises(StoreError, match="database or disk is full"):
        store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    with pytest.raises(StoreError, match="database or disk is full"):
        store.flush()
    with pytest.raises(StoreError, match="database or disk is full"):
        store.save_snapshot("1.0", "{}")
    assert store.pending == 200
    assert store.last_n() == 1
    assert store._query("SELECT * FROM ledger", ()) == []
    assert not store._db.conn.in_transaction

    free(store)
    store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    assert store.pending == 0
    events = [row.event for row in store.journal()]
    assert events == [EVENT, *map(reading, range(200)), EVENT]
    assert [row.n for row in store.journal()] == list(range(1, 203))
    assert [row.code for row in store.log()] == [f"c{i}" for i in range(200)]
    assert len(store._query("SELECT * FROM ledger", ())) == 1


def test_event_whose_commit_failed_can_wait_in_its_place(store: Store) -> None:
    fill(store)
    effects: list[Effect] = [big_note(1), big_note(2), reserve("d1")]
    with pytest.raises(StoreError):
        store.commit(EVENT, effects, durable=True, stamp=STAMP)
    store.postpone(EVENT, effects, stamp=STAMP)
    settle = Settle(
        dose="d1",
        outcome=Outcome.NEVER_SENT,
        open_s=0.0,
        charged_l=0.0,
        credited_l=0.0,
        ended_trusted_s=1.0,
    )
    store.postpone(reading(3), [settle], stamp=STAMP)
    free(store)
    store.flush()
    assert [row.event for row in store.journal()] == [EVENT, EVENT, reading(3)]
    assert [row["outcome"] for row in store._query("SELECT * FROM ledger", ())] == ["NEVER_SENT"]


def test_memory_has_a_bound_and_the_oldest_readings_go(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_module, "MOST_PENDING", 10)
    store.commit(EVENT, [], durable=False, stamp=STAMP)
    for i in range(12):
        store.commit(reading(i), [], durable=False, stamp=STAMP)
    assert (store.pending, store.dropped) == (10, 3)
    store.flush()
    assert [row.n for row in store.journal()] == [1, 2, *range(6, 15)]  # the gap can be seen
    assert store._query("SELECT dropped FROM meta", ()) == [{"dropped": 3}]
    store.flush()
    assert store._query("SELECT dropped FROM meta", ()) == [{"dropped": 3}]


def test_reservations_that_wait_are_never_dropped(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_module, "MOST_PENDING", 2)
    store.postpone(EVENT, [reserve("d1")], stamp=STAMP)
    store.postpone(EVENT, [reserve("d2")], stamp=STAMP)
    with pytest.raises(StoreError, match="none may be dropped"):
        store.commit(reading(1), [], durable=False, stamp=STAMP)
    store.flush()
    assert len(store._query("SELECT * FROM ledger", ())) == 2


LIMITED = """
import json, resource, sys
from pathlib import Path
from controller.datafolder import DataFolder
from controller.effects import Note, SaveEpoch
from controller.errors import StoreError
from controller.events import LinkUp, ProbeReading
from controller.store import Store
from controller.trusted import ClockStamp

path = Path(sys.argv[1])
stamp = ClockStamp(boot_id="a", mono_s=1.0, utc_s=1783000000.0, synced=True, trusted_s=1.0)
store = Store.open(DataFolder(path))
size = (path / "thirstline.db-wal").stat().st_size
resource.setrlimit(resource.RLIMIT_FSIZE, (size + 50_000, resource.RLIM_INFINITY))
note = Note(what="decision", bed=None, code="c", text="x" * 2000)
done, cause = 0, ""
while not cause:
    event = LinkUp(at_utc_s=float(done), mono_s=float(done))
    waiting = ProbeReading(at_utc_s=1.0, mono_s=1.0, probe="p", value=0.2)
    store.commit(waiting, [], durable=False, stamp=stamp)
    try:
        store.commit(event, [note], durable=True, stamp=stamp)
        done += 1
    except StoreError as exc:
        cause = str(exc)
seen, waits = store.last_n(), store.pending
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
store.commit(event, [note], durable=True, stamp=stamp)
ns = [row.n for row in store.journal()]
check = store._query("PRAGMA integrity_check", ())[0]["integrity_check"]
store.close()
print(json.dumps({"done": done, "cause": cause, "seen": seen, "waits": waits, "ns": ns,
    "check": check}))
"""


@pytest.mark.hazard("S1")
def test_file_that_may_not_grow_refuses_and_recovers(tmp_path: Path) -> None:
    ran = subprocess.run(
        [sys.executable, "-c", LIMITED, str(tmp_path)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    told = json.loads(ran.stdout)
    assert told["done"] >= 1
    assert "cannot be written: disk I/O error" in told["cause"]
    assert told["seen"] == 2 * told["done"]  # all of each acknowledged commit, none of the failed
    assert told["waits"] == 1
    assert told["ns"] == list(range(1, 2 * told["done"] + 3))
    assert told["check"] == "ok"
