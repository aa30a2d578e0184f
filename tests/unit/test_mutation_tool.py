"""The mutation check itself: what it takes for a number, and that it can tell a survivor."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests import mutation_check

ROOT = Path(__file__).parents[2]
COMMAND = ROOT / "tests" / "mutation_check.py"
SOURCE = """
A = 2.5
COLD, HOT = -60.0, 1.0
NAMES = {"one": (0.5, 3), "none": 0.0}
COUNT = 7


def rise(x: float, most: float = 4.0) -> float:
    return min(1.0, x / most) * 3.0
"""


def check(*options: str) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, str(COMMAND), "--json", "--jobs", "2", *options],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    told: dict[str, Any] = json.loads(done.stdout)
    return told | {"exit": done.returncode}


def test_floats_are_numbers_and_counts_are_not() -> None:
    found = list(mutation_check.numbers_of("invented", ast.parse(SOURCE)))
    assert [(one.name, one.value, one.named) for one in found] == [
        ("A", 2.5, True),
        ("COLD", 60.0, True),
        ("HOT", 1.0, True),
        ("NAMES", 0.5, True),
        ("rise[1]", 4.0, False),
        ("rise[3]", 3.0, False),
    ]
    assert [one.place for one in found] == [0, 1, 2, 3, 4, 6]


def test_arrays_of_the_crop_table_are_taken_apart() -> None:
    rows = {"leek": {"kcb": 0.9, "harvest": "leaf", "stage_d": [20.0, 30.0]}}
    found = list(mutation_check.numbers_of_table(rows))
    assert [one.name for one in found] == ["leek.kcb", "leek.stage_d.0", "leek.stage_d.1"]


def test_a_module_is_tried_by_the_tests_of_what_imports_it() -> None:
    names = [path.name for path in mutation_check.tests_of("air")]
    assert {"test_fao56_air_and_radiation.py", "test_eto_missing_data.py"} <= set(names)
    assert "test_drip_formulas.py" not in names
    assert not [name for name in names if name.startswith(("test_season", "test_sim"))]


@pytest.mark.slow
def test_the_check_tells_a_caught_number_from_a_survivor() -> None:
    caught = check("--module", "degree_days", "--tests", "tests/reference/test_fao56_crop.py")
    assert (caught["named"], caught["named_survived"], caught["exit"]) == (2, 0, 0)
    blind = check("--module", "degree_days", "--tests", "tests/reference/test_drip_formulas.py")
    assert (blind["caught"], blind["exit"]) == (0, 1)
    assert blind["survivors"] == {
        "degree_days:BASE_C": "not listed",
        "degree_days:CAP_C": "not listed",
    }
