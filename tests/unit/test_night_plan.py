"""A night shared by need; one that is too short is foreseen, and nobody is given a sip."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.night_ahead import beds_early
from controller.state import Watering
from controller.watering.decision import BedView, Reason, Rules, Sky
from controller.watering.night_plan import (
    Due,
    Night,
    begins_in_vain,
    early_beds,
    least_s,
    play,
    unserved,
)
from controller.watering.policy import decide, night_early
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

TAW_L = 77.0 * 1.92


def due(bed: str, need: float = 0.0, minutes: int = 80, **change: Any) -> Due:
    """A dose in pulses of 40 min at 2.4 L/min; half of it is the smallest that is deep."""
    pulses = minutes // 40
    fields: dict[str, Any] = {
        "bed": bed,
        "need": need,
        "pulses": pulses,
        "pulse_l": 96.0,
        "pulse_s": 2400.0,
        "least_l": 48.0 * pulses,
        "flow_l_min": 2.4,
    }
    return Due(**{**fields, **change})


def night(minutes: float, at_once: int = 1, flow_l_min: float = 12.0) -> Night:
    return Night(length_s=60.0 * minutes, beds_at_once=at_once, shared_flow_l_min=flow_l_min)


@pytest.mark.parametrize(
    ("minutes", "at_once", "beds", "given_l"),
    [
        pytest.param(110, 1, "a", [192.0], id="two-pulses-and-a-soak"),
        pytest.param(90, 1, "a", [144.0], id="the-last-pulse-cut-by-the-hours"),
        pytest.param(39, 1, "a", [0.0], id="no-room-for-the-smallest-dose"),
        pytest.param(40, 1, "a", [96.0], id="just-room-for-it"),
        pytest.param(160, 1, "ab", [192.0, 192.0], id="one-drinks-while-one-soaks"),
        pytest.param(110, 2, "ab", [192.0, 192.0], id="side-by-side"),
        # the second would get a sip of 39 min; the first goes on after its soak
        pytest.param(79, 1, "ab", [96.0 + 2.4 * 9, 0.0], id="a-sip-is-not-begun"),
    ],
)
def test_a_night_is_played_to_its_end(
    minutes: float, at_once: int, beds: str, given_l: list[float]
) -> None:
    found = play([due(bed) for bed in beds], night(minutes, at_once))
    assert list(found.values()) == pytest.approx(given_l)


def test_the_neediest_drinks_first_and_beds_share_only_within_the_supply() -> None:
    assert play([due("a", 0.1), due("b", 0.9)], night(60)) == pytest.approx({"b": 96.0, "a": 0.0})
    narrow = play([due("a"), due("b")], night(110, 2, flow_l_min=4.0))
    assert narrow == play([due("a"), due("b")], night(110, 1))


@settings(derandomize=True, max_examples=200)
@given(
    beds=st.lists(
        st.tuples(st.floats(-1.0, 2.0), st.integers(1, 4), st.floats(0.0, 1.0)),
        min_size=1,
        max_size=6,
    ),
    minutes=st.floats(10.0, 600.0),
    at_once=st.integers(1, 4),
)
def test_no_bed_gets_more_than_its_dose_or_less_than_the_smallest_unless_nothing(
    beds: list[tuple[float, int, float]], minutes: float, at_once: int
) -> None:
    wanted = [
        due(str(n), need, 40 * pulses, least_l=share * 96.0 * pulses)
        for n, (need, pulses, share) in enumerate(beds)
    ]
    given_l = play(wanted, night(minutes, at_once))
    for one in wanted:
        assert given_l[one.bed] <= one.litres + 1e-6
        if len(wanted) <= at_once and given_l[one.bed] > 0.0:  # nobody in its way
            assert given_l[one.bed] >= one.least_l - 1e-6
    assert sum(given_l.values()) <= at_once * 2.4 * minutes + 1e-6


def test_the_smallest_deep_dose_takes_its_pulses_and_their_rests() -> None:
    assert least_s(96.0, 96.0, 2400.0) == pytest.approx(2400.0)
    assert least_s(48.0, 96.0, 2400.0) == pytest.approx(1200.0)
    assert least_s(144.0, 96.0, 2400.0) == pytest.approx(3600.0 + 1800.0)
    assert least_s(0.0, 96.0, 2400.0) == 0.0


def test_a_watering_begins_in_vain_only_where_other_hours_would_do_better() -> None:
    assert begins_in_vain(3600.0, 3599.0, 8 * 3600.0)
    assert not begins_in_vain(3600.0, 3600.0, 8 * 3600.0)
    assert not begins_in_vain(7200.0, 3300.0, 3600.0)  # hours that never suffice
    assert begins_in_vain(7200.0, 3200.0, 3600.0)
    assert begins_in_vain(3600.0, float("nan"), 8 * 3600.0)


def test_a_night_that_is_long_enough_sends_nobody_early() -> None:
    beds = [due("a", 0.1), due("b", 0.9)]
    able = {one.bed: one for one in beds}
    assert early_beds(beds, night(160), [], night(160), able) == []
    assert unserved(beds, night(160)) == []


def test_in_a_short_night_the_neediest_drink_a_night_early_as_long_as_tonight_has_room() -> None:
    beds = [due("a", 0.1), due("b", 0.9), due("c", 0.5)]
    able = {one.bed: one for one in beds}
    assert unserved(beds, night(120)) != []
    assert early_beds(beds, night(120), [], night(160), able) == ["b", "c"]
    assert early_beds(beds, night(120), [], night(120), able) == ["b"]
    assert early_beds(beds, night(120), [due("d", 2.0)], night(120), able) == []
    assert early_beds(beds, night(120), [], night(120), {"a": able["a"]}) == ["a"]


def test_a_bed_that_no_night_can_fill_alone_sends_nobody_early() -> None:
    long = [due("a", 0.1, 160, least_l=96.0)]
    assert unserved(long, night(120)) == []
    assert early_beds(long, night(120), [], night(120), {"a": long[0]}) == []


# -- the decision


BED = BedView(
    bed="south",
    stage=Stage.SETTING,
    taw_mm=80.0,
    wetted_area_m2=10.0,
    depletion_frac=0.36,
    sunrise_frac=0.37,
    day_use_frac=0.05,
    spread_frac=0.03,
    line_frac=0.40,
    floor_frac=0.50,
    quality="ok",
    waiting=False,
    wet=False,
    watered=False,
    postponed=0,
)


@pytest.mark.parametrize(
    ("sunrise_frac", "reason"),
    [
        pytest.param(0.37, Reason.NIGHT_EARLY, id="deep-enough"),
        pytest.param(0.2501, Reason.NIGHT_EARLY, id="just-deep-enough"),
        pytest.param(0.249, Reason.TOO_SMALL, id="a-sip"),
        pytest.param(float("nan"), Reason.UNKNOWN_STATE, id="nan"),
    ],
)
def test_a_night_early_is_a_deep_dose_or_none(sunrise_frac: float, reason: Reason) -> None:
    bed = replace(BED, sunrise_frac=sunrise_frac)
    early = night_early(bed, Sky())
    assert early.reason is reason
    assert early.water is (reason is Reason.NIGHT_EARLY)
    if early.water:
        assert decide(bed, Sky(), Rules(in_hours=True)).reason is Reason.DRYING


# -- through the engine


def short(beds: tuple[str, ...], hours: str) -> Bench:
    """Beds one after the other in short hours; at 23:02 when it begins."""
    return Bench(small_garden(beds=beds, hours=hours))


def begun(bench: Bench, hours: float) -> dict[str, Watering]:
    """Live on; every watering that began, by bed."""
    found: dict[str, Watering] = {}
    for _ in range(int(60 * hours)):
        bench.live(60.0, tick_s=20.0)
        found |= bench.engine.state.waterings
    return found


def test_two_beds_due_tomorrow_in_a_short_night_and_the_neediest_drinks_tonight() -> None:
    bench = short(("south", "wall"), "23:00-23:55")
    run = bench.engine.run
    bench.dry_out(0.31, "south")  # line 0.40, floor 0.50, a day's use 0.11
    bench.dry_out(0.33, "wall")
    bench.live(120.0)
    assert [n.code for n in bench.notes("decision", "wall")][-1] == "night_early"
    assert [n.code for n in bench.notes("decision", "south")][-1] in {"drying", "waiting_readings"}
    bench.live(2 * 3600.0)
    assert bench.litres["wall"] >= 0.2 * TAW_L - 1.0
    assert bench.litres["south"] == 0.0
    assert beds_early(run, run.window, Sky()) == frozenset()  # type: ignore[arg-type]


def test_a_long_night_lets_them_wait_for_their_lines() -> None:
    bench = short(("south", "wall"), "23:00-sunrise")
    line = bench.engine.run.days["south"].line_frac
    bench.dry_out(line - 0.05)
    bench.live(3 * 3600.0)
    assert sum(bench.litres.values()) == 0.0


def test_a_bed_in_danger_that_comes_too_late_drinks_a_little_past_the_hours() -> None:
    bench = short(("south", "wall"), "23:00-23:55")
    bench.dry_out(0.44, "south")  # a day's use of 0.11 takes it past its floor of 0.50
    bench.dry_out(0.45, "wall")
    bench.live(3 * 3600.0)
    assert bench.litres["wall"] == pytest.approx(0.40 * TAW_L, rel=0.1)
    assert bench.litres["south"] == pytest.approx(0.20 * TAW_L, rel=0.05)
    opened_s = [at_s for at_s, valve, edge in bench.edges if (valve, edge) == ("south", "open")]
    assert len(opened_s) == 1


@pytest.mark.parametrize("endangered", [False, True], ids=["safe", "in-danger"])
def test_only_a_floor_in_danger_breaks_the_hours_and_only_for_the_smallest_dose(
    endangered: bool,
) -> None:
    bench = short(("south",), "22:00-sunrise")
    bench.dry_out(0.45, "south")
    while "south" not in bench.engine.state.waterings:
        bench.tick()
    watering = bench.engine.state.waterings["south"]
    assert watering.pulse is None
    watering.endangered, watering.until_utc_s = endangered, bench.at_utc_s + 600.0
    bench.live(3600.0)
    got_l = bench.litres["south"]
    if endangered:
        assert got_l == pytest.approx(0.2 * TAW_L, rel=0.05)
    else:
        assert got_l == 0.0
        assert bench.engine.state.beds["south"].said.code == "night_short"
        assert any(n.code == "night_short" for n in bench.notes("decision"))
