"""The outlook's trials: what counts, and that a window can miss."""

from __future__ import annotations

import math

import pytest

from controller.garden import load_garden
from controller.watering.outlook import NIGHTS_MOST
from sim.examples import find_garden
from sim.outlook_trials import Answer, Told, _lines, measured, summary

DAY_S = 86_400.0
END_S = 100.0 * DAY_S
NEVER = math.inf


def told(first_d: float, last_d: float) -> Told:
    return Told(
        bed="south",
        month=7,
        stage="setting",
        at_utc_s=0.0,
        first_utc_s=first_d * DAY_S,
        last_utc_s=last_d * DAY_S,
    )


@pytest.mark.parametrize(
    ("window", "drank_d", "word"),
    [
        pytest.param((2.0, 3.3), 2.1, "held", id="inside"),
        pytest.param((2.0, 3.3), 3.2, "held", id="last-night"),
        pytest.param((2.0, 3.3), 1.9, "early", id="before"),
        pytest.param((2.0, 3.3), 3.4, "late", id="after"),
        pytest.param((2.0, 3.3), NEVER, "late", id="never"),
        pytest.param((NEVER, NEVER), NEVER, "held", id="none-foreseen-none-came"),
        pytest.param((NEVER, NEVER), NIGHTS_MOST + 2.0, "held", id="none-foreseen-later"),
        pytest.param((NEVER, NEVER), 5.0, "early", id="none-foreseen-one-came"),
    ],
)
def test_what_a_window_came_to(window: tuple[float, float], drank_d: float, word: str) -> None:
    one = Answer(told(*window), drank_d * DAY_S, END_S)
    assert one.known
    assert [name for name in ("held", "early", "late") if getattr(one, name)] == [word]


def test_what_the_season_did_not_live_to_see_does_not_count() -> None:
    unseen = Answer(told(2.0, 103.0), NEVER, END_S)
    assert not unseen.known
    found = summary([unseen, Answer(told(2.0, 4.0), 3.0 * DAY_S, END_S)])
    assert (found["dawns"], found["open_dawns"], found["held_share"]) == (1, 1, 1.0)
    assert found["nights_median"] == 3


def test_misses_lower_the_share() -> None:
    some = [Answer(told(2.0, 3.3), drank_d * DAY_S, END_S) for drank_d in (1.0, 2.5, 3.0, 9.0)]
    found = summary(some)
    assert (found["held_share"], found["early_share"], found["late_share"]) == (0.5, 0.25, 0.25)
    head = {"weather": "own", "by": "all", "group": "all", "worlds": 1}
    assert "0.500" in _lines([head | found])


@pytest.mark.slow
def test_the_windows_hold_in_drawn_worlds_that_nothing_was_found_on() -> None:
    """Seed 21; the share asked for is 0.75 to 0.88, here with what one seed scatters."""
    garden = load_garden(find_garden("hollin-lane"))
    rows = measured(garden, (21,), ("seattle-2015",))
    whole = next(one for one in rows if one["by"] == "all")
    assert whole["dawns"] > 500
    assert 0.72 <= whole["held_share"] <= 0.92
    july = next(one for one in rows if one["group"] == "07")
    assert july["nights_median"] <= 4
