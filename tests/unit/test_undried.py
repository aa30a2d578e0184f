"""What all probes of a bed give back of its drying: added up day by day, asked about, forgiven."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.sensing import undried
from controller.sensing.undried import DAY_H, LEAST_FRAC, LEAST_MM, SHARE, Undried

TAW_MM = 77.0
BOUND_MM = max(LEAST_MM, LEAST_FRAC * TAW_MM)
USES_MM_D = st.lists(st.floats(0.1, 12.0), min_size=1, max_size=40)


class Bed:
    """A bed that is corrected hour by hour."""

    def __init__(self) -> None:
        self.memory, self.used_mm = Undried(), 0.0
        self.hour(0.0, 0.0)
        self.memory.day_h = 0  # the first hour only tells where the books stand

    def hour(self, use_mm: float, given_mm: float, *, rain_seen: bool = True) -> bool:
        self.used_mm += use_mm
        return undried.hour(
            self.memory,
            given_mm=given_mm,
            used_mm=self.used_mm,
            log_thirst=-0.1,
            rain_seen=rain_seen,
        )

    def day(self, use_mm: float, given_mm: float, *, rain_seen: bool = True) -> None:
        for hour in range(DAY_H):
            ended = self.hour(use_mm / DAY_H, given_mm / DAY_H, rain_seen=rain_seen)
            assert ended is (hour == DAY_H - 1)

    @property
    def is_sure(self) -> bool:
        return undried.is_sure(self.memory, TAW_MM)

    @property
    def is_doubtful(self) -> bool:
        return undried.is_doubtful(self.memory, TAW_MM)


@given(USES_MM_D, st.floats(-3.0, SHARE))
def test_probes_that_give_back_no_more_than_a_thirst_may_be_are_never_asked_about(
    uses_mm_d: list[float], share: float
) -> None:
    bed = Bed()
    for use_mm in uses_mm_d:
        bed.day(use_mm, share * use_mm)
        assert bed.memory.sum_mm < 1e-9
        assert not bed.is_sure


@given(USES_MM_D, st.floats(1.0, 30.0))
def test_probes_that_give_back_all_are_asked_about_once_so_much_was_used(
    uses_mm_d: list[float], more: float
) -> None:
    bed, used_mm = Bed(), 0.0
    for use_mm in uses_mm_d:
        bed.day(use_mm, more * use_mm)
        used_mm += use_mm
        assert bed.memory.sum_mm == pytest.approx((1.0 - SHARE) * used_mm)
        assert bed.memory.given_mm == pytest.approx(used_mm)  # more is other water's affair
        if abs(bed.memory.sum_mm - BOUND_MM) > 1e-6:
            assert bed.is_sure is (bed.memory.sum_mm > BOUND_MM)


def test_a_hose_that_nobody_told_of_is_one_day_and_dries_again() -> None:
    bed = Bed()
    bed.day(6.0, 40.0)
    assert bed.memory.sum_mm == pytest.approx((1.0 - SHARE) * 6.0)
    bed.day(6.0, 0.0)
    assert bed.memory.sum_mm == 0.0
    assert bed.memory.given_mm == 0.0


def test_what_rain_may_have_done_takes_twice_as_much_and_is_never_sure() -> None:
    bed = Bed()
    while not bed.is_doubtful:
        assert bed.memory.sum_mm < 2.0 * BOUND_MM
        bed.day(6.0, 6.0, rain_seen=False)
        assert not bed.is_sure
    assert bed.memory.seen_mm == 0.0


def test_who_was_found_right_is_asked_later_until_water_moved_a_probe() -> None:
    memory = Undried(asked=["south-20"], asked_utc_s=1000.0, sum_mm=20.0, given_mm=30.0)
    for factor in (2.0, 4.0, 4.0):
        undried.cleared(memory, None)
        assert undried.bound_mm(memory, TAW_MM) == pytest.approx(factor * BOUND_MM)
        assert not memory.asked
        assert memory.sum_mm == memory.given_mm == 0.0
    undried.cleared(memory, 999.0)
    assert undried.bound_mm(memory, TAW_MM) == pytest.approx(4.0 * BOUND_MM)
    undried.cleared(memory, 1001.0)
    assert undried.bound_mm(memory, TAW_MM) == pytest.approx(BOUND_MM)


def test_a_small_bed_is_not_asked_about_for_a_little() -> None:
    assert undried.bound_mm(Undried(), 20.0) == LEAST_MM
    assert undried.bound_mm(Undried(), 200.0) == LEAST_FRAC * 200.0


def test_probes_that_tell_bare_counts_are_given_twice_as_long() -> None:
    assert undried.bound_mm(Undried(), TAW_MM, bare=True) == pytest.approx(2.0 * BOUND_MM)
    memory = Undried(seen_mm=1.5 * BOUND_MM, sum_mm=3.0 * BOUND_MM)
    assert undried.is_sure(memory, TAW_MM)
    assert not undried.is_sure(memory, TAW_MM, bare=True)
    assert undried.is_doubtful(memory, TAW_MM)
    assert not undried.is_doubtful(memory, TAW_MM, bare=True)


def test_hours_that_were_not_heard_are_of_the_day_in_which_it_is_heard_again() -> None:
    bed = Bed()
    bed.used_mm += 5.0  # silent meanwhile: nobody gave anything back
    bed.day(5.0, 5.0)
    assert bed.memory.sum_mm == 0.0
