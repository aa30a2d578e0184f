"""The eye: honest looks move a bed's line, others do no harm."""

from __future__ import annotations

import math
import random
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.watering.eye import (
    FADES_D,
    PRIOR,
    SHIFT_MOST_FRAC,
    SHIFTS_FRAC,
    Eye,
    Leaves,
    Says,
    When,
    forget,
    look,
    odds,
    shift_frac,
)

LINE = 0.40
DAY_S = 86_400.0


def see(eye: Eye, leaves: Leaves, depletion: float, day: float = 0.0, spread: float = 0.03) -> Says:
    return look(
        eye,
        leaves,
        When.MORNING,
        depletion_frac=depletion,
        spread_frac=spread,
        line_frac=LINE,
        at_utc_s=day * DAY_S,
    )


def truly(depletion: float, onset: float) -> Leaves:
    """What an honest person sees; independent of the module's own odds."""
    if depletion < onset + 0.03:
        return Leaves.UPRIGHT
    return Leaves.ROLLED if depletion < onset + 0.2 else Leaves.LIMP


def ten_looks(bias: float, seed: int) -> tuple[float, float]:
    """Error of the line, in truth, before and after ten honest mornings of drying cycles.

    The model's depletion is the truth times (1 + bias); the bed drinks when the model comes to its
    line as it has learned it by then.
    """
    lots = random.Random(seed)
    eye, truth = Eye(), lots.uniform(0.0, 0.3)
    for day in range(10):
        told = truth * (1.0 + bias) + lots.gauss(0.0, 0.01)
        see(eye, truly(truth, LINE), told, day)
        if told >= LINE + shift_frac(eye):
            truth = 0.05
        truth += lots.uniform(0.07, 0.12)
    wanted = LINE * (1.0 + bias)
    return abs(LINE - wanted), abs(LINE + shift_frac(eye) - wanted)


@pytest.mark.parametrize("bias", [-0.2, 0.2])
def test_ten_honest_mornings_halve_the_error_of_a_biased_thirst(bias: float) -> None:
    before, after = zip(*(ten_looks(bias, seed) for seed in range(200)), strict=True)
    assert median(after) <= 0.5 * median(before)


def test_looks_at_a_bed_that_is_modelled_rightly_leave_its_line_about_where_it_is() -> None:
    _, after = zip(*(ten_looks(0.0, seed) for seed in range(200)), strict=True)
    assert median(after) <= 0.03


def test_honest_mornings_make_up_for_as_many_random_ones() -> None:
    shifts = []
    for seed in range(100):
        lots, eye = random.Random(seed), Eye()
        for day in range(10):
            see(eye, Leaves(lots.randrange(3)), lots.uniform(0.05, 0.45), day)
        for day in range(10, 30):
            depletion = lots.uniform(0.05, 0.5)
            see(eye, truly(depletion, LINE), depletion, day)
        shifts.append(abs(shift_frac(eye)))
    assert median(shifts) <= 0.5 * SHIFT_MOST_FRAC


def test_a_rolled_leaf_before_the_line_draws_it_in_and_an_upright_one_past_it_lets_it_out() -> None:
    early, late = Eye(), Eye()
    assert see(early, Leaves.ROLLED, 0.32) is Says.LEARNED
    assert see(late, Leaves.UPRIGHT, 0.48) is Says.LEARNED
    assert shift_frac(early) < -0.01
    assert shift_frac(late) > 0.01


def test_what_is_seen_far_from_the_line_moves_it_little() -> None:
    eye = Eye()
    see(eye, Leaves.UPRIGHT, 0.05)
    assert abs(shift_frac(eye)) < 0.002


def test_midday_teaches_nothing() -> None:
    eye = Eye()
    said = look(
        eye,
        Leaves.LIMP,
        When.MIDDAY,
        depletion_frac=0.3,
        spread_frac=0.02,
        line_frac=LINE,
        at_utc_s=0.0,
    )
    assert said is Says.MIDDAY_SAYS_NOTHING
    assert eye == Eye()


def test_limp_over_wet_soil_speaks_of_roots_and_teaches_nothing() -> None:
    eye = Eye()
    assert see(eye, Leaves.LIMP, 0.08) is Says.ROOTS
    assert eye == Eye()


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_an_unknown_state_teaches_nothing(bad: float) -> None:
    eye = Eye()
    assert see(eye, Leaves.ROLLED, bad) is Says.UNKNOWN
    assert see(eye, Leaves.ROLLED, 0.3, spread=bad) is Says.UNKNOWN
    assert eye == Eye()


def test_a_wide_spread_makes_a_look_teach_less() -> None:
    sharp, vague = Eye(), Eye()
    see(sharp, Leaves.ROLLED, 0.32, spread=0.01)
    see(vague, Leaves.ROLLED, 0.32, spread=0.20)
    assert abs(shift_frac(vague)) < 0.5 * abs(shift_frac(sharp))


def test_what_was_learned_fades_over_a_season_and_can_be_undone() -> None:
    soon, long_after = Eye(), Eye()
    for eye, day in ((soon, 1.0), (long_after, 3.0 * FADES_D)):
        for _ in range(4):
            see(eye, Leaves.ROLLED, 0.30)
        see(eye, Leaves.UPRIGHT, 0.05, day)
    assert abs(shift_frac(long_after)) < 0.3 * abs(shift_frac(soon))
    forget(soon)
    assert soon == Eye()
    assert shift_frac(soon) == 0.0


def test_before_any_look_nothing_is_moved() -> None:
    assert shift_frac(Eye()) == 0.0
    assert shift_frac(Eye(weights_frac=list(PRIOR))) == pytest.approx(0.0, abs=1e-12)


looks = st.lists(
    st.tuples(
        st.sampled_from(Leaves),
        st.floats(0.0, 1.0),
        st.floats(0.0, 0.5),
        st.floats(0.0, 400.0),
    ),
    max_size=40,
)


@given(looks)
def test_whatever_is_seen_the_shift_is_bounded_and_the_weights_are_odds(
    seen: list[tuple[Leaves, float, float, float]],
) -> None:
    eye = Eye()
    for leaves, depletion, spread, day in seen:
        see(eye, leaves, depletion, day, spread)
    assert abs(shift_frac(eye)) <= SHIFT_MOST_FRAC
    if eye.weights_frac:
        assert len(eye.weights_frac) == len(SHIFTS_FRAC)
        assert sum(eye.weights_frac) == pytest.approx(1.0)
        assert all(0.0 <= weight <= 1.0 for weight in eye.weights_frac)


@given(st.floats(0.0, 1.0), st.floats(0.0, 0.5), st.floats(0.1, 0.7))
def test_upright_and_not_upright_share_all_the_odds(
    depletion: float, spread: float, line: float
) -> None:
    both = [odds(leaves, depletion, spread, line) for leaves in (Leaves.UPRIGHT, Leaves.LIMP)]
    assert sum(both) == pytest.approx(1.0)


@given(st.floats(0.15, 1.0), st.floats(0.0, 0.3))
def test_a_drier_sign_never_lets_the_line_out_further(depletion: float, spread: float) -> None:
    eyes = [Eye(), Eye(), Eye()]
    for eye, leaves in zip(eyes, Leaves, strict=True):
        see(eye, leaves, depletion, 0.0, spread)
    upright, rolled, limp = (shift_frac(eye) for eye in eyes)
    assert upright >= -1e-9 >= rolled - 2e-9
    assert rolled == limp
