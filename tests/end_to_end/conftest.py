"""Real brokers on loopback."""

from __future__ import annotations

import getpass
import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

START_S = 10.0
HOST = "127.0.0.1"
# Debian keeps it where only root's PATH looks.
PLACES = os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin"])


class Mosquitto:
    """One broker process on a port of its own that a test starts, stops, freezes and kills."""

    def __init__(
        self, folder: Path, *, anonymous: bool = True, rights: str = "", queued: int = 100
    ) -> None:
        found = shutil.which("mosquitto", path=PLACES)
        if found is None:
            pytest.skip("mosquitto is not installed")
        with socket.socket() as probe:
            probe.bind((HOST, 0))
            self.port: int = probe.getsockname()[1]
        self._program = found
        self._config = folder / "mosquitto.conf"
        self._log = folder / "mosquitto.log"
        self._config.write_text(
            f"listener {self.port} {HOST}\nallow_anonymous {str(anonymous).lower()}\n"
            "persistence false\nmessage_size_limit 4096\nmax_packet_size 8192\n"
            f"max_queued_messages {queued}\n"
        )
        if rights:
            listed = folder / "rights"
            listed.write_text(rights)
            with self._config.open("a") as config:
                config.write(f"user {getpass.getuser()}\nacl_file {listed}\n")
        self._process: subprocess.Popen[bytes] | None = None
        self._paused = False

    @property
    def url(self) -> str:
        return f"mqtt://{HOST}:{self.port}"

    def start(self) -> None:
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [self._program, "-c", str(self._config)], stdout=log, stderr=log
            )
        until_s = time.monotonic() + START_S
        while time.monotonic() < until_s:
            with socket.socket() as probe:
                probe.settimeout(0.2)
                if probe.connect_ex((HOST, self.port)) == 0:
                    return
            time.sleep(0.02)
        pytest.fail(f"mosquitto did not start: {self._log.read_text()}")

    def stop(self) -> None:
        """End it cleanly."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End it as a crash does."""
        self._end(signal.SIGKILL)

    def pause(self) -> None:
        """Freeze it: sockets stay open, nothing moves."""
        if self._process is not None:
            self._process.send_signal(signal.SIGSTOP)
            self._paused = True

    def resume(self) -> None:
        if self._process is not None and self._paused:
            self._process.send_signal(signal.SIGCONT)
            self._paused = False

    def _end(self, how: signal.Signals) -> None:
        self.resume()
        process, self._process = self._process, None
        if process is not None:
            process.send_signal(how)
            try:
                process.wait(5.0)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(5.0)


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A running broker; `url`, `start`, `stop`, `kill`, `pause`, `resume`."""
    broker = Mosquitto(tmp_path)
    broker.start()
    yield broker
    broker.stop()
