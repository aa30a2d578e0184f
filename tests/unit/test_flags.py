"""Each flag of a probe: raised by what its table says, ended by what its table says."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from controller.sensing.flags import FLAGS, Flag, Trust
from tests.probe_hands import STEP_S, A, B, Hands, drying, flat

ROOT = Path(__file__).resolve().parents[2]
Act = Callable[[Hands], None]
SOUND_H = 3.0
LEVEL = 0.25


def sound() -> Hands:
    """Both probes dry slowly; the bed was never watered."""
    return Hands(south_20=drying(LEVEL), south_40=drying(0.26))


def told(value: float, **more: object) -> Act:
    def act(hands: Hands) -> None:
        hands.now_s += STEP_S
        hands.tell(A, value, **more)

    return act


def good(times: int, value: float = LEVEL, **more: object) -> Act:
    def act(hands: Hands) -> None:
        for _ in range(times):
            told(value, **more)(hands)

    return act


def from_now(value_of: Callable[[float], float | None], hours: float) -> Act:
    """The probe tells something else from now on, for so long."""

    def act(hands: Hands) -> None:
        hands.probes[A] = value_of
        hands.live(hours)

    return act


def wobbling(now_s: float) -> float:
    return LEVEL + (0.015 if int(now_s // STEP_S) % 2 else -0.015)


def erratic(now_s: float) -> float:
    return (0.10, 0.34, 0.22, 0.30, 0.14, 0.26)[int(now_s // STEP_S) % 6]


def beside_an_edge(after_s: float) -> Act:
    def act(hands: Hands) -> None:
        hands.now_s += STEP_S
        hands.edge()
        hands.now_s += after_s
        hands.tell(A, LEVEL)

    return act


def numbered(*numbers: int) -> Act:
    def act(hands: Hands) -> None:
        for number in numbers:
            told(LEVEL, seq=number, boot="x")(hands)

    return act


def battery(*volts: float) -> Act:
    def act(hands: Hands) -> None:
        for each in volts:
            told(LEVEL, battery_v=each)(hands)

    return act


def fresh_battery() -> Hands:
    """A probe that lived two days on a battery of 4.0 V."""
    hands = sound()
    hands.more[A] = {"battery_v": 4.0}
    hands.live(50.0)
    return hands


def lived_two_days() -> Hands:
    """Two days of thirsty weather, so that a day's use is known."""
    hands = sound()
    hands.temp_c = 30.0
    hands.probes[A] = drying(LEVEL, 0.005)
    hands.live(45.0)
    return hands


def fading(last_v: float) -> Act:
    """Ten days of a battery that falls from 3.5 V, by its midnight."""

    def act(hands: Hands) -> None:
        for day in range(10):
            hands.more[A] = {"battery_v": 3.5 + (last_v - 3.5) * day / 9.0}
            hands.live(24.0)

    return act


def steady_battery(hands: Hands) -> None:
    hands.more[A] = {"battery_v": 3.6}
    hands.live(24.0 * 14)


@dataclass(frozen=True)
class Case:
    """What raises a flag, what ends it, what comes near and does not raise, and does not end it."""

    raised: Act
    ended: Act
    near: Act
    too_little: Act | None = None
    start: Callable[[], Hands] = sound


def started(case: Case) -> Hands:
    hands = case.start()
    hands.live(SOUND_H)
    return hands


CASES: dict[Flag, Case] = {
    Flag.OUT_OF_RANGE: Case(told(0.52), good(3), told(0.26), good(2)),
    Flag.RAIL_LOW: Case(told(0.0), good(3), told(0.24), good(2)),
    Flag.RAIL_HIGH: Case(told(1.0), good(3), told(0.24), good(2)),
    Flag.SOIL_TEMPERATURE: Case(
        told(LEVEL, soil_temp_c=60.1), good(3), told(LEVEL, soil_temp_c=60.0), good(2)
    ),
    Flag.FROZEN_SOIL: Case(
        told(LEVEL, soil_temp_c=-0.1), good(3), told(LEVEL, soil_temp_c=0.0), good(2)
    ),
    Flag.UNIT_SLIP: Case(told(25.0), good(3), told(0.24), good(2)),
    Flag.SPIKE: Case(told(0.12), good(1), told(0.235)),
    Flag.JUMP: Case(
        from_now(flat(0.34), 2.0),
        from_now(flat(0.34), 7.0),
        from_now(flat(0.30), 2.0),
        from_now(flat(0.34), 3.0),
    ),
    Flag.DROP: Case(
        from_now(flat(0.18), 2.0),
        from_now(flat(0.23), 2.0),
        from_now(drying(0.245, 0.1), 2.0),
        from_now(flat(0.18), 30.0),
    ),
    Flag.NOISE: Case(
        from_now(wobbling, 5.0),
        from_now(drying(LEVEL), 8.0),
        from_now(wobbling, 1.0),
        from_now(drying(LEVEL), 4.0),
    ),
    Flag.ERRATIC: Case(
        from_now(erratic, 5.0),
        from_now(drying(LEVEL), 8.0),
        from_now(wobbling, 5.0),
        from_now(drying(LEVEL), 4.0),
    ),
    Flag.STUCK: Case(
        from_now(flat(0.24), 26.0),
        from_now(flat(0.23), 2.0),
        from_now(flat(0.24), 22.0),
        from_now(flat(0.24), 2.0),
        start=lived_two_days,
    ),
    Flag.STALE: Case(from_now(lambda _: None, 2.0), good(1), from_now(lambda _: None, 0.3)),
    Flag.RETAINED: Case(told(LEVEL, not_now="retained"), good(1), good(1)),
    Flag.FUTURE_DATED: Case(told(LEVEL, not_now="future_dated"), good(3), good(1), good(2)),
    Flag.DUPLICATE: Case(numbered(7, 7), numbered(8), numbered(7, 8)),
    Flag.OUT_OF_ORDER: Case(numbered(7, 6), numbered(8), numbered(7, 8)),
    Flag.VALVE_EDGE: Case(beside_an_edge(29.0), good(1), beside_an_edge(30.0)),
    Flag.BROWN_OUT: Case(
        battery(4.0, 3.11),
        battery(3.22, 3.22, 3.22),
        battery(60.0, 0.1, 3.7, 3.13),
        battery(3.22, 3.22, 3.2),
        start=fresh_battery,
    ),
    Flag.BATTERY_FADING: Case(fading(2.9), steady_battery, fading(3.45)),
}
GARDEN_FILE = {Flag.UNCALIBRATED}  # in test_probe_hazards.py
SERIES = {Flag.SATURATED_PLATEAU, Flag.RISE_UNEXPLAINED}  # what a probe's days tell
TRIALS = {  # what doses, peers and hands tell
    Flag.AGAINST_HAND,  # in test_hand_orders.py
    Flag.FROZEN,
    Flag.NOT_DRYING,  # in test_undried_beds.py
    Flag.WET_UNSEEN,
    Flag.NO_ANSWER_ONCE,
    Flag.QUARANTINED,
    Flag.DRIFT,
    Flag.DISAGREEMENT,
    Flag.SWAPPED,
}


@pytest.mark.parametrize("flag", FLAGS)
def test_every_flag_says_all_of_itself(flag: Flag) -> None:
    rule = FLAGS[flag]
    assert min(len(rule.raised_by), len(rule.ends_with)) > 10
    assert rule.sentence[0].islower()  # it goes on behind the probe's name
    assert rule.sentence.endswith(".")
    assert not rule.by_person or rule.alarm, "a person can only clear what is shown"


def test_every_flag_has_its_rule_and_its_test() -> None:
    assert set(FLAGS) == set(Flag)
    assert set(Flag) == set(CASES) | GARDEN_FILE | SERIES | TRIALS
    for flag in CASES:
        assert re.search(rf"Flag\.{flag.name}\b", raising_code()), flag


def raising_code() -> str:
    """The controller without the table of flags."""
    paths = sorted((ROOT / "controller").rglob("*.py"))
    return "\n".join(p.read_text(encoding="utf-8") for p in paths if p.name != "flags.py")


@pytest.mark.parametrize("flag", CASES)
def test_a_flag_is_raised_by_what_it_says_and_costs_what_it_says(flag: Flag) -> None:
    case, rule = CASES[flag], FLAGS[flag]
    hands = started(case)
    assert not hands.stands(flag)
    case.raised(hands)
    assert hands.stands(flag)
    assert hands.probe().counts[flag.value] >= 1
    assert (rule.sentence in hands.alert()) is rule.alarm
    expected = {Trust.OUT: "out", Trust.DOUBTFUL: "doubtful"}.get(rule.trust, "")
    assert hands.probe().trust == expected
    assert not hands.probe(B).flags, "its neighbour has nothing to do with it"


@pytest.mark.parametrize("flag", CASES)
def test_a_flag_is_not_raised_by_what_comes_near(flag: Flag) -> None:
    hands = started(CASES[flag])
    CASES[flag].near(hands)
    assert not hands.stands(flag)


@pytest.mark.parametrize("flag", CASES)
def test_a_flag_is_ended_by_what_it_says(flag: Flag) -> None:
    case = CASES[flag]
    hands = started(case)
    case.raised(hands)
    case.ended(hands)
    assert not hands.stands(flag)
    assert FLAGS[flag].sentence not in hands.alert()
    assert flag.value not in hands.probe().flags


@pytest.mark.parametrize("flag", [flag for flag in CASES if CASES[flag].too_little])
def test_a_flag_is_not_ended_by_less(flag: Flag) -> None:
    case = CASES[flag]
    hands = started(case)
    case.raised(hands)
    assert case.too_little is not None
    case.too_little(hands)
    assert hands.stands(flag)


@pytest.mark.parametrize("flag", [Flag.UNIT_SLIP, Flag.DROP])
def test_a_person_ends_what_a_person_may(flag: Flag) -> None:
    hands = started(CASES[flag])
    CASES[flag].raised(hands)
    hands.clear()
    assert not hands.stands(flag)
    assert hands.probe().trust == hands.alert() == ""


def test_a_person_does_not_end_what_ends_by_itself() -> None:
    hands = started(CASES[Flag.RAIL_LOW])
    told(0.0)(hands)
    hands.clear()
    assert hands.stands(Flag.RAIL_LOW)


def test_an_alert_says_the_gravest_flag_and_then_the_next() -> None:
    hands = started(CASES[Flag.RAIL_LOW])
    told(0.0)(hands)
    assert "cut cable" in hands.alert()
    told(25.0)(hands)
    assert "another unit" in hands.alert()
    hands.clear()
    assert "cut cable" in hands.alert()
    good(3)(hands)
    assert hands.alert() == ""


def test_flags_survive_a_snapshot() -> None:
    hands = started(CASES[Flag.UNIT_SLIP])
    told(25.0)(hands)
    again = type(hands.engine).load(hands.engine.dump())
    assert again.state.probes[A] == hands.probe()


def test_the_readme_has_a_row_for_every_flag_and_no_other() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    part = text[text.index("### Flags of probes") :]
    rows = dict(re.findall(r"^\| `([a-z_]+)` \| ([^|]+) \|", part.split("\n## ")[0], re.MULTILINE))
    assert set(rows) == {flag.value for flag in Flag}
    for flag in Flag:
        assert rows[flag.value] == FLAGS[flag].raised_by.replace("|", "/")
