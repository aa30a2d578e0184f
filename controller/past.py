"""What a running garden tells of its past: the record's rows, a bed's hours, the season's book."""

from __future__ import annotations

from datetime import time
from typing import Any

from controller.book.plain import book_json
from controller.book.season import book_of
from controller.clock import ScaledClock
from controller.datafolder import DataFolder
from controller.garden import Garden
from controller.store import open_reader
from controller.view import rfc3339
from controller.watering.hours import local_to_utc_s


def season_began_utc_s(garden: Garden) -> float:
    """The local midnight of the day on which the first bed was planted [s, Unix]."""
    first = min(bed.transplanted for bed in garden.beds.values())
    return local_to_utc_s(first, time(0), garden.garden.zone)


class Past:
    """The daemon's reading of its own record, each time through a connection of its own.

    Args:
        garden: the validated garden file.
        folder: the data folder.
        clock: real or scaled.
    """

    def __init__(self, garden: Garden, folder: DataFolder, clock: ScaledClock) -> None:
        self.garden = garden
        self.folder = folder
        self.clock = clock

    def log(self, after: int, limit: int) -> list[dict[str, Any]]:
        """Rows of the record for people, in order."""
        with open_reader(self.folder) as reader:
            clock = reader.clock()
            return [
                {
                    "id": row.id,
                    "at": rfc3339(row.at_utc_s),
                    "what": row.what,
                    "bed": row.bed,
                    "code": row.code,
                    "text": row.text,
                    "numbers": row.numbers,
                    "clock_synced": clock.at_n(row.n),
                }
                for row in reader.log(after, limit)
            ]

    def history(self, bed: str, from_utc_s: float, to_utc_s: float) -> list[dict[str, Any]]:
        """Hourly rows of one bed."""
        with open_reader(self.folder) as reader:
            clock = reader.clock()
            return [
                {
                    "at_utc_s": float(row.hour_utc_s),
                    "depletion_frac": row.depletion_frac,
                    "line_frac": row.line_frac,
                    "rain_mm": row.rain_mm,
                    "given_l": row.given_l,
                    "clock_synced": clock.at_hour(row.hour_utc_s),
                }
                for row in reader.history(bed, from_utc_s, to_utc_s)
            ]

    def season(
        self, from_utc_s: float | None = None, to_utc_s: float | None = None
    ) -> dict[str, Any]:
        """The season's book, from the planting of the first bed until now unless told."""
        first_s = season_began_utc_s(self.garden) if from_utc_s is None else from_utc_s
        last_s = self.clock.utc_s() if to_utc_s is None else to_utc_s
        with open_reader(self.folder) as reader:
            rows = reader.season(first_s, max(first_s + 1.0, last_s))
        return book_json(book_of(self.garden, rows))
