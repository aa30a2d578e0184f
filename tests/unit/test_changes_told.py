"""What would change a decision, as shell, page and JSON say it."""

from __future__ import annotations

from typing import Any

import pytest

from api import look
from api.desk import FakeDesk
from tests.unit.test_page_front import page_of
from tests.unit.test_view import garden_bench, south, watering

CHANGE: dict[str, Any] = {
    "code": "rain_falls",
    "text": "If 6 mm of rain fall first, not before the night to Friday.",
    "numbers": {"rain_mm": 6.0},
}


@pytest.fixture
def desk() -> FakeDesk:
    desk = FakeDesk()
    desk.set_bed("south", would_change=[CHANGE])
    return desk


def test_the_shell_says_it_below_the_numbers(desk: FakeDesk) -> None:
    said = look.why("south", desk.view())
    assert "What would change it:\n- If 6 mm of rain fall first, not before" in said
    assert "Next watering, 8 in 10 sure: " in said
    assert "What would change it" not in look.why("tunnel", desk.view())


def next_line(desk: FakeDesk, bed: str) -> str:
    lines = look.why(bed, desk.view()).splitlines()
    return next(line for line in lines if line.startswith("Next watering"))


def open_ended(desk: FakeDesk, bed: str) -> None:
    window = desk.view()["beds"][bed]["next_watering"]
    desk.set_bed(bed, next_watering={**window, "or_later": True})


def open_ends(desk: FakeDesk) -> int:
    """How often the page leaves a window's end open; rain as usual is another matter."""
    said = page_of(desk).replace("\N{NO-BREAK SPACE}", " ")
    return said.count(", or later") - said.count(", or later if it rains")


def test_an_open_window_says_or_later_and_claims_no_odds(desk: FakeDesk) -> None:
    closed = next_line(desk, "south")
    assert closed == "Next watering, 8 in 10 sure: tonight from 02:10."
    open_ended(desk, "south")
    assert next_line(desk, "south") == "Next watering: tonight from 02:10, or later."


def test_an_open_window_claims_none_beside_the_night_of_its_usual_use(desk: FakeDesk) -> None:
    assert next_line(desk, "tunnel").endswith(" (8 in 10 sure: Fri – Sat).")
    open_ended(desk, "tunnel")
    assert next_line(desk, "tunnel").endswith(" (Fri – Sat, or later).")


def test_the_page_says_or_later_at_the_bed_and_in_its_picture(desk: FakeDesk) -> None:
    assert open_ends(desk) == 0
    open_ended(desk, "south")
    assert open_ends(desk) == 2
    desk.set_bed("wall-side", next_watering=None)
    desk.set_bed("south", usual_night=None)
    assert open_ends(desk) == 3, "and in the large sentence, which has no other night to name"


def test_the_page_says_it_under_why(desk: FakeDesk) -> None:
    said = page_of(desk)
    assert said.count("What would change it:") == 1
    assert "If 6 mm of rain fall first" in said.replace("\N{NO-BREAK SPACE}", " ")


def test_rain_is_told_in_the_gardens_own_unit(desk: FakeDesk) -> None:
    desk.set(garden={**desk.view()["garden"], "units": "us"})
    assert "If 0.24 in of rain fall first" in look.why("south", desk.view())


def test_nothing_is_promised_through_a_lock(desk: FakeDesk) -> None:
    desk.set(holds={**desk.view()["holds"], "locked": True, "lock_why": "new pipe"})
    assert "8 in 10 sure" not in look.why("south", desk.view())


def test_a_living_bed_tells_it_by_day_and_nothing_while_it_drinks() -> None:
    bench = garden_bench()
    bench.dry_out(0.25)
    bench.live(700.0, tick_s=20.0)
    told = south(bench)["would_change"]
    assert told
    assert all(one["text"].endswith(".") for one in told)
    assert {"code", "text", "numbers"} == told[0].keys()
    bench = garden_bench()
    watering(bench)
    assert south(bench)["would_change"] == []


def test_a_garden_that_is_not_armed_tells_what_ends_that() -> None:
    told = south(garden_bench(armed=False))["would_change"]
    assert [one["code"] for one in told] == ["ends"]
    assert "thirstline walk" in told[0]["text"]
