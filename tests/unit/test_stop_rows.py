"""Every stop is answered and closes; of many in a row the record keeps a row at either end."""

from __future__ import annotations

from typing import Any

import pytest

from controller.effects import Answer, Close, Note
from controller.engine import Engine
from controller.events import Order, OrderKind
from controller.orders import ENDING
from controller.store_schema import needs_disk
from controller.telling.stop_rows import CALLERS_MOST
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

BEDS = ("south", "north")


def stop(bench: Bench, who: str, bed: str | None = None) -> list[Any]:
    """One stop; it is accepted and closes what it names."""
    bench._orders += 1
    order = f"o{bench._orders}"
    what = OrderKind.STOP if bed else OrderKind.STOP_ALL
    effects = bench.step(Order(**bench.times(), order=order, what=what, who=who, bed=bed))
    (answer,) = [effect for effect in effects if isinstance(effect, Answer)]
    assert (answer.order, answer.status) == (order, "accepted")
    closed = {effect.valve for effect in effects if isinstance(effect, Close)}
    assert closed == ({bed} if bed else {*BEDS, "master"})
    return effects


def rows(bench: Bench) -> list[Note]:
    return [note for note in bench.of(Note) if note.what == "order"]


@pytest.fixture
def bench() -> Bench:
    return Bench(small_garden(beds=BEDS, at_once=2, master=True))


@pytest.mark.hazard("N1")
def test_a_thousand_stops_in_a_row_leave_two_rows_that_tell_of_all(bench: Bench) -> None:
    for number in range(1000):
        assert needs_disk(stop(bench, "Ann")) is (number == 0)
        bench.advance(bench.now_s + 0.1)
    assert [note.text for note in rows(bench)] == ["Ann: close every valve"]
    bench.live(30.0)
    (_, told) = rows(bench)
    assert (told.code, told.durable) == ("stop_repeated", True)
    assert told.text == "Ann: close, 999 times more within 100 s"
    bench.live(3600.0, tick_s=60.0)
    assert len(rows(bench)) == 2


def test_stops_that_go_on_all_day_are_told_of_every_ten_minutes(bench: Bench) -> None:
    for _ in range(3600 // 5):
        stop(bench, "Ann")
        bench.advance(bench.now_s + 5.0)
    assert len(rows(bench)) == 2 * 6 - 1


def test_another_caller_and_another_bed_have_rows_of_their_own(bench: Bench) -> None:
    stop(bench, "Ann", "south")
    stop(bench, "Ben", "south")
    stop(bench, "Ann", "north")
    stop(bench, "Ann")
    stop(bench, "Ann", "south")
    assert [note.text for note in rows(bench)] == [
        "Ann: close", "Ben: close", "Ann: close", "Ann: close every valve",
    ]  # fmt: skip


def test_a_stop_that_cut_water_has_its_row_however_soon_after_another(bench: Bench) -> None:
    stop(bench, "Ann", "south")
    bench.live(3.0)
    bench.order("water", "south", litres=20.0)
    bench.live(3.0)
    assert "south" in bench.engine.state.waterings
    before = len(rows(bench))
    stop(bench, "Ann", "south")
    assert [note.text for note in rows(bench)[before:]] == ["Ann: close"]


def test_stops_well_apart_have_a_row_each(bench: Bench) -> None:
    for _ in range(3):
        stop(bench, "Ann")
        bench.live(12.0)
    assert len(rows(bench)) == 3


def test_the_daemons_own_end_is_always_in_the_record(bench: Bench) -> None:
    stop(bench, ENDING)
    stop(bench, ENDING)
    assert len(rows(bench)) == 2


def test_callers_are_remembered_so_many_at_most_and_none_is_lost_count_of(bench: Bench) -> None:
    for number in range(CALLERS_MOST + 3):
        stop(bench, f"caller {number}")
        stop(bench, f"caller {number}")
    assert len(bench.engine.state.stops) == CALLERS_MOST
    bench.live(30.0)
    told = [note.text for note in rows(bench) if note.code == "stop_repeated"]
    assert len(told) == CALLERS_MOST + 3


def test_the_journal_gives_the_same_answers_again(bench: Bench) -> None:
    for _ in range(20):
        stop(bench, "Ann")
        bench.live(3.0)
    bench.live(60.0)
    again = Engine(bench.garden)
    told = [effect for event in bench.events for effect in again.step(event)]
    assert told == [effect for _, effect in bench.log]
    assert Engine.load(again.dump()).state.stops == bench.engine.state.stops
