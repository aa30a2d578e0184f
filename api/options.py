"""Words that several commands share: options, and how a document is printed."""

from __future__ import annotations

import json
from pathlib import Path

import click

DAY = click.DateTime(["%Y-%m-%d"])

json_flag = click.option("--json", "as_json", is_flag=True, help="One JSON document, nothing else.")
data_option = click.option(
    "--data", type=click.Path(path_type=Path), default=None, help="The data folder."
)


def print_json(document: object) -> None:
    """Print one JSON document on standard output."""
    click.echo(json.dumps(document, indent=1, sort_keys=False, allow_nan=False))
