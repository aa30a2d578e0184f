"""What doses teach a bed: a next one cut, a share that stays, a stop by the deep probe's word."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.page.teachings import dose_words
from controller.dose_lessons import deep_word, is_down, look_on, trusted_now
from controller.events import OrderKind, ProbeReading
from controller.learned import learned_json
from controller.sensing.flags import Trust
from controller.state import STATE_JSON
from controller.watering.efficiency import (
    DeepWord,
    DoseLesson,
    DoseWatch,
    dose_l,
    enough,
    ran_through,
    taught,
)
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

TAW_L = 77.0 * 1.92


def word(shallow_rose: float = 0.05, deep_rose: float = 0.05, over: float = 0.02) -> DeepWord:
    return DeepWord(
        shallow_before_m3_m3=0.20,
        shallow_m3_m3=0.20 + shallow_rose,
        deep_before_m3_m3=0.28 + over - deep_rose,
        deep_m3_m3=0.28 + over,
        full_m3_m3=0.28,
        full_sd_m3_m3=0.004,
    )


@pytest.mark.parametrize(
    ("told", "down", "lost"),
    [
        pytest.param(word(), True, True, id="both-felt-and-deep-over-full"),
        pytest.param(word(over=0.006), True, False, id="just-full"),
        pytest.param(word(over=0.004), False, False, id="not-quite"),
        pytest.param(word(deep_rose=0.019), False, False, id="deep-hardly-rose"),
        pytest.param(word(shallow_rose=0.009), False, False, id="only-the-deep-one"),
        pytest.param(word(over=math.nan), False, False, id="nan"),
    ],
)
def test_only_a_deep_probe_that_rose_with_the_shallow_one_and_reads_full_speaks(
    told: DeepWord, down: bool, lost: bool
) -> None:
    assert enough(told) is down
    assert ran_through(told) is lost


def test_a_full_point_that_may_be_off_asks_for_more() -> None:
    unsure = DeepWord(
        **{**{n: getattr(word(), n) for n in DeepWord.__slots__}, "full_sd_m3_m3": 0.03}
    )
    assert not enough(unsure)
    assert not ran_through(unsure)


def watched(drained: bool, **before: Any) -> DoseLesson:
    watch = DoseWatch(
        ended_utc_s=0.0,
        given_mm=20.0,
        in_mm=0.0,
        used_mm=0.0,
        told_m3_m3=0.2,
        before_m3_m3={},
        drained=drained,
    )
    return DoseLesson(watch=watch, **before)


def test_a_dose_that_ran_through_a_full_bed_cuts_the_next_one_up_to_a_bound() -> None:
    lesson = watched(True)
    for cut in (0.15, 0.30, 0.30):
        taught(lesson, 1.0, 0.01)
        assert lesson.cut_frac == pytest.approx(cut)
        lesson.watch = watched(True).watch
    assert lesson.efficiency_frac == 1.0
    assert (lesson.doses, lesson.drained) == (3, 3)


def test_doses_that_stay_let_the_cut_go() -> None:
    lesson = watched(False, cut_frac=0.15)
    cuts = []
    for _ in range(3):
        taught(lesson, 0.95, 0.05)
        cuts.append(lesson.cut_frac)
        lesson.watch = watched(False).watch
    assert cuts == pytest.approx([0.075, 0.0, 0.0])


def test_water_past_a_bed_that_still_lacks_it_teaches_its_share() -> None:
    lesson = watched(True)
    taught(lesson, 0.8, 0.2)
    assert lesson.efficiency_frac == pytest.approx(0.95)
    assert lesson.cut_frac == 0.0
    for _ in range(40):
        lesson.watch = watched(True).watch
        taught(lesson, 0.1, 0.2)
    assert lesson.efficiency_frac == pytest.approx(0.7, abs=1e-3)
    for _ in range(40):
        lesson.watch = watched(False).watch
        taught(lesson, 0.5, 0.2)  # not seen below: the probes may stand in a dry spot
    assert lesson.efficiency_frac == pytest.approx(1.0, abs=1e-3)


@settings(derandomize=True, max_examples=300)
@given(
    st.lists(st.tuples(st.booleans(), st.floats(), st.floats())),
    st.floats(1.0, 60.0),
)
def test_whatever_was_taught_the_dose_stays_within_bounds(
    told: list[tuple[bool, float, float]], dose_mm: float
) -> None:
    lesson = DoseLesson()
    for drained, stayed, lacks in told:
        lesson.watch = watched(drained).watch
        taught(lesson, stayed, lacks)
    litres = dose_l(dose_mm, 10.0, lesson, 16.0)
    assert 10.0 * min(dose_mm, max(16.0, 0.7 * dose_mm)) <= litres + 1e-9
    assert litres <= 10.0 * dose_mm / 0.7 + 1e-9


# -- through the engine


@pytest.fixture
def bench() -> Bench:
    return Bench(small_garden())


def tell(bench: Bench, shallow: float, deep: float) -> None:
    """The two probes from now on, apart; `told_depletion` tells both alike."""
    bench.told_depletion.clear()
    for probe, theta in (("south-20", shallow), ("south-40", deep)):
        bench.step(ProbeReading(**bench.times(), probe=probe, value=theta))


def begin_to_drink(bench: Bench) -> None:
    bench.dry_out(0.6)
    bench.live(600.0)
    assert "south" in bench.engine.state.waterings
    bench.engine.state.water["south"].full_sd_m3_m3 = 0.004


def wet(bench: Bench, minutes: int, shallow: float, deep: float) -> None:
    for _ in range(minutes):
        tell(bench, shallow, deep)
        bench.live(60.0)


def full(bench: Bench) -> float:
    return bench.engine.run.soils["south"].field_capacity_m3_m3


def test_a_deep_probe_that_rose_to_full_ends_the_watering_and_says_so(bench: Bench) -> None:
    begin_to_drink(bench)
    want_l = bench.engine.state.waterings["south"].want_l
    wet(bench, 60, full(bench), full(bench) + 0.015)
    ends = [n for n in bench.notes("watering") if n.code == "down"]
    assert len(ends) == 1
    assert "deep probe has risen to full" in ends[0].text
    assert 0.2 * TAW_L - 1.0 <= bench.litres["south"] < 0.8 * want_l
    assert bench.open_beds() == []


@pytest.mark.parametrize(
    ("shallow_felt", "trust", "down"),
    [
        pytest.param(True, "", True, id="both-felt"),
        pytest.param(False, "", False, id="the-shallow-one-felt-nothing"),
        pytest.param(True, Trust.DOUBTFUL, False, id="a-doubtful-deep-probe"),
    ],
)
def test_a_deep_probe_alone_or_in_doubt_starves_no_bed(
    bench: Bench, shallow_felt: bool, trust: str, down: bool
) -> None:
    begin_to_drink(bench)
    watering = bench.engine.state.waterings["south"]
    watering.given_l = watering.want_l  # as if enough had run
    probe = bench.engine.state.probes["south-40"]
    if not shallow_felt:
        watering.before_m3_m3["south-20"] = full(bench) + 0.02
    tell(bench, full(bench), full(bench) + 0.02)
    probe.theta_m3_m3 = full(bench) + 0.02
    probe.trust = trust
    watering.looked_mono_s = -1e9
    assert is_down(bench.engine.run, watering) is down


def test_a_persons_watering_is_never_cut_short(bench: Bench) -> None:
    bench.order("water", "south", litres=60.0)
    bench.live(60.0)
    wet(bench, 50, full(bench), full(bench) + 0.015)
    assert bench.litres["south"] == pytest.approx(60.0, rel=0.03)


def test_a_dose_is_watched_for_a_day_and_what_it_taught_is_shown_and_forgotten(
    bench: Bench,
) -> None:
    run = bench.engine.run
    begin_to_drink(bench)
    before = dict(bench.engine.state.waterings["south"].before_m3_m3)
    assert set(before) == {"south-20", "south-40"}
    bench.live(3 * 3600.0)
    lesson = bench.engine.state.beds["south"].lesson
    assert lesson.doses == 0
    top = full(bench)
    for _ in range(150):
        tell(bench, top + 0.01, top + 0.02)
        bench.live(600.0, tick_s=60.0)
    assert lesson.drained == 1
    assert lesson.cut_frac == pytest.approx(0.15)
    assert any(n.code == "dose" for n in bench.notes("learned"))
    assert STATE_JSON.validate_json(bench.engine.dump()).beds["south"].lesson == lesson
    assert learned_json(run, "south", str)["dose_cut_frac"] == 0.15
    bench.order(OrderKind.FORGET.value, "south", why="new pipe")
    assert learned_json(run, "south", str)["dose_cut_frac"] == 0.0


def test_rain_makes_a_dose_teach_nothing(bench: Bench) -> None:
    begin_to_drink(bench)
    bench.live(3 * 3600.0)
    lesson, water = bench.engine.state.beds["south"].lesson, bench.engine.state.water["south"]
    watches = [lesson.watch is not None]
    water.in_mm += 5.0
    look_on(bench.engine.run, "south")
    watches.append(lesson.watch is not None)
    assert watches == [True, False]
    assert lesson.doses == 0


def test_one_probe_says_nothing_of_the_bottom(bench: Bench) -> None:
    bench.dry_out(0.3)
    told = trusted_now(bench.engine.run, "south")
    assert list(told) == ["south-20", "south-40"]
    assert deep_word(bench.engine.run, "south", {"south-40": 0.2}) is None
    assert deep_word(bench.engine.run, "south", told) is not None


@pytest.mark.parametrize(
    ("stays", "cut", "said"),
    [
        pytest.param(1.0, 0.0, "", id="nothing"),
        pytest.param(None, None, "", id="not-told"),
        pytest.param(0.8, 0.0, "80 % of a dose stays among the roots", id="past-the-roots"),
        pytest.param(
            1.0, 0.15, "the next one is cut by 15 %, since the last ran through", id="cut"
        ),
    ],
)
def test_the_page_says_what_doses_taught(stays: float | None, cut: float | None, said: str) -> None:
    assert dose_words({"learned": {"dose_stays_frac": stays, "dose_cut_frac": cut}}) == said
