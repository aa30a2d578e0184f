"""The pictures of a season: whole files, safe names, every mark at its place, no colour needed."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from api.season_pictures import Bed, draw, file_name, write_pictures
from controller.errors import UsageError
from controller.garden import load_garden
from controller.view import rfc3339
from sim.examples import find_garden
from sim.season_account import DawnTruth, HourTruth
from sim.season_run import PolicyRun, Replay, prepare

SVG = "{http://www.w3.org/2000/svg}"
HOUR = 3600.0
DAY = 86_400.0
NEVER = ("<script", "http://fonts", "@import", "<image", "<foreignObject", "onload")


@pytest.fixture(scope="module")
def replay() -> Replay:
    """Forty days of the invented dry season."""
    garden = load_garden(find_garden("hollin-lane"))
    whole = prepare(garden, "invented-dry", sure=True)
    first = whole.span.first
    return prepare(garden, "invented-dry", sure=True, first=first, last=first + timedelta(days=39))


def hours_of(replay: Replay, **changed: dict[int, Any]) -> list[HourTruth]:
    """Every hour of the span with a field changed at some of them."""
    count = round((replay.span.to_utc_s - replay.span.from_utc_s) / HOUR)
    hours = []
    for index in range(count):
        values = {name: told[index] for name, told in changed.items() if index in told}
        at = replay.span.from_utc_s + (index + 1) * HOUR
        plain = HourTruth(at, 0.3 + 0.1 * (index % 24) / 24, 0.0, 0.0)
        hours.append(plain._replace(**values))
    return hours


def dawns_of(replay: Replay, *past: int) -> list[DawnTruth]:
    return [
        DawnTruth(
            replay.span.from_utc_s + day * DAY + 5 * HOUR, 0.7 if day in past else 0.3, 0.42, 0.52
        )
        for day in range(40)
    ]


def numbers(*began_s: float, **changed: object) -> dict[str, Any]:
    return {
        "litres": 300.0,
        "waterings": len(began_s),
        "began": [rfc3339(at) for at in began_s],
        "days_past_floor": 0,
        "late_litres": None,
        "max_depletion_frac": 0.41,
        "relative_yield": 0.96,
        **changed,
    }


def bed_of(replay: Replay, **changed: Any) -> Bed:
    told: dict[str, Any] = {
        "name": "south",
        "policy": "thirstline",
        "numbers": numbers(),
        "hours": hours_of(replay),
        "dawns": dawns_of(replay),
        "picks": (),
        **changed,
    }
    return Bed(**told)


def tree_of(text: str) -> ET.Element:
    return ET.fromstring(text)  # noqa: S314 - drawn here


def drawn(replay: Replay, bed: Bed) -> ET.Element:
    return tree_of(draw(replay, bed))


def used(tree: ET.Element, what: str) -> list[ET.Element]:
    """The uses of a mark in the drawing; the legend's own places are in px."""
    return [
        one
        for one in tree.iter(f"{SVG}use")
        if one.get("href") == what and str(one.get("x")).endswith("%")
    ]


def test_a_file_for_each_policy_and_bed_lies_in_a_folder_that_was_made(
    replay: Replay, tmp_path: Path
) -> None:
    beds = {"south": numbers(), "low": numbers()}
    runs = [
        PolicyRun(name=name, seconds=1.0, numbers={"beds": beds})
        for name in ("thirstline", "daily-clock")
    ]
    written = write_pictures(tmp_path / "a" / "b", replay, runs)
    assert [path.name for path in written] == [
        "thirstline-south.svg",
        "thirstline-low.svg",
        "daily-clock-south.svg",
        "daily-clock-low.svg",
    ]
    for path in written:
        assert tree_of(path.read_text(encoding="utf-8")).tag == f"{SVG}svg"


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("thirstline-../../etc/passwd", "thirstline-etc-passwd"),
        ("thirstline-Süd Wand", "thirstline-sud-wand"),
        ("thirstline-a\\b:c*?\n", "thirstline-a-b-c"),
        ("畑", "bed"),
        ("x" * 300, "x" * 60),
    ],
    ids=["path", "umlaut", "signs", "nothing-left", "long"],
)
def test_names_of_files_are_safe(name: str, safe: str) -> None:
    assert file_name(name) == safe


def test_two_beds_of_like_names_do_not_write_over_each_other(
    replay: Replay, tmp_path: Path
) -> None:
    beds = {"Bed 1": numbers(), "bed-1": numbers(), "BED_1": numbers()}
    run = PolicyRun(name="hindsight", seconds=1.0, numbers={"beds": beds})
    written = write_pictures(tmp_path, replay, [run])
    assert [path.stem for path in written] == [
        "hindsight-bed-1",
        "hindsight-bed-1-2",
        "hindsight-bed-1-3",
    ]


def test_a_folder_that_cannot_be_made_is_a_sentence(replay: Replay, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    run = PolicyRun(name="hindsight", seconds=1.0, numbers={"beds": {"south": numbers()}})
    for folder in (tmp_path / "taken", tmp_path / "taken" / "below"):
        with pytest.raises(UsageError, match=r"taken.*: no pictures can be written there: "):
            write_pictures(folder, replay, [run])


def test_a_hostile_name_is_only_text(replay: Replay) -> None:
    name = "</title><script>alert(1)</script>\x00&"
    text = draw(replay, bed_of(replay, name=name, policy='"><b'))
    assert "<script" not in text
    title = tree_of(text).find(f"{SVG}title")
    assert title is not None
    assert "<script>alert(1)</script>&" in str(title.text).lower()


def test_it_opens_by_itself_and_is_told_in_words(replay: Replay) -> None:
    bed = bed_of(
        replay,
        numbers=numbers(replay.span.from_utc_s + 9 * DAY, days_past_floor=1),
        hours=hours_of(replay, irrigation_l={9 * 24: 212.0}),
        dawns=dawns_of(replay, 12),
    )
    text = draw(replay, bed)
    assert not [word for word in NEVER if word in text]
    assert re.findall(r"(?:href|src)=\"(?!#)|url\((?!#)", text) == []
    tree = tree_of(text)
    ids = str(tree.get("aria-labelledby")).split()
    told = {one.get("id"): str(one.text) for one in tree if one.get("id")}
    assert tree.get("role") == "img"
    assert told[ids[0]] == "South, watered by thirstline"
    assert "The driest hour had 41 % gone." in told[ids[1]]
    assert "1 dawn past the floor" in told[ids[1]]
    assert " 212 L." in told[ids[1]]


def test_depletion_runs_downwards_from_full_to_dry(replay: Replay) -> None:
    hours = [one._replace(depletion_frac=0.0) for one in hours_of(replay)]
    hours[-1] = hours[-1]._replace(depletion_frac=1.0)
    tree = drawn(replay, bed_of(replay, hours=hours))
    (curve,) = (
        one
        for one in tree.iter(f"{SVG}path")
        if one.get("class") == "curve" and "L" in one.get("d", "")
    )
    points = [tuple(map(float, pair.split())) for pair in curve.get("d", "")[1:].split("L")]
    assert points[0][1] == 0.0
    assert points[-1] == (1000.0, 180.0)
    said = [one.text for one in tree.iter(f"{SVG}text")]
    assert [text for text in said if str(text).endswith(" %")] == [
        "0 %", "25 %", "50 %", "75 %", "100 %",
    ]  # fmt: skip


def test_line_and_floor_step_where_the_stage_changes(replay: Replay) -> None:
    dawns = dawns_of(replay)
    dawns[20:] = [one._replace(line_frac=0.5, floor_frac=0.6) for one in dawns[20:]]
    tree = drawn(replay, bed_of(replay, dawns=dawns))
    ways = {
        str(one.get("class")): one.get("d", "")
        for one in tree.iter(f"{SVG}path")
        if "H" in one.get("d", "") and len(one.get("d", "")) > 30
    }
    # 0.42, 0.50, 0.52 and 0.60 of 180 px
    assert set(re.findall(r"[ML][\d.]+ ([\d.]+)H", ways["thirst"])) == {"75.6", "90"}
    assert set(re.findall(r"[ML][\d.]+ ([\d.]+)H", ways["floor"])) == {"93.6", "108"}


def test_each_dawn_past_the_floor_has_a_cross_on_its_place(replay: Replay) -> None:
    tree = drawn(replay, bed_of(replay, dawns=dawns_of(replay, 10, 11)))
    crosses = used(tree, "#cross")
    # 10 days and 5 hours of 40 days; 146 + 0.7 x 180 px
    assert [(one.get("x"), one.get("y")) for one in crosses] == [
        ("25.52%", "272"),
        ("28.02%", "272"),
    ]


def test_each_watering_has_a_drop_with_the_litres_that_followed_it(replay: Replay) -> None:
    begin = replay.span.from_utc_s
    bed = bed_of(
        replay,
        numbers=numbers(begin + 5 * DAY, begin + 20 * DAY),
        hours=hours_of(
            replay, irrigation_l={5 * 24: 100.0, 5 * 24 + 1: 50.0, 20 * 24: 10.0, 30 * 24: 240.0}
        ),
    )
    assert [litres for _, litres in bed.waterings()] == [150.0, 250.0]
    drops = used(drawn(replay, bed), "#drop")
    assert [one.get("x") for one in drops] == ["12.50%", "50.00%"]
    said = [str(one[0].text) for one in drops]
    assert [text.split(": ")[1] for text in said] == ["150 L", "250 L"]
    ys = [float(str(one.get("y"))) for one in drops]
    assert ys[1] < ys[0]  # more litres stand higher


def test_water_in_the_hour_before_a_watering_was_told_is_its_own(replay: Replay) -> None:
    begin = replay.span.from_utc_s
    # opened at 21:55, told at 22:00 of the first evening
    hours = hours_of(replay, irrigation_l={10: 70.0, 21: 6.0, 22: 60.0})
    bed = bed_of(replay, numbers=numbers(begin + 10 * HOUR, begin + 22 * HOUR), hours=hours)
    assert [litres for _, litres in bed.waterings()] == [70.0, 66.0]


def test_numbers_of_crowded_waterings_do_not_lie_on_each_other(replay: Replay) -> None:
    begin = replay.span.from_utc_s
    nights = [begin + night * DAY / 4 for night in range(160)]
    hours = hours_of(replay, irrigation_l=dict.fromkeys(range(0, 960, 6), 65.0))
    tree = drawn(replay, bed_of(replay, numbers=numbers(*nights), hours=hours))
    assert len(used(tree, "#drop")) == 160
    assert {one.get("class") for one in used(tree, "#drop")} == {"fine"}  # not on a phone
    at = [float(str(one.get("x"))[:-1]) for one in tree.iter(f"{SVG}text") if one.text == "65"]
    assert len(at) > 5
    assert min(b - a for a, b in pairwise(at)) >= 3.4


def test_rain_of_a_day_is_one_bar_and_the_most_is_said(replay: Replay) -> None:
    hours = hours_of(replay, rain_mm={24: 2.0, 30: 6.0, 240: 4.0})
    tree = drawn(replay, bed_of(replay, hours=hours))
    bars = [one for one in tree.iter(f"{SVG}line") if one.get("class") == "rain"]
    assert [float(one.get("y2", "")) - float(one.get("y1", "")) for one in bars] == [30.0, 15.0]
    assert "8 mm" in [one.text for one in tree.iter(f"{SVG}text")]


def test_a_dry_season_without_water_says_both(replay: Replay) -> None:
    said = [one.text for one in drawn(replay, bed_of(replay)).iter(f"{SVG}text")]
    assert {"no rain", "no water"} <= set(said)


def test_a_pick_has_a_flag_and_a_band_over_three_days(replay: Replay) -> None:
    day = replay.span.first + timedelta(days=20)
    tree = drawn(replay, bed_of(replay, picks=(day,)))
    (flag,) = used(tree, "#flag")
    (band,) = (one for one in tree.iter(f"{SVG}rect") if one.get("class") == "late")
    assert flag.get("x") == "50.00%"
    assert (band.get("x"), band.get("width")) == ("42.50%", "7.50%")  # 3 of 40 days
    assert "pick; grey: late" in [one.text for one in tree.iter(f"{SVG}text")]


def test_a_bed_that_nothing_is_known_of_still_gives_a_picture(replay: Replay) -> None:
    bare = bed_of(replay, hours=[], dawns=[])
    assert drawn(replay, bare).tag == f"{SVG}svg"


def test_a_month_is_named_where_its_name_has_room(replay: Replay) -> None:
    # 40 days from 9 May: the last 17 of them are June's; of 24 days one day of June is left
    said = {one.text for one in drawn(replay, bed_of(replay)).iter(f"{SVG}text")}
    assert {"May", "Jun"} <= said
    until_s = replay.span.to_utc_s - 16 * DAY
    short = replace(replay.span, last=replay.span.last - timedelta(days=16), to_utc_s=until_s)
    bed = bed_of(replay, hours=[], dawns=[])
    said = {one.text for one in drawn(replace(replay, span=short), bed).iter(f"{SVG}text")}
    assert "May" in said
    assert "Jun" not in said
