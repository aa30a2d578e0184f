"""Contrast of every pair of colours that the style sheet puts together, light and dark.

Source: WCAG 2.2, relative luminance and contrast ratio; 4.5:1 for text (1.4.3), 3:1 for marks
(1.4.11).
"""

import re
from pathlib import Path

import pytest

CSS = (Path(__file__).parents[2] / "api" / "page" / "page.css").read_text()


def _colours(scheme: str) -> dict[str, str]:
    blocks = re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)
    light, dark = ({name: value for name, value in _pairs(block)} for block in blocks)  # noqa: C416
    return light if scheme == "light" else {**light, **dark}


def _pairs(block: str) -> list[tuple[str, str]]:
    return re.findall(r"--([a-z]+): (#[0-9a-f]{6});", block)


def _luminance(colour: str) -> float:
    channels = [int(colour[start : start + 2], 16) / 255.0 for start in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_on_white_is_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=1e-9)


TEXT = [
    ("ink", "paper"),
    ("soft", "paper"),
    ("water", "paper"),
    ("ink", "tint"),
    ("paper", "ink"),
    ("ink", "ahead"),
    ("ink", "soil"),
    ("stress", "ahead"),
]
MARKS = [
    ("water", "soil"),
    ("water", "paper"),
    ("water", "ahead"),
    ("stress", "soil"),
    ("stress", "ahead"),
    ("ink", "soil"),
    ("leaf", "paper"),
    ("soft", "paper"),
    ("fruit", "paper"),
]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("front", "back"), TEXT)
def test_text_can_be_read(scheme: str, front: str, back: str) -> None:
    colours = _colours(scheme)
    assert contrast(colours[front], colours[back]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("front", "back"), MARKS)
def test_marks_can_be_seen(scheme: str, front: str, back: str) -> None:
    colours = _colours(scheme)
    assert contrast(colours[front], colours[back]) >= 3.0
