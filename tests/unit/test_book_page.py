"""The season book as people meet it: on the page, as files, over HTTP, from the shell."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from api.book_csv import picks_csv
from api.cli import main
from api.desk import FakeDesk
from api.http import create_app
from api.page.book_picture import draw
from api.page.book_words import sentences
from api.page.front import tongue_of
from controller.datafolder import DataFolder
from tests.unit.test_page_hand import Replies

RIGHT = "the-operators-token"
BEARER = {"Authorization": f"Bearer {RIGHT}"}


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture
def client(desk: FakeDesk) -> TestClient:
    return TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers={"Origin": "http://localhost:8470"},
    )


def key_of(html: str) -> str:
    return html.split('name="key" value="')[1].split('"')[0]


def test_the_book_answers_its_questions_in_sentences(client: TestClient) -> None:
    shown = client.get("/season")
    assert shown.status_code == 200
    text = shown.text.replace("\u00a0", " ")
    assert "Wall side drank most: 1500 L in 5 waterings, 62 L a plant." in text
    assert "Of Late most cracked: 6 fruit in 6 kg, of the others 1 in 4 kg;" in text
    assert "Had each thirst line been 5 points drier, the garden would have taken" in text
    assert "2 picks: too few to say whether swings of the soil" in text
    assert "straw laid" in text
    assert text.count('<svg class="faults"') == 1


def test_orders_through_the_valve_and_poured_water_stand_apart(
    desk: FakeDesk, client: TestClient
) -> None:
    desk.book["beds"]["south"] |= {"by_hand_l": 120.0, "poured_l": 30.0, "tested_l": 20.0}
    desk.book["record_begins"] = "2026-07-06"
    text = client.get("/season").text.replace("\u00a0", " ")
    assert '<td role="cell" data-head="By valve on your order">120 L</td>' in text
    assert '<td role="cell" data-head="Poured">30 L</td>' in text
    assert "<span>6 Jul to " in text
    assert "20 L went into trying the valves, which is no watering." in text
    head, _, foot = text.partition('<p class="small-print">')
    assert "ledger" not in text
    assert "may be out by 45 L: see the small print." in head
    assert "comes to 5380 L, and the valves gave 5400 L" in foot
    whole = sentences(desk.book, tongue_of(desk.view()))[0]
    assert whole.startswith("The garden drank 5380 L in 20 waterings")  # 5400 L, 20 of them tests


def test_a_difference_that_chance_makes_is_called_so(desk: FakeDesk) -> None:
    tongue = tongue_of(desk.view())
    (said,) = [one for one in sentences(desk.book, tongue) if "Late most cracked" in one]
    assert "chance alone would do that one time in" in said
    (said,) = [one for one in sentences(desk.book, tongue) if "went black" in one]
    assert "one time in 1" not in said
    for one in desk.book["varieties"]:
        one["fruit"]["kg"] *= 20
        one["fruit"]["cracked"] *= 20
    (said,) = [one for one in sentences(desk.book, tongue) if "Late most cracked" in one]
    assert "chance alone seldom does that" in said


def test_an_empty_season_is_said_and_no_sum_fails(desk: FakeDesk, client: TestClient) -> None:
    for bed in desk.book["beds"].values():
        bed |= {
            "litres": 0.0,
            "waterings": 0,
            "dawns": 0,
            "dawns_past_line": 0,
            "driest_frac": None,
            "median_days_between": None,
            "litres_per_kg": None,
            "picks": [],
            "swings": [],
        }
    desk.book["varieties"] = []
    said = client.get("/season").text.replace("\u00a0", " ")
    assert "Nothing is recorded since 9 May 2026." in said
    desk.book["record_ends"] = "2025-07-16"
    said = client.get("/season").text.replace("\u00a0", " ")
    assert "The record ends on 16 Jul 2025, before this season began on 9 May 2026" in said
    assert "watered" not in said.partition("<h2>")[0]


def test_a_season_without_water_says_what_else_came(desk: FakeDesk) -> None:
    for bed in desk.book["beds"].values():
        bed |= {"litres": 0.0, "waterings": 0}
    tongue = tongue_of(desk.view())
    assert sentences(desk.book, tongue)[0] == "No valve gave water, and 61 mm of rain fell."
    desk.book["beds"]["south"]["poured_l"] = 40.0
    said = sentences(desk.book, tongue)[0]
    assert said == "No valve gave water, 40 L was poured by hand, and 61 mm of rain fell."


def test_a_picture_says_itself_in_words_and_lets_no_name_through(desk: FakeDesk) -> None:
    bed = desk.book["beds"]["wall-side"]
    svg = draw("<script>", bed, desk.book["first"], desk.book["last"], tongue_of(desk.view()))
    assert "<script>" not in svg
    assert "2 picks, 7 fruit cracked, 1 black at the end; most cracked on 12 Jul." in svg
    assert svg.count('class="cracked"') == 2
    assert svg.count('class="black_ended"') == 1


@pytest.mark.parametrize("what", ["picks", "waterings", "hours"])
def test_files_have_their_header_and_rows(client: TestClient, what: str) -> None:
    got = client.get(f"/season/{what}.csv")
    assert got.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(got.text)))
    assert rows
    assert rows[0]["bed"] == "wall-side"
    assert client.get("/season/else.csv").status_code == 404


def test_a_name_that_looks_like_a_formula_is_none(desk: FakeDesk) -> None:
    desk.book["beds"]["wall-side"]["picks"][0]["variety"] = "=1+1"
    assert "'=1+1" in picks_csv(desk.book)


def test_a_pick_told_on_the_page_becomes_an_order(desk: FakeDesk, client: TestClient) -> None:
    form = {
        "key": key_of(client.get("/beds/south/pick").text),
        "kg": "6,5",
        "cracked": "3",
        "black_ended": "",
        "on": "2026-07-15",
        "variety": "",
    }
    assert client.post("/do/beds/south/pick", data=form).status_code == 200
    wanted = {"what": "pick", "bed": "south", "kg": 6.5, "cracked": 3, "black_ended": 0}
    assert wanted.items() <= desk.orders[0].items()


@pytest.mark.parametrize(
    ("field", "value"), [("kg", ""), ("kg", "-1"), ("cracked", "1.5"), ("on", "soon")]
)
def test_what_is_no_pick_is_refused(
    desk: FakeDesk, client: TestClient, field: str, value: str
) -> None:
    form = {
        "key": key_of(client.get("/beds/south/pick").text),
        "kg": "2",
        "on": "2026-07-15",
        field: value,
    }
    assert client.post("/do/beds/south/pick", data=form).status_code == 422
    assert desk.orders == []


@pytest.mark.parametrize(
    ("path", "form", "what"),
    [
        ("pick/plan", {"on": "2026-08-01"}, "pick"),
        ("pick/forget", {"on": "2026-08-01"}, "forget_pick"),
        ("note", {"text": "straw laid"}, "note"),
    ],
)
def test_plans_and_notes_become_orders(
    desk: FakeDesk, client: TestClient, path: str, form: dict[str, str], what: str
) -> None:
    key = key_of(client.get("/beds/south/pick").text)
    assert client.post(f"/do/beds/south/{path}", data={"key": key, **form}).status_code == 200
    assert {"what": what, "bed": "south", **form}.items() <= desk.orders[0].items()


def test_the_book_over_http(client: TestClient, desk: FakeDesk) -> None:
    assert client.get("/api/season").json() == desk.book
    sent = {"on": "2026-07-15", "kg": 2.5, "cracked": 1}
    assert client.post("/api/beds/south/pick", json=sent, headers=BEARER).status_code == 200
    assert sent.items() <= desk.orders[0].items()
    noted = client.post("/api/beds/south/note", json={"text": "hail"}, headers=BEARER)
    assert noted.status_code == 200
    wrong: list[dict[str, Any]] = [
        {"on": "2026-07-15", "kg": 0},
        {"on": "2026-07-15", "cracked": 1.5},
    ]
    for body in wrong:
        assert client.post("/api/beds/south/pick", json=body, headers=BEARER).status_code == 422
    asked = client.get("/api/season", params={"from": "2024-01-01T00:00:00Z"})
    assert asked.status_code == 422


@pytest.mark.parametrize(
    ("words", "body"),
    [
        (
            ["pick", "south", "--on", "2026-07-15", "--kg", "6.5", "--cracked", "3"],
            {"on": "2026-07-15", "kg": 6.5, "cracked": 3, "black_ended": 0, "variety": ""},
        ),
        (["note", "south", "straw laid"], {"text": "straw laid"}),
    ],
)
def test_record_tells_the_daemon(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], body: dict[str, Any]
) -> None:
    DataFolder(tmp_path).write_daemon_json("http://127.0.0.1:1", 1)
    replies = Replies(monkeypatch, b'{"text": "Noted."}')
    said = CliRunner().invoke(main, ["record", *words, "--data", str(tmp_path)])
    assert (said.exit_code, said.output.splitlines()[0]) == (0, "Noted.")
    (sent,) = replies.sent
    assert json.loads(sent.data or b"") == body  # type: ignore[arg-type]


def test_a_pick_without_day_or_weight_is_asked_for(tmp_path: Path) -> None:
    said = CliRunner().invoke(main, ["record", "pick", "south", "--data", str(tmp_path)])
    assert said.exit_code == 2
    assert "On which day?" in said.output
