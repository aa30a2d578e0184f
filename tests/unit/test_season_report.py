"""The page of a replay or a sweep: it holds what was counted, fetches nothing, and runs nothing."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner, Result

from api.cli import main
from api.reporting.drawings import Mark, calendar, water_and_yield
from api.season_strip import Scale

DAYS = ["--from", "2015-07-01", "--to", "2015-07-20"]
SEASON = ["hollin-lane", "--weather", "seattle-2015", "--sure", *DAYS]


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words), prog_name="thirstline")


@pytest.fixture(scope="module")
def replayed(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, dict[str, Any]]:
    """The page of twenty days, and what `--json` printed beside it."""
    file = tmp_path_factory.mktemp("report") / "page.html"
    policies = ["--policy", "thirstline", "--policy", "keep-moist"]
    found = run("replay", *SEASON, *policies, "--report", str(file), "--json")
    assert found.exit_code == 0, found.output
    return file.read_text(encoding="utf-8"), json.loads(found.stdout)


def embedded(page: str) -> Any:
    (text,) = re.findall(r'<script type="application/json" id="numbers">(.*?)</script>', page)
    return json.loads(text)


def rows(page: str) -> list[list[str]]:
    """The cells of each row of the tables that have numbers."""
    found = re.findall(r'<tr><th scope="row">(.*?)</th>(.*?)</tr>', page)
    return [[name, *re.findall("<td>(.*?)</td>", cells)] for name, cells in found]


def test_the_numbers_within_are_what_json_prints(
    replayed: tuple[str, dict[str, Any]],
) -> None:
    page, told = replayed
    kept = embedded(page)
    for one in (*kept["policies"], *told["policies"]):
        one.pop("seconds")
    assert kept == told


def test_the_table_says_what_the_numbers_say(replayed: tuple[str, dict[str, Any]]) -> None:
    page, told = replayed
    shown = {row[0]: row[1:3] for row in rows(page)}
    counted = {
        one["name"]: [f"{one['litres']:.0f}", str(one["waterings"])] for one in told["policies"]
    }
    assert shown == counted


def test_ours_is_told_first_with_pictures_of_each_bed(
    replayed: tuple[str, dict[str, Any]],
) -> None:
    page, told = replayed
    assert page.index("South, watered by thirstline") < page.index("watered by keep-moist")
    assert page.count('<img src="data:image/svg+xml;base64,') == 8
    litres = told["policies"][0]["litres"]
    assert f"Thirstline gave {litres:.0f} L" in page
    assert "Waterings of thirstline" in page
    assert re.search(r"<td>\d+ times</td><td>\d+ Jul to \d+ Jul</td><td>South: ", page)


def test_nothing_is_fetched_and_nothing_runs(replayed: tuple[str, dict[str, Any]]) -> None:
    page, _ = replayed
    assert not re.search(r"https?://", page)
    assert re.findall(r"<script(.*?)>", page) == [' type="application/json" id="numbers"']
    assert not re.search(r"\son[a-z]+=|<link|@import|url\(", page)


def test_it_says_how_it_was_made_and_what_it_cannot_say(
    replayed: tuple[str, dict[str, Any]],
) -> None:
    page, _ = replayed
    assert "A sure world, exactly as the garden file says." in page
    assert "not your soil" in page


def test_a_sweep_tells_settings_by_their_difference(tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    asked = ["sweep", *SEASON, "--policy", "thirstline", "--vary", "lean=0,1", "--jobs", "1"]
    found = run(*asked, "--report", str(file))
    assert found.exit_code == 0, found.output
    assert f"Report: {file}" in found.stdout
    page = file.read_text(encoding="utf-8")
    told = embedded(page)
    (less,) = told["differences"]
    fewer = -less["litres"]["median"]
    assert fewer > 0.0
    assert f"thirstline, lean=1: {fewer:.0f} L less a season than lean=0, yield" in page
    assert "Against lean=0, run by run on the same season and seed" in page
    assert len(rows(page)) == 3  # two settings and one difference


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    file = tmp_path / "not-there" / "page.html"
    found = run("replay", *SEASON, "--policy", "keep-moist", "--report", str(file))
    assert found.exit_code == 1
    assert f"--report {file}: cannot be written: No such file" in found.output


def mark(name: str, litres: float, share: float) -> Mark:
    return Mark(name=name, litres=(litres,) * 3, yield_frac=(share,) * 3)


def test_names_are_harmless_and_do_not_lie_on_each_other() -> None:
    drawn = water_and_yield([mark("<script>x</script>", 100.0, 0.9), mark("b", 100.0, 0.9)])
    assert "<script" not in drawn
    heights = [float(y) for y in re.findall(r'x="[\d.]+" y="([\d.]+)">(?:&lt;|b)', drawn)]
    assert len(heights) == 2
    assert abs(heights[0] - heights[1]) >= 15.0


@pytest.mark.parametrize(
    ("litres", "share"), [(0.0, 1.0), (1e-3, 0.0), (3e6, 0.999)], ids=["none", "dead", "large"]
)
def test_any_season_can_be_drawn(litres: float, share: float) -> None:
    drawn = water_and_yield([mark("one", litres, share)])
    assert "nan" not in drawn
    places = [float(x) for x in re.findall(r"M([-\d.]+) ", drawn)]
    assert all(-1.0 <= x <= 721.0 for x in places)


def test_a_calendar_has_a_drop_for_each_watering_in_its_place() -> None:
    day_s = 86_400.0
    scale = Scale(
        first=date(1970, 1, 1),
        last=date(1970, 1, 10),
        from_utc_s=0.0,
        to_utc_s=10.0 * day_s,
        zone=ZoneInfo("UTC"),
    )
    drawn = calendar(scale, [("south", [(0.0, 10.0), (5.0 * day_s, 40.0)]), ("wall", [])])
    placed = re.findall(r"translate\(([\d.]+) [\d.]+\) scale\(([\d.]+)\)", drawn)
    (first_x, first), (second_x, second) = [(float(x), float(size)) for x, size in placed]
    assert second_x - first_x == pytest.approx((700.0 - 110.0) / 2.0, abs=0.1)
    assert second > first
    assert "South 2 waterings, 50 L; Wall 0 waterings, 0 L" in drawn
