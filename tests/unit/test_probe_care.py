"""In the engine: doses that are answered, missed, or answered by another bed's probes."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from controller.bed_views import quality_of, rules_of, window_now
from controller.engine import Engine
from controller.events import Order, OrderKind
from controller.probe_care import probe_weight
from controller.sensing import care
from controller.sensing.estimate import add_water
from controller.sensing.flags import Flag
from controller.state import STATE_JSON
from controller.watering.decision import Reason
from tests.probe_hands import A, B, Hands, garden

NORTH_A, NORTH_B = "north-20", "north-40"
DRY, DRY_BELOW = 0.215, 0.235
Told = Callable[[float], float | None]


class Soil:
    """Contents by hand: each probe stands where it is put and creeps down."""

    def __init__(self) -> None:
        self.at: dict[str, float] = {}
        self.since_s: dict[str, float] = {}

    def probe(self, name: str, level: float) -> Told:
        self.at[name] = level

        def told(now_s: float) -> float:
            return self.at[name] - 1e-8 * (now_s - self.since_s.get(name, 0.0))

        return told


def plot(beds: tuple[str, ...] = ("south",)) -> tuple[Hands, Soil]:
    soil = Soil()
    levels = {
        f"{bed}_{depth}": level for bed in beds for depth, level in ((20, DRY), (40, DRY_BELOW))
    }
    told = {name: soil.probe(name.replace("_", "-"), level) for name, level in levels.items()}
    hands = Hands(garden(beds=beds), **told)
    hands.live(6.0)
    return hands, soil


def dose(hands: Hands, mm: float = 35.0, bed: str = "south") -> None:
    """Water reaches a bed, as a settled pulse tells it."""
    state, at_utc_s = hands.engine.state, hands.times()["at_utc_s"]
    add_water(state.water[bed], mm, 0.08, at_utc_s)
    care.dosed(state.trials, bed, mm, at_utc_s, at_utc_s)


def a_dose_later(
    hands: Hands, soil: Soil, rises: dict[str, float], mm: float = 35.0, bed: str = "south"
) -> None:
    """One dose; those that feel it rise, a day passes, and all are dry again."""
    before = dict(soil.at)
    dose(hands, mm, bed)
    for name, rise in rises.items():
        soil.at[name] += rise
    hands.live(15.0)
    dry_again(hands, soil, before)


def dry_again(hands: Hands, soil: Soil, levels: dict[str, float]) -> None:
    """Let a day pass in which all probes go down to these levels, no faster than soil dries."""
    for _ in range(20):
        for name, level in levels.items():
            soil.at[name] = max(level, soil.at[name] - 0.01)
        hands.live(1.0)


FELT = {A: 0.05, B: 0.03}


def proven() -> tuple[Hands, Soil]:
    """Both probes have answered two such doses."""
    hands, soil = plot()
    for _ in range(2):
        a_dose_later(hands, soil, FELT)
    return hands, soil


def test_sound_probes_answer_and_nothing_is_said() -> None:
    hands, soil = plot()
    for _ in range(3):
        a_dose_later(hands, soil, FELT)
    assert not hands.probe(A).flags
    assert not hands.probe(B).flags
    assert not hands.engine.state.trials


@pytest.mark.hazard("P4")
def test_one_miss_is_doubt_without_alarm_and_an_answer_ends_it() -> None:
    hands, soil = plot()
    a_dose_later(hands, soil, {B: 0.03})
    assert hands.stands(Flag.NO_ANSWER_ONCE)
    assert hands.alert() == ""
    assert 0.0 < probe_weight(hands.engine.run, A) < 1.0
    assert quality_of(hands.engine.run, "south")[0] == "doubtful"
    a_dose_later(hands, soil, FELT)
    assert not hands.probe(A).flags
    a_dose_later(hands, soil, {B: 0.03})  # two, but not one after the other
    assert not hands.stands(Flag.QUARANTINED)


def quarantined() -> tuple[Hands, Soil]:
    hands, soil = plot()
    for _ in range(2):
        a_dose_later(hands, soil, {B: 0.03})
    return hands, soil


@pytest.mark.hazard("P4")
def test_two_misses_put_a_probe_out_with_an_alarm_and_the_bed_goes_on() -> None:
    hands, _ = quarantined()
    assert hands.stands(Flag.QUARANTINED)
    assert hands.stands(Flag.FROZEN)  # it did nothing but creep
    assert not hands.stands(Flag.NO_ANSWER_ONCE)
    assert "trembles about one value" in hands.alert()
    assert hands.engine.state.alerts[f"probe_suspect-south-{A}"].person_needed
    assert probe_weight(hands.engine.run, A) == 0.0
    assert quality_of(hands.engine.run, "south")[0] == "doubtful"
    assert not hands.probe(B).flags


def test_the_bed_is_corrected_by_the_other_probe_alone() -> None:
    hands, soil = quarantined()
    soil.at[A] = 0.19
    hands.live(2.0)
    told = hands.engine.state.beds["south"].told_m3_m3
    assert told == pytest.approx(hands.probe(B).theta_m3_m3, abs=1e-3)


def test_an_answer_ends_a_quarantine_and_a_small_stir_does_not() -> None:
    hands, soil = quarantined()
    a_dose_later(hands, soil, {A: 0.0085, B: 0.03})
    assert hands.stands(Flag.QUARANTINED)
    a_dose_later(hands, soil, FELT)
    assert not hands.probe(A).flags
    assert hands.alert() == ""


def test_a_person_ends_a_quarantine_and_the_count_begins_anew() -> None:
    hands, soil = quarantined()
    hands.clear()
    assert not hands.probe(A).flags
    hands.live(1.0)
    a_dose_later(hands, soil, {B: 0.03})
    assert hands.stands(Flag.NO_ANSWER_ONCE)
    assert not hands.stands(Flag.QUARANTINED)


def test_a_restless_probe_that_misses_is_quarantined_but_not_frozen() -> None:
    hands, soil = plot()
    for level in (0.0, 0.007):
        soil.at[A] = DRY + level
        hands.live(4.0)
        a_dose_later(hands, soil, {B: 0.03})
    assert hands.stands(Flag.QUARANTINED)
    assert not hands.stands(Flag.FROZEN)


@pytest.mark.parametrize("level", [0.27, 0.30])
def test_a_probe_that_reads_full_is_never_blamed(level: float) -> None:
    hands, soil = proven()
    soil.at[B] = level
    hands.live(8.0)
    for _ in range(2):
        a_dose_later(hands, soil, {A: 0.05})
    assert not {Flag.NO_ANSWER_ONCE, Flag.QUARANTINED} & set(hands.probe(B).flags)


def test_a_deep_probe_is_not_blamed_for_a_dose_that_stops_above_it() -> None:
    hands, soil = proven()
    for _ in range(2):
        a_dose_later(hands, soil, {A: 0.05}, mm=20.0)
    assert not hands.probe(B).flags


def test_a_deep_probe_is_not_blamed_where_the_shallow_one_felt_nothing() -> None:
    hands, soil = proven()
    for _ in range(2):
        a_dose_later(hands, soil, {})
    assert hands.stands(Flag.QUARANTINED)
    assert not hands.probe(B).flags


def test_a_deep_probe_is_blamed_where_the_shallow_one_felt_the_dose() -> None:
    hands, soil = proven()
    for _ in range(2):
        a_dose_later(hands, soil, {A: 0.05})
    assert hands.stands(Flag.QUARANTINED, B)


def test_rain_in_the_window_makes_the_trial_void() -> None:
    hands, soil = plot()
    for _ in range(2):
        dose(hands)
        hands.rain_mm += 6.0
        soil.at[B] += 0.03
        hands.live(15.0)
        dry_again(hands, soil, {B: DRY_BELOW})
    assert not {Flag.NO_ANSWER_ONCE, Flag.QUARANTINED} & set(hands.probe(A).flags)


def test_a_probe_that_was_silent_in_the_window_is_not_blamed() -> None:
    hands, _ = plot()
    told = hands.probes[A]
    for _ in range(2):
        dose(hands)
        hands.probes[A] = lambda _: None
        hands.live(15.0)
        hands.probes[A] = told
        hands.live(20.0)
    assert not {Flag.NO_ANSWER_ONCE, Flag.QUARANTINED} & set(hands.probe(A).flags)


def test_a_deep_probe_that_never_answered_is_not_blamed_either() -> None:
    hands, soil = plot()
    for _ in range(2):
        a_dose_later(hands, soil, {A: 0.05})
    assert not hands.probe(B).flags


# -- swapped


BOTH = ("south", "north")


@pytest.mark.hazard("P7")
def test_two_beds_that_answer_for_each_other_are_held_after_one_dose() -> None:
    hands, soil = plot(BOTH)
    a_dose_later(hands, soil, {NORTH_A: 0.05, NORTH_B: 0.03})
    state, run = hands.engine.state, hands.engine.run
    for bed in BOTH:
        assert state.alerts[f"probes_swapped-{bed}"].person_needed
        assert rules_of(run, bed, window_now(run)).hold is Reason.PROBES_SWAPPED
        assert state.beds[bed].said.code == Reason.PROBES_SWAPPED
    for name in (A, B, NORTH_A, NORTH_B):
        assert hands.stands(Flag.SWAPPED, name)


def swapped_pair() -> tuple[Hands, Soil]:
    hands, soil = plot(BOTH)
    for _ in range(2):
        a_dose_later(hands, soil, {NORTH_A: 0.05, B: 0.03})
    return hands, soil


@pytest.mark.hazard("P7")
def test_one_swapped_pair_takes_two_doses() -> None:
    hands, soil = plot(BOTH)
    a_dose_later(hands, soil, {NORTH_A: 0.05, B: 0.03})
    assert "probes_swapped-south" not in hands.engine.state.alerts
    assert hands.stands(Flag.NO_ANSWER_ONCE)
    a_dose_later(hands, soil, {A: 0.05, NORTH_B: 0.03}, bed="north")
    assert {"probes_swapped-south", "probes_swapped-north"} <= set(hands.engine.state.alerts)
    assert hands.stands(Flag.SWAPPED)
    assert hands.stands(Flag.SWAPPED, NORTH_A)
    assert not hands.stands(Flag.SWAPPED, B)


def lift(hands: Hands, alert: str) -> None:
    order = Order(
        **hands.times(),
        order="lift",
        what=OrderKind.CLEAR,
        who="tester",
        alert=alert,
        why="put right",
    )
    hands.step(order)


def test_a_person_lifts_it_for_both_beds() -> None:
    hands, _ = swapped_pair()
    lift(hands, "probes_swapped-north")
    state = hands.engine.state
    assert not [key for key in state.alerts if key.startswith("probes_swapped")]
    assert not state.crossed
    assert not hands.probe(A).flags.keys() & {Flag.SWAPPED, Flag.NO_ANSWER_ONCE}
    assert rules_of(hands.engine.run, "south", window_now(hands.engine.run)).hold is None


def test_nothing_but_a_person_lifts_it() -> None:
    hands, soil = swapped_pair()
    a_dose_later(hands, soil, FELT)
    a_dose_later(hands, soil, {NORTH_A: 0.05, NORTH_B: 0.03}, bed="north")
    assert {"probes_swapped-south", "probes_swapped-north"} <= set(hands.engine.state.alerts)


def test_an_own_answer_between_them_starts_the_count_anew() -> None:
    hands, soil = plot(BOTH)
    a_dose_later(hands, soil, {NORTH_A: 0.05, B: 0.03})
    a_dose_later(hands, soil, FELT)
    a_dose_later(hands, soil, {NORTH_A: 0.05, B: 0.03})
    assert "probes_swapped-south" not in hands.engine.state.alerts


def test_an_answer_on_a_night_when_both_drank_does_not_clear_them() -> None:
    hands, soil = plot(BOTH)
    a_dose_later(hands, soil, {NORTH_A: 0.05, B: 0.03})
    dose(hands, bed="north")
    a_dose_later(hands, soil, {A: 0.05, B: 0.03, NORTH_A: 0.05, NORTH_B: 0.03})
    assert "probes_swapped-south" not in hands.engine.state.alerts
    a_dose_later(hands, soil, {NORTH_A: 0.05, B: 0.03})
    assert "probes_swapped-south" in hands.engine.state.alerts


def test_two_beds_that_drink_in_one_night_prove_nothing() -> None:
    hands, soil = plot(BOTH)
    for _ in range(2):
        dose(hands, bed="north")
        a_dose_later(hands, soil, {NORTH_A: 0.05, NORTH_B: 0.03})
    assert "probes_swapped-south" not in hands.engine.state.alerts


def test_a_rise_in_two_other_beds_is_no_swap() -> None:
    hands, soil = plot((*BOTH, "east"))
    for _ in range(2):
        a_dose_later(hands, soil, {NORTH_A: 0.05, NORTH_B: 0.03, "east-20": 0.05, "east-40": 0.03})
    assert "probes_swapped-south" not in hands.engine.state.alerts
    assert hands.stands(Flag.QUARANTINED)


# -- memory


def test_trials_survive_a_snapshot_and_end_with_a_start() -> None:
    hands, _ = plot()
    dose(hands)
    hands.live(2.0)
    again = Engine.load(hands.engine.dump(), hands.garden)
    assert again.state.trials == hands.engine.state.trials
    assert again.state.care == hands.engine.state.care


def test_an_older_snapshot_without_these_loads() -> None:
    hands, _ = plot()
    old = json.loads(hands.engine.dump())
    for key in ("care", "trials", "crossed", "books"):
        del old[key]
    state = STATE_JSON.validate_json(json.dumps(old))
    assert not state.care
    assert not state.trials
    Engine(hands.garden, state).step(
        Order(**hands.times(), order="x", what=OrderKind.STOP_ALL, who="t")
    )


def little_and_often(level: float, mm: float) -> Hands:
    """Two and a half days of doses that follow each other too fast for any single trial."""
    hands, soil = plot()
    dry_again(hands, soil, {A: level, B: level})
    state, area_m2 = hands.engine.state, hands.engine.run.soils["south"].wetted_area_m2
    for _ in range(10):
        dose(hands, mm)
        state.beds["south"].given_hour_l += mm * area_m2
        hands.live(6.0)
    return hands


def test_doses_too_fast_and_too_small_to_be_felt_add_up_against_a_probe_that_stays_dry() -> None:
    hands = little_and_often(0.17, 12.0)
    assert Flag.QUARANTINED in hands.probe(A).flags
    assert probe_weight(hands.engine.run, A) == 0.0


@pytest.mark.parametrize(("level", "mm"), [(0.25, 12.0), (0.17, 2.0)], ids=["moist", "little"])
def test_a_moist_probe_or_little_water_blames_nobody(level: float, mm: float) -> None:
    assert Flag.QUARANTINED not in little_and_often(level, mm).probe(A).flags
