"""Stopped in the middle of a dose, brought up to new tables, and never back without a backup."""

from __future__ import annotations

import signal
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from controller.datafolder import DataFolder
from controller.keeping.backup import backups_in
from controller.store_schema import SCHEMA_VERSION
from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import LEASE_S, LiveGarden, assert_ledger_covers, until
from tests.older_record import set_back

pytestmark = pytest.mark.broker

BEDS = ["south", "wall", "low", "hedge"]
ASKED_L = 60.0


@pytest.mark.hazard("C6", "C1")
@pytest.mark.parametrize(
    ("how", "schema"), [(signal.SIGTERM, 1), (signal.SIGKILL, 3)], ids=["stopped", "killed"]
)
def test_an_upgrade_in_a_dose_ends_it_backs_up_first_and_waters_within_the_limits(
    mosquitto: Mosquitto, tmp_path: Path, how: signal.Signals, schema: int
) -> None:
    garden = LiveGarden(tmp_path / "plot", mosquitto.url, speed=60.0)
    try:
        garden.start_bench(*(f"--depletion={bed}=0.2" for bed in BEDS))
        garden.start_daemon()
        assert garden.water("south", ASKED_L)[0] == 202
        until(lambda: garden.truth().open_now("south"), 20.0, "water in south")
        ended_utc_s = garden.clock.now_utc_s()
        garden.end_daemon(how)
        set_back(DataFolder(garden.data), schema)
        garden.start_daemon()  # the new version, through its quiet start
        (row,) = garden.ledger()
        assert row["outcome"] == ("CONFIRMED" if how is signal.SIGTERM else "ASSUMED_FULL")
        (made,) = backups_in(garden.data / "backups")
        assert made.manifest.why == "before an upgrade"
        with closing(sqlite3.connect(made.path / "thirstline.db")) as db:
            assert db.execute("SELECT schema FROM meta").fetchone() == (schema,)
        # one opening, over a lease after the end at the latest; it did not resume
        (opening,) = garden.truth().openings("south")
        assert opening.to_utc_s is not None
        assert opening.to_utc_s < ended_utc_s + LEASE_S + garden.clock.speed
        # what flowed before counts: together no more than the day's limit
        status, said = garden.water("south", 90_000.0)
        assert status == 409
        assert said["allowed_litres"] > 0
        assert garden.water("hedge", 8.0)[0] == 202  # south may rest its ten minutes yet
        until(lambda: len(garden.ledger()) == 2, 20.0, "another dose")
        until(lambda: garden.ledger()[1]["outcome"] == "CONFIRMED", 40.0, "its end")
        assert garden.end_daemon() == 0
        assert_ledger_covers(garden, BEDS)
        verified = garden.command("verify", "--data", str(garden.data))
        assert verified.returncode == 0, verified.stdout + verified.stderr
    finally:
        garden.close()


def test_a_record_of_a_newer_version_opens_nothing_and_says_what_to_do(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    garden = LiveGarden(tmp_path / "plot", mosquitto.url, speed=60.0)
    database = garden.data / "thirstline.db"
    try:
        garden.start_bench("--depletion=wall=0.6")
        garden.start_daemon()
        assert garden.end_daemon() == 0
        with closing(sqlite3.connect(database)) as db:
            db.execute("UPDATE meta SET schema = ?", (SCHEMA_VERSION + 1,))
            db.commit()
        before_l = garden.truth().litres("wall")
        garden.start_daemon()
        (told,) = [one for one in garden.get()["alerts"] if one["code"] == "cannot_record"]
        assert "A newer version wrote the record" in told["text"]
        assert "Install that one again" in told["text"]
        assert garden.water("wall", 6.0)[0] == 503
        assert garden.end_daemon() == 0
        assert garden.truth().litres("wall") == before_l
        log = garden.log()
        assert f"schema {SCHEMA_VERSION + 1} of a newer version; known is {SCHEMA_VERSION}" in log
        assert "thirstline restore BACKUP" in log
        with closing(sqlite3.connect(database)) as db:
            assert db.execute("SELECT schema FROM meta").fetchone() == (SCHEMA_VERSION + 1,)
        assert not list(garden.data.glob("*.bad-*"))
    finally:
        garden.close()
