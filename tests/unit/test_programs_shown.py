"""The programs of the README run as they stand there, against the web over a real engine."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.http import create_app
from api.listening import bound_socket
from api.serve import WebServer
from controller.effects import Reserve
from tests.desk_bench import EngineDesk
from tests.engine_garden import small_garden

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
RIGHT = "the-operators-token"
SHOWN = README.partition("\n### For programs\n")[2].partition("\n### ")[0]
SHELL = re.findall(r"^```sh\n(.*?)^```$", SHOWN, re.MULTILINE | re.DOTALL)
PYTHON = re.findall(r"^```python\n(.*?)^```$", SHOWN, re.MULTILINE | re.DOTALL)


class Place:
    """A web that is served, a home with the token in it, and the engine behind."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.desk = EngineDesk(small_garden(beds=("south", "north"), at_once=2))
        app = create_app(self.desk, token=RIGHT)
        self.web = WebServer(app, bound_socket("127.0.0.1", 0))
        folder = home / ".local/state/thirstline/hollin-lane"
        folder.mkdir(parents=True)
        (folder / "token").write_text(f"{RIGHT}\n", encoding="utf-8")

    def run(self, code: str, *command: str) -> str:
        """What a program prints; nothing in it is changed but the address."""
        told = code.replace("http://127.0.0.1:8470", self.web.url)
        assert told != code, "it names the garden's address"
        done = subprocess.run(
            command,
            input=told,
            text=True,
            capture_output=True,
            cwd=self.home,
            env={**os.environ, "HOME": str(self.home)},
            timeout=60.0,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    made = Place(tmp_path)
    made.web.start()
    yield made
    made.web.stop()


def test_there_are_two_for_the_shell_and_one_in_python() -> None:
    assert (len(SHELL), len(PYTHON)) == (2, 1)


def test_the_garden_is_read_once_and_not_again_while_nothing_changed(place: Place) -> None:
    assert place.run(SHELL[0], "bash", "-eu") == "304\n"
    told = json.loads((place.home / "garden.json").read_text(encoding="utf-8"))
    assert set(told["beds"]) == {"south", "north"}


def test_the_order_waters_once_and_the_refusal_says_what_is_allowed(place: Place) -> None:
    said = place.run(SHELL[1], "bash", "-eu")
    answers, rest = [], said
    while rest:
        one, used = json.JSONDecoder().raw_decode(rest)
        answers.append(one)
        rest = rest[used:].lstrip()
    first, again, refused, stopped = answers
    assert first == again
    assert first["litres"] == 20.0
    assert len(place.desk.bench.of(Reserve)) == 1
    assert refused["status"] == 409
    assert {"reason", "allowed_litres", "next_possible"} <= set(refused)
    assert stopped["what"] == "stop_all"
    assert place.desk.bench.open_beds() == []


def test_the_python_program_tells_the_sky_and_reads_the_whole_record(place: Place) -> None:
    said = place.run(PYTHON[0], sys.executable, "-")
    assert said.startswith("Noted: this counts until")
    assert place.desk.view()["sky"]["foretold"]["spans"][0]["rain_mm"] == 6.0
    rows = place.desk.log(0, 10_000)
    assert len(said.splitlines()) == 1 + len(rows)
    assert "operator: the sky typed" in said
