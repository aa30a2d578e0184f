"""`status`, `why` and `verify`: what the running daemon or its record tells."""

from __future__ import annotations

from difflib import get_close_matches
from pathlib import Path

import click

from api import look
from api.command_group import NO
from api.folders import folder_meant
from api.next_step import beside
from api.options import data_option, json_flag, print_json, say, say_next
from controller.errors import WrongUseError

DRINKING = ("watering", "soaking", "due")  # beds that are asked about first


@click.command()
@click.argument("garden", required=False)
@data_option
@json_flag
def status(garden: str | None, data: Path | None, as_json: bool) -> None:
    """Say what the running daemon does.

    Example:  thirstline status --data /var/lib/thirstline
    """
    shown = look.garden_now(folder_meant(garden, data))
    if as_json:
        print_json(shown)
    else:
        say(look.summary(shown))
        first = min(shown["beds"], key=lambda bed: shown["beds"][bed]["state"] not in DRINKING)
        whose = () if garden is None else ("--garden", garden)
        say_next("why", first, *whose, *beside(data))


@click.command(short_help="Say why a bed is watered or not.")
@click.argument("bed")
@click.option("--garden", default=None, help="Whose default data folder.")
@data_option
@json_flag
def why(bed: str, garden: str | None, data: Path | None, as_json: bool) -> None:
    """Say why a bed is watered or not, with the numbers behind it.

    Example:  thirstline why south
    """
    shown = look.garden_now(folder_meant(garden, data))
    bed = next((name for name in shown["beds"] if name.lower() == bed.lower()), bed)
    if bed not in shown["beds"]:
        known = ", ".join(shown["beds"])
        msg = f"{bed[:40]!r}: there is no such bed; the beds are {known}"
        whose = () if garden is None else ("--garden", garden)
        likely = get_close_matches(bed.lower(), list(shown["beds"]), n=1) or [*shown["beds"]]
        raise WrongUseError(msg, ("why", likely[0], *whose, *beside(data)))
    if as_json:
        print_json({"bed": bed, **shown["beds"][bed], "sky": shown.get("sky", {})})
    else:
        say(look.why(bed, shown))
        say_next("record", "--help")


@click.command(short_help="Feed the journal to a fresh engine and compare.")
@click.argument("garden", required=False)
@data_option
@json_flag
def verify(garden: str | None, data: Path | None, as_json: bool) -> None:
    """Feed the journal to a fresh engine and compare its decisions.

    Example:  thirstline verify --data /var/lib/thirstline
    """
    found = look.verified(folder_meant(garden, data))
    if as_json:
        print_json(look.plain(found))
    else:
        say(look.verified_text(found))
    if found.differs_at is not None or found.damaged is not None:
        raise SystemExit(NO)
