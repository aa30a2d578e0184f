"""Words that several commands share: options, and how a document is printed."""

from __future__ import annotations

import json
from pathlib import Path

import click

from api.next_step import fitted, next_step

DEMO_SEASON = "invented-demo"  # the season of trials


class Day(click.DateTime):
    """A local day."""

    def __init__(self) -> None:
        super().__init__(["%Y-%m-%d"])

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str:
        """How it is written, as people read it."""
        del param, ctx
        return "2026-07-15"


DAY = Day()

json_flag = click.option("--json", "as_json", is_flag=True, help="One JSON document, nothing else.")
data_option = click.option(
    "--data", type=click.Path(path_type=Path), default=None, help="The data folder."
)


def say(text: str) -> None:
    """Print a screen, its lines no longer than 80 columns where words can be broken."""
    click.echo(fitted(text))


def say_next(*words: str | Path | None) -> None:
    """Print what to type next; words that are None are left out."""
    click.echo(next_step(*(word for word in words if word is not None)))


def print_json(document: object) -> None:
    """Print one JSON document on standard output."""
    click.echo(json.dumps(document, indent=1, sort_keys=False, allow_nan=False))
