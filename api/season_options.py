"""What `replay` and `sweep` share: their options, the garden's own weather, how far they are."""

from __future__ import annotations

import os
import sys
from contextlib import AbstractContextManager, nullcontext
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from api.next_step import people_look_on
from api.options import DAY
from controller.datafolder import DataFolder, default_data_dir
from controller.garden import Garden
from sim.replay import POLICIES
from sim.season_own import own_season
from sim.season_types import Season
from sim.weather import Place

weather_help = "A season: seattle-2015, invented-dry, a CSV file, own (the daemon's store)."
first_option = click.option("--from", "first", type=DAY, default=None, help="First day.")
last_option = click.option("--to", "last", type=DAY, default=None, help="Last day.")
policy_option = click.option("--policy", "policies", multiple=True, type=click.Choice(POLICIES))
report_option = click.option(
    "--report",
    "report_file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A page (HTML) with pictures, tables, reasons and the numbers.",
)
sure_flag = click.option(
    "--sure", is_flag=True, help="Soil, plants and probes exactly as the file says."
)


def day_of(told: datetime | None) -> date | None:
    """The day of an option, None where it was left out."""
    return None if told is None else told.date()


def own_weather(garden: Garden, data: Path | None) -> Season:
    """The weather that a garden's own daemon has recorded."""
    info = garden.garden
    folder = DataFolder(default_data_dir(info.id, os.environ) if data is None else data, make=False)
    place = Place(
        latitude_deg=info.latitude,
        longitude_deg=info.longitude,
        elevation_m=info.elevation_m,
        timezone=info.timezone,
    )
    return own_season(folder.database, place)


def progress(as_json: bool, runs: int, label: str) -> AbstractContextManager[Any]:
    """How far it is, on standard error, for people who look on."""
    if as_json or not people_look_on():
        return nullcontext()
    return click.progressbar(length=runs, label=label, show_pos=True, file=sys.stderr)


def typed() -> list[str]:
    """The command as it was typed, its program by its own name."""
    return ["thirstline", *sys.argv[1:]]
