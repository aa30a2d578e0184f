"""A running garden put together: data folder, daemon and page; and how it ends."""

from __future__ import annotations

import logging
import os
import socket
import time
from collections.abc import Iterable
from pathlib import Path

from api.http import create_app
from api.listening import bound_socket
from api.notify import notify
from api.pair_routes import link_base
from api.serve import WebServer
from controller.alarming.alarmer import Alarmer
from controller.clock import ScaledClock
from controller.daemon import Daemon
from controller.datafolder import DataFolder
from controller.errors import StoreError
from controller.garden import Garden

TELL_EVERY_S = 10.0  # [s] real, between trials to write where the page is

log = logging.getLogger(__name__)


class Keeper:
    """The daemon and its page over one data folder.

    Args:
        garden: the validated garden file.
        folder: the data folder.
        clock: real or scaled.
        url: the broker's, in place of the garden file's.
        garden_path: what SIGHUP reloads.
        armed: whether valves may open without a commissioning walk.
        port: of the page, in place of the garden file's; 0 takes any.
        sock: where the page listens, where that was bound already.
    """

    def __init__(
        self,
        garden: Garden,
        folder: DataFolder,
        clock: ScaledClock,
        *,
        url: str | None = None,
        garden_path: Path | None = None,
        armed: bool = True,
        port: int | None = None,
        sock: socket.socket | None = None,
    ) -> None:
        self._folder = folder
        self._garden_file = None if garden_path is None else str(garden_path.absolute())
        self.daemon = Daemon(garden, folder, clock, url=url, garden_path=garden_path, armed=armed)
        self.daemon.alive = lambda: notify("WATCHDOG=1")
        self._alarms = Alarmer(folder, clock, self.daemon, speed=clock.speed)
        self.daemon.listeners.append(self._alarms.hear)
        page = garden.page
        self._sock = sock or bound_socket(page.host, page.port if port is None else port)
        app = create_app(
            self.daemon,
            token=folder.token(),
            names=_names(garden),
            loopback_only=page.on_loopback,
            alarms=self._alarms,
        )
        self._web = WebServer(app, self._sock)
        self._issue_code = app.state.issue_code
        app.state.link_base = link_base(self._web.url, page.names, loopback_only=page.on_loopback)
        self._link_base = app.state.link_base
        self._told = False
        self._tell_next_s = 0.0

    @property
    def url(self) -> str:
        """Where the page is."""
        return self._web.url

    def link(self) -> str:
        """The page's address with a one-use code that lets a browser give orders."""
        return f"{self._link_base}/open?code={self._issue_code()}"

    def start(self) -> None:
        """Open the store, connect, serve.

        Raises:
            LockedError: another process holds the data folder.
            LinkError: the broker's address is no good.
        """
        try:
            self.daemon.start()
        except BaseException:
            self._sock.close()
            raise
        self._web.start()
        self._alarms.start()
        self.tell_address()
        notify("READY=1")

    def tell_address(self) -> None:
        """Say in the data folder where the page is, unless it stands there or was just tried."""
        if self._told or time.monotonic() < self._tell_next_s:
            return
        self._tell_next_s = time.monotonic() + TELL_EVERY_S
        try:
            self._folder.write_daemon_json(self.url, os.getpid(), self._garden_file)
            self._told = True
        except StoreError as exc:  # a full disk: the page is up all the same
            log.warning("%s", exc)

    def stop(self) -> None:
        """Close every valve first, then everything else."""
        notify("STOPPING=1")
        self.daemon.stop()
        self._alarms.stop()
        self._web.stop()
        self._folder.remove_daemon_json()
        self._folder.unlock()


def _names(garden: Garden) -> Iterable[str]:
    return (garden.page.host, *garden.page.names)
