"""Which of two probes strays, and what its readings are set back by."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.flagging import raise_flag
from controller.sensing import set_back
from controller.sensing.drift import DAY_S, STRAYED_M3_M3_D
from controller.sensing.flags import Flag
from controller.state import BedBooks, ProbeCare
from tests.probe_hands import A, B, Hands, flat

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
    pair = {"a": probe, "b": strayed(-0.012, 0.01)}
    off = {"a": 0.012, "b": -0.012}
    assert set_back.of(probe, 0.9, 0.012) == 0.0
    assert set_back.unsure_m3_m3(pair, {"a": 0.9, "b": 0.1}, off) == 0.0


@given(OFF, st.floats(0.0, 1.0), st.floats(0.0, 0.2), OFF)
def test_no_probe_is_set_back_by_more_than_it_strays(
    off: float, odds: float, far: float, refill: float
) -> None:
    moved = set_back.of(strayed(off, far), odds, off, refill)
    assert abs(moved) <= abs(off)
    assert moved * off >= 0.0


def test_two_that_cannot_be_told_apart_are_not_moved_together_but_count_for_less() -> None:
    off = {"a": 0.03, "b": -0.03}
    pair = {name: strayed(each, STRAYED_M3_M3_D) for name, each in off.items()}
    assert sum(set_back.of(pair[name], 0.5, off[name]) for name in pair) == 0.0
    assert set_back.unsure_m3_m3(pair, {"a": 0.5, "b": 0.5}, off) == pytest.approx(0.015)
    assert set_back.unsure_m3_m3(pair, {"a": 1.0, "b": 0.0}, off) == 0.0


def refilled(days: dict[int, tuple[float, float]]) -> BedBooks:
    """Dawns of a bed whose two probes stand so after refills, and drier and closer in between."""
    found = BedBooks()
    for day in range(100, max(days) + 1):
        above, below = days.get(day, (0.24, 0.25))
        told = {"a": above, "b": below}
        set_back.keep_books(found, told, 0.0, day, refilled=day in days)
    return found


def test_a_refill_tells_which_probe_strays_and_how_far() -> None:
    kept = refilled({100: (0.28, 0.26), 104: (0.282, 0.262), 114: (0.30, 0.26)})
    told = set_back.by_refills(kept, 108)
    assert told is not None
    off, wetter, sd = told
    assert off == {"a": pytest.approx(0.020), "b": pytest.approx(-0.020)}
    assert wetter == pytest.approx(0.009)
    assert sd == pytest.approx(set_back.REFILL_M3_M3 * math.sqrt(1.5))
    assert set_back.odds(off, wetter, sd)["a"] > set_back.SURE_FRAC
    assert set_back.of(ProbeCare(), 0.95, 0.020, 0.020) > 0.015  # at once, as it is sure which
    assert set_back.of(ProbeCare(), 0.5, 0.020, 0.020) == 0.0


@pytest.mark.parametrize(
    "days",
    [
        {100: (0.28, 0.26), 114: (0.30, 0.26)},  # one before is no way
        {108: (0.28, 0.26), 112: (0.28, 0.26), 114: (0.30, 0.26)},  # all of them lately
    ],
)
def test_too_few_refills_tell_nothing(days: dict[int, tuple[float, float]]) -> None:
    assert set_back.by_refills(refilled(days), 108) is None


def test_an_old_refill_tells_nothing_of_now() -> None:
    kept = refilled({100: (0.28, 0.26), 104: (0.28, 0.26), 114: (0.30, 0.26)})
    assert set_back.by_refills(kept, 108) is not None
    for day in range(115, 121):
        set_back.keep_books(kept, {"a": 0.25, "b": 0.25}, 0.0, day)
    assert set_back.by_refills(kept, 108) is None


def test_refills_before_the_probes_went_astray_count_where_there_are_enough() -> None:
    days = {100: (0.28, 0.26), 102: (0.28, 0.26), 106: (0.31, 0.26), 115: (0.31, 0.26)}
    strayed_since = set_back.by_refills(refilled(days), 103)
    young = set_back.by_refills(refilled(days), 99)
    assert strayed_since is not None
    assert young is not None
    assert strayed_since[0]["a"] == pytest.approx(0.03)
    assert young[0]["a"] == pytest.approx(0.03)  # the middle one of all three


def test_only_the_dawn_after_the_bed_was_filled_is_a_refill() -> None:
    assert set_back.is_refilled(26.0, 0.12)
    assert not set_back.is_refilled(50.0, 0.12)
    assert not set_back.is_refilled(26.0, 0.5)


def test_a_stray_since_the_refill_goes_on_from_it_the_same_way() -> None:
    by_refill = {"a": 0.010, "b": -0.010}
    assert set_back.farther({"a": 0.015, "b": -0.015}, by_refill) == {"a": 0.015, "b": -0.015}
    assert set_back.farther({"a": 0.005, "b": -0.005}, by_refill) == by_refill
    assert set_back.farther({"a": -0.02, "b": 0.02}, by_refill) == by_refill


def test_the_surer_of_two_words_counts_for_more() -> None:
    assert set_back.together((0.0, math.inf), (0.0, math.inf)) == (0.0, math.inf)
    assert set_back.together((0.01, 0.02), (0.0, math.inf)) == pytest.approx((0.01, 0.02))
    value, sd = set_back.together((0.02, 0.005), (-0.02, 0.01))
    assert value == pytest.approx(0.012)
    assert sd == pytest.approx(0.005 / math.sqrt(1.25))


def test_unsure_books_ask_about_both_once_and_later_name_one() -> None:
    off = {"a": 0.03, "b": -0.03}
    assert set_back.named(off, {"a": 0.6, "b": 0.4}, []) == ["a", "b"]
    assert set_back.named(off, {"a": 0.6, "b": 0.4}, ["b"]) == []
    assert set_back.named(off, {"a": 0.95, "b": 0.05}, ["b"]) == ["a"]


def test_what_was_before_ends_some_days_ahead_of_the_first_stray_dawn() -> None:
    probe = ProbeCare(strayed_utc_s=110 * DAY_S)
    assert set_back.since_day([probe, ProbeCare()], 120 * DAY_S) == 107
    assert set_back.since_day([ProbeCare()], 120 * DAY_S) == 114


def test_of_two_that_strayed_the_one_that_broke_is_to_blame() -> None:
    kept, sd = set_back.alone_m3_m3(-0.015, -0.03)
    assert kept == pytest.approx(-0.003)  # one in ten
    assert sd == pytest.approx(0.03 * 0.3)


def test_one_that_surely_strayed_stays_set_back_when_its_peer_breaks() -> None:
    kept, _ = set_back.alone_m3_m3(0.0294, 0.03)
    assert 0.8 * 0.03 < kept < 0.0294


@pytest.mark.parametrize("off", [0.0, 0.01, -0.01])
def test_one_that_was_not_set_back_stays_as_it_is(off: float) -> None:
    assert set_back.alone_m3_m3(0.0, off) == (0.0, 0.0)


def test_a_peer_that_breaks_lets_what_it_was_held_against_go_and_fade() -> None:
    hands = Hands(south_20=flat(0.235), south_40=flat(0.235))
    hands.live(24.0)
    state = hands.engine.state
    state.care[B] = strayed(0.03, STRAYED_M3_M3_D)
    state.care[B].set_back_m3_m3 = 0.5 * 0.03
    state.water["south"].apart_sd_m3_m3 = 0.01
    raise_flag(hands.engine.run, A, Flag.UNIT_SLIP)
    kept = state.care[B].set_back_m3_m3
    assert kept == pytest.approx(0.003)
    hands.probes[A] = lambda _: None
    hands.live(48.0)
    assert 0.5 * kept < state.care[B].set_back_m3_m3 < 0.95 * kept
