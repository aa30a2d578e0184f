"""The command's words: help, refusals and exit status, without a broker or a daemon."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from api import look
from api.cli import main
from api.command_group import SECTIONS
from api.look import verified_text
from controller.verify import Verified
from sim.examples import find_garden
from tests.engine_garden import START_UTC_S

COMMANDS = [
    "demo", "run", "bench", "check", "replay", "sweep", "status", "why", "verify", "record",
    "season", "export", "alarm", "walk", "pair", "new", "backup", "restore",
    "doctor", "close-all", "install-service", "broker-config", "card", "fit", "what-if",
]  # fmt: skip
NO, WRONG_USE, UNREACHABLE = 1, 2, 3


def thirstline(*words: str, **environ: str) -> Result:
    return CliRunner().invoke(main, words, env={"THIRSTLINE_CLOCK": "", **environ})


@pytest.fixture(autouse=True)
def signals() -> Iterator[None]:
    """Commands that keep running take the process's signals: give them back."""
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = [signal.getsignal(number) for number in numbers]
    yield
    for number, handler in zip(numbers, before, strict=True):
        signal.signal(number, handler)


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    """A garden file with three faults in it."""
    text = find_garden("hollin-lane").read_text(encoding="utf-8")
    text = text.replace("lean = 0.4", "lean = 1.4").replace("emitters = 72", "emiters = 72", 1)
    path = tmp_path / "broken.toml"
    path.write_text(text.replace("latitude = 47.6", "latitude = nan"), encoding="utf-8")
    return path


def test_help_names_every_command() -> None:
    said = thirstline("--help")
    assert said.exit_code == 0
    assert [name for name in COMMANDS if name not in said.output] == []
    assert sorted(main.commands) == sorted(COMMANDS)


def test_what_keeps_a_garden_carries_neither_simulator_nor_other_commands() -> None:
    """A daemon lives for months on a small board: each module is memory, and time at a start."""
    asked = "import sys, api.cli, api.keeper; print(*sys.modules)"
    said = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    carried = set(said.stdout.split())
    assert carried & {"api.look", "segno", "smtplib"} == set()
    assert {name for name in carried if name.split(".")[0] == "sim"} == {"sim", "sim.examples"}
    others = ("_command", "_commands", "api.demo", "api.reporting")
    assert [name for name in carried if name.endswith(others)] == []


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_has_help_with_an_example(command: str) -> None:
    said = thirstline(command, "--help")
    assert said.exit_code == 0
    assert f"Example:  thirstline {command}" in said.output
    assert said.stderr == ""


@pytest.mark.parametrize("command", ["check", "run", "bench"])
def test_a_faulty_file_is_refused_fault_by_fault_and_nothing_is_armed(
    command: str, broken: Path, tmp_path: Path
) -> None:
    data = ["--data", str(tmp_path / "data")] if command == "run" else []
    said = thirstline(command, str(broken), *data)
    assert (said.exit_code, said.stdout) == (NO, "")
    assert "beds.wall.lean: 1.4" in said.stderr
    assert "emiters" in said.stderr
    assert "emitters" in said.stderr  # the nearest known key
    assert "latitude" in said.stderr
    assert said.stderr.rstrip().endswith("Nothing was armed.")
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize(
    "content",
    [
        pytest.param(b"", id="empty"),
        pytest.param(b"[garden\n", id="no-toml"),
        pytest.param(b"\xff\xfe\x00", id="no-text"),
        pytest.param(None, id="missing"),
    ],
)
def test_what_is_no_garden_file_is_refused_in_words(content: bytes | None, tmp_path: Path) -> None:
    path = tmp_path / "garden.toml"
    if content is not None:
        path.write_bytes(content)
    said = thirstline("check", str(path), "--json")
    assert (said.exit_code, said.stdout) == (NO, "")
    assert "garden.toml" in said.stderr
    assert said.stderr.rstrip().endswith("Nothing was armed.")
    assert "Traceback" not in said.stderr


def test_a_misspelt_example_is_met_with_the_right_name() -> None:
    said = thirstline("check", "holin-lane")
    assert (said.exit_code, said.stdout) == (NO, "")
    assert "did you mean hollin-lane?" in said.stderr


def test_check_explains_in_words_and_as_one_json_document() -> None:
    said = thirstline("check", "hollin-lane")
    assert (said.exit_code, said.stderr) == (0, "")
    assert "Hollin Lane plot" in said.stdout
    told = thirstline("check", "hollin-lane", "--json")
    assert told.exit_code == 0
    assert isinstance(json.loads(told.stdout), dict)


@pytest.mark.parametrize(
    "word",
    [
        pytest.param("south=1.4", id="above-one"),
        pytest.param("south=-0.1", id="below-nought"),
        pytest.param("south=nan", id="nan"),
        pytest.param("south", id="no-number"),
        pytest.param("south=wet", id="no-digits"),
        pytest.param("sauth=0.4", id="no-such-bed"),
    ],
)
def test_a_bad_depletion_is_wrong_use(word: str) -> None:
    said = thirstline("bench", "hollin-lane", "--depletion", word)
    assert (said.exit_code, said.stdout) == (WRONG_USE, "")
    assert f"--depletion '{word}'" in said.stderr


@pytest.mark.parametrize(
    "clock",
    [
        pytest.param("now", id="no-at"),
        pytest.param("2026-07-15T18:00:00Z", id="no-real-time"),
        pytest.param("2026-07-15T18:00:00@1795628997.9", id="no-zone"),
        pytest.param("2026-07-15T18:00:00Z@nan", id="nan"),
        pytest.param("2026-07-15T18:00:00Z@-5", id="before-1970"),
        pytest.param("yesterday@1795628997.9", id="no-instant"),
    ],
)
@pytest.mark.parametrize("command", ["bench", "run"])
def test_a_bad_clock_in_the_environment_is_wrong_use(
    command: str, clock: str, tmp_path: Path
) -> None:
    data = ["--data", str(tmp_path / "data")] if command == "run" else []
    said = thirstline(command, "hollin-lane", "--speed", "60", *data, THIRSTLINE_CLOCK=clock)
    assert (said.exit_code, said.stdout) == (WRONG_USE, "")
    assert "THIRSTLINE_CLOCK" in said.stderr
    assert not list(tmp_path.rglob("thirstline.db"))


@pytest.mark.parametrize(
    "words",
    [
        pytest.param(["run", "hollin-lane", "--speed", "0.5"], id="slower-than-time"),
        pytest.param(["run", "hollin-lane", "--speed", "241"], id="too-fast"),
        pytest.param(["run", "hollin-lane", "--speed", "nan"], id="speed-nan"),
        pytest.param(["demo", "--for", "0s"], id="no-span"),
        pytest.param(["demo", "--for", "nans"], id="span-nan"),
        pytest.param(["demo", "--for", "soon"], id="span-in-words"),
        pytest.param(["demo", "--port", "65536"], id="port"),
        pytest.param(["replay", "hollin-lane"], id="no-season"),
        pytest.param(
            ["replay", "hollin-lane", "--weather", "invented-dry", "--from", "2015-02-30"],
            id="no-such-day",
        ),
        pytest.param(
            ["replay", "hollin-lane", "--weather", "invented-dry", "--policy", "sprinkle"],
            id="no-such-policy",
        ),
        pytest.param(["why"], id="no-bed-named"),
        pytest.param(["drench"], id="no-such-command"),
    ],
)
def test_wrong_words_end_with_status_2(words: list[str]) -> None:
    said = thirstline(*words)
    assert (said.exit_code, said.stdout) == (WRONG_USE, ""), said.output
    assert "Traceback" not in said.stderr


def test_a_fast_clock_on_a_far_broker_is_wrong_use(tmp_path: Path) -> None:
    text = find_garden("hollin-lane").read_text(encoding="utf-8")
    path = tmp_path / "far.toml"
    path.write_text(text.replace("127.0.0.1:1883", "192.0.2.7:1883"), encoding="utf-8")
    said = thirstline("run", str(path), "--speed", "2", "--data", str(tmp_path / "data"))
    assert (said.exit_code, said.stdout) == (WRONG_USE, "")
    assert "loopback" in said.stderr


@pytest.mark.parametrize(
    "season",
    [
        pytest.param("atlantis", id="no-such-name"),
        pytest.param("/nowhere/season.csv", id="no-such-file"),
    ],
)
def test_replay_of_an_unknown_season_is_refused(season: str) -> None:
    said = thirstline("replay", "hollin-lane", "--weather", season, "--json")
    assert (said.exit_code, said.stdout) == (NO, "")
    assert season in said.stderr
    assert "Traceback" not in said.stderr


def test_looking_where_no_daemon_runs_ends_with_status_3_and_makes_no_folder(
    tmp_path: Path,
) -> None:
    place = ["--data", str(tmp_path / "nothing")]
    for words in (["status"], ["status", "--json"], ["why", "south"]):
        said = thirstline(*words, *place)
        assert (said.exit_code, said.stdout) == (UNREACHABLE, "")
        assert "no daemon runs here" in said.stderr
    assert not (tmp_path / "nothing").exists()


def test_an_address_that_nobody_answers_ends_with_status_3(tmp_path: Path) -> None:
    (tmp_path / "daemon.json").write_text('{"url": "http://127.0.0.1:9", "pid": 1}')
    said = thirstline("status", "--data", str(tmp_path))
    assert (said.exit_code, said.stdout) == (UNREACHABLE, "")
    assert "does not answer" in said.stderr


@pytest.mark.parametrize(
    ("zone", "says"),
    [
        ("America/Los_Angeles", "7 events since 2026-07-14 23:00:00 PDT: every"),
        ("Europe/Vienna", "7 events since 2026-07-15 08:00:00 CEST: every"),
    ],
)
def test_verify_speaks_in_the_gardens_own_time(zone: str, says: str) -> None:
    found = Verified(events=7, first_utc_s=START_UTC_S, timezone=zone)
    assert verified_text(found).startswith(says)


def test_verify_says_what_the_disk_lost() -> None:
    found = Verified(events=7, first_utc_s=START_UTC_S, damaged=(8, 12))
    assert verified_text(found).startswith("Events 8 to 12 are damaged on the disk")
    assert verified_text(found).endswith("7 events before them agree.")


def test_verify_without_a_record_says_so(tmp_path: Path) -> None:
    said = thirstline("verify", "--data", str(tmp_path))
    assert (said.exit_code, said.stdout) == (NO, "")
    assert "there is no record here" in said.stderr


def test_looking_without_saying_where_names_the_gardens_there_are(tmp_path: Path) -> None:
    for name in ("plot", "allotment"):
        folder = tmp_path / "thirstline" / name
        folder.mkdir(parents=True)
        (folder / "thirstline.db").touch()
    said = thirstline("status", XDG_STATE_HOME=str(tmp_path), STATE_DIRECTORY="")
    assert (said.exit_code, said.stdout) == (WRONG_USE, "")
    assert "Found allotment, plot" in said.stderr


def test_why_of_an_unknown_bed_names_the_beds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def now(folder: object) -> dict[str, Any]:
        return {"beds": {"south": {}, "wall": {}}}

    monkeypatch.setattr(look, "garden_now", now)
    said = thirstline("why", "sauth", "--data", str(tmp_path))
    assert (said.exit_code, said.stdout) == (WRONG_USE, "")
    assert "the beds are south, wall" in said.stderr
    assert f"next:  thirstline why south --data {tmp_path}" in said.stderr
    said = thirstline("why", "nowhere", "--garden", "plot", "--data", str(tmp_path))
    assert f"next:  thirstline why south --garden plot --data {tmp_path}" in said.stderr


def test_the_list_of_commands_goes_by_when_they_are_needed() -> None:
    listed = [name for names in SECTIONS.values() for name in names]
    assert sorted(listed) == sorted(main.commands), "each once, none left out"
    said = thirstline("--help").output
    heads = [said.index(f"\n{title}:\n") for title in SECTIONS]
    assert heads == sorted(heads)
    assert all(f"\n  {name} " in said for name in listed)
