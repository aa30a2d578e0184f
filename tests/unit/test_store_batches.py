"""The journal in packed rows: whole, in order, and where a row is damaged that one is lost."""

from __future__ import annotations

import json
import logging
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlite_utils import Database

from controller import store_batches
from controller.datafolder import DataFolder
from controller.effects import Close
from controller.engine import Engine
from controller.events import EVENT_JSON, Event, LinkDown, LinkUp, ProbeReading
from controller.store import Store, open_reader
from controller.store_batches import BATCHES, MOST_LINES, SLOTS, Line, cut, lines_of, packed, put
from controller.store_copy import facts_of
from controller.store_hours import let_go
from controller.trusted import ClockStamp
from controller.verify import verify
from tests.engine_garden import START_UTC_S, STARTED, small_garden
from tests.older_record import set_back

STAMP = ClockStamp(boot_id="a", mono_s=1.0, utc_s=START_UTC_S, synced=True, trusted_s=1.0)
FINITE = st.floats(allow_nan=False, allow_infinity=False)
VALUES = st.one_of(st.none(), st.booleans(), st.integers(), FINITE, st.text())
EVENTS = st.dictionaries(st.sampled_from("abcd"), VALUES | st.lists(VALUES, max_size=2), min_size=1)
FLAT = settings(
    max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True
)


def reading(i: int) -> ProbeReading:
    return ProbeReading(
        at_utc_s=START_UTC_S + i, mono_s=float(i), probe=f"p{i % 4}", value=0.2, boot=f"b{i % 3}"
    )


def line(n: int) -> Line:
    return Line(n, {"kind": "probe", "at_utc_s": float(n)}, None)


@pytest.fixture
def folder(tmp_path: Path) -> DataFolder:
    return DataFolder(tmp_path)


@pytest.fixture
def store(folder: DataFolder) -> Iterator[Store]:
    opened = Store.open(folder)
    yield opened
    opened.close()


def minutes(store: Store, many: int, first: int = 0, each: int = 3) -> list[Event]:
    """So many batches of three readings."""
    told: list[Event] = [reading(first + i) for i in range(many * each)]
    for i, event in enumerate(told):
        stamp = replace(STAMP, mono_s=float(first + i))
        store.commit(event, [], durable=i % each == each - 1, stamp=stamp)
    return told


def journal(store: Store) -> list[tuple[int, Event]]:
    return [(row.n, row.event) for row in store.journal()]


@FLAT
@given(st.lists(EVENTS), st.one_of(st.none(), st.text()))
def test_what_is_packed_comes_back_bit_for_bit(told: list[dict[str, object]], effects: str) -> None:
    lines = [Line(n, event, effects) for n, event in enumerate(told)]
    assert repr(lines_of(packed(lines))) == repr(lines)


@pytest.mark.parametrize("cut_off", [1, 5, 40])
def test_bytes_that_are_not_what_was_packed_are_seen(cut_off: int) -> None:
    whole = packed([line(n) for n in range(50)])
    assert lines_of(whole[:-cut_off]) is None
    assert lines_of(whole[:20] + b"\xff" + whole[21:]) is None
    assert lines_of(b"") is None


def test_slots_are_written_over_and_nothing_is_lost(folder: DataFolder) -> None:
    store = Store.open(folder)
    told = minutes(store, 2 * SLOTS + 7)
    assert journal(store) == list(enumerate(told, 1))
    assert store._query("SELECT count(*) AS many FROM recent", ()) == [{"many": SLOTS}]
    folded = store._query("SELECT n, first_n FROM batches ORDER BY n", ())
    assert folded[-1]["n"] == 2 * SLOTS * 3
    store.close()
    folder.unlock()
    again = Store.open(folder)
    told += minutes(again, 1, first=len(told))
    assert journal(again) == list(enumerate(told, 1))
    again.close()


def test_what_waited_long_is_parted_into_rows(store: Store) -> None:
    for i in range(2 * MOST_LINES + 5):
        store.commit(reading(i), [], durable=False, stamp=STAMP)
    store.flush()
    assert store._query("SELECT n, first_n FROM recent ORDER BY n", ()) == [
        {"n": MOST_LINES, "first_n": 1},
        {"n": 2 * MOST_LINES, "first_n": MOST_LINES + 1},
        {"n": 2 * MOST_LINES + 5, "first_n": 2 * MOST_LINES + 1},
    ]


def test_a_batch_takes_two_pages_of_the_log(store: Store, folder: DataFolder) -> None:
    """Its own and that of the clocks: a row at a table's end would take four or five."""
    minutes(store, SLOTS + 1)
    log = folder.path / "thirstline.db-wal"
    store._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    minutes(store, 10, first=1_000)
    frame = 24 + store._query("PRAGMA page_size", ())[0]["page_size"]
    assert (log.stat().st_size - 32) / frame == 10 * 2


def test_a_reader_that_pages_misses_nothing_where_slots_are_laid_together_meanwhile(
    store: Store, folder: DataFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_batches, "PAGE_BATCHES", 1)
    told = minutes(store, SLOTS)
    with open_reader(folder) as reader:
        rows = reader.journal()
        seen = [next(rows).event for _ in range(4)]
        minutes(store, 1, first=len(told))
        seen += [row.event for row in rows]
    assert seen == told


@FLAT
@given(
    batches=st.lists(st.integers(1, 4), min_size=1, max_size=40),
    slots=st.integers(1, 7),
    most=st.integers(1, 6),
    cuts=st.lists(st.tuples(st.integers(0, 40), st.integers(0, 100)), max_size=4),
)
def test_wherever_it_is_cut_what_is_not_old_stays_and_what_goes_is_told_once(
    batches: list[int], slots: int, most: int, cuts: list[tuple[int, int]]
) -> None:
    with pytest.MonkeyPatch.context() as patch, closing(sqlite3.connect(":memory:")) as connection:
        patch.setattr(store_batches, "SLOTS", slots)
        patch.setattr(store_batches, "MOST_LINES", most)
        db = Database(connection)
        for statement in BATCHES:
            db.execute(statement)
        there: list[int] = []
        n = 0
        for turn, many in enumerate(batches):
            put(db, [line(n + i + 1) for i in range(many)])
            there += range(n + 1, n + many + 1)
            n += many
            for when, share in cuts:
                if when == turn:
                    old_n = n * share // 100
                    gone = [one.n for _, _, lines in cut(db, old_n) for one in lines or ()]
                    assert gone == [x for x in there if x <= old_n]
                    there = [x for x in there if x > old_n]
            rows = store_batches.tape(lambda sql, params: list(db.query(sql, params)), 0, n, -1.0)
            assert [one.n for _, _, lines in rows for one in lines or ()] == there


# -- damage


def harm(database: Path, table: str, n: int) -> None:
    """Turn a byte over within the row that ends with an event."""
    with closing(sqlite3.connect(database)) as db:
        row = Database(db).table(table)
        ((key, whole),) = db.execute(
            {
                "recent": "SELECT slot, events FROM recent WHERE n = ?",
                "batches": "SELECT n, events FROM batches WHERE n = ?",
            }[table],
            (n,),
        ).fetchall()
        middle = len(whole) // 2
        torn = whole[:middle] + bytes([whole[middle] ^ 0x10]) + whole[middle + 1 :]
        row.update(key, {"events": torn})
        db.commit()


@pytest.mark.hazard("S3")
def test_a_damaged_row_loses_its_own_events_and_says_so(
    store: Store, folder: DataFolder, caplog: pytest.LogCaptureFixture
) -> None:
    told = list(enumerate(minutes(store, 5), 1))
    harm(folder.database, "recent", 9)
    assert journal(store) == told[:6] + told[9:]
    assert store.damaged == [(7, 9)]
    assert "the journal is damaged: 7 to 9 are lost" in caplog.text
    minutes(store, SLOTS, first=15)  # laid together it is still told of, alone
    assert [n for n, _ in journal(store)][:9] == [1, 2, 3, 4, 5, 6, 10, 11, 12]
    assert store.damaged[-1] == (7, 9)


@pytest.mark.hazard("S3")
def test_verify_compares_up_to_the_damage(folder: DataFolder) -> None:
    store = Store.open(folder)
    engine = Engine(small_garden())
    for event in (STARTED, *(reading(i) for i in range(6))):
        stamp = replace(STAMP, mono_s=event.mono_s)
        store.commit(event, engine.step(event), durable=True, stamp=stamp)
    store.close()
    assert (verify(folder).events, verify(folder).damaged) == (7, None)
    harm(folder.database, "recent", 4)
    found = verify(folder)
    assert (found.events, found.differs_at, found.damaged) == (3, None, (4, 4))


@pytest.mark.hazard("S3", "H3")
def test_damage_since_the_newest_state_spends_the_days_water(
    folder: DataFolder,
) -> None:
    """What is lost may have been a lock or a pause."""
    store = Store.open(folder)
    minutes(store, 2)
    store.save_snapshot("1", "{}")
    told = minutes(store, 2, first=6)
    store.close()
    harm(folder.database, "recent", 3)  # before the state: it is in it
    store = Store.open(folder)
    assert store.recover(STAMP, scaled=False).history == "first"
    store.close()
    harm(folder.database, "recent", 9)
    store = Store.open(folder)
    known = store.recover(STAMP, scaled=False)
    assert (known.history, list(known.events)) == ("lost", told[3:])
    store.close()


def test_what_goes_damaged_is_told_and_holds_nothing_up(
    store: Store,
    folder: DataFolder,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.setattr(store_batches, "MOST_LINES", 30)
    minutes(store, SLOTS + 1)
    harm(folder.database, "batches", 60)
    with store._db.atomic():
        let_go(store._db, 100)
    assert "the journal is damaged: 31 to 60 go without their hours" in caplog.text
    assert journal(store)[0][0] == 101
    assert store.damaged == []
    hours = store._query("SELECT sum(readings) AS many FROM probe_hours", ())
    assert hours == [{"many": 70}]


# -- records of earlier versions


ODD = [
    STARTED,
    LinkUp(at_utc_s=START_UTC_S, mono_s=-0.0),
    ProbeReading(at_utc_s=START_UTC_S, mono_s=0.1, probe="p", value=-0.0),
    ProbeReading(at_utc_s=START_UTC_S, mono_s=0.2, probe="p", value=5e-324, seq=2**63, boot="é"),
    ProbeReading(at_utc_s=START_UTC_S, mono_s=0.3, probe="p", value=1e308, not_now="retained"),
    LinkDown(at_utc_s=START_UTC_S, mono_s=0.4),
]


@pytest.fixture
def earlier(folder: DataFolder) -> DataFolder:
    """A record of version 3, with all that its two tables had to tell apart."""
    store = Store.open(folder)
    for event in ODD:
        store.commit(event, [Close(valve="v")], durable=False, stamp=STAMP)
    minutes(store, MOST_LINES)
    store.close()
    folder.unlock()
    set_back(folder, 3)
    return folder


def told_by(folder: DataFolder) -> list[str]:
    with open_reader(folder) as reader:
        assert reader.damaged == []
        return [repr(row) for row in reader.journal()]


def test_the_journal_of_an_earlier_version_is_read_as_it_is_and_moved_bit_for_bit(
    earlier: DataFolder,
) -> None:
    before, facts = told_by(earlier), facts_of(earlier.database)
    with open_reader(earlier) as reader:
        boots, garden = reader.boots_since(0.0), reader.garden_json()
        hours = reader.probe_hours(0.0, 2e9)
    assert (facts.schema, facts.journal_n) == (3, len(before))
    assert len(before) == len(ODD) + 3 * MOST_LINES
    store = Store.open(earlier)
    assert [repr(row) for row in store.journal()] == before
    assert store.boots_since(0.0) == boots == {"p": 1, **dict.fromkeys(["p0", "p1", "p2", "p3"], 3)}
    assert store.garden_json() == garden == small_garden().model_dump_json()
    assert store.probe_hours(0.0, 2e9) == hours
    more = minutes(store, 1)
    assert [event for _, event in journal(store)][-3:] == more
    assert store.last_n() == len(before) + 3
    store.close()
    earlier.unlock()
    assert facts_of(earlier.database).schema == 4
    (backup,) = (earlier.path / "backups").glob("*/thirstline.db")
    assert facts_of(backup) == facts


def test_a_row_that_was_damaged_there_holds_up_no_upgrade(
    earlier: DataFolder, caplog: pytest.LogCaptureFixture
) -> None:
    with closing(sqlite3.connect(earlier.database)) as db:
        db.execute("UPDATE journal SET event = substr(event, 1, 20) WHERE n = 2")
        db.commit()
    caplog.set_level(logging.ERROR)
    store = Store.open(earlier)
    known = store.recover(STAMP, scaled=False)
    assert [n for n, _ in journal(store)][:3] == [1, 3, 4]
    assert (known.history, store.damaged[0]) == ("lost", (2, 2))
    assert "2 to 2 are lost" in caplog.text
    store.close()


def test_a_document_is_read_as_its_text_was() -> None:
    """The journal's events come from JSON's values now, before from JSON's text."""
    for event in ODD:
        text = EVENT_JSON.dump_json(event)
        assert repr(EVENT_JSON.validate_python(json.loads(text))) == repr(event)
