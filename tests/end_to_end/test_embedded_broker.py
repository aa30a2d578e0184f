"""The embedded broker of the demo carries the same wire, and never outlives us."""

from __future__ import annotations

import random
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest

from controller.effects import Lease
from controller.errors import LinkError, UsageError
from controller.events import LinkUp, MeterReading, ProbeReading, ValveReport
from controller.link import MqttLink
from sim.bench import Bench
from sim.broker import EmbeddedBroker
from tests.end_to_end.wire_bench import BareWorld, Heard, ScaledClock, garden_at, until

pytest.importorskip("iotcore", reason="the extra `demo` is not installed")


def test_link_and_bench_meet_over_the_embedded_broker(tmp_path: Path) -> None:
    speed = 60.0
    clock, heard = ScaledClock(speed), Heard()
    with EmbeddedBroker() as broker:
        garden = garden_at(broker.url, tmp_path)
        link = MqttLink(garden, clock, heard, speed=speed, rng=random.Random(2))
        link.start()
        try:
            heard.wait(LinkUp)
            with Bench(garden, BareWorld(), clock, speed=speed) as bench:
                heard.wait(ProbeReading, 3)
                heard.wait(MeterReading)
                for valve in ("master", "south"):
                    lease = Lease(valve=valve, open_s=120, dose="d", epoch=1, seq=1)
                    assert until(partial(link.send_lease, lease), 5.0)
                assert until(lambda: bench.nodes.litres("south") > 0.5, 5.0)
                assert any(r.open for r in heard.of(ValveReport))
        finally:
            link.stop()
    assert not broker.is_running
    with pytest.raises(LinkError):
        _ = broker.url


def test_missing_extra_names_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "iotcore", None)
    with pytest.raises(UsageError, match=r"thirstline\[demo\]"):
        EmbeddedBroker()


def test_broker_listens_on_loopback_only() -> None:
    with EmbeddedBroker() as broker:
        assert broker.url.startswith("mqtt://127.0.0.1:")


PARENT = """
import signal, sys, time
from sim.broker import EmbeddedBroker
broker = EmbeddedBroker().start()
print(broker._broker._process.pid, flush=True)
time.sleep(60)
"""


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks into /proc")
def test_child_does_not_survive_a_killed_parent() -> None:
    root = Path(__file__).parents[2]
    with subprocess.Popen(
        [sys.executable, "-c", PARENT], stdout=subprocess.PIPE, text=True, cwd=root
    ) as parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        parent.kill()
        parent.wait(5.0)
        assert until(lambda: not runs(child), 5.0)


def runs(pid: int) -> bool:
    """Whether a process lives; one that only waits to be reaped does not."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text(encoding="ascii")
    except OSError:
        return False
    return stat.rpartition(")")[2].split()[0] != "Z"
