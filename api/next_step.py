"""What to type next: the last line of a screen, and of an error."""

from __future__ import annotations

import shlex
import sys
import textwrap
from collections.abc import Iterable
from pathlib import Path

COLUMNS = 80
PREFIX = "next:  "


def next_step(*words: str | Path) -> str:
    """The command to type next, quoted for a shell: `next:  thirstline check garden.toml`."""
    return PREFIX + command(*words)


def command(*words: str | Path) -> str:
    """A command of ours as it is typed."""
    return shlex.join(["thirstline", *map(str, words)])


def beside(data: Path | None) -> tuple[str, ...]:
    """The words that name a data folder, where one was named."""
    return () if data is None else ("--data", str(data))


def fitted(text: str) -> str:
    """Break the lines that are longer than 80 columns; links and long words stay whole."""
    return "\n".join(line for long in text.split("\n") for line in _broken(long))


def _broken(line: str) -> Iterable[str]:
    if len(line) <= COLUMNS or line.startswith(PREFIX):
        return (line,)
    indent = line[: len(line) - len(line.lstrip())] + ("  " if line.lstrip()[:2] == "- " else "")
    return textwrap.wrap(
        line,
        COLUMNS,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
        drop_whitespace=True,
    )


def people_look_on() -> bool:
    """Whether progress has somebody to see it."""
    return sys.stderr.isatty()
