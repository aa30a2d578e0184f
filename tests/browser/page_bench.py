"""What tests of the page in a browser share: a page that is served, a browser that complains."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from api.desk import Desk
from api.http import create_app

CHROMIUM = Path("/usr/bin/chromium")
RIGHT = "the-operators-token"
HIGH_PX = 844
START_S = 10.0
QUIET = (
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
needs_chromium = pytest.mark.skipif(not CHROMIUM.exists(), reason="no browser at /usr/bin/chromium")


class Served:
    """One page on a port of its own, that can end and begin anew on the same port."""

    def __init__(self, port: int = 0) -> None:
        self.port = port
        self.url = ""
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None

    def begin(self, desk: Desk, **more: Any) -> Served:
        """Serve this garden."""
        sock = socket.socket()
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind(("127.0.0.1", self.port))
        self.port = sock.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        app = create_app(desk, token=RIGHT, **more)
        self.app = app
        config = uvicorn.Config(
            app,
            loop="asyncio",
            http="h11",
            ws="none",
            log_level="warning",
            timeout_graceful_shutdown=1,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [sock]}, daemon=True
        )
        self._thread.start()
        end = time.perf_counter() + START_S
        while not self._server.started and time.perf_counter() < end:
            time.sleep(0.02)
        assert self._server.started
        return self

    def end(self) -> None:
        """End it, as a daemon that is stopped."""
        if self._server is None or self._thread is None:
            return
        self._server.should_exit = True
        self._thread.join(timeout=START_S)
        assert not self._thread.is_alive()
        self._server = None


@contextmanager
def chromium() -> Iterator[Any]:
    """Debian's browser."""
    with playwright.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), args=list(QUIET))
        yield browser
        browser.close()


def opened(browser: Any, wide: int, scheme: str = "light", high: int = HIGH_PX, **more: Any) -> Any:
    """A new page, not yet anywhere; what it complains of is in `page.complaints`."""
    context = browser.new_context(
        viewport={"width": wide, "height": high}, color_scheme=scheme, **more
    )
    page = context.new_page()
    page.complaints = []
    page.on("console", lambda said: page.complaints.append(said.text))
    page.on("pageerror", lambda fault: page.complaints.append(str(fault)))
    return page
