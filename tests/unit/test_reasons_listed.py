"""A season's decisions counted: what repeats, what changes within a night, what waits."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from controller.garden import load_garden
from sim.examples import find_garden
from sim.reasons_listed import BedNight, _lines, changes, lived, postponed, repeats, summary
from sim.season_run import prepare

FIRST = date(2015, 7, 1)


def night(
    index: int,
    code: str = "drying",
    *,
    bed: str = "south",
    said: tuple[str, ...] = (),
    would_change: tuple[str, ...] = ("Had it used 4 % more by sunrise, it would drink.",),
) -> BedNight:
    return BedNight(
        bed=bed,
        night=FIRST + timedelta(days=index),
        code=code,
        text=f"{bed} {code} {index}.",
        would_change=would_change,
        said=said or (code,),
    )


def test_eight_nights_running_are_a_repeat_and_seven_are_none() -> None:
    eight = [night(index) for index in range(8)]
    assert repeats(eight[:7]) == []
    told = {"bed": "south", "code": "drying", "nights": 8, "from": "2015-07-01", "explained": True}
    assert repeats(eight) == [told]
    broken = [*eight[:4], night(4, "at_line"), *eight[5:]]
    assert repeats(broken) == []


def test_a_repeat_with_one_silent_night_is_not_explained() -> None:
    some = [night(index, would_change=() if index == 3 else ("So.",)) for index in range(9)]
    found = summary(some)
    assert found["unexplained"] == 1
    assert "NOT EXPLAINED" in _lines(found)


def test_a_not_yet_that_became_a_yes_is_a_change_of_mind() -> None:
    said = ("drying", "floor_passed", "watered_tonight")
    assert changes([night(0, "floor_passed", said=said)]) == [
        {"bed": "south", "night": "2015-07-01", "from": "drying", "to": "floor_passed"}
    ]
    waits_for_readings = ("waiting_readings", "at_line", "watered_tonight")
    assert changes([night(0, "at_line", said=waits_for_readings)]) == []
    rain_over = ("raining", "at_line")  # it was to be judged again after the rain
    assert changes([night(0, "at_line", said=rain_over)]) == []
    spent = ("at_line", "cap_spent")
    assert len(changes([night(0, "at_line", said=spent)])) == 1


def test_due_and_waiting_is_counted_by_reason_and_by_the_longest_row() -> None:
    some = [
        night(0, "rain_coming"),
        night(1, "rain_coming"),
        night(2, "at_line"),
        night(3, "pick_hold"),
        night(0, "raining", bed="wall"),
    ]
    by = {"rain_coming": 2, "pick_hold": 1, "raining": 1}
    assert postponed(some) == {"nights": 4, "longest": 2, "by": by}


@pytest.mark.slow
def test_no_reason_of_a_sure_season_repeats_unexplained_or_changes_within_a_night() -> None:
    garden = load_garden(find_garden("hollin-lane"))
    found = summary(lived(prepare(garden, "seattle-2015", sure=True)))
    assert found["nights"] > 600
    assert found["reasons"]["drying"]["nights"] > 300
    assert found["repeats"]
    assert (found["unexplained"], found["changes"]) == (0, [])
    assert found["postponed"]["by"].get("rain_coming", 0) == 0  # nobody foretells there
