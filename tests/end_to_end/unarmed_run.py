"""`thirstline run FILE` at a trial's pace, yet not armed: what a newcomer's board does, in seconds.

The command itself counts as armed as soon as its clock is not the real one. Nothing else differs.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from api.cli import Told, keep
from controller.datafolder import DataFolder, default_data_dir
from controller.garden import load_garden


def main(file: str, speed: str) -> None:
    """Keep the garden on a free port until a signal."""
    garden = load_garden(Path(file))
    folder = DataFolder(default_data_dir(garden.garden.id, os.environ))
    keep(garden, Path(file), folder, float(speed), 0, Told(file), armed=False)


if __name__ == "__main__":
    main(*sys.argv[1:])
