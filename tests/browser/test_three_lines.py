"""The report that the README shows: picture, page and numbers are of one piece, and of today."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

import pytest
from click.testing import CliRunner

from api.cli import main
from tests.browser.page_bench import needs_chromium
from tests.browser.take_report import KEY, PAGE, PICTURE, digest_of

SWEEP = (
    "sweep", "hollin-lane", "--weather", "seattle-2015", "--sure", "--policy", "thirstline",
    "--vary", "lean=0.4,0.7,0.1", "--jobs", "1", "--json",
)  # fmt: skip
MIDDLE, DRIER, WETTER = "lean=0.4", "lean=0.7", "lean=0.1"
BY_THE_WAY = {"key", "wall_s"}  # of which program it was; how long it took


def numbers_of(page: str) -> dict[str, Any]:
    (text,) = re.findall(r'<script type="application/json" id="numbers">(.*?)</script>', page)
    told: dict[str, Any] = json.loads(text)
    return told


def table_of(page: str) -> dict[str, list[str]]:
    """The cells of the first row of each name: the levels, before the differences."""
    found = re.findall(r'<tr><th scope="row">(.*?)</th>(.*?)</tr>', page)
    return {name: re.findall("<td>(.*?)</td>", cells) for name, cells in reversed(found)}


@pytest.fixture(scope="module")
def page() -> str:
    return PAGE.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def rows(page: str) -> Mapping[str, dict[str, Any]]:
    """The three seasons of the page's JSON, by their line."""
    return {row["setting"]: row for row in numbers_of(page)["rows"]}


def test_the_picture_was_taken_from_the_page_that_is_kept() -> None:
    assert KEY + b"\0" + digest_of(PAGE) in PICTURE.read_bytes()


def test_the_page_shows_the_numbers_of_its_json(
    page: str, rows: Mapping[str, dict[str, Any]]
) -> None:
    table = table_of(page)
    assert list(rows) == [MIDDLE, DRIER, WETTER]
    for line, row in rows.items():
        runs, litres, waterings, *_ = table[f"thirstline, {line}"]
        assert (runs, litres, waterings) == ("1", f"{row['litres']:.0f}", str(row["waterings"]))


def test_a_drier_line_waters_less_often_and_a_wetter_one_more(
    rows: Mapping[str, dict[str, Any]],
) -> None:
    counted = [rows[line]["waterings"] for line in (DRIER, MIDDLE, WETTER)]
    assert counted == sorted(set(counted))


@needs_chromium
def test_a_browser_shows_those_numbers_from_the_file(
    browser: Any, rows: Mapping[str, dict[str, Any]]
) -> None:
    opened = browser.new_context().new_page()
    opened.goto(PAGE.as_uri())
    shown = opened.locator("main").inner_text()
    assert all(f"{row['litres']:.0f}" in shown for row in rows.values())
    opened.context.close()


@pytest.mark.slow
def test_the_command_makes_those_numbers_today(rows: Mapping[str, dict[str, Any]]) -> None:
    said = CliRunner().invoke(main, SWEEP)
    assert said.exit_code == 0, said.output
    for row in json.loads(said.stdout)["rows"]:
        kept = rows[row["setting"]]
        assert row.keys() == kept.keys()
        assert {k: v for k, v in row.items() if k not in BY_THE_WAY} == {
            k: v for k, v in kept.items() if k not in BY_THE_WAY
        }
