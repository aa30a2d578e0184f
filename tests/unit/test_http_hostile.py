"""Hostile bodies: size, type, numbers that are none, keys twice, depth, and any bytes at all."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.desk import FakeDesk
from api.http import create_app

RIGHT = "the-operators-token"
HEADERS = {"Authorization": f"Bearer {RIGHT}", "Content-Type": "application/json"}
WATER = "/api/beds/south/water"


@pytest.fixture(scope="module")
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture(scope="module")
def client(desk: FakeDesk) -> TestClient:
    app = create_app(desk, token=RIGHT)
    return TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5), headers=HEADERS)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{}",
        b"{",
        b"null",
        b"[]",
        b'"litres"',
        b'{"litres": NaN}',
        b'{"litres": Infinity}',
        b'{"litres": -Infinity}',
        b'{"litres": 1e999}',
        b'{"litres": 1' + b"0" * 400 + b"}",
        b'{"litres": 1' + b"0" * 5000 + b"}",
        b'{"litres": 0}',
        b'{"litres": -1}',
        b'{"litres": true}',
        b'{"litres": "12"}',
        b'{"litres": null}',
        b'{"litres": 12, "litres": 5000}',
        b'{"litres": 12, "minutes": 5}',
        b'{"litres": 12, "force": true}',
        b'{"refill": false}',
        b'{"refill": 1}',
        b'{"minutes": 1e7}',
        b'{"litres": 12}{"litres": 12}',
        b"\xff\xfe{\x00}\x00",
        b'{"litres": \xed\xa0\x80}',
        b"[" * 8000 + b"]" * 8000,
        b'{"a":' * 2000 + b"1" + b"}" * 2000,
    ],
    ids=lambda body: body[:24].decode("ascii", "replace") + f"...{len(body)}",
)
def test_a_malformed_order_is_422_and_orders_nothing(
    client: TestClient, desk: FakeDesk, body: bytes
) -> None:
    got = client.post(WATER, content=body)
    assert got.status_code == 422
    assert got.headers["content-type"] == "application/problem+json"
    assert got.json()["status"] == 422
    assert desk.orders == []


def test_a_problem_never_echoes_what_was_sent(client: TestClient) -> None:
    marker = "zzmarkerzz"
    bodies = (f'{{"{marker}": 1}}', f'{{"litres": "{marker}"}}', f"<{marker}>")
    for body in bodies:
        assert marker not in client.post(WATER, content=body).text
    for path in (f"/api/{marker}", f"/{marker}", f"/api/beds/{marker}/history"):
        got = client.get(path)
        assert got.status_code == 404
        assert marker not in got.text


@pytest.mark.hazard("N3")
def test_a_body_over_the_limit_is_413(client: TestClient, desk: FakeDesk) -> None:
    body = b'{"why": "' + b"x" * 20_000_000 + b'"}'
    for method, path in (("POST", WATER), ("PUT", "/api/lock"), ("POST", "/api/stop")):
        assert client.request(method, path, content=body).status_code == 413
    assert (desk.orders, desk.stops) == ([], [])


@pytest.mark.hazard("N3")
def test_a_body_without_a_length_is_counted_while_it_is_read(client: TestClient) -> None:
    read = 0

    def parts() -> Iterator[bytes]:
        nonlocal read
        for _ in range(20_000):
            read += 1
            yield b" " * 1024

    assert client.post(WATER, content=parts()).status_code == 413


def test_a_length_that_lies_is_no_way_in(client: TestClient) -> None:
    got = client.post(WATER, content=b"{}", headers={"Content-Length": "-5"})
    assert got.status_code == 422


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""]
)
@pytest.mark.parametrize("path", [WATER, "/api/stop", "/api/alerts/a/clear"])
def test_a_body_that_is_not_json_is_415(client: TestClient, kind: str, path: str) -> None:
    got = client.post(path, content=b'{"refill": true}', headers={"Content-Type": kind})
    assert got.status_code == 415


def test_json_may_name_its_charset(client: TestClient) -> None:
    kind = {"Content-Type": "Application/JSON; charset=utf-8"}
    got = client.request("DELETE", "/api/lock", content=b"{}", headers=kind)
    assert got.status_code == 200


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/api/nothing", 404),
        ("GET", "/api/garden/", 404),
        ("PATCH", "/api/garden", 405),
        ("GET", "/api/stop", 405),
        ("GET", "/api/beds/south/water", 405),
        ("POST", "/api/beds/a%2Fb/water", 404),
        ("GET", "/static/..%2fpage.css", 404),
        ("GET", "/static/page.css", 404),
    ],
)
def test_what_is_not_there_is_a_problem_too(
    client: TestClient, method: str, path: str, status: int
) -> None:
    got = client.request(method, path)
    assert got.status_code == status
    if path.startswith("/api/"):
        assert got.json()["status"] == status


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    method=st.sampled_from(["GET", "POST", "PUT", "DELETE"]),
    path=st.sampled_from(
        [
            WATER,
            "/api/pause",
            "/api/lock",
            "/api/alerts/x/clear",
            "/api/beds/south/history",
            "/api/log",
            "/do/lock",
            "/do/beds/south/water",
            "/beds/south/pause",
            "/",
        ]
    ),
    query=st.text(max_size=40),
    body=st.binary(max_size=200),
)
def test_any_bytes_on_any_route_are_answered_without_a_fault(
    client: TestClient, method: str, path: str, query: str, body: bytes
) -> None:
    params = {"from": query, "after": query, "until": query, "how": query, "span": query}
    got = client.request(method, path, params=params, content=body)
    assert got.status_code < 500


def test_a_fault_inside_is_a_500_that_says_nothing(caplog: pytest.LogCaptureFixture) -> None:
    class Broken(FakeDesk):
        def version(self) -> str:
            msg = "the secret place"
            raise RuntimeError(msg)

    app = create_app(Broken(), token=RIGHT)
    client = TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5))
    for path in ("/api/garden", "/"):
        got = client.get(path)
        assert got.status_code == 500
        assert "secret" not in got.text
        assert "content-security-policy" in got.headers
    assert "a fault while answering" in caplog.text
