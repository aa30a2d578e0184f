"""The release's long run can be stopped and goes on; a file of other code is refused."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pytest

from controller.errors import UsageError
from sim.kept_lines import KeptLines
from tests import hostile_scripts
from tests.hostile_scripts import A_TIME, Ran, spread
from tests.scripts.play import Broke

OF = {"code": "a"}


@pytest.fixture
def played(monkeypatch: pytest.MonkeyPatch) -> list[range]:
    """Which parts were played; each seed that ends in 7 breaks something."""
    parts: list[range] = []

    def run(seeds: Iterable[int]) -> Ran:
        part = list(seeds)
        parts.append(range(part[0], part[-1] + 1))
        broke = {s: Broke(what="V10: x", at_s=float(s)) for s in part if s % 10 == 7}
        counts = [(("order", "water"), len(part)), (("restart", "kill"), 1)]
        return Ran(scripts=len(part), days=1.5, steps=9, cpu_s=0.25, broke=broke, counts=counts)

    monkeypatch.setattr(hostile_scripts, "run", run)
    return parts


def test_a_run_that_was_stopped_goes_on_and_tells_all(tmp_path: Path, played: list[range]) -> None:
    out = tmp_path / "run.jsonl"
    whole = list(spread(1, 3 * A_TIME, 1))
    played.clear()
    begun = spread(1, 3 * A_TIME, 1, KeptLines(out, OF))
    next(begun)
    begun.close()
    assert played == [range(1, A_TIME + 1)]
    again = list(spread(1, 3 * A_TIME, 1, KeptLines(out, OF)))
    assert again == whole
    assert len(played) == 3, "what was played already is not played again"


def test_a_file_of_other_code_is_refused(tmp_path: Path) -> None:
    KeptLines(tmp_path / "run.jsonl", OF)
    with pytest.raises(UsageError, match="choose another file"):
        KeptLines(tmp_path / "run.jsonl", {"code": "b"})


def test_the_sum_over_the_code_is_the_same_each_time() -> None:
    assert hostile_scripts.code() == hostile_scripts.code()
    assert len(hostile_scripts.code()) == 16
