"""What the season book reads from the database: waterings, bed hours, picks, what people told."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass

from controller.store_clock import Query, clock_book

# One row a watering: its pulses added up. One that was never sent is none.
WATERINGS = """
    SELECT watering, bed, min(by_whom) AS by_whom, min(from_utc_s) AS from_utc_s,
        count(*) AS pulses, sum(coalesce(credited_l, want_l)) AS credited_l,
        sum(charged_l) AS charged_l, min(trusted_started_s) AS trusted_started_s
    FROM reservations
    WHERE from_utc_s >= ? AND from_utc_s < ? AND coalesce(outcome, '') != 'NEVER_SENT'
    GROUP BY watering, bed ORDER BY from_utc_s, watering"""
HOURS = """
    SELECT bed, hour_utc_s, depletion_frac, line_frac, rain_mm, given_l FROM hourly
    WHERE hour_utc_s >= ? AND hour_utc_s < ? ORDER BY hour_utc_s, bed"""
PICKS = """
    SELECT bed, on_day, variety, kg, cracked, black_ended FROM picks
    WHERE taken_back = 0 AND on_day >= date(?, 'unixepoch') AND on_day <= date(?, 'unixepoch')
    ORDER BY on_day, id"""
TOLD = """
    SELECT at_utc_s, bed, code, text, numbers FROM notes
    WHERE at_utc_s >= ? AND at_utc_s < ?
        AND (what = 'order' AND code IN ('look', 'soil', 'note')
            OR what = 'watering' AND code IN ('poured', 'not_poured'))
    ORDER BY id"""
ENDS = "SELECT max(hour_utc_s) AS hour_utc_s FROM hourly"
HAS_PICKS = "SELECT name FROM sqlite_master WHERE type = 'table' AND name = 'picks'"


@dataclass(frozen=True, slots=True, kw_only=True)
class WateringRow:
    """One watering of a bed; `charged_l` is its upper bound, `credited_l` the best estimate.

    `clock_synced`: whether the board's clock was set when it began (T4).
    """

    watering: str
    bed: str
    by_whom: str
    from_utc_s: float
    pulses: int
    credited_l: float
    charged_l: float
    clock_synced: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class BedHour:
    """One hour of one bed, as the controller believed it."""

    bed: str
    hour_utc_s: int
    depletion_frac: float
    line_frac: float
    rain_mm: float
    given_l: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PickRow:
    """Fruit of one pick: `on_day` is local; cracked and black-ended are counts of fruit."""

    bed: str
    on_day: str
    variety: str
    kg: float
    cracked: int
    black_ended: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldRow:
    """What a person told of a bed; `numbers` has the litres of what was poured."""

    at_utc_s: float
    bed: str | None
    code: str
    text: str
    numbers: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonRows:
    """Everything between two instants; `ends_utc_s` is the last hour of the whole record."""

    from_utc_s: float
    to_utc_s: float
    waterings: tuple[WateringRow, ...]
    hours: tuple[BedHour, ...]
    picks: tuple[PickRow, ...]
    told: tuple[ToldRow, ...]
    ends_utc_s: float | None = None


def _waterings(query: Query, span: tuple[float, float]) -> Iterator[WateringRow]:
    clock = clock_book(query)
    for row in query(WATERINGS, span):
        synced = clock.at_trusted_s(row.pop("trusted_started_s"))
        yield WateringRow(**row, clock_synced=synced)


def season_rows(query: Query, from_utc_s: float, to_utc_s: float) -> SeasonRows:
    """Read all of it.

    Args:
        query: runs one SELECT and gives all its rows; raises StoreError.
        from_utc_s: the first instant [s, Unix].
        to_utc_s: the first one no more.
    """
    span = (from_utc_s, to_utc_s)
    picks = query(PICKS, span) if query(HAS_PICKS, ()) else []  # an older one has no such table
    told = [row | {"numbers": json.loads(row["numbers"])} for row in query(TOLD, span)]
    return SeasonRows(
        from_utc_s=from_utc_s,
        to_utc_s=to_utc_s,
        waterings=tuple(_waterings(query, span)),
        hours=tuple(BedHour(**row) for row in query(HOURS, span)),
        picks=tuple(PickRow(**row) for row in picks),
        told=tuple(ToldRow(**row) for row in told),
        ends_utc_s=query(ENDS, ())[0]["hour_utc_s"],
    )
