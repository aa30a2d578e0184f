"""Missing, mangled and foreign databases: the history is lost, said, and never quietly refilled."""

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.datafolder import DataFolder
from controller.effects import SaveEpoch
from controller.errors import StoreError
from controller.events import LinkUp, Started
from controller.store import Store
from controller.store_schema import SCHEMA_VERSION
from controller.trusted import ClockStamp

STAMP = ClockStamp(boot_id="a", mono_s=1.0, utc_s=1_783_000_000.0, synced=True, trusted_s=1.0)
STARTED = Started(at_utc_s=1.0, mono_s=1.0, trusted_s=0.0, stored_epoch=0)
LOST = Started(at_utc_s=2.0, mono_s=1.0, trusted_s=0.0, stored_epoch=0, history="lost")


@pytest.fixture
def folder(tmp_path: Path) -> DataFolder:
    """A folder in which a daemon ran, long enough for some pages."""
    lived = DataFolder(tmp_path / "lived")
    store = Store.open(lived)
    store.commit(STARTED, [SaveEpoch(epoch=1)], durable=True, stamp=STAMP)
    for i in range(400):
        event = LinkUp(at_utc_s=float(i), mono_s=float(i))
        store.commit(event, [], durable=False, stamp=STAMP)
    store.close()
    assert lived.database_size() > 40_000
    return lived


def missing(folder: DataFolder) -> None:
    folder.database.unlink()


def zero_length(folder: DataFolder) -> None:
    folder.database.write_bytes(b"")


def truncated(folder: DataFolder) -> None:
    folder.database.write_bytes(folder.database.read_bytes()[:20_000])


def torn_inside_a_page(folder: DataFolder) -> None:
    folder.database.write_bytes(folder.database.read_bytes()[:-1_500])


def overwritten(folder: DataFolder) -> None:
    whole = folder.database.read_bytes()
    folder.database.write_bytes(whole[:8_192] + b"\xa5" * 16_384 + whole[24_576:])


def no_database(folder: DataFolder) -> None:
    folder.database.write_bytes(b"not a database at all, " * 500)


def header_only(folder: DataFolder) -> None:
    folder.database.unlink()
    connection = sqlite3.connect(folder.database)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("CREATE TABLE other (x)")
    connection.close()


def of_another_folder(folder: DataFolder) -> None:
    other = DataFolder(folder.path.with_name("other"))
    Store.open(other).close()
    folder.database.write_bytes(other.database.read_bytes())


def install_id_gone(folder: DataFolder) -> None:
    (folder.path / "install").unlink()


HARMS = [
    missing,
    zero_length,
    truncated,
    torn_inside_a_page,
    overwritten,
    no_database,
    header_only,
    of_another_folder,
    install_id_gone,
]


@pytest.mark.hazard("S3", "S4")
@pytest.mark.parametrize("harm", HARMS, ids=lambda harm: harm.__name__)
def test_harmed_database_is_lost_history_until_a_start_has_told_it(
    folder: DataFolder, harm: Callable[[DataFolder], None], caplog: pytest.LogCaptureFixture
) -> None:
    harm(folder)
    harmed = folder.database.read_bytes() if folder.database.exists() else None
    for _ in range(2):  # a crash before anything was told changes nothing
        store = Store.open(folder)
        recovered = store.recover(STAMP, scaled=False)
        assert (recovered.history, recovered.stored_epoch) == ("lost", 0)
        assert (recovered.ledger, recovered.trusted_s) == ((), 0.0)
        assert list(recovered.events) == []
        store.close()
    assert caplog.text.count("history lost") == 1
    aside = list(folder.path.glob("thirstline.db.bad-*Z"))
    assert [path.read_bytes() for path in aside] == ([] if harmed is None else [harmed])

    store = Store.open(folder)
    store.commit(LOST, [SaveEpoch(epoch=2)], durable=True, stamp=STAMP)
    store.close()
    store = Store.open(folder)
    recovered = store.recover(STAMP, scaled=False)
    assert recovered.history == "kept"
    assert list(recovered.events) == [LOST]
    store.close()


@pytest.mark.hazard("S3")
def test_log_of_a_harmed_database_is_kept_with_it(folder: DataFolder) -> None:
    zero_length(folder)
    (folder.path / "thirstline.db-wal").write_bytes(b"some log")
    Store.open(folder).close()
    (aside,) = folder.path.glob("thirstline.db.bad-*Z-wal")
    assert aside.read_bytes() == b"some log"


def test_first_start_that_was_cut_short_is_still_a_first_start(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    connection = sqlite3.connect(folder.database)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.close()
    store = Store.open(folder)
    assert store.recover(STAMP, scaled=False).history == "first"
    store.close()
    install_id_gone(folder)  # the power went before the id's file was written
    store = Store.open(folder)
    assert store.recover(STAMP, scaled=False).history == "first"
    assert folder.install_id() == store._query("SELECT install FROM meta", ())[0]["install"]
    store.close()


def test_database_of_a_newer_version_is_left_alone(folder: DataFolder) -> None:
    connection = sqlite3.connect(folder.database)
    with connection:
        connection.execute("UPDATE meta SET schema = ?", (SCHEMA_VERSION + 1,))
    connection.close()
    with pytest.raises(
        StoreError,
        match=f"schema {SCHEMA_VERSION + 1} of a newer version; known is {SCHEMA_VERSION}",
    ):
        Store.open(folder)
    assert list(folder.path.glob("*.bad-*")) == []


@pytest.mark.hazard("S5")
def test_busy_database_is_trouble_and_no_lost_history(
    folder: DataFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("controller.store.PRAGMAS", [("busy_timeout", "20", 20)])
    store = Store.open(folder)
    blocker = sqlite3.connect(folder.database, isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    event = LinkUp(at_utc_s=1.0, mono_s=1.0)
    with pytest.raises(StoreError, match="database is locked"):
        store.commit(event, [], durable=True, stamp=STAMP)
    blocker.execute("ROLLBACK")
    blocker.close()
    store.commit(event, [], durable=True, stamp=STAMP)
    store.close()
    assert list(folder.path.glob("*.bad-*")) == []
