"""Contrast of what the pictures draw, as their own style sheets say: strip, season, report.

Source: WCAG 2.2, 1.4.11: 3:1 for what has to be seen to understand a picture; 1.4.3: 4.5:1 for
text. Left out as ornament, since something beside it says the same: the hatching below the thirst
line, the grain of the soil, the thin rules, and the grey band of the days before a pick.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from api.season_strip import STYLE
from tests.unit.test_page_colours import CSS, _colours, contrast

REPORT = (Path(__file__).parents[2] / "api/reporting/report.html").read_text(encoding="utf-8")
SCHEMES = ("light", "dark")


def over(front: str, back: str, opacity: float) -> str:
    """A colour laid over another with an opacity."""
    parts = [
        round(opacity * int(front[i : i + 2], 16) + (1.0 - opacity) * int(back[i : i + 2], 16))
        for i in (1, 3, 5)
    ]
    return "#" + "".join(f"{part:02x}" for part in parts)


def grey(colour: str) -> str:
    """A colour as the filter `grayscale(1)` shows it (W3C, Filter Effects)."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    level = round(0.2126 * red + 0.7152 * green + 0.0722 * blue)
    return "#" + 3 * f"{level:02x}"


def rule(css: str, name: str) -> dict[str, str]:
    """The declarations of one class."""
    found = re.findall(rf"(?:^|[\s}}])(?:\.strip )?\.{name}\s?\{{(.*?)\}}", css)
    assert found, name
    pairs = [one.partition(":") for text in found for one in text.split(";") if ":" in one]
    return {key.strip(): value.strip() for key, _, value in pairs}


def painted(told: dict[str, str]) -> str:
    """What a mark is drawn with: its stroke, else its filling."""
    stroke = told.get("stroke", "none")
    return told["fill"] if stroke == "none" or "var" in told.get("fill", "") else stroke


STRIP = [  # mark, what it lies on
    ("curve", ("soil", "paper")),
    ("thirst", ("soil", "ahead")),
    ("rain", ("paper", "ahead")),
    ("drop", ("soil",)),
    ("now", ("soil", "ahead")),
    ("now-dot", ("soil", "ahead")),
    ("fan", ("ahead",)),
    ("window", ("ahead",)),
    ("read-line", ("soil", "ahead")),
]


@pytest.mark.parametrize("lost", [False, True], ids=["in-contact", "contact-lost"])
@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(
    ("mark", "backs"), STRIP, ids=lambda one: one if isinstance(one, str) else ""
)
def test_a_mark_of_the_strip_can_be_seen(
    mark: str, backs: tuple[str, ...], scheme: str, lost: bool
) -> None:
    colours, told = _colours(scheme), rule(CSS, mark)
    name = re.fullmatch(r"var\(--([a-z]+)\)", painted(told))
    assert name, told
    faded = re.search(r"\.lost \.strip \{ filter: grayscale\(1\); opacity: ([\d.]+)", CSS)
    assert faded
    for back in backs:
        shown = over(colours[name[1]], colours[back], float(told.get("opacity", 1)))
        under = colours[back]
        if lost:
            shown = over(grey(shown), colours["paper"], float(faded[1]))
            under = over(grey(under), colours["paper"], float(faded[1]))
        assert contrast(shown, under) >= 3.0, (mark, back)


SEASON = [
    ("curve", "#e9dcc6"),
    ("curve", "#ffffff"),
    ("thirst", "#e9dcc6"),
    ("floor", "#e9dcc6"),
    ("rain", "#ffffff"),
    ("stem", "#ffffff"),
    ("drop", "#ffffff"),
    ("cross", "#ffffff"),  # on its own white halo
    ("pick", "#e9dcc6"),
    ("flag", "#ffffff"),
]


@pytest.mark.parametrize(("mark", "back"), SEASON)
def test_a_mark_of_a_seasons_picture_can_be_seen(mark: str, back: str) -> None:
    assert re.search(r"\.soil\{fill:(#[0-9a-f]{6})", STYLE)[1] == "#e9dcc6"  # type: ignore[index]
    told: dict[str, str] = {}
    for names, text in re.findall(r"([.\w,: ]+)\{([^}]*)\}", STYLE):
        if f".{mark}" in names.split(","):
            told |= dict(one.split(":", 1) for one in text.split(";") if ":" in one)
    colours = [told[key] for key in ("stroke", "fill") if told.get(key, "none").startswith("#")]
    assert colours, told
    assert contrast(colours[0], back) >= 3.0


def test_marks_and_words_of_a_report_can_be_seen() -> None:
    named = dict(re.findall(r"--([a-z]+):(#[0-9a-f]{6})", REPORT))
    assert contrast(named["water"], named["paper"]) >= 3.0
    assert contrast(named["ink"], named["paper"]) >= 4.5
    assert contrast(named["quiet"], named["paper"]) >= 4.5
    opacity = re.search(r"\.range\{[^}]*opacity:([\d.]+)", REPORT)
    assert opacity
    ranged = over(named["ink"], named["paper"], float(opacity[1]))
    assert contrast(ranged, named["paper"]) >= 3.0


def test_colours_are_laid_over_each_other_rightly() -> None:
    assert over("#000000", "#ffffff", 0.5) == "#808080"
    assert over("#123456", "#ffffff", 1.0) == "#123456"
    assert grey("#ffffff") == "#ffffff"
    assert grey("#00ff00") == "#b6b6b6"
