"""What the daemon costs the board, against programs with the same libraries, in one run.

    python -m tests.end_to_end.cost_bench [--brief] [--json]

One `mosquitto` on loopback, the plot of `cost_plot.py` (32 beds, 64 probes, 33 valves, a meter),
and three programs that hear the same messages at the same time: the daemon, the bare stack
(`cost_bare.py`) and the subscriber (`cost_subscriber.py`). numpy and pandas are hidden from them:
sqlite-utils takes them in where a developer's environment has them, and no board does. CPU is what
the kernel ran of a process, in nanoseconds (`schedstat`): waiting for a busy machine does not
count, only what that does to caches and clock rates, and it does it to all three.

1. *Start*: CPU of the daemon from its birth until every valve has been told to close.
2. *Load*: every probe and the meter once a minute, every valve each 20 s, in real time, for two of
   the recorder's batches; `--brief` for one. Gives CPU, and what is written.
3. *Memory*: resident set after 20 views of each one's page.
4. *Flood*: 120 readings of each probe at 320 a second. Gives the CPU of one reading, each one's own
   batch and commit included, less what the load costs in such a time.
5. *Idle*: nobody says anything.
6. *Disk*: rows as the load's through the store for a day (`sim.record_size`), in batches of a
   minute, with waterings, checkpoints, and each hour the example garden's state for every four
   beds; the bytes that the process gave to write calls (`wchar`). Beside it the same without
   valves, and the load's own bytes, which lack checkpoints and snapshots.

`--json` prints an object: `measured` (each figure), `ratios`, `most` (what is asked of each).
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import urllib.request
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from controller.datafolder import DataFolder
from controller.events import ValveReport
from controller.store import open_reader
from sim.pace import long_season
from sim.record_size import IDLE_VALVE_S, Plot, season
from sim.replay import EngineReplay
from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.cost_plot import BEDS, PROBES, Nodes, plot_at
from tests.end_to_end.live_garden import environment

HIDDEN = (
    "import runpy, sys; sys.modules.update(numpy=None, pandas=None); del sys.argv[0]; "
    "runpy.run_module(sys.argv[0], run_name='__main__', alter_sys=True)"
)
BATCH_S = 61.0  # a minute, and by what the recorder is late
SETTLE_S = 75.0  # a batch and what a busy machine is late by
IDLE_S = 40.0
START_S = 90.0
VIEWS = 20
DAYS = 1
ASKED = {
    "rss_over_bare": 1.15,
    "idle_cpu_pct": 0.5,
    "load_cpu_pct": 3.0,
    "ingest_over_subscriber": 0.8,
    "disk_mb_a_day": 40.0,
    "start_to_closed_cpu_s": 1.0,
}
LEAST = {"ingest_over_subscriber"}  # the others are at most


class Child:
    """One program, started without numpy, and what it costs."""

    def __init__(self, name: str, folder: Path, *words: str) -> None:
        self.name, self.folder = name, folder
        self.out = folder / f"{name}.out"
        with self.out.open("wb") as out:
            self._process = subprocess.Popen(
                [sys.executable, "-c", HIDDEN, *words], env=environment(), stdout=out
            )
        self._place = Path("/proc") / str(self._process.pid)

    def cpu_s(self) -> float:
        """What it has run so far [s]."""
        each = (self._place / "task").glob("*/schedstat")
        return sum(int(path.read_text().split()[0]) for path in each) / 1e9

    def rss_mb(self) -> float:
        return self._told("status", "VmRSS") / 1e3

    def written_b(self) -> int:
        """What it has given to write calls, files above all: sockets are not counted there."""
        return self._told("io", "wchar")

    def _told(self, file: str, name: str) -> int:
        lines = (self._place / file).read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith(name))

    def end(self) -> str:
        """End it well; what it printed."""
        self._process.send_signal(signal.SIGTERM)
        self._process.wait(30.0)
        return self.out.read_text()

    def kill(self) -> None:
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()


class Bench:
    """Broker, nodes and the three programs.

    Args:
        folder: for everything that is written.
        batches: how many minutes of load.
    """

    def __init__(self, folder: Path, batches: int) -> None:
        self._folder, self._batches = folder, batches
        self._broker = Mosquitto(folder, queued=100_000)
        self._broker.start()
        url = self._broker.url
        self._garden, self._file = plot_at(url, folder)
        self._nodes = Nodes(self._garden, url)
        (folder / "peer").mkdir()
        here = "tests.end_to_end"
        self._bare = Child("bare", folder, f"{here}.cost_bare", url, str(folder))
        peer = (f"{here}.cost_subscriber", str(self._file), str(folder / "peer"))
        self._peer = Child("subscriber", folder, *peer)
        self._data = folder / "data"
        self._daemon: Child | None = None
        self.found: dict[str, Any] = {}

    @property
    def _all(self) -> tuple[Child, ...]:
        assert self._daemon is not None
        return self._daemon, self._bare, self._peer

    def live(self) -> dict[str, Any]:
        """Everything in turn; what was measured."""
        self._until((self._folder / "port").exists, "the bare stack")
        self._start()
        self._load()
        self._memory()
        self._flood()
        self._idle()
        self._end()
        self._disk()
        return self.found

    def close(self) -> None:
        self._nodes.leave()
        for child in (self._daemon, self._bare, self._peer):
            if child is not None:
                child.kill()
        self._broker.stop()

    def _until(self, true: Any, what: str) -> None:
        end_s = time.monotonic() + START_S
        while not true():
            if time.monotonic() > end_s:
                msg = f"not within {START_S:g} s: {what}"
                raise TimeoutError(msg)
            time.sleep(0.05)

    def _start(self) -> None:
        began_s = time.monotonic()
        words = ("api.cli", "run", str(self._file), "--data", str(self._data), "--port", "0")
        self._daemon = Child("daemon", self._folder, *words)
        if not self._nodes.all_closed.wait(START_S):
            msg = f"told to close: {sorted(self._nodes.closed)}"
            raise TimeoutError(msg)
        self.found["start_to_closed_cpu_s"] = self._daemon.cpu_s()
        self.found["start_to_closed_s"] = time.monotonic() - began_s
        self._until((self._data / "daemon.json").exists, "the page")
        self.found["start_cpu_s"] = {child.name: child.cpu_s() for child in self._all}

    def _cost(self, seconds: float) -> dict[str, float]:
        """CPU of each over a time [s]."""
        before = [child.cpu_s() for child in self._all]
        time.sleep(seconds)
        pairs = zip(self._all, before, strict=True)
        return {child.name: child.cpu_s() - was_s for child, was_s in pairs}

    def _load(self) -> None:
        self._nodes.speaking.set()
        time.sleep(BATCH_S)  # every one has spoken, the starts are over
        daemon = self._all[0]
        seconds, written_b = BATCH_S * self._batches, daemon.written_b()
        cost_s = self._cost(seconds)
        self.found["load_cpu_pct"] = {name: 100.0 * s / seconds for name, s in cost_s.items()}
        self.found["load_written_b_a_minute"] = (daemon.written_b() - written_b) / self._batches
        self._load_cost_s = {name: s / seconds for name, s in cost_s.items()}

    def _memory(self) -> None:
        pages = (json.loads((self._data / "daemon.json").read_text())["url"], self._bare_url)
        for url in pages:
            for _ in range(VIEWS):
                with urllib.request.urlopen(url + "/", timeout=30.0) as got:  # noqa: S310
                    got.read()
        self.found["rss_mb"] = {child.name: child.rss_mb() for child in self._all}

    @property
    def _bare_url(self) -> str:
        return f"http://127.0.0.1:{(self._folder / 'port').read_text()}"

    def _flood(self) -> None:
        before, began_s = [child.cpu_s() for child in self._all], time.monotonic()
        self._nodes.flood()
        time.sleep(SETTLE_S)
        seconds = time.monotonic() - began_s
        for child, was_s in zip(self._all, before, strict=True):
            own_s = child.cpu_s() - was_s - seconds * self._load_cost_s[child.name]
            many = self._nodes.flooded
            self.found.setdefault("reading_us", {})[child.name] = 1e6 * own_s / many

    def _idle(self) -> None:
        self._nodes.speaking.clear()
        time.sleep(3.0)
        cost_s = self._cost(IDLE_S)
        self.found["idle_cpu_pct"] = {name: 100.0 * s / IDLE_S for name, s in cost_s.items()}

    def _end(self) -> None:
        daemon, bare, peer = self._all
        url = json.loads((self._data / "daemon.json").read_text())["url"]
        with urllib.request.urlopen(f"{url}/api/garden", timeout=30.0) as got:  # noqa: S310
            taken = json.load(got)["readings"]
        daemon.end()
        bare.end()
        heard = json.loads(peer.end())["heard"]
        self.found["readings"] = {"told": self._nodes.told, "daemon": taken, "subscriber": heard}

    def _disk(self) -> None:
        with open_reader(DataFolder(self._data)) as reader:
            events = (row.event for row in reader.journal())
            at_s = [event.at_utc_s for event in events if isinstance(event, ValveReport)]
        self.found["valve_rows_a_minute"] = 60.0 * len(at_s) / (at_s[-1] - at_s[0])
        for name, valve_s in (("disk_mb_a_day", IDLE_VALVE_S), ("disk_mb_a_day_no_valves", 0)):
            plot = Plot(probes=PROBES, every_s=60, valve_s=valve_s, state_json=ten_days_state())
            folder = self._folder / name
            folder.mkdir()
            sizes = list(season(DataFolder(folder), plot, DAYS))
            self.found[name] = sizes[-1].written_bytes / 1e6


@cache
def ten_days_state() -> str:
    """The state of 32 beds: the example garden's four after ten days of July, eight times over.

    What packs it looks back 32 kB, a third of one of them, so that it gains nothing by that.
    """
    replay = long_season(10, date(2025, 7, 1))
    lived = EngineReplay(replay.garden, replay.world(), replay.span)
    lived.go(replay.span.to_utc_s)
    return json.dumps([json.loads(lived.engine.dump())] * (BEDS // len(replay.garden.beds)))


def ratios(found: dict[str, Any]) -> dict[str, float]:
    """What is asked, of what was measured, and what else is held against the bare stack."""
    reading_us = found["reading_us"]
    return {
        "rss_over_bare": found["rss_mb"]["daemon"] / found["rss_mb"]["bare"],
        "idle_cpu_pct": found["idle_cpu_pct"]["daemon"],
        "load_cpu_pct": found["load_cpu_pct"]["daemon"],
        "ingest_over_subscriber": reading_us["subscriber"] / reading_us["daemon"],
        "disk_mb_a_day": found["disk_mb_a_day"],
        "start_to_closed_cpu_s": found["start_to_closed_cpu_s"],
        "idle_cpu_over_bare": _over_bare(found["idle_cpu_pct"]),
        "load_cpu_over_bare": _over_bare(found["load_cpu_pct"]),
        "start_cpu_over_bare": found["start_to_closed_cpu_s"] / found["start_cpu_s"]["bare"],
    }


def _over_bare(each: dict[str, float]) -> float:
    return each["daemon"] / each["bare"]


def measured(batches: int = 2) -> dict[str, Any]:
    """One run.

    Args:
        batches: how many minutes of load.

    Returns:
        What `--json` prints.
    """
    folder = Path(tempfile.mkdtemp(prefix="cost-"))
    bench = Bench(folder, batches)
    try:
        found = bench.live()
    finally:
        bench.close()
        shutil.rmtree(folder, ignore_errors=True)
    load = os.getloadavg()[0]
    return {"measured": {**found, "load_average": load}, "ratios": ratios(found), "asked": ASKED}


def table(told: dict[str, Any]) -> str:
    """The same for people."""
    lines = [f"{'what':<26}{'measured':>10}{'asked':>12}"]
    for name, value in told["ratios"].items():
        if name not in ASKED:
            lines.append(f"{name:<26}{value:>10.3f}")
            continue
        sign = "at least" if name in LEAST else "at most"
        held = value >= ASKED[name] if name in LEAST else value <= ASKED[name]
        mark = "" if held else "   missed"
        lines.append(f"{name:<26}{value:>10.3f}{sign:>12} {ASKED[name]:g}{mark}")
    lines.append("")
    for name, value in told["measured"].items():
        each = value.items() if isinstance(value, dict) else [("", value)]
        lines.append(f"{name}: " + ", ".join(f"{key} {one:.4g}".strip() for key, one in each))
    return "\n".join(lines)


def main() -> None:
    """Run the command."""
    asked = argparse.ArgumentParser(description="What the daemon costs, against bare programs.")
    asked.add_argument("--brief", action="store_true", help="one minute of load instead of two")
    asked.add_argument("--json", action="store_true", help="print an object instead of a table")
    told = asked.parse_args()
    found = measured(1 if told.brief else 2)
    sys.stdout.write((json.dumps(found) if told.json else table(found)) + "\n")


if __name__ == "__main__":
    main()
