"""A planned pick over HTTP and from the shell."""

from __future__ import annotations

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
from controller.effects import Answer
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


@pytest.mark.parametrize(("method", "what"), [("POST", "pick"), ("DELETE", "forget_pick")])
def test_a_planned_pick_becomes_an_order(
    client: TestClient, desk: FakeDesk, method: str, what: str
) -> None:
    sent = {"on": "2026-08-01"}
    got = client.request(method, "/api/beds/south/pick", json=sent, headers=BEARER)
    assert got.status_code == 200
    assert {"what": what, "bed": "south", **sent}.items() <= desk.orders[0].items()
    assert client.request(method, "/api/beds/south/pick", json=sent).status_code == 401
    assert len(desk.orders) == 1


@pytest.mark.parametrize("sent", [{}, {"on": ""}, {"on": "soon"}, {"on": "2026-8-1"}, {"on": 1}])
def test_what_is_no_day_is_malformed(client: TestClient, desk: FakeDesk, sent: Any) -> None:
    got = client.post("/api/beds/south/pick", json=sent, headers=BEARER)
    assert got.status_code == 422
    assert desk.orders == []


def test_a_day_that_cannot_be_is_refused(client: TestClient, desk: FakeDesk) -> None:
    desk.answer = Answer(order="o", status="invalid", reason="on", text="A day to come.")
    got = client.post("/api/beds/south/pick", json={"on": "2026-02-31"}, headers=BEARER)
    assert got.status_code in {409, 422}


@pytest.mark.parametrize(("more", "method"), [([], "POST"), (["--forget"], "DELETE")])
def test_record_pick_tells_the_daemon(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: list[str], method: str
) -> None:
    DataFolder(tmp_path).write_daemon_json("http://127.0.0.1:1", 1)
    replies = Replies(monkeypatch, b'{"text": "Noted."}')
    words = ["record", "pick", "south", "--on", "2026-08-01", *more, "--data", str(tmp_path)]
    said = CliRunner().invoke(main, words)
    assert (said.exit_code, said.output.splitlines()[0]) == (0, "Noted.")
    (sent,) = replies.sent
    assert sent.full_url == "http://127.0.0.1:1/api/beds/south/pick"
    assert sent.get_method() == method
    assert json.loads(sent.data or b"") == {"on": "2026-08-01"}  # type: ignore[arg-type]
