"""Water poured by hand and turns to be missed: over HTTP, on the page, from the shell."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from api import look
from api.cli import main
from api.desk import FakeDesk
from api.http import create_app
from api.page import scarce
from api.page.front import tongue_of
from controller.datafolder import DataFolder
from controller.effects import Answer
from tests.unit.test_page_hand import Replies, key_on

RIGHT = "the-operators-token"
POURED = {"litres": 40.0, "at": "2026-07-15T14:30:00Z"}
MISS = {"since": "2026-07-15T14:30:00Z", "tonight": False}
SUPPLY = {
    "week_l": 1000.0,
    "week_left_l": 420.0,
    "tank_l": 1000.0,
    "tank_left_l": 300.0,
    "days": ["mon", "thu"],
}
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
        follow_redirects=False,
    )


# -- over HTTP


@pytest.mark.parametrize(
    ("method", "path", "sent", "what"),
    [
        ("POST", "beds/south/poured", {"litres": 40}, "poured"),
        ("DELETE", "beds/south/poured", None, "forget_poured"),
        ("POST", "beds/south/miss", {"why": "picking"}, "miss"),
        ("POST", "beds/south/miss", None, "miss"),
        ("DELETE", "beds/south/miss", None, "forget_miss"),
    ],
)
def test_a_word_on_water_becomes_an_order_and_is_answered_with_the_record(
    client: TestClient, desk: FakeDesk, method: str, path: str, sent: Any, what: str
) -> None:
    got = client.request(method, f"/api/{path}", json=sent, headers=BEARER)
    assert got.status_code == 200
    assert got.json()["text"] == "Noted."
    assert {"what": what, "bed": "south", **(sent or {})}.items() <= desk.orders[0].items()
    assert client.request(method, f"/api/{path}", json=sent).status_code == 401
    attic = client.request(method, f"/api/{path}".replace("south", "attic"), json=sent)
    assert attic.status_code in {401, 404}
    assert len(desk.orders) == 1


@pytest.mark.parametrize(
    "sent", [{}, {"litres": 0}, {"litres": -1}, {"litres": True}, {"litres": "4"}, {"l": 4}]
)
def test_what_is_no_amount_is_malformed(client: TestClient, desk: FakeDesk, sent: Any) -> None:
    got = client.post("/api/beds/south/poured", json=sent, headers=BEARER)
    assert got.status_code == 422
    assert desk.orders == []


def test_a_refused_word_is_409_with_its_reason(client: TestClient, desk: FakeDesk) -> None:
    desk.answer = Answer(order="o", status="refused", reason="no_miss", text="It misses no turn.")
    got = client.delete("/api/beds/south/miss", headers=BEARER)
    assert (got.status_code, got.json()["reason"]) == (409, "no_miss")


@pytest.mark.parametrize(
    ("sent", "litres"), [({}, None), (None, None), ({"litres": 300}, 300.0), ({"litres": 0}, 0.0)]
)
def test_a_tank_is_full_or_holds_what_is_told(
    client: TestClient, desk: FakeDesk, sent: Any, litres: float | None
) -> None:
    got = client.put("/api/tank", json=sent, headers=BEARER)
    assert got.status_code == 200
    assert (desk.orders[0]["what"], desk.orders[0]["litres"]) == ("tank", litres)
    for wrong in ({"litres": -1}, {"litres": "9"}, {"full": True}):
        assert client.put("/api/tank", json=wrong, headers=BEARER).status_code == 422
    assert len(desk.orders) == 1


# -- on the page


@pytest.mark.parametrize(
    ("page", "path", "fields", "became"),
    [
        ("hand", "poured", {"litres": "40,5"}, {"what": "poured", "litres": 40.5}),
        ("hand", "poured/forget", {}, {"what": "forget_poured"}),
        ("pause", "miss", {}, {"what": "miss"}),
        ("pause", "miss/forget", {}, {"what": "forget_miss"}),
    ],
)
def test_a_form_tells_and_its_key_works_once(
    client: TestClient,
    desk: FakeDesk,
    page: str,
    path: str,
    fields: dict[str, str],
    became: dict[str, Any],
) -> None:
    desk.set_bed("south", poured=POURED, miss=MISS)
    desk.answer = Answer(order="o", status="accepted", text="South was told.")
    own = client.get(f"/beds/south/{page}").text
    assert f'action="/do/beds/south/{path}"' in own or path == "miss"
    form = {"key": key_on(client, f"/beds/south/{page}"), **fields}
    got = client.post(f"/do/beds/south/{path}", data=form)
    assert got.status_code == 200
    assert "South was told." in got.text
    assert {"bed": "south", **became}.items() <= desk.orders[0].items()
    assert client.post(f"/do/beds/south/{path}", data=form).status_code == 403
    assert len(desk.orders) == 1


@pytest.mark.parametrize("litres", ["", "0", "-3", "many", "100000"])
def test_what_is_no_amount_is_refused(client: TestClient, desk: FakeDesk, litres: str) -> None:
    form = {"key": key_on(client), "litres": litres}
    assert client.post("/do/beds/south/poured", data=form).status_code == 422
    assert desk.orders == []


def test_the_pages_show_what_was_told_and_offer_what_fits(
    client: TestClient, desk: FakeDesk
) -> None:
    assert "poured by hand" not in client.get("/").text
    assert "Take the last back" not in client.get("/beds/south/hand").text
    assert 'action="/do/beds/south/miss"' in client.get("/beds/south/pause").text
    assert "Miss this turn" not in client.get("/pause").text  # it is one bed's word
    desk.set_bed("south", poured=POURED, miss=MISS)
    front = client.get("/").text.replace("\u00a0", " ")
    assert re.search(r"poured by hand</th><td>40 L, 07:30", front)
    assert "It is to miss its next turn." in front
    assert "Take the last back" in client.get("/beds/south/hand").text
    pause = client.get("/beds/south/pause").text
    assert "Give it its turn back" in pause
    assert 'action="/do/beds/south/miss"' not in pause
    desk.set_bed("south", miss={**MISS, "tonight": True})
    assert "It misses its turn tonight." in client.get("/beds/south/pause").text


@pytest.mark.parametrize(
    ("fields", "litres"),
    [({"full": "1"}, None), ({"litres": "250,5"}, 250.5), ({"litres": "0"}, 0.0)],
)
def test_the_tank_has_its_page(
    client: TestClient, desk: FakeDesk, fields: dict[str, str], litres: float | None
) -> None:
    assert client.get("/tank").status_code == 404
    assert "/tank" not in client.get("/").text
    desk.set(supply=SUPPLY)
    assert 'href="/tank"' in client.get("/").text
    own = client.get("/tank").text
    assert re.search(r"it holds 300\s*L of 1000\s*L", own.replace("\u00a0", " "))
    got = client.post("/do/tank", data={"key": key_on(client, "/tank"), **fields})
    assert got.status_code == 200
    assert (desk.orders[0]["what"], desk.orders[0]["litres"]) == ("tank", litres)


def test_a_tank_with_no_number_is_refused(client: TestClient, desk: FakeDesk) -> None:
    desk.set(supply=SUPPLY)
    for litres in ("", "-1", "much"):
        form = {"key": key_on(client, "/tank"), "litres": litres}
        assert client.post("/do/tank", data=form).status_code == 422
    assert desk.orders == []


def test_page_and_shell_say_what_is_left(client: TestClient, desk: FakeDesk) -> None:
    assert scarce.supply_words(desk.view(), tongue_of(desk.view())) == ""
    desk.set(supply=SUPPLY)
    said = (
        "420 of 1000 L are left of seven days' water. The tank holds 300 of 1000 L, by its count. "
        "Water runs on Mon and Thu only."
    )
    assert scarce.supply_words(desk.view(), tongue_of(desk.view())) == said
    assert said in look.summary(desk.view())
    page = client.get("/").text.replace("\u00a0", " ").replace("&#39;", "'")
    assert "420 of 1000 L are left" in page


def test_an_empty_tank_is_the_headline_and_something_to_do(
    client: TestClient, desk: FakeDesk
) -> None:
    low = {"id": "tank_low", "code": "tank_low", "bed": None, "valve": None, "probe": None}
    low |= {"since": "2026-07-15T14:30:00Z", "text": "The tank holds 5 L.", "person_needed": False}
    dry = {"by": "tank", "from": None, "stress_days": None}
    for bed in desk.view()["beds"]:
        desk.set_bed(bed, next_watering=None, scarce=dry)
    desk.set(supply={**SUPPLY, "tank_left_l": 5.0}, alerts=[low])
    page = client.get("/").text
    assert "Old compost, South, Tunnel and Wall side</strong> wait for water to be had." in page
    assert "Fill the tank, and say so." in page
    assert "Nothing for you to do" not in page
    assert "it waits for the tank to be filled" in page


def test_an_order_by_hand_says_what_it_passes(client: TestClient, desk: FakeDesk) -> None:
    path = "/beds/south/water?how=litres&litres=350"
    plain = client.get(path).text
    desk.set(supply={**SUPPLY, "tank_left_l": 250.0})  # a Wednesday
    said = client.get(path).text.replace("\u00a0", " ")
    assert "water may not run today" in said
    assert "The tank has 250 L left." in said
    assert "seven days" not in said.split("<form")[0]
    assert "may not run" not in plain
    desk.set(supply={**SUPPLY, "days": ["wed"], "tank_left_l": 900.0, "week_left_l": 10.0})
    said = client.get(path).text.replace("\u00a0", " ").replace("&#39;", "'")
    assert "may not run" not in said
    assert "The seven days' water has 10 L left." in said


def test_why_says_both(desk: FakeDesk) -> None:
    desk.set_bed("south", poured=POURED, miss=MISS)
    said = look.why("south", desk.view())
    assert "Poured by hand: 40 L, 07:30." in said
    assert "It is to miss its next turn." in said


# -- from the shell


@pytest.mark.parametrize(
    ("words", "method", "path", "body"),
    [
        (["poured", "south", "40"], "POST", "poured", {"litres": 40.0}),
        (["poured", "south", "--forget"], "DELETE", "poured", {}),
        (["miss", "south"], "POST", "miss", {"why": ""}),
        (["miss", "south", "--why", "picking"], "POST", "miss", {"why": "picking"}),
        (["miss", "south", "--forget"], "DELETE", "miss", {"why": ""}),
    ],
)
def test_record_tells_the_daemon(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    method: str,
    path: str,
    body: dict[str, Any],
) -> None:
    DataFolder(tmp_path).write_daemon_json("http://127.0.0.1:1", 1)
    replies = Replies(monkeypatch, b'{"text": "Noted."}')
    said = CliRunner().invoke(main, ["record", *words, "--data", str(tmp_path)])
    assert (said.exit_code, said.output.splitlines()[0]) == (0, "Noted.")
    (sent,) = replies.sent
    assert sent.full_url == f"http://127.0.0.1:1/api/beds/south/{path}"
    assert sent.get_method() == method
    assert json.loads(sent.data or b"") == body  # type: ignore[arg-type]


@pytest.mark.parametrize(("holds", "body"), [("full", {}), ("600", {"litres": 600.0})])
def test_record_tank_tells_the_daemon(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, holds: str, body: dict[str, Any]
) -> None:
    DataFolder(tmp_path).write_daemon_json("http://127.0.0.1:1", 1)
    replies = Replies(monkeypatch, b'{"text": "Noted."}')
    said = CliRunner().invoke(main, ["record", "tank", holds, "--data", str(tmp_path)])
    assert (said.exit_code, said.output.splitlines()[0]) == (0, "Noted.")
    (sent,) = replies.sent
    assert (sent.full_url, sent.get_method()) == ("http://127.0.0.1:1/api/tank", "PUT")
    assert json.loads(sent.data or b"") == body  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "words",
    [
        ["poured", "south"],
        ["poured", "south", "0"],
        ["poured", "south", "x"],
        ["tank", "some"],
        ["tank", "nan"],
    ],
)
def test_no_amount_is_wrong_use(tmp_path: Path, words: list[str]) -> None:
    said = CliRunner().invoke(main, ["record", *words, "--data", str(tmp_path)])
    assert said.exit_code == 2
