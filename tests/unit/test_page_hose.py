"""A hose and the question whose flow it is, over HTTP and on the page; `thirstline pair` too."""

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from api.cli import main
from api.desk import FakeDesk
from api.http import create_app
from controller.datafolder import DataFolder
from tests.unit.test_page_hand import Replies, key_on

RIGHT = "the-operators-token"
BEARER = {"Authorization": f"Bearer {RIGHT}"}
HOSE = {"since": "2026-07-15T18:00:00Z", "until": "2026-07-15T18:30:00Z", "who": "operator"}
ASKED: dict[str, Any] = {
    "id": "flow_asked",
    "code": "flow_asked",
    "bed": None,
    "valve": None,
    "probe": None,
    "since": "2026-07-15T18:00:00Z",
    "text": "6.0 L/min flow although every bed is closed, and nobody announced it. Was that you?",
    "person_needed": False,
}


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


def test_a_hose_over_http(client: TestClient, desk: FakeDesk) -> None:
    got = client.put("/api/hose", json={"minutes": 30}, headers=BEARER)
    assert got.status_code == 200
    assert (got.json()["what"], got.json()["minutes"]) == ("hose", 30.0)
    assert desk.orders[-1]["open_s"] == 1800.0
    assert client.delete("/api/hose", headers=BEARER).status_code == 200
    assert desk.orders[-1]["what"] == "hose_end"
    assert client.post("/api/flow", json={"ours": False}, headers=BEARER).status_code == 200
    assert desk.orders[-1]["yes"] is False


@pytest.mark.parametrize(
    "body", [{}, {"minutes": 0}, {"minutes": -1}, {"minutes": 721}, {"minutes": "30"}]
)
def test_a_hose_without_a_sound_length_is_422(
    client: TestClient, desk: FakeDesk, body: dict[str, Any]
) -> None:
    assert client.put("/api/hose", json=body, headers=BEARER).status_code == 422
    assert desk.orders == []


def test_a_hose_from_the_page(client: TestClient, desk: FakeDesk) -> None:
    assert 'href="/hose"' in client.get("/").text
    form = {"key": key_on(client, "/hose"), "minutes": "45"}
    assert client.post("/do/hose", data=form).status_code == 200
    assert desk.orders[-1]["open_s"] == 2700.0
    assert desk.orders[-1]["who"] == "page on loopback"
    wrong = {"key": key_on(client, "/hose"), "minutes": "all day"}
    assert client.post("/do/hose", data=wrong).status_code == 422


def test_a_running_hose_is_shown_with_its_end_and_a_button(
    client: TestClient, desk: FakeDesk
) -> None:
    assert "Other water may run" not in client.get("/").text
    desk.set(holds={**desk.view()["holds"], "hose": HOSE})
    front = client.get("/").text
    assert "Other water may run until" in front
    assert "11:30" in front, "18:30 UTC in Los Angeles"
    form = {"key": key_on(client, "/hose")}
    assert client.post("/do/hose/end", data=form).status_code == 200
    assert desk.orders[-1]["what"] == "hose_end"


@pytest.mark.parametrize(
    ("button", "ours", "yes"), [("That was me", "1", True), ("Nobody", "0", False)]
)
def test_the_question_has_its_two_buttons(
    client: TestClient, desk: FakeDesk, button: str, ours: str, yes: bool
) -> None:
    desk.set(alerts=[ASKED])
    front = client.get("/").text
    assert button in front
    assert "/alerts/flow_asked/clear" not in front, "it is no latch"
    form = {"key": key_on(client, "/"), "ours": ours}
    assert client.post("/do/flow", data=form).status_code == 200
    assert (desk.orders[-1]["what"], desk.orders[-1]["yes"]) == ("flow_answer", yes)


def test_the_question_wants_an_answer(client: TestClient, desk: FakeDesk) -> None:
    assert client.post("/do/flow", data={"key": key_on(client, "/")}).status_code == 422
    assert desk.orders == []


# -- the shell


def test_pair_from_the_shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = DataFolder(tmp_path)
    folder.write_daemon_json("http://127.0.0.1:8470", 1)
    made = {"link": "http://plot:1/open?code=x", "text": "Once."}
    garden = {"walk": {"beds": {}}}  # is asked for too, to say what comes next
    replies = Replies(monkeypatch, json.dumps(made | garden).encode())
    got = CliRunner().invoke(main, ["pair", "--role", "helper", "--data", str(tmp_path)])
    assert got.exit_code == 0
    assert got.output.startswith("http://plot:1/open?code=x\nOnce.\nnext:  thirstline status")
    assert replies.sent[0].full_url.endswith("/api/pairs")
    assert json.loads(replies.sent[0].data or b"") == {"role": "helper", "name": ""}  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "words",
    [
        ["--role", "owner"],
        ["--revoke", "x"],
        ["--list", "--revoke", "0badcafe"],
        ["--name", "a\nb"],
    ],
)
def test_pair_wrongly_used(tmp_path: Path, words: list[str]) -> None:
    DataFolder(tmp_path).write_daemon_json("http://127.0.0.1:1", 1)
    assert CliRunner().invoke(main, ["pair", "--data", str(tmp_path), *words]).exit_code == 2


def test_pair_without_a_daemon_is_status_3(tmp_path: Path) -> None:
    for words in ([], ["--list"], ["--revoke", "0badcafe"]):
        got = CliRunner().invoke(main, ["pair", "--data", str(tmp_path), *words])
        assert got.exit_code == 3
