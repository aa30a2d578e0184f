"""The trial of the season book's drier line: its words, its drier lines, a month of it."""

from __future__ import annotations

from datetime import date

import pytest

from controller.agronomy import crop
from controller.agronomy.crop import Stage, line_and_floor
from controller.garden import load_garden
from sim.drier_trials import held, lines_shifted, main
from sim.examples import find_garden
from sim.season_run import prepare


def test_lines_move_and_floors_stay_and_all_is_put_back() -> None:
    before = {stage: line_and_floor(stage, 0.5) for stage in Stage}
    with lines_shifted(0.05):
        for stage, (line, floor) in before.items():
            assert line_and_floor(stage, 0.5) == (pytest.approx(line + 0.05), floor)
    with lines_shifted(0.5):
        assert all(line == floor for line, floor in crop.LINES_FRAC.values())
    assert {stage: line_and_floor(stage, 0.5) for stage in Stage} == before


def test_a_season_that_is_not_there_is_status_1(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--weather", "no-such-season"]) == 1
    assert "no-such-season" in capsys.readouterr().err


@pytest.mark.slow
def test_a_month_lived_twice() -> None:
    garden = load_garden(find_garden("hollin-lane"))
    span = {"first": date(2025, 7, 1), "last": date(2025, 7, 31)}
    found = held(prepare(garden, "invented-dry", sure=True, **span))
    assert found["same"]["litres"] == pytest.approx(found["ledger"]["litres"], rel=0.1)
    assert found["lived"]["waterings"] <= found["ledger"]["waterings"]
    assert found["drier"]["waterings"] <= found["same"]["waterings"]
