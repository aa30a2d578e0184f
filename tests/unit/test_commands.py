"""All commands alike: examples that parse, 80 columns, `--json`, no colours, what to type next."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

from api import look, new_command
from api.cli import main
from api.desk import FakeDesk
from api.next_step import COLUMNS, command, fitted, next_step
from sim.examples import find_garden

LONG = "Thirstline " * 40


def leaves(group: click.Group = main, words: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """The words of every command that does something."""
    for name, one in group.commands.items():
        if isinstance(one, click.Group):
            yield from leaves(one, (*words, name))
        else:
            yield (*words, name)


LEAVES = list(leaves())


def thirstline(*words: str, **environ: str) -> Result:
    return CliRunner().invoke(main, words, env={"THIRSTLINE_CLOCK": "", **environ})


def found(words: tuple[str, ...]) -> click.Command:
    one: click.Command = main
    for word in words:
        assert isinstance(one, click.Group)
        one = one.commands[word]
    return one


def wide(text: str) -> list[str]:
    return [line for line in text.splitlines() if len(line) > COLUMNS]


def test_there_are_many() -> None:
    assert len(LEAVES) > 20
    assert ("record", "soil") in LEAVES


@pytest.mark.parametrize("words", LEAVES, ids=" ".join)
def test_every_command_has_json(words: tuple[str, ...]) -> None:
    assert "--json" in {opt for param in found(words).params for opt in param.opts}


@pytest.mark.parametrize("words", [*LEAVES, ("record",), ("alarm",), ()], ids=" ".join)
def test_help_fits_80_columns(words: tuple[str, ...]) -> None:
    said = thirstline(*words, "--help")
    assert (said.exit_code, wide(said.output)) == (0, [])


@pytest.mark.parametrize("words", LEAVES, ids=" ".join)
def test_the_example_of_each_command_parses(words: tuple[str, ...]) -> None:
    said = re.sub(r"\s+", " ", thirstline(*words, "--help").output)
    example = re.search(r"Example: (thirstline .+?) Options:", said)
    assert example is not None
    typed = shlex.split(example[1])[1:]
    assert tuple(typed[: len(words)]) == words
    with found(words).make_context("thirstline", typed[len(words) :]) as ctx:
        assert ctx.args == []


# -- what they print


@pytest.fixture
def daemon(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    """One that answers: an invented garden, and long sentences to what it is told."""
    view = {**FakeDesk().view(), "walk": {"beds": {"south": {"armed": False}}}}

    def asked(*_: object, **__: object) -> dict[str, Any]:
        ways = [{"way": "mail", "outcome": "delivered", "text": LONG}]
        return {"text": LONG, "pairs": [], "ways": ways, "link": "http://x/open?code=y"}

    monkeypatch.setattr(look, "garden_now", lambda folder: view)
    monkeypatch.setattr(look, "sent", asked)
    monkeypatch.setattr(look, "told", asked)
    monkeypatch.setattr(look, "asked", lambda *_: {"pairs": []})
    return ["--data", str(tmp_path)]


TOLD = [
    ["status"],
    ["why", "south"],
    ["pair"],
    ["pair", "--list"],
    ["alarm", "test"],
    ["record", "soil", "south", "dry"],
    ["record", "look", "south", "upright"],
    ["record", "pick", "south", "--on", "2026-08-01"],
    ["record", "tank", "full"],
    ["record", "note", "south", "straw laid"],
]


@pytest.mark.parametrize("words", TOLD, ids=" ".join)
def test_what_a_daemon_says_fits_80_columns_without_colours(
    words: list[str], daemon: list[str]
) -> None:
    said = thirstline(*words, *daemon, TERM="xterm-256color", FORCE_COLOR="1")
    assert (said.exit_code, said.stderr) == (0, ""), said.output
    lines = [line for line in wide(said.stdout) if not line.startswith("next:")]
    assert lines == []
    assert "\x1b" not in said.stdout
    assert said.stdout.splitlines()[-1].startswith("next:  thirstline ")


@pytest.mark.parametrize("words", TOLD, ids=" ".join)
def test_what_a_daemon_says_as_json_is_one_document(words: list[str], daemon: list[str]) -> None:
    said = thirstline(*words, *daemon, "--json")
    assert (said.exit_code, said.stderr) == (0, "")
    assert isinstance(json.loads(said.stdout), dict)


@pytest.mark.parametrize("words", [["check", "hollin-lane"], ["new", "--questions"]], ids=" ".join)
def test_what_needs_no_daemon_fits_80_columns_too(words: list[str]) -> None:
    said = thirstline(*words)
    assert (said.exit_code, wide(said.stdout)) == (0, [])
    assert said.stdout.splitlines()[-1].startswith("next:  thirstline ")


def test_the_next_step_can_be_typed(daemon: list[str]) -> None:
    for words in TOLD:
        then = thirstline(*words, *daemon).stdout.splitlines()[-1]
        typed = shlex.split(then.removeprefix("next:"))
        assert typed[0] == "thirstline"
        assert typed[1] in main.commands
    assert next_step("check", "my plot.toml") == "next:  thirstline check 'my plot.toml'"
    assert command("why", "south") == "thirstline why south"


def test_a_garden_that_is_not_armed_is_to_be_walked(daemon: list[str]) -> None:
    said = thirstline("pair", "hollin-lane", *daemon)
    assert said.stdout.splitlines()[-1] == next_step("walk", "hollin-lane", *daemon)


def test_a_long_line_is_broken_and_a_link_is_not() -> None:
    link = "http://thirstline.local:8470/open?code=" + "x" * 60
    assert wide(fitted(LONG)) == []
    assert fitted(f"Open {link}").splitlines()[-1] == link
    assert fitted("- " + LONG).splitlines()[1].startswith("  Thirstline")
    assert fitted("a\n\nb") == "a\n\nb"
    night = "in the night to Sat, Sun or Mon or Tue"
    row = f"{'South':<12}{'33 %':>6}  {'closed':<14}{'drying':<10}{night}"
    assert fitted(row).splitlines()[1].index("Tue") == row.index("in the night")


# -- errors


@pytest.mark.parametrize(
    ("words", "then"),
    [
        (["status", "--data", "nowhere"], "next:  thirstline run GARDEN --data nowhere"),
        (
            ["walk", "hollin-lane", "--data", "nowhere"],
            "next:  thirstline run hollin-lane --data nowhere",
        ),
        (
            ["why", "south", "--garden=hollin-lane", "--data=nowhere"],
            "next:  thirstline run hollin-lane --data nowhere",
        ),
        (
            ["record", "note", "south", "x", "--garden", "hollin-lane", "--data", "nowhere"],
            "next:  thirstline run hollin-lane --data nowhere",
        ),
        (["check", "nowhere.toml"], "next:  thirstline new nowhere.toml"),
        (["run", "nowhere.toml"], "next:  thirstline new nowhere.toml"),
        (["status"], "next:  thirstline run GARDEN"),
        (["verify", "--data", "nowhere"], "next:  thirstline verify --help"),
        (["new", "--yes", "--answer", "plants"], "next:  thirstline new --help"),
        (["replay", "hollin-lane", "--weather", "x"], "next:  thirstline replay --help"),
        (["drench"], "Try 'thirstline --help' for help."),
        (["record", "soil", "south", "mud"], "Try 'thirstline record soil --help' for help."),
    ],
)
def test_each_error_says_what_to_type_next(
    words: list[str], then: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    said = CliRunner().invoke(main, words, prog_name="thirstline")
    assert said.exit_code != 0
    assert then in said.stderr.splitlines()


def test_a_refusal_of_the_daemon_says_where_to_look(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise look.RefusedError(LONG)

    monkeypatch.setattr(look, "told", refused)
    monkeypatch.setattr(look, "in_us_units", lambda folder: False)
    said = thirstline("record", "soil", "south", "dry", "--data", str(tmp_path))
    last = said.stderr.splitlines()[-1]
    assert (said.exit_code, last) == (1, f"next:  thirstline status --data {tmp_path}")


# -- completion


def test_a_shell_can_complete() -> None:
    words = {
        "_THIRSTLINE_COMPLETE": "bash_complete",
        "COMP_WORDS": "thirstline wa",
        "COMP_CWORD": "1",
    }
    said = CliRunner().invoke(main, [], prog_name="thirstline", env=words)
    assert said.stdout.strip() == "plain,walk"
    words |= {"COMP_WORDS": "thirstline record so", "COMP_CWORD": "2"}
    said = CliRunner().invoke(main, [], prog_name="thirstline", env=words)
    assert said.stdout.strip() == "plain,soil"


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_a_shell_gets_its_script(shell: str) -> None:
    words = {"_THIRSTLINE_COMPLETE": f"{shell}_source"}
    said = CliRunner().invoke(main, [], prog_name="thirstline", env=words)
    assert "_THIRSTLINE_COMPLETE" in said.stdout
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    assert f"_THIRSTLINE_COMPLETE={shell}_source" in readme


def test_no_command_colours_anything() -> None:
    """So that NO_COLOR holds by itself, and nothing is told by colour alone."""
    api = Path(new_command.__file__).parent
    for path in api.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert re.search(r"click\.(?:style|secho)|\\x1b|\\033", text) is None, path


def test_progress_is_for_people_alone(tmp_path: Path) -> None:
    """Under test standard error is no terminal: nothing but the result may stand there."""
    days = ["--from", "2025-07-01", "--to", "2025-07-03"]
    garden = str(find_garden("hollin-lane"))
    words = ["replay", garden, "--weather", "invented-dry", *days, "--policy", "daily-clock"]
    said = thirstline(*words, "--sure")
    assert (said.exit_code, said.stderr) == (0, ""), said.stderr
    assert "\r" not in said.stdout
