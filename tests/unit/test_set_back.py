"""Which of two probes strays, and what its readings are set back by."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.sensing import set_back
from controller.sensing.drift import DAY_S, STRAYED_M3_M3_D
from controller.state import BedBooks, ProbeCare

ROOT_MM = 500.0
OFF = st.floats(-0.5, 0.5)


def books(told: list[float], balance: list[float] | None = None) -> BedBooks:
    found = BedBooks()
    for day, mean in enumerate(told):
        set_back.keep_books(
            found, {"a": mean, "b": mean}, balance[day] if balance else 0.0, 100 + day
        )
    return found


def strayed(off: float, sum_m3_m3_d: float) -> ProbeCare:
    return ProbeCare(
        off_m3_m3=off,
        above_m3_m3_d=sum_m3_m3_d if off > 0.0 else 0.0,
        below_m3_m3_d=sum_m3_m3_d if off < 0.0 else 0.0,
    )


def test_young_books_tell_nothing() -> None:
    assert set_back.wetter(books([0.2] * 8), ROOT_MM, 101) == (0.0, math.inf)
    assert set_back.odds({"a": 0.03, "b": -0.03}, 0.0, math.inf) == {"a": 0.5, "b": 0.5}


def test_probes_that_dry_as_the_balance_does_tell_nothing() -> None:
    days = 12
    told = [0.3 - set_back.FOLLOWS_FRAC * 4.0 * n / ROOT_MM for n in range(days)]
    found, sd = set_back.wetter(books(told, [4.0 * n for n in range(days)]), ROOT_MM, 105)
    assert found == pytest.approx(0.0, abs=1e-9)
    assert sd == pytest.approx(set_back.WALK_M3_M3 * math.sqrt(7.0))


def test_what_readings_alone_make_wetter_is_seen() -> None:
    told = [0.3] * 6 + [0.3 + 0.002 * n for n in range(1, 7)]
    found, _ = set_back.wetter(books(told), ROOT_MM, 105)
    assert found == pytest.approx(0.012)


def test_books_begin_anew_where_other_probes_speak() -> None:
    kept = books([0.3] * 5)
    set_back.keep_books(kept, {"a": 0.3}, 0.0, 106)
    assert kept.told_m3_m3 == [0.3]
    assert kept.told_by == ["a"]


def test_books_keep_no_more_than_two_months() -> None:
    assert len(books([0.3] * 100).dawn_days) == set_back.BOOK_DAYS + 1


@pytest.mark.parametrize(
    ("off_a", "wetter", "who"),
    [(0.03, 0.015, "a"), (0.03, -0.015, "b"), (-0.03, 0.015, "b"), (-0.03, -0.015, "a")],
)
def test_the_balance_tells_which_of_two_strays(off_a: float, wetter: float, who: str) -> None:
    odds = set_back.odds({"a": off_a, "b": -off_a}, wetter, 0.01)
    assert odds[who] > set_back.SURE_FRAC
    assert set_back.named({"a": off_a, "b": -off_a}, odds, []) == [who]


@given(OFF, st.floats(-1.0, 1.0), st.floats(0.001, 1.0))
def test_odds_are_shares_and_never_quite_sure(off_a: float, wetter: float, sd: float) -> None:
    odds = set_back.odds({"a": off_a, "b": -off_a}, wetter, sd)
    assert sum(odds.values()) == pytest.approx(1.0)
    assert 0.01 < min(odds.values()) <= 0.5


def test_of_three_it_is_the_one_that_went_farthest() -> None:
    assert set_back.odds({"a": -0.015, "b": 0.03, "c": -0.016}, -0.02, 0.01) == {
        "a": 0.0,
        "b": 1.0,
        "c": 0.0,
    }


def test_what_is_within_its_band_is_not_touched() -> None:
    probe = strayed(0.012, set_back.BEGINS_M3_M3_D)
    assert set_back.of(probe, 0.9) == 0.0
    assert set_back.unsure_m3_m3([probe, strayed(-0.012, 0.01)], [0.9, 0.1]) == 0.0


@given(OFF, st.floats(0.0, 1.0), st.floats(0.0, 0.2))
def test_no_probe_is_set_back_by_more_than_it_strays(off: float, odds: float, far: float) -> None:
    moved = set_back.of(strayed(off, far), odds)
    assert abs(moved) <= abs(off)
    assert moved * off >= 0.0


def test_two_that_cannot_be_told_apart_are_not_moved_together_but_count_for_less() -> None:
    pair = [strayed(0.03, STRAYED_M3_M3_D), strayed(-0.03, STRAYED_M3_M3_D)]
    assert sum(set_back.of(one, 0.5) for one in pair) == 0.0
    assert set_back.unsure_m3_m3(pair, [0.5, 0.5]) == pytest.approx(0.015)
    assert set_back.unsure_m3_m3(pair, [1.0, 0.0]) == 0.0


def test_unsure_books_ask_about_both_once_and_later_name_one() -> None:
    off = {"a": 0.03, "b": -0.03}
    assert set_back.named(off, {"a": 0.6, "b": 0.4}, []) == ["a", "b"]
    assert set_back.named(off, {"a": 0.6, "b": 0.4}, ["b"]) == []
    assert set_back.named(off, {"a": 0.95, "b": 0.05}, ["b"]) == ["a"]


def test_what_was_before_ends_some_days_ahead_of_the_first_stray_dawn() -> None:
    probe = ProbeCare(strayed_utc_s=110 * DAY_S)
    assert set_back.since_day([probe, ProbeCare()], 120 * DAY_S) == 107
    assert set_back.since_day([ProbeCare()], 120 * DAY_S) == 114
