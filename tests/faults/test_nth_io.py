"""Fail the Nth operation of the disk, for every N of a dose: nothing opens that is not recorded.

The model is SQLite's own test of I/O errors: the same script runs again and again, and each time
another operation fails, once or from then on. The whole control loop takes part: engine, recorder
and database; nodes, link and meter are virtual ones.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from controller import store_batches
from controller.datafolder import DataFolder
from controller.store import Store
from tests.engine_garden import START_UTC_S, small_garden
from tests.faults.stored_bench import Clock, Disk, StoredBench

ORDER_L = 4.0  # two and a half minutes of water
GARDEN = small_garden(master=True, meter=True)
EVERY = 23  # of the plain run; the slow one takes each


@pytest.fixture(autouse=True)
def few_slots(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that the journal's slots are laid together within the script."""
    monkeypatch.setattr(store_batches, "SLOTS", 5)


def dose(bench: StoredBench) -> None:
    """A watering by hand, begun and ended."""
    bench.order("water", "south", litres=ORDER_L)
    bench.live(420.0)


def lived(place: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch) -> StoredBench:
    """The script: a start, a quiet start, a dose; the disk does what it was told."""
    monkeypatch.setattr(sqlite3, "connect", disk.connect())
    bench = StoredBench(GARDEN, place)
    dose(bench)
    return bench


def check_whole(place: Path, litres: float) -> None:
    """After a new start: the file is sound, every opening has its end and covers its water."""
    folder = DataFolder(place)
    store = Store.open(folder)
    bench_clock = Clock.__new__(Clock)
    bench_clock._bench = Late()  # type: ignore[assignment]
    store.recover(bench_clock.stamp(0.0), scaled=False)
    assert store._query("PRAGMA integrity_check", ()) == [{"integrity_check": "ok"}]
    ns = [row.n for row in store.journal()]
    assert (ns, store.damaged) == (sorted(set(ns)), [])
    assert store._query("SELECT 1 FROM batches", ()), "slots were never laid together"
    rows = store._query("SELECT outcome, charged_l FROM reservations", ())
    assert all(row["outcome"] is not None for row in rows)
    assert sum(row["charged_l"] for row in rows) >= litres - 1e-6
    store.close()
    folder.unlock()


class Late:
    """The clocks of a later start."""

    now_s = mono_s = 100_000.0
    at_utc_s = START_UTC_S + now_s


def fails_safely(
    place: Path, n: int, lasts: bool, monkeypatch: pytest.MonkeyPatch
) -> tuple[bool, str]:
    """One run whose Nth operation fails; whether the order was still given, and what failed."""
    disk = Disk(fails_at=n, lasts=lasts)
    bench = lived(place, disk, monkeypatch)
    said = f"operation {n} ({disk.failed[:1]}), {'lasting' if lasts else 'once'}"
    assert disk.failed, said
    assert bench.unrecorded == [], f"{said}: opened without a record"
    assert not any(node.is_open for node in bench.nodes.values()), f"{said}: left open"
    called = [note for note in bench.notes("alert") if note.code == "cannot_record"]
    assert called, f"{said}: nobody was told"
    given = bench.litres["south"] > 0.0
    if lasts:
        assert "cannot_record" in bench.alert_codes(), said
        answer = bench.order("water", "south", litres=ORDER_L)
        assert answer is not None, said
        assert answer.reason in {"cannot_record", "quiet_start"}, said
    disk.mend()
    bench.live(
        700.0
    )  # a new quiet start where the store could not be opened, and ten minutes' rest
    assert "cannot_record" not in bench.alert_codes(), f"{said}: it never came back"
    before_l = bench.litres["south"]
    dose(bench)
    assert bench.litres["south"] > before_l, f"{said}: no water after it was mended"
    assert bench.unrecorded == [], said
    bench.end()
    check_whole(place, bench.litres["south"])
    return given, said


def operations(place: Path, monkeypatch: pytest.MonkeyPatch) -> int:
    """How many operations the undisturbed script takes: the control run, which has to water."""
    disk = Disk()
    bench = lived(place, disk, monkeypatch)
    assert bench.litres["south"] >= 0.9 * ORDER_L
    assert bench.unrecorded == []
    assert "cannot_record" not in bench.alert_codes()
    done = disk.done
    bench.end()
    check_whole(place, bench.litres["south"])
    return done


def run_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, every: int) -> None:
    most = operations(tmp_path / "control", monkeypatch)
    assert most > 100
    given = 0
    for n in range(1, most + 1, every):
        for lasts in (False, True):
            water, _ = fails_safely(tmp_path / f"{n}-{lasts}", n, lasts, monkeypatch)
            given += water
    assert 0 < given < 2 * len(range(1, most + 1, every)), "some doses have to fail, some to pass"


@pytest.mark.hazard("S1", "S2", "C1")
def test_an_operation_that_fails_opens_nothing_unrecorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run_all(tmp_path, monkeypatch, EVERY)


@pytest.mark.slow
@pytest.mark.hazard("S1", "S2", "C1")
def test_each_operation_that_fails_opens_nothing_unrecorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run_all(tmp_path, monkeypatch, 1)
