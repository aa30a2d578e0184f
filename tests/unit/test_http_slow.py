"""Hazard N3 on real sockets: callers that never end their requests keep nobody from a stop."""

import contextlib
import http.client
import socket
from collections.abc import Iterator

import pytest

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
