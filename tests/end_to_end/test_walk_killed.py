"""A walk whose daemon is killed goes on where it was, and no valve outlives its lease.

Killed while the master stands open with every bed closed, and again while a bed is measured. All in
processes of their own over a real broker; judged on the nodes' own timeline.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import (
    LEASE_S,
    LiveGarden,
    assert_ledger_covers,
    tell,
    until,
)

pytestmark = pytest.mark.broker

SPEED = 60.0
BEDS = ["south", "wall", "low", "hedge"]
VALVES = [*BEDS, "master"]
GRACE_S = 15.0  # [s] garden time: a quarter of a real second
PATIENCE_S = 90.0  # [s] real


class Unarmed(LiveGarden):
    """A garden whose daemon is a newcomer's: nothing is armed."""

    def start_daemon(self, *, wait: bool = True) -> None:
        """Start it on the folder; `wait` until its quiet start is over."""
        words = ["-m", "tests.end_to_end.unarmed_run", str(self.garden_file), f"{SPEED:g}"]
        with self.log_file.open("ab") as out:
            self.daemon = subprocess.Popen(
                [sys.executable, *words],
                cwd=self.garden_file.parent,
                env={**self.environment, "STATE_DIRECTORY": str(self.data)},
                stdout=out,
                stderr=out,
            )
        if wait:
            self.wait_ready()

    def walk_now(self) -> dict[str, Any]:
        """What is walked at this moment; empty between two valves."""
        return self.get()["walk"]["now"] or {}

    def begin(self) -> None:
        status, said = self.post("/api/walk", {"yes": True})
        assert status in {200, 202}, said

    def kill_open(self, valve: str, at: str) -> float:
        """SIGKILL while the walk is at a test or bed and this valve is truly open."""

        def here() -> bool:
            now = self.walk_now()
            return at in {now.get("bed"), now.get("test")} and self.truth().open_now(valve)

        until(here, PATIENCE_S, f"the walk at {at}")
        return self.kill_daemon()


@pytest.fixture
def garden(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[Unarmed]:
    live = Unarmed(tmp_path / "plot", mosquitto.url, speed=SPEED)
    live.start_bench(*(f"--depletion={bed}=0.2" for bed in BEDS))
    live.start_daemon()
    yield live
    live.close()


def assert_lapsed(garden: Unarmed, killed_utc_s: float) -> float:
    """Every valve shuts with its lease and none opens again; how long water ran on [s]."""
    until(
        lambda: not any(garden.truth().open_now(valve) for valve in VALVES),
        PATIENCE_S,
        "shut valves",
    )
    ends = [one.to_utc_s or 0.0 for v in VALVES for one in garden.truth().openings(v)]
    over_s = max(ends) - killed_utc_s
    assert over_s <= LEASE_S + GRACE_S
    return over_s


@pytest.mark.hazard("C1", "V9")
def test_a_walk_whose_daemon_is_killed_goes_on_and_no_valve_outlives_its_lease(
    garden: Unarmed,
) -> None:
    garden.begin()
    over_s = [assert_lapsed(garden, garden.kill_open("master", "gate"))]
    restarted_utc_s = garden.clock.now_utc_s()
    garden.start_daemon()
    assert garden.truth().opened_since(VALVES, restarted_utc_s) == [], "nothing resumes by itself"
    assert garden.get()["walk"]["now"] is None
    assert garden.water("south", 5.0)[1]["reason"] == "not_armed"
    garden.begin()
    until(lambda: garden.get()["walk"]["beds"]["south"]["verdict"] == "ok", PATIENCE_S, "south")
    over_s.append(assert_lapsed(garden, garden.kill_open("wall", "wall")))
    walked = garden.truth().openings("south")
    restarted_utc_s = garden.clock.now_utc_s()
    garden.start_daemon()
    assert garden.truth().opened_since(VALVES, restarted_utc_s) == []
    beds = garden.get()["walk"]["beds"]
    assert {bed: beds[bed]["verdict"] for bed in BEDS} == {
        "south": "ok",
        "wall": None,
        "low": None,
        "hedge": None,
    }
    place = ["--data", str(garden.data)]
    done = garden.command("walk", str(garden.garden_file), *place, "--yes", "--json")
    assert done.returncode == 0, done.stdout + done.stderr
    told = json.loads(done.stdout)
    assert told["armed"]
    assert {told["beds"][bed]["verdict"] for bed in BEDS} == {"ok"}
    assert garden.truth().openings("south") == walked, "what was walked is not walked again"
    tell(f"water ran on for {over_s[0]:.1f} and {over_s[1]:.1f} s of garden time")
    assert garden.end_daemon() == 0
    assert_ledger_covers(garden, BEDS)
    outcomes = [row["outcome"] for row in garden.ledger()]
    assert outcomes.count("ASSUMED_FULL") == 2, "what the kills cut is charged in full"
    again = garden.command("verify", *place)
    assert again.returncode == 0, again.stdout + again.stderr
