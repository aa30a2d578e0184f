"""The dry end: where a bed was seen to drink it cannot wilt, and no bed gets much drier by that."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.page.teachings import wilting_words
from controller.effects import Answer
from controller.engine import Engine
from controller.events import GardenChanged, Order, OrderKind
from controller.sensing.beds import soil_of
from controller.sensing.dry_end import (
    DAYS,
    DEEPER_MOST_FRAC,
    SETTLED_S,
    drank_at_m3_m3,
    hour,
    wilting_m3_m3,
)
from controller.state import BedWater
from controller.view import picture
from tests.probe_hands import Hands

ROOT_M = 0.5
USE_MM_D = 5.0  # well watered: 0.010 m3/m3 a day over the roots
HOUR_S = 3600.0
FC, WP = 0.28, 0.14
AVAILABLE = FC - WP


def a_bed() -> BedWater:
    water = BedWater(depletion_mm=60.0, var_mm2=4.0, wetted_utc_s=0.0)
    water.use_mm_d = [USE_MM_D]
    return water


def dries(
    water: BedWater,
    hours: int,
    from_m3_m3: float,
    a_day_m3_m3: float,
    probes: int = 2,
    from_h: float = SETTLED_S / HOUR_S,
) -> int:
    """Hours of steady drying; how many days were taken."""
    return sum(
        hour(
            water,
            from_m3_m3 - a_day_m3_m3 * n / 24.0,
            probes,
            ROOT_M,
            (from_h + n) * HOUR_S,
        )
        for n in range(hours)
    )


def test_a_bed_that_drinks_below_its_wilting_point_wilts_lower() -> None:
    water = a_bed()
    assert dries(water, 2 * 24 + 1, 0.150, 0.010) == 2
    assert drank_at_m3_m3(water) == pytest.approx(0.140)
    assert dries(water, 24 + 1, 0.130, 0.010, from_h=24 + 2 * 24 + 1) == 1
    assert drank_at_m3_m3(water) == pytest.approx(0.130)


def test_one_day_alone_teaches_nothing() -> None:
    water = a_bed()
    assert dries(water, 24 + 1, 0.15, 0.010) == 1
    assert drank_at_m3_m3(water) is None
    assert wilting_m3_m3(WP, AVAILABLE, drank_at_m3_m3(water)) == WP


def test_the_highest_of_the_lowest_days_counts() -> None:
    water = a_bed()
    dries(water, 3 * 24 + 1, 0.20, 0.010)
    assert len(water.dry_lows_m3_m3) == DAYS
    assert water.dry_lows_m3_m3 == pytest.approx([0.17, 0.18])


@pytest.mark.parametrize(
    ("a_day_m3_m3", "probes", "from_h"),
    [
        pytest.param(0.0, 2, 24.0, id="it-stands-still"),
        pytest.param(0.0049, 2, 24.0, id="a-sip"),
        pytest.param(-0.01, 2, 24.0, id="it-gets-wetter"),
        pytest.param(0.021, 2, 24.0, id="a-probe-that-jumps"),
        pytest.param(0.01, 0, 24.0, id="a-probe-is-missing"),
        pytest.param(0.01, 2, -30.0, id="still-draining"),
    ],
)
def test_what_is_no_good_drink_teaches_nothing(
    a_day_m3_m3: float, probes: int, from_h: float
) -> None:
    water = a_bed()
    assert dries(water, 2 * 24 + 1, 0.15, a_day_m3_m3, probes, from_h) == 0
    assert water.dry_lows_m3_m3 == []


def test_before_any_use_is_known_or_water_nothing_is_taught() -> None:
    for water in (a_bed(), a_bed()):
        water.use_mm_d = []
        assert dries(water, 3 * 24, 0.15, 0.010) == 0
    never = a_bed()
    never.wetted_utc_s = None
    assert dries(never, 3 * 24, 0.15, 0.010) == 0


def test_a_silence_begins_the_day_anew() -> None:
    water = a_bed()
    dries(water, 12, 0.15, 0.010)
    assert not hour(water, 0.11, 2, ROOT_M, (24 + 72) * HOUR_S)
    assert water.dry_lows_m3_m3 == []


@pytest.mark.parametrize("told", [math.nan, math.inf, -math.inf])
def test_no_number_teaches_nothing(told: float) -> None:
    water = a_bed()
    dries(water, 12, 0.15, 0.010)
    for n in range(40):
        assert not hour(water, told, 2, ROOT_M, (40 + n) * HOUR_S)
    assert (water.dry_from_utc_s, water.dry_lows_m3_m3) == (None, [])


@given(
    told=st.lists(st.floats(allow_nan=True, allow_infinity=True), min_size=1, max_size=60),
    use_mm_d=st.floats(0.0, 20.0),
    wp=st.floats(0.02, 0.3),
    available=st.floats(0.02, 0.3),
    used_frac=st.floats(0.0, 0.65),
)
def test_no_bed_gets_drier_than_by_its_file_by_more_than_is_stated(
    told: list[float], use_mm_d: float, wp: float, available: float, used_frac: float
) -> None:
    """At whatever line or floor, 0.65 at most, it is watered."""
    water = a_bed()
    water.use_mm_d = [use_mm_d]
    for n, theta in enumerate(told):
        hour(water, theta, 2, ROOT_M, SETTLED_S + n * 6 * HOUR_S)
    learned = wilting_m3_m3(wp, available, drank_at_m3_m3(water))
    assert wp - DEEPER_MOST_FRAC * available <= learned <= wp
    full = wp + available
    by_file, by_learned = (full - used_frac * (full - low) for low in (wp, learned))
    assert by_file - 0.065 * available - 1e-12 <= by_learned <= by_file + 1e-12


# -- through the engine: a bed that dries past what its file calls its wilting point


def order(hands: Hands, what: str, **more: object) -> Answer:
    told = Order(
        **hands.times(),
        order=f"h{hands.now_s}",
        what=OrderKind(what),
        who="anna",
        bed="south",
        **more,  # type: ignore[arg-type]
    )
    hands.now_s += 1.0
    return next(e for e in hands.step(told) if isinstance(e, Answer))


def below_file(elapsed_s: float) -> float:
    return 0.175 - 0.012 * elapsed_s / 86_400.0


@pytest.fixture
def low() -> Hands:
    """Six days of drying from 0.175 to 0.103, settled after water."""
    hands = Hands(south_20=below_file, south_40=below_file)
    hands.live(1.0)
    order(hands, "pause", until_utc_s=hands.times()["at_utc_s"] + 20 * 86_400.0)
    hands.engine.state.water["south"].wetted_utc_s = hands.times()["at_utc_s"] - 2 * 86_400.0
    hands.live(6 * 24.0)
    return hands


def learned(engine: Engine) -> dict[str, float]:
    found: dict[str, float] = picture(engine.run)["beds"]["south"]["learned"]
    return found


def test_a_bed_that_drinks_on_is_shown_and_counts_its_water_by_it(low: Hands) -> None:
    told = learned(low.engine)
    assert told["wilting_told_m3_m3"] == pytest.approx(WP)
    assert told["drank_at_m3_m3"] < WP
    assert told["wilting_m3_m3"] == pytest.approx(max(told["drank_at_m3_m3"], WP - 0.014), abs=1e-3)
    day, soil = low.engine.run.days["south"], low.engine.run.soils["south"]
    assert day.taw_mm == pytest.approx(soil.taw_mm(day.root_depth_m))
    note = next(n for n in low.notes("learned") if n.code == "wilting_point")
    assert "still drank where its file has it wilt" in note.text
    assert wilting_words(picture(low.engine.run)["beds"]["south"]).endswith("by the garden file)")


def test_it_outlives_a_snapshot_and_a_garden_file(low: Hands) -> None:
    again = Engine.load(low.engine.dump())
    assert learned(again) == learned(low.engine)
    assert again.run.soils == low.engine.run.soils
    same = low.garden.model_dump_json()
    again.step(GardenChanged(**low.times(), garden_json=same))
    assert learned(again) == learned(low.engine)


def test_a_person_can_have_it_forgotten(low: Hands) -> None:
    assert order(low, "forget").status == "accepted"
    told = learned(low.engine)
    assert (told["wilting_m3_m3"], told["drank_at_m3_m3"]) == (told["wilting_told_m3_m3"], None)
    assert low.engine.run.soils["south"] == soil_of(low.garden, "south")
    assert wilting_words(picture(low.engine.run)["beds"]["south"]) == ""
