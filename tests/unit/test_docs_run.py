"""What the documents show can be typed: every command parses, and the examples run.

What needs a garden that drinks (`demo`, `walk`, `bench`, `run`) and what takes minutes (`replay`,
`sweep`, `fit`, `what-if`) is run by tests of its own and by the build, the page of installing by
`bare_root.py`; here it has to parse. Everything else is run as it stands, one after the other,
beside a daemon over an empty record.
"""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from api.cli import main
from api.keeper import Keeper
from controller.clock import Anchor, ScaledClock, real_utc_s
from controller.datafolder import DataFolder
from controller.garden import load_garden
from sim.broker import EmbeddedBroker
from sim.examples import find_garden
from tests.unit.test_commands import LEAVES
from tests.unit.test_docs import BLOCK, ROOT

NOTES = sorted((ROOT / "hardware_notes").glob("*.md"))
NAMES = ["README.md", "DEVELOPERS.md", *(f"hardware_notes/{path.name}" for path in NOTES)]
LEFT_OUT = {"hardware_notes/first_day.md"}  # a transcript, made and held by a test of its own
PATTERN = re.compile(r"\[?[A-Z]{3,}\]?")  # GARDEN, [FILE]: a way of saying it, no example
ELSEWHERE = {"demo", "run", "bench", "walk", "replay", "sweep", "fit", "what-if"}
BARE_ROOT = "hardware_notes/installing.md"  # its blocks are typed by `tests/bare_root.py`
WRITTEN = ("card.txt", "backyard.toml")  # by one example and by another
JULY_UTC_S = datetime(2026, 7, 15, 18, 0, tzinfo=UTC).timestamp()
SAYS_NO = {  # where nobody answers, nothing was set or something is amiss, it rightly says so
    "new backyard.toml": "the questions were not answered to their end",
    "alarm test": "next:  thirstline status",  # no way out is set; the second is too soon
    "doctor": "to be looked at",
    "install-service": "Nothing was written.",  # this broker has no users
}
TYPED = re.compile(r"\s*(?:sudo )?(?:runuser -u \S+ -- )?(?:\S*/)?thirstline (.+)$")
PYTHON = re.compile(r"python (?:-m ([\w.]+)|(tests/[\w/]+\.py))([^`\n]*)")


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def typed_in(text: str) -> Iterator[list[str]]:
    """The words of every `thirstline` command, from blocks for the shell and from the prose."""
    shell = [code for kind, code in BLOCK.findall(text) if kind == "sh"]
    lines = [line for code in shell for line in code.splitlines()]
    lines += re.findall(r"`(thirstline [^`\n]+)`", BLOCK.sub("", text))
    for line in lines:
        for part in re.split(r"&&|\|\|?|;", re.sub(r"\$\([^)]*\)", "FOUND", line)):
            found = TYPED.match(part)
            if found is not None and "thirstline)" not in part and "_COMPLETE" not in part:
                yield shlex.split(found[1], comments=True)


def parsed(words: list[str]) -> None:
    """Let the command line take it, without doing anything."""
    context, rest = main.make_context("thirstline", [*words]), words
    one: click.Command = main
    while isinstance(one, click.Group):
        if not rest:
            return
        assert rest[0] in one.commands, words
        one, rest = one.commands[rest[0]], rest[1:]
    if not rest or any(PATTERN.fullmatch(word) for word in rest):
        return  # named, not typed
    with one.make_context("thirstline", [*rest], parent=context) as ctx:
        assert ctx.args == []


SHOWN = {
    f"{name}: {shlex.join(words)}": words
    for name in NAMES
    if name not in LEFT_OUT
    for words in typed_in(text_of(name))
    if words
}


def test_many_commands_are_shown() -> None:
    assert len(SHOWN) > 50


@pytest.mark.parametrize("shown", SHOWN)
def test_every_command_that_is_shown_can_be_typed(shown: str) -> None:
    parsed(SHOWN[shown])


def programs() -> set[tuple[str, str]]:
    """File and words of every developer's command."""
    found = set()
    for name in NAMES:
        for module, file, words in PYTHON.findall(text_of(name)):
            if not module.startswith(("sim", "tests")) and not file:
                continue
            path = file or module.replace(".", "/")
            if not file:
                path += "/__main__.py" if (ROOT / path).is_dir() else ".py"
            found.add((path, words))
    return found


@pytest.mark.parametrize(("path", "words"), sorted(programs()))
def test_every_program_for_developers_is_there_and_has_its_options(path: str, words: str) -> None:
    source = (ROOT / path).read_text(encoding="utf-8")
    helpers = re.findall(r"^from (sim[\w.]*) import", source, re.MULTILINE)
    for helper in helpers:
        beside = ROOT / (helper.replace(".", "/") + ".py")
        source += beside.read_text(encoding="utf-8") if beside.exists() else ""
    lost = [flag for flag in re.findall(r"--[a-z-]+", words) if f'"{flag}"' not in source]
    assert lost == []


def test_every_variable_of_the_environment_is_told() -> None:
    code = "".join(
        path.read_text(encoding="utf-8")
        for package in ("controller", "api", "sim")
        for path in (ROOT / package).rglob("*.py")
    )
    told = "".join(text_of(name) for name in NAMES)
    named = set(re.findall(r"THIRSTLINE_[A-Z_]+", code))
    assert "THIRSTLINE_CLOCK" in named
    assert {one for one in named if one not in told} == set()


# -- run


class Place:
    """A home with a garden file, its daemon and a broker; it is July, and nothing waters yet."""

    def __init__(self, home: Path, broker: str) -> None:
        self.home = home
        self.data = home / "state/thirstline/hollin-lane"
        text = find_garden("hollin-lane").read_text(encoding="utf-8")
        text = text.replace("mqtt://127.0.0.1:1883", broker)
        text = text.replace('meter = "main"', 'meter = "main"\ntank_l = 1000', 1)
        (home / "etc/thirstline").mkdir(parents=True)
        for name in ("my-garden.toml", "garden.toml", "etc/thirstline/garden.toml"):
            (home / name).write_text(text, encoding="utf-8")
        clock = ScaledClock(1.0, Anchor(sim_utc_s=JULY_UTC_S, real_utc_s=real_utc_s()))
        garden = load_garden(home / "my-garden.toml")
        self.keeper = Keeper(garden, DataFolder(self.data), clock, armed=False, port=0)
        self.keeper.start()

    def typed(self, words: list[str]) -> Result:
        """What a command as it is shown comes to; places that are not ours lie in the home."""
        told = [word.replace("/var/lib/thirstline", str(self.data)) for word in words]
        told = [re.sub(r"^/(?=media/|etc/)", f"{self.home}/", word) for word in told]
        for name in WRITTEN:
            (self.home / name).unlink(missing_ok=True)
        if told[0] == "restore":
            self._make_way(Path(told[1]))
        return CliRunner().invoke(main, told, input="")

    def _make_way(self, backup: Path) -> None:
        """The day on which a backup is needed: the daemon is gone, and so is its record."""
        self.keeper.stop()
        shutil.rmtree(self.data)
        made = min(path for path in backup.parent.iterdir() if path.is_dir())
        if made != backup:
            shutil.copytree(made, backup)


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Place]:
    pytest.importorskip("iotcore", reason="the extra `demo` is not installed")
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("XDG_STATE_HOME", str(home / "state"))
    for name in ("STATE_DIRECTORY", "THIRSTLINE_CLOCK"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(home)
    with EmbeddedBroker() as broker:
        made = Place(home, broker.url)
        yield made
        made.keeper.stop()


def examples() -> list[list[str]]:
    """What is typed in blocks, in the prose and in each command's own help; restores come last."""
    shown = [words for name, words in SHOWN.items() if not name.startswith(BARE_ROOT)]
    for words in LEAVES:
        said = re.sub(r"\s+", " ", CliRunner().invoke(main, [*words, "--help"]).output)
        shown += [shlex.split(one)[1:] for one in re.findall(r"Example: (.+?) Options:", said)]
    once = {
        tuple(words)
        for words in shown
        if words[0] not in ELSEWHERE
        and tuple(words) not in {*LEAVES, *((leaf[0],) for leaf in LEAVES)} | {("new",)}
        and not any(PATTERN.fullmatch(word) for word in words)
    }
    return sorted((list(words) for words in once), key=lambda one: (one[0] == "restore", one))


def test_every_example_runs(place: Place) -> None:
    done, wrong = 0, []
    for words in examples():
        said, done = place.typed(words), done + 1
        allowed = next(
            (no for start, no in SAYS_NO.items() if shlex.join(words).startswith(start)), ""
        )
        if said.exit_code != 0 and not (allowed and allowed in said.output):
            wrong.append(f"{shlex.join(words)}: {said.exit_code}, {said.output[-400:]}")
    assert not wrong, "\n".join(wrong)
    assert done > 25
