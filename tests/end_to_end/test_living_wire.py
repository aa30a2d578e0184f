"""A daemon that hangs, and one that crashes again and again, seen from outside."""

from __future__ import annotations

import signal
import socket
from pathlib import Path

import pytest

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.fault_bench import BEDS, PATIENCE_S, VALVES
from tests.end_to_end.live_garden import LEASE_S, LiveGarden, assert_ledger_covers, until

pytestmark = pytest.mark.broker

HUNG_S = 20.0  # [s] real without a word of life: the service's WatchdogSec
GRACE_S = 15.0


def is_ready(garden: LiveGarden) -> bool:
    try:
        shown = garden.get()
    except OSError:
        return False
    return bool(shown["ready"] and shown["link_up"])


def answers(garden: LiveGarden) -> bool:
    try:
        return bool(garden.get("/api/health"))
    except OSError:
        return False


@pytest.mark.hazard("C3")
def test_a_daemon_that_hangs_tells_no_life_and_its_keeper_kills_and_restarts_it(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    garden = LiveGarden(tmp_path / "plot", mosquitto.url, speed=60.0)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as keeper:
        keeper.bind(str(tmp_path / "notify"))
        keeper.settimeout(HUNG_S)
        garden.environment["NOTIFY_SOCKET"] = str(tmp_path / "notify")
        try:
            garden.start_bench(*(f"--depletion={bed}=0.25" for bed in BEDS))
            garden.start_daemon(wait=False)
            heard = [keeper.recv(64) for _ in range(3)]
            assert set(heard) == {b"READY=1", b"WATCHDOG=1"}
            until(lambda: is_ready(garden), PATIENCE_S, "a ready daemon")
            assert garden.water("south", 60.0)[0] == 202
            until(lambda: garden.truth().open_now("south"), PATIENCE_S, "water in south")
            assert garden.daemon is not None
            garden.daemon.send_signal(signal.SIGSTOP)
            hung_utc_s = garden.clock.now_utc_s()
            fall_silent(keeper)
            assert not any(garden.truth().open_now(valve) for valve in VALVES)
            for valve in VALVES:
                for one in garden.truth().openings(valve):
                    assert (one.to_utc_s or 0.0) - hung_utc_s <= LEASE_S + GRACE_S, one
            garden.daemon.send_signal(signal.SIGABRT)  # as the service manager does
            garden.daemon.send_signal(signal.SIGCONT)
            assert garden.daemon.wait(PATIENCE_S) == -signal.SIGABRT
            garden.start_daemon(wait=False)
            until(lambda: is_ready(garden), PATIENCE_S, "a ready daemon")
            assert garden.water("hedge", 6.0)[0] == 202
            until(lambda: garden.truth().open_now("hedge"), PATIENCE_S, "water in hedge")
            assert garden.end_daemon() == 0
            assert b"STOPPING=1" in drained(keeper)
            assert_ledger_covers(garden, BEDS)
        finally:
            garden.close()


def fall_silent(keeper: socket.socket) -> None:
    """Wait until no word came for as long as the service manager waits."""
    while True:
        try:
            keeper.recv(64)
        except TimeoutError:
            return


def drained(keeper: socket.socket) -> list[bytes]:
    """All that waits to be read."""
    keeper.setblocking(False)
    found = []
    while True:
        try:
            found.append(keeper.recv(64))
        except BlockingIOError:
            return found


@pytest.mark.hazard("C2")
def test_five_crashes_in_ten_minutes_leave_the_page_up_and_the_valves_shut(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    garden = LiveGarden(tmp_path / "plot", mosquitto.url, speed=3.0)
    try:
        garden.start_bench(*(f"--depletion={bed}=0.25" for bed in BEDS))
        for crash in range(4):
            garden.start_daemon(wait=False)
            until(lambda: answers(garden), PATIENCE_S, "the page")
            assert "crash_loop" not in garden.alerts(), crash
            garden.kill_daemon()
        garden.start_daemon(wait=False)
        until(lambda: is_ready(garden), PATIENCE_S + 140.0 / garden.clock.speed, "a ready daemon")
        assert "crash_loop" in garden.alerts()
        status, said = garden.water("south", 6.0)
        assert (status, said["reason"]) == (409, "valve_latched")
        assert garden.truth().openings("south") == []
        status, said = garden.post("/api/alerts/crash_loop/clear", {"why": "a new power supply"})
        assert status == 200, said
        assert garden.water("south", 6.0)[0] == 202
        until(lambda: garden.truth().open_now("south"), PATIENCE_S, "water in south")
        assert garden.end_daemon() == 0
        assert_ledger_covers(garden, BEDS)
    finally:
        garden.close()
