"""Which data folder a command from the shell means."""

from __future__ import annotations

import os
from pathlib import Path

from api import look
from api.garden_meant import garden_of
from controller.datafolder import DataFolder, default_data_dir


def folder_meant(garden: str | None, data: Path | None) -> DataFolder:
    """The folder told, the garden's usual one, or the only one there is.

    Args:
        garden: a file or the name of an example, None where none was told.
        data: a folder, None where none was told.

    Raises:
        GardenError: the garden file has a fault.
        WrongUseError: none was told, and there are none or several.
    """
    if data is not None:
        return DataFolder(data, make=False)
    if garden is not None:
        setting, _ = garden_of(garden)
        return DataFolder(default_data_dir(setting.garden.id, os.environ), make=False)
    return look.only_folder(default_data_dir("x", os.environ))
