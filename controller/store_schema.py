"""The database's tables, and what one journalled event writes into them.

All tables are STRICT. Each event has a journal number `n` that rises by one; how the journal lies
in its tables is `store_batches`' own, and what `journal` and `readings` were is `store_before`'s.
`open_s`, `charged_l` are upper bounds and never null; while an opening runs they are the
reservation. Pure: makes statements, runs none.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from controller.effects import (
    EFFECTS_JSON,
    KEYED,
    Answer,
    Effect,
    Note,
    Outcome,
    Picked,
    Reserve,
    SaveEpoch,
    Settle,
)
from controller.errors import StoreError
from controller.events import EVENT_JSON, Event, Started
from controller.store_batches import Line

SCHEMA_VERSION = 4
HOUR_S = 3_600

SCHEMA_1 = (
    """
    CREATE TABLE meta (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        install TEXT NOT NULL,
        schema INTEGER NOT NULL,
        history TEXT NOT NULL CHECK (history IN ('first', 'kept', 'lost')),
        dropped INTEGER NOT NULL DEFAULT 0,
        boot_id TEXT, mono_s REAL, utc_s REAL, synced INTEGER, trusted_s REAL
    ) STRICT""",
    """
    CREATE TABLE journal (
        n INTEGER PRIMARY KEY,
        at_utc_s REAL NOT NULL,
        kind TEXT NOT NULL,
        event TEXT NOT NULL,
        effects TEXT
    ) STRICT""",
    """
    CREATE TABLE readings (
        at_utc_s REAL NOT NULL,
        probe TEXT NOT NULL,
        n INTEGER NOT NULL,
        mono_s REAL NOT NULL,
        value REAL NOT NULL,
        soil_temp_c REAL, battery_v REAL, seq INTEGER, boot TEXT,
        effects TEXT,
        PRIMARY KEY (at_utc_s, probe, n)
    ) STRICT, WITHOUT ROWID""",
    "CREATE UNIQUE INDEX readings_n ON readings (n)",
    """
    CREATE TABLE epochs (
        epoch INTEGER PRIMARY KEY,
        at_utc_s REAL NOT NULL
    ) STRICT""",
    """
    CREATE TABLE reservations (
        dose TEXT PRIMARY KEY NOT NULL,
        watering TEXT NOT NULL,
        bed TEXT NOT NULL,
        valve TEXT NOT NULL,
        by_whom TEXT NOT NULL,
        from_utc_s REAL NOT NULL,
        open_s REAL NOT NULL,
        reserved_l REAL NOT NULL,
        want_l REAL NOT NULL,
        charged_l REAL NOT NULL,
        credited_l REAL,
        outcome TEXT CHECK (outcome IN ('CONFIRMED', 'ASSUMED_FULL', 'NEVER_SENT')),
        epoch INTEGER NOT NULL REFERENCES epochs (epoch),
        seq_high INTEGER NOT NULL,
        trusted_started_s REAL NOT NULL,
        ended_trusted_s REAL
    ) STRICT""",
    "CREATE INDEX reservations_ended ON reservations (ended_trusted_s)",
    """
    CREATE TABLE notes (
        id INTEGER PRIMARY KEY,
        n INTEGER NOT NULL,
        at_utc_s REAL NOT NULL,
        what TEXT NOT NULL,
        bed TEXT,
        code TEXT NOT NULL,
        text TEXT NOT NULL,
        numbers TEXT NOT NULL
    ) STRICT""",
    """
    CREATE TABLE hourly (
        hour_utc_s INTEGER NOT NULL,
        bed TEXT NOT NULL,
        depletion_frac REAL NOT NULL,
        line_frac REAL NOT NULL,
        rain_mm REAL NOT NULL,
        given_l REAL NOT NULL,
        PRIMARY KEY (hour_utc_s, bed)
    ) STRICT, WITHOUT ROWID""",
    """
    CREATE TABLE snapshots (
        n INTEGER PRIMARY KEY,
        engine TEXT NOT NULL,
        trusted_s REAL NOT NULL,
        state TEXT NOT NULL
    ) STRICT""",
    """
    CREATE VIEW ledger AS SELECT
        dose, bed, valve,
        strftime('%Y-%m-%dT%H:%M:%SZ', from_utc_s, 'unixepoch') AS from_utc,
        open_s, charged_l, credited_l, outcome
    FROM reservations""",
)

SEASON_BOOK = (
    """
    CREATE TABLE picks (
        id INTEGER PRIMARY KEY,
        n INTEGER NOT NULL,
        at_utc_s REAL NOT NULL,
        bed TEXT NOT NULL,
        on_day TEXT NOT NULL,
        variety TEXT NOT NULL,
        kg REAL NOT NULL,
        cracked INTEGER NOT NULL,
        black_ended INTEGER NOT NULL,
        taken_back INTEGER NOT NULL DEFAULT 0
    ) STRICT""",
    "UPDATE meta SET schema = 2",
)

# A dose that is there already with the very same numbers is a retry and counts as written.
INSERT_RESERVATION = """
    INSERT INTO reservations (dose, watering, bed, valve, by_whom, from_utc_s, open_s, reserved_l,
        want_l, charged_l, epoch, seq_high, trusted_started_s)
    VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?8, ?10, ?11, ?12)
    ON CONFLICT (dose) DO UPDATE SET dose = excluded.dose
    WHERE bed = ?3 AND valve = ?4 AND from_utc_s = ?6 AND reserved_l = ?8 AND epoch = ?10
        AND seq_high = ?11"""
# The first end stands and its charge can only rise: later knowledge never refills the budget.
SETTLE = """
    UPDATE reservations SET
        outcome = CASE WHEN outcome IS NULL OR outcome = 'NEVER_SENT' THEN ?2 ELSE outcome END,
        open_s = CASE WHEN outcome IS NULL THEN ?3 ELSE max(open_s, ?3) END,
        charged_l = CASE WHEN outcome IS NULL THEN ?4 ELSE max(charged_l, ?4) END,
        credited_l = CASE WHEN outcome IS NULL THEN ?5 ELSE max(credited_l, ?5) END,
        ended_trusted_s = CASE WHEN outcome IS NULL THEN ?6 ELSE max(ended_trusted_s, ?6) END
    WHERE dose = ?1"""
# What is unknown counts as given: charged in full, and credited with what was wanted.
ASSUME_FULL = """
    UPDATE reservations SET outcome = 'ASSUMED_FULL', credited_l = want_l, ended_trusted_s = ?
    WHERE outcome IS NULL"""
INSERT_EPOCH = "INSERT OR IGNORE INTO epochs (epoch, at_utc_s) VALUES (?, ?)"
INSERT_NOTE = """
    INSERT INTO notes (n, at_utc_s, what, bed, code, text, numbers) VALUES (?, ?, ?, ?, ?, ?, ?)"""
INSERT_PICK = """
    INSERT INTO picks (n, at_utc_s, bed, on_day, variety, kg, cracked, black_ended)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?)"""
TAKE_PICK_BACK = """
    UPDATE picks SET taken_back = 1 WHERE id = (
        SELECT max(id) FROM picks WHERE bed = ? AND on_day = ? AND taken_back = 0)"""
INSERT_HOUR = """
    INSERT OR REPLACE INTO hourly (hour_utc_s, bed, depletion_frac, line_frac, rain_mm, given_l)
    VALUES (?, ?, ?, ?, ?, ?)"""
INSERT_SNAPSHOT = (
    "INSERT OR REPLACE INTO snapshots (n, engine, trusted_s, state) VALUES (?, ?, ?, ?)"
)
INSERT_META = "INSERT INTO meta (id, install, schema, history) VALUES (1, ?, ?, ?)"
# Age is trusted time: a wall clock that jumps deletes nothing. A snapshot that opens the rest of
# the journal stays. The ledger is never pruned.
OLD_N = "SELECT max(n) AS n FROM snapshots WHERE trusted_s <= ?"
# Where the record is too large one more day of the journal goes, while a whole one is left.
EXCESS_N = """
    SELECT min(n) AS n FROM snapshots WHERE n > (SELECT min(n) FROM snapshots)
        AND trusted_s <= (SELECT max(trusted_s) FROM snapshots) - 86400"""
USED_BYTES = """
    SELECT (c.page_count - f.freelist_count) * s.page_size AS bytes
    FROM pragma_page_count() AS c, pragma_freelist_count() AS f, pragma_page_size() AS s"""
PRUNE_SNAPSHOTS = "DELETE FROM snapshots WHERE n < ?"
# The three newest stay, the first of each day of trusted time, the first of each version.
THIN_SNAPSHOTS = """
    DELETE FROM snapshots
    WHERE n NOT IN (SELECT n FROM snapshots ORDER BY n DESC LIMIT 3)
        AND n NOT IN (SELECT min(n) FROM snapshots GROUP BY CAST(trusted_s / 86400 AS INTEGER))
        AND n NOT IN (SELECT min(n) FROM snapshots GROUP BY engine)"""
HISTORY_TOLD = "UPDATE meta SET history = 'kept'"
KEEP_STAMP = """
    UPDATE meta SET boot_id = ?, mono_s = ?, utc_s = ?, synced = ?, trusted_s = ?,
        dropped = dropped + ?"""

Params = tuple[object, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """One statement to run. `if_none` says what it means when it changed no row."""

    sql: str
    params: Params = ()
    if_none: Literal["fine", "warn", "refuse"] = "fine"
    about: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One event made ready for writing: its line of the journal and what else it changes."""

    line: Line
    statements: tuple[Statement, ...] = ()
    needs_disk: bool = False

    @property
    def is_reading(self) -> bool:
        """Whether it is a probe's reading."""
        return bool(self.line.event["kind"] == "probe")


def needs_disk(effects: Sequence[Effect]) -> bool:
    """Tell whether these effects have to be on disk before anything follows from them."""
    return any(
        isinstance(effect, Reserve | Settle | SaveEpoch | Picked)
        or (isinstance(effect, Note) and effect.durable)
        or (isinstance(effect, Answer) and effect.order.startswith(KEYED))
        for effect in effects
    )


def effects_json(effects: Sequence[Effect]) -> str:
    """Write effects the way the journal keeps them, so that two runs can be compared as text.

    Raises:
        StoreError: A number in them is not finite.
    """
    return _finite_json(EFFECTS_JSON.dump_python(list(effects), mode="json"), "effects")


def prepare(n: int, event: Event, effects: Sequence[Effect]) -> Entry:
    """Make one event and what it led to ready for writing.

    Args:
        n: Its journal number.
        event: What reached the engine.
        effects: What the engine answered.

    Raises:
        StoreError: A number in them is not finite; it could never be read back.
    """
    answered = effects_json(effects) if effects else None
    document = EVENT_JSON.dump_python(event, mode="json")
    _finite_json(document, event.kind)
    statements = [s for effect in effects for s in _statements(n, event.at_utc_s, effect)]
    if isinstance(event, Started):  # from here on the journal tells what became of the history
        statements.append(Statement(sql=HISTORY_TOLD))
    return Entry(
        line=Line(n, document, answered),
        statements=tuple(statements),
        needs_disk=needs_disk(effects),
    )


def _finite_json(value: object, about: str) -> str:
    try:
        return json.dumps(value, allow_nan=False, separators=(",", ":"))
    except ValueError as exc:
        msg = f"journal: {about}: a number is not finite; only finite numbers are kept"
        raise StoreError(msg) from exc


def _statements(n: int, at_utc_s: float, effect: Effect) -> Iterator[Statement]:
    match effect:
        case Reserve():
            yield _reserve(effect)
        case Settle():
            yield _settle(effect)
        case SaveEpoch():
            yield Statement(sql=INSERT_EPOCH, params=(effect.epoch, at_utc_s))
        case Note():
            yield _note(n, at_utc_s, effect)
        case Picked():
            yield _pick(n, at_utc_s, effect)
        case _:
            return  # leases, closes, alerts and answers stand in the journal only


def _reserve(effect: Reserve) -> Statement:
    return Statement(
        sql=INSERT_RESERVATION,
        params=(
            effect.dose,
            effect.watering,
            effect.bed,
            effect.valve,
            effect.by,
            effect.from_utc_s,
            effect.open_s,
            effect.reserved_l,
            effect.want_l,
            effect.epoch,
            effect.seq_high,
            effect.trusted_s,
        ),
        if_none="refuse",
        about=f"dose {effect.dose} is already reserved with other numbers",
    )


def _settle(effect: Settle) -> Statement:
    amounts = (effect.open_s, effect.charged_l, effect.credited_l)
    if effect.outcome is Outcome.NEVER_SENT:
        amounts = (0.0, 0.0, 0.0)
    return Statement(
        sql=SETTLE,
        params=(effect.dose, effect.outcome.value, *amounts, effect.ended_trusted_s),
        if_none="warn",
        about=f"dose {effect.dose} ended but was never reserved: only the journal tells of it",
    )


def _pick(n: int, at_utc_s: float, pick: Picked) -> Statement:
    if pick.taken_back:
        about = f"a pick of {pick.bed} on {pick.on} is taken back but stands nowhere"
        return Statement(
            sql=TAKE_PICK_BACK, params=(pick.bed, pick.on), if_none="warn", about=about
        )
    what = (pick.variety, float(pick.kg), pick.cracked, pick.black_ended)
    return Statement(sql=INSERT_PICK, params=(n, at_utc_s, pick.bed, pick.on, *what))


def _note(n: int, at_utc_s: float, note: Note) -> Statement:
    """Put a bed's hourly state into `hourly`, all else into `notes`."""
    numbers = note.numbers
    if note.what == "state" and note.bed and {"depletion_frac", "line_frac"} <= numbers.keys():
        row = (
            int(at_utc_s // HOUR_S) * HOUR_S,
            note.bed,
            numbers["depletion_frac"],
            numbers["line_frac"],
            numbers.get("rain_mm", 0.0),
            numbers.get("given_l", 0.0),
        )
        return Statement(sql=INSERT_HOUR, params=row)
    packed = _finite_json(numbers, f"note {note.code}")
    return Statement(
        sql=INSERT_NOTE,
        params=(n, at_utc_s, note.what, note.bed, note.code, note.text, packed),
    )
