"""The group of all commands: expected trouble ends with a sentence and with what to type next."""

from __future__ import annotations

from collections.abc import MutableMapping, Sequence
from importlib import import_module
from typing import Any

import click

from api.next_step import fitted, next_step, people_look_on
from controller.errors import (
    GardenError,
    RefusedError,
    ThirstlineError,
    UnreachableError,
    WrongUseError,
)

NO = 1
WRONG_USE = 2
UNREACHABLE = 3
GARDEN = "GARDEN"
NO_FILE = "there is no such file"
FIRST_IS_GARDEN = (
    "check",
    "run",
    "bench",
    "walk",
    "replay",
    "sweep",
    "season",
    "export",
    "card",
    "status",
    "alarm",
    "pair",
)


# every command in the order in which a grower comes to need it
SECTIONS = {
    "Try it without hardware": ("demo", "bench"),
    "The first day": ("new", "check", "run", "pair", "walk"),
    "Every day": ("status", "why", "record", "card", "alarm"),
    "The season": ("season", "export"),
    "The board": ("doctor", "backup", "restore", "verify", "close-all"),
    "Installing": ("install-service", "broker-config"),
    "Winter evenings": ("replay", "sweep", "fit", "what-if"),
}


class Group(click.Group):
    """Turns this project's errors into a sentence, the next step and an exit status.

    A command that was named by `later` is imported once it is asked for, so that the daemon's
    process, which lives for months, does not carry the others.
    """

    def __init__(self, name: str | None = None, **words: Any) -> None:  # noqa: ANN401 - click's
        self._later: dict[str, str] = {}
        super().__init__(name, **words)

    def later(self, *places: str) -> None:
        """Name commands without importing them.

        Args:
            places: each `name = module:attribute`.
        """
        for place in places:
            name, _, where = place.partition(" = ")
            self._later[name] = where

    @property
    def commands(self) -> MutableMapping[str, click.Command]:
        """Every command by its name, all of them imported."""
        for name in list(self._later):
            self._import(name)
        return self._here

    @commands.setter
    def commands(self, commands: MutableMapping[str, click.Command]) -> None:
        self._here = commands

    def _import(self, name: str) -> None:
        module, _, attribute = self._later.pop(name).partition(":")
        self._here[name] = getattr(import_module(module), attribute)

    def add_command(self, cmd: click.Command, name: str | None = None) -> None:
        """Add a command that is imported already."""
        self._here[name or cmd.name or ""] = cmd

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """One command; no other is imported for it."""
        del ctx
        if cmd_name in self._later:
            self._import(cmd_name)
        return self._here.get(cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands by when they are needed; all columns begin alike."""
        wide = max(map(len, self.commands), default=0)
        for title, names in SECTIONS.items():
            rows = [
                (f"{name:<{wide}}", command.get_short_help_str(limit=80))
                for name in names
                if (command := self.get_command(ctx, name)) is not None
            ]
            with formatter.section(title):
                formatter.write_dl(rows)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Keep the words, for what to type after an error."""
        ctx.meta["thirstline.words"] = tuple(args)
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - as click has it
        """Run a command; expected trouble ends with a sentence, never with a trace."""
        try:
            return super().invoke(ctx)
        except UnreachableError as exc:
            _complain(str(exc), next_step("run", _garden(ctx), *_data(ctx)))
            ctx.exit(UNREACHABLE)
        except GardenError as exc:
            _complain(*exc.faults, next_step(*_after_faults(ctx, exc)), "Nothing was armed.")
            ctx.exit(NO)
        except RefusedError as exc:
            _complain(str(exc), next_step("status", *_named(ctx), *_data(ctx)))
            ctx.exit(NO)
        except ThirstlineError as exc:
            then = exc.then if isinstance(exc, WrongUseError) else ()
            _complain(str(exc), next_step(*(then or (*_words(ctx)[:1], "--help"))))
            ctx.exit(WRONG_USE if isinstance(exc, WrongUseError) else NO)


def _complain(*lines: str) -> None:
    """Say what is wrong: broken to 80 columns for people, whole for scripts that search it."""
    for line in lines:
        click.echo(fitted(line) if people_look_on() else line, err=True)


def _words(ctx: click.Context) -> Sequence[str]:
    words: Sequence[str] = ctx.meta.get("thirstline.words", ())
    return words


def _garden(ctx: click.Context) -> str:
    """The garden that was named, or the word that stands for one."""
    return next(iter(_named(ctx)), GARDEN)


def _named(ctx: click.Context) -> tuple[str, ...]:
    """The garden that was named: by --garden, or as the first word where a command has it there."""
    words = _words(ctx)
    if len(words) > 1 and words[0] in FIRST_IS_GARDEN and not words[1].startswith("-"):
        return (words[1],)
    return _after(ctx, "--garden")


def _after_faults(ctx: click.Context, exc: GardenError) -> tuple[str, ...]:
    """A file with faults is checked; one that is not there is written."""
    garden = _garden(ctx)
    missing = any(fault.endswith(NO_FILE) for fault in exc.faults)
    return ("new", garden) if missing and garden != GARDEN else ("check", garden)


def _data(ctx: click.Context) -> tuple[str, ...]:
    """`--data DIR` as it was typed; empty where it was not."""
    return tuple(word for where in _after(ctx, "--data") for word in ("--data", where))


def _after(ctx: click.Context, option: str) -> tuple[str, ...]:
    """What was typed for an option, with a space or `=` before it; empty where it was not."""
    words = _words(ctx)
    for word, following in zip(words, [*words[1:], ""], strict=True):
        if word == option and following:
            return (following,)
        if word.startswith(f"{option}="):
            return (word.partition("=")[2],)
    return ()
