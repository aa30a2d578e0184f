import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.datafolder import DataFolder
from controller.effects import Note, Outcome, Picked, Reserve, SaveEpoch, Settle
from controller.errors import StoreError
from controller.events import LinkUp
from controller.store import Store, open_reader
from controller.trusted import ClockStamp

STAMP = ClockStamp(boot_id="a", mono_s=10.0, utc_s=1_783_000_000.0, synced=True, trusted_s=10.0)
EVENT = LinkUp(at_utc_s=1_783_000_000.0, mono_s=10.0)


def reserve(dose: str, *, reserved_l: float = 130.0) -> Reserve:
    return Reserve(
        dose=dose,
        watering="w1",
        bed="south",
        valve="v-south",
        by="policy",
        from_utc_s=1_783_000_000.25,
        open_s=3_600.0,
        reserved_l=reserved_l,
        want_l=100.0,
        epoch=7,
        seq_high=40,
        trusted_s=10.0,
    )


def settle(dose: str, outcome: Outcome, *, charged_l: float = 104.0) -> Settle:
    return Settle(
        dose=dose,
        outcome=outcome,
        open_s=3_000.0,
        charged_l=charged_l,
        credited_l=99.0,
        ended_trusted_s=3_010.0,
    )


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(DataFolder(tmp_path))
    opened.commit(EVENT, [SaveEpoch(epoch=7)], durable=True, stamp=STAMP)
    yield opened
    opened.close()


@pytest.fixture
def second(store: Store, tmp_path: Path) -> Iterator[sqlite3.Connection]:
    del store
    connection = sqlite3.connect(tmp_path / "thirstline.db")
    yield connection
    connection.close()


def ledger(second: sqlite3.Connection) -> list[tuple[object, ...]]:
    return second.execute("SELECT * FROM ledger ORDER BY dose").fetchall()


def test_every_table_of_ours_is_strict(second: sqlite3.Connection) -> None:
    tables = {
        name: strict
        for _, name, kind, _, _, strict in second.execute("PRAGMA table_list")
        if kind == "table" and not name.startswith("sqlite_") and name != "_sqlite_migrations"
    }
    assert sorted(tables) == [
        "batches",
        "epochs",
        "hourly",
        "meta",
        "notes",
        "picks",
        "probe_hours",
        "recent",
        "reservations",
        "sky_hours",
        "snapshots",
    ]
    assert set(tables.values()) == {1}


@pytest.mark.parametrize(
    "statement",
    [
        pytest.param("UPDATE reservations SET charged_l = 'much'", id="litres"),
        pytest.param("UPDATE reservations SET charged_l = NULL", id="no-litres"),
        pytest.param("UPDATE reservations SET open_s = NULL", id="no-seconds"),
        pytest.param("UPDATE reservations SET outcome = 'PERHAPS'", id="outcome"),
        pytest.param("UPDATE reservations SET epoch = 8", id="epoch-never-saved"),
        pytest.param("INSERT INTO batches VALUES (99, 98, 'noon', x'00')", id="instant"),
        pytest.param("INSERT INTO batches VALUES (99, 98, 1.0, 'wet')", id="journal-in-plain"),
        pytest.param("INSERT INTO recent VALUES (0, 'last', 98, 1.0, x'00')", id="number"),
        pytest.param("INSERT INTO hourly VALUES ('ten', 'south', 0.1, 0.4, 0.0, 0.0)", id="hour"),
    ],
)
def test_tables_refuse_what_is_no_number(
    store: Store, second: sqlite3.Connection, statement: str
) -> None:
    store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    second.execute("PRAGMA foreign_keys = ON")
    with pytest.raises(sqlite3.IntegrityError):
        second.execute(statement)


@pytest.mark.hazard("C4")
def test_connection_syncs_each_commit(store: Store) -> None:
    def pragma(name: str) -> object:
        return store._db.execute(f"PRAGMA {name}").fetchone()[0]

    assert pragma("journal_mode") == "wal"
    assert pragma("synchronous") == 2
    assert pragma("foreign_keys") == 1
    assert pragma("busy_timeout") == 2_000


def test_ledger_view_has_its_names_in_order(second: sqlite3.Connection) -> None:
    names = [row[1] for row in second.execute("PRAGMA table_info(ledger)")]
    assert names == [
        "dose",
        "bed",
        "valve",
        "from_utc",
        "open_s",
        "charged_l",
        "credited_l",
        "outcome",
    ]


def test_ledger_shows_the_reservation_while_the_opening_runs(
    store: Store, second: sqlite3.Connection
) -> None:
    store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    assert ledger(second) == [
        ("d1", "south", "v-south", "2026-07-02T13:46:40Z", 3_600.0, 130.0, None, None)
    ]


@pytest.mark.parametrize(
    ("outcome", "open_s", "charged_l", "credited_l"),
    [
        pytest.param(Outcome.CONFIRMED, 3_000.0, 104.0, 99.0, id="confirmed"),
        pytest.param(Outcome.ASSUMED_FULL, 3_000.0, 104.0, 99.0, id="assumed-full"),
        pytest.param(Outcome.NEVER_SENT, 0.0, 0.0, 0.0, id="never-sent"),
    ],
)
def test_ledger_shows_the_end(
    store: Store,
    second: sqlite3.Connection,
    outcome: Outcome,
    open_s: float,
    charged_l: float,
    credited_l: float,
) -> None:
    store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    store.commit(EVENT, [settle("d1", outcome)], durable=True, stamp=STAMP)
    row = ledger(second)[0]
    assert row[3:] == ("2026-07-02T13:46:40Z", open_s, charged_l, credited_l, outcome.value)
    assert [type(value) for value in row[3:]] == [str, float, float, float, str]


def test_first_end_stands_and_its_charge_can_only_rise(
    store: Store, second: sqlite3.Connection
) -> None:
    store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    store.commit(EVENT, [settle("d1", Outcome.ASSUMED_FULL)], durable=True, stamp=STAMP)
    store.commit(EVENT, [settle("d1", Outcome.NEVER_SENT)], durable=True, stamp=STAMP)
    assert ledger(second)[0][4:] == (3_000.0, 104.0, 99.0, "ASSUMED_FULL")
    later = settle("d1", Outcome.CONFIRMED, charged_l=120.0)
    store.commit(EVENT, [later], durable=True, stamp=STAMP)
    assert ledger(second)[0][4:] == (3_000.0, 120.0, 99.0, "ASSUMED_FULL")


def test_water_found_after_never_sent_is_charged(store: Store, second: sqlite3.Connection) -> None:
    store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    store.commit(EVENT, [settle("d1", Outcome.NEVER_SENT)], durable=True, stamp=STAMP)
    store.commit(EVENT, [settle("d1", Outcome.ASSUMED_FULL)], durable=True, stamp=STAMP)
    assert ledger(second)[0][4:] == (3_000.0, 104.0, 99.0, "ASSUMED_FULL")


def test_same_reservation_again_is_a_retry(store: Store, second: sqlite3.Connection) -> None:
    store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    assert len(ledger(second)) == 1


def test_other_litres_under_the_same_dose_are_refused(
    store: Store, second: sqlite3.Connection
) -> None:
    store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    with pytest.raises(StoreError, match="dose d1 is already reserved with other numbers"):
        store.commit(EVENT, [reserve("d1", reserved_l=131.0)], durable=True, stamp=STAMP)
    assert [row[5] for row in ledger(second)] == [130.0]


def test_end_of_a_dose_that_nobody_reserved_stops_nothing_and_is_said(
    store: Store, second: sqlite3.Connection, caplog: pytest.LogCaptureFixture
) -> None:
    store.commit(EVENT, [settle("ghost", Outcome.CONFIRMED)], durable=True, stamp=STAMP)
    assert ledger(second) == []
    assert "dose ghost ended but was never reserved" in caplog.text
    assert [row.n for row in store.journal()] == [1, 2]


def test_reservation_under_an_epoch_that_was_never_saved_is_refused(tmp_path: Path) -> None:
    store = Store.open(DataFolder(tmp_path))
    with pytest.raises(StoreError, match="FOREIGN KEY"):
        store.commit(EVENT, [reserve("d1")], durable=True, stamp=STAMP)
    store.close()


def test_notes_go_to_the_log_and_a_beds_state_to_its_hours(store: Store) -> None:
    decided = Note(what="decision", bed="south", code="at_line", text="It is dry.")
    numbers = {"depletion_frac": 0.41, "line_frac": 0.4, "rain_mm": 0.5, "given_l": 12.0}
    state = Note(what="state", bed="south", code="hour", text="", numbers=numbers)
    store.commit(EVENT, [decided, state], durable=False, stamp=STAMP)
    assert store.log() == ()
    store.flush()
    (row,) = store.log()
    assert (row.id, row.what, row.bed, row.code) == (1, "decision", "south", "at_line")
    assert (row.text, row.numbers, row.at_utc_s) == ("It is dry.", {}, 1_783_000_000.0)
    assert store.log(after=row.id) == ()
    (hour,) = store.history("south", 1_782_990_000.0, 1_783_010_000.0)
    assert (hour.hour_utc_s, hour.depletion_frac, hour.line_frac) == (1_782_997_200, 0.41, 0.4)
    assert (hour.rain_mm, hour.given_l) == (0.5, 12.0)
    assert store.history("north", 1_782_990_000.0, 1_783_010_000.0) == ()
    assert store.history("south", 1_782_997_201.0, 1_783_010_000.0) == ()


PICKED = Picked(bed="south", on="2026-07-01", kg=2.5, cracked=1, variety="Early")
SPAN = (1_782_000_000.0, 1_784_000_000.0)


def test_picks_are_kept_and_the_last_of_a_day_is_taken_back(store: Store) -> None:
    store.commit(EVENT, [PICKED], durable=False, stamp=STAMP)
    other = Picked(bed="south", on="2026-07-01", kg=1.0)
    store.commit(EVENT, [other], durable=False, stamp=STAMP)
    assert [(pick.kg, pick.variety) for pick in store.season(*SPAN).picks] == [
        (2.5, "Early"),
        (1.0, ""),
    ]
    back = Picked(bed="south", on="2026-07-01", taken_back=True)
    store.commit(EVENT, [back], durable=False, stamp=STAMP)
    assert [pick.kg for pick in store.season(*SPAN).picks] == [2.5]


def test_a_database_without_picks_is_read_as_it_is_and_gets_them_at_the_next_start(
    tmp_path: Path,
) -> None:
    folder = DataFolder(tmp_path)
    Store.open(folder).close()
    with sqlite3.connect(folder.database) as older:  # as the version before left it
        older.execute("DROP TABLE picks")
        older.execute("UPDATE meta SET schema = 1")
        older.execute("DELETE FROM _sqlite_migrations WHERE name = 'season_book'")
    older.close()
    with open_reader(folder) as reader:
        assert reader.season(*SPAN).picks == ()
    folder.unlock()
    opened = Store.open(folder)
    assert opened.history_kind() in {"first", "kept"}
    opened.commit(EVENT, [PICKED], durable=True, stamp=STAMP)
    assert len(opened.season(*SPAN).picks) == 1
    opened.close()
    with sqlite3.connect(folder.database) as now:
        assert now.execute("SELECT schema FROM meta").fetchone() == (2,)
    now.close()
