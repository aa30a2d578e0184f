"""The trial of picks: which days, what counts as slow, and what is summed."""

from __future__ import annotations

from datetime import date

import pytest

from sim.pick_trials import (
    EVERY_D,
    Late,
    Whole,
    as_markdown,
    by_days,
    days_markdown,
    full_to_floor_d,
    picks_of,
    summed,
)
from sim.season_account import HourTruth
from tests.engine_garden import small_garden

HOUR_S = 3600.0


def test_beds_are_picked_on_days_of_their_own() -> None:
    picks = picks_of(small_garden(beds=("south", "wall")))
    assert picks["south"][0] == date(2026, 7, 20)
    assert picks["wall"][0] == date(2026, 7, 22)
    assert {(b - a).days for a, b in zip(picks["south"], picks["south"][1:], strict=False)} == {
        EVERY_D
    }


def hours(per_hour_frac: float, count: int, *, watered: bool = False) -> list[HourTruth]:
    return [
        HourTruth(HOUR_S * (n + 1), 0.1 + per_hour_frac * n, 0.0, 5.0 if watered else 0.0)
        for n in range(count)
    ]


def test_full_to_floor_goes_by_the_use_of_dry_hours() -> None:
    told = hours(0.0045, 96)
    assert full_to_floor_d(told, 0.50, 96 * HOUR_S) == pytest.approx(0.45 / (24 * 0.0045))
    assert full_to_floor_d(told, 0.50, -1.0) == float("inf")
    assert full_to_floor_d(hours(0.0045, 96, watered=True), 0.50, 96 * HOUR_S) == float("inf")


def late(days: float, untold_l: float, told_l: float) -> Late:
    return Late(
        case="loam",
        bed="south",
        on=date(2026, 8, 1),
        full_to_floor_d=days,
        untold_l=untold_l,
        told_l=told_l,
    )


def test_only_slow_picks_stand_for_the_target() -> None:
    found = [late(4.1, 300.0, 0.0), late(6.0, 100.0, 40.0), late(4.0, 200.0, 150.0)]
    whole = Whole(case="loam", past_floor=(1, 2), litres=(900.0, 880.0), yield_frac=(0.99, 0.98))
    (row,) = summed(found, [whole])
    assert (row["slow_picks"], row["quick_picks"]) == (2, 1)
    assert (row["slow_less"], row["quick_less"]) == (0.9, 0.25)
    assert row["past_floor"] == [1, 2]
    assert (
        "| loam | 2 | 400 | 40 | 90 % | 1 | 25 % | 1, 2 | 900, 880 | 0.99, 0.98 |"
        in as_markdown([row])
    )


def test_no_water_before_any_pick_is_no_share() -> None:
    whole = Whole(case="loam", past_floor=(0, 0), litres=(1.0, 1.0), yield_frac=(1.0, 1.0))
    (row,) = summed([late(6.0, 0.0, 0.0)], [whole])
    assert row["slow_less"] is None
    assert "| - |" in as_markdown([row])


def test_picks_are_sorted_by_how_long_their_bed_would_take() -> None:
    found = [late(3.5, 100.0, 70.0), late(4.0, 100.0, 60.0), late(float("inf"), 0.0, 0.0)]
    rows = by_days([*found, late(6.5, 50.0, 5.0)])
    assert [(row["above_d"], row["most_d"], row["picks"]) for row in rows] == [
        (3.0, 4.0, 2),
        (6.0, None, 2),
    ]
    assert [row["less"] for row in rows] == pytest.approx([0.35, 0.9])
    assert "| above 3, at most 4 | 2 | 200 | 130 | 35 % |" in days_markdown(rows)
    assert "| above 6 | 2 | 50 | 5 | 90 % |" in days_markdown(rows)
