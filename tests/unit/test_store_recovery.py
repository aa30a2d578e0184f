from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from controller.datafolder import DataFolder
from controller.effects import Effect, Outcome, Reserve, SaveEpoch, Settle
from controller.errors import StoreError
from controller.events import LedgerEntry, LinkUp, ProbeReading, Started
from controller.store import Store
from controller.trusted import ClockStamp

UTC_S = 1_783_000_000.0
STAMP = ClockStamp(boot_id="a", mono_s=10.0, utc_s=UTC_S, synced=True, trusted_s=500.0)
STARTED = Started(at_utc_s=UTC_S, mono_s=0.0, trusted_s=0.0, stored_epoch=0)
HOUR_LATER = replace(STAMP, mono_s=3_610.0, utc_s=UTC_S + 3_600.0, trusted_s=float("nan"))


def link_up(mono_s: float) -> LinkUp:
    return LinkUp(at_utc_s=UTC_S + mono_s, mono_s=mono_s)


def at(trusted_s: float) -> ClockStamp:
    return replace(STAMP, trusted_s=trusted_s)


def reserve(dose: str, *, epoch: int = 1, seq_high: int = 9, trusted_s: float = 500.0) -> Reserve:
    return Reserve(
        dose=dose,
        watering="w1",
        bed="south",
        valve="v",
        by="policy",
        from_utc_s=UTC_S,
        open_s=3_600.0,
        reserved_l=130.0,
        want_l=100.0,
        epoch=epoch,
        seq_high=seq_high,
        trusted_s=trusted_s,
    )


def settle(dose: str, ended_trusted_s: float) -> Settle:
    return Settle(
        dose=dose,
        outcome=Outcome.CONFIRMED,
        open_s=3_000.0,
        charged_l=104.0,
        credited_l=99.0,
        ended_trusted_s=ended_trusted_s,
    )


@pytest.fixture
def folder(tmp_path: Path) -> DataFolder:
    return DataFolder(tmp_path)


def run(folder: DataFolder, live: Callable[[Store], object]) -> None:
    """One run of a daemon: started, lived, closed."""
    store = Store.open(folder)
    store.commit(STARTED, [SaveEpoch(epoch=1)], durable=True, stamp=STAMP)
    live(store)
    store.close()


def test_new_folder_is_a_first_start_until_a_start_is_journalled(folder: DataFolder) -> None:
    for _ in range(2):
        store = Store.open(folder)
        recovered = store.recover(STAMP, scaled=False)
        store.close()
        assert recovered.history == "first"
        assert (recovered.stored_epoch, recovered.stored_seq) == (0, 0)
        assert (recovered.ledger, recovered.trusted_s) == ((), 0.0)
        assert recovered.snapshot.state_json is None
    run(folder, lambda store: None)
    store = Store.open(folder)
    assert store.recover(HOUR_LATER, scaled=False).history == "kept"
    store.close()


@pytest.mark.hazard("C1", "C4")
def test_opening_without_an_end_is_charged_in_full(folder: DataFolder) -> None:
    run(folder, lambda store: store.commit(link_up(1), [reserve("d1")], durable=True, stamp=STAMP))
    store = Store.open(folder)
    recovered = store.recover(HOUR_LATER, scaled=False)
    assert recovered.trusted_s == 4_100.0
    assert recovered.ledger == (
        LedgerEntry(dose="d1", bed="south", charged_l=130.0, ended_trusted_s=4_100.0 + 140.0),
    )
    (row,) = store._query("SELECT open_s, charged_l, credited_l, outcome FROM ledger", ())
    assert tuple(row.values()) == (3_600.0, 130.0, 100.0, "ASSUMED_FULL")
    store.close()


def test_time_is_counted_once_over_two_starts(folder: DataFolder) -> None:
    run(folder, lambda store: None)
    for _ in range(2):
        store = Store.open(folder)
        assert store.recover(HOUR_LATER, scaled=False).trusted_s == 4_100.0
        store.close()


@pytest.mark.hazard("T4")
def test_other_boot_without_a_synchronised_clock_ages_nothing(folder: DataFolder) -> None:
    run(folder, lambda store: None)
    store = Store.open(folder)
    stamp = replace(HOUR_LATER, boot_id="b", mono_s=3.0, synced=False)
    assert store.recover(stamp, scaled=False).trusted_s == 500.0
    store.close()


def test_trial_under_a_scaled_clock_counts_the_forward_gap_whole(folder: DataFolder) -> None:
    run(folder, lambda store: None)
    store = Store.open(folder)
    stamp = replace(HOUR_LATER, boot_id="b", mono_s=3.0, synced=False)
    assert store.recover(stamp, scaled=True).trusted_s == 4_100.0
    store.close()


@pytest.mark.parametrize(
    ("ended_trusted_s", "counts"),
    [
        pytest.param(0.0, False, id="older"),
        pytest.param(3_599.999, False, id="just-older-than-a-day"),
        pytest.param(3_600.0, True, id="a-day"),
        pytest.param(90_500.0, True, id="ended-past-the-last-stamp"),
    ],
)
def test_ledger_holds_the_last_day_of_trusted_time(
    folder: DataFolder, ended_trusted_s: float, counts: bool
) -> None:
    def live(store: Store) -> None:
        store.commit(link_up(1), [reserve("d1")], durable=True, stamp=STAMP)
        end = settle("d1", ended_trusted_s)
        store.commit(link_up(2), [end], durable=True, stamp=at(90_000.0))

    run(folder, live)
    store = Store.open(folder)
    recovered = store.recover(STAMP, scaled=False)
    store.close()
    assert recovered.trusted_s == 90_000.0
    assert [(e.dose, e.charged_l) for e in recovered.ledger] == ([("d1", 104.0)] if counts else [])


def test_high_mark_is_the_highest_sequence_of_the_highest_epoch(folder: DataFolder) -> None:
    def live(store: Store) -> None:
        for dose, epoch, seq_high in (("a", 1, 90), ("b", 2, 12), ("c", 2, 30), ("d", 2, 5)):
            effects: list[Effect] = [
                SaveEpoch(epoch=epoch),
                reserve(dose, epoch=epoch, seq_high=seq_high),
            ]
            store.commit(link_up(1), effects, durable=True, stamp=STAMP)

    run(folder, live)
    store = Store.open(folder)
    recovered = store.recover(STAMP, scaled=False)
    assert (recovered.stored_epoch, recovered.stored_seq) == (2, 30)
    store.commit(link_up(2), [SaveEpoch(epoch=3)], durable=True, stamp=STAMP)
    recovered = store.recover(STAMP, scaled=False)
    assert (recovered.stored_epoch, recovered.stored_seq) == (3, 0)
    store.close()


def test_events_after_the_newest_snapshot_come_in_order(folder: DataFolder) -> None:
    reading = ProbeReading(at_utc_s=UTC_S + 3, mono_s=3.0, probe="p", value=0.2)

    def live(store: Store) -> None:
        store.commit(link_up(1), [], durable=False, stamp=STAMP)
        store.save_snapshot("1.0", '{"a": 1}')
        store.commit(link_up(2), [], durable=False, stamp=STAMP)
        store.save_snapshot("1.1", '{"a": 2}')
        store.commit(reading, [], durable=False, stamp=STAMP)
        store.commit(link_up(4), [], durable=False, stamp=STAMP)

    run(folder, live)
    store = Store.open(folder)
    recovered = store.recover(HOUR_LATER, scaled=False)
    assert (recovered.snapshot.version, recovered.snapshot.state_json) == ("1.1", '{"a": 2}')
    assert list(recovered.events) == [reading, link_up(4)]
    snapshot, rows = store.journal_since_snapshot("1.0")
    assert (snapshot.n, snapshot.state_json) == (2, '{"a": 1}')
    assert [row.event for row in rows] == [link_up(2), reading, link_up(4)]
    snapshot, rows = store.journal_since_snapshot("0.9")
    assert (snapshot.n, snapshot.state_json) == (0, None)
    assert [row.n for row in rows] == [1, 2, 3, 4, 5]
    store.close()


def test_snapshot_before_anything_happened_is_refused(folder: DataFolder) -> None:
    store = Store.open(folder)
    with pytest.raises(StoreError, match="before anything was committed"):
        store.save_snapshot("1.0", "{}")
    store.close()


def test_journal_reaches_back_thirty_days_of_trusted_time_and_the_ledger_for_good(
    folder: DataFolder,
) -> None:
    day_s = 86_400.0

    def live(store: Store) -> None:
        store.commit(link_up(0), [reserve("d1")], durable=True, stamp=STAMP)
        store.commit(link_up(0), [settle("d1", 600.0)], durable=True, stamp=STAMP)
        for day in range(40):
            for hour in range(0, 24, 6):
                stamp = at(day * day_s + hour * 3_600.0)
                reading = ProbeReading(at_utc_s=UTC_S, mono_s=float(day), probe="p", value=0.2)
                store.commit(reading, [], durable=False, stamp=stamp)
                store.save_snapshot("1.0", "{}")

    run(folder, live)
    store = Store.open(folder)
    days = [row.event.mono_s for row in store.journal()]
    assert (min(days), max(days)) == (9.0, 39.0)  # the first snapshot of day 9 opens it
    snapshots = [r["n"] for r in store._query("SELECT n FROM snapshots ORDER BY n", ())]
    assert len(snapshots) == 34  # day 9's, the first of 30 days, three more of the newest
    assert next(store.journal()).n == snapshots[0] + 1
    assert len(store._query("SELECT * FROM ledger", ())) == 1
    store.close()


def test_wall_clock_that_leaps_a_year_prunes_nothing(folder: DataFolder) -> None:
    def live(store: Store) -> None:
        store.save_snapshot("1.0", "{}")
        leap = replace(STAMP, utc_s=UTC_S + 365 * 86_400.0)
        store.commit(LinkUp(at_utc_s=leap.utc_s, mono_s=1.0), [], durable=True, stamp=leap)
        store.save_snapshot("1.0", "{}")

    run(folder, live)
    store = Store.open(folder)
    assert [row.n for row in store.journal()] == [1, 2]
    store.close()
