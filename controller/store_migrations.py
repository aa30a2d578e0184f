"""What makes a database of any earlier version one of today's, in order and each once."""

from __future__ import annotations

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

from controller import store_before as before
from controller import store_hours as hours
from controller import store_schema as tables

migrations = Migrations("thirstline")


@migrations()
def version_1(db: Database) -> None:
    """Make the first tables."""
    for statement in tables.SCHEMA_1:
        db.execute(statement)


@migrations()
def season_book(db: Database) -> None:
    """Make the table of picks."""
    for statement in tables.SEASON_BOOK:
        db.execute(statement)


@migrations()
def season_hours(db: Database) -> None:
    """Make the tables of what outlives the journal."""
    for statement in hours.SEASON_HOURS:
        db.execute(statement)


@migrations()
def packed_journal(db: Database) -> None:
    """Move the journal into batches."""
    before.move(db)
