"""The web server in a thread of its own, on a socket that is bound before it starts."""

from __future__ import annotations

import socket
import threading
import time

import uvicorn
from fastapi import FastAPI

from api.callers import MOST, BoundedCaller

START_S = 5.0
STOP_S = 4.0


class WebServer:
    """Serves one application until it is stopped.

    Args:
        app: the application.
        sock: where it listens.
    """

    def __init__(self, app: FastAPI, sock: socket.socket) -> None:
        host, port = sock.getsockname()[:2]
        shown = f"[{host}]" if ":" in host else host
        self.url = f"http://{shown}:{port}"
        self._sock = sock
        self._server = uvicorn.Server(
            uvicorn.Config(
                app,
                loop="asyncio",
                http=BoundedCaller,
                ws="none",
                lifespan="off",
                log_level="warning",
                access_log=False,
                server_header=False,
                proxy_headers=False,
                limit_concurrency=MOST + 1,
                backlog=64,
                timeout_keep_alive=5,
                timeout_graceful_shutdown=2,
                h11_max_incomplete_event_size=16_384,
            )
        )
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [sock]}, name="web", daemon=True
        )

    def start(self) -> None:
        """Begin, and wait until it answers; at most five seconds."""
        self._thread.start()
        end_s = time.monotonic() + START_S
        while not self._server.started and time.monotonic() < end_s:
            time.sleep(0.01)

    def stop(self) -> None:
        """End, whatever connections are open."""
        self._server.should_exit = True
        self._thread.join(STOP_S)
        self._sock.close()
