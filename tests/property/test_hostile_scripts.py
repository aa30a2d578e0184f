"""Hostile scripts against all invariants: a few here, 300 in the slow run, 10,000 for a release.

The long run is `python tests/hostile_scripts.py --scripts 10000 --jobs 2 --seed 1`; what once
broke something lies in `kept_scripts` and stays a test.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.hostile_scripts import run
from tests.scripts.draw import THEMES, draw
from tests.scripts.mutants import MOST, MUTANTS, Mutant, find
from tests.scripts.oracle import AS, INVARIANTS
from tests.scripts.play import play
from tests.scripts.script import Script, kept

KEPT = kept(Path(__file__).parent / "kept_scripts")
PLAIN = (2, 3, 6)
CI = range(1, 301)


@pytest.mark.parametrize("seed", PLAIN)
def test_a_few_hostile_scripts_break_no_invariant(seed: int) -> None:
    broke = play(draw(seed))
    assert broke is None, f"python tests/hostile_scripts.py --one {seed}: {broke}"


@pytest.mark.slow
def test_three_hundred_hostile_scripts_break_no_invariant() -> None:
    ran = run(CI)
    assert ran.scripts == len(CI)
    assert not ran.broke, f"python tests/hostile_scripts.py --one SEED: {ran.broke}"


@pytest.mark.parametrize("name", list(KEPT))
def test_a_script_that_once_broke_something_does_so_no_more(name: str) -> None:
    assert play(KEPT[name]) is None


def test_a_script_is_plain_and_the_same_each_time() -> None:
    for seed in range(len(THEMES)):
        script = draw(seed)
        assert script == draw(seed)
        assert Script.from_json(script.to_json()) == script
        assert 20 <= len(script.steps) <= 200
        assert 1.0 <= script.span_s / 86_400.0 <= 4.0


@pytest.mark.slow
@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_the_scripts_find_a_guard_that_is_broken(mutant: Mutant) -> None:
    """The oracle is worth something: each invariant's guard, broken, is found in some scripts."""
    found = find(mutant)
    assert found is not None, f"{mutant.name}: survived {MOST} scripts"


def test_every_invariant_has_its_proof() -> None:
    """Each of I1 to I24 is held by the scripts with a mutant that they find, or by a named test."""
    assert set(INVARIANTS) == {f"I{n}" for n in range(1, 25)}
    found = {code for mutant in MUTANTS for code in mutant.breaks}
    for code, held_by in INVARIANTS.items():
        if held_by == "scripts":
            assert code in found or code in AS, code
        else:
            assert (Path(__file__).parents[2] / held_by).exists(), code
