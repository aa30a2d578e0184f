"""Picks and notes as a person tells them to the engine: kept for the season book, taken back."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from controller.effects import Answer, Note, Picked
from tests.engine_bench import Bench
from tests.engine_garden import small_garden


@pytest.fixture
def bench() -> Bench:
    made = Bench(small_garden(beds=("south", "wall")))
    made.live(60.0)
    return made


def day(bench: Bench, ahead: int = 0) -> str:
    run = bench.engine.run
    today = run.local_day(run.state.at_utc_s)
    return (date.fromordinal(today.toordinal()) + timedelta(days=ahead)).isoformat()


def told(bench: Bench, what: str = "pick", **more: Any) -> Answer:
    answer = bench.order(what, "south", **more)
    assert answer is not None
    return answer


def entries(bench: Bench) -> list[Picked]:
    return [effect for _, effect in bench.log if isinstance(effect, Picked)]


def test_fruit_of_today_goes_into_the_book(bench: Bench) -> None:
    answer = told(bench, on=day(bench), kg=6.5, cracked=3, variety="")
    assert (answer.status, answer.reason) == ("accepted", "picked")
    assert entries(bench) == [Picked(bed="south", on=day(bench), kg=6.5, cracked=3)]
    notes = [effect for _, effect in bench.log if isinstance(effect, Note)]
    assert any("6.5 kg picked" in note.text and "3 cracked" in note.text for note in notes)


def test_a_day_to_come_is_a_plan_and_no_fruit(bench: Bench) -> None:
    assert told(bench, on=day(bench, 5)).reason == "planned"
    assert told(bench, on=day(bench, 5), kg=2.0).status == "invalid"
    assert entries(bench) == []


def test_the_pick_that_was_planned_is_done_once_it_is_told(bench: Bench) -> None:
    told(bench, on=day(bench, 1))
    bench.live(86_400.0, tick_s=600.0)
    memory = bench.engine.state.beds["south"]
    assert len(memory.picks) == 1
    told(bench, on=day(bench), kg=1.0)
    assert memory.picks == []


@pytest.mark.parametrize(
    ("more", "at_fault"),
    [
        pytest.param({"kg": None}, "kg", id="no-weight"),
        pytest.param({"kg": 0.0}, "kg", id="nothing"),
        pytest.param({"kg": float("nan")}, "kg", id="no-number"),
        pytest.param({"kg": 1001.0}, "kg", id="a-slip"),
        pytest.param({"cracked": -1}, "cracked", id="less-than-none"),
        pytest.param({"black_ended": 10_001}, "black_ended", id="too-many"),
        pytest.param({"on": "2026-13-01"}, "on", id="no-day"),
        pytest.param({"on": "2020-01-01"}, "on", id="another-book"),
    ],
)
def test_what_cannot_be_is_refused_and_not_kept(
    bench: Bench, more: dict[str, Any], at_fault: str
) -> None:
    answer = told(bench, **({"on": day(bench), "kg": 2.0} | more))
    assert (answer.status, answer.reason) == ("invalid", at_fault)
    assert entries(bench) == []


def test_a_pick_is_taken_back_once(bench: Bench) -> None:
    on = day(bench)
    told(bench, on=on, kg=2.0)
    assert told(bench, "forget_pick", on=on).reason == "taken_back"
    assert entries(bench)[-1] == Picked(bed="south", on=on, taken_back=True)
    assert told(bench, "forget_pick", on=on).status == "invalid"


def test_a_plan_goes_before_a_pick_of_the_same_day(bench: Bench) -> None:
    on = day(bench, 1)
    told(bench, on=on)
    assert told(bench, "forget_pick", on=on).reason == "dropped"


def test_a_note_stands_in_the_record_as_it_was_told(bench: Bench) -> None:
    assert told(bench, "note", text="  straw\tlaid ").status == "accepted"
    texts = [effect.text for _, effect in bench.log if isinstance(effect, Note)]
    assert "tester: straw laid" in texts
    assert told(bench, "note", text="  ").status == "invalid"


def test_the_day_of_a_pick_is_local(bench: Bench) -> None:
    at = datetime.fromtimestamp(bench.engine.state.at_utc_s, UTC)
    zone = bench.garden.garden.zone
    assert day(bench) == at.astimezone(zone).date().isoformat()
