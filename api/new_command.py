"""`thirstline new`: a garden file by questions, for people and for scripts."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from api import look
from api.first_day.answers import Answers
from api.first_day.asked import Question
from api.first_day.asking import Interview, given_from
from api.first_day.hearing import Heard, hear
from api.first_day.listening import here, messages
from api.first_day.questions import BED, GARDEN
from api.first_day.writing import garden_text
from api.next_step import command
from api.options import json_flag, print_json, say, say_next
from controller.errors import LinkError, UsageError, WrongUseError
from controller.explain import explain, render
from controller.garden import load_garden

INDENT = "  "
Say = Callable[[str], None]


@click.command()
@click.argument("file", default="garden.toml", type=click.Path(path_type=Path))
@click.option(
    "-a",
    "--answer",
    "answered",
    multiple=True,
    metavar="KEY=VALUE",
    help="Answers a question: plants=24 for every bed, south.plants=24 for one.",
)
@click.option("--answers", type=click.Path(path_type=Path), help="A TOML file with answers.")
@click.option("--yes", is_flag=True, help="Ask nobody: defaults stand, and nothing is listened to.")
@click.option("--replace", is_flag=True, help="Write over a file that is there.")
@click.option("--questions", is_flag=True, help="List the questions with keys and defaults.")
@json_flag
def new(
    file: Path,
    answered: tuple[str, ...],
    answers: Path | None,
    yes: bool,
    replace: bool,
    questions: bool,
    as_json: bool,
) -> None:
    """Write a garden file by questions, then check it.

    Each question says what its answer changes; an empty line takes the default in brackets, which
    waters safely. What speaks on the broker is named, so that it need not be typed.

    Example:  thirstline new backyard.toml
    """
    if questions:
        _list(as_json)
        return
    if as_json and not yes:
        msg = "--json asks nobody: it needs --yes."
        raise click.UsageError(msg)
    if file.exists() and not replace:
        msg = f"{file}: is there already, and stays as it is. Name another, or say --replace."
        raise UsageError(msg)
    tell: Say = (lambda _: None) if as_json else lambda text: say(INDENT + text)
    given = {**({"listen": "0"} if yes else {}), **_given(answers, answered)}
    interview = Interview(
        here=here(os.environ),
        given=given,
        ask=None if yes else _ask,
        say=tell,
        listen=lambda url, seconds: _listen(url, seconds, tell),
    )
    try:
        told = interview.run()
    except click.Abort:
        msg = f"Stopped: the questions were not answered to their end. {file} was not written."
        raise UsageError(msg) from None
    _write(file, garden_text(told), replace=replace)
    _report(file, told, as_json=as_json)


def _given(answers: Path | None, answered: tuple[str, ...]) -> dict[str, str]:
    found: dict[str, str] = {}
    if answers is not None:
        try:
            found |= given_from(tomllib.loads(answers.read_text(encoding="utf-8")))
        except (OSError, ValueError) as exc:
            msg = f"--answers {answers}: cannot be read as TOML: {exc}"
            raise WrongUseError(msg) from exc
    for word in answered:
        key, equals, text = word.partition("=")
        if not equals:
            msg = f"--answer {word[:60]!r}: is not of the form KEY=VALUE, such as plants=24"
            raise WrongUseError(msg)
        found[key.strip()] = text
    return found


def _ask(question: Question, whose: str, default: str) -> str:
    click.echo()
    head = f"{whose}: {question.words}" if whose and whose not in question.words else question.words
    say(head)
    say(INDENT + question.effect)
    typed: str = click.prompt(f"{INDENT}[{default}]", default=default, show_default=False)
    return typed


def _listen(url: str, seconds: float, tell: Say) -> Heard:
    tell(f"Listening for {seconds:g} s …")
    try:
        heard = hear(messages(url, seconds))
    except LinkError as exc:
        tell(f"{exc}. Nothing was heard; the file can name what comes later.")
        return Heard()
    for line in _heard_lines(heard):
        tell(line)
    return heard


def _heard_lines(heard: Heard) -> list[str]:
    lines = [f"probe  {name:<22} {_tells(one.kind)}" for name, one in heard.probes.items()]
    lines += [f"valve  {name}" for name in heard.valves]
    lines += [f"meter  {name}" for name in heard.meters]
    lines += [f"mast   {name}" for name in heard.masts]
    return ["Heard:", *lines] if lines else ["Nothing spoke."]


def _tells(kind: str) -> str:
    return f"tells {kind}" if kind else "per cent or kPa: it has to be told which"


def _write(file: Path, text: str, *, replace: bool) -> None:
    try:
        with file.open("w" if replace else "x", encoding="utf-8") as out:
            out.write(text)
    except FileExistsError:
        msg = f"{file}: has come to be meanwhile, and stays as it is. Name another."
        raise UsageError(msg) from None
    except OSError as exc:
        msg = f"{file}: cannot be written: {exc.strerror or exc}"
        raise UsageError(msg) from exc


def _report(file: Path, told: Answers, *, as_json: bool) -> None:
    explained = explain(load_garden(file))
    assumed = {bed.name: sorted(bed.assumed) for bed in told.beds}
    if as_json:
        print_json(
            {
                "file": str(file),
                "answers": look.plain(told_plain(told)),
                "assumed": {"garden": sorted(told.assumed), "beds": assumed},
                "check": look.plain(explained),
                "next": command("check", file),
            }
        )
        return
    click.echo()
    click.echo(render(explained))
    say(f"{file} is written. Every line of it can be changed.")
    everything = sorted(told.assumed.union(*(bed.assumed for bed in told.beds)) - {"listen"})
    if everything:
        say(f"Assumed, since nobody told it: {', '.join(everything)}.")
    say_next("check", file)


def told_plain(told: Answers) -> dict[str, Any]:
    """The answers as JSON takes them, without what was assumed."""
    plain = look.plain(told)
    if not isinstance(plain, dict):
        msg = "answers are a table"
        raise TypeError(msg)
    for part in (plain, *plain["beds"]):
        part.pop("assumed")
    return plain


def _list(as_json: bool) -> None:
    shown = [("garden", one) for one in GARDEN] + [("bed", one) for one in BED]
    if as_json:
        rows = [
            {"key": one.key, "of": of, "asked": one.asked, "words": one.words, "effect": one.effect}
            for of, one in shown
        ]
        print_json({"questions": rows, "next": command("new")})
        return
    for of, one in shown:
        asked = "" if one.asked else " (not asked)"
        say(f"{one.key:<13} {of}{asked}: {one.words}")
        say(f"{'':<13} {one.effect}")
    say_next("new")
