"""A backup beside a running daemon, and the way back, by the commands and over a real broker."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import LiveGarden, assert_ledger_covers, until

pytestmark = pytest.mark.broker

BEDS = ["south", "wall", "low", "hedge"]


def given(garden: LiveGarden, bed: str, doses: int) -> None:
    """Water a bed, and wait for the end of the dose."""
    assert garden.water(bed, 6.0)[0] == 202

    def ended() -> bool:
        rows = garden.ledger()
        return len(rows) == doses and rows[-1]["outcome"] is not None

    until(ended, 30.0, "the end of the dose")


@pytest.mark.hazard("S4")
def test_a_backup_of_a_running_daemon_comes_back_and_opens_nothing(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    garden = LiveGarden(tmp_path / "plot", mosquitto.url, speed=60.0)
    place = ["--data", str(garden.data)]
    try:
        garden.start_bench(*(f"--depletion={bed}=0.2" for bed in BEDS))
        garden.start_daemon()
        given(garden, "south", doses=1)
        done = garden.command("backup", str(tmp_path / "stick"), *place, "--keep", "2", "--json")
        assert done.returncode == 0, done.stderr
        told = json.loads(done.stdout)
        assert (told["proved"], told["manifest"]["openings"]) == (True, 1)
        backup = Path(told["path"])
        assert (backup / "garden.toml").read_bytes() == garden.garden_file.read_bytes()
        given(garden, "hedge", doses=2)
        refused = garden.command("restore", str(backup), *place)
        assert refused.returncode == 1, refused.stdout
        assert "holds this data folder" in refused.stderr
        assert garden.end_daemon() == 0
        assert_ledger_covers(garden, BEDS)
        before_l = {bed: garden.truth().litres(bed) for bed in BEDS}
        back = garden.command("restore", str(backup), *place)
        assert back.returncode == 0, back.stderr
        assert "For 24 hours it opens nothing" in back.stdout
        assert len(list(garden.data.glob("thirstline.db.replaced-*"))) >= 1
        garden.start_daemon()
        assert "history_lost" in garden.alerts()
        for bed in BEDS:
            status, said = garden.water(bed, 6.0)
            assert (status, said["reason"]) == (409, "budget_spent"), bed
        assert len(garden.ledger()) == 1
        assert garden.end_daemon() == 0
        assert {bed: garden.truth().litres(bed) for bed in BEDS} == before_l
        again = garden.command("verify", *place)
        assert again.returncode == 0, again.stdout + again.stderr
    finally:
        garden.close()
