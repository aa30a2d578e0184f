"""The table for people: five policies side by side, the beds, and how near hindsight was."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from controller.garden import load_garden
from sim.examples import find_garden
from sim.report import as_text, near_hindsight
from sim.season_run import PolicyRun, Replay, prepare

FIVE = {
    "thirstline": 32299.2,
    "daily-clock": 44559.6,
    "third-day-clock": 43012.0,
    "keep-moist": 40100.0,
    "hindsight": 30000.0,
}


@pytest.fixture(scope="module")
def replay() -> Replay:
    garden = load_garden(find_garden("hollin-lane"))
    return prepare(garden, "invented-dry", sure=True)


def bed(litres: float, **changed: object) -> dict[str, Any]:
    return {
        "litres": litres,
        "waterings": 31,
        "began": [],
        "median_days_between": 3.0,
        "litres_per_watering": 268.3,
        "drained_l": 1368.4,
        "drained_share": 0.12,
        "rain_drained_l": 212.1,
        "stress_days": {},
        "days_past_floor": 0,
        "sudden_rewettings": 0,
        "late_litres": None,
        "max_depletion_frac": 0.6018,
        "end_depletion_frac": 0.10,
        "cracking_risk": 0.0,
        "blossom_end_rot_risk": 0.0,
        "relative_yield": 0.963,
        **changed,
    }


def run_of(name: str, litres: float, **beds: dict[str, Any]) -> PolicyRun:
    numbers = {
        "litres": litres,
        "waterings": 125,
        "drained_share": 0.1316,
        "days_past_floor": 12,
        "sudden_rewettings": 3,
        "relative_yield": 0.9614,
        "beds": beds or {"south": bed(litres)},
    }
    return PolicyRun(name=name, seconds=1.0, numbers=numbers)


def five() -> list[PolicyRun]:
    return [run_of(name, litres) for name, litres in FIVE.items()]


def test_five_policies_stand_side_by_side_each_with_its_bar(replay: Replay) -> None:
    lines = as_text(replay, five()).splitlines()
    head = lines.index(next(line for line in lines if line.startswith("policy ")))
    table = lines[head : head + 11]
    assert table[0].split() == [
        "policy", "litres", "waterings", "past", "floor", "rewetted", "drained", "yield",
    ]  # fmt: skip
    assert [line.split()[0] for line in table[1::2]] == list(FIVE)
    assert " ".join(table[1].split()) == "thirstline 32299 125 12 dawns 3 13 % 96 %"
    bars = [len(line.strip()) for line in table[2::2]]
    # of 60 places for 44560 L: 43.5, 60, 57.9, 54.0, 40.4
    assert bars == [43, 60, 58, 54, 40]


def test_nothing_is_wider_than_80_columns_even_with_long_names(replay: Replay) -> None:
    long = "the-bed-behind-the-old-greenhouse"
    picks = {long: tuple(date(2001, 8, day) for day in range(1, 12))}
    season = replace(replay.season, source="a/" * 60, estimated=("word " * 40,))
    runs = [run_of(name, 99_999.0, **{long: bed(99_999.0, late_litres=999.0)}) for name in FIVE]
    text = as_text(replace(replay, picks=picks, season=season), runs)
    assert max(map(len, text.splitlines())) <= 80


def test_a_season_without_any_water_has_no_bar_and_no_share(replay: Replay) -> None:
    run = run_of("thirstline", 0.0, south=bed(0.0, waterings=0, median_days_between=None))
    run.numbers["drained_share"] = None
    text = as_text(replay, [run])
    assert "#" not in text
    (line,) = (line for line in text.splitlines() if line.startswith("thirstline  "))
    assert line.split()[6] == "-"


def test_late_litres_stand_there_only_when_picks_are_given(replay: Replay) -> None:
    first = replay.span.first
    runs = [run_of("thirstline", 500.0, south=bed(500.0, late_litres=87.6), low=bed(0.0))]
    assert "late" not in as_text(replay, runs).lower()
    picks = {"south": (first + timedelta(days=60), first)}
    text = as_text(replace(replay, picks=picks), runs)
    south, low = (
        next(line for line in text.splitlines() if line.startswith(name))
        for name in ("south ", "low ")
    )
    assert south.endswith(" 88 L")
    assert low.endswith(" -")
    assert f"not counted: south {first}." in " ".join(text.split())


def test_a_garden_in_gallons_reads_gallons_and_inches(replay: Replay) -> None:
    info = replay.garden.garden.model_copy(update={"units": "us"})
    garden = replay.garden.model_copy(update={"garden": info})
    us = replace(replay, garden=garden, picks={"south": (date(2001, 8, 1),)})
    text = as_text(us, [run_of("thirstline", 32299.2, south=bed(8315.0, late_litres=38.0))])
    assert " 8533 " in text  # gallons
    assert "361 gal" in text  # drained
    assert re.search(r" in of rain, ETo [0-9.]+ in\.$", text.splitlines()[0])
    assert not re.search(r"\d (?:L|mm)\b|litres", text)
    assert max(map(len, text.splitlines())) <= 80


def numbers(**beds: dict[str, Any]) -> dict[str, Any]:
    return {"beds": beds}


def test_how_near_hindsight_was_is_a_ratio_of_litres() -> None:
    ours = numbers(south=bed(530.0), low=bed(530.0, end_depletion_frac=0.15))
    best = numbers(south=bed(500.0), low=bed(500.0, end_depletion_frac=0.10))
    assert near_hindsight(ours, best) == "Against perfect hindsight: 1.06 times its water."


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"days_past_floor": 1}, "low: 1 dawn past the floor against 0"),
        ({"end_depletion_frac": 0.17}, "low: ended 0.07 drier"),
        ({"end_depletion_frac": 0.02}, "low: ended 0.08 wetter"),
        ({"end_depletion_frac": float("nan")}, "low: ended nan"),
    ],
    ids=["past-the-floor", "drier", "wetter", "unknown"],
)
def test_a_bed_that_did_another_job_is_left_out_and_said(
    changed: dict[str, object], why: str
) -> None:
    ours = numbers(south=bed(550.0), low=bed(1.0, **changed))
    said = near_hindsight(ours, numbers(south=bed(500.0), low=bed(500.0)))
    assert "1.10 times its water in south" in said
    assert why in said


def test_where_no_bed_can_be_compared_no_ratio_is_told() -> None:
    ours = numbers(south=bed(300.0, days_past_floor=4))
    said = near_hindsight(ours, numbers(south=bed(500.0, days_past_floor=3)))
    assert said == (
        "Against perfect hindsight: no bed can be compared "
        "(south: 4 dawns past the floor against 3)."
    )


def test_as_many_dawns_past_the_floor_as_hindsight_is_comparable() -> None:
    both = bed(500.0, days_past_floor=3)
    assert "1.00 times" in near_hindsight(numbers(south=both), numbers(south=both))


def test_hindsight_that_gave_nothing_is_no_measure() -> None:
    said = near_hindsight(numbers(south=bed(10.0)), numbers(south=bed(0.0)))
    assert "hindsight gave it no water" in said


def test_the_sentence_stands_only_beside_hindsight(replay: Replay) -> None:
    assert "Against perfect hindsight: 1.08 times" in as_text(replay, five())
    assert "perfect hindsight" not in as_text(replay, five()[:4])
