"""What is kept for ever of readings and weather when the journal lets go of them: their hours.

The journal reaches 30 days back; a season is longer. As it is pruned, what goes is first condensed,
in the same transaction: of each probe an hour's mean as it was told, of each mast an hour as
`sensing.sky_hours` makes it. 64 probes make about 13 MB of it in a season of seven months.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

from sqlite_utils import Database

from controller import store_schema as tables
from controller.events import EVENT_JSON, WeatherReading
from controller.sensing.sky_hours import SkyHour, hours_of, together
from controller.store_batches import Line, cut

log = logging.getLogger(__name__)

HOURLY = frozenset({"probe", "weather"})  # what is kept by the hour

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
    VALUES (?, ?, ?, ?, ?)
    ON CONFLICT (hour_utc_s, probe) DO UPDATE SET
        value = (value * readings + excluded.value * excluded.readings)
            / (readings + excluded.readings),
        soil_temp_c = coalesce(
            (soil_temp_c * readings + excluded.soil_temp_c * excluded.readings)
                / (readings + excluded.readings),
            soil_temp_c, excluded.soil_temp_c),
        readings = readings + excluded.readings"""
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
        condense(db, cut(db, old_n))
        db.execute(tables.PRUNE_SNAPSHOTS, (old_n,))
    db.execute(tables.THIN_SNAPSHOTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeHour:
    """What a probe told in an hour: the mean value, the mean soil temperature, how many readings.

    The value is in the unit in which it was told.
    """

    value: float
    soil_temp_c: float | None
    readings: int


def hours_of_probes(events: Iterable[dict[str, Any]]) -> dict[tuple[int, str], ProbeHour]:
    """Condense readings to hours, by the hour's begin [s, Unix] and the probe.

    Args:
        events: of the journal, as JSON's values; only readings of probes count.
    """
    told: dict[tuple[int, str], list[tuple[float, float | None]]] = {}
    for event in events:
        if event["kind"] == "probe":
            hour_utc_s = int(event["at_utc_s"] / 3600) * 3600
            one = (event["value"], event["soil_temp_c"])
            told.setdefault((hour_utc_s, event["probe"]), []).append(one)
    return {key: _hour_of(readings) for key, readings in told.items()}


def _hour_of(readings: list[tuple[float, float | None]]) -> ProbeHour:
    temps_c = [temp_c for _, temp_c in readings if temp_c is not None]
    return ProbeHour(
        value=sum(value for value, _ in readings) / len(readings),
        soil_temp_c=sum(temps_c) / len(temps_c) if temps_c else None,
        readings=len(readings),
    )


def condense(db: Database, going: Iterable[tuple[int, int, list[Line] | None]]) -> None:
    """Keep the hours of all readings and words of what the journal lets go of.

    Args:
        db: within a transaction.
        going: rows of the journal in order, as `store_batches.tape` tells them.
    """
    told = []
    for first_n, n, lines in going:
        if lines is None:
            log.error("the journal is damaged: %d to %d go without their hours", first_n, n)
        told += [line.event for line in lines or () if line.event["kind"] in HOURLY]
    rows = [
        (hour_utc_s, probe, hour.value, hour.soil_temp_c, hour.readings)
        for (hour_utc_s, probe), hour in hours_of_probes(told).items()
    ]
    db.conn.executemany(PROBES, rows)
    heard = [EVENT_JSON.validate_python(event) for event in told if event["kind"] == "weather"]
    words = [event for event in heard if isinstance(event, WeatherReading)]
    if not words:
        return
    totals_mm = dict(db.execute(TOTALS).fetchall())
    for hour in hours_of(words, totals_mm):
        found = list(db.query(ONE_HOUR, (hour.hour_utc_s, hour.mast)))
        whole = together(SkyHour(**found[0]), hour) if found else hour
        db.execute(SKY, asdict(whole))
