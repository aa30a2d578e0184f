"""`thirstline close-all`: every valve told to close, with nothing but the garden file and a broker.

It reads no database, asks no daemon, needs no lease and no set clock: it is what the service
manager runs after the daemon has ended, however that came about.
"""

from __future__ import annotations

from pathlib import Path

import click

from api.close_valves import OPEN, close_all
from api.garden_meant import garden_of
from api.options import json_flag, print_json
from controller.errors import GardenError, ThirstlineError


@click.command(name="close-all", short_help="Tell every valve to close, past the daemon.")
@click.argument("garden")
@json_flag
def close_all_command(garden: str, as_json: bool) -> None:
    """Tell every valve to close, without daemon, database or clock.

    What the service runs after the daemon's end. A running daemon may open again.

    Example:  thirstline close-all /etc/thirstline/garden.toml
    """
    setting, _ = garden_of(garden)
    told = close_all(setting)
    if as_json:
        print_json({"valves": told})
    else:
        for name, word in told.items():
            click.echo(f"{name}: {word}")
    if OPEN in told.values():
        raise SystemExit(1)


def close_alone(words: list[str]) -> None:
    """Run it by itself, without the other commands; faults end with a sentence and status 1.

    Args:
        words: what follows `close-all`.
    """
    try:
        close_all_command(words, prog_name="thirstline close-all")
    except ThirstlineError as exc:
        for line in exc.faults if isinstance(exc, GardenError) else (str(exc),):
            click.echo(line, err=True)
        raise SystemExit(1) from None


def program_path(argv0: str, python: str) -> Path:
    """Where the command itself lies, as a service has to name it.

    Args:
        argv0: how it was called.
        python: the interpreter that runs.
    """
    beside = Path(python).parent / "thirstline"
    called = Path(argv0)
    return called.absolute() if called.name == "thirstline" and called.exists() else beside
