"""Every reason has its sentence, for a grower, without holes."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from controller.watering.decision import Decision, Reason
from controller.watering.words import SENTENCES, bed_name, sentence, words

ROOT = Path(__file__).parents[2]
NUMBERS = {
    "depletion_frac": 0.412,
    "sunrise_frac": 0.437,
    "thirst_line_frac": 0.40,
    "floor_frac": 0.50,
    "dose_l": 123.4,
    "allowed_l": 17.6,
    "given_l": 55.5,
    "rain_expected_mm": 8.4,
    "pick_d": 3.25,
    "blind_d": 15.2,
}


@pytest.mark.parametrize("reason", list(Reason))
def test_every_reason_has_a_sentence_without_a_hole(reason: Reason) -> None:
    text = words("south-bed", reason, NUMBERS)
    assert text[0].isupper()
    assert text.endswith(".")
    assert not re.search(r"[{}]|None|nan", text)


@pytest.mark.parametrize("reason", list(Reason))
def test_a_sentence_without_numbers_still_has_no_hole(reason: Reason) -> None:
    text = words("south", reason, {})
    assert not re.search(r"[{}]|None|nan", text)


def test_no_two_reasons_say_the_same() -> None:
    assert len({words("south", reason, NUMBERS) for reason in Reason}) == len(Reason)
    assert set(SENTENCES) == set(Reason)


def test_the_numbers_stand_in_the_sentence_as_people_say_them() -> None:
    text = sentence("south", Decision(reason=Reason.AT_LINE, dose_mm=30.0, numbers=NUMBERS))
    assert text == (
        "South comes to its thirst line: 44 % of its water is used by sunrise, the line is 40 %. "
        "It gets 123 L, deeply."
    )


@pytest.mark.parametrize(
    ("bed", "name"),
    [
        pytest.param("south", "South", id="plain"),
        pytest.param("south-wall_2", "South wall 2", id="dashes"),
        pytest.param("{x}", "{x}", id="braces"),
    ],
)
def test_a_bed_is_called_as_people_call_it(bed: str, name: str) -> None:
    assert bed_name(bed) == name
    assert name in words(bed, Reason.WET, {})


def _glued(tree: ast.AST) -> list[int]:
    """Lines of f-strings that set a % right behind a number, but for those of drawings."""
    found = []
    for text in (node for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)):
        for part, after in zip(text.values, [*text.values[1:], None], strict=True):
            if not isinstance(part, ast.FormattedValue):
                continue
            spec = part.format_spec.values if isinstance(part.format_spec, ast.JoinedStr) else []
            ends = any(
                isinstance(one, ast.Constant) and str(one.value).endswith("%") for one in spec
            )
            behind = str(after.value) if isinstance(after, ast.Constant) else ""
            if ends or (behind.startswith("%") and not behind.startswith('%"')):
                found.append(part.lineno)
    return found


@pytest.mark.parametrize("folder", ["api", "controller", "sim"])
def test_a_percent_stands_apart_from_its_number(folder: str) -> None:
    for path in sorted((ROOT / folder).rglob("*.py")):
        assert _glued(ast.parse(path.read_text(encoding="utf-8"))) == [], path


def test_glued_percents_are_found() -> None:
    assert _glued(ast.parse('f"{share:.0%} of it"')) == [1]
    assert _glued(ast.parse('f"{share:.0f}% of it"')) == [1]
    assert _glued(ast.parse('f"{share:.0f} % of it"')) == []
