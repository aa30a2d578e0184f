"""A garden that lives in processes of its own: broker, virtual nodes and daemon, one scaled clock.

Nothing here looks inside the daemon: it is started by its command, asked over HTTP, read through
its stable view `ledger`, and judged by the truth file of the virtual nodes.
"""

from __future__ import annotations

import copy
import json
import os
import resource
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from sim.examples import find_garden

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "api.cli"]
FORENOON = datetime(2026, 7, 15, 18, 0, tzinfo=UTC)  # 11:00 at the plot: outside its hours
START_S = 90.0  # [s] real
END_S = 30.0
LEASE_S = 90.0
QUIET_S = 140.0
HTTP_S = 10.0
POLL_S = 0.03

Process = subprocess.Popen[bytes]


def environment(**more: str) -> dict[str, str]:
    """Ours, with this tree first and nothing that points at other data or another clock."""
    own = {"STATE_DIRECTORY", "XDG_STATE_HOME", "THIRSTLINE_CLOCK", "THIRSTLINE_LOG"}
    kept = {key: value for key, value in os.environ.items() if key not in own}
    return {**kept, "PYTHONPATH": str(ROOT), **more}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def tell(line: str) -> None:
    """Put a measured figure into the test's captured output: `pytest -rP` shows it."""
    sys.stdout.write(line + "\n")


def until(true: Callable[[], object], seconds: float, what: str) -> None:
    """Wait until it is so; fail with what was waited for."""
    end_s = time.monotonic() + seconds
    while time.monotonic() < end_s:
        if true():
            return
        time.sleep(POLL_S)
    if not true():
        pytest.fail(f"not within {seconds:g} s: {what}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Time:
    """The clock that all processes of one garden share."""

    speed: float
    sim_utc_s: float
    real_utc_s: float

    @classmethod
    def from_now(cls, speed: float, sim: datetime = FORENOON) -> Time:
        return cls(speed=speed, sim_utc_s=sim.timestamp(), real_utc_s=time.time())

    @property
    def text(self) -> str:
        sim = datetime.fromtimestamp(self.sim_utc_s, UTC).isoformat().replace("+00:00", "Z")
        return f"{sim}@{self.real_utc_s!r}"

    def now_utc_s(self) -> float:
        return self.sim_utc_s + self.speed * (time.time() - self.real_utc_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """One true opening of a valve; without an end it still stands."""

    valve: str
    from_utc_s: float
    to_utc_s: float | None
    seconds: float


class Truth:
    """What the virtual nodes say was true; only what is new is read at each look."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._read_bytes = 0
        self._lines: list[dict[str, Any]] = []

    def look(self) -> Truth:
        """Read on; the last line may be half written."""
        with self._path.open("rb") as file:
            file.seek(self._read_bytes)
            whole, newline, _ = file.read().rpartition(b"\n")
        self._read_bytes += len(whole) + len(newline)
        self._lines += [json.loads(line) for line in whole.split(b"\n") if line]
        return self

    def lines(self, valve: str) -> list[dict[str, Any]]:
        """What was told of one valve, in order."""
        return [line for line in self._lines if line["valve"] == valve]

    def litres(self, valve: str) -> float:
        return max(float(line["litres"]) for line in self._lines if line["valve"] == valve)

    def openings(self, valve: str) -> list[Opening]:
        found: list[Opening] = []
        begun: dict[str, Any] | None = None
        last: dict[str, Any] = {}
        for last in (line for line in self._lines if line["valve"] == valve):
            if last["open"] and begun is None:
                begun = last
            elif not last["open"] and begun is not None:
                found.append(_opening(begun, last, ended=True))
                begun = None
        return found if begun is None else [*found, _opening(begun, last, ended=False)]

    def open_s(self, valve: str) -> float:
        return sum(one.seconds for one in self.openings(valve))

    def open_now(self, valve: str) -> bool:
        return any(one.to_utc_s is None for one in self.openings(valve))

    def opened_since(self, valves: list[str], from_utc_s: float) -> list[Opening]:
        return [o for v in valves for o in self.openings(v) if o.from_utc_s > from_utc_s]


def _opening(begun: Mapping[str, Any], last: Mapping[str, Any], *, ended: bool) -> Opening:
    return Opening(
        valve=begun["valve"],
        from_utc_s=_utc_s(begun),
        to_utc_s=_utc_s(last) if ended else None,
        seconds=last["node_s"] - begun["node_s"],
    )


def _utc_s(line: Mapping[str, Any]) -> float:
    return datetime.fromisoformat(line["at"]).timestamp()


class LiveGarden:
    """One plot: a folder, a broker's address, and the processes that a test starts and ends.

    Args:
        folder: for everything that is written.
        url: of the broker.
        speed: garden seconds in a real second.
        sim: when it begins.
        garden_id: two gardens on one broker need different ones.
        nodes_url: of the broker as the nodes see it; None: as the daemon does.
        nodes_sim: what the nodes' clock says when the daemon's says `sim`; None: the same.
    """

    def __init__(
        self,
        folder: Path,
        url: str,
        *,
        speed: float = 60.0,
        sim: datetime = FORENOON,
        garden_id: str = "hollin-lane",
        nodes_url: str | None = None,
        nodes_sim: datetime | None = None,
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.clock = Time.from_now(speed, sim)
        self.nodes_clock = replace(self.clock, sim_utc_s=(nodes_sim or sim).timestamp())
        self.data = folder / "data"
        self.truth_file = folder / "truth.jsonl"
        self.log_file = folder / "daemon.log"
        self.garden_file = folder / "garden.toml"
        text = find_garden("hollin-lane").read_text(encoding="utf-8")
        text = text.replace('id = "hollin-lane"', f'id = "{garden_id}"')
        text = text.replace('"plot/', f'"{garden_id}/')
        here = "mqtt://127.0.0.1:1883"
        self.garden_file.write_text(text.replace(here, url), encoding="utf-8")
        self._nodes_file = folder / "nodes.toml"
        self._nodes_file.write_text(text.replace(here, nodes_url or url), encoding="utf-8")
        self._folder = folder
        self._truth = Truth(self.truth_file)
        self._port = 0
        self.environment = environment(THIRSTLINE_CLOCK=self.clock.text)
        self.fixed_url: str | None = None  # where the daemon cannot say its address
        self.daemon: Process | None = None
        self._bench: Process | None = None

    # -- processes

    def start_bench(self, *more: str) -> None:
        told = [str(self._nodes_file), *more, "--truth", str(self.truth_file)]
        self._bench = self._spawn("bench", told, "bench.log", self.nodes_clock)
        until(self.truth_file.exists, START_S, "the virtual nodes")

    def start_daemon(self, *, wait: bool = True) -> None:
        """Start it on the folder; `wait` until its quiet start is over."""
        told = [str(self.garden_file), "--data", str(self.data), "--port", str(self._port)]
        self.daemon = self._spawn("run", told, self.log_file.name, self.clock)
        if wait:
            self.wait_ready()

    def _spawn(self, command: str, told: list[str], log: str, clock: Time) -> Process:
        speed = ["--speed", f"{clock.speed:g}"]
        with (self._folder / log).open("ab") as out:
            return subprocess.Popen(
                [*COMMAND, command, *told, *speed],
                cwd=self._folder,
                env={**self.environment, "THIRSTLINE_CLOCK": clock.text},
                stdout=out,
                stderr=out,
            )

    def wait_ready(self) -> None:
        until(self._is_ready, START_S, f"a ready daemon; {self.log()[-1500:]}")

    def _is_ready(self) -> bool:
        try:
            return bool(self.get()["ready"])
        except OSError:
            return False

    def wait_page(self) -> None:
        until(lambda: self.base_url is not None, START_S, f"the page; {self.log()[-1500:]}")

    @property
    def base_url(self) -> str | None:
        """Of the page of the daemon that runs now, not of one before it."""
        if self.fixed_url is not None:
            return self.fixed_url
        try:
            told = json.loads((self.data / "daemon.json").read_bytes())
        except (OSError, ValueError):
            return None
        running = self.daemon is not None and told["pid"] == self.daemon.pid
        return str(told["url"]) if running else None

    def kill_daemon(self) -> float:
        """SIGKILL.

        Returns:
            The garden's time just before it [s UTC].
        """
        assert self.daemon is not None
        at_utc_s = self.clock.now_utc_s()
        self.daemon.send_signal(signal.SIGKILL)
        self.daemon.wait(END_S)
        return at_utc_s

    def end_daemon(self, how: signal.Signals = signal.SIGTERM) -> int:
        """End it cleanly; its exit status."""
        assert self.daemon is not None
        self.daemon.send_signal(how)
        return self.daemon.wait(END_S)

    def beside(self, garden_file: Path, folder: Path) -> LiveGarden:
        """Another daemon's place for the same nodes: its own garden file, folder and log."""
        folder.mkdir(parents=True, exist_ok=True)
        other = copy.copy(self)
        other.garden_file, other._folder = garden_file, folder
        other.data, other.log_file = folder / "data", folder / "daemon.log"
        other.daemon = other._bench = None
        return other

    def at_port(self, port: int) -> None:
        """Where the next daemon serves its page, for one that cannot write down its address."""
        self._port, self.fixed_url = port, f"http://127.0.0.1:{port}"

    def limit_files(self, most: int | None) -> None:
        """Let the daemon's files grow no further than so many bytes: a full disk."""
        assert self.daemon is not None
        unlimited = resource.RLIM_INFINITY
        limit = unlimited if most is None else most
        resource.prlimit(self.daemon.pid, resource.RLIMIT_FSIZE, (limit, unlimited))

    def close(self) -> None:
        for process in (self.daemon, self._bench):
            if process is not None and process.poll() is None:
                process.kill()
                process.wait(END_S)

    # -- what it says

    def log(self) -> str:
        return self.log_file.read_text(encoding="utf-8", errors="replace")

    def truth(self) -> Truth:
        return self._truth.look()

    def get(self, path: str = "/api/garden") -> Any:
        """A document of the daemon's; OSError where it cannot be had."""
        url = self.base_url
        if url is None:
            msg = "no daemon tells its address"
            raise ConnectionError(msg)
        with urllib.request.urlopen(url + path, timeout=HTTP_S) as reply:  # noqa: S310 - loopback
            return json.load(reply)

    def post(self, path: str, body: object) -> tuple[int, dict[str, Any]]:
        """Give an order with the operator's token; the status and what was answered."""
        token = (self.data / "token").read_text(encoding="ascii").strip()
        request = urllib.request.Request(  # noqa: S310 - loopback
            f"{self.base_url}{path}",
            data=json.dumps(body).encode(),
            headers={"Authorization": f"Bearer {token}", "Content-Type": "application/json"},
            method="POST",
        )
        try:
            with urllib.request.urlopen(request, timeout=HTTP_S) as reply:  # noqa: S310
                return reply.status, json.load(reply)
        except urllib.error.HTTPError as exc:
            with exc:
                return exc.code, json.load(exc)

    def water(self, bed: str, litres: float) -> tuple[int, dict[str, Any]]:
        return self.post(f"/api/beds/{bed}/water", {"litres": litres})

    def alerts(self) -> set[str]:
        return {alert["code"] for alert in self.get()["alerts"]}

    def ledger(self) -> list[dict[str, Any]]:
        """The stable view, over a connection that cannot write."""
        uri = f"{(self.data / 'thirstline.db').as_uri()}?mode=ro"
        with closing(sqlite3.connect(uri, uri=True, timeout=5.0)) as db:
            db.row_factory = sqlite3.Row
            return [dict(row) for row in db.execute("SELECT * FROM ledger ORDER BY from_utc")]

    def command(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Another `thirstline` beside it."""
        return subprocess.run(
            [*COMMAND, *words],
            cwd=self._folder,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=60.0,
            check=False,
        )


def assert_ledger_covers(garden: LiveGarden, beds: list[str]) -> None:
    """Every opening has one end, and the books say no less than what truly flowed."""
    rows, truth = garden.ledger(), garden.truth()
    assert {row["outcome"] for row in rows} <= {"CONFIRMED", "ASSUMED_FULL", "NEVER_SENT"}, rows
    for bed in beds:
        own = [row for row in rows if row["bed"] == bed]
        charged_l = sum(row["charged_l"] for row in own)
        open_s = sum(row["open_s"] for row in own)
        assert charged_l >= truth.litres(bed) - 1e-3, (bed, own, truth.openings(bed))
        assert open_s >= truth.open_s(bed) - 1e-3, (bed, own, truth.openings(bed))
