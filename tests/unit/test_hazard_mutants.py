"""The list of mutants is sound, and the tool tells a killed one from a survivor."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from tests import hazard_mutants, hazard_table
from tests.hazards.mutants import MUTANTS, Mutant

ROOT = Path(__file__).parents[2]
SOUND = "def allowed(x: float) -> bool:\n    return 0.0 < x <= 5.0\n"
TRIES = """
import sys
from pathlib import Path
from tests import hazard_mutants
from tests.hazards.mutants import Mutant
one = Mutant(file="controller/x.py", old=" <= 5.0", new="", hazards=(), tests=("test_x.py",))
print(hazard_mutants._try_in([one], [Path(sys.argv[1])])[0].outcome)
"""
SEES = "from controller.x import allowed\n\n\ndef test_it() -> None:\n    assert not allowed({})\n"


def test_what_a_mutant_takes_out_stands_in_its_file_once() -> None:
    for one in MUTANTS:
        text = (ROOT / one.file).read_text(encoding="utf-8")
        assert hazard_mutants.changed(text, one) != text


def test_every_mutant_names_hazards_and_has_tests_near() -> None:
    assert len(MUTANTS) >= 60
    for one in MUTANTS:
        assert one.hazards, one.old
        assert set(one.hazards) <= set(hazard_table.IDS)
        assert hazard_mutants.nearest(one), f"{one.hazards}: no test carries it"
    twice = Counter((one.file, one.old, one.new) for one in MUTANTS)
    assert max(twice.values()) == 1


@pytest.mark.parametrize("times", [0, 2])
def test_a_text_that_does_not_stand_there_once_is_refused(times: int) -> None:
    one = Mutant(file="controller/x.py", old="a = 1\n", new="a = 2\n", hazards=("P1",))
    with pytest.raises(ValueError, match=f"stands there {times} times"):
        hazard_mutants.changed(one.old * times, one)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("asked", "outcome"),
    [
        pytest.param("6.0", "killed", id="a-test-that-sees-it"),
        pytest.param("-1.0", "survived", id="a-test-that-does-not"),
    ],
)
def test_a_killed_one_is_told_from_a_survivor(tmp_path: Path, asked: str, outcome: str) -> None:
    (tmp_path / "controller").mkdir()
    source = tmp_path / "controller" / "x.py"
    source.write_text(SOUND, encoding="utf-8")
    (tmp_path / "test_x.py").write_text(SEES.format(asked), encoding="utf-8")
    (tmp_path / "pyproject.toml").write_text("[tool.pytest.ini_options]\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", TRIES, str(tmp_path)],
        cwd=ROOT, capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    assert done.stdout.split() == [outcome]
    assert source.read_text(encoding="utf-8") == SOUND, "the file is put back"
