"""The test button: over HTTP, on the page, from the shell."""

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
from controller.alarming.reports import ItsUseError, WayReport

RIGHT = "the-operators-token"
BEARER = {"Authorization": f"Bearer {RIGHT}"}
ASKED = "/api/alarm/test"


class FakeAlarms:
    """Alarms whose test comes out as told."""

    def __init__(self) -> None:
        self.tests = 0
        self.busy = False
        self.reports = [
            WayReport(way="page", outcome="delivered", text="Alerts stand on the page."),
            WayReport(way="mail", outcome="failed", text="The server refuses <b>you</b>."),
            WayReport(way="command", outcome="delivered", text="The program took it."),
        ]

    def test(self) -> list[WayReport]:
        if self.busy:
            raise ItsUseError
        self.tests += 1
        return self.reports

    def report(self) -> dict[str, Any]:
        return {
            "ways": ["mail to me@a.example", "the command <tell>"],
            "lines": {"mail": (2, "no answer within 15 s", None), "command": (0, "", 1784138700.0)},
            "quiet": "22:00-07:00",
            "weekly": "sun",
        }


@pytest.fixture
def alarms() -> FakeAlarms:
    return FakeAlarms()


@pytest.fixture
def client(alarms: FakeAlarms) -> TestClient:
    return TestClient(
        create_app(FakeDesk(), token=RIGHT, monotonic=lambda: 0.0, alarms=alarms),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers={"Origin": "http://localhost:8470"},
        follow_redirects=False,
    )


def test_a_test_answers_way_by_way(client: TestClient) -> None:
    answer = client.post(ASKED, headers=BEARER)
    assert answer.status_code == 200
    told = answer.json()
    assert [(way["way"], way["outcome"]) for way in told["ways"]] == [
        ("page", "delivered"),
        ("mail", "failed"),
        ("command", "delivered"),
    ]
    assert told["text"] == "It does not get out by mail."


def test_a_test_needs_the_token_and_an_empty_body(client: TestClient, alarms: FakeAlarms) -> None:
    assert client.post(ASKED).status_code == 401
    assert client.post(ASKED, headers=BEARER, json={"to": "x@y"}).status_code == 422
    assert alarms.tests == 0


def test_a_second_test_at_once_is_refused(client: TestClient, alarms: FakeAlarms) -> None:
    alarms.busy = True
    answer = client.post(ASKED, headers=BEARER)
    assert answer.status_code == 409
    assert "under way" in answer.json()["detail"]


def test_a_repeat_with_its_key_tests_once(client: TestClient, alarms: FakeAlarms) -> None:
    headers = {**BEARER, "Idempotency-Key": "one"}
    first, second = (client.post(ASKED, headers=headers) for _ in range(2))
    assert first.json() == second.json()
    assert alarms.tests == 1


def test_the_ways_and_how_they_fare_can_be_read(client: TestClient) -> None:
    told = client.get("/api/alarm").json()
    assert told["lines"]["mail"] == {
        "waiting": 2,
        "failing": "no answer within 15 s",
        "last_out": None,
    }
    assert told["lines"]["command"]["last_out"] == "2026-07-15T18:05:00Z"
    assert told["quiet"] == "22:00-07:00"


def test_without_ways_the_answer_says_so() -> None:
    app = create_app(FakeDesk(), token=RIGHT, monotonic=lambda: 0.0)
    plain = TestClient(app, base_url="http://localhost:8470", client=("127.0.0.1", 5))
    told = plain.post(ASKED, headers=BEARER).json()
    assert {way["outcome"] for way in told["ways"]} == {"not_set"}
    assert "No way out of the house is set" in told["text"]
    assert "Nobody who is away hears" in plain.get("/alarm").text


def test_the_page_tells_the_ways_and_has_the_button(client: TestClient, alarms: FakeAlarms) -> None:
    assert 'href="/alarm"' in client.get("/").text
    page = client.get("/alarm").text
    assert "mail to me@a.example and by the command &lt;tell&gt;" in page
    assert "Mail: nothing was told yet; it fails: no answer within 15 s; 2 waiting." in page
    assert "Command: last told 11:05." in page
    assert "Sunday at 18:00" in page
    key = re.search(r'name="key" value="([^"]+)"', page)
    assert key is not None
    said = client.post("/do/alarm/test", data={"key": key[1]})
    assert said.status_code == 200
    assert "It does not get out by mail." in said.text
    assert "The server refuses &lt;b&gt;you&lt;/b&gt;." in said.text
    assert client.post("/do/alarm/test", data={"key": key[1]}).status_code == 403
    assert alarms.tests == 1


def shell(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, outcomes: dict[str, str], *words: str
) -> Any:
    ways = [{"way": way, "outcome": outcome, "text": "-"} for way, outcome in outcomes.items()]
    asked: list[tuple[str, float]] = []

    def sent(_folder: object, path: str, _body: object, *, timeout_s: float) -> dict[str, Any]:
        asked.append((path, timeout_s))
        return {"ways": ways, "text": "Said."}

    monkeypatch.setattr(look, "sent", sent)
    found = CliRunner().invoke(main, ["alarm", "test", "--data", str(tmp_path), *words])
    assert asked == [("alarm/test", 120.0)]
    return found


@pytest.mark.parametrize(
    ("outcomes", "status"),
    [
        ({"mail": "delivered", "command": "not_set"}, 0),
        ({"mail": "delivered", "command": "failed"}, 1),
        ({"mail": "not_set", "command": "not_set"}, 1),
        ({"page": "delivered", "mail": "not_set", "command": "delivered"}, 0),
        ({"mqtt": "failed", "mail": "delivered", "command": "delivered"}, 1),
    ],
    ids=["mail", "one-fails", "none", "command", "no-broker"],
)
def test_the_command_ends_with_its_answer(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, outcomes: dict[str, str], status: int
) -> None:
    found = shell(monkeypatch, tmp_path, outcomes)
    assert found.exit_code == status
    assert "Said." in found.output
    found = shell(monkeypatch, tmp_path, outcomes, "--json")
    assert json.loads(found.output)["text"] == "Said."


def test_without_a_daemon_the_command_says_so(tmp_path: Path) -> None:
    found = CliRunner().invoke(main, ["alarm", "test", "--data", str(tmp_path)])
    assert found.exit_code == 3
