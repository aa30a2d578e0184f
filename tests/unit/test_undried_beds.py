"""A bed whose probes all stand wet: what leaves it, and what makes them believed again."""

from __future__ import annotations

import json
import math
import random

import pytest

from controller.events import Order, OrderKind
from controller.garden import Garden
from controller.sensing import care
from controller.sensing.estimate import add_water
from controller.sensing.flags import Flag
from controller.sensing.undried import Undried
from tests.probe_hands import A, B, Hands, Told, drying, garden

LEVEL_M3_M3 = 0.252


def trembling(seed: int, level: list[float]) -> Told:
    return lambda now_s: level[0] + random.Random(f"{seed}/{now_s}").gauss(0.0, 0.0008)


class Lie:
    """A garden whose probes all stand wet in hot, rainless weather."""

    def __init__(self, plot: Garden | None = None) -> None:
        self.level = [LEVEL_M3_M3]
        self.hands = Hands(
            plot, south_20=trembling(1, self.level), south_40=trembling(2, self.level)
        )

    def asked(self) -> Hands:
        """Live until somebody is asked."""
        for _ in range(24 * 10):
            self.hands.live(1.0)
            if self.hands.stands(Flag.NOT_DRYING):
                return self.hands
        raise AssertionError("nobody was asked")


def memory_of(hands: Hands, bed: str = "south") -> Undried:
    return hands.engine.state.beds[bed].undried


def stand(hands: Hands) -> list[str]:
    return [name for name in (A, B) if hands.stands(Flag.NOT_DRYING, name)]


def feel(hands: Hands, felt: str) -> None:
    hands.step(
        Order(
            **hands.times(),
            order=f"f{hands.now_s}",
            what=OrderKind.SOIL,
            who="tester",
            bed="south",
            feel=felt,
            depth_cm=20.0,
        )
    )


def test_what_they_gave_the_bed_leaves_it_with_what_they_taught_of_its_thirst() -> None:
    hands = Lie().asked()
    water, day = hands.engine.state.water["south"], hands.engine.run.days["south"]
    assert water.depletion_mm / day.taw_mm > 0.6, "it used so much since, by the weather"
    assert water.log_thirst == pytest.approx(0.0, abs=0.06)
    assert not water.pulls
    assert memory_of(hands).sum_mm == 0.0


def test_a_bed_that_follows_such_a_sister_gets_its_own_back_as_well() -> None:
    document = json.loads(garden(beds=("south", "north")).model_dump_json(exclude_none=True))
    document["beds"]["north"] |= {"probes": [], "like": "south"}
    del document["probes"]["north-20"], document["probes"]["north-40"]
    hands = Lie(Garden.model_validate(document)).asked()
    water, day = hands.engine.state.water["north"], hands.engine.run.days["north"]
    assert water.depletion_mm / day.taw_mm > 0.5
    assert memory_of(hands, "north").given_mm == 0.0


def test_a_dose_that_moves_one_brings_both_back() -> None:
    lie = Lie()
    hands = lie.asked()
    hands.live(24.0)
    assert stand(hands) == [A, B]
    state, at_utc_s = hands.engine.state, hands.times()["at_utc_s"]
    add_water(state.water["south"], 35.0, 0.08, at_utc_s)  # as a settled pulse tells it
    care.dosed(state.trials, "south", 35.0, at_utc_s, at_utc_s)
    lie.level[0] += 0.024
    hands.live(15.0)
    assert stand(hands) == []
    assert memory_of(hands).vouched == 0


def test_a_feel_that_agrees_brings_both_back_and_the_next_question_takes_longer() -> None:
    hands = Lie().asked()
    feel(hands, "just_moist")
    assert stand(hands) == []
    assert memory_of(hands).vouched == 1


def test_a_feel_that_says_dry_leaves_them_out() -> None:
    hands = Lie().asked()
    feel(hands, "dry")
    assert stand(hands) == [A, B]


def test_a_person_who_clears_one_brings_both_back() -> None:
    hands = Lie().asked()
    hands.clear(A)
    hands.live(1.0)
    assert stand(hands) == []
    assert memory_of(hands).vouched == 1
    hands.live(24.0)
    assert stand(hands) == []


def test_a_probe_that_nobody_is_asked_about_does_not_speak_for_those_that_are() -> None:
    hands = Lie().asked()
    memory = memory_of(hands)
    memory.asked = [B]  # as where the upper one was silent then
    feel(hands, "just_moist")
    assert hands.stands(Flag.NOT_DRYING, B)
    assert memory.vouched == 0


def test_an_agreeing_feel_ahead_of_the_question_begins_anew() -> None:
    hands = Lie().hands
    hands.live(24.0 * 4)
    assert memory_of(hands).sum_mm > 5.0
    feel(hands, "just_moist")
    assert memory_of(hands).sum_mm == 0.0
    assert memory_of(hands).vouched == 0


def test_probes_that_dry_are_never_asked_about() -> None:
    hands = Hands(south_20=drying(0.275, 0.010), south_40=drying(0.275, 0.008))
    for _ in range(10):
        hands.live(24.0)
        assert not memory_of(hands).asked
        assert memory_of(hands).sum_mm < 5.0


def test_without_a_gauge_probes_that_dry_again_end_the_question() -> None:
    lie = Lie(garden(mast=False))
    lie.hands.live(24.0 * 21)
    assert lie.hands.stands(Flag.WET_UNSEEN)
    for _ in range(24 * 12):
        lie.level[0] -= 0.0006
        lie.hands.live(1.0)
    assert not lie.hands.stands(Flag.WET_UNSEEN)
    assert not memory_of(lie.hands).asked


@pytest.mark.parametrize("thirst", [0.5, 0.6, 0.7])
def test_a_bed_that_truly_drinks_little_is_never_asked_about(thirst: float) -> None:
    level = [0.275]
    hands = Hands(south_20=trembling(1, level), south_40=trembling(2, level))
    hands.temp_c = 30.0
    water, most_mm, used_mm = hands.engine.state.water["south"], 0.0, 0.0
    for _ in range(24 * 8):
        hands.live(1.0)
        drunk_mm = thirst * (water.used_mm - used_mm) / math.exp(water.log_thirst)
        used_mm = water.used_mm
        level[0] -= drunk_mm / (1000.0 * hands.engine.run.days["south"].root_depth_m)
        most_mm = max(most_mm, memory_of(hands).sum_mm)
        assert not memory_of(hands).asked
    assert level[0] < 0.25, "it dried"
    assert most_mm < 3.0
