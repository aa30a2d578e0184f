"""What breaks over the wire, one row of `fault_table.SCENARIOS` each."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.end_to_end.fault_bench import SLOW, Rig, Scenario, UnsafeError, live
from tests.end_to_end.fault_table import SCENARIOS
from tests.end_to_end.live_garden import tell

pytestmark = pytest.mark.broker


@pytest.mark.parametrize(
    "scenario",
    [pytest.param(one, id=one.id, marks=pytest.mark.hazard(*one.hazards)) for one in SCENARIOS],
)
def test_it_stops_says_so_and_waters_again(scenario: Scenario, tmp_path: Path) -> None:
    try:
        lived(scenario, tmp_path / "fast", scenario.speed)
    except UnsafeError:
        raise
    except (AssertionError, OSError, pytest.fail.Exception) as exc:
        tell(f"{scenario.id}: too late with a fast clock: {exc!r:.2000}")
        lived(scenario, tmp_path / "slow", SLOW)


def lived(scenario: Scenario, folder: Path, speed: float) -> None:
    with ExitStack() as ends:
        live(scenario, Rig.build(scenario, folder, ends, speed))


def test_the_table_has_enough_rows_and_no_two_alike() -> None:
    assert len({one.id for one in SCENARIOS}) == len(SCENARIOS) >= 25
