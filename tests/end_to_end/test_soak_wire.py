"""A short soak over the broker: ninety minutes of the garden in as many seconds."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.end_to_end.live_garden import tell
from tests.soak import judge, wire

pytestmark = [
    pytest.mark.broker,
    pytest.mark.slow,
    pytest.mark.skipif(
        os.environ.get("THIRSTLINE_RELEASE") != "1",
        reason="an hour and a half at speed 60: wants a quiet machine (THIRSTLINE_RELEASE=1)",
    ),
]

RISE_MOST_FRAC = 0.15  # the caches of a young process still fill


def test_ninety_minutes_leave_no_thread_no_file_and_books_that_hold(tmp_path: Path) -> None:
    wire.run(tmp_path / "soak", speed=60.0, hours=1.5, walked=False, every_real_s=4.0)
    found = judge.report(tmp_path / "soak")
    stands = judge.WITH_NEXT_WATER | {"bed_waiting"}
    assert judge.faults_of(found, stands=stands, rise_most_frac=RISE_MOST_FRAC) == []
    assert {"link_lost", "valve_silent"} & set(found["alarms"])
    tell(f"memory {found['memory']}, counts {found['counts']}, books {found['books']['outcomes']}")
