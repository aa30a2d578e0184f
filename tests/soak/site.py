"""Broker, virtual nodes and daemon of a soak, in processes that outlive whoever started them.

What runs where stands in `soak.json` of the run's folder, so that the same command goes on with a
run that was cut off: it attaches to what still lives and starts again what does not.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.soak.plot import depletions, write_plot

AS_SERVICE = {"MALLOC_ARENA_MAX": "1"}  # as the unit sets it: one heap for all threads
ROOT = Path(__file__).parents[2]
PLACES = os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin"])
END_S = 60.0  # [s] real
HTTP_S = 20.0
INSIDE_EVERY_S = 10.0


@dataclass(slots=True)
class Kept:
    """What a run has to know of itself when it goes on.

    Attributes:
        speed: garden seconds in a real second.
        sim_utc_s: the garden's time at `real_utc_s` [s, Unix].
        real_utc_s: when the run began [s, Unix].
        hours: how long it lasts [h, garden time].
        port: of the broker.
        pids: of `broker`, `nodes` and `daemon`.
        benches: how often the nodes were started: each start has a truth file of its own.
        lives: how often the daemon was started.
        armed: whether valves may open without a walk.
    """

    speed: float
    sim_utc_s: float
    real_utc_s: float
    hours: float
    port: int
    pids: dict[str, int] = field(default_factory=dict)
    benches: int = 0
    lives: int = 0
    armed: bool = True


def _port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Site:
    """One run's folder and its three processes.

    Args:
        folder: for everything that is written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.data = folder / "data"
        self.inside_file = folder / "inside.jsonl"
        self._file = folder / "soak.json"
        self._children: dict[str, subprocess.Popen[bytes]] = {}
        self.kept = (
            Kept(**json.loads(self._file.read_bytes()))
            if self._file.exists()
            else Kept(speed=1.0, sim_utc_s=0.0, real_utc_s=0.0, hours=0.0, port=_port())
        )

    @property
    def begun(self) -> bool:
        """Whether this folder holds a run."""
        return self.kept.real_utc_s > 0.0

    @property
    def url(self) -> str:
        """Of the broker."""
        return f"mqtt://127.0.0.1:{self.kept.port}"

    @property
    def garden_file(self) -> Path:
        """The garden file."""
        return self.folder / "soak.toml"

    def begin(self, *, speed: float, sim: datetime, hours: float, armed: bool) -> None:
        """Set the clocks and write the plot; a run of before has ended."""
        kept = self.kept
        kept.speed, kept.sim_utc_s, kept.hours, kept.armed = speed, sim.timestamp(), hours, armed
        kept.real_utc_s = time.time()
        write_plot(self.folder, self.url)
        self.save()

    def save(self) -> None:
        """Write down what a run that goes on has to know."""
        self.folder.mkdir(parents=True, exist_ok=True)
        part = self._file.with_suffix(".part")
        part.write_text(json.dumps(asdict(self.kept)), encoding="utf-8")
        part.replace(self._file)

    @property
    def garden_s(self) -> float:
        """Garden time since the beginning [s]."""
        return self.kept.speed * (time.time() - self.kept.real_utc_s)

    @property
    def clock_text(self) -> str:
        """The anchor, as the environment carries it."""
        sim = datetime.fromtimestamp(self.kept.sim_utc_s, UTC).isoformat().replace("+00:00", "Z")
        return f"{sim}@{self.kept.real_utc_s!r}"

    # -- processes

    def pid(self, name: str) -> int | None:
        """Of a process that lives."""
        child = self._children.get(name)
        if child is not None and child.poll() is not None:
            return None
        pid = self.kept.pids.get(name)
        if pid is None:
            return None
        with suppress(OSError):
            words = Path(f"/proc/{pid}/cmdline").read_bytes().decode("utf-8", "replace")
            return pid if str(self.folder) in words else None
        return None

    def ensure(self) -> list[str]:
        """Start what does not live; their names."""
        started = [name for name in ("broker", "nodes", "daemon") if self.pid(name) is None]
        for name in started:
            getattr(self, f"start_{name}")()
        return started

    def start_broker(self) -> None:
        """A broker that keeps nothing."""
        program = shutil.which("mosquitto", path=PLACES)
        if program is None:
            msg = "mosquitto is not installed"
            raise SystemExit(msg)
        config = self.folder / "mosquitto.conf"
        config.write_text(
            f"listener {self.kept.port} 127.0.0.1\nallow_anonymous true\npersistence false\n"
            "message_size_limit 4096\nmax_packet_size 8192\nmax_queued_messages 1000\n"
        )
        self._spawn("broker", [program, "-c", str(config)])
        end_s = time.monotonic() + END_S
        while time.monotonic() < end_s:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.kept.port)) == 0:
                    return
            time.sleep(0.05)

    def start_nodes(self) -> None:
        """The virtual nodes; their faults count from now."""
        kept = self.kept
        truth = self.folder / f"truth-{kept.benches}.jsonl"
        kept.benches += 1
        words = [sys.executable, "-m", "api.cli", "bench", str(self.garden_file)]
        words += ["--speed", f"{kept.speed:g}", "--truth", str(truth)]
        words += [f"--depletion={bed}={frac:g}" for bed, frac in depletions().items()]
        faults = self.folder / "faults.toml"
        if faults.exists():
            words += ["--faults", str(faults)]
        self._spawn("nodes", words)

    def start_daemon(self) -> None:
        """The daemon over the run's data folder."""
        kept = self.kept
        kept.lives += 1
        words = [sys.executable, "-m", "tests.soak.kept", str(self.garden_file), str(self.data)]
        words += [f"{kept.speed:g}", "armed" if kept.armed else "unarmed"]
        self._spawn("daemon", [*words, str(self.inside_file), f"{INSIDE_EVERY_S:g}"])

    def _spawn(self, name: str, words: list[str]) -> None:
        own = {"PYTHONPATH": str(ROOT), "THIRSTLINE_CLOCK": self.clock_text, **AS_SERVICE}
        with (self.folder / f"{name}.log").open("ab") as log:
            child = subprocess.Popen(
                words,
                cwd=self.folder,
                env={**os.environ, **own},
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        self._children[name] = child
        self.kept.pids[name] = child.pid
        self.save()

    def end(self, name: str, how: signal.Signals = signal.SIGTERM) -> None:
        """End a process and wait for it."""
        pid = self.pid(name)
        if pid is None:
            return
        for signed in (how, signal.SIGKILL):
            os.kill(pid, signed)
            end_s = time.monotonic() + END_S
            while self.pid(name) is not None and time.monotonic() < end_s:
                time.sleep(0.05)
            if self.pid(name) is None:
                break
        self.kept.pids.pop(name, None)
        child = self._children.pop(name, None)
        if child is not None:
            child.wait(END_S)  # nobody else takes its end in
        self.save()

    def end_all(self) -> None:
        """The daemon first: its valves close."""
        for name in ("daemon", "nodes", "broker"):
            self.end(name)

    # -- the page

    def call(self, path: str, body: object = None) -> Any:
        """Read a document, or give an order; what was answered, refusals too.

        Raises:
            OSError: no daemon answers.
        """
        told = json.loads((self.data / "daemon.json").read_bytes())
        headers = {"Content-Type": "application/json"}
        data = None
        if body is not None:
            token = (self.data / "token").read_text(encoding="ascii").strip()
            headers["Authorization"] = f"Bearer {token}"
            data = json.dumps(body).encode()
        request = urllib.request.Request(told["url"] + path, data=data, headers=headers)  # noqa: S310
        try:
            with urllib.request.urlopen(request, timeout=HTTP_S) as reply:  # noqa: S310
                text = reply.read()
        except urllib.error.HTTPError as exc:
            with exc:
                text = exc.read()
        try:
            return json.loads(text)
        except ValueError:
            return text
