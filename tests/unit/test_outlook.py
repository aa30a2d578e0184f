"""The window of the next watering: it asks `decide`, moves with what moves it, and stays cheap."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import islice, pairwise
from typing import Any

import pytest

from controller.agronomy.crop import Stage
from controller.coming import rains_of
from controller.sensing.climate import end_day
from controller.watering.decision import BedView, Rain, Sky
from controller.watering.hours import Window
from controller.watering.outlook import (
    NIGHTS_MOST,
    NextWatering,
    Night,
    Rains,
    as_of,
    drunk_by,
    due_frac,
    next_watering,
)
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

DAY_S = 86_400.0
DUSK_S = 22 * 3600.0
NOON_S = 12 * 3600.0
DRY = Rains(wet_frac=0.0)
BED = BedView(
    bed="south",
    stage=Stage.SETTING,
    taw_mm=80.0,
    wetted_area_m2=10.0,
    depletion_frac=0.20,
    sunrise_frac=0.25,
    day_use_frac=0.05,
    spread_frac=0.05,
    line_frac=0.40,
    floor_frac=0.55,
    quality="ok",
    waiting=False,
    wet=False,
    watered=False,
    postponed=0,
)


def nights(**changed: Any) -> Iterator[Night]:
    """Each from 22:00 to 06:00 UTC, all alike."""
    index = 0
    while True:
        from_s = index * DAY_S + DUSK_S
        night = Night(
            window=Window(from_utc_s=from_s, to_utc_s=from_s + 8 * 3600.0),
            stage=BED.stage,
            line_frac=BED.line_frac,
            floor_frac=BED.floor_frac,
            taw_mm=BED.taw_mm,
        )
        yield replace(night, **changed)
        index += 1


def window(
    bed: BedView = BED,
    sky: Sky | None = None,
    rains: Rains = DRY,
    *,
    at_utc_s: float = NOON_S,
    asked: bool = False,
    **changed: Any,
) -> NextWatering:
    found = next_watering(bed, sky or Sky(), rains, nights(**changed), at_utc_s, asked=asked)
    assert found is not None
    return found


def first_night(found: NextWatering) -> int:
    return int(found.from_utc_s // DAY_S)


def last_night(found: NextWatering) -> int:
    return int((found.to_utc_s - 12 * 3600.0) // DAY_S)


def test_a_bed_is_due_where_decide_says_so() -> None:
    assert due_frac(BED) == pytest.approx(0.40, abs=0.003)
    # a day's use x 1.3 must not pass the floor
    near = replace(BED, day_use_frac=0.15)
    assert due_frac(near) == pytest.approx(0.55 - 1.3 * 0.15, abs=0.003)
    assert math.isinf(due_frac(replace(BED, line_frac=math.nan)))


def test_the_window_holds_the_night_that_the_plain_sum_tells() -> None:
    found = window()
    # 0.25 by tonight's sunrise, 0.05 a day: 0.40 in the third night after
    assert first_night(found) <= 3 <= last_night(found)
    assert first_night(found) >= 1
    assert last_night(found) <= 6


def test_the_answer_is_the_same_each_time() -> None:
    assert window() == window()


@pytest.mark.parametrize(
    ("sooner", "later"),
    [
        pytest.param({"sunrise_frac": 0.34}, {"sunrise_frac": 0.15}, id="drier"),
        pytest.param({"day_use_frac": 0.08}, {"day_use_frac": 0.03}, id="thirstier"),
    ],
)
def test_what_hastens_a_bed_moves_both_ends(
    sooner: dict[str, float], later: dict[str, float]
) -> None:
    early, late = window(replace(BED, **sooner)), window(replace(BED, **later))
    assert early.from_utc_s < late.from_utc_s
    assert early.to_utc_s < late.to_utc_s


def test_a_stage_to_come_moves_it() -> None:
    assert window(line_frac=0.30).to_utc_s < window().to_utc_s < window(line_frac=0.50).to_utc_s


def test_a_wider_spread_never_makes_it_narrower() -> None:
    sharp, vague = window(replace(BED, spread_frac=0.0)), window(replace(BED, spread_frac=0.3))
    assert vague.from_utc_s <= sharp.from_utc_s
    assert vague.to_utc_s >= sharp.to_utc_s
    assert vague != sharp


def test_rain_puts_the_late_end_off_and_hardly_the_early_one() -> None:
    dry, wet = window(), window(rains=Rains(wet_frac=0.3, wet_mm=8.0))
    assert wet.to_utc_s > dry.to_utc_s
    assert first_night(wet) - first_night(dry) <= 1


def test_rain_foretold_counts_by_its_odds() -> None:
    sure = Sky(rain_expected_mm=12.0, rains=(Rain(fall_mm=12.0, chance_frac=1.0),))
    vague = Sky(rain_expected_mm=1.2, rains=(Rain(fall_mm=12.0, chance_frac=0.1),))
    assert window(sky=sure).to_utc_s > window(sky=vague).to_utc_s
    assert window(sky=vague).to_utc_s >= window().to_utc_s
    shares = [
        drunk_by(BED, sky, DRY, nights(), NOON_S, asked=False)[1][3] for sky in (Sky(), vague, sure)
    ]
    assert shares == sorted(shares, reverse=True)
    assert shares[0] - shares[1] < 0.1 * (shares[0] - shares[2]) + 0.1


def test_a_bed_that_was_judged_waits_for_another_night() -> None:
    due = replace(BED, depletion_frac=0.45, sunrise_frac=0.46)
    inside_s = DUSK_S + 3600.0
    assert first_night(window(due, at_utc_s=inside_s)) == 0
    assert first_night(window(due, at_utc_s=inside_s, asked=True)) == 1


def test_past_its_floor_it_may_be_now() -> None:
    found = window(replace(BED, depletion_frac=0.60, sunrise_frac=0.62))
    assert found.from_utc_s == NOON_S


def test_nothing_is_foreseen_where_nothing_dries() -> None:
    still = replace(BED, day_use_frac=0.0, spread_frac=0.0)
    assert next_watering(still, Sky(), DRY, nights(), NOON_S, asked=False) is None


def test_a_window_that_ends_with_the_look_ahead_is_open() -> None:
    """Rain after rain: fewer than nine lives in ten have drunk in the nights looked at."""
    often, slow = Rains(wet_frac=0.3, wet_mm=8.0), replace(BED, day_use_frac=0.04)
    _, shares = drunk_by(slow, Sky(), often, nights(), NOON_S, asked=False)
    assert 0.10 < shares[-1] < 0.90
    assert last_night(window(slow, rains=often)) == NIGHTS_MOST - 1
    assert window(slow, rains=often).or_later
    assert not window().or_later


def test_the_odds_never_fall_and_end_where_nothing_more_is_known() -> None:
    slow = replace(BED, day_use_frac=0.01)
    seen, shares = drunk_by(slow, Sky(), Rains(), nights(), NOON_S, asked=False)
    assert len(seen) == len(shares) == NIGHTS_MOST
    assert all(one <= other for one, other in pairwise(shares))


def test_holds_that_pass_are_over_in_a_later_night() -> None:
    held = replace(BED, watered=True, wet=True, missed=True, raining=True, pick_in=1, pick_d=4.5)
    night = next(islice(nights(), 2, 3))
    first, later = as_of(held, night, 0), as_of(held, night, 3)
    assert (first.missed, first.pick_in, first.pick_near) == (True, 1, False)
    assert not any((later.watered, later.wet, later.missed, later.raining))
    assert (later.pick_in, later.pick_near, later.pick_d) == (None, True, 1.5)
    assert not as_of(held, night, 5).pick_near


def test_the_rain_of_these_weeks_is_learned() -> None:
    bench = Bench(small_garden())
    run = bench.engine.run
    unknown = rains_of(run)
    assert (unknown.wet_frac, unknown.wet_mm) == (0.2, pytest.approx(6.0))
    for _ in range(60):
        run.state.climate.rain_today_mm = 0.0
        end_day(run.state.climate, (10.0, 25.0))
    dry = rains_of(run)
    assert dry.wet_frac == pytest.approx(0.02)
    for _ in range(60):
        run.state.climate.rain_today_mm = 4.0
        end_day(run.state.climate, (10.0, 25.0))
    wet = rains_of(run)
    assert wet.wet_frac > 0.9
    assert wet.wet_mm == pytest.approx(4.0, abs=0.3)
    before_mm = run.state.climate.rain_mm_d
    end_day(run.state.climate, None)  # no mast: nothing was told
    assert run.state.climate.rain_mm_d == before_mm
