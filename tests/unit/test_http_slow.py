"""Hazard N3 on real sockets: callers that never end their requests keep nobody from a stop."""

import contextlib
import http.client
import socket
from collections.abc import Iterator
from typing import Any

import pytest

from api import callers
from api.addresses import address_of, network_of, source_of
from api.desk import FakeDesk
from api.http import create_app
from api.listening import bound_socket
from api.serve import WebServer

SLOW = 200
WAIT_S = 20.0  # how long a loaded machine may take; a server that hangs takes for ever
PARTS = (
    b"",
    b"GET /api/garden HTTP/1.1\r\nHost: loc",
    b"POST /api/stop HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
    b"Content-Length: 900\r\n\r\n{",
    b"PUT /api/lock HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n5\r\n{",
)


@pytest.fixture
def port() -> Iterator[int]:
    sock = bound_socket("127.0.0.1", 0)
    served = WebServer(create_app(FakeDesk(), token="t"), sock)  # noqa: S106 - of this test
    served.start()
    yield int(sock.getsockname()[1])
    served.stop()


def _asked(port: int, method: str, path: str) -> int:
    there = http.client.HTTPConnection("127.0.0.1", port, timeout=WAIT_S)
    with contextlib.closing(there):
        there.request(method, path)
        answer = there.getresponse()
        answer.read()
        return answer.status


@pytest.mark.hazard("N3")
def test_two_hundred_slow_callers_keep_nobody_from_a_stop(port: int) -> None:
    with contextlib.ExitStack() as slow:
        for number in range(SLOW):
            one = slow.enter_context(socket.create_connection(("127.0.0.1", port), WAIT_S))
            one.sendall(PARTS[number % len(PARTS)])
        assert _asked(port, "POST", "/api/stop") == 200
        assert _asked(port, "GET", "/api/garden") == 200
        assert _asked(port, "GET", "/api/health") == 200


@pytest.mark.hazard("N3")
def test_endless_headers_are_cut_off(port: int) -> None:
    with socket.create_connection(("127.0.0.1", port), WAIT_S) as one:
        one.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n")
        with contextlib.suppress(OSError):
            for _ in range(400):
                one.sendall(b"X-Long: " + b"x" * 1000 + b"\r\n")
        try:
            answer = one.recv(10)  # a server without a limit would wait on, and time out here
        except ConnectionError:
            answer = b""
        assert answer in {b"", b"HTTP/1.1 4"}
    assert _asked(port, "POST", "/api/stop") == 200


FAR, FAR_TOO, NEAR = "127.0.0.9", "127.0.0.8", "127.0.0.1"


def _held(port: int, source: str, many: int, slow: contextlib.ExitStack) -> list[socket.socket]:
    """Connections from there that say nothing; those that are still held a moment later."""
    made = []
    for _ in range(many):
        one = socket.create_connection((NEAR, port), WAIT_S, source_address=(source, 0))
        made.append(slow.enter_context(one))
    assert _asked(port, "GET", "/api/health") == 200  # the server has seen them all by now
    return [one for one in made if not _is_over(one, 0.0)]


def _is_over(one: socket.socket, wait_s: float) -> bool:
    one.settimeout(wait_s)
    try:
        return one.recv(1) == b""
    except (TimeoutError, BlockingIOError):
        return False
    except ConnectionError:
        return True


@pytest.mark.hazard("N3")
def test_callers_from_elsewhere_that_say_nothing_leave_room_for_all_others(
    port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many: neither a stop nor the files that the link and the record need are theirs."""
    monkeypatch.setattr(callers, "is_near", lambda address: str(address) == NEAR)
    with contextlib.ExitStack() as slow:
        assert len(_held(port, FAR, 600, slow)) == callers.SOURCE_MOST
        assert len(_held(port, FAR_TOO, 10, slow)) == 10
        for number in range(10, 20):
            _held(port, f"127.0.0.{number}", callers.SOURCE_MOST, slow)
        assert len(_held(port, "127.0.0.21", 1, slow)) == 0  # all their places are taken
        assert _asked(port, "POST", "/api/stop") == 200


def _caller(held: set[Any], address: str, ours: str) -> callers.BoundedCaller:
    """One more connection from there, as it is counted."""
    far = address_of(address)
    one = callers.BoundedCaller.__new__(callers.BoundedCaller)
    one.connections = held
    one.source, one.network = source_of(far, address_of(ours)), network_of(far)
    held.add(one)
    return one


@pytest.mark.hazard("N3")
@pytest.mark.parametrize(("net", "ours"), [("fe80:", "fe80::1"), ("2001:db8:", "2001:db8::1")])
def test_a_stranger_of_our_own_network_leaves_its_others_places(net: str, ours: str) -> None:
    held: set[Any] = set()
    for _ in range(callers.SOURCE_MOST):
        assert not _caller(held, f"{net}:bad", ours)._is_too_many()
    refused = _caller(held, f"{net}:bad", ours)
    assert refused._is_too_many()
    held.remove(refused)
    for number in range(callers.NETWORK_MOST - callers.SOURCE_MOST):
        assert not _caller(held, f"{net}:a{number:x}", ours)._is_too_many()
    assert _caller(held, f"{net}:f00d", ours)._is_too_many(), "its network has a bound of its own"
    assert not _caller(held, "2001:db8:7::1", ours)._is_too_many()


@pytest.mark.hazard("N3")
def test_a_caller_that_asks_nothing_is_let_go(port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(callers, "ASKS_WITHIN_S", 0.2)
    asks = b"GET /api/health HTTP/1.1\r\nHost: localhost\r\n"
    for first in (b"", asks, asks + b"\r\n" + asks):  # nothing, half a request, one and a half
        with socket.create_connection((NEAR, port), WAIT_S) as one:
            one.sendall(first)
            one.settimeout(WAIT_S)
            with contextlib.suppress(ConnectionError):
                while one.recv(4096):
                    pass  # a server that waits on would time out here
