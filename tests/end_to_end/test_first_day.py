"""A newcomer's first day, by what the screens name as next, against the page that tells of it."""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest

from api.next_step import COLUMNS
from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.first_day import DRY, FILE, NIGHT, NOTES, FirstDay, stable
from tests.end_to_end.live_garden import LiveGarden, tell

pytestmark = pytest.mark.broker


def test_a_newcomer_comes_to_water_by_what_the_screens_name(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    live = LiveGarden(tmp_path / "plot", mosquitto.url, sim=NIGHT)
    day = FirstDay(live, tmp_path, mosquitto.url)
    began_s = time.monotonic()
    try:
        day.live_through()
    finally:
        day.close()
    tell(f"first water after {day.water_after_s / 60.0:.0f} garden minutes")
    tell(f"{len(day.screens)} commands, {time.monotonic() - began_s:.0f} s real")
    typed = [screen.typed.split()[1] for screen in day.screens]
    assert typed == ["new", "check", "run", "pair", "walk", "status", "why"]
    assert 0.0 < day.walked_l < live.truth().litres(DRY)
    assert (tmp_path / FILE).exists()
    told = re.search(r"```text\n(.*?)\n```", NOTES.read_text(encoding="utf-8"), re.DOTALL)
    assert told is not None
    assert stable(day.transcript()) == stable(told[1])
    wide = [line for line in day.transcript().splitlines() if len(line) > COLUMNS]
    assert [line for line in wide if not line.startswith(("$ ", "next:"))] == []
