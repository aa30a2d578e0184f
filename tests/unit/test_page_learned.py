"""What a bed learned: in plain words on the page and in the shell, and forgotten on request."""

from __future__ import annotations

import json
import re
import urllib.request
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from api import look
from api.cli import main
from api.desk import FakeDesk
from api.http import create_app
from api.page import front, states, teachings
from api.page.words import Tongue
from controller.datafolder import DataFolder
from controller.effects import Answer

METRIC = Tongue(zone=ZoneInfo("UTC"), us=False, now_utc_s=0.0)
RIGHT = "the-operators-token"
FULL = "0.31 by its own probes, ±0.02 (0.28 by the garden file)"
LEARNED: dict[str, Any] = {
    "full_m3_m3": 0.3102,
    "full_sd_m3_m3": 0.0188,
    "full_told_m3_m3": 0.2796,
    "full_since": "2026-07-12T17:00:00Z",
    "wilting_m3_m3": 0.1383,
    "thirst": 0.92,
    "probes": {"raw-20": {"counts_per_mm": None, "dry_spells": 1, "since": None}},
}


@pytest.fixture
def desk() -> FakeDesk:
    desk = FakeDesk()
    desk.set_bed("south", learned=LEARNED)
    return desk


@pytest.fixture
def client(desk: FakeDesk) -> TestClient:
    return TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers={"Origin": "http://localhost:8470"},
        follow_redirects=False,
    )


def test_the_card_and_its_own_page_say_what_was_learned(client: TestClient) -> None:
    card = client.get("/").text.replace("\u00a0", " ")
    assert re.search("<th[^>]*>full at, by its probes</th><td>0.31 ±0.02</td>", card)
    assert "<td>8 % less than the book</td>" in card
    assert 'href="/beds/south/learned"' in card
    own = client.get("/beds/south/learned").text
    assert "Full at 0.31 by its own probes" in own
    assert "Raw probe raw-20: not yet known, 1 of 2 dry spells seen." in own
    assert client.get("/beds/attic/learned").status_code == 404
    assert "Nothing yet." in client.get("/beds/wall-side/learned").text


def test_why_says_it_in_sentences(desk: FakeDesk) -> None:
    said = look.why("south", desk.view())
    assert f"Full at {FULL}, since Sun 10:00." in said
    assert "Its plants drink 8 % less than the book says." in said


@pytest.mark.parametrize(
    ("changed", "full", "thirst"),
    [
        (
            {"full_since": None},
            "0.28 by the garden file; its probes have not moved that",
            "8 % less than the book says",
        ),
        (
            {"full_sd_m3_m3": 0.001, "thirst": 1.101},
            "0.31 by its own probes, ±0.01 (0.28 by the garden file)",
            "10 % more than the book says",
        ),
        (
            {"full_sd_m3_m3": None, "thirst": 1.019},
            "0.31 by its own probes (0.28 by the garden file)",
            "as the book says",
        ),
        ({"full_m3_m3": None, "thirst": None}, "", ""),
    ],
    ids=["not-moved", "sure", "no-spread", "unknown"],
)
def test_words_for_every_case(changed: dict[str, Any], full: str, thirst: str) -> None:
    state = {"learned": LEARNED | changed}
    assert teachings.full_words(state) == full
    assert teachings.thirst_words(state) == thirst


def test_raw_counts_are_worth_something_once_known() -> None:
    known = {"raw-20": {"counts_per_mm": 3.456, "dry_spells": 2, "since": None}}
    assert ("probe raw-20", "3.46 counts are 1 mm of water") in teachings.rows(
        {"learned": LEARNED | {"probes": known}}, METRIC
    )
    gallons = replace(METRIC, us=True)
    told = teachings.rows({"learned": LEARNED | {"probes": known}}, gallons)
    assert ("probe raw-20", "87.8 counts are 1 in of water") in told
    assert teachings.rows({}, METRIC) == []
    unmoved = teachings.rows({"learned": LEARNED | {"full_since": None}}, METRIC)
    assert unmoved[0] == ("full at, by the file", "0.28")


def test_the_form_lets_it_forget_once(client: TestClient, desk: FakeDesk) -> None:
    desk.answer = Answer(order="o", status="accepted", text="South begins anew.")
    found = re.search(r'name="key" value="([^"]+)"', client.get("/beds/south/learned").text)
    assert found is not None
    form = {"key": found[1], "why": "new compost"}
    got = client.post("/do/beds/south/forget", data=form)
    assert (got.status_code, "South begins anew." in got.text) == (200, True)
    assert {"what": "forget", "bed": "south", "why": "new compost"}.items() <= desk.orders[
        0
    ].items()
    assert client.post("/do/beds/south/forget", data=form).status_code == 403
    assert client.post("/do/beds/south/forget", data={"key": ""}).status_code == 403
    assert len(desk.orders) == 1


def test_record_forget_tells_the_daemon(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder, sent = DataFolder(tmp_path), []
    folder.write_daemon_json("http://127.0.0.1:1", 1)

    def reply(request: urllib.request.Request, *_: Any) -> dict[str, str]:
        sent.append(request)
        return {"text": "South begins anew."}

    monkeypatch.setattr(look, "_answer", reply)
    words = ["record", "forget", "south", "--why", "new compost", "--data", str(tmp_path)]
    said = CliRunner().invoke(main, words)
    assert (said.exit_code, said.output.splitlines()[0]) == (0, "South begins anew.")
    assert sent[-1].full_url == "http://127.0.0.1:1/api/beds/south/forget"
    assert (sent[-1].get_method(), json.loads(sent[-1].data)) == ("POST", {"why": "new compost"})


def test_while_it_drinks_no_number_of_before_stands_as_now(desk: FakeDesk) -> None:
    running = {"want_l": 120.0, "given_l": 60.0, "pulse": 2, "pulses": 4, "by": "policy"}
    before = desk.view()["beds"]["south"]["depletion_frac"]
    desk.set_bed("south", state="soaking", watering=running, depletion_frac=before - 0.2)
    view = desk.view()
    tongue = front.tongue_of(view)
    card = next(card for card in front.context(desk, "10")["beds"] if card.bed == "south")
    numbers = dict(card.numbers)
    assert numbers["used of its water now"] == f"{100.0 * (before - 0.2):.0f} %"
    assert "used by sunrise" not in numbers
    assert (card.left, card.next) == ("", "")
    assert card.runs, "between two pulses it can be stopped as well"
    assert states.left_words(view["beds"]["south"], tongue) == ""
    assert "used by sunrise  " not in look.why("south", view)
