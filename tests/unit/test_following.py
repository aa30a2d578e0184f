"""A probe beside its bed: one that goes along, one that stands, one of which nothing is known."""

from __future__ import annotations

import random

import pytest

from controller.sensing import following
from controller.state import ProbeCare

CYCLE_D = 6  # a dose, and then drying
FROZEN_FROM = 40


def life(
    days: int, share: float, frozen_from: int = 10_000, bed_m3_m3_d: float = 0.01, seed: int = 1
) -> tuple[ProbeCare, list[int]]:
    """A probe that goes by a share of its bed's way, and on which days it was found to stand."""
    lot, memory, found = random.Random(seed), ProbeCare(), []
    for day in range(days):
        lacks = bed_m3_m3_d * (min(day, frozen_from) % CYCLE_D)
        told = 0.28 - share * lacks + lot.gauss(0.0, 0.0015)
        lacks_now = bed_m3_m3_d * (day % CYCLE_D)
        following.dawn(memory, day, told, lacks_now, 0.28 - 0.5 * lacks_now)
        if following.stands(memory):
            found.append(day)
    return memory, found


@pytest.mark.parametrize("share", [0.4, 0.6, 1.0])
@pytest.mark.parametrize("seed", range(5))
def test_a_live_probe_is_never_found_to_stand_and_its_share_is_learned(
    share: float, seed: int
) -> None:
    memory, found = life(150, share, seed=seed)
    assert not found
    assert memory.follows_frac == pytest.approx(share, abs=0.12)


@pytest.mark.hazard("P4")
@pytest.mark.parametrize("share", [0.4, 0.6, 1.0])
@pytest.mark.parametrize("day", range(FROZEN_FROM, FROZEN_FROM + CYCLE_D))
def test_a_frozen_one_is_found_within_two_doses_however_it_trembles(share: float, day: int) -> None:
    _, found = life(FROZEN_FROM + 20, share, day)
    assert found
    assert day < found[0] <= day + 2 * CYCLE_D


def test_a_bed_that_goes_nowhere_tells_nothing() -> None:
    memory, found = life(100, 0.6, 40, bed_m3_m3_d=0.0005)
    assert not found
    assert memory.followed_dawns == 0


def test_a_probe_that_never_followed_has_nothing_to_lose() -> None:
    assert not life(100, 0.1, 40)[1]
    assert not life(8, 0.6, 2)[1]  # and one that is new is not known


def test_no_more_dawns_are_kept_than_are_asked() -> None:
    memory, _ = life(200, 0.6)
    assert len(memory.dawn_days) == len(memory.dawn_m3_m3) == following.DAWNS_KEPT
    assert len(memory.dawn_lacks_m3_m3) == following.DAWNS_KEPT


def test_a_long_silence_between_two_dawns_is_not_compared() -> None:
    memory, _ = life(40, 0.6)
    for day in range(60, 200, following.GAP_MOST_D + 1):
        following.dawn(memory, day, 0.25, 0.01 * (day % 5), None)
        assert not following.stands(memory)


def test_a_bed_that_only_runs_after_the_probe_itself_is_no_way() -> None:
    memory, _ = life(40, 0.6)
    for day in range(40, 60):  # it jumped to another level; the belief follows, the peers do not
        following.dawn(memory, day, 0.20, min(0.1, 0.01 * (day - 39)), 0.25)
        assert not following.stands(memory)
