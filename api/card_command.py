"""`thirstline card`: a page to print for whoever looks after the garden."""

from __future__ import annotations

from pathlib import Path

import click

from api.card import card_text
from api.garden_meant import garden_of
from api.options import json_flag, print_json, say, say_next
from controller.errors import UsageError, WrongUseError

LONGEST = 120


@click.command()
@click.argument("garden")
@click.option("--stop-tap", default="", metavar="TEXT", help="Where the tap is that shuts it all.")
@click.option("--call", default="", metavar="TEXT", help="Whom to call.")
@click.option("--out", type=click.Path(path_type=Path), default=None, help="A new text file.")
@json_flag
def card(garden: str, stop_tap: str, call: str, out: Path | None, as_json: bool) -> None:
    """Write a card for whoever looks after the garden.

    One page of plain text to print: how the page is reached, what a helper may do, what alarms
    mean, and how much to pour should everything stand still.

    Example:  thirstline card garden.toml --stop-tap "cellar, left" --out card.txt
    """
    for name, text in (("--stop-tap", stop_tap), ("--call", call)):
        if len(text) > LONGEST or not text.isprintable():
            msg = f"{name}: one line of at most {LONGEST} letters is allowed"
            raise WrongUseError(msg)
    text = card_text(garden_of(garden)[0], stop_tap, call)
    if out is not None:
        _write(out, text)
    if as_json:
        print_json({"card": text, "file": None if out is None else str(out)})
    elif out is None:
        click.echo(text, nl=False)
    else:
        say(f"{out} is written: print it, and pin it up.")
        say_next("pair", garden, "--role", "helper")


def _write(out: Path, text: str) -> None:
    try:
        with out.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        msg = f"{out}: is there already, and stays as it is. Name another."
        raise UsageError(msg) from None
    except OSError as exc:
        msg = f"{out}: cannot be written: {exc.strerror or exc}"
        raise UsageError(msg) from exc
