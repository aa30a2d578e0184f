"""A real garden's first night: not armed, walked by the command, then watered by itself.

The virtual nodes and the command in processes of their own, over a real broker; the daemon and its
page in this one, since `--speed` on the command line counts as armed.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.keeper import Keeper
from controller.clock import ScaledClock, anchor_from
from controller.datafolder import DataFolder
from controller.garden import load_garden
from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import LiveGarden, assert_ledger_covers, until

pytestmark = pytest.mark.broker

BEDS = ["south", "wall", "low", "hedge"]
MIDNIGHT = datetime(2026, 7, 16, 6, 0, tzinfo=UTC)  # 23:00 at the plot: within its hours


@pytest.fixture
def garden(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[LiveGarden]:
    """Nodes that run: one bed dry, the others wet."""
    live = LiveGarden(tmp_path / "plot", mosquitto.url, sim=MIDNIGHT)
    dry = [f"--depletion={bed}={0.45 if bed == 'south' else 0.1}" for bed in BEDS]
    live.start_bench(*dry)
    yield live
    live.close()


@pytest.fixture
def keeper(garden: LiveGarden) -> Iterator[Keeper]:
    """A daemon that is not armed."""
    clock = ScaledClock(garden.clock.speed, anchor_from(garden.environment))
    setting = load_garden(garden.garden_file)
    kept = Keeper(setting, DataFolder(garden.data), clock, armed=False, port=0)
    kept.start()
    garden.fixed_url = kept.url
    yield kept
    kept.stop()


@pytest.mark.hazard("V9", "E6")
def test_a_garden_is_not_armed_until_the_walk_and_waters_after_it(
    garden: LiveGarden, keeper: Keeper
) -> None:
    until(lambda: keeper.daemon.picture_now()["ready"], 30.0, "the end of the quiet start")
    until(lambda: "not_armed" in garden.alerts(), 20.0, "its alert")
    status, said = garden.water("south", 20.0)
    assert (status, said["reason"]) == (409, "not_armed")
    assert garden.truth().litres("south") == 0.0
    place = ["--data", str(garden.data)]
    done = garden.command("walk", str(garden.garden_file), *place, "--yes", "--json")
    assert done.returncode == 0, done.stdout + done.stderr
    told = json.loads(done.stdout)
    assert told["armed"]
    for bed in BEDS:
        walked = told["beds"][bed]
        assert (walked["armed"], walked["verdict"], walked["confirmed"]) == (True, "ok", "meter")
        # a true emitter gives 5 % more or less, and 2 of 100 give nothing
        assert walked["flow_l_min"] == pytest.approx(walked["expected_l_min"], rel=0.15)
    assert told["all_closed"]["flow_l_min"] == 0.0
    until(lambda: "not_armed" not in garden.alerts(), 20.0, "the end of its alert")
    walked_l = garden.truth().litres("south")
    assert walked_l > 0.0
    until(lambda: garden.truth().litres("south") > walked_l + 5.0, 60.0, "water of its own accord")
    assert {row["bed"] for row in garden.ledger()} == set(BEDS)
    keeper.stop()
    assert_ledger_covers(garden, BEDS)
    again = garden.command("verify", *place)
    assert again.returncode == 0, again.stdout + again.stderr
