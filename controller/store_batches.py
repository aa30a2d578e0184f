"""How the journal lies on the card: events by the batch, packed, so that a batch is one page.

What is written at once is one row. A row a minute at the end of a table would still touch four
pages (its own, the one above it, the file's first, the list of free ones), each written whole into
the write-ahead log and its own once more at the checkpoint. So the last rows lie in `recent`, a
ring of slots that are written over: one page a batch. When all slots are full they are laid
together, in the transaction of the next write, as rows of up to `MOST_LINES` events in `batches`,
which is only ever added to and cut off at its old end. Slots up to its last number are stale.

In a row events of the same fields stand as columns, as JSON, deflated: a column's values are
alike. The deflated stream ends with a checksum, so what a card made of a row is found when it is
read: its events are lost then, and no others. `n` and `first_n` are the last and the first number
in a row, `to_utc_s` the latest instant. Nobody else knows how a row is packed.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Any, NamedTuple

from sqlite_utils import Database

from controller.store_clock import Query

SLOTS = 60  # batches that wait to be laid together: an hour of them, and a page each
MOST_LINES = 1_000  # events in a row: what one damaged page can take along
PAGE_BATCHES = 20  # rows fetched at once
LEVEL = 6  # zlib's own usual one

BATCHES = (
    """
    CREATE TABLE batches (
        n INTEGER PRIMARY KEY,
        first_n INTEGER NOT NULL,
        to_utc_s REAL NOT NULL,
        events BLOB NOT NULL
    ) STRICT""",
    """
    CREATE TABLE recent (
        slot INTEGER PRIMARY KEY,
        n INTEGER NOT NULL,
        first_n INTEGER NOT NULL,
        to_utc_s REAL NOT NULL,
        events BLOB NOT NULL
    ) STRICT""",
)
INSERT = "INSERT INTO batches (n, first_n, to_utc_s, events) VALUES (?, ?, ?, ?)"
REPLACE = "INSERT OR REPLACE INTO batches (n, first_n, to_utc_s, events) VALUES (?, ?, ?, ?)"
INSERT_RECENT = """
    INSERT OR REPLACE INTO recent (slot, n, first_n, to_utc_s, events) VALUES (?, ?, ?, ?, ?)"""
# Slots are filled from 0 on, so that how many are not stale is the next one.
SLOTS_USED = """
    SELECT count(*) FROM recent WHERE n > (SELECT coalesce(max(n), 0) FROM batches)"""
UNFOLDED = """
    SELECT n, first_n, to_utc_s, events FROM recent
    WHERE n > (SELECT coalesce(max(n), 0) FROM batches) ORDER BY n"""
# One statement a page: between two of them slots may have been laid together.
TAPE = """
    SELECT n, first_n, events FROM (
        SELECT n, first_n, to_utc_s, events FROM batches
        UNION ALL
        SELECT n, first_n, to_utc_s, events FROM recent
        WHERE n > (SELECT coalesce(max(n), 0) FROM batches))
    WHERE n > ?1 AND first_n <= ?2 AND to_utc_s >= ?3 ORDER BY n LIMIT ?4"""
LAST_N = """
    SELECT coalesce(max(n), 0) AS n FROM (SELECT max(n) AS n FROM batches
        UNION ALL SELECT max(n) FROM recent UNION ALL SELECT max(n) FROM snapshots)"""
NEWEST = "SELECT coalesce(max(n), 0) FROM batches"
OLD = """
    SELECT n, first_n, events FROM batches
    WHERE n <= coalesce((SELECT min(n) FROM batches WHERE n > ?1), ?1) AND first_n <= ?1
    ORDER BY n"""
DELETE = "DELETE FROM batches WHERE n = ?"
DELETE_SLOTS = "DELETE FROM recent WHERE n <= ?"  # stale, and no row is left that would tell

BatchRow = tuple[int, int, float, bytes]


class Line(NamedTuple):
    """One event of the journal as JSON's values, and what it led to as JSON text, if anything."""

    n: int
    event: dict[str, Any]
    effects: str | None


def packed(lines: Iterable[Line]) -> bytes:
    """Pack lines of the journal into one row's bytes.

    Args:
        lines: finite numbers only.
    """
    groups: dict[tuple[str, ...], list[Line]] = {}
    for line in lines:
        groups.setdefault(tuple(line.event), []).append(line)
    told = [
        {
            "n": [line.n for line in group],
            "effects": [line.effects for line in group],
            "event": {name: [line.event[name] for line in group] for name in names},
        }
        for names, group in groups.items()
    ]
    text = json.dumps(told, allow_nan=False, separators=(",", ":"))
    return zlib.compress(text.encode("ascii"), LEVEL)


def lines_of(events: bytes) -> list[Line] | None:
    """Unpack a row's bytes; the lines come in the journal's order. None: the row is damaged."""
    try:
        told = json.loads(zlib.decompress(events))
    except (zlib.error, ValueError):
        return None
    lines = []
    for group in told:
        names, columns = tuple(group["event"]), zip(*group["event"].values(), strict=True)
        for n, effects, values in zip(group["n"], group["effects"], columns, strict=True):
            lines.append(Line(n, dict(zip(names, values, strict=True)), effects))
    return sorted(lines, key=lambda line: line.n)


def rows_of(lines: Iterable[Line]) -> Iterator[BatchRow]:
    """Lay lines, in the journal's order, out in rows."""
    rest = iter(lines)
    while part := list(islice(rest, MOST_LINES)):
        to_utc_s = max(float(line.event["at_utc_s"]) for line in part)
        yield part[-1].n, part[0].n, to_utc_s, packed(part)


def put(db: Database, lines: Sequence[Line]) -> None:
    """Write lines, as one row or as few as there can be.

    Args:
        db: within a transaction.
        lines: in the journal's order, all after what is there.
    """
    for row in rows_of(lines):
        used = db.execute(SLOTS_USED).fetchone()[0]
        if used >= SLOTS:
            _fold(db)
            used = 0
        db.execute(INSERT_RECENT, (used, *row))


def _fold(db: Database) -> None:
    """Lay the slots together; a damaged one is kept as it is, so that what it lost can be told."""
    whole: list[Line] = []
    rows: list[BatchRow] = []
    for row in db.execute(UNFOLDED).fetchall():
        lines = lines_of(row[-1])
        if lines is None:
            rows += [*rows_of(whole), row]
            whole = []
        else:
            whole += lines
    db.conn.executemany(INSERT, [*rows, *rows_of(whole)])


def cut(db: Database, old_n: int) -> Iterator[tuple[int, int, list[Line] | None]]:
    """Let the journal go up to a number; what goes, as `tape` tells it.

    Args:
        db: within a transaction.
        old_n: the last number that goes.
    """
    if old_n >= db.execute(NEWEST).fetchone()[0]:
        _fold(db)
    for n, first_n, events in db.execute(OLD, (old_n,)).fetchall():
        lines = lines_of(events)
        stays = [line for line in lines or () if line.n > old_n]
        if n > old_n and not stays:
            continue  # a damaged one, of which some is not old
        if stays:
            db.conn.executemany(REPLACE, rows_of(stays))
        else:
            db.execute(DELETE, (n,))
        yield first_n, n, lines and [line for line in lines if line.n <= old_n]
    db.execute(DELETE_SLOTS, (old_n,))


def tape(
    query: Query, after: int, upto: int, from_utc_s: float
) -> Iterator[tuple[int, int, list[Line] | None]]:
    """Play rows in order: the first number in each, the last, and its lines; None: damaged.

    Args:
        query: runs one SELECT and gives all its rows; raises StoreError.
        after: the number before the first one wanted.
        upto: the last number wanted.
        from_utc_s: rows that end before it are left out [s, Unix].
    """
    while page := query(TAPE, (after, upto, from_utc_s, PAGE_BATCHES)):
        for row in page:
            lines = lines_of(row["events"])
            if lines is not None:
                lines = [line for line in lines if after < line.n <= upto]
            yield max(row["first_n"], after + 1), row["n"], lines
            after = row["n"]
