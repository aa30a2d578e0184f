"""Which garden a word of the command line means; loads nothing but what reads a garden file."""

from __future__ import annotations

from pathlib import Path

from controller.garden import Garden, load_garden
from sim.examples import find_garden


def garden_of(name_or_path: str) -> tuple[Garden, Path]:
    """A garden by path or example name.

    Raises:
        GardenError: the file is refused.
        UsageError: there is none.
    """
    path = find_garden(name_or_path)
    return load_garden(path), path
