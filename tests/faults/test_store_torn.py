"""Power cuts at each boundary of a write: what was in flight is dropped, torn or out of order.

After the model of SQLite's own crash test. Acknowledged is what `commit` returned for: synced. At a
cut the writes of the next commit may be on disk in any part and order, whole, torn or not at all;
and while the log is copied into the database any of its pages may be. Whatever was acknowledged has
to be there after it, and the file has to be sound.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest

from controller import store_batches
from controller.datafolder import DataFolder
from controller.effects import Reserve, SaveEpoch
from controller.events import LinkUp
from controller.store import Store
from controller.trusted import ClockStamp

STAMP = ClockStamp(boot_id="a", mono_s=1.0, utc_s=1_783_000_000.0, synced=True, trusted_s=1.0)
EVENT = LinkUp(at_utc_s=1.0, mono_s=1.0)
HEADER, FRAME_HEADER = 32, 24  # of the write-ahead log [bytes]
DOSES = 24
WAYS = ("zeros", "torn", "noise")


def reserve(i: int) -> Reserve:
    return Reserve(
        dose=f"d{i:03}", watering="w", bed="south", valve="v", by="policy", from_utc_s=1.0,
        open_s=60.0, reserved_l=float(i + 1), want_l=1.0, epoch=1, seq_high=i, trusted_s=1.0,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A folder's files as a writer left them, and how long its log was at each commit."""

    database: bytes
    log: bytes
    install: bytes
    synced: list[int]
    checkpointed: bytes  # the database once the log was copied into it
    page: int

    @property
    def frame(self) -> int:
        """Bytes of one frame of the log."""
        return FRAME_HEADER + self.page

    def put(self, place: Path, log: bytes, database: bytes | None = None) -> DataFolder:
        """These files in a folder of their own."""
        folder = DataFolder(place)
        folder.database.write_bytes(self.database if database is None else database)
        (folder.path / "thirstline.db-wal").write_bytes(log)
        (folder.path / "install").write_bytes(self.install)
        return folder


@pytest.fixture(autouse=True, scope="module")
def few_slots() -> Iterator[None]:
    """So that the journal's slots are laid together every few commits."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store_batches, "SLOTS", 5)
        yield


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory, few_slots: None) -> Written:
    folder = DataFolder(tmp_path_factory.mktemp("live"))
    log = folder.path / "thirstline.db-wal"
    store = Store.open(folder)
    store.commit(EVENT, [SaveEpoch(epoch=1)], durable=True, stamp=STAMP)
    synced = [log.stat().st_size]
    for i in range(DOSES):
        store.commit(EVENT, [reserve(i)], durable=True, stamp=STAMP)
        synced.append(log.stat().st_size)
    assert store._query("SELECT 1 FROM batches", ()), "slots were never laid together"
    database, whole = folder.database.read_bytes(), log.read_bytes()
    install = (folder.path / "install").read_bytes()
    page = int(store._query("PRAGMA page_size", ())[0]["page_size"])
    store._db.conn.execute("PRAGMA wal_checkpoint(PASSIVE)")
    checkpointed = folder.database.read_bytes()
    store.close()
    assert synced == sorted(set(synced)), "a checkpoint came in between"
    assert all((size - HEADER) % (FRAME_HEADER + page) == 0 for size in synced)
    return Written(
        database=database, log=whole, install=install, synced=synced,
        checkpointed=checkpointed, page=page,
    )  # fmt: skip


def harmed(piece: bytes, way: str, lots: random.Random) -> bytes:
    """A write that did not come through whole."""
    if way == "zeros":
        return bytes(len(piece))
    cut = lots.randrange(1, len(piece))
    return piece[:cut] + (
        bytes(len(piece) - cut) if way == "torn" else lots.randbytes(len(piece) - cut)
    )


def in_flight(written: Written, commit: int, lots: random.Random) -> Iterator[tuple[bytes, int]]:
    """Logs as a cut in the middle of a commit may leave them, and how many commits must be there.

    The frames before it are synced; of its own each may be there, harmed or not there at all.
    """
    from_, to = written.synced[commit], written.synced[commit + 1]
    base, tail = written.log[:from_], written.log[from_:to]
    frames = [tail[at : at + written.frame] for at in range(0, len(tail), written.frame)]
    yield base + tail, commit + 1
    for way in WAYS:
        for hit in range(len(frames)):  # one harmed, all others there: out of order
            pieces = [harmed(f, way, lots) if n == hit else f for n, f in enumerate(frames)]
            yield base + b"".join(pieces), commit
            yield base + b"".join(frames[:hit]) + harmed(frames[hit], way, lots), commit
    for hit in range(len(frames)):  # the file ends within a frame, or between two
        yield base + b"".join(frames[:hit]), commit
        yield (
            base + b"".join(frames[:hit]) + frames[hit][: lots.randrange(1, written.frame)],
            commit,
        )


def check(folder: DataFolder, commits: int) -> None:
    with closing(Store.open(folder)) as store:
        recovered = store.recover(STAMP, scaled=False)
        assert recovered.history != "lost"
        assert [entry.dose for entry in recovered.ledger] == [f"d{i:03}" for i in range(commits)]
        assert all(e.charged_l == int(e.dose[1:]) + 1 for e in recovered.ledger)
        assert [row.n for row in store.journal()] == list(range(1, commits + 2))
        assert store.damaged == []
        assert store._query("PRAGMA integrity_check", ()) == [{"integrity_check": "ok"}]
        store.commit(EVENT, [reserve(commits)], durable=True, stamp=STAMP)  # and it goes on
    folder.unlock()


def cut_at(written: Written, place: Path, commits: list[int]) -> int:
    lots, tried = random.Random(7), 0
    for commit in commits:
        for log, there in in_flight(written, commit, lots):
            check(written.put(place / f"{commit}-{tried}", log), there)
            tried += 1
    return tried


@pytest.mark.hazard("C4", "C1")
def test_a_cut_within_a_commit_leaves_all_of_it_or_nothing(
    written: Written, tmp_path: Path
) -> None:
    assert cut_at(written, tmp_path, [0, DOSES - 1]) >= 20


@pytest.mark.slow
@pytest.mark.hazard("C4", "C1")
def test_a_cut_within_any_commit_leaves_all_of_it_or_nothing(
    written: Written, tmp_path: Path
) -> None:
    assert cut_at(written, tmp_path, list(range(DOSES))) >= 300


@pytest.mark.hazard("C4", "C1")
@pytest.mark.parametrize("way", WAYS)
def test_a_cut_while_the_log_is_copied_into_the_database_loses_nothing(
    written: Written, tmp_path: Path, way: str
) -> None:
    lots, page = random.Random(11), written.page
    grown = written.database + bytes(len(written.checkpointed) - len(written.database))
    pages = [
        at
        for at in range(0, len(written.checkpointed), page)
        if written.checkpointed[at : at + page] != grown[at : at + page]
    ]
    assert len(pages) >= 3, "nothing was copied"
    for trial, at in enumerate(pages):
        database = bytearray(grown)
        for other in pages:  # some were written before, in any order
            if lots.random() < 0.5:
                database[other : other + page] = written.checkpointed[other : other + page]
        database[at : at + page] = harmed(written.checkpointed[at : at + page], way, lots)
        check(written.put(tmp_path / f"{trial}", written.log, bytes(database)), DOSES)


def test_a_log_whose_acknowledged_part_is_gone_would_be_seen(
    written: Written, tmp_path: Path
) -> None:
    """The check itself: a card that lied about its syncs fails it."""
    lied = written.put(tmp_path, written.log[: written.synced[DOSES - 2]])
    with pytest.raises(AssertionError):
        check(lied, DOSES)
    lied.unlock()


def test_a_page_that_no_log_holds_is_lost_history(written: Written, tmp_path: Path) -> None:
    """What is copied, and harmed afterwards, cannot be whole: it is found and said."""
    database = bytearray(written.checkpointed)
    database[2 * written.page : 3 * written.page] = bytes(written.page)
    folder = written.put(tmp_path, b"", bytes(database))
    store = Store.open(folder)
    assert store.recover(STAMP, scaled=False).history == "lost"
    store.close()
    folder.unlock()
