"""A page that is looked at all the time harms nobody: leases go out as ever, memory stays.

A real daemon over a real broker, ten times as fast as a garden, so that leases are renewed every
two seconds. A view is the front page, the way a browser without anything in its store asks for it.
"""

from __future__ import annotations

import json
import threading
import time
import urllib.request
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import HTTP_S, LiveGarden, tell, until
from tests.end_to_end.wire_bench import Stranger

pytestmark = pytest.mark.broker

SPEED = 10.0
RENEWED_S = 20.0 / SPEED  # [s] real
LATER_MOST_S = 0.5  # [s] real: a lease outlives two missed renewals
RENEWALS = 10
VIEWS_A_S = 20.0
WARM_VIEWS, VIEWS = 200, 1000
GROWTH_MOST_B = 2_000_000


@pytest.fixture
def garden(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[LiveGarden]:
    """A garden at rest, at noon."""
    live = LiveGarden(tmp_path / "plot", mosquitto.url, speed=SPEED)
    live.start_bench(*(f"--depletion={bed}=0.25" for bed in ("south", "wall", "low", "hedge")))
    live.start_daemon()
    yield live
    live.close()


def _view(garden: LiveGarden) -> None:
    with urllib.request.urlopen(f"{garden.base_url}/", timeout=HTTP_S) as got:  # noqa: S310
        assert len(got.read()) > 10_000


class Watched:
    """Someone who looks at the page so many times a second."""

    def __init__(self, garden: LiveGarden) -> None:
        self._garden, self._end = garden, threading.Event()
        self.taken_s: list[float] = []
        self._thread = threading.Thread(target=self._look, daemon=True)

    def __enter__(self) -> Watched:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join(HTTP_S)

    def _look(self) -> None:
        began_s = time.monotonic()
        while not self._end.is_set():
            at_s = time.monotonic()
            _view(self._garden)
            self.taken_s.append(time.monotonic() - at_s)
            due_s = began_s + len(self.taken_s) / VIEWS_A_S
            self._end.wait(max(0.0, due_s - time.monotonic()))


class Timed(Stranger):
    """Hears when each lease of a bed went by."""

    def __init__(self, url: str) -> None:
        super().__init__(url, "thirstline/hollin-lane/#")
        self.at_s: list[float] = []
        before = self._client.on_message

        def heard(client: object, user: object, message: object) -> None:
            topic = message.topic  # type: ignore[attr-defined]
            payload = bytes(message.payload)  # type: ignore[attr-defined]
            if topic.endswith("/valve/south/lease") and payload and "open_s" in json.loads(payload):
                self.at_s.append(time.monotonic())
            before(client, user, message)  # type: ignore[misc]

        self._client.on_message = heard


def _gaps_s(stranger: Timed) -> list[float]:
    """Between the leases of one dose."""
    stranger.at_s.clear()
    until(lambda: len(stranger.at_s) > RENEWALS, 60.0, f"{RENEWALS} renewals")
    at_s = stranger.at_s[: RENEWALS + 1]
    return [after - before for before, after in pairwise(at_s)]


def test_twenty_views_a_second_delay_no_lease(garden: LiveGarden, mosquitto: Mosquitto) -> None:
    stranger = Timed(mosquitto.url)
    status, said = garden.water("south", 200.0)
    assert status == 202, said
    calm_s = max(_gaps_s(stranger))
    with Watched(garden) as watched:
        began_s = time.monotonic()
        busy_s = max(_gaps_s(stranger))
        span_s = time.monotonic() - began_s
        views = len(watched.taken_s)
    stranger.leave()
    tell(
        f"a lease is renewed every {RENEWED_S:.1f} s; at most {calm_s:.3f} s without a view, "
        f"{busy_s:.3f} s with {views / span_s:.1f} views a second, "
        f"{1000 * sum(watched.taken_s[:views]) / views:.0f} ms each"
    )
    assert views >= 0.5 * VIEWS_A_S * span_s, "this machine cannot make so many views"
    assert busy_s <= calm_s + LATER_MOST_S


def _memory_b(garden: LiveGarden) -> int:
    assert garden.daemon is not None
    status = Path(f"/proc/{garden.daemon.pid}/status").read_text()
    (line,) = (line for line in status.splitlines() if line.startswith("VmRSS:"))
    return int(line.split()[1]) * 1024


def test_a_thousand_views_leave_the_servers_memory_as_it_was(garden: LiveGarden) -> None:
    for _ in range(WARM_VIEWS):
        _view(garden)
    before_b = _memory_b(garden)
    for _ in range(VIEWS):
        _view(garden)
    grown_b = _memory_b(garden) - before_b
    tell(f"{before_b / 1e6:.1f} MB before, {grown_b / 1e6:+.2f} MB after {VIEWS} views")
    assert grown_b < GROWTH_MOST_B
