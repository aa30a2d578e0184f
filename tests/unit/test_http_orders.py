"""Orders over HTTP: what they become, and every status they can end in."""

import asyncio
import logging
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.desk import FakeDesk
from api.http import create_app
from api.orders import CALLERS_MOST, KEYS_MOST, Repeats
from controller.effects import Answer

RIGHT = "the-operators-token"
BEARER = {"Authorization": f"Bearer {RIGHT}"}
LATCH: dict[str, Any] = {
    "id": "a1",
    "code": "valve_stuck_open",
    "bed": "south",
    "valve": "south",
    "probe": None,
    "since": "2026-07-15T17:00:00Z",
    "text": "Water flowed after the close.",
    "person_needed": True,
}


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture
def client(desk: FakeDesk) -> TestClient:
    app = create_app(desk, token=RIGHT, monotonic=lambda: 0.0)
    return TestClient(
        app, base_url="http://localhost:8470", client=("127.0.0.1", 5), headers=BEARER
    )


@pytest.mark.parametrize(
    ("sent", "became"),
    [
        ({"litres": 40.0}, {"litres": 40.0, "open_s": None, "refill": False}),
        ({"litres": 40}, {"litres": 40.0, "open_s": None, "refill": False}),
        ({"minutes": 12.5}, {"litres": None, "open_s": 750.0, "refill": False}),
        ({"refill": True}, {"litres": None, "open_s": None, "refill": True}),
    ],
    ids=["litres", "whole-litres", "minutes", "refill"],
)
def test_watering_by_hand_is_accepted_with_its_dose(
    client: TestClient, desk: FakeDesk, sent: dict[str, Any], became: dict[str, Any]
) -> None:
    got = client.post("/api/beds/south/water", json=sent)
    assert got.status_code == 202
    assert got.json().keys() == {"dose", "litres", "seconds"}
    order = desk.orders[0]
    assert {key: order[key] for key in became} == became
    assert (order["what"], order["bed"], order["who"]) == ("water", "south", "operator")


def test_a_refusal_says_why_how_much_and_when(client: TestClient, desk: FakeDesk) -> None:
    desk.answer = Answer(
        order="o",
        status="refused",
        reason="cap_spent",
        text="Only 12 L are left.",
        allowed_l=12.0,
        next_possible_utc_s=1_784_160_000.0,
    )
    got = client.post("/api/beds/south/water", json={"litres": 500})
    assert got.status_code == 409
    assert got.headers["content-type"] == "application/problem+json"
    problem = got.json()
    assert (problem["status"], problem["reason"]) == (409, "cap_spent")
    assert problem["allowed_litres"] == 12.0
    assert problem["next_possible"] == "2026-07-16T00:00:00Z"


def test_a_refusal_that_only_a_person_lifts_has_no_next_time(
    client: TestClient, desk: FakeDesk
) -> None:
    desk.answer = Answer(order="o", status="refused", reason="locked", allowed_l=0.0)
    problem = client.post("/api/beds/south/water", json={"refill": True}).json()
    assert problem["next_possible"] is None


@pytest.mark.parametrize(
    ("status", "code"), [("invalid", 422), ("unknown", 404), ("unrecorded", 503)]
)
def test_the_engines_answer_has_its_status(
    client: TestClient, desk: FakeDesk, status: Any, code: int
) -> None:
    desk.answer = Answer(order="o", status=status)
    assert client.post("/api/beds/south/water", json={"litres": 9}).status_code == code
    assert client.put("/api/lock", json={"why": "mending"}).status_code == code


def test_an_engine_that_does_not_answer_is_503(client: TestClient, desk: FakeDesk) -> None:
    desk.slow = True
    assert client.post("/api/beds/south/water", json={"litres": 9}).status_code == 503


@pytest.mark.parametrize(
    ("method", "path", "body", "what"),
    [
        ("PUT", "/api/beds/south/pause", {"until": "2026-07-20T00:00:00Z"}, "pause"),
        ("DELETE", "/api/beds/south/pause", None, "resume"),
        ("PUT", "/api/pause", {"until": "2026-07-20T02:00:00+02:00", "why": "rain"}, "pause"),
        ("DELETE", "/api/pause", None, "resume"),
        ("DELETE", "/api/beds/south/stop", None, "resume"),
        ("DELETE", "/api/stop", None, "resume"),
        ("PUT", "/api/lock", {"why": "new pipe"}, "lock"),
        ("DELETE", "/api/lock", None, "unlock"),
    ],
)
def test_other_orders_answer_with_the_record_made(
    client: TestClient, desk: FakeDesk, method: str, path: str, body: Any, what: str
) -> None:
    got = client.request(method, path, json=body) if body else client.request(method, path)
    assert got.status_code == 200
    record = got.json()
    assert (record["what"], record["who"]) == (what, "operator")
    assert desk.orders[0]["what"] == what
    if what == "pause":
        assert record["until"] == "2026-07-20T00:00:00Z"
        assert desk.orders[0]["until_utc_s"] == 1_784_505_600.0


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/api/beds/south/pause", {"until": "2026-07-15T18:05:00Z"}),
        ("/api/beds/south/pause", {"until": "2026-07-20T00:00:00"}),
        ("/api/beds/south/pause", {"until": 1784505600}),
        ("/api/pause", {}),
        ("/api/lock", {}),
        ("/api/lock", {"why": "   "}),
        ("/api/lock", {"why": "two\nlines"}),
    ],
    ids=["not-in-the-future", "no-zone", "number", "no-until", "no-why", "blank-why", "newline"],
)
def test_a_malformed_hold_is_422_and_no_order(
    client: TestClient, desk: FakeDesk, path: str, body: Any
) -> None:
    assert client.put(path, json=body).status_code == 422
    assert desk.orders == []


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_an_unknown_bed_is_404(client: TestClient, method: str) -> None:
    tail = {"POST": "water", "PUT": "pause", "DELETE": "pause"}[method]
    got = client.request(method, f"/api/beds/nowhere/{tail}", json={})
    assert got.status_code == 404
    assert client.post("/api/beds/nowhere/stop").status_code == 404


def test_a_latch_is_lifted_with_its_why_only(client: TestClient, desk: FakeDesk) -> None:
    desk.set(alerts=[LATCH])
    assert client.post("/api/alerts/a1/clear").status_code == 422
    assert client.post("/api/alerts/a1/clear", json={"why": " "}).status_code == 422
    assert desk.orders == []
    assert client.post("/api/alerts/a1/clear", json={"why": "valve new"}).status_code == 200
    assert (desk.orders[0]["alert"], desk.orders[0]["why"]) == ("a1", "valve new")


def test_an_alert_that_is_no_latch_is_cleared_without_a_why(
    client: TestClient, desk: FakeDesk
) -> None:
    desk.set(alerts=[{**LATCH, "person_needed": False}])
    assert client.post("/api/alerts/a1/clear").status_code == 200


def test_an_unknown_alert_is_404(client: TestClient) -> None:
    assert client.post("/api/alerts/none/clear", json={"why": "x"}).status_code == 404


# -- stopping


def test_stop_needs_no_token_from_loopback(desk: FakeDesk) -> None:
    app = create_app(desk, token=RIGHT)
    client = TestClient(app, base_url="http://127.0.0.1", client=("::1", 5))
    assert client.post("/api/stop").status_code == 200
    assert client.post("/api/beds/south/stop", json={}).status_code == 200
    assert desk.stops == [(None, "loopback"), ("south", "loopback")]


def test_stop_needs_a_token_from_elsewhere(desk: FakeDesk) -> None:
    app = create_app(desk, token=RIGHT)
    client = TestClient(app, base_url="http://localhost", client=("192.168.1.7", 5))
    assert client.post("/api/stop").status_code == 401
    assert client.post("/api/stop", headers=BEARER).status_code == 200
    assert desk.stops == [(None, "operator")]


def test_stop_closes_whatever_its_json_says(client: TestClient, desk: FakeDesk) -> None:
    got = client.post("/api/stop", content=b'{"bed":', headers={"Content-Type": "application/json"})
    assert got.status_code == 200
    assert len(desk.stops) == 1


def test_a_stop_that_is_not_confirmed_says_so(client: TestClient, desk: FakeDesk) -> None:
    desk.slow = True
    assert client.post("/api/stop").status_code == 503


def test_a_desk_that_answers_a_stop_at_once_need_not_be_awaited(desk: FakeDesk) -> None:
    class AtOnce(FakeDesk):
        def stop_now(self, bed: str | None, who: str) -> Answer:  # type: ignore[override]
            return Answer(order="s", status="accepted")

    app = create_app(AtOnce(), token=RIGHT)
    client = TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5))
    assert client.post("/api/stop").status_code == 200


# -- repeats


def test_a_repeat_with_the_same_key_waters_once(client: TestClient, desk: FakeDesk) -> None:
    key = {"Idempotency-Key": "k-1"}
    first = client.post("/api/beds/south/water", json={"litres": 40}, headers=key)
    again = client.post("/api/beds/south/water", json={"litres": 40}, headers=key)
    assert (again.status_code, again.json()) == (202, first.json())
    assert len(desk.orders) == 1


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/api/beds/south/water", {"litres": 41}),
        ("/api/beds/tunnel/water", {"litres": 40}),
    ],
    ids=["other-body", "other-path"],
)
def test_a_key_used_for_something_else_is_422(
    client: TestClient, desk: FakeDesk, path: str, body: Any
) -> None:
    key = {"Idempotency-Key": "k-1"}
    client.post("/api/beds/south/water", json={"litres": 40}, headers=key)
    assert client.post(path, json=body, headers=key).status_code == 422
    assert len(desk.orders) == 1


def test_a_key_used_with_another_method_is_422(client: TestClient) -> None:
    key = {"Idempotency-Key": "k-1"}
    body = {"why": "rain"}
    assert client.request("DELETE", "/api/pause", json=body, headers=key).status_code == 200
    assert client.request("DELETE", "/api/lock", json=body, headers=key).status_code == 422
    assert client.put("/api/lock", json=body, headers=key).status_code == 422


def test_an_order_without_an_answer_is_not_done_again_by_a_repeat(
    client: TestClient, desk: FakeDesk
) -> None:
    key = {"Idempotency-Key": "k-1"}
    desk.slow = True
    assert client.post("/api/beds/south/water", json={"litres": 4}, headers=key).status_code == 503
    desk.slow = False
    assert client.post("/api/beds/south/water", json={"litres": 4}, headers=key).status_code == 503
    assert desk.orders == []


def test_an_order_that_was_not_recorded_may_be_tried_again(
    client: TestClient, desk: FakeDesk
) -> None:
    key = {"Idempotency-Key": "k-1"}
    desk.answer = Answer(order="o", status="unrecorded")
    assert client.post("/api/beds/south/water", json={"litres": 4}, headers=key).status_code == 503
    desk.answer = None
    assert client.post("/api/beds/south/water", json={"litres": 4}, headers=key).status_code == 202


def test_keys_are_forgotten_oldest_first_and_memory_is_bounded(
    client: TestClient, desk: FakeDesk
) -> None:
    for number in range(300):
        client.request("DELETE", "/api/pause", headers={"Idempotency-Key": f"k-{number}"})
    repeats: Repeats = client.app.state.repeats  # type: ignore[attr-defined]
    assert [len(kept) for kept in repeats._callers.values()] == [KEYS_MOST]
    client.request("DELETE", "/api/pause", headers={"Idempotency-Key": "k-299"})
    assert len(desk.orders) == 300
    for number in range(CALLERS_MOST + 10):
        repeats._kept_of(f"caller {number}")
    assert len(repeats._callers) == CALLERS_MOST


@pytest.mark.parametrize("key", ["", "with space", "x" * 129])
def test_a_key_of_another_form_is_422(client: TestClient, key: str) -> None:
    got = client.request("DELETE", "/api/pause", headers={"Idempotency-Key": key})
    assert got.status_code == 422


def test_two_repeats_at_once_water_once() -> None:
    class Waiting(FakeDesk):
        async def order(self, order_fields: dict[str, Any]) -> Answer:
            answer = await super().order(order_fields)
            await asyncio.sleep(0)
            return answer

    desk = Waiting()
    app = create_app(desk, token=RIGHT)

    async def call() -> int:
        body = b'{"litres":4}'
        scope = {
            "type": "http",
            "method": "POST",
            "path": "/api/beds/south/water",
            "raw_path": b"/api/beds/south/water",
            "query_string": b"",
            "root_path": "",
            "scheme": "http",
            "http_version": "1.1",
            "server": ("127.0.0.1", 8470),
            "client": ("127.0.0.1", 5),
            "headers": [
                (b"host", b"localhost"),
                (b"authorization", f"Bearer {RIGHT}".encode()),
                (b"content-type", b"application/json"),
                (b"content-length", str(len(body)).encode()),
                (b"idempotency-key", b"k"),
            ],
        }
        sent: list[Any] = []

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: Any) -> None:
            sent.append(message)

        await app(scope, receive, send)
        return int(sent[0]["status"])

    async def both() -> list[int]:
        return list(await asyncio.gather(call(), call()))

    assert asyncio.run(both()) == [202, 202]
    assert len(desk.orders) == 1


def test_every_order_is_logged_with_who_gave_it(
    client: TestClient, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, logger="api.orders"):
        client.post("/api/beds/south/water", json={"litres": 9})
        client.post("/api/stop")
    said = caplog.text
    assert "order water of bed south by operator: accepted" in said
    assert "stop of every valve by loopback" in said
    assert RIGHT not in said


# -- what somebody felt and saw


@pytest.mark.parametrize(
    ("path", "sent", "what"),
    [
        ("soil", {"feel": "just_moist", "depth_cm": 20}, "soil"),
        ("look", {"leaves": 1, "when": "morning"}, "look"),
        ("look", {"leaves": 1, "when": ""}, "look"),
    ],
    ids=["soil", "look", "look-now"],
)
def test_a_feel_and_a_look_become_orders_and_are_answered_with_the_record(
    client: TestClient, desk: FakeDesk, path: str, sent: dict[str, Any], what: str
) -> None:
    got = client.post(f"/api/beds/south/{path}", json=sent)
    assert got.status_code == 200
    assert {"what": what, "bed": "south", "who": "operator", **sent}.items() <= got.json().items()
    assert {"what": what, "bed": "south", **sent}.items() <= desk.orders[0].items()


@pytest.mark.parametrize(
    ("path", "sent"),
    [
        ("soil", {}),
        ("soil", {"feel": "damp", "depth_cm": 20}),
        ("soil", {"feel": "dry"}),
        ("soil", {"feel": "dry", "depth_cm": 0}),
        ("soil", {"feel": "dry", "depth_cm": 101}),
        ("soil", {"feel": "dry", "depth_cm": True}),
        ("soil", {"feel": "dry", "depth_cm": "20"}),
        ("look", {"leaves": 3, "when": "morning"}),
        ("look", {"leaves": -1, "when": "morning"}),
        ("look", {"leaves": True, "when": "morning"}),
        ("look", {"leaves": 1.0, "when": "morning"}),
        ("look", {"leaves": 1, "when": "noon"}),
        ("look", {"when": "morning"}),
    ],
)
def test_what_is_no_feel_and_no_look_is_malformed(
    client: TestClient, desk: FakeDesk, path: str, sent: dict[str, Any]
) -> None:
    assert client.post(f"/api/beds/south/{path}", json=sent).status_code == 422
    assert desk.orders == []


def test_a_look_without_its_hour_leaves_it_to_the_engine(
    client: TestClient, desk: FakeDesk
) -> None:
    assert client.post("/api/beds/south/look", json={"leaves": 2}).status_code == 200
    assert (desk.orders[0]["leaves"], desk.orders[0]["when"]) == (2, "")


def test_looks_are_undone_by_delete(client: TestClient, desk: FakeDesk) -> None:
    assert client.delete("/api/beds/south/look").status_code == 200
    assert (desk.orders[0]["what"], desk.orders[0]["bed"]) == ("forget_looks", "south")


@pytest.mark.parametrize("path", ["soil", "look"])
def test_an_unknown_bed_has_no_soil_and_no_leaves(client: TestClient, path: str) -> None:
    sent = {"feel": "dry", "depth_cm": 20} if path == "soil" else {"leaves": 0, "when": "morning"}
    assert client.post(f"/api/beds/attic/{path}", json=sent).status_code == 404
    assert client.delete("/api/beds/attic/look").status_code == 404


def test_a_feel_sent_twice_with_one_key_is_one_feel(client: TestClient, desk: FakeDesk) -> None:
    sent, key = {"feel": "dry", "depth_cm": 20}, {"Idempotency-Key": "k1"}
    first = client.post("/api/beds/south/soil", json=sent, headers=key)
    again = client.post("/api/beds/south/soil", json=sent, headers=key)
    assert first.json() == again.json()
    assert len(desk.orders) == 1
