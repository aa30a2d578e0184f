"""The price of a stop: nothing waters by itself for hours, and a person may let it go on."""

import re
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.desk import FAKE_NOW_UTC_S, FakeDesk
from api.http import create_app
from api.page import front
from controller.effects import Lease
from controller.stopping import STOP_HOLDS_S
from tests.desk_bench import EngineDesk
from tests.engine_garden import small_garden

RIGHT = "the-operators-token"
BEDS = ("south", "wall")
DRY_FRAC = 0.6  # past the line


def client_of(desk: Any) -> TestClient:
    return TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers={"Origin": "http://localhost:8470"},
        follow_redirects=False,
    )


def key_on(client: TestClient) -> str:
    found = re.search(r'name="key" value="([^"]+)"', client.get("/").text)
    assert found is not None
    return found[1]


def stopped_desk(*, dry: bool = False) -> EngineDesk:
    desk = EngineDesk(small_garden(beds=BEDS))
    if dry:
        desk.bench.dry_out(DRY_FRAC)
    desk.bench.order("stop_all", None)
    return desk


def test_after_every_valve_was_closed_the_page_says_until_when_and_lets_it_go_on() -> None:
    desk = stopped_desk()
    client = client_of(desk)
    until = datetime.fromtimestamp(desk.bench.at_utc_s + STOP_HOLDS_S - 7 * 3600.0, UTC)
    html = client.get("/").text
    said = re.search(r"nothing waters by itself until (?:tomorrow )?(\d\d:\d\d)\.", html)
    assert said is not None
    assert said[1] == f"{until:%H:%M}"
    assert html.count(">Go on</button>") == 2
    got = client.post("/do/go-on", data={"key": key_on(client)})
    assert got.status_code == 200
    html = client.get("/").text
    assert "nothing waters by itself" not in html
    assert ">Go on</button>" not in html


@pytest.mark.parametrize("bed", [None, "south"])
def test_what_was_stopped_drinks_once_a_person_lets_it(bed: str | None) -> None:
    desk = stopped_desk(dry=True)
    bench = desk.bench
    bench.live(3600.0)
    assert bench.of(Lease) == []
    answer = bench.order("resume", bed, yes=True)
    assert answer is not None
    assert answer.text == "The stop is over."
    bench.live(1800.0)
    assert bench.of(Lease) != []
    assert bed is None or {lease.valve for lease in bench.of(Lease)} == {bed}
    assert set(desk.view()["holds"]["beds_stopped"]) == (set() if bed is None else {"wall"})


def test_without_a_stop_such_a_bed_drinks_within_the_hour() -> None:
    """Else the tests around this one would hold without it."""
    desk = EngineDesk(small_garden(beds=BEDS))
    desk.bench.dry_out(DRY_FRAC)
    desk.bench.live(3600.0)
    assert desk.bench.of(Lease) != []


def test_the_end_of_a_pause_does_not_end_a_stop() -> None:
    desk = stopped_desk(dry=True)
    bench = desk.bench
    bench.order("pause", None, until_utc_s=bench.at_utc_s + 7200.0)
    answer = bench.order("resume", None)
    assert answer is not None
    assert answer.text == "The pause is over. A stop still holds."
    again = bench.order("resume", None)  # as a caller does that did not hear the answer
    assert again == replace(answer, order=again.order)
    bench.live(3600.0)
    assert bench.of(Lease) == []
    assert set(desk.view()["holds"]["beds_stopped"]) == set(BEDS)


def test_a_stop_right_after_it_was_let_go_on_has_a_row_of_its_own() -> None:
    desk = stopped_desk()
    bench = desk.bench
    bench.order("resume", None, yes=True)
    bench.order("stop_all", None)
    bench.order("stop_all", None)
    assert [note.code for note in bench.notes("order")] == ["stop_all", "resume", "stop_all"]


def test_a_stop_ends_by_itself_after_six_hours() -> None:
    desk = stopped_desk(dry=True)
    desk.bench.live(STOP_HOLDS_S - 120.0, tick_s=60.0)
    assert set(desk.view()["holds"]["beds_stopped"]) == set(BEDS)
    desk.bench.live(240.0)
    assert desk.view()["holds"]["beds_stopped"] == {}


def test_the_end_of_a_stop_ends_no_pause() -> None:
    desk = stopped_desk(dry=True)
    bench = desk.bench
    bench.order("pause", "south", until_utc_s=bench.at_utc_s + 7200.0)
    answer = bench.order("resume", None, yes=True)
    assert answer is not None
    assert answer.text == "The stop is over. A pause still holds."
    bench.live(3600.0)
    assert {lease.valve for lease in bench.of(Lease)} == {"wall"}


def test_water_by_hand_that_fails_does_not_shorten_a_stop() -> None:
    desk = stopped_desk(dry=True)
    bench = desk.bench
    bench.live(600.0, tick_s=10.0)
    bench.deaf.add("south")
    bench.mute.add("south")
    bench.order("water", "south", litres=20.0)
    bench.live(400.0)
    bench.deaf.clear()
    bench.mute.clear()
    leases = len(bench.of(Lease))
    bench.live(2 * 3600.0, tick_s=20.0)
    assert len(bench.of(Lease)) == leases
    assert set(desk.view()["holds"]["beds_stopped"]) == set(BEDS)


def test_the_last_half_hour_of_a_stop_is_told_after_water_by_hand_too() -> None:
    desk = stopped_desk(dry=True)
    bench = desk.bench
    bench.order("water", "south", litres=20.0)
    bench.live(STOP_HOLDS_S - 900.0, tick_s=60.0)
    assert set(desk.view()["holds"]["beds_stopped"]) == set(BEDS)


def test_the_page_names_the_first_end_of_several_stops() -> None:
    desk = EngineDesk(small_garden(beds=BEDS))
    bench = desk.bench
    bench.order("stop", "south")
    until = datetime.fromtimestamp(bench.at_utc_s + STOP_HOLDS_S - 7 * 3600.0, UTC)
    bench.live(3600.0, tick_s=60.0)
    bench.order("stop", "wall")
    html = client_of(desk).get("/").text
    assert re.search(rf"nothing waters by itself until (?:tomorrow )?{until:%H:%M}", html)


def test_a_dry_bed_that_is_stopped_is_not_called_well() -> None:
    desk = EngineDesk(small_garden(beds=BEDS))
    desk.bench.dry_out(0.9, "south")
    desk.bench.dry_out(0.05, "wall")
    desk.bench.order("stop", "south")
    desk.bench.live(60.0)
    view = desk.view()
    view["beds"]["wall"]["next_watering"] = view["beds"]["wall"]["usual_night"] = None
    told = "".join(text for text, _ in front.headline(view, front.tongue_of(view)))
    assert "near its thirst line" not in told
    assert "drinks by itself now: see each bed" in told


def test_no_next_watering_is_promised_within_a_stop() -> None:
    desk = FakeDesk(BEDS)
    instant = datetime.fromtimestamp(FAKE_NOW_UTC_S + 6 * 3600.0, UTC)
    until = instant.isoformat().replace("+00:00", "Z")
    soon = datetime.fromtimestamp(FAKE_NOW_UTC_S + 3600.0, UTC).isoformat().replace("+00:00", "Z")
    for bed in BEDS:
        desk.set_bed(bed, next_watering={"from": soon, "to": until})
    desk.set(holds={**desk.view()["holds"], "beds_stopped": dict.fromkeys(BEDS, until)})
    html = client_of(desk).get("/").text
    assert "Nothing for you to do" not in html
    assert html.count("<dt>Next watering</dt><dd>not before 17:05</dd>") == 2
    assert "<strong>No bed</strong> drinks by itself before 17:05." in html
    desk.set(holds={**desk.view()["holds"], "beds_stopped": {"south": until}})
    view = desk.view()
    assert front.headline(view, front.tongue_of(view))[0] == ("Wall", True)
    html = client_of(desk).get("/").text
    assert "nothing waters by itself" not in html
    assert html.count("not before 17:05") == 1
