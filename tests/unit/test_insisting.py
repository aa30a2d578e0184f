"""Hours that insist: a wrong sureness is talked out of, one odd hour is not enough for it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.sensing.insisting import (
    INSISTED_SHARE,
    INSISTS_H,
    ODD_KEPT,
    STRANGE_SD,
    insisted_mm,
)
from controller.state import BedWater

SD_MM = 4.0


def told(water: BedWater, *hours_mm: float) -> float:
    """The move that the last of some hours asks for."""
    return [insisted_mm(water, each, SD_MM) for each in hours_mm][-1]


def bed() -> BedWater:
    return BedWater(depletion_mm=30.0, var_mm2=1.0)


@pytest.mark.parametrize("way", [1.0, -1.0], ids=["drier", "wetter"])
def test_hours_that_all_tell_the_same_side_move_the_bed_by_the_least_of_them(way: float) -> None:
    water = bed()
    move_mm = told(water, *(30.0 + way * far for far in (25.0, 12.0, 20.0)))
    assert move_mm == pytest.approx(way * INSISTED_SHARE * (12.0 - STRANGE_SD * SD_MM))
    assert water.odd_mm2 == pytest.approx((12.0 - STRANGE_SD * SD_MM) ** 2)


@pytest.mark.parametrize(
    "hours_mm",
    [
        pytest.param([60.0] * (INSISTS_H - 1), id="too-few"),
        pytest.param([60.0, 30.0, 60.0], id="one-hour-between"),
        pytest.param([60.0, 0.0, 60.0], id="now-this-now-that"),
        pytest.param([30.0, 30.0, 90.0], id="one-odd-hour"),
        pytest.param([30.0 + STRANGE_SD * SD_MM] * 5, id="within-an-hours-error"),
    ],
)
def test_hours_that_do_not_agree_move_nothing(hours_mm: list[float]) -> None:
    water = bed()
    assert told(water, *hours_mm) == 0.0
    assert water.odd_mm2 == 0.0


def test_what_was_odd_is_unsure_for_some_hours() -> None:
    water = bed()
    told(water, 60.0, 60.0, 60.0)
    odd_mm2 = water.odd_mm2
    told(water, 30.0)
    assert water.odd_mm2 == pytest.approx(ODD_KEPT * odd_mm2)


@given(
    depletion_mm=st.floats(0.0, 80.0),
    more_mm=st.floats(0.0, 60.0),
    hours=st.lists(st.tuples(st.floats(-50.0, 90.0), st.floats(0.0, 60.0)), min_size=3, max_size=3),
    sd_mm=st.floats(0.1, 20.0),
)
def test_drier_hours_and_a_drier_bed_never_end_wetter(
    depletion_mm: float, more_mm: float, hours: list[tuple[float, float]], sd_mm: float
) -> None:
    """The move rises with each hour, and falls slower with the bed's own depletion than that."""
    ends = {}
    for drier in (False, True):
        water = replace(bed(), depletion_mm=depletion_mm)
        for hour_mm, by_mm in hours:
            move_mm = insisted_mm(water, hour_mm + by_mm * drier, sd_mm)
        ends[drier] = move_mm
    assert ends[False] <= ends[True] + 1e-9
    other = replace(bed(), depletion_mm=depletion_mm + more_mm)
    for hour_mm, _ in hours:
        moved_mm = insisted_mm(other, hour_mm, sd_mm)
    assert depletion_mm + ends[False] <= depletion_mm + more_mm + moved_mm + 1e-9
