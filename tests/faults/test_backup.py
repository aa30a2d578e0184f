"""Backups: made beside a writing store, proved, pruned; torn ones and full disks refused."""

from __future__ import annotations

import json
import os
import resource
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from api.cli import main
from controller.datafolder import DataFolder
from controller.effects import Note, SaveEpoch
from controller.errors import LockedError, StoreError
from controller.events import LinkUp, ProbeReading
from controller.keeping import backup as backup_module
from controller.keeping.backup import SPARE_BYTES, backups_in, prune, read_backup
from controller.keeping.copying import Kept, back_up, garden_known
from controller.keeping.last import age_words, backup_state
from controller.keeping.restore import restore
from controller.run import VERSION
from controller.store import Store, open_reader
from controller.store_schema import SCHEMA_VERSION
from controller.trusted import ClockStamp
from sim.examples import find_garden
from tests.engine_garden import START_UTC_S, STARTED

STAMP = ClockStamp(boot_id="a", mono_s=1.0, utc_s=START_UTC_S, synced=True, trusted_s=1.0)
NOTE = Note(what="decision", bed="south", code="x", text="y" * 2000)


def reading(i: int) -> ProbeReading:
    return ProbeReading(at_utc_s=START_UTC_S + i, mono_s=float(i), probe="p", value=0.2)


@pytest.fixture
def data(tmp_path: Path) -> DataFolder:
    """A folder whose daemon has ended."""
    folder = DataFolder(tmp_path / "data")
    store = Store.open(folder)
    store.commit(STARTED, [SaveEpoch(epoch=1)], durable=True, stamp=STAMP)
    for i in range(1, 200):
        store.commit(reading(i), [NOTE], durable=False, stamp=STAMP)
    store.save_snapshot(VERSION, '{"garden_json": "{}", "lock_why": null}')
    store.close()
    folder.unlock()
    return folder


def made(data: DataFolder, into: Path, at_s: float = 0.0, keep: int | None = None) -> Kept:
    return back_up(data, into, now_utc_s=START_UTC_S + at_s, program="0.1", keep=keep)


def rows(folder: DataFolder) -> list[int]:
    with open_reader(folder) as reader:
        return [row.n for row in reader.journal()]


def test_a_backup_beside_a_writing_store_is_whole_and_of_one_instant(data: DataFolder) -> None:
    store = Store.open(data)
    store.commit(reading(900), [], durable=True, stamp=STAMP)  # in the write-ahead log
    kept = made(data, data.path.parent / "b")
    store.commit(reading(901), [], durable=True, stamp=STAMP)
    store.close()
    data.unlock()
    found = read_backup(kept.made.path)
    assert found.manifest.journal_n == 201
    assert (found.manifest.schema_version, found.manifest.engine) == (SCHEMA_VERSION, VERSION)
    assert sorted(path.name for path in kept.made.path.iterdir()) == [
        "backup.json",
        "thirstline.db",
    ]
    for path in kept.made.path.iterdir():
        assert path.stat().st_mode & 0o077 == 0


def test_the_way_back_gives_the_same_rows_and_keeps_what_gave_way(data: DataFolder) -> None:
    before = rows(data)
    kept = made(data, data.path.parent / "b")
    store = Store.open(data)
    store.commit(reading(900), [], durable=True, stamp=STAMP)
    store.close()
    data.unlock()
    done = restore(kept.made.path, data)
    data.unlock()
    assert rows(data) == before
    assert done.aside is not None
    with closing(sqlite3.connect(done.aside)) as db:
        assert db.execute("SELECT max(n) FROM recent").fetchone() == (before[-1] + 1,)
    store = Store.open(data)
    known = store.recover(replace(STAMP, mono_s=100.0), scaled=False)
    assert (known.history, known.stored_epoch) == ("lost", 1)
    assert known.snapshot.state_json is not None
    assert known.trusted_s == 100.0  # time that has surely passed still counts
    store.close()
    data.unlock()


def test_it_comes_back_into_an_empty_folder_too(data: DataFolder, tmp_path: Path) -> None:
    kept = made(data, tmp_path / "b")
    other = DataFolder(tmp_path / "other")
    assert restore(kept.made.path, other).aside is None
    other.unlock()
    assert rows(other) == rows(data)
    store = Store.open(other)
    assert store.recover(STAMP, scaled=False).history == "lost"
    store.close()
    other.unlock()


def test_a_running_daemon_refuses_the_way_back(data: DataFolder) -> None:
    kept = made(data, data.path.parent / "b")
    holder = DataFolder(data.path)
    holder.lock()
    with pytest.raises(LockedError, match="holds this data folder"):
        restore(kept.made.path, data)
    holder.unlock()


# -- torn


def _cut(path: Path) -> None:
    with (path / "thirstline.db").open("r+b") as file:
        file.truncate((path / "thirstline.db").stat().st_size - 4096)


def _bit(path: Path) -> None:
    with (path / "thirstline.db").open("r+b") as file:
        file.seek(9000)
        old = file.read(1)
        file.seek(9000)
        file.write(bytes([old[0] ^ 1]))


def _no_manifest(path: Path) -> None:
    (path / "backup.json").unlink()


def _half_manifest(path: Path) -> None:
    text = (path / "backup.json").read_bytes()
    (path / "backup.json").write_bytes(text[: len(text) // 2])


def _no_database(path: Path) -> None:
    (path / "thirstline.db").unlink()


def _stranger(path: Path) -> None:
    told = json.loads((path / "backup.json").read_text())
    told["files"]["../token"] = {"bytes": 1, "sha256": "0"}
    (path / "backup.json").write_text(json.dumps(told))


@pytest.mark.hazard("S4", "S3")
@pytest.mark.parametrize(
    ("tear", "says"),
    [
        pytest.param(_cut, "torn", id="cut-short"),
        pytest.param(_bit, "of other content", id="one-bit"),
        pytest.param(_no_manifest, "is missing", id="no-manifest"),
        pytest.param(_half_manifest, "torn", id="half-a-manifest"),
        pytest.param(_no_database, "torn", id="no-database"),
        pytest.param(_stranger, "is no file of a backup", id="a-name-outside"),
    ],
)
def test_a_torn_backup_is_refused_and_the_record_stays(
    data: DataFolder, tear: object, says: str
) -> None:
    kept = made(data, data.path.parent / "b")
    before = (data.database.read_bytes(), sorted(p.name for p in data.path.iterdir()))
    tear(kept.made.path)  # type: ignore[operator]
    with pytest.raises(StoreError, match=says):
        restore(kept.made.path, data)
    data.unlock()
    names = sorted(p.name for p in data.path.iterdir() if p.name != "lock")
    assert (data.database.read_bytes(), names) == (
        before[0],
        [name for name in before[1] if name != "lock"],
    )


def test_a_damaged_page_is_found_even_where_the_manifest_agrees(
    data: DataFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = made(data, data.path.parent / "b")
    with (kept.made.path / "thirstline.db").open("r+b") as file:
        file.seek(4096)
        file.write(b"\xa5" * 8192)
    agreed = kept.made.manifest.files | {
        "thirstline.db": backup_module._file_facts(kept.made.path / "thirstline.db")
    }
    told = kept.made.manifest.model_copy(update={"files": agreed})
    (kept.made.path / "backup.json").write_text(told.model_dump_json())
    with pytest.raises(StoreError, match="damaged"):
        restore(kept.made.path, data)
    data.unlock()


def test_a_record_of_a_newer_version_is_refused(data: DataFolder) -> None:
    with closing(sqlite3.connect(data.database)) as db:
        db.execute("UPDATE meta SET schema = 99")
        db.commit()
    with pytest.raises(StoreError, match="written by a newer version"):
        made(data, data.path.parent / "b")
    assert backups_in(data.path.parent / "b") == []


def test_a_damaged_record_makes_no_backup(data: DataFolder) -> None:
    with data.database.open("r+b") as file:
        file.seek(8192)
        file.write(b"\xa5" * 8192)
    with pytest.raises(StoreError):
        made(data, data.path.parent / "b")
    assert list((data.path.parent / "b").iterdir()) == []


@pytest.mark.parametrize("step", ["copy_open", "facts_of", "make_ready"])
def test_a_backup_that_is_cut_anywhere_leaves_nothing_that_counts(
    data: DataFolder, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cut as a power cut does: no clean-up runs, and what is left has no name of a backup."""
    into = data.path.parent / "b"
    first = made(data, into)

    def cut(*told: object) -> None:
        raise KeyboardInterrupt

    for module in ("controller.store_copy", "controller.keeping.restore"):
        monkeypatch.setattr(f"{module}.{step}", cut, raising=False)
    with pytest.raises(KeyboardInterrupt):
        made(data, into, at_s=3600.0)
    assert [one.path for one in backups_in(into)] == [first.made.path]
    left = [path for path in into.iterdir() if path != first.made.path]
    assert left
    monkeypatch.undo()
    monkeypatch.setattr(backup_module, "_lives", lambda pid: False)  # its process has ended
    made(data, into, at_s=7200.0, keep=9)
    assert not any(path.exists() for path in left)


# -- full disks


@contextmanager
def files_of_at_most(most_bytes: int) -> Iterator[None]:
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.hazard("S1")
def test_a_disk_that_fills_up_in_the_middle_leaves_no_backup(data: DataFolder) -> None:
    into = data.path.parent / "b"
    with files_of_at_most(100_000), pytest.raises(StoreError, match="cannot be written"):
        made(data, into)
    assert list(into.iterdir()) == []
    assert rows(data)
    assert made(data, into).made.path.exists()


@pytest.mark.hazard("S1")
def test_a_disk_that_fills_up_on_the_way_back_leaves_the_record(data: DataFolder) -> None:
    kept = made(data, data.path.parent / "b")
    before = data.database.read_bytes()
    with files_of_at_most(100_000), pytest.raises(StoreError, match="cannot be written"):
        restore(kept.made.path, data)
    data.unlock()
    assert data.database.read_bytes() == before
    assert not list(data.path.glob("*restoring*"))
    assert not list(data.path.glob("*replaced*"))


@pytest.mark.parametrize("way", ["out", "back"])
def test_too_little_room_is_told_before_anything_is_begun(
    data: DataFolder, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    kept = made(data, data.path.parent / "b")
    usage = shutil.disk_usage(data.path)._replace(free=SPARE_BYTES + 200_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage)
    begin = {
        "out": lambda: made(data, data.path.parent / "b", at_s=60.0),
        "back": lambda: restore(kept.made.path, data),
    }[way]
    with pytest.raises(StoreError, match="MB free, needed are"):
        begin()
    data.unlock()
    assert len(backups_in(data.path.parent / "b")) == 1


# -- pruning, words


def test_the_newest_stay_and_other_gardens_and_migrations_are_left_alone(data: DataFolder) -> None:
    into = data.path.parent / "b"
    other = made(data, into).made.path
    other.rename(into / "elsewhere-20260101T000000Z")
    told = json.loads((into / "elsewhere-20260101T000000Z" / "backup.json").read_text())
    (into / "elsewhere-20260101T000000Z" / "backup.json").write_text(
        json.dumps(told | {"garden": "elsewhere"})
    )
    first = made(data, into, at_s=60.0).made
    (first.path / "backup.json").write_text(
        first.manifest.model_copy(update={"why": "before schema 3"}).model_dump_json()
    )
    later = [made(data, into, at_s=120.0 + i).made.path for i in range(3)]
    last = made(data, into, at_s=300.0, keep=2)
    assert list(last.pruned) == later[:2]
    left = sorted(path.name for path in into.iterdir())
    assert left == sorted(
        ["elsewhere-20260101T000000Z", first.path.name, later[2].name, last.made.path.name]
    )
    assert prune(into, "data", 0) == [later[2]]  # one always stays


def test_the_garden_in_force_is_known_and_its_file_goes_along(
    data: DataFolder, tmp_path: Path
) -> None:
    store = Store.open(data)
    store.commit(STARTED, [], durable=True, stamp=STAMP)
    store.close()
    data.unlock()
    known = garden_known(data)
    assert known is not None
    assert known.garden.id == "plot"
    file = tmp_path / "garden.toml"
    shutil.copy(find_garden("hollin-lane"), file)
    data.write_daemon_json("http://127.0.0.1:1", 1, str(file))
    kept = made(data, tmp_path / "b")
    assert kept.made.path.name == "plot-20260715T060000Z"
    assert (kept.made.path / "garden.toml").read_bytes() == file.read_bytes()
    assert any("is not the garden file that was in force" in line for line in kept.said)
    read_backup(kept.made.path)


@pytest.mark.parametrize(
    ("days", "words"),
    [(0.2, "today"), (1.2, "1 day ago"), (9.6, "10 days ago")],
)
def test_the_age_of_the_last_backup_is_known(data: DataFolder, days: float, words: str) -> None:
    now_utc_s = START_UTC_S + days * 86_400.0
    assert "No backup" in age_words(backup_state(data, now_utc_s))
    kept = made(data, data.path / "backups")
    state = backup_state(data, now_utc_s)
    assert (state.there, state.same_disk, state.path) == (True, True, str(kept.made.path))
    assert age_words(state) == f"The last backup was made {words}, on the same disk as the record."
    shutil.rmtree(kept.made.path)
    assert not backup_state(data, now_utc_s).there


def test_what_a_person_said_no_with_is_told_when_its_record_gives_way(data: DataFolder) -> None:
    kept = made(data, data.path.parent / "b")
    store = Store.open(data)
    state = {
        "garden_json": "{}",
        "lock_why": "pipes open",
        "pause": {"until_utc_s": 1.0},
        "alerts": {"burst": {"person_needed": True, "text": "A pipe burst."}},
    }
    store.commit(LinkUp(at_utc_s=START_UTC_S, mono_s=1.0), [], durable=True, stamp=STAMP)
    store.save_snapshot(VERSION, json.dumps(state))
    store.close()
    data.unlock()
    said = restore(kept.made.path, data).said
    data.unlock()
    assert len(said) == 3
    assert "pipes open" in said[0]
    assert "A pipe burst." in said[2]


def test_what_root_lays_down_belongs_to_whoever_the_folder_is(
    data: DataFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A restore by root leaves nothing that the service's own user cannot write."""
    given: list[str] = []
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(os, "chown", lambda path, uid, gid: given.append(Path(path).name))
    kept = made(data, data.path.parent / "b")
    assert ".backups.json.new" in given
    restore(kept.made.path, data)
    data.unlock()
    assert {"lock", "thirstline.db.restoring", ".install.new"} <= set(given)
    given.clear()
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    made(data, data.path.parent / "b", at_s=60.0)
    assert given == []


def test_a_stick_that_knows_no_modes_takes_a_backup(
    data: DataFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path, mode: int) -> None:
        if path.parent.parent == data.path.parent / "b":
            raise PermissionError(path)

    monkeypatch.setattr(Path, "chmod", refuse)
    kept = made(data, data.path.parent / "b")
    read_backup(kept.made.path)


def test_a_stick_is_listed_where_no_data_folder_is_known(
    data: DataFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    back_up(data, tmp_path / "stick", now_utc_s=START_UTC_S, program="")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "none"))
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    told = CliRunner().invoke(main, ["backup", "--list", str(tmp_path / "stick")])
    assert told.exit_code == 0, told.output
    assert told.output.count("Z\n") == 1
