"""The table of hazards is whole, each row is shown by a test, and the document is made from it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests import hazard_table

ROOT = Path(__file__).parents[2]
MARKED = """
import pytest

@pytest.mark.slow
@pytest.mark.hazard("P1", "V3")
def test_one() -> None: ...

@pytest.mark.hazard("V3")
async def test_two() -> None: ...

def test_three() -> None: ...
"""


def test_all_seventy_hazards_stand_in_order_and_are_shown() -> None:
    assert len(hazard_table.IDS) == 70
    assert hazard_table.faults() == []


def test_the_document_is_made_from_the_data_and_the_marks() -> None:
    said = hazard_table.TABLE.read_text(encoding="utf-8")
    assert said == hazard_table.table(), "run `python tests/hazard_table.py`"


def test_every_test_that_is_named_is_there() -> None:
    said = hazard_table.TABLE.read_text(encoding="utf-8")
    links = re.findall(r"\[(\w+)\]\(\.\./([^)]+)\)", said)
    assert len(links) >= 100
    for name, file in set(links):
        text = (ROOT / file).read_text(encoding="utf-8")
        assert re.search(rf"^(async )?def test_{name}\(", text, re.MULTILINE), f"{file}: {name}"


def test_marks_are_read_from_the_source(tmp_path: Path) -> None:
    place = tmp_path / "end_to_end"
    place.mkdir()
    (place / "test_x.py").write_text(MARKED, encoding="utf-8")
    found = hazard_table.marks(tmp_path)
    assert {name: [one.test for one in shown] for name, shown in found.items()} == {
        "P1": ["test_one"],
        "V3": ["test_one", "test_two"],
    }
    assert {one.evidence for shown in found.values() for one in shown} == {"wire"}


@pytest.mark.parametrize("lost", ["P1", "E6"])
def test_a_hazard_without_a_test_would_be_seen(lost: str, monkeypatch: pytest.MonkeyPatch) -> None:
    shown = {name: tests for name, tests in hazard_table.marks().items() if name != lost}
    monkeypatch.setattr(hazard_table, "marks", lambda: shown)
    known = hazard_table.hazards()
    whole = hazard_table.Hazard(name=lost, what=known[lost].what, does=known[lost].does)
    monkeypatch.setattr(hazard_table, "hazards", lambda: known | {lost: whole})
    assert [one for one in hazard_table.faults() if one.startswith(f"{lost}:")]
