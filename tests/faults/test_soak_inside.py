"""A short soak in one process: thirty hours of 64 probes a minute, and its end lived once more."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.faults import Fault, Kind, What
from tests.end_to_end.live_garden import tell
from tests.soak import inside, judge

DAYS = 1.25


@pytest.mark.slow
def test_thirty_hours_leave_nothing_behind_and_can_be_gone_on_with(tmp_path: Path) -> None:
    run = inside.run(tmp_path, DAYS)
    opened = {"litres": run.opened.litres, "open_s": run.opened.open_s}
    found = judge.report(tmp_path, opened)
    assert judge.faults_of(found) == []
    assert found["counts"]["threads"]["most"] == found["counts"]["threads"]["early"]
    assert found["verify"]["events"] > 64 * 60 * 24 * DAYS * 0.9
    tell(f"{found['days']} days, memory {found['memory']}, books {found['books']['outcomes']}")
    again = inside.run(tmp_path, DAYS)  # from the last whole day on
    assert again.opened.litres == run.opened.litres
    assert again.opened.open_s == run.opened.open_s
    assert judge.report(tmp_path, opened)["books"] == found["books"]


def test_a_power_cut_of_ten_minutes_ends(tmp_path: Path) -> None:
    run = inside.Inside(tmp_path, DAYS)
    cut = Fault(start_s=60.0, end_s=660.0, kind=Kind.POWER, what=What.CONTROLLER_DOWN)
    run._ours = [cut]
    run.begin()
    run.live(600.0)
    assert run.daemon is None
    run.live(720.0)
    assert run.daemon is not None
    assert (run.now_s, run.starts) == (720.0, 2)
    run.end(well=True)
