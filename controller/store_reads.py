"""What can be read from the database: the log, a bed's hours, the journal as a tape.

Reads are short: the journal comes in pages, so that no reader keeps the write-ahead log growing.
"""

from __future__ import annotations

import json
import logging
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from controller import store_batches, store_before
from controller.events import EVENT_JSON, Event, LedgerEntry, WeatherReading
from controller.sensing.sky_hours import SkyHour
from controller.store_batches import Line
from controller.store_book import SeasonRows, season_rows
from controller.store_clock import ClockBook, Query, clock_book
from controller.store_hours import hours_of_probes
from controller.store_schema import EXCESS_N, OLD_N, USED_BYTES, Params
from controller.store_states import unpacked
from controller.trusted import ClockStamp

log = logging.getLogger(__name__)

LOG_LIMIT = 500  # log rows in one answer, at most
DAY_S = 86_400.0
EPOCH_MOST = 2**31 - 1  # of runs that there can have been

History = Literal["first", "kept", "lost"]

OPENINGS = """
    SELECT bed, from_utc_s, open_s, coalesce(credited_l, want_l) AS litres FROM reservations
    WHERE from_utc_s >= ? AND from_utc_s < ? AND outcome IS NOT 'NEVER_SENT'
    ORDER BY from_utc_s, dose"""
ONE_SNAPSHOT = "SELECT n, engine AS version, state AS state_json FROM snapshots WHERE n = ?"
PROBE_HOURS = """
    SELECT probe, hour_utc_s, value, readings FROM probe_hours
    WHERE hour_utc_s >= ? AND hour_utc_s < ?"""


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

    Attributes:
        damaged: First and last numbers of what was found damaged in the journal as it was read.
    """

    def __init__(self, query: Query) -> None:
        self._query = query
        self.damaged: list[tuple[int, int]] = []

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
        told = (line.event for line in self._lines() if line.event["kind"] == "weather")
        events = (EVENT_JSON.validate_python(event) for event in told)
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
        found = [tuple(row.values()) for row in self._query(PROBE_HOURS, (from_utc_s, to_utc_s))]
        told = (
            line.event
            for line in self._lines(from_utc_s=from_utc_s)
            if from_utc_s <= line.event["at_utc_s"] < to_utc_s
        )
        for (hour_utc_s, probe), hour in hours_of_probes(told).items():
            found.append((probe, hour_utc_s, hour.value, hour.readings))
        return sorted(found, key=lambda row: row[:2])

    def newest_snapshot(self) -> Snapshot:
        """Give the newest snapshot, of whatever version; a damaged one has an empty state."""
        return next(self._snapshots("ORDER BY n DESC LIMIT 1", ()), Snapshot())

    def readable_snapshot(self) -> Snapshot:
        """Give the newest snapshot that can be read, of whatever version; none: the start."""
        return self._first_readable("ORDER BY n DESC", ())

    def going_on(self) -> tuple[Snapshot, list[Event], bool]:
        """Give what an engine goes on from.

        Returns:
            The newest state that can be read, the events after it, and whether that is all there
            was. It is not where the journal is damaged, where the state is of an earlier version
            than the newest, and where none can be read: then people's orders are all the events.
        """
        snapshot = self.readable_snapshot()
        newest = self._query("SELECT engine FROM snapshots ORDER BY n DESC LIMIT 1", ())
        if snapshot.state_json is None and newest:
            return snapshot, list(self._orders()), False
        before = len(self.damaged)
        events = [row.event for row in self.journal(after=snapshot.n, upto=self.last_n())]
        same_version = not newest or snapshot.version == newest[0]["engine"]
        return snapshot, events, same_version and len(self.damaged) == before

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
        boots: dict[str, set[str]] = {}
        for line in self._lines(from_utc_s=from_utc_s):
            event = line.event
            if event["at_utc_s"] < from_utc_s or event.get("boot") is None:
                continue
            if event["kind"] in {"probe", "valve"}:
                valve = f"valve {event['valve']}" if event["kind"] == "valve" else ""
                boots.setdefault(valve or event["probe"], set()).add(event["boot"])
        return {node: len(boots[node]) for node in sorted(boots)}

    def garden_json(self) -> str | None:
        """Give the garden file in force when the record was last written; None in a new one."""
        snapshot = self.readable_snapshot()
        told = _garden_in(_document(snapshot.state_json))
        for line in self._lines(after=snapshot.n):
            if line.event["kind"] in {"started", "garden"}:
                told = _garden_in(line.event) or told
        return told

    def first_snapshot(self, version: str) -> Snapshot:
        """Give the first snapshot of this version that can be read; without one, the start."""
        return self._first_readable("WHERE engine = ? ORDER BY n", (version,))

    def journal(self, after: int = 0, upto: int | None = None) -> Iterator[JournalRow]:
        """Play the journal in its total order; what is damaged of it is told and left out.

        Args:
            after: The number before the first one wanted.
            upto: The last number wanted; None: the last that is there now.
        """
        for n, event, effects in self._lines(after, upto):
            yield JournalRow(
                n=n, event=EVENT_JSON.validate_python(event), effects_json=effects or "[]"
            )

    def look_through(self) -> int:
        """Tell how many events of the journal are damaged; it takes a while to unpack all of it."""
        before = len(self.damaged)
        for _ in self._lines():
            pass
        return sum(last_n - first_n + 1 for first_n, last_n in self.damaged[before:])

    def journal_since_snapshot(self, version: str) -> tuple[Snapshot, Iterator[JournalRow]]:
        """Give what a verification re-feeds: where to begin, and all that came after it.

        Args:
            version: The engine's version; without a snapshot of it the journal's start.
        """
        snapshot = self.first_snapshot(version)
        return snapshot, self.journal(after=snapshot.n)

    def last_n(self) -> int:
        """Give the highest journal number on disk, 0 for none."""
        sql = store_before.LAST_N if self._is_before() else store_batches.LAST_N
        return int(self._query(sql, ())[0]["n"])

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
        """Give the highest epoch, and the highest sequence number reserved under it.

        One beyond `EPOCH_MOST` came of a node's damaged word, and no run goes on from it.
        """
        row = self._query(
            "SELECT coalesce(max(e.epoch), 0) AS epoch, coalesce((SELECT max(seq_high) FROM "
            "reservations WHERE epoch = max(e.epoch)), 0) AS seq FROM epochs AS e WHERE epoch <= ?",
            (EPOCH_MOST,),
        )[0]
        return int(row["epoch"]), int(row["seq"])

    def _is_before(self) -> bool:
        """Whether an earlier version's tables hold the journal."""
        return bool(self._query(store_before.IS_BEFORE, ()))

    def _lines(
        self, after: int = 0, upto: int | None = None, from_utc_s: float = -math.inf
    ) -> Iterator[Line]:
        """Play the journal's lines; some may be earlier than `from_utc_s` [s, Unix]."""
        last = self.last_n() if upto is None else upto
        if self._is_before():
            rows = store_before.tape_before(self._query, after, last)
        else:
            rows = store_batches.tape(self._query, after, last, from_utc_s)
        for first_n, last_n, lines in rows:
            if lines is None:
                self.damaged.append((first_n, last_n))
                log.error("the journal is damaged: %d to %d are lost", first_n, last_n)
            yield from lines or ()

    def _orders(self) -> Iterator[Event]:
        """Give people's orders, as far back as the journal reaches."""
        told = (line.event for line in self._lines() if line.event["kind"] == "order")
        return (EVENT_JSON.validate_python(event) for event in told)

    def _snapshots(self, tail: str, params: Params) -> Iterator[Snapshot]:
        """Give snapshots one by one: a state may be a megabyte."""
        for found in self._query(f"SELECT n FROM snapshots {tail}", params):  # noqa: S608
            row = self._query(ONE_SNAPSHOT, (found["n"],))[0]
            yield Snapshot(**{**row, "state_json": unpacked(row["state_json"])})

    def _first_readable(self, tail: str, params: Params) -> Snapshot:
        for snapshot in self._snapshots(tail, params):
            if isinstance(_document(snapshot.state_json), dict):
                return snapshot
            log.error("the state kept after entry %d of the journal is damaged", snapshot.n)
        return Snapshot()


def _document(text: str | None) -> object:
    """JSON's value; None for nothing and for what is no JSON."""
    try:
        return json.loads(text or "null")
    except (ValueError, RecursionError):
        return None


def _garden_in(told: object) -> str | None:
    """The garden file in a state or an event; another version's may tell it otherwise, or not."""
    found = told.get("garden_json") if isinstance(told, dict) else None
    return found if isinstance(found, str) else None
