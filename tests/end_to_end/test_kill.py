"""kill -9 at any moment of a dose: the water stops with its lease, and the books say enough.

Everything runs in processes of its own over a real broker, 60 times as fast as a garden. The
moments are drawn from a seed that a failure names, from before the order is heard to after the last
valve has closed.
"""

from __future__ import annotations

import os
import random
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import LEASE_S, LiveGarden, assert_ledger_covers, tell, until

SPEED = 60.0
TRIALS = 150 if os.environ.get("THIRSTLINE_RELEASE") else 25  # gardens, two kills each
SEED = 20260715
AT_ONCE = 2
GRACE_S = max(2.0, 0.25 * SPEED)  # [s] garden time: the larger of 2 s and a quarter of a real one
BEDS = ["south", "wall", "low", "hedge"]
VALVES = [*BEDS, "master"]
PATIENCE_S = 60.0  # [s] real
EARLY_S, LATE_S = 0.06, 4.8  # [s] real since the order: around the record; to after the last close


@dataclass(frozen=True, slots=True, kw_only=True)
class Kill:
    """One kill -9 and what was true around it."""

    trial: int
    bed: str
    after_s: float  # [s] real, since the order was given
    flowing: bool
    over_s: float  # [s] garden time that a valve stayed open after it
    heard: bool  # the record knows the order
    safe_s: float  # [s] garden time from the restart to the first judgement, after the quiet start


def moment(rng: random.Random) -> float:
    """A moment after the order [s real]; one in four lies around the record being written."""
    return rng.uniform(0.0, EARLY_S) if rng.random() < 0.25 else rng.uniform(EARLY_S, LATE_S)


def order_and_kill(garden: LiveGarden, trial: int, bed: str, rng: random.Random) -> Kill:
    """Order a small dose, kill the daemon at a random moment of it, and start it again."""
    litres, after_s = round(rng.uniform(5.0, 8.0), 1), moment(rng)
    before = len(garden.ledger())
    ordering = threading.Thread(target=_order, args=(garden, bed, litres))
    ordering.start()
    time.sleep(after_s)
    killed_utc_s = garden.kill_daemon()
    ordering.join()
    # what the dead one had sent is heard first, so that an opening after this is the next one's
    # a quick start closes all; in every other trial it comes when leases have run out by themselves
    down_s = GRACE_S if trial % 2 else LEASE_S + GRACE_S
    until(lambda: garden.clock.now_utc_s() >= killed_utc_s + down_s, PATIENCE_S, "its last words")
    restarted_utc_s = garden.clock.now_utc_s()
    garden.start_daemon()
    return _judged(garden, trial, bed, after_s, (killed_utc_s, restarted_utc_s), before)


def _order(garden: LiveGarden, bed: str, litres: float) -> None:
    try:
        status, said = garden.water(bed, litres)
    except OSError:
        return  # killed before it could answer
    assert status == 202, said


def _judged(
    garden: LiveGarden,
    trial: int,
    bed: str,
    after_s: float,
    times_utc_s: tuple[float, float],
    before: int,
) -> Kill:
    killed_utc_s, restarted_utc_s = times_utc_s
    truth = garden.truth()
    where = f"seed {SEED}-{trial}, {bed}, killed {after_s:.3f} s after the order"
    still_open = [valve for valve in VALVES if truth.open_now(valve)]
    assert still_open == [], f"{where}: open when the quiet start is over"
    assert truth.opened_since(VALVES, restarted_utc_s) == [], f"{where}: a restart opened a valve"
    ends = [o for valve in VALVES for o in truth.openings(valve)]
    over_s = max([(o.to_utc_s or 0.0) - killed_utc_s for o in ends], default=0.0)
    assert over_s <= LEASE_S + GRACE_S, f"{where}: water flowed {over_s:.1f} s after the kill"
    return Kill(
        trial=trial,
        bed=bed,
        after_s=after_s,
        flowing=any(o.from_utc_s <= killed_utc_s < (o.to_utc_s or 0.0) for o in ends),
        over_s=max(0.0, over_s),
        heard=len(garden.ledger()) > before,
        safe_s=_first_judged_utc_s(garden, restarted_utc_s) - restarted_utc_s,
    )


def _first_judged_utc_s(garden: LiveGarden, after_utc_s: float) -> float:
    """When a decision was first said after an instant, by the record."""
    found: list[float] = []

    def judged() -> bool:
        rows = garden.get("/api/log?limit=500")["rows"]
        times = [_utc_s(row["at"]) for row in rows if _judges(row)]
        found[:] = [at_utc_s for at_utc_s in times if at_utc_s >= after_utc_s - 1.0]
        return bool(found)

    until(judged, PATIENCE_S, "a decision after the restart")
    return min(found)


def _judges(row: dict[str, Any]) -> bool:
    return row["what"] == "decision" and row["code"] != "quiet_start"


def _utc_s(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def live_through(trial: int, folder: Path, url: str, kills: int) -> list[Kill]:
    """One garden of its own: order, kill, restart, and the books at the end."""
    rng = random.Random(f"{SEED}-{trial}")
    garden = LiveGarden(folder, url, speed=SPEED, garden_id=f"plot-{trial}")
    try:
        garden.start_bench(*(f"--depletion={bed}=0.25" for bed in BEDS))
        garden.start_daemon()
        found = [order_and_kill(garden, trial, bed, rng) for bed in BEDS[:kills]]
        assert_ledger_covers(garden, BEDS)
        assert garden.end_daemon() == 0
        verified = garden.command("verify", "--data", str(garden.data))
        assert verified.returncode == 0, verified.stdout + verified.stderr
    finally:
        garden.close()
    return found


@pytest.mark.hazard("C1")
@pytest.mark.broker
def test_one_killed_daemon_leaves_its_valves_to_their_leases(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    assert len(live_through(0, tmp_path / "0", mosquitto.url, kills=2)) == 2


@pytest.mark.hazard("C1")
@pytest.mark.broker
@pytest.mark.slow
def test_fifty_kills_each_stop_the_water_within_a_lease_and_keep_the_books(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with ThreadPoolExecutor(AT_ONCE) as pool:
        trials = pool.map(
            lambda n: live_through(n, tmp_path / str(n), mosquitto.url, kills=2), range(TRIALS)
        )
        kills = [kill for trial in trials for kill in trial]
    assert len(kills) == 2 * TRIALS
    safe_s = sorted(kill.safe_s for kill in kills)
    over_s = max(kill.over_s for kill in kills)
    tell(
        f"{len(kills)} kills, water at most {over_s:.1f} s after one; first judged after a "
        f"restart: {safe_s[len(safe_s) // 2]:.0f} s, at most {safe_s[-1]:.0f} s (garden time)"
    )
    assert min(safe_s) >= LEASE_S + 45.0  # never within the quiet start
    # the moments really lie all over a dose, before it and after it
    assert sum(kill.flowing for kill in kills) >= 10, kills
    assert sum(kill.heard and not kill.flowing for kill in kills) >= 5, kills
    assert min(kill.after_s for kill in kills) < EARLY_S
    assert max(kill.over_s for kill in kills) > LEASE_S / 2.0
