"""A pause says what it costs before it is made, and who waters a paused bed by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.desk import FakeDesk
from api.page import front, plans
from api.page.holds import bed_reason
from api.page.kept_dry import kept_dry_words, to_floor_d, used_frac
from api.page.words import DAY_S
from controller.who_words import person

DAY_PARTS = 2000


def by_steps(depletion: float, line: float, use_frac_d: float, days: float) -> float:
    """The same in small steps, straight from FAO-56 eq. 84."""
    for _ in range(DAY_PARTS):
        stress = min(1.0, (1.0 - depletion) / (1.0 - line))
        depletion += stress * use_frac_d * days / DAY_PARTS
    return depletion


@given(
    depletion=st.floats(0.0, 0.9),
    line=st.floats(0.2, 0.6),
    use_frac_d=st.floats(0.02, 0.2),
    days=st.floats(0.0, 30.0),
)
def test_what_is_used_by_then_is_what_the_steps_come_to(
    depletion: float, line: float, use_frac_d: float, days: float
) -> None:
    stepped = by_steps(depletion, line, use_frac_d, days)
    assert used_frac(depletion, line, use_frac_d, days) == pytest.approx(stepped, abs=0.01)


@given(depletion=st.floats(0.0, 0.9), line=st.floats(0.2, 0.5), use_frac_d=st.floats(0.02, 0.2))
def test_the_floor_is_passed_when_so_much_is_used(
    depletion: float, line: float, use_frac_d: float
) -> None:
    floor = line + 0.1
    days = to_floor_d(depletion, line, use_frac_d, floor)
    reached = used_frac(depletion, line, use_frac_d, days)
    assert reached == pytest.approx(max(depletion, floor))


def words(days: float, use_frac_d: float | None) -> str:
    desk = FakeDesk()
    desk.set_bed(
        "south",
        depletion_frac=0.2,
        thirst_line_frac=0.4,
        floor_frac=0.5,
        day_use_frac=use_frac_d,
    )
    view = desk.view()
    tongue = front.tongue_of(view)
    bed = view["beds"]["south"]
    return kept_dry_words(bed, "South", tongue, tongue.now_utc_s + days * DAY_S)


def test_a_week_in_july_is_warned_of() -> None:
    # 2 days to the line, 0.6 / 0.1 x ln(0.6 / 0.5) = 1.1 more to the floor, then Saturday noon
    assert words(7.0, 0.1) == (
        "Without rain South passes its floor about Sat; by 22 Jul some 74 % of its water is used."
    )
    assert words(2.5, 0.1) == (
        "Without rain South stays above its floor: by Fri some 45 % of its water is used, "
        "its floor is 50 %."
    )


def test_a_short_pause_and_an_unknown_use_say_nothing() -> None:
    assert words(1.0, 0.1) == ""
    assert words(7.0, None) == ""
    assert words(7.0, 0.0) == ""


def test_a_pause_of_a_bed_past_its_floor_says_so() -> None:
    desk = FakeDesk()
    desk.set_bed("south", depletion_frac=0.7)
    view = desk.view()
    tongue = front.tongue_of(view)
    lines = plans.pause_plan(view, "south", tongue, tongue.now_utc_s + 2 * DAY_S)
    assert lines[-1].startswith("South is past its floor already; without rain, by Fri some ")


def test_the_plan_of_a_pause_of_every_bed_warns_of_each() -> None:
    view = FakeDesk().view()
    tongue = front.tongue_of(view)
    plan = plans.pause_plan(view, None, tongue, tongue.now_utc_s + 7 * DAY_S)
    assert sum("its floor" in line for line in plan) == len(view["beds"])


def test_a_pause_of_a_bed_that_drinks_says_that_it_ends_that() -> None:
    desk = FakeDesk()
    desk.set_bed("south", state="watering", valve="open", watering={**WATERING, "by": "policy"})
    view = desk.view()
    tongue = front.tongue_of(view)
    plan = plans.pause_plan(view, "south", tongue, tongue.now_utc_s + 7 * DAY_S)
    assert "South drinks now: the pause ends that." in plan
    assert not any("would have drunk" in line for line in plan)


WATERING = {"want_l": 60.0, "given_l": 6.0, "pulse": 1, "pulses": 1}


@pytest.mark.parametrize(
    ("by", "said"),
    [
        ("hand:helper 0badcafe (Ann)", "This water was ordered by Ann. "),
        ("hand:page on loopback", "This water was ordered by somebody at the board. "),
        ("policy", ""),
    ],
)
def test_a_paused_bed_that_drinks_says_who_ordered_it(by: str, said: str) -> None:
    desk = FakeDesk()
    desk.set_bed("south", state="watering", valve="open", watering={**WATERING, "by": by})
    pause = {"until": "2026-07-20T06:00:00Z", "why": ""}
    desk.set(holds={**desk.view()["holds"], "beds_paused": {"south": pause}})
    view = desk.view()
    told = bed_reason(view, "south", front.tongue_of(view))
    assert told == f"{said}South is paused until Sun 23:00."


@pytest.mark.parametrize(
    ("who", "said"),
    [
        ("helper 0badcafe (Ann)", "Ann"),
        ("operator 0badcafe (Ann (the elder))", "Ann (the elder)"),
        ("helper 0badcafe", "a helper on an unnamed phone"),
        ("operator 0badcafe", "somebody on an unnamed phone"),
        ("operator", "somebody who holds the token"),
        ("page on loopback", "somebody at the board"),
        ("", "somebody"),
        ("anna", "anna"),
    ],
)
def test_a_caller_is_a_person_in_words(who: str, said: str) -> None:
    assert person(who) == said
