"""Which rows of the record were made while nobody had set the board's clock (hazard T4).

Notes of the engine part the record into stretches: each start tells whether the clock is set, and
so does each change after it. A row with a journal number belongs to the stretch around it, an
opening to that of its trusted time; a bed's hour is doubtful where the note of such an hour stands
beside it. No instant is compared with the wall clock, which is what is in doubt. Rows from before
these notes are told as set. Pure but for the query that it is given.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

Query = Callable[[str, tuple[object, ...]], list[dict[str, Any]]]

STRETCHES = """
    SELECT n, numbers FROM notes
    WHERE what = 'state' AND code IN ('started', 'clock_set', 'clock_unset') ORDER BY id"""
HOURS = """
    SELECT DISTINCT CAST(at_utc_s / 3600 AS INTEGER) * 3600 AS hour_utc_s FROM notes
    WHERE what = 'state' AND code = 'hour_unsynced'"""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockBook:
    """When the clock was set, in the record's own order.

    Attributes:
        from_n: journal numbers at which a stretch begins, rising.
        from_trusted_s: the same instants [s, trusted], never falling.
        synced: whether the clock was set in each stretch.
        hours_unsynced: hours of the wall clock [s, Unix] that were kept while it was not.
    """

    from_n: tuple[int, ...] = ()
    from_trusted_s: tuple[float, ...] = ()
    synced: tuple[bool, ...] = ()
    hours_unsynced: frozenset[int] = frozenset()

    def at_n(self, n: int) -> bool:
        """Whether the clock was set when the event with this journal number came."""
        return self._in(bisect_right(self.from_n, n))

    def at_trusted_s(self, trusted_s: float) -> bool:
        """Whether it was at this trusted elapsed time [s]."""
        return self._in(bisect_right(self.from_trusted_s, trusted_s))

    def at_hour(self, hour_utc_s: int) -> bool:
        """Whether it was in the hour that begins then by the wall clock [s, Unix]."""
        return hour_utc_s not in self.hours_unsynced

    def _in(self, stretches: int) -> bool:
        return stretches == 0 or self.synced[stretches - 1]


def clock_book(query: Query) -> ClockBook:
    """Read when the clock was set.

    Args:
        query: runs one SELECT and gives all its rows; raises StoreError.
    """
    told = [(int(row["n"]), json.loads(row["numbers"])) for row in query(STRETCHES, ())]
    known = [(n, numbers) for n, numbers in told if "clock_synced" in numbers]
    return ClockBook(
        from_n=tuple(n for n, _ in known),
        from_trusted_s=tuple(float(numbers["trusted_s"]) for _, numbers in known),
        synced=tuple(bool(numbers["clock_synced"]) for _, numbers in known),
        hours_unsynced=frozenset(int(row["hour_utc_s"]) for row in query(HOURS, ())),
    )
