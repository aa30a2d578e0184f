"""A record as an earlier version of the tables left it, made of one of today's."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from typing import Any

from controller.datafolder import DataFolder
from controller.store import open_reader
from controller.store_before import FIELDS
from controller.store_schema import SCHEMA_1

JOURNAL_1 = tuple(sql for sql in SCHEMA_1 if " journal (" in sql or " readings (" in sql)
READING_1 = (
    f"INSERT INTO readings (n, effects, {', '.join(FIELDS)}) "  # noqa: S608
    f"VALUES (?, ?{', ?' * len(FIELDS)})"
)
TAKEN_AWAY = {  # by the version that made them
    4: ("packed_journal", ("batches", "recent")),
    3: ("season_hours", ("probe_hours", "sky_hours")),
    2: ("season_book", ("picks",)),
}


def set_back(folder: DataFolder, schema: int) -> None:
    """Make the record what this version of the tables, 1 to 3, left; nobody holds the folder."""
    with open_reader(folder) as reader:
        lines = list(reader._lines())
    with closing(sqlite3.connect(folder.database)) as db:
        for version, (migration, tables) in TAKEN_AWAY.items():
            if version > schema:
                for table in tables:
                    db.execute(f"DROP TABLE {table}")
                db.execute("DELETE FROM _sqlite_migrations WHERE name = ?", (migration,))
        for sql in JOURNAL_1:
            db.execute(sql)
        for n, event, effects in lines:
            lay_down(db, n, event, effects)
        db.execute("UPDATE meta SET schema = ?", (schema,))
        db.commit()


def lay_down(db: sqlite3.Connection, n: int, event: dict[str, Any], effects: str | None) -> None:
    """One line as those versions kept it."""
    odd = any(repr(value) == "-0.0" for value in event.values()) or event.get("not_now")
    if event["kind"] == "probe" and not odd and abs(event["seq"] or 0) < 2**63:
        db.execute(READING_1, (n, effects, *(event[name] for name in FIELDS)))
        return
    row = (n, event["at_utc_s"], event["kind"], json.dumps(event, separators=(",", ":")), effects)
    db.execute("INSERT INTO journal VALUES (?, ?, ?, ?, ?)", row)
