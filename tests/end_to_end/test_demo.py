"""The demo as a stranger meets it: one command in an empty folder, water runs, nothing is left."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.end_to_end.live_garden import COMMAND, environment, until

pytest.importorskip("iotcore", reason="the extra `demo` is not installed")

START_S = 60.0  # [s] real: ten days are lived before it begins
END_S = 30.0
STAT_GROUP = 2  # place of the process group in /proc/PID/stat, behind the name


class RunningDemo:
    """One demo in a process group, an empty folder and a folder for temporary files of its own."""

    def __init__(self, folder: Path, *words: str) -> None:
        self.cwd, self.scratch = folder / "empty", folder / "scratch"
        self.cwd.mkdir()
        self.scratch.mkdir()
        self._out, self._err = folder / "out", folder / "err"
        with self._out.open("wb") as out, self._err.open("wb") as err:
            self.process = subprocess.Popen(
                [*COMMAND, "demo", *words],
                cwd=self.cwd,
                env=environment(TMPDIR=str(self.scratch), HOME=str(self.cwd), PYTHONUNBUFFERED="1"),
                stdout=out,
                stderr=err,
                start_new_session=True,
            )

    @property
    def said(self) -> str:
        return self._out.read_text(encoding="utf-8")

    @property
    def complained(self) -> str:
        return self._err.read_text(encoding="utf-8")

    def wait_said(self, text: str) -> None:
        until(lambda: text in self.said or self.process.poll() is not None, START_S, text)
        assert text in self.said, self.complained

    def end(self, how: signal.Signals) -> int:
        """As Ctrl-C does: the whole group gets it."""
        os.killpg(self.process.pid, how)
        return self.process.wait(END_S)

    def survivors(self) -> list[str]:
        return [name for group, name in running_groups() if group == self.process.pid]

    def left_behind(self) -> list[Path]:
        return [*self.cwd.rglob("*"), *self.scratch.rglob("*")]

    def close(self) -> None:
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(END_S)


def running_groups() -> Iterator[tuple[int, str]]:
    """The process group and the name of each process that is not a zombie."""
    for folder in Path("/proc").iterdir():
        if not folder.name.isdecimal():
            continue
        try:
            name, _, rest = (folder / "stat").read_text(encoding="ascii").rpartition(")")
        except (OSError, UnicodeError):
            continue
        fields = rest.split()
        if fields[0] != "Z":
            yield int(fields[STAT_GROUP]), name


def valves_in(said: str) -> list[str]:
    """The column `valve` of the summary that ends what was said."""
    lines = said.splitlines()
    head = max(n for n, line in enumerate(lines) if line.startswith("bed "))
    first, last = lines[head].index("valve"), lines[head].index("state")
    return [line[first:last].strip() for line in lines[head + 1 : head + 5]]


def assert_nothing_left(demo: RunningDemo) -> None:
    until(lambda: demo.survivors() == [], 5.0, f"the end of {demo.survivors()}")
    assert demo.left_behind() == []


def shown_after(folder: Path, span: str) -> dict[str, Any]:
    demo = RunningDemo(folder, "--for", span, "--json")
    try:
        assert demo.process.wait(START_S + 60.0) == 0, demo.complained
        assert demo.complained == ""
        shown: dict[str, Any] = json.loads(demo.said)  # one document and nothing else
        assert_nothing_left(demo)
    finally:
        demo.close()
    return shown


def assert_a_bed_drank(shown: dict[str, Any], readings: int) -> None:
    assert shown["broker"].startswith("mqtt://127.0.0.1:")
    assert shown["waterings"] >= 1
    assert shown["litres"] > 0.0
    assert shown["readings"] >= readings
    assert set(shown["beds"]) == {"south", "wall", "low", "hedge"}
    assert {bed["valve"] for bed in shown["beds"].values()} == {"closed"}
    assert shown["alerts"] == []
    for bed in shown["beds"].values():
        assert 0.0 <= bed["depletion_frac"] <= 1.0
        assert 0.0 < bed["thirst_line_frac"] < bed["floor_frac"] < 1.0
        assert {"code", "text", "numbers"} <= set(bed["reason"])
        assert {"state", "next_watering", "quality"} <= set(bed)


def test_twenty_seconds_of_demo_water_a_bed_and_print_one_json_document(tmp_path: Path) -> None:
    assert_a_bed_drank(shown_after(tmp_path, "20s"), readings=20)


@pytest.mark.slow
def test_forty_seconds_of_demo_run_more_than_one_pulse(tmp_path: Path) -> None:
    shown = shown_after(tmp_path, "40s")
    assert_a_bed_drank(shown, readings=60)
    # 80 L are one pulse; two hours and forty minutes of garden time hold more than one
    assert shown["litres"] > 100.0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("moment", "how"),
    [
        pytest.param("Ten days of", signal.SIGINT, id="ctrl-c-while-ten-days-pass"),
        pytest.param("Ctrl-C ends it", signal.SIGINT, id="ctrl-c-in-the-quiet-start"),
        pytest.param("valve opens", signal.SIGINT, id="ctrl-c-while-water-runs"),
        pytest.param("valve opens", signal.SIGTERM, id="sigterm-while-water-runs"),
    ],
)
def test_a_signal_ends_the_demo_with_every_valve_closed(
    tmp_path: Path, moment: str, how: signal.Signals
) -> None:
    demo = RunningDemo(tmp_path)
    try:
        demo.wait_said(moment)
        time.sleep(0.2)
        assert demo.end(how) == 0, demo.complained
        assert demo.complained == ""
        valves = valves_in(demo.said)
        if moment == "valve opens":
            assert valves == ["closed"] * 4, demo.said
        assert not {"open", "opening"} & set(valves), demo.said
        assert_nothing_left(demo)
    finally:
        demo.close()
