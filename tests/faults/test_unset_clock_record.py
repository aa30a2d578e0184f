"""A clock that nobody has set: the record tells which of its rows bear a doubtful time (T4).

The truth is kept by the bench beside the record: at which event, opening and hour it was so.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from api.cli import main
from controller.clock import ScaledClock
from controller.datafolder import DataFolder
from controller.effects import Effect, Note, Reserve
from controller.events import ClockState, Event, Started, Tick
from controller.past import Past
from controller.store import Store, open_reader
from controller.trusted import ClockStamp
from tests.engine_bench import Bench
from tests.engine_garden import START_UTC_S, small_garden

HOUR_S = 3600.0
DAY_S = 86_400.0


class Kept(Bench):
    """A bench whose events and effects are kept in a real database."""

    def __init__(self, place: Path) -> None:
        self.folder = DataFolder(place)
        self.store = Store.open(self.folder)
        self.synced = False
        self.truth_n: list[bool] = [True]  # by journal number, from 1 on
        self.truth_dose: dict[str, bool] = {}
        self.truth_hour: dict[int, bool] = {}
        super().__init__(small_garden())

    def start(self, **told: Any) -> list[Effect]:
        return super().start(clock_synced=self.synced, **told)

    def set_clock(self, *, synced: bool, ahead_s: float = 0.0) -> None:
        """The wall clock leaps and is known to be right from there on, or no longer."""
        self.synced = synced
        self.wall_ahead_s += ahead_s
        self.step(ClockState(**self.times(), synced=synced))

    def seen(self, event: Event, effects: list[Effect]) -> None:
        stamp = ClockStamp(
            boot_id="a",
            mono_s=self.now_s,
            utc_s=self.at_utc_s,
            synced=self.synced,
            trusted_s=0.0 if isinstance(event, Started) else self.engine.run.trusted_s,
        )
        self.store.commit(event, effects, durable=False, stamp=stamp)
        if effects or not isinstance(event, Tick):  # others are not kept
            self.truth_n.append(self.synced)
        for effect in effects:
            if isinstance(effect, Reserve):
                self.truth_dose[effect.dose] = self.synced
            elif isinstance(effect, Note) and effect.code == "hour":
                hour = int(event.at_utc_s // HOUR_S) * int(HOUR_S)
                # an hour that ends with the very word that sets the clock was lived before it
                self.truth_hour[hour] = self.synced and not isinstance(event, ClockState)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Kept:
    """Unset for three hours, set for four, lost sight of for two, begun anew unset, and set."""
    bench = Kept(tmp_path_factory.mktemp("record") / "data")
    drink(bench, 3.0)
    bench.set_clock(synced=True, ahead_s=3 * DAY_S)
    drink(bench, 4.0)
    bench.set_clock(synced=False)
    drink(bench, 2.0)
    bench.set_clock(synced=True)
    drink(bench, 2.0)
    bench.synced, bench.wall_ahead_s = False, bench.wall_ahead_s - 40 * DAY_S
    bench.restart(60.0, trusted=False)  # a board without a clock chip: it wakes in the past
    bench.connect()
    drink(bench, 3.0)
    bench.set_clock(synced=True, ahead_s=40 * DAY_S)
    drink(bench, 2.0)
    bench.store.close()
    return bench


def drink(bench: Kept, hours: float) -> None:
    """Live on, with one watering by hand as soon as it may be."""
    bench.live(1000.0, tick_s=20.0)
    answer = bench.order("water", "south", litres=4.0)
    assert answer is None or answer.status == "accepted", answer
    bench.live(hours * HOUR_S - 1000.0, tick_s=20.0)


def files(kept: Kept, out: Path) -> Path:
    """The record as files; its one bed is one of Hollin Lane's."""
    words = ["export", "hollin-lane", "--out", str(out), "--all", "--data", str(kept.folder.path)]
    span = ["--from", "2026-05-09", "--to", "2026-12-31"]
    said = CliRunner().invoke(main, [*words, *span])
    assert said.exit_code == 0, said.output
    return out


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.hazard("T4")
def test_each_row_of_the_log_says_whether_the_clock_was_set(kept: Kept) -> None:
    with open_reader(kept.folder) as reader:
        clock = reader.clock()
        told = [(row.n, clock.at_n(row.n)) for row in reader.log()]
    assert {synced for _, synced in told} == {True, False}
    assert [n for n, synced in told if synced is not kept.truth_n[n]] == []


@pytest.mark.hazard("T4")
def test_each_opening_says_whether_the_clock_was_set(kept: Kept) -> None:
    with open_reader(kept.folder) as reader:
        clock, begun_s = reader.clock(), reader.begun_trusted_s()
    told = {dose: clock.at_trusted_s(begun) for dose, begun in begun_s.items()}
    assert told == kept.truth_dose
    assert len(told) == 6
    assert list(told.values()).count(False) == 3


@pytest.mark.hazard("T4")
def test_history_and_log_over_the_api_say_it(kept: Kept) -> None:
    past = Past(kept.garden, kept.folder, ScaledClock())
    hours = past.history("south", START_UTC_S - 60 * DAY_S, START_UTC_S + 60 * DAY_S)
    told = {int(row["at_utc_s"]): row["clock_synced"] for row in hours}
    assert told == kept.truth_hour
    assert {True, False} == set(told.values())
    log = past.log(0, 500)
    assert {row["clock_synced"] for row in log if row["code"] == "clock_set"} == {True}
    assert {row["clock_synced"] for row in log if row["code"] == "clock_unset"} == {False}
    book = past.season(START_UTC_S - 60 * DAY_S, START_UTC_S + 60 * DAY_S)
    assert [one["clock_synced"] for one in book["waterings"]].count(False) == 3


@pytest.mark.hazard("T4")
def test_every_exported_file_says_it(kept: Kept, tmp_path: Path) -> None:
    out = files(kept, tmp_path / "out")
    for name in ("ledger.csv", "waterings.csv", "hours.csv", "log.csv"):
        assert {row["clock_synced"] for row in rows(out / name)} == {"0", "1"}, name
    ledger = {row["dose"]: row["clock_synced"] == "1" for row in rows(out / "ledger.csv")}
    assert ledger == kept.truth_dose
    lines = [json.loads(line) for line in (out / "journal.jsonl").read_text("utf-8").splitlines()]
    assert [n["n"] for n in lines if n["clock_synced"] is not kept.truth_n[n["n"]]] == []


def test_a_record_from_before_these_notes_is_told_as_set(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path / "data")
    store = Store.open(folder)
    began = Started(at_utc_s=START_UTC_S, mono_s=0.0, trusted_s=0.0, stored_epoch=0)
    stamp = ClockStamp(boot_id="a", mono_s=1.0, utc_s=START_UTC_S, synced=True, trusted_s=1.0)
    old = Note(what="state", bed=None, code="started", text="Started.", numbers={})
    store.commit(began, [old], durable=True, stamp=stamp)
    store.close()
    with open_reader(folder) as reader:
        clock = reader.clock()
    assert clock.at_n(1)
    assert clock.at_trusted_s(0.0)
    assert clock.at_hour(0)
