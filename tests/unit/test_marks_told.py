"""Marks of the season over HTTP, on the page and from the shell: the same order from each."""

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
from api.page.felt import MARK_WORDS, marks_words
from api.page.felt import rows as felt_rows
from api.page.front import tongue_of
from controller.effects import Answer
from controller.events import OrderKind
from controller.sensing.marked import Event

RIGHT = "the-operators-token"
OWN = {"Origin": "http://localhost:8470"}


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture
def client(desk: FakeDesk) -> TestClient:
    app = create_app(desk, token=RIGHT, monotonic=lambda: 0.0)
    return TestClient(app, base_url="http://localhost:8470", client=("127.0.0.1", 5), headers=OWN)


def ordered(desk: FakeDesk) -> dict[str, Any]:
    (order,) = desk.orders
    return {key: order.get(key) for key in ("what", "bed", "stage", "on") if key in order}


def bearer() -> dict[str, str]:
    return {"Authorization": f"Bearer {RIGHT}", "Content-Type": "application/json"}


def test_every_event_has_its_words_and_no_other() -> None:
    assert list(MARK_WORDS) == [event.value for event in Event]


def test_a_mark_by_http_is_an_order_and_its_record(client: TestClient, desk: FakeDesk) -> None:
    body = {"stage": "first_flower", "on": "2026-06-12"}
    got = client.post("/api/beds/south/stage", headers=bearer(), content=json.dumps(body))
    assert got.status_code == 200
    assert got.json().items() >= {"what": "stage", "bed": "south", **body}.items()
    assert ordered(desk) == {"what": OrderKind.STAGE, "bed": "south", **body}


def test_a_mark_by_http_without_a_day_is_of_today(client: TestClient, desk: FakeDesk) -> None:
    got = client.post("/api/beds/south/stage", headers=bearer(), content='{"stage": "topped"}')
    assert got.status_code == 200
    assert ordered(desk)["on"] == ""


@pytest.mark.parametrize(
    "body",
    [
        pytest.param({"stage": "harvest"}, id="no-such-event"),
        pytest.param({"on": "2026-06-12"}, id="no-event"),
        pytest.param({"stage": "topped", "on": "12 June"}, id="no-date"),
        pytest.param({"stage": "topped", "on": 5}, id="number"),
        pytest.param({"stage": "topped", "why": "-"}, id="unknown-key"),
    ],
)
def test_a_malformed_mark_is_422_and_no_order(
    client: TestClient, desk: FakeDesk, body: dict[str, Any]
) -> None:
    got = client.post("/api/beds/south/stage", headers=bearer(), content=json.dumps(body))
    assert got.status_code == 422
    assert desk.orders == []


def test_a_mark_needs_the_token_and_a_bed_that_is_there(client: TestClient, desk: FakeDesk) -> None:
    body = '{"stage": "topped"}'
    plain = {"Content-Type": "application/json"}
    assert client.post("/api/beds/south/stage", headers=plain, content=body).status_code == 401
    assert client.post("/api/beds/moon/stage", headers=bearer(), content=body).status_code == 404
    assert desk.orders == []


def test_a_mark_is_taken_back_by_http(client: TestClient, desk: FakeDesk) -> None:
    got = client.request(
        "DELETE", "/api/beds/south/stage", headers=bearer(), content='{"stage": "topped"}'
    )
    assert got.status_code == 200
    assert ordered(desk) == {"what": OrderKind.FORGET_STAGE, "bed": "south", "stage": "topped"}


def test_a_refusal_of_the_engine_is_said(client: TestClient, desk: FakeDesk) -> None:
    desk.answer = Answer(order="o", status="invalid", reason="on", text="That cannot be.")
    got = client.post("/api/beds/south/stage", headers=bearer(), content='{"stage": "topped"}')
    assert got.status_code == 422
    assert got.json()["detail"] == "That cannot be."


# -- the page


def keys_on(client: TestClient, path: str) -> list[str]:
    return re.findall(r'name="key" value="([^"]+)"', client.get(path).text)


def test_the_page_marks_what_was_seen_with_its_day(client: TestClient, desk: FakeDesk) -> None:
    shown = client.get("/beds/south/stage").text
    assert 'type="date"' in shown
    assert 'value="2026-07-15"' in shown  # today, by the garden's own zone
    key = keys_on(client, "/beds/south/stage")[0]
    form = {"key": key, "stage": "first_colour", "on": "2026-07-10"}
    assert client.post("/do/beds/south/stage", data=form).status_code == 200
    assert ordered(desk) == {
        "what": OrderKind.STAGE,
        "bed": "south",
        "stage": "first_colour",
        "on": "2026-07-10",
    }
    assert client.post("/do/beds/south/stage", data=form).status_code == 403  # a key works once


@pytest.mark.parametrize(
    "form",
    [
        pytest.param({"on": "2026-07-10"}, id="nothing-chosen"),
        pytest.param({"stage": "eaten"}, id="no-such-event"),
        pytest.param({"stage": "topped", "on": "soon"}, id="no-date"),
    ],
)
def test_a_form_that_says_nothing_sound_marks_nothing(
    client: TestClient, desk: FakeDesk, form: dict[str, str]
) -> None:
    key = keys_on(client, "/beds/south/stage")[0]
    assert client.post("/do/beds/south/stage", data={"key": key, **form}).status_code == 422
    assert desk.orders == []


def test_the_page_shows_marks_and_takes_one_back(client: TestClient, desk: FakeDesk) -> None:
    desk.set_bed("south", marks={"first_flower": "2026-06-12", "topped": "2026-07-14"})
    shown = client.get("/beds/south/stage").text
    assert "first open flower, 2026-06-12" in shown
    assert shown.count("/do/beds/south/stage/forget") == 2  # one for each mark
    form = {"key": keys_on(client, "/beds/south/stage")[0], "stage": "topped"}
    assert client.post("/do/beds/south/stage/forget", data=form).status_code == 200
    assert ordered(desk)["what"] is OrderKind.FORGET_STAGE
    assert "/beds/south/stage" in client.get("/beds/south/hand").text


def test_marks_are_said_among_a_beds_numbers(desk: FakeDesk) -> None:
    state = {"marks": {"first_flower": "2026-06-12", "topped": "2026-07-14"}}
    said = "first open flower 2026-06-12, topped 2026-07-14"
    assert marks_words(state) == said
    assert ("marked", said) in felt_rows(state, tongue_of(desk.view()))
    assert marks_words({}) == ""


# -- the shell


@pytest.mark.parametrize(
    ("args", "body", "method"),
    [
        pytest.param(["topped"], {"stage": "topped", "on": ""}, "POST", id="today"),
        pytest.param(
            ["first_set", "--on", "2026-06-20"],
            {"stage": "first_set", "on": "2026-06-20"},
            "POST",
            id="a-day",
        ),
        pytest.param(["topped", "--forget"], {"stage": "topped"}, "DELETE", id="taken-back"),
    ],
)
def test_the_shell_tells_the_daemon(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    args: list[str],
    body: dict[str, str],
    method: str,
) -> None:
    sent: list[tuple[Any, ...]] = []

    def told(_folder: object, *rest: object) -> dict[str, str]:
        sent.append(rest)
        return {"text": "Noted."}

    monkeypatch.setattr(look, "told", told)
    monkeypatch.setattr(look, "in_us_units", lambda folder: False)
    got = CliRunner().invoke(main, ["record", "stage", "south", *args, "--data", str(tmp_path)])
    assert (got.exit_code, got.output.splitlines()[0]) == (0, "Noted.")
    assert sent == [("south", "stage", body, method)]
