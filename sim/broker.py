"""An MQTT 5 broker for trials that need no installation: the optional package of the `demo` extra.

It runs in a child process on loopback and a free port. The child ends when this process does, even
by SIGKILL: it reads a pipe whose other end only this process holds. A Ctrl-C at the terminal, or a
SIGTERM to the whole process group, does not reach it (both are blocked while the child is born), so
that the valves can still be closed over it. Never for production: no access control, nothing kept
on disk.
"""

from __future__ import annotations

import signal
import socket
import subprocess
import tempfile
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from controller.errors import LinkError, UsageError

if TYPE_CHECKING:
    from iotcore import Broker

ATTEMPTS = 3  # another program may take the free port between the look and the start
START_S = 10.0  # [s] real
STOP_S = 2.0  # [s] real, then it is killed
HOST = "127.0.0.1"

_CONFIG = """\
id = 0

[router]
id = 0
max_connections = 64
max_outgoing_packet_count = 200
max_segment_size = 1048576
max_segment_count = 10

[v5.1]
name = "v5-1"
listen = "{host}:{port}"
next_connection_delay_ms = 1

[v5.1.connections]
connection_timeout_ms = 10000
max_payload_size = 8192
max_inflight_count = 100
"""


class EmbeddedBroker:
    """A broker that lives as long as this object, or its process.

    Raises:
        UsageError: the extra `demo` is not installed.
    """

    def __init__(self) -> None:
        try:
            from iotcore import Broker
        except ImportError as exc:
            msg = "the embedded broker is not installed: pip install 'thirstline[demo]'"
            raise UsageError(msg) from exc
        self._make = Broker
        self._broker: Broker | None = None
        self._folder: tempfile.TemporaryDirectory[str] | None = None

    @property
    def url(self) -> str:
        """Where it listens.

        Raises:
            LinkError: it does not run.
        """
        if self._broker is None:
            msg = "the embedded broker does not run"
            raise LinkError(msg)
        return f"mqtt://{self._broker.listeners[0]}"

    @property
    def is_running(self) -> bool:
        """Whether the child lives."""
        return self._broker is not None and bool(self._broker.is_running)

    def start(self) -> Self:
        """Start it and wait until it accepts connections.

        Raises:
            LinkError: it does not come up.
        """
        self._folder = tempfile.TemporaryDirectory(prefix="thirstline-broker-")
        cause: Exception | None = None
        for _ in range(ATTEMPTS):
            try:
                self._broker = self._start_once(Path(self._folder.name) / "broker.toml")
            except (OSError, RuntimeError) as exc:
                cause = exc
            else:
                return self
        self.stop()
        msg = f"the embedded broker does not come up: {cause}"
        raise LinkError(msg) from cause

    def stop(self) -> None:
        """End the child; safe to call twice."""
        broker, self._broker = self._broker, None
        if broker is not None:
            _hang_up(broker)
            broker.stop(STOP_S)
        folder, self._folder = self._folder, None
        if folder is not None:
            folder.cleanup()

    def _start_once(self, config: Path) -> Broker:
        config.write_text(_CONFIG.format(host=HOST, port=_free_port()), encoding="utf-8")
        broker = self._make(config_path=str(config))
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
        try:
            broker.start(START_S)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
        return broker

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()


def _hang_up(broker: Broker) -> None:
    """Close the pipe that the child lives by: it hears no SIGTERM."""
    process = broker._process
    if process is not None and process.stdin is not None:
        process.stdin.close()
        with suppress(subprocess.TimeoutExpired):
            process.wait(STOP_S)


def _free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
        return port
