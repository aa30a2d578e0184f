"""Every case of the shared list of check values has a test whose id begins with the case's id.

The list is typed in; a case that is named here and tested nowhere fails.
solver the project does not have.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.reference import test_check_values_soil, test_check_values_weather

HERE = Path(__file__).parent
CASES = (
    "fao56-ex02", "fao56-ex03", "fao56-ex04", "fao56-ex05", "fao56-ex08-09", "fao56-ex10-11-12",
    "fao56-ex14", "fao56-ex15", "fao56-ex17", "fao56-ex18", "fao56-ex19-night",
    "fao56-ex19-day", "fao56-ex20", "gdd-28-14", "gdd-35-18", "gdd-24-6", "gdd-33-22",
    "p-adjust", "kcb-climate-tomato", "fao56-ex32-sprinkler", "fao56-ex34-drip", "fao56-ex35",
    "fao56-ex36-tomato", "fao56-ex37", "fao56-ex38", "ky-tomato-season", "leaching-requirement",
    "vg-loam", "vg-sandy-loam", "vg-clay-loam", "saxton-rawls-sandy-loam", "saxton-rawls-loam",
    "saxton-rawls-silt-loam", "saxton-rawls-clay-loam", "saxton-rawls-sand",
    "saxton-rawls-clay", "green-ampt-silt-loam", "green-ampt-ponding", "philip-early-time",
    "gardner-max-evaporation", "celia-1990-vg", "wetted-bulb", "pond-radius", "uniformity",
    "run-time", "topp-1980", "granular-matrix", "ismn-flags", "drainage-closed-form",
)  # fmt: skip
TABLED = {**test_check_values_soil.CASES, **test_check_values_weather.CASES}


def ids_elsewhere() -> set[str]:
    """The ids that other reference tests give to their cases by hand."""
    texts = [file.read_text(encoding="utf-8") for file in HERE.glob("test_*.py")]
    return {one for text in texts for one in re.findall(r'\bid=f?"([a-z0-9-]+)', text)}


def test_the_list_is_whole() -> None:
    assert len(CASES) == len(set(CASES)) == 49


@pytest.mark.parametrize("case", sorted(CASES), ids=lambda case: f"case-{case}")
def test_a_case_has_a_test_of_its_name(case: str) -> None:
    if case in TABLED:
        assert TABLED[case][1], "a case without a row"
        return
    assert any(one == case or one.startswith(f"{case}-") for one in ids_elsewhere())
