"""What is kept for ever of readings and weather when the journal lets go of them: their hours.

The journal reaches 30 days back; a season is longer. As it is pruned, what goes is first condensed,
in the same transaction: of each probe an hour's mean as it was told, of each mast an hour as
`sensing.sky_hours` makes it. 64 probes make about 13 MB of it in a season of seven months.
"""

from __future__ import annotations

from dataclasses import asdict

from sqlite_utils import Database

from controller import store_schema as tables
from controller.events import EVENT_JSON, WeatherReading
from controller.sensing.sky_hours import SkyHour, hours_of, together

SEASON_HOURS = (
    """
    CREATE TABLE probe_hours (
        hour_utc_s INTEGER NOT NULL,
        probe TEXT NOT NULL,
        value REAL NOT NULL,
        soil_temp_c REAL,
        readings INTEGER NOT NULL,
        PRIMARY KEY (hour_utc_s, probe)
    ) STRICT, WITHOUT ROWID""",
    """
    CREATE TABLE sky_hours (
        hour_utc_s INTEGER NOT NULL,
        mast TEXT NOT NULL,
        words INTEGER NOT NULL,
        temp_c REAL, rh_pct REAL, solar_w_m2 REAL, wind_m_s REAL,
        rain_mm REAL NOT NULL,
        rain_words INTEGER NOT NULL,
        rain_mm_total REAL,
        PRIMARY KEY (hour_utc_s, mast)
    ) STRICT, WITHOUT ROWID""",
    "UPDATE meta SET schema = 3",
)
PROBES = """
    INSERT INTO probe_hours (hour_utc_s, probe, value, soil_temp_c, readings)
    SELECT CAST(at_utc_s / 3600 AS INTEGER) * 3600 AS hour, probe, avg(value), avg(soil_temp_c),
        count(*)
    FROM readings WHERE n <= ? GROUP BY hour, probe
    ON CONFLICT (hour_utc_s, probe) DO UPDATE SET
        value = (value * readings + excluded.value * excluded.readings)
            / (readings + excluded.readings),
        soil_temp_c = coalesce(
            (soil_temp_c * readings + excluded.soil_temp_c * excluded.readings)
                / (readings + excluded.readings),
            soil_temp_c, excluded.soil_temp_c),
        readings = readings + excluded.readings"""
WORDS = "SELECT event FROM journal WHERE kind = 'weather' AND n <= ? ORDER BY n"
TOTALS = """
    SELECT mast, rain_mm_total FROM sky_hours WHERE (mast, hour_utc_s) IN (
        SELECT mast, max(hour_utc_s) FROM sky_hours WHERE rain_mm_total IS NOT NULL
        GROUP BY mast)"""
ONE_HOUR = "SELECT * FROM sky_hours WHERE hour_utc_s = ? AND mast = ?"
SKY = """
    INSERT OR REPLACE INTO sky_hours (hour_utc_s, mast, words, temp_c, rh_pct, solar_w_m2, wind_m_s,
        rain_mm, rain_words, rain_mm_total)
    VALUES (:hour_utc_s, :mast, :words, :temp_c, :rh_pct, :solar_w_m2, :wind_m_s, :rain_mm,
        :rain_words, :rain_mm_total)"""


def let_go(db: Database, old_n: int | None) -> None:
    """Drop the journal up to an entry, its hours kept, and thin out the snapshots.

    Args:
        db: within a transaction.
        old_n: the last number that goes; None: nothing does.
    """
    if old_n is not None:
        condense(db, old_n)
        for statement in tables.PRUNE:
            db.execute(statement, (old_n,))
    db.execute(tables.THIN_SNAPSHOTS)


def condense(db: Database, old_n: int) -> None:
    """Keep the hours of all readings and words up to an entry of the journal, before it goes.

    Args:
        db: within a transaction.
        old_n: the last number that goes.
    """
    db.execute(PROBES, (old_n,))
    events = [EVENT_JSON.validate_json(row[0]) for row in db.execute(WORDS, (old_n,)).fetchall()]
    words = [event for event in events if isinstance(event, WeatherReading)]
    if not words:
        return
    totals_mm = dict(db.execute(TOTALS).fetchall())
    for hour in hours_of(words, totals_mm):
        found = list(db.query(ONE_HOUR, (hour.hour_utc_s, hour.mast)))
        whole = together(SkyHour(**found[0]), hour) if found else hour
        db.execute(SKY, asdict(whole))
