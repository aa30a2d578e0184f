"""From one version's tables to the next: a backup first, and never back without one."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from controller import store_schema as tables
from controller.datafolder import DataFolder
from controller.effects import Reserve, SaveEpoch
from controller.errors import StoreError
from controller.events import LinkUp
from controller.keeping import restore as restore_module
from controller.keeping.backup import Made, backups_in, prune, read_backup
from controller.keeping.restore import restore
from controller.store import Store
from controller.trusted import ClockStamp
from tests.engine_garden import START_UTC_S, STARTED
from tests.older_record import set_back

STAMP = ClockStamp(boot_id="a", mono_s=10.0, utc_s=START_UTC_S, synced=True, trusted_s=500.0)
LATER = replace(STAMP, mono_s=70.0)
DOSE = Reserve(
    dose="d1",
    watering="w1",
    bed="south",
    valve="south",
    by="policy",
    from_utc_s=START_UTC_S,
    open_s=600.0,
    reserved_l=30.0,
    want_l=20.0,
    epoch=1,
    seq_high=9,
    trusted_s=500.0,
)


@pytest.fixture
def older(tmp_path: Path) -> DataFolder:
    """A record of the version before, killed in the middle of a dose."""
    folder = DataFolder(tmp_path / "data")
    store = Store.open(folder)
    store.commit(STARTED, [SaveEpoch(epoch=1)], durable=True, stamp=STAMP)
    store.commit(LinkUp(at_utc_s=START_UTC_S, mono_s=1.0), [DOSE], durable=True, stamp=STAMP)
    store.close()
    folder.unlock()
    set_back(folder, 1)
    return folder


def opened(folder: DataFolder) -> None:
    """One start and end."""
    store = Store.open(folder)
    store.close()
    folder.unlock()


def schema_of(database: Path) -> int:
    with closing(sqlite3.connect(database)) as db:
        found: int = db.execute("SELECT schema FROM meta").fetchone()[0]
        return found


def kept(folder: DataFolder) -> list[Made]:
    return backups_in(folder.path / "backups")


def test_a_backup_of_the_version_before_is_made_first_and_once(older: DataFolder) -> None:
    opened(older)
    (made,) = kept(older)
    assert schema_of(older.database) == tables.SCHEMA_VERSION
    assert schema_of(made.path / "thirstline.db") == 1
    assert (made.manifest.garden, made.manifest.why) == ("plot", "before an upgrade")
    read_backup(made.path)
    opened(older)
    assert kept(older) == [made]
    assert prune(older.path / "backups", "plot", 1) == []


@pytest.mark.hazard("C6", "C1")
def test_a_dose_that_was_under_way_has_ended_before_anything_new(older: DataFolder) -> None:
    store = Store.open(older)
    known = store.recover(LATER, scaled=False)
    (row,) = store._query("SELECT outcome, charged_l FROM ledger", ())
    store.close()
    older.unlock()
    assert (row["outcome"], row["charged_l"]) == ("ASSUMED_FULL", 30.0)
    assert (known.history, known.ledger[0].charged_l) == ("kept", 30.0)
    (made,) = kept(older)
    with closing(sqlite3.connect(made.path / "thirstline.db")) as db:
        assert db.execute("SELECT outcome FROM ledger").fetchone() == (None,)


@pytest.mark.hazard("S1")
def test_without_room_for_a_backup_the_tables_stay_and_nothing_opens(
    older: DataFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = shutil.disk_usage(older.path)._replace(free=1024 * 1024)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage)
    for _ in range(2):
        with pytest.raises(StoreError, match="since no backup can be made"):
            Store.open(older)
    assert schema_of(older.database) == 1
    assert kept(older) == []
    assert not list(older.path.glob("*.bad-*"))
    monkeypatch.undo()
    opened(older)
    assert schema_of(older.database) == tables.SCHEMA_VERSION


def test_an_upgrade_that_is_cut_begins_again_and_loses_nothing(
    older: DataFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tables, "SEASON_BOOK", (tables.SEASON_BOOK[0], "SELECT no_such_thing()"))
    with pytest.raises(StoreError, match="cannot be opened"):
        Store.open(older)
    monkeypatch.undo()
    assert schema_of(older.database) == 1
    opened(older)
    assert schema_of(older.database) == tables.SCHEMA_VERSION
    assert len(kept(older)) == 2  # one for each trial


def test_the_version_before_refuses_newer_data_and_takes_its_own_backup(
    older: DataFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened(older)
    before = older.database.read_bytes()
    monkeypatch.setattr(tables, "SCHEMA_VERSION", 1)
    monkeypatch.setattr(restore_module, "SCHEMA_VERSION", 1)
    with pytest.raises(StoreError, match="of a newer version"):
        Store.open(older)
    older.unlock()
    assert older.database.read_bytes() == before
    assert not list(older.path.glob("*.bad-*"))
    restore(kept(older)[0].path, older)
    older.unlock()
    assert schema_of(older.database) == 1
    assert len(list(older.path.glob("*.replaced-*Z"))) == 1
