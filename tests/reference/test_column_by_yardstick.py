"""The fast column where a garden uses it, beside Richards' equation for the same soil and water.

The table in DEVELOPERS.md is what `python -m sim.winter.yardstick` prints.
"""

from __future__ import annotations

import pytest

from sim.winter.yardstick import CASES, SOILS, Compared, compare

CONTENT_M3_M3 = 0.0015  # [m3/m3] stated in DEVELOPERS.md: how far the root zone may be off
BELOW_MM = 1.0  # [mm] the same for what has passed below the roots


@pytest.fixture(scope="module", params=sorted(SOILS), ids=lambda name: name.replace(" ", "-"))
def compared(request: pytest.FixtureRequest) -> list[Compared]:
    return list(compare(request.param))


def test_the_column_is_as_near_to_richards_as_stated(compared: list[Compared]) -> None:
    assert {one.case for one in compared} == set(CASES)
    for one in compared:
        assert abs(one.content_off_m3_m3) <= CONTENT_M3_M3, one
        assert abs(one.below_off_mm) <= BELOW_MM, one


def test_the_cases_move_the_water_they_are_about(compared: list[Compared]) -> None:
    """A soak drains by hundredths, a refill reaches the roots, one too large passes below them."""
    by_case = {case: [one for one in compared if one.case == case] for case in CASES}
    soak = by_case["soak"]
    assert soak[0].richards_m3_m3 - soak[-1].richards_m3_m3 > 0.02
    large, right = by_case["refill + 30 %"][-1], by_case["refill"][-1]
    assert large.richards_below_mm > right.richards_below_mm + 5.0
