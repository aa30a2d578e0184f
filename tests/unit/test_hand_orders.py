"""What people felt and saw, through the engine: soil in the hand, leaves in the morning."""

from __future__ import annotations

import math
from typing import Any

import pytest

from controller.bed_views import view_of, window_now
from controller.effects import Answer, Lease, Note
from controller.engine import Engine
from controller.events import LedgerEntry, Order, OrderKind, StoreState
from controller.sensing.by_hand import FEEL_SD_FRAC
from controller.sensing.flags import Flag
from controller.state import BedMemory, EngineState
from controller.view import picture
from controller.watering.eye import SHIFT_MOST_FRAC
from controller.watering.guard import caps_of
from tests.engine_bench import Bench
from tests.engine_garden import small_garden
from tests.probe_hands import A, B, Hands, drying, flat, garden

DRY_THETA, WET_THETA = 0.18, 0.27  # of a soil that is full at 0.28 and wilts at 0.14


def ask(hands: Hands, what: str, **more: Any) -> Answer:
    name, kind = f"h{hands.now_s}", OrderKind(what)
    order = Order(**hands.times(), order=name, what=kind, who="anna", bed="south", **more)
    hands.now_s += 1.0
    return next(e for e in hands.step(order) if isinstance(e, Answer))


def felt(hands: Hands, feel: str, depth_cm: float = 20.0) -> Answer:
    return ask(hands, "soil", feel=feel, depth_cm=depth_cm)


def depletion(engine: Engine) -> float:
    return engine.state.water["south"].depletion_mm / engine.state.days["south"].taw_mm


def paused(hands: Hands) -> Hands:
    """No watering of its own, so that only hands and probes move the bed."""
    hands.live(2.0)
    ask(hands, "pause", until_utc_s=hands.times()["at_utc_s"] + 20 * 86_400.0)
    return hands


def bed_of(engine: Engine) -> dict[str, Any]:
    found: dict[str, Any] = picture(engine.run)["beds"]["south"]
    return found


# -- soil


def test_a_feel_corrects_the_bed_is_recorded_and_shown() -> None:
    hands = paused(Hands(south_20=drying(0.25), south_40=drying(0.25)))
    before = depletion(hands.engine)
    answer = felt(hands, "dry")
    assert (answer.status, answer.reason) == ("accepted", "felt")
    assert depletion(hands.engine) > before
    assert answer.text.startswith("South was felt dry at 20 cm")
    note = hands.notes("order")[-1]
    assert (note.durable, note.code, note.text) == (True, "soil", "anna: felt dry at 20 cm")
    shown = bed_of(hands.engine)["felt"]
    assert (shown["feel"], shown["depth_cm"]) == ("dry", 20.0)


@pytest.mark.parametrize(
    ("feel", "depth_cm", "reason"),
    [
        ("moist", 20.0, "feel"),
        ("", 20.0, "feel"),
        ("dry", 0.0, "depth_cm"),
        ("dry", 101.0, "depth_cm"),
        ("dry", math.nan, "depth_cm"),
        ("dry", None, "depth_cm"),
    ],
)
def test_what_is_no_feel_changes_nothing(feel: str, depth_cm: Any, reason: str) -> None:
    hands = paused(Hands(south_20=drying(0.25), south_40=drying(0.25)))
    before = depletion(hands.engine)
    answer = felt(hands, feel, depth_cm)
    assert (answer.status, answer.reason) == ("invalid", reason)
    assert depletion(hands.engine) == before
    assert hands.engine.state.beds["south"].felt is None


def test_a_feel_outlives_a_restart() -> None:
    hands = paused(Hands(south_20=drying(0.25), south_40=drying(0.25)))
    felt(hands, "dry")
    again = Engine.load(hands.engine.dump())
    assert again.state.beds["south"].felt == hands.engine.state.beds["south"].felt


def test_a_feel_that_cannot_be_recorded_counts_and_says_so() -> None:
    hands = paused(Hands(south_20=drying(0.25), south_40=drying(0.25)))
    hands.step(StoreState(**hands.times(), can_record=False))
    assert felt(hands, "dry").status == "unrecorded"


def against(hands: Hands, feel: str, times: int) -> None:
    for _ in range(times):
        felt(hands, feel)
        hands.live(7.0)


def test_a_probe_against_two_feels_is_doubted_and_the_hand_counts() -> None:
    hands = paused(Hands(south_20=flat(DRY_THETA), south_40=flat(DRY_THETA)))
    against(hands, "wet", 1)
    assert not hands.stands(Flag.AGAINST_HAND)
    against(hands, "wet", 1)
    assert hands.stands(Flag.AGAINST_HAND)
    assert hands.stands(Flag.AGAINST_HAND, B)  # too deep for this feel, but it says the same
    assert "hand in the soil" in hands.alert()
    assert hands.probe().trust == "doubtful"
    felt(hands, "wet", 40.0)
    hands.live(7.0)
    felt(hands, "wet", 40.0)
    assert hands.stands(Flag.AGAINST_HAND, B)
    taken = depletion(hands.engine)
    assert taken < 0.3  # both probes told 0.71
    balance_mm = hands.engine.state.water["south"].pulled_mm
    hands.live(24.0)
    pulled_mm = balance_mm - hands.engine.state.water["south"].pulled_mm
    # a day of such probes pulls it less far than one feel can be wrong by
    assert 0.0 < pulled_mm < FEEL_SD_FRAC * hands.engine.state.days["south"].taw_mm


def test_a_second_tap_on_the_same_occasion_accuses_no_probe() -> None:
    hands = paused(Hands(south_20=flat(DRY_THETA), south_40=flat(DRY_THETA)))
    for _ in range(3):
        felt(hands, "wet")
        hands.live(2.0)
    assert not hands.stands(Flag.AGAINST_HAND)
    hands.live(1.0)  # seven hours after the first: another look, and it says the same
    felt(hands, "wet")
    assert hands.stands(Flag.AGAINST_HAND)


def test_the_answer_says_that_the_probes_still_have_their_word() -> None:
    hands = paused(Hands(south_20=flat(DRY_THETA), south_40=flat(DRY_THETA)))
    said = felt(hands, "wet").text
    assert said.startswith(
        "South was felt wet at 20 cm: that is counted with what its probes tell."
    )
    bench = living(0.25)
    bench.engine.state.beds["south"].told_frac = None  # no probe tells
    answer = bench.order("soil", "south", feel="dry", depth_cm=25.0)
    assert answer is not None
    assert answer.text.startswith("South was felt dry at 25 cm: by that ")


def test_a_probe_that_no_hand_spoke_against_pulls_it_back() -> None:
    hands = paused(Hands(south_20=flat(DRY_THETA), south_40=flat(DRY_THETA)))
    felt(hands, "wet")
    hands.live(24.0)
    assert depletion(hands.engine) > 0.55


def test_a_probe_that_agrees_with_a_feel_is_believed_again() -> None:
    hands = paused(Hands(south_20=flat(DRY_THETA), south_40=flat(DRY_THETA)))
    against(hands, "wet", 2)
    felt(hands, "dry")
    assert not hands.stands(Flag.AGAINST_HAND)


def test_a_deeper_probe_is_doubted_with_the_one_that_it_agrees_with_and_as_long() -> None:
    hands = paused(Hands(south_20=flat(0.29), south_40=flat(0.33)))  # both above full
    against(hands, "dry", 1)
    assert not hands.stands(Flag.AGAINST_HAND, B)
    against(hands, "dry", 1)
    assert hands.stands(Flag.AGAINST_HAND)
    assert hands.stands(Flag.AGAINST_HAND, B)
    against(hands, "dry", 1)
    assert hands.stands(Flag.AGAINST_HAND, B)
    felt(hands, "wet")  # both agree with that
    assert not hands.stands(Flag.AGAINST_HAND)
    assert not hands.stands(Flag.AGAINST_HAND, B)


def test_a_hand_that_felt_dry_twice_where_probes_tell_wet_has_an_alert_that_says_what_to_do() -> (
    None
):
    plot = garden()
    bed = plot.beds["south"].model_copy(update={"soil": "sandy loam"})
    hands = paused(
        Hands(
            plot.model_copy(update={"beds": {"south": bed}}),
            south_20=flat(0.33),
            south_40=flat(0.34),
        )
    )
    against(hands, "dry", 1)
    assert hands.alert() == ""
    hands.engine.state.probes[A].flags[Flag.DISAGREEMENT.value] = 0.0  # an older one, as grave
    against(hands, "dry", 1)
    alerts = [a for a in hands.engine.state.alerts.values() if a.code == "probe_suspect"]
    assert {alert.probe for alert in alerts} == {A, B}
    for alert in alerts:
        assert "told wetter than the hand" in alert.text
        assert "the garden file has this soil as sandy loam" in alert.text
        assert "full at more" in alert.text
        assert alert.person_needed


def test_probes_that_a_dry_hand_outranks_give_the_bed_no_water_back() -> None:
    hands = paused(Hands(south_20=flat(0.33), south_40=flat(0.34)))
    against(hands, "dry", 2)
    water = hands.engine.state.water["south"]
    pulled_mm, before = water.pulled_mm, depletion(hands.engine)
    hands.live(24.0)
    assert water.pulled_mm == pulled_mm
    assert depletion(hands.engine) > before  # it dries by its balance
    felt(hands, "wet")  # and goes by them again where a feel agrees
    hands.live(24.0)
    assert water.pulled_mm > pulled_mm


def test_a_hand_that_felt_wet_where_probes_tell_dry_asks_for_no_heavier_soil() -> None:
    hands = paused(Hands(south_20=flat(DRY_THETA), south_40=flat(DRY_THETA)))
    against(hands, "wet", 2)
    assert "hand in the soil" in hands.alert()
    assert "full at more" not in hands.alert()


def test_a_deeper_probe_that_tells_otherwise_is_believed_on() -> None:
    hands = paused(Hands(south_20=flat(0.29), south_40=flat(0.22)))
    against(hands, "dry", 2)
    assert hands.stands(Flag.AGAINST_HAND)
    assert not hands.stands(Flag.AGAINST_HAND, B)


def test_a_deeper_probe_that_feels_at_its_own_depth_spoke_against_stays_doubted() -> None:
    hands = paused(Hands(south_20=flat(DRY_THETA), south_40=flat(0.29)))
    for _ in range(2):
        felt(hands, "dry", 40.0)
        hands.live(7.0)
    assert hands.stands(Flag.AGAINST_HAND, B)
    felt(hands, "dry", 20.0)  # the upper one agrees
    assert hands.stands(Flag.AGAINST_HAND, B)


def test_no_bed_is_held_for_wet_by_probes_that_a_hand_spoke_against() -> None:
    hands = paused(Hands(south_20=flat(0.34), south_40=flat(0.34)))
    hands.live(3.0)
    run = hands.engine.run
    assert view_of(run, "south", window_now(run)).wet
    against(hands, "dry", 2)
    run.state.water["south"].depletion_mm = 0.0  # as they would have it
    assert not view_of(run, "south", window_now(run)).wet


def test_a_feel_between_breaks_the_row() -> None:
    hands = paused(Hands(south_20=flat(DRY_THETA), south_40=flat(DRY_THETA)))
    against(hands, "wet", 1)
    felt(hands, "dry")
    against(hands, "wet", 1)
    assert not hands.stands(Flag.AGAINST_HAND)


def test_a_person_who_clears_it_is_taken_at_their_word() -> None:
    hands = paused(Hands(south_20=flat(DRY_THETA), south_40=flat(DRY_THETA)))
    against(hands, "wet", 2)
    hands.clear()
    assert not hands.stands(Flag.AGAINST_HAND)
    hands.live(1.0)
    against(hands, "wet", 1)
    assert not hands.stands(Flag.AGAINST_HAND)  # counted anew


def test_a_silent_probe_contradicts_nobody() -> None:
    hands = paused(Hands(south_20=flat(DRY_THETA), south_40=flat(WET_THETA)))
    del hands.probes[A]
    hands.live(5.0)
    against(hands, "wet", 2)
    assert not hands.stands(Flag.AGAINST_HAND)


def test_a_feel_has_the_bed_judged_again() -> None:
    bench = living(0.25)
    assert bench.of(Lease) == []
    bench.engine.state.water["south"].var_mm2 = 400.0
    assert bench.order("soil", "south", feel="dry", depth_cm=25.0) is not None
    bench.live(60.0)
    assert bench.of(Lease) != []


# -- leaves


def seen(bench: Bench, leaves: int | None, when: str = "morning") -> Answer:
    answer = bench.order("look", "south", leaves=leaves, when=when)
    assert answer is not None
    return answer


def living(told: float) -> Bench:
    bench = Bench(small_garden())
    bench.dry_out(told)
    bench.live(7200.0)
    return bench


def memory(bench: Bench) -> BedMemory:
    return bench.engine.state.beds["south"]


def test_looks_move_the_line_within_the_floor_and_are_shown() -> None:
    bench = living(0.2)
    before = bed_of(bench.engine)
    for _ in range(6):
        assert seen(bench, 1).reason == "learned"
    after = bed_of(bench.engine)
    assert after["thirst_line_frac"] < before["thirst_line_frac"] - 0.05
    assert after["thirst_line_frac"] >= before["thirst_line_frac"] - SHIFT_MOST_FRAC - 1e-4
    assert after["floor_frac"] == before["floor_frac"]
    percent = round(-100 * after["looks"]["shift_frac"])
    said = f"By your 6 looks this bed uses {percent} % less of its water before it drinks."
    assert after["looks"]["text"] == said


def test_upright_leaves_let_a_bed_go_drier_but_never_past_its_floor() -> None:
    bench = living(0.2)
    day = bench.engine.state.days["south"]
    water = bench.engine.state.water["south"]
    water.depletion_mm = 0.49 * day.taw_mm
    for _ in range(20):
        seen(bench, 0)
    shown = bed_of(bench.engine)
    assert day.line_frac < shown["thirst_line_frac"] <= day.floor_frac + 1e-4


def test_a_look_at_midday_moves_nothing_and_waters_nothing() -> None:
    bench = living(0.3)
    answer = seen(bench, 2, "midday")
    assert (answer.status, answer.reason) == ("accepted", "midday_says_nothing")
    bench.live(900.0)
    assert bench.of(Lease) == []
    assert memory(bench).eye.looks == 0


def test_limp_leaves_in_the_morning_over_soil_that_is_not_wet_are_watered_now() -> None:
    garden = small_garden(hours="22:00-23:30")
    bench = Bench(garden)
    bench.dry_out(0.22)
    bench.live(9 * 3600.0)  # eight in the morning, outside the hours
    assert bench.of(Lease) == []
    assert seen(bench, 2).reason == "learned"
    bench.live(900.0)
    assert bench.of(Lease) != []
    said = [n for n in bench.of(Note) if n.what == "decision" and n.code == "limp"]
    assert len(said) == 1
    assert "limp" in said[0].text


@pytest.mark.parametrize(
    ("from_start_h", "reason", "waters"),
    [(9.0, "learned", True), (10.95, "learned", True), (11.0, "midday_says_nothing", False)],
    ids=["eight", "just before ten", "ten"],
)
def test_a_look_that_nobody_said_the_hour_of_goes_by_the_gardens_clock(
    from_start_h: float, reason: str, waters: bool
) -> None:
    bench = Bench(small_garden(hours="22:00-23:30"))
    bench.dry_out(0.22)
    bench.live(from_start_h * 3600.0)
    answer = seen(bench, 2, "")
    assert answer.reason == reason
    assert memory(bench).eye.looks == int(waters)
    assert (": past the morning leaves may hang" in answer.text) is not waters
    bench.live(900.0)
    assert (bench.of(Lease) != []) is waters


def test_limp_leaves_of_this_morning_told_after_ten_are_watered_where_that_is_said() -> None:
    bench = Bench(small_garden(hours="22:00-23:30"))
    bench.dry_out(0.22)
    bench.live(13 * 3600.0)  # noon
    assert seen(bench, 2, "").reason == "midday_says_nothing"
    assert seen(bench, 2, "morning").reason == "learned"
    bench.live(900.0)
    assert bench.of(Lease) != []


def test_limp_leaves_over_wet_soil_are_never_watered() -> None:
    bench = living(0.05)
    answer = seen(bench, 2)
    assert answer.reason == "roots"
    assert "roots" in answer.text
    bench.live(2 * 3600.0)
    assert bench.of(Lease) == []
    assert memory(bench).eye.looks == 0


def watered_for_limp(bench: Bench) -> list[Note]:
    """The decisions to water for limp leaves, a while later."""
    bench.live(1800.0)
    return [n for n in bench.of(Note) if n.what == "decision" and n.code == "limp"]


@pytest.mark.parametrize("first", ["look", "soil"])
def test_limp_leaves_over_soil_felt_dry_are_watered_whatever_the_probes_tell(first: str) -> None:
    bench = living(0.0)
    answers = []
    for what in ("look", "soil") if first == "look" else ("soil", "look"):
        if what == "look":
            answers.append(seen(bench, 2).reason)
        else:
            bench.order("soil", "south", feel="dry", depth_cm=25.0)
        bench.live(60.0)
    assert answers == ["roots" if first == "look" else "learned"]
    said = watered_for_limp(bench)
    assert len(said) == 1
    assert "felt dry by hand" in said[0].text
    day = bench.engine.run.days["south"]
    lacks_frac = day.line_frac + 0.15 - 0.05  # as dry tells, to where a refill stops
    assert said[0].numbers["dose_mm"] == pytest.approx(lacks_frac * day.taw_mm)
    assert bench.litres["south"] > 0.0


@pytest.mark.parametrize("first", ["look", "soil"])
def test_limp_leaves_over_soil_felt_wet_are_never_watered(first: str) -> None:
    bench = Bench(small_garden(hours="22:00-23:30"))
    bench.dry_out(0.22)
    bench.live(9 * 3600.0)  # eight in the morning, outside the hours
    if first == "look":
        bench.engine.state.beds["south"].not_before_mono_s = bench.mono_s + 300.0  # not judged yet
        assert seen(bench, 2).reason == "learned"
    bench.order("soil", "south", feel="wet", depth_cm=25.0)
    water, day = bench.engine.state.water["south"], bench.engine.run.days["south"]
    water.depletion_mm = 0.22 * day.taw_mm  # as its probes go on to tell
    if first == "soil":
        assert seen(bench, 2).reason == "roots"
    bench.live(3600.0)  # asked at the full hour
    assert watered_for_limp(bench) == []
    assert bench.of(Lease) == []


@pytest.mark.parametrize("made_old_by", ["a day", "water", "another feel"])
def test_a_dry_feel_counts_beside_limp_leaves_for_a_day_and_until_water(made_old_by: str) -> None:
    bench = living(0.0)
    bench.order("soil", "south", feel="dry", depth_cm=25.0)
    bench.live(60.0)
    state = bench.engine.state
    if made_old_by == "a day":
        bench.live(24 * 3600.0, tick_s=60.0)
    elif made_old_by == "water":
        state.water["south"].wetted_utc_s = state.at_utc_s
    else:
        bench.order("soil", "south", feel="just_moist", depth_cm=25.0)
    state.water["south"].depletion_mm = 0.0
    assert seen(bench, 2).reason == "roots"
    assert watered_for_limp(bench) == []


def test_limp_leaves_over_soil_felt_dry_pass_no_cap() -> None:
    bench = living(0.0)
    most_l = caps_of(bench.engine.run, "south").bed_l_day
    bench.engine.state.ledger.append(
        LedgerEntry(dose="0-1", bed="south", charged_l=most_l, ended_trusted_s=bench.trusted_s)
    )
    bench.order("soil", "south", feel="dry", depth_cm=25.0)
    seen(bench, 2)
    bench.live(1800.0)
    assert bench.engine.state.beds["south"].said.code == "cap_spent"
    assert bench.of(Lease) == []


def test_limp_leaves_pass_no_limit() -> None:
    bench = Bench(small_garden())
    bench.dry_out(0.3)
    bench.live(7200.0)
    bench.order("lock", None, why="pipes open")
    seen(bench, 2)
    bench.live(900.0)
    assert bench.of(Lease) == []


def test_a_morning_is_over_after_six_hours() -> None:
    bench = living(0.3)
    bench.order("pause", "south", until_utc_s=bench.at_utc_s + 7 * 3600.0)
    seen(bench, 2)
    bench.live(8 * 3600.0, tick_s=60.0)
    limp = [n for n in bench.of(Note) if n.what == "decision" and n.code == "limp"]
    assert limp == []


@pytest.mark.parametrize(
    ("leaves", "when", "reason"),
    [(3, "morning", "leaves"), (None, "morning", "leaves"), (1, "noon", "when")],
)
def test_what_is_no_look_changes_nothing(leaves: int | None, when: str, reason: str) -> None:
    bench = living(0.3)
    answer = seen(bench, leaves, when)
    assert (answer.status, answer.reason) == ("invalid", reason)
    assert memory(bench).eye.looks == 0


@pytest.mark.parametrize("what", ["forget_looks", "forget"])
def test_what_looks_taught_is_forgotten_on_an_order(what: str) -> None:
    bench = living(0.2)
    before = bed_of(bench.engine)["thirst_line_frac"]
    seen(bench, 1)
    assert bed_of(bench.engine)["thirst_line_frac"] < before
    answer = bench.order(what, "south")
    assert answer is not None
    assert answer.status == "accepted"
    assert bed_of(bench.engine)["thirst_line_frac"] == before
    assert bed_of(bench.engine)["looks"] == {
        "looks": 0,
        "shift_frac": 0.0,
        "text": "",
        "worth": False,
    }


def test_what_looks_taught_outlives_a_restart() -> None:
    bench = living(0.2)
    seen(bench, 1)
    taught = memory(bench).eye
    state: EngineState = Engine.load(bench.engine.dump()).state
    assert state.beds["south"].eye == taught
