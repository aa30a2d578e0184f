"""Every reason has its sentence, for a grower, without holes."""

from __future__ import annotations

import re

import pytest

from controller.watering.decision import Decision, Reason
from controller.watering.words import SENTENCES, bed_name, sentence, words

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
