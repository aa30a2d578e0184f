"""The journal as tables of versions 1 to 3 hold it: read as it is, and moved over once.

There a probe's reading stood in `readings` alone, except where its columns could not give the same
bits back (-0.0, huge counters); that and every other event stood in `journal`, as JSON.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from sqlite_utils import Database

from controller.store_batches import BATCHES, INSERT, Line, rows_of
from controller.store_clock import Query

PAGE_ROWS = 1_000  # rows fetched at once
PAGE = """
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
IS_BEFORE = "SELECT name FROM sqlite_master WHERE type = 'table' AND name = 'readings'"
FIELDS = ("at_utc_s", "mono_s", "probe", "value", "soil_temp_c", "battery_v", "seq", "boot")
AFTER_THE_MOVE = ("DROP TABLE journal", "DROP TABLE readings", "UPDATE meta SET schema = 4")


def tape_before(
    query: Query, after: int, upto: int
) -> Iterator[tuple[int, int, list[Line] | None]]:
    """Play the earlier tables as `store_batches.tape` plays today's.

    Args:
        query: runs one SELECT and gives all its rows; raises StoreError.
        after: the number before the first one wanted.
        upto: the last number wanted.
    """
    while page := query(PAGE, (after, upto, PAGE_ROWS)):
        whole: list[Line] = []
        for row in page:
            event = _event_of(row)
            if event is not None:
                whole.append(Line(row["n"], event, row["effects"]))
                continue
            if whole:
                yield whole[0].n, whole[-1].n, whole
            yield row["n"], row["n"], None
            whole = []
        if whole:
            yield whole[0].n, whole[-1].n, whole
        after = page[-1]["n"]


def move(db: Database) -> None:
    """Make today's tables and move the journal over, number by number.

    What cannot be read of it stays a row that is damaged, so that it can be told.

    Args:
        db: within a transaction.
    """

    def query(sql: str, params: tuple[object, ...]) -> list[dict[str, Any]]:
        return list(db.query(sql, params))

    for statement in BATCHES:
        db.execute(statement)
    last_n = int(query(LAST_N, ())[0]["n"])
    for first_n, n, lines in tape_before(query, 0, last_n):
        rows = [(n, first_n, 0.0, b"")] if lines is None else rows_of(lines)
        db.conn.executemany(INSERT, rows)
    for statement in AFTER_THE_MOVE:
        db.execute(statement)


def _event_of(row: dict[str, Any]) -> dict[str, Any] | None:
    if row["event"] is None:
        return {"kind": "probe", **{name: row[name] for name in FIELDS}, "not_now": ""}
    try:
        told = json.loads(row["event"])
        float(told["at_utc_s"])
    except (ValueError, KeyError, TypeError):
        return None
    return dict(told)
