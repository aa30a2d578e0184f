"""The command `sweep`: one table from one line, stopped and gone on with, on all cores."""

from __future__ import annotations

import dataclasses
import json
import os
import signal
import subprocess
import sys
import time
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from api.cli import main
from controller.garden_file import read_document
from sim.examples import find_garden
from sim.replay import POLICIES
from sim.sweep import Sweep, run_all, runner, weather_of
from sim.sweep_rows import Row, Task, run_task
from sim.sweep_vary import settings_of

NO, WRONG_USE = 1, 2
TWO_DAYS = ("--from", "2025-07-01", "--to", "2025-07-02")
SHORT = ("sweep", "hollin-lane", "--weather", "invented-dry", *TWO_DAYS)
CLOCK = ("--policy", "daily-clock")
MOST_OF_ONE_CORE = 0.6
ONE_CORE_S = 12.0  # about: what the days of the run are chosen for
LEAST_DAYS, LONGEST_DAYS = 3, 120


def thirstline(*words: str) -> Result:
    return CliRunner().invoke(main, words)


def test_seasons_seeds_and_settings_come_to_one_document(tmp_path: Path) -> None:
    out = tmp_path / "rows.csv"
    said = thirstline(
        "sweep", "hollin-lane", "--weather", "invented-dry", "invented-wet", *TWO_DAYS,
        "--vary", "lean=0.2,0.8", "--seeds", "2", *CLOCK,
        "--jobs", "1", "--out", str(out), "--json",
    )  # fmt: skip
    assert (said.exit_code, said.stderr) == (0, "")
    shown: dict[str, Any] = json.loads(said.stdout)
    assert (shown["runs"], shown["finished"], shown["kept"]) == (8, 8, 0)
    assert [(row["season"], row["setting"], row["seed"]) for row in shown["rows"]][:3] == [
        ("invented-dry", "lean=0.2", 1),
        ("invented-dry", "lean=0.2", 2),
        ("invented-dry", "lean=0.8", 1),
    ]
    low, high = shown["summary"]
    litres = sorted(row["litres"] for row in shown["rows"] if row["setting"] == "lean=0.2")
    assert low["runs"] == 4
    assert low["litres"]["lowest"] == litres[0]
    assert low["litres"]["highest"] == litres[-1]
    assert low["litres"]["median"] == pytest.approx(0.5 * (litres[1] + litres[2]))
    # a clock does not look at the line, so in the same worlds nothing differs
    assert high["litres"] == low["litres"]
    (less,) = shown["differences"]
    assert less["litres"] == {"median": 0.0, "lowest": 0.0, "highest": 0.0}
    assert len(out.read_text(encoding="utf-8").splitlines()) == 2 + 8


def test_what_stands_in_the_file_is_not_run_again(tmp_path: Path) -> None:
    out = tmp_path / "rows.csv"
    words = (*SHORT, *CLOCK, "--jobs", "1", "--out", str(out))
    assert thirstline(*words, "--seeds", "1").exit_code == 0
    first = out.read_text(encoding="utf-8")
    said = thirstline(*words, "--seeds", "2")
    assert said.exit_code == 0
    assert said.stderr == f"1 of 2 runs stood in {out}.\n"
    after = out.read_text(encoding="utf-8")
    assert after.startswith(first)
    assert len(after.splitlines()) == len(first.splitlines()) + 1
    assert "daily-clock (2 runs)" in said.stdout
    torn = thirstline(*words, "--seeds", "2", "--json")
    assert json.loads(torn.stdout)["kept"] == 2


def test_a_torn_line_is_said_and_run_again(tmp_path: Path) -> None:
    out = tmp_path / "rows.csv"
    words = (*SHORT, *CLOCK, "--jobs", "1", "--seed", "3", "--out", str(out))
    assert thirstline(*words).exit_code == 0
    whole = out.read_bytes()
    out.write_bytes(whole[:-7])
    said = thirstline(*words)
    assert said.exit_code == 0
    assert "its last line was cut off" in said.stderr
    again = out.read_text(encoding="utf-8").splitlines()
    assert len(again) == 3
    assert again[2].split(",")[4] == "3"


def test_the_file_of_another_garden_is_refused(tmp_path: Path) -> None:
    out = tmp_path / "rows.csv"
    other = tmp_path / "other.toml"
    text = find_garden("hollin-lane").read_text(encoding="utf-8")
    other.write_text(text.replace("emitter_l_h = 1.6", "emitter_l_h = 1.5"), encoding="utf-8")
    words = (*TWO_DAYS, *CLOCK, "--jobs", "1", "--seeds", "1", "--out", str(out))
    weather = ("--weather", "invented-dry")
    assert thirstline("sweep", "hollin-lane", *weather, *words).exit_code == 0
    said = thirstline("sweep", str(other), *weather, *words)
    assert (said.exit_code, said.stdout) == (NO, "")
    assert "garden digest" in said.stderr


def test_the_table_for_a_document(tmp_path: Path) -> None:
    said = thirstline(*SHORT, *CLOCK, "--jobs", "1", "--seed", "3,5", "--markdown", "--seasons")
    assert said.exit_code == 0
    rows = [line for line in said.stdout.splitlines() if line.startswith("|")]
    assert rows[0].startswith("| policy | season | runs | litres | waterings |")
    assert rows[2].startswith("| `daily-clock` | invented-dry | 2 | ")


def test_without_a_policy_all_of_them_run() -> None:
    said = thirstline(*SHORT, "--jobs", "1", "--sure", "--json")
    shown = json.loads(said.stdout)
    assert [one["policy"] for one in shown["summary"]] == list(POLICIES)
    assert {row["seed"] for row in shown["rows"]} == {1}  # a sure world knows no other
    assert shown["swept"]["world"] == "sure"


def test_policies_can_be_varied_too() -> None:
    said = thirstline(
        *SHORT, "--vary", "policy=daily-clock", "--jobs", "1", "--seed", "2", "--json"
    )
    assert [row["policy"] for row in json.loads(said.stdout)["rows"]] == ["daily-clock"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        pytest.param(("--vary", "policy=rain-dance"), "'rain-dance' is not one of", id="policy"),
        pytest.param(("--vary", "policy=daily-clock", *CLOCK), "stand there twice", id="policies"),
        pytest.param(("--vary", "leen=0.2"), "the nearest is lean", id="key"),
        pytest.param(("--vary", "lean=2"), "2 is outside 0 to 1", id="value"),
        pytest.param(("--seeds", "2", "--seed", "3"), "only one of the two", id="seeds"),
        pytest.param(("--seed", "3,x"), "'3,x': is not of the form", id="seed"),
    ],
)
def test_wrong_words_are_refused_before_anything_runs(words: tuple[str, ...], said: str) -> None:
    done = thirstline(*SHORT, *words)
    assert (done.exit_code, done.stdout) == (WRONG_USE, "")
    assert said in done.stderr


def test_a_season_that_is_none_is_refused() -> None:
    done = thirstline("sweep", "hollin-lane", "--weather", "nowhere-1999")
    assert (done.exit_code, done.stdout) == (NO, "")
    assert "nowhere-1999" in done.stderr


@pytest.mark.parametrize("command", ["replay", "sweep"])
def test_the_gardens_own_weather_is_looked_for_in_its_data_folder(
    command: str, tmp_path: Path
) -> None:
    done = thirstline(command, "hollin-lane", "--weather", "own", "--data", str(tmp_path))
    assert (done.exit_code, done.stdout) == (NO, "")
    assert str(tmp_path) in done.stderr


@pytest.mark.slow
def test_ctrl_c_keeps_the_finished_rows_and_the_same_command_goes_on(tmp_path: Path) -> None:
    pytest.importorskip("joblib", reason="the extra `sweep` is not installed")
    out = tmp_path / "rows.csv"
    words = [
        sys.executable, "-m", "api.cli", *SHORT, *CLOCK, "--seeds", "200",
        "--jobs", "2", "--out", str(out),
    ]  # fmt: skip
    process = subprocess.Popen(
        words,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # a shell's background job hands down that Ctrl-C is to be ignored
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    try:
        finished = _wait_for_rows(out, 3)
        os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the workers too
        told, complained = process.communicate(timeout=20.0)
    finally:
        process.kill()
        process.communicate()
    assert process.returncode == 0
    rows = out.read_text(encoding="utf-8").splitlines()[2:]
    assert finished <= len(rows) < 200
    assert complained == f"Stopped after {len(rows)} of 200 runs; their rows are in {out}.\n"
    assert f"daily-clock ({len(rows)} runs)" in told or len(rows) == 1
    seeds = ",".join(row.split(",")[4] for row in rows)
    again = thirstline(*SHORT, *CLOCK, "--seed", seeds, "--jobs", "1", "--out", str(out), "--json")
    assert json.loads(again.stdout)["kept"] == len(rows)


def _wait_for_rows(out: Path, least: int) -> int:
    until_s = time.monotonic() + 60.0
    while time.monotonic() < until_s:
        found = out.read_text(encoding="utf-8").count("\n") - 2 if out.is_file() else 0
        if found >= least:
            return found
        time.sleep(0.05)
    pytest.fail("no rows in a minute")


@pytest.mark.slow
def test_two_cores_take_at_most_six_tenths_of_the_time_of_one() -> None:
    pytest.importorskip("joblib", reason="the extra `sweep` is not installed")
    cores = len(os.sched_getaffinity(0))
    if cores < 2:
        pytest.skip(f"this machine gives {cores} core: nothing to share out")
    first = date(2025, 6, 1)
    planned = Sweep(
        settings=tuple(settings_of(read_document(find_garden("hollin-lane")).data, [])),
        seasons=("invented-dry", "invented-wet"),
        seeds=tuple(range(1, 9)),
        policies=("thirstline",),
        first=first,
        last=first + timedelta(days=LEAST_DAYS - 1),
    )
    short = planned.tasks(weather_of)
    timed_sweep(
        short[::4], 2
    )  # starts both processes, which costs each of them about a second once
    timed_sweep(short[:1], 1)
    day_s = run_task(short[1]).wall_s / LEAST_DAYS
    days = min(LONGEST_DAYS, max(LEAST_DAYS, round(ONE_CORE_S / len(short) / day_s)))
    tasks = dataclasses.replace(planned, last=first + timedelta(days=days - 1)).tasks(weather_of)
    one_s, one = timed_sweep(tasks, 1)
    two_s, two = timed_sweep(tasks, 2)
    assert len(one) == 16
    assert one == two
    assert two_s <= MOST_OF_ONE_CORE * one_s, f"{days} days: {one_s:.1f} s and {two_s:.1f} s"


def timed_sweep(tasks: list[Task], jobs: int) -> tuple[float, list[tuple[Any, ...]]]:
    """Real seconds and all rows but their times."""
    rows: list[Row] = []
    began_s = time.perf_counter()
    assert run_all(tasks, runner(jobs, None), {}, rows.append)
    return time.perf_counter() - began_s, sorted(row.without_time() for row in rows)
