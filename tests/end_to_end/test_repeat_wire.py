"""An order repeated with its key after the daemon was killed: no second dose, over real MQTT."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import LiveGarden, until

pytestmark = pytest.mark.broker


@pytest.fixture
def garden(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[LiveGarden]:
    """Nodes that run, a daemon that does not yet."""
    live = LiveGarden(tmp_path / "plot", mosquitto.url)
    live.start_bench("--depletion=south=0.25")
    yield live
    live.close()


def ordered(garden: LiveGarden) -> tuple[int, dict[str, object]]:
    token = (garden.data / "token").read_text(encoding="utf-8").strip()
    request = urllib.request.Request(  # noqa: S310 - the daemon's own address
        f"{garden.base_url}/api/beds/south/water",
        json.dumps({"litres": 40}).encode(),
        {
            "Authorization": f"Bearer {token}",
            "Content-Type": "application/json",
            "Idempotency-Key": "one-watering",
        },
        method="POST",
    )
    try:
        with urllib.request.urlopen(request, timeout=10.0) as reply:  # noqa: S310
            return reply.status, json.load(reply)
    except urllib.error.HTTPError as exc:
        with exc:
            return exc.code, json.load(exc)


def test_a_killed_daemon_knows_the_key_again(garden: LiveGarden) -> None:
    garden.start_daemon()
    first = ordered(garden)
    assert first[0] == 202, first
    assert ordered(garden) == first, "a second connection"
    until(lambda: garden.truth().open_now("south"), 5.0, "water in south")
    garden.kill_daemon()
    garden.start_daemon()
    assert ordered(garden) == first
    doses = {row["dose"] for row in garden.ledger()}
    assert doses == {first[1]["dose"]}, "the repeat opened nothing"
