"""What can be read from the database: the log, a bed's hours, the journal as a tape.

Reads are short: the journal comes in pages, so that no reader keeps the write-ahead log growing.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from controller.events import EVENT_JSON, Event, LedgerEntry, ProbeReading, WeatherReading
from controller.sensing.sky_hours import SkyHour
from controller.store_book import SeasonRows, season_rows
from controller.store_clock import ClockBook, Query, clock_book
from controller.store_schema import EXCESS_N, OLD_N, USED_BYTES, Params
from controller.store_states import unpacked
from controller.trusted import ClockStamp

PAGE_ROWS = 1_000  # journal rows fetched at once
LOG_LIMIT = 500  # log rows in one answer, at most
DAY_S = 86_400.0

History = Literal["first", "kept", "lost"]

JOURNAL_PAGE = """
    SELECT n, event, effects, NULL AS at_utc_s, NULL AS mono_s, NULL AS probe, NULL AS value,
        NULL AS soil_temp_c, NULL AS battery_v, NULL AS seq, NULL AS boot
    FROM journal WHERE n > ?1 AND n <= ?2
    UNION ALL
    SELECT n, NULL, effects, at_utc_s, mono_s, probe, value, soil_temp_c, battery_v, seq, boot
    FROM readings WHERE n > ?1 AND n <= ?2
    ORDER BY n LIMIT ?3"""
LAST_N = """
    SELECT coalesce(max(n), 0) AS n FROM (SELECT max(n) AS n FROM journal
        UNION ALL SELECT max(n) FROM readings UNION ALL SELECT max(n) FROM snapshots)"""
BOOTS = """
    SELECT probe AS node, count(DISTINCT boot) AS many FROM readings
    WHERE at_utc_s >= ?1 AND boot IS NOT NULL GROUP BY probe
    UNION ALL
    SELECT 'valve ' || json_extract(event, '$.valve'), count(DISTINCT json_extract(event, '$.boot'))
    FROM journal WHERE kind = 'valve' AND at_utc_s >= ?1 GROUP BY 1
    ORDER BY 1"""
OPENINGS = """
    SELECT bed, from_utc_s, open_s, coalesce(credited_l, want_l) AS litres FROM reservations
    WHERE from_utc_s >= ? AND from_utc_s < ? AND outcome IS NOT 'NEVER_SENT'
    ORDER BY from_utc_s, dose"""
PROBE_HOURS = """
    SELECT probe, hour_utc_s, value, readings FROM probe_hours
    WHERE hour_utc_s >= ?1 AND hour_utc_s < ?2
    UNION ALL
    SELECT probe, CAST(at_utc_s / 3600 AS INTEGER) * 3600 AS hour_utc_s, avg(value), count(*)
    FROM readings WHERE at_utc_s >= ?1 AND at_utc_s < ?2 GROUP BY 1, 2
    ORDER BY 1, 2"""
READING_FIELDS = (
    "at_utc_s",
    "mono_s",
    "probe",
    "value",
    "soil_temp_c",
    "battery_v",
    "seq",
    "boot",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HourRow:
    """One hour of one bed; `rain_mm` and `given_l` fell and were given within it."""

    bed: str
    hour_utc_s: int
    depletion_frac: float
    line_frac: float
    rain_mm: float = 0.0
    given_l: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """One note for people: a decision, a watering, an alert, an order; `n`: its event's number."""

    id: int
    n: int
    at_utc_s: float
    what: str
    bed: str | None
    code: str
    text: str
    numbers: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalRow:
    """One journalled event and the effects that it led to, as the journal keeps them."""

    n: int
    event: Event
    effects_json: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """The engine's whole state after the event `n`; `n` 0 and no state: a fresh engine."""

    n: int = 0
    version: str | None = None
    state_json: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovered:
    """What the store knows at the start. `events` came after `snapshot`, in order; read once."""

    history: History
    stored_epoch: int
    stored_seq: int
    ledger: tuple[LedgerEntry, ...]
    trusted_s: float
    snapshot: Snapshot
    events: Iterator[Event]


class Reader:
    """Reads through one connection, in the thread that made it.

    Args:
        query: Runs one SELECT and gives all its rows; raises StoreError.
    """

    def __init__(self, query: Query) -> None:
        self._query = query

    def log(self, after: int = 0, limit: int = LOG_LIMIT) -> tuple[LogRow, ...]:
        """Page through the notes, oldest first.

        Args:
            after: The `id` of the last row that is known already.
            limit: How many at most, 1 to 500.
        """
        rows = self._query(
            "SELECT id, n, at_utc_s, what, bed, code, text, numbers FROM notes WHERE id > ? "
            "ORDER BY id LIMIT ?",
            (after, max(1, min(limit, LOG_LIMIT))),
        )
        return tuple(LogRow(**row | {"numbers": json.loads(row["numbers"])}) for row in rows)

    def history(self, bed: str, from_utc_s: float, to_utc_s: float) -> tuple[HourRow, ...]:
        """Give one bed's hours that begin within [from, to), oldest first."""
        rows = self._query(
            "SELECT bed, hour_utc_s, depletion_frac, line_frac, rain_mm, given_l FROM hourly "
            "WHERE hour_utc_s >= ? AND hour_utc_s < ? AND bed = ? ORDER BY hour_utc_s",
            (from_utc_s, to_utc_s, bed),
        )
        return tuple(HourRow(**row) for row in rows)

    def given_since(self, from_utc_s: float) -> list[tuple[str, int, float]]:
        """Give each bed's waterings that began since then: how many, and their litres as credited.

        Args:
            from_utc_s: The instant [s, Unix].
        """
        rows = self._query(
            "SELECT bed, count(DISTINCT watering) AS many, sum(coalesce(credited_l, 0)) AS litres "
            "FROM reservations WHERE from_utc_s >= ? AND outcome IS NOT 'NEVER_SENT' "
            "GROUP BY bed ORDER BY bed",
            (from_utc_s,),
        )
        return [(row["bed"], int(row["many"]), float(row["litres"])) for row in rows]

    def ledger(self) -> list[dict[str, Any]]:
        """Give every opening that was ever recorded, by the stable view, in order."""
        return self._query("SELECT * FROM ledger ORDER BY from_utc, dose", ())

    def clock(self) -> ClockBook:
        """Tell which rows were made while nobody had set the board's clock."""
        return clock_book(self._query)

    def begun_trusted_s(self) -> dict[str, float]:
        """Give the trusted elapsed time at which each opening was reserved [s], by dose."""
        rows = self._query("SELECT dose, trusted_started_s FROM reservations", ())
        return {str(row["dose"]): float(row["trusted_started_s"]) for row in rows}

    def season(self, from_utc_s: float, to_utc_s: float) -> SeasonRows:
        """Give what the season book is made of: all that began within [from, to)."""
        return season_rows(self._query, from_utc_s, to_utc_s)

    def weather(self) -> tuple[WeatherReading, ...]:
        """Give all that the masts told, in the journal's order, as far back as it reaches.

        What is older stands in `sky_hours`.
        """
        rows = self._query("SELECT event FROM journal WHERE kind = 'weather' ORDER BY n", ())
        events = (EVENT_JSON.validate_json(row["event"]) for row in rows)
        return tuple(event for event in events if isinstance(event, WeatherReading))

    def sky_hours(self) -> tuple[SkyHour, ...]:
        """Give the masts' hours from before the journal's reach, oldest first."""
        rows = self._query("SELECT * FROM sky_hours ORDER BY hour_utc_s, mast", ())
        return tuple(SkyHour(**row) for row in rows)

    def openings(self, from_utc_s: float, to_utc_s: float) -> list[tuple[str, float, float, float]]:
        """Give openings that began within [from, to): bed, begin [s], length [s], litres credited.

        What still runs counts with what it is to give; what was never sent is left out.
        """
        rows = self._query(OPENINGS, (from_utc_s, to_utc_s))
        return [(one["bed"], one["from_utc_s"], one["open_s"], one["litres"]) for one in rows]

    def probe_hours(self, from_utc_s: float, to_utc_s: float) -> list[tuple[str, int, float, int]]:
        """Give hours of probes that begin within [from, to): probe, hour [s], mean, readings.

        The mean is of the values as told. An hour from which the journal's reach begins has two
        rows.
        """
        rows = self._query(PROBE_HOURS, (from_utc_s, to_utc_s))
        return [(one["probe"], one["hour_utc_s"], one["value"], one["readings"]) for one in rows]

    def newest_snapshot(self) -> Snapshot:
        """Give the newest snapshot, of whatever version of the engine."""
        return self._snapshot("ORDER BY n DESC LIMIT 1", ())

    def prunable_n(self, old_trusted_s: float, most_bytes: int) -> int | None:
        """Give the journal number up to which the journal may go; None for nothing.

        Args:
            old_trusted_s: What was before it is old [s, trusted].
            most_bytes: Where more is in use, one more day goes, while a whole one is left.
        """
        found = [self._query(OLD_N, (old_trusted_s,))[0]["n"]]
        if self._query(USED_BYTES, ())[0]["bytes"] > most_bytes:
            found.append(self._query(EXCESS_N, ())[0]["n"])
        return max((int(n) for n in found if n is not None), default=None)

    def boots_since(self, from_utc_s: float) -> dict[str, int]:
        """Count the boots that each node told: a probe's by its readings, a valve's by its reports.

        Args:
            from_utc_s: The instant [s, Unix].
        """
        rows = self._query(BOOTS, (from_utc_s,))
        return {str(row["node"]): int(row["many"]) for row in rows}

    def garden_json(self) -> str | None:
        """Give the garden file in force when the record was last written; None in a new one."""
        snapshot = self.newest_snapshot()
        told = _garden_in(snapshot.state_json)
        rows = self._query(
            "SELECT event FROM journal WHERE n > ? AND kind IN ('started', 'garden') ORDER BY n",
            (snapshot.n,),
        )
        for row in rows:
            told = _garden_in(row["event"]) or told
        return told

    def first_snapshot(self, version: str) -> Snapshot:
        """Give the first snapshot of this version of the engine; without one, the start."""
        return self._snapshot("WHERE engine = ? ORDER BY n LIMIT 1", (version,))

    def journal(self, after: int = 0, upto: int | None = None) -> Iterator[JournalRow]:
        """Play the journal in its total order.

        Args:
            after: The number before the first one wanted.
            upto: The last number wanted; None: the last that is there now.
        """
        last = self.last_n() if upto is None else upto
        while after < last:
            page = self._query(JOURNAL_PAGE, (after, last, PAGE_ROWS))
            if not page:
                return
            yield from map(_journal_row, page)
            after = page[-1]["n"]

    def journal_since_snapshot(self, version: str) -> tuple[Snapshot, Iterator[JournalRow]]:
        """Give what a verification re-feeds: where to begin, and all that came after it.

        Args:
            version: The engine's version; without a snapshot of it the journal's start.
        """
        snapshot = self.first_snapshot(version)
        return snapshot, self.journal(after=snapshot.n)

    def last_n(self) -> int:
        """Give the highest journal number on disk, 0 for none."""
        return int(self._query(LAST_N, ())[0]["n"])

    def last_stamp(self) -> ClockStamp | None:
        """Give the clocks at the last write; None in a new database."""
        row = self._query("SELECT boot_id, mono_s, utc_s, synced, trusted_s FROM meta", ())[0]
        if row["trusted_s"] is None:
            return None
        return ClockStamp(**row | {"synced": bool(row["synced"])})

    def history_kind(self) -> History:
        """Tell whether the ledger is whole, new or lost, until a journalled start has told it."""
        kind: History = self._query("SELECT history FROM meta", ())[0]["history"]
        return kind

    def entries(self, trusted_s: float) -> tuple[LedgerEntry, ...]:
        """Give the openings of the last 24 h of trusted time, and those that still run.

        Args:
            trusted_s: The trusted elapsed time now [s].
        """
        rows = self._query(
            "SELECT dose, bed, charged_l, ended_trusted_s FROM reservations "
            "WHERE ended_trusted_s IS NULL OR ended_trusted_s >= ? "
            "ORDER BY trusted_started_s, dose",
            (trusted_s - DAY_S,),
        )
        return tuple(LedgerEntry(**row) for row in rows)

    def high_mark(self) -> tuple[int, int]:
        """Give the highest epoch, and the highest sequence number reserved under it."""
        row = self._query(
            "SELECT coalesce(max(e.epoch), 0) AS epoch, coalesce((SELECT max(seq_high) "
            "FROM reservations WHERE epoch = max(e.epoch)), 0) AS seq FROM epochs AS e",
            (),
        )[0]
        return int(row["epoch"]), int(row["seq"])

    def _snapshot(self, tail: str, params: Params) -> Snapshot:
        sql = f"SELECT n, engine AS version, state AS state_json FROM snapshots {tail}"  # noqa: S608
        rows = self._query(sql, params)
        if not rows:
            return Snapshot()
        return Snapshot(**{**rows[0], "state_json": unpacked(rows[0]["state_json"])})


def _garden_in(text: str | None) -> str | None:
    """The garden file in a state or an event; another version's may tell it otherwise, or not."""
    try:
        told = json.loads(text or "{}")
    except ValueError:
        return None
    found = told.get("garden_json") if isinstance(told, dict) else None
    return found if isinstance(found, str) else None


def _journal_row(row: dict[str, Any]) -> JournalRow:
    event: Event
    if row["event"] is None:
        event = ProbeReading(**{name: row[name] for name in READING_FIELDS})
    else:
        event = EVENT_JSON.validate_json(row["event"])
    return JournalRow(n=row["n"], event=event, effects_json=row["effects"] or "[]")
