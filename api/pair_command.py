"""`thirstline pair`: a code that lets a phone in, and which phones are in."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from api import look
from api.code_drawing import drawn
from api.folders import folder_meant
from api.next_step import beside
from api.options import data_option, json_flag, print_json, say, say_next
from controller.datafolder import DataFolder
from controller.telling.pair_orders import ID, NAME_MOST

LOOPBACK = ("http://127.", "http://localhost", "http://[::1]")


@click.command(short_help="Let one phone in, by a link or a drawn code.")
@click.argument("garden", required=False)
@click.option(
    "--role",
    type=click.Choice(["operator", "helper"]),
    default="operator",
    show_default=True,
    help="A helper may look, feel soil, stop, pause, tell what was poured.",
)
@click.option("--name", default="", help="Whose phone it is, for the record.")
@click.option("--list", "listed", is_flag=True, help="Which browsers are in.")
@click.option("--draw/--no-draw", default=None, help="The link as a code; else on terminals only.")
@click.option("--light", is_flag=True, help="The terminal has a light ground: the code needs it.")
@click.option("--revoke", metavar="ID", default=None, help="Let that one in no more.")
@data_option
@json_flag
def pair(
    garden: str | None,
    role: str,
    name: str,
    listed: bool,
    draw: bool | None,
    light: bool,
    revoke: str | None,
    data: Path | None,
    as_json: bool,
) -> None:
    """Print a link that lets one phone in, and draw it for the phone's camera.

    The code in it works once and for ten minutes. A restart of the daemon forgets it; phones that
    are in stay in, for a season.

    Example:  thirstline pair --role helper --name "Ann's phone"
    """
    folder = folder_meant(garden, data)
    if revoke is not None and listed:
        msg = "Say --list or --revoke, not both."
        raise click.UsageError(msg)
    if revoke is not None:
        told = _withdrawn(folder, revoke)
    elif listed:
        told = look.asked(folder, "pairs")
    else:
        told = _offered(folder, role, name)
    if as_json:
        print_json(told)
    else:
        say(words(told))
        if _to_draw(told, draw):
            click.echo(drawn(told["link"], light=light))
        say_next(*_then(folder, told, garden), *beside(data))


def _to_draw(told: dict[str, Any], draw: bool | None) -> bool:
    """Whether a camera may look: at a link that a phone can follow."""
    if "link" not in told or told["link"].startswith(LOOPBACK):
        return False
    return sys.stdout.isatty() if draw is None else draw


def _then(folder: DataFolder, told: dict[str, Any], garden: str | None) -> tuple[str | None, ...]:
    """Walk what is not armed yet; else see what the garden does."""
    if "link" not in told:
        return ("pair", garden) if "pairs" in told else ("pair", garden, "--list")
    beds = look.garden_now(folder)["walk"]["beds"].values()
    armed = all(bed["armed"] for bed in beds)
    return ("status", garden) if armed else ("walk", garden or "GARDEN")


def _offered(folder: DataFolder, role: str, name: str) -> dict[str, Any]:
    if len(name) > NAME_MOST or not name.isprintable():
        msg = f"--name: one line of at most {NAME_MOST} letters."
        raise click.UsageError(msg)
    return look.sent(folder, "pairs", {"role": role, "name": name})


def _withdrawn(folder: DataFolder, pairing: str) -> dict[str, Any]:
    if not ID.fullmatch(pairing):
        msg = "--revoke: an id is eight letters or digits; thirstline pair --list has them."
        raise click.UsageError(msg)
    return look.sent(folder, f"pairs/{pairing}", {}, "DELETE")


def words(told: dict[str, Any]) -> str:
    """What the daemon answered, for people."""
    if "link" in told:
        lines = [told["link"], told["text"]]
        if told["link"].startswith(LOOPBACK):
            lines.append(
                "The page listens on this machine only. To let phones in, give [page] listen an "
                "address of the garden's network, and list the names that people type."
            )
        return "\n".join(lines)
    if "pairs" in told:
        lines = [
            f"{one['id']}  {one['role']:<8}  since {one['since'][:10]}  {one['name']}".rstrip()
            for one in told["pairs"]
        ]
        return "\n".join(lines) or "No browser is paired."
    return str(told["text"])
