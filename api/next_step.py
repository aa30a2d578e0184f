"""What to type next: the last line of a screen, and of an error."""

from __future__ import annotations

import re
import shlex
import sys
import textwrap
from collections.abc import Iterable
from pathlib import Path

COLUMNS = 80
PREFIX = "next:  "
GAP = re.compile(r"(?<=\S) {2,}(?=\S)")  # between the columns of a table
FURTHEST = 60  # a column that begins later has no room to go on in


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
    body = line.lstrip()
    indent = len(line) - len(body) + (2 if body.startswith("- ") else 0)
    gaps = [gap.end() for gap in GAP.finditer(line) if gap.end() <= FURTHEST]
    return textwrap.wrap(
        line,
        COLUMNS,
        subsequent_indent=" " * (gaps[-1] if gaps else indent),
        break_long_words=False,
        break_on_hyphens=False,
    )


def people_look_on() -> bool:
    """Whether progress has somebody to see it."""
    return sys.stderr.isatty()
