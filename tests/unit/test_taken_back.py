"""What a broken probe made of its bed leaves the bed again when the probe is found out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.sensing import taken_back
from controller.sensing.by_hand import Feel
from controller.sensing.estimate import add_water, correct
from controller.sensing.flags import FLAGS, Flag, Trust
from controller.sensing.spread import accounted_mm, stored_mm
from controller.state import STATE_JSON, BedWater, Pull
from tests.probe_hands import A, B, Hands, Told, flat

HOUR_S = 3600.0
TAW_MM = 70.0
FROM_S = 1_780_000_000.0 // HOUR_S * HOUR_S


def bed() -> BedWater:
    return BedWater(depletion_mm=20.0, var_mm2=9.0, cov_mm=0.05)


def hour(water: BedWater, day: object, told_mm: float, n: int, probes: list[str]) -> None:
    was = taken_back.before(water)
    correct(water, day, told_mm, 2, FROM_S + n * HOUR_S)  # type: ignore[arg-type]
    taken_back.keep(water, was, probes, FROM_S + n * HOUR_S)


@pytest.fixture(scope="module")
def lived() -> Hands:
    hands = Hands(south_20=flat(0.235), south_40=flat(0.235))
    hands.live(3.0)
    return hands


def test_what_hours_moved_comes_back_to_the_state_before(lived: Hands) -> None:
    water, day = bed(), lived.engine.run.days["south"]
    for n in range(8):
        hour(water, day, 45.0, n, ["a"])
    assert water.depletion_mm > 23.0
    by_mm = taken_back.take_back(water, day.taw_mm, 24, FROM_S + 8 * HOUR_S)
    assert by_mm < -3.0
    was = bed()
    assert water.depletion_mm == pytest.approx(was.depletion_mm)
    assert water.var_mm2 == pytest.approx(was.var_mm2)
    assert water.log_thirst == pytest.approx(was.log_thirst)
    assert water.var_thirst == pytest.approx(was.var_thirst)
    assert water.cov_mm == pytest.approx(was.cov_mm)
    assert water.pulled_mm == pytest.approx(0.0)
    assert not water.pulls
    assert taken_back.take_back(water, day.taw_mm, 24, FROM_S + 8 * HOUR_S) == 0.0


def test_only_the_doubtful_hours_are_taken(lived: Hands) -> None:
    water, day = bed(), lived.engine.run.days["south"]
    for n in range(30):
        hour(water, day, 20.0 if n < 20 else 40.0, n, ["a"])
        if n == 19:
            then_mm = water.depletion_mm
    taken_back.take_back(water, day.taw_mm, 10, FROM_S + 29 * HOUR_S)
    assert water.depletion_mm == pytest.approx(then_mm)
    assert len(water.pulls) == 20


def test_two_days_are_kept_and_none_from_ahead_of_the_clock(lived: Hands) -> None:
    water, day = bed(), lived.engine.run.days["south"]
    for n in range(60):
        hour(water, day, 20.0, n, ["a"])
    assert len(water.pulls) == taken_back.HOURS_KEPT
    hour(water, day, 20.0, -30, ["a"])  # the clock was put back
    assert [pull.hour for pull in water.pulls] == [int(FROM_S // HOUR_S) - 30]


def test_water_that_only_readings_saw_and_that_drained_is_not_missed_again() -> None:
    water = bed()  # readings told 15 mm wetter: 5 above full...
    water.depletion_mm, water.over_mm, water.pulled_mm = 0.0, 10.0, 30.0
    none = {"var_mm2": 0.0, "log_thirst": 0.0, "var_thirst": 0.0, "cov_mm": 0.0}
    at = int(FROM_S // HOUR_S)
    water.pulls.append(Pull(hour=at, probes=["a"], lacks_mm=-30.0, drained_mm=0.0, **none))
    water.over_mm, water.drained_mm = 0.0, 10.0  # ...and drained
    assert taken_back.take_back(water, TAW_MM, 24, FROM_S) == pytest.approx(20.0)
    assert water.depletion_mm == pytest.approx(20.0)  # as before the readings


def test_water_given_on_a_false_word_is_still_there() -> None:
    water = bed()
    water.depletion_mm = 40.0  # readings told 20 mm drier
    none = {"var_mm2": 0.0, "log_thirst": 0.0, "var_thirst": 0.0, "cov_mm": 0.0}
    at = int(FROM_S // HOUR_S)
    water.pulls.append(Pull(hour=at, probes=["a"], lacks_mm=20.0, **none))
    add_water(water, 40.0, 0.08, FROM_S)
    taken_back.take_back(water, TAW_MM, 24, FROM_S)
    assert (water.depletion_mm, water.over_mm) == (0.0, pytest.approx(20.0))


def test_every_flag_that_takes_back_puts_its_probe_out() -> None:
    for code, hours in taken_back.DOUBTFUL_H.items():
        assert FLAGS[Flag(code)].trust is Trust.OUT
        assert 0 < hours <= taken_back.HOURS_KEPT


def lacks_mm(hands: Hands) -> float:
    water = hands.engine.state.water["south"]
    return water.depletion_mm - water.over_mm


def wild(now_s: float) -> float:
    """From wet to dry in twelve hours and at once back, from the second day on."""
    if now_s < 24 * HOUR_S:
        return 0.235
    return 0.34 - 0.24 * ((now_s - 24 * HOUR_S) / (12 * HOUR_S) % 1.0)


def test_a_wild_pair_leaves_its_bed_where_the_balance_has_it() -> None:
    hands, sound = Hands(south_20=wild, south_40=wild), Hands()
    sound.probes = {A: lambda s: None if s >= 24 * HOUR_S else 0.235}
    sound.probes[B] = sound.probes[A]
    for each in (hands, sound):
        each.live(24.0)
    assert lacks_mm(hands) == lacks_mm(sound)
    furthest = 0.0
    for _ in range(30):
        hands.live(1.0)
        sound.live(1.0)
        furthest = max(furthest, abs(lacks_mm(hands) - lacks_mm(sound)))
    assert hands.probe(A).trust == hands.probe(B).trust == Trust.OUT
    assert furthest > 8.0  # so far it went meanwhile
    assert abs(lacks_mm(hands) - lacks_mm(sound)) < 2.0
    water = hands.engine.state.water["south"]
    assert not taken_back.spoke(water, A, 24, hands.times()["at_utc_s"])
    assert stored_mm(water) - accounted_mm(water) == pytest.approx(_began(hands), abs=1e-6)


def test_hours_before_a_probe_first_leapt_are_kept() -> None:
    calm: list[float | None] = [0.235, 0.236, 0.233, None, 0.231]
    flags = [Flag.ERRATIC, Flag.DROP, Flag.SPIKE]
    assert taken_back.since_leap_h([*calm, 0.18, 0.16, 0.23], 8, flags) == 3
    assert taken_back.since_leap_h([*calm, 0.18, 0.16, 0.23], 2, flags) == 2  # leapt before them
    assert taken_back.since_leap_h([*calm, None, None, 0.18], 6, flags) == 1
    assert taken_back.since_leap_h(calm, 5, flags) == 5  # nobody knows when
    assert taken_back.since_leap_h([], 24, flags) == 24
    stands = [Flag.ERRATIC, Flag.FROZEN]  # it may have stood long before it leapt
    assert taken_back.since_leap_h([*calm, 0.18, 0.16, 0.23], 8, stands) == 8


def test_a_drop_takes_nothing_back_of_the_sound_day_before_it() -> None:
    def trembling(level: float) -> Told:
        return lambda now_s: level + 0.001 * (now_s // HOUR_S % 3.0)

    hands = Hands(south_20=trembling(0.235), south_40=trembling(0.235))
    hands.live(36.0)
    hours = [pull.hour for pull in hands.engine.state.water["south"].pulls]
    hands.probes[A] = trembling(0.16)
    for _ in range(12):
        hands.live(1.0)
        if hands.stands(Flag.DROP, A):
            break
    hands.live(1.0)
    assert hands.stands(Flag.DROP, A)
    assert [pull.hour for pull in hands.engine.state.water["south"].pulls][: len(hours)] == hours


def test_a_sound_probe_goes_on_counting_after_the_other_was_put_out() -> None:
    hands = Hands(south_20=wild, south_40=lambda s: 0.235 + 0.001 * (s // HOUR_S % 3.0))
    hands.live(48.0)
    assert hands.probe(A).trust == Trust.OUT
    before = len(hands.engine.state.water["south"].pulls)
    hands.live(6.0)
    pulls = hands.engine.state.water["south"].pulls
    assert [pull.probes for pull in pulls[-6:]] == [[B]] * 6
    assert len(pulls) >= min(before, 24)


def _began(hands: Hands) -> float:
    fresh = Hands().engine.state.water["south"]
    return stored_mm(fresh) - accounted_mm(fresh)


def test_a_hand_in_the_soil_closes_what_was_told_before(lived: Hands) -> None:
    from controller.correcting import feel_bed

    water = lived.engine.state.water["south"]
    assert water.pulls
    feel_bed(lived.engine.run, "south", Feel.DRY, 20.0)
    assert not water.pulls


def test_a_record_from_before_has_no_pulls_and_a_new_one_keeps_them() -> None:
    hands = Hands(south_20=flat(0.235), south_40=flat(0.235))
    hands.live(5.0)
    text = STATE_JSON.dump_json(hands.engine.state)
    again = STATE_JSON.validate_json(text)
    assert again.water["south"].pulls == hands.engine.state.water["south"].pulls != []
    old = replace(again.water["south"], pulls=[])
    assert old.pulls == []
