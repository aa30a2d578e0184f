"""All of the record as files that anybody can read: `thirstline export GARDEN --all`.

`ledger.csv` (the stable view), `log.csv` (decisions, orders, alerts, all that was noted),
`readings.csv` (as told, in each probe's own unit), `journal.jsonl` (every other event with what it
led to, one JSON document a line), `garden.json` (the garden file in force). Rows are written as
they are read, so a long record needs no memory. `clock_synced` tells of each row whether the
board's clock was set when it was made: where it was not, its instant is doubtful.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Iterator
from pathlib import Path

from api.book_csv import cell
from api.orders import rfc3339
from controller.datafolder import DataFolder
from controller.events import EVENT_JSON, ProbeReading
from controller.store import open_reader
from controller.store_clock import ClockBook
from controller.store_reads import Reader

LEDGER = (
    "dose", "bed", "valve", "from_utc", "open_s", "charged_l", "credited_l", "outcome",
    "clock_synced",
)  # fmt: skip
LOG = ("at", "what", "bed", "code", "text", "numbers", "clock_synced")
TOLD = ("value", "soil_temp_c", "battery_v", "seq", "boot")
READINGS = ("at", "at_utc_s", "probe", *TOLD, "clock_synced")


def write_all(folder: DataFolder, out: Path) -> dict[str, int]:
    """Write all of it; tells the rows of each file.

    Args:
        folder: the data folder; a daemon may run.
        out: a folder that is there.

    Raises:
        StoreError: the record cannot be read.
        OSError: a file cannot be written.
    """
    with open_reader(folder) as reader:
        clock = reader.clock()
        counts = {
            "ledger.csv": _csv(out / "ledger.csv", LEDGER, _ledger(reader, clock)),
            "log.csv": _csv(out / "log.csv", LOG, _log(reader, clock)),
            **_journal(reader, clock, out),
        }
        garden_json = reader.garden_json()
    if garden_json is not None:
        (out / "garden.json").write_text(garden_json + "\n", encoding="utf-8")
        counts["garden.json"] = 1
    return counts


def _csv(path: Path, columns: tuple[str, ...], rows: Iterable[dict[str, object]]) -> int:
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        for row in rows:
            writer.writerow([cell(row[name]) for name in columns])
            count += 1
    return count


def _ledger(reader: Reader, clock: ClockBook) -> Iterator[dict[str, object]]:
    begun_s = reader.begun_trusted_s()
    for row in reader.ledger():
        synced = clock.at_trusted_s(begun_s.get(row["dose"], 0.0))
        yield {**row, "clock_synced": synced}


def _log(reader: Reader, clock: ClockBook) -> Iterator[dict[str, object]]:
    after = 0
    while page := reader.log(after):
        for row in page:
            yield {
                "at": rfc3339(row.at_utc_s),
                "what": row.what,
                "bed": row.bed or "",
                "code": row.code,
                "text": row.text,
                "numbers": json.dumps(row.numbers),
                "clock_synced": clock.at_n(row.n),
            }
        after = page[-1].id


def _journal(reader: Reader, clock: ClockBook, out: Path) -> dict[str, int]:
    """Readings and all other events, parted as they come."""
    counts = {"readings.csv": 0, "journal.jsonl": 0}
    with (
        (out / "readings.csv").open("w", encoding="utf-8", newline="") as readings,
        (out / "journal.jsonl").open("w", encoding="utf-8") as journal,
    ):
        writer = csv.writer(readings)
        writer.writerow(READINGS)
        for row in reader.journal():
            event = row.event
            if isinstance(event, ProbeReading):
                told = [getattr(event, name) for name in TOLD] + [int(clock.at_n(row.n))]
                at = [rfc3339(event.at_utc_s), event.at_utc_s, event.probe]
                writer.writerow([*(cell(x) if isinstance(x, str) else x for x in at), *told])
                counts["readings.csv"] += 1
            else:
                document = EVENT_JSON.dump_python(event, mode="json")
                effects = json.loads(row.effects_json)
                synced = clock.at_n(row.n)
                line = {"n": row.n, "clock_synced": synced, "event": document, "effects": effects}
                journal.write(json.dumps(line, separators=(",", ":")) + "\n")
                counts["journal.jsonl"] += 1
    return counts
