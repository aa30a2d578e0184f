"""`decide` reads top-down, waters only where a comparison is positively true, and says why."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.agronomy.crop import Stage
from controller.watering.decision import INTERLOCKS, BedView, Decision, Reason, Rules, Sky
from controller.watering.policy import decide, looks_ahead_d

NAN, INF = math.nan, math.inf
BED = BedView(
    bed="south",
    stage=Stage.SETTING,
    taw_mm=80.0,
    wetted_area_m2=10.0,
    depletion_frac=0.38,
    sunrise_frac=0.41,
    day_use_frac=0.02,
    spread_frac=0.03,
    line_frac=0.40,
    floor_frac=0.50,
    quality="ok",
    waiting=False,
    wet=False,
    watered=False,
    postponed=0,
)
NIGHT = Rules(in_hours=True)
DAY = Rules(in_hours=False)


def at_night(sky: Sky | None = None, **change: Any) -> Decision:
    return decide(replace(BED, **change), sky or Sky(), NIGHT)


def dry(decision: Decision) -> bool:
    return decision.dose_mm is None


def test_a_bed_at_its_line_drinks_deeply_to_a_twentieth_short_of_full() -> None:
    decision = at_night()
    assert decision.reason is Reason.AT_LINE
    # (0.41 - 0.05) x 80 mm; x 10 m2
    assert decision.dose_mm == pytest.approx(28.8)
    assert decision.numbers["dose_l"] == pytest.approx(288.0)


@pytest.mark.parametrize(
    ("sunrise_frac", "waters"),
    [
        pytest.param(math.nextafter(0.40, 0.0), False, id="just-below-line"),
        pytest.param(0.40, True, id="on-the-line"),
        pytest.param(math.nextafter(0.40, 1.0), True, id="just-above-line"),
    ],
)
def test_the_line_itself_waters(sunrise_frac: float, waters: bool) -> None:
    decision = at_night(sunrise_frac=sunrise_frac)
    assert decision.water is waters
    assert decision.reason is (Reason.AT_LINE if waters else Reason.DRYING)


@pytest.mark.parametrize(
    ("depletion_frac", "waters"),
    [
        pytest.param(math.nextafter(0.50, 0.0), False, id="just-below-floor"),
        pytest.param(0.50, False, id="on-the-floor"),
        pytest.param(math.nextafter(0.50, 1.0), True, id="just-past-floor"),
    ],
)
def test_only_a_passed_floor_breaks_the_hours(depletion_frac: float, waters: bool) -> None:
    decision = decide(replace(BED, depletion_frac=depletion_frac), Sky(), DAY)
    assert decision.water is waters
    assert decision.reason is (Reason.FLOOR_PASSED if waters else Reason.OUTSIDE_HOURS)


@pytest.mark.parametrize(
    ("until_hours_s", "waters"),
    [
        pytest.param(21_600.0, False, id="six-hours-off"),
        pytest.param(21_601.0, True, id="further-off"),
        pytest.param(NAN, False, id="nan"),
    ],
)
def test_a_passed_floor_waits_for_hours_that_are_near(until_hours_s: float, waters: bool) -> None:
    rules = Rules(in_hours=False, until_hours_s=until_hours_s)
    assert decide(replace(BED, depletion_frac=0.6), Sky(), rules).water is waters


DAYTIME = Rules(in_hours=False, until_hours_s=10 * 3600.0)


@pytest.mark.hazard("E3")
@pytest.mark.parametrize(
    ("change", "waters"),
    [
        # the floor is 0.50, the bed is believed at 0.60
        pytest.param({"spread_frac": 0.0999}, True, id="sure-by-a-spread"),
        pytest.param({"spread_frac": 0.1001}, False, id="may-be-above-it"),
        pytest.param({"spread_frac": 0.3, "books_frac": 0.5001}, True, id="past-by-its-books-too"),
        pytest.param({"spread_frac": 0.3, "books_frac": 0.5}, False, id="not-by-its-books"),
    ],
)
@pytest.mark.parametrize(
    ("rules", "refilled"),
    [
        pytest.param(DAYTIME, False, id="by-day"),
        pytest.param(DAYTIME, True, id="by-day-after-a-refill"),
        pytest.param(NIGHT, True, id="at-night-after-a-refill-by-day"),
        pytest.param(DAY, True, id="days-before-its-hours-after-a-refill"),
    ],
)
def test_a_floor_out_of_turn_has_to_be_surely_passed(
    change: dict[str, Any], waters: bool, rules: Rules, refilled: bool
) -> None:
    past = replace(BED, depletion_frac=0.6, sunrise_frac=0.6, refilled=refilled, **change)
    said = decide(past, Sky(), rules)
    assert said.reason is (Reason.FLOOR_PASSED if waters else Reason.FLOOR_UNSURE)
    assert said.water is waters
    assert waters or not said.judged
    assert not waters or said.dose_mm == pytest.approx((0.6 - 0.05) * 80.0)


@pytest.mark.parametrize(
    "rules",
    [
        pytest.param(NIGHT, id="in-its-hours"),
        pytest.param(Rules(in_hours=False, until_hours_s=86_401.0), id="hours-more-than-a-day-off"),
    ],
)
def test_a_floor_in_turn_is_taken_at_its_word(rules: Rules) -> None:
    past = replace(BED, depletion_frac=0.6, sunrise_frac=0.6, spread_frac=0.3)
    assert decide(past, Sky(), rules).reason is Reason.FLOOR_PASSED


def test_a_floor_that_may_be_passed_says_so_also_shortly_before_its_hours() -> None:
    soon = Rules(in_hours=False, until_hours_s=3600.0)
    assert decide(replace(BED, depletion_frac=0.6, spread_frac=0.3), Sky(), soon).reason is (
        Reason.FLOOR_UNSURE
    )


def test_a_refill_by_day_is_the_watering_of_the_night_after() -> None:
    assert at_night(refilled=True).reason is Reason.WATERED_TONIGHT
    assert at_night(refilled=True, sunrise_frac=0.3, day_use_frac=0.2).reason is (
        Reason.WATERED_TONIGHT
    )


LADDER: list[tuple[Reason, dict[str, Any], dict[str, Any]]] = [
    (Reason.LOCKED, {}, {"interlock": Reason.LOCKED}),
    (Reason.PAUSED, {}, {"hold": Reason.PAUSED}),
    (Reason.WAITING_READINGS, {"waiting": True}, {}),
    (Reason.UNKNOWN_STATE, {"spread_frac": NAN}, {}),
    (Reason.WET, {"wet": True}, {}),
    (Reason.WATERED_TONIGHT, {"watered": True}, {}),
    (Reason.FLOOR_PASSED, {"depletion_frac": 0.55, "sunrise_frac": 0.56}, {}),
    (Reason.OUTSIDE_HOURS, {}, {"in_hours": False}),
]


@pytest.mark.parametrize("first", range(len(LADDER)), ids=[step[0].value for step in LADDER])
def test_what_stands_higher_on_the_ladder_is_what_is_said(first: int) -> None:
    bed: dict[str, Any] = {}
    rules: dict[str, Any] = {"in_hours": True}
    for _, bed_change, rules_change in reversed(LADDER[first:]):
        bed.update(bed_change)
        rules.update(rules_change)
    decision = decide(replace(BED, **bed), Sky(), Rules(**rules))
    assert decision.reason is LADDER[first][0]
    assert decision.water is (LADDER[first][0] is Reason.FLOOR_PASSED)


@pytest.mark.parametrize("interlock", sorted(INTERLOCKS))
def test_no_interlock_lets_a_dying_bed_drink(interlock: Reason) -> None:
    dying = replace(BED, depletion_frac=0.99, sunrise_frac=1.0)
    decision = decide(dying, Sky(), Rules(interlock=interlock, in_hours=True))
    assert decision.reason is interlock
    assert dry(decision)
    assert not decision.judged


NUMBERS = [one.name for one in fields(BedView) if one.type == "float"]


@pytest.mark.parametrize("bad", [NAN, INF, -INF], ids=["nan", "inf", "minus-inf"])
@pytest.mark.parametrize("name", NUMBERS)
@pytest.mark.parametrize("depletion_frac", [0.41, 0.95], ids=["at-line", "past-floor"])
def test_a_number_that_is_none_is_the_dry_path(
    name: str, bad: float, depletion_frac: float
) -> None:
    bed = replace(BED, depletion_frac=depletion_frac, sunrise_frac=depletion_frac)
    change: dict[str, Any] = {name: bad}
    for rules in (NIGHT, DAY):
        decision = decide(replace(bed, **change), Sky(), rules)
        assert dry(decision), f"{name} = {bad} opened a valve"
        assert all(math.isfinite(value) for value in decision.numbers.values())


@pytest.mark.parametrize("bad", [NAN, INF], ids=["nan", "inf"])
def test_an_outlook_that_is_no_number_is_the_dry_path(bad: float) -> None:
    decision = at_night(Sky(rain_expected_mm=bad))
    assert dry(decision)
    assert decision.numbers == {}


@pytest.mark.parametrize(
    ("day_use_frac", "waters"),
    [
        # 0.30 by sunrise and 1.3 x the day's use against the floor of 0.50
        pytest.param(0.153, False, id="just-below"),
        pytest.param(0.154, True, id="just-above"),
    ],
)
def test_a_floor_that_one_more_day_would_pass_waters_ahead(
    day_use_frac: float, waters: bool
) -> None:
    decision = at_night(sunrise_frac=0.30, depletion_frac=0.28, day_use_frac=day_use_frac)
    assert decision.water is waters
    assert decision.reason is (Reason.FLOOR_NEAR if waters else Reason.DRYING)


@pytest.mark.parametrize(
    ("postponed", "waits"),
    [
        pytest.param(0, True, id="first-night"),
        pytest.param(1, True, id="second-night"),
        pytest.param(2, False, id="third-night"),
        pytest.param(3, False, id="fourth-night"),
    ],
)
def test_rain_postpones_at_most_two_nights_running(postponed: int, waits: bool) -> None:
    decision = at_night(Sky(rain_expected_mm=50.0), postponed=postponed)
    assert dry(decision) is waits
    assert decision.reason is (Reason.RAIN_COMING if waits else Reason.AT_LINE)


@pytest.mark.parametrize(
    ("rain_mm", "waits"),
    [
        # the bed lacks 0.41 x 80 = 32.8 mm: half of it
        pytest.param(16.3, False, id="less-than-half"),
        pytest.param(16.5, True, id="half"),
    ],
)
def test_rain_postpones_only_if_it_is_half_of_what_is_lacking(rain_mm: float, waits: bool) -> None:
    assert dry(at_night(Sky(rain_expected_mm=rain_mm))) is waits


def test_rain_never_postpones_a_floor_that_is_near_or_passed() -> None:
    pour = Sky(rain_expected_mm=500.0)
    assert at_night(pour, day_use_frac=0.08).reason is Reason.AT_LINE
    assert at_night(pour, depletion_frac=0.6, sunrise_frac=0.6).reason is Reason.FLOOR_PASSED


@pytest.mark.parametrize(
    ("sky", "quality"),
    [
        pytest.param(Sky(hot=True), "ok", id="heat"),
        pytest.param(Sky(), "doubtful", id="doubtful-probes"),
    ],
)
def test_heat_and_doubt_draw_the_line_in_by_eight_points(sky: Sky, quality: str) -> None:
    on = at_night(sky, quality=quality, sunrise_frac=0.3201, depletion_frac=0.3)
    assert on.reason is Reason.AT_LINE
    assert on.numbers["thirst_line_frac"] == pytest.approx(0.32)
    below = at_night(sky, quality=quality, sunrise_frac=0.3199, depletion_frac=0.3)
    assert below.reason is Reason.DRYING
    assert at_night(sunrise_frac=0.3201, depletion_frac=0.3).reason is Reason.DRYING


def test_heat_and_doubt_together_draw_it_in_once() -> None:
    decision = at_night(Sky(hot=True), quality="doubtful", sunrise_frac=0.3, depletion_frac=0.3)
    assert decision.numbers["thirst_line_frac"] == pytest.approx(0.32)


@pytest.mark.parametrize(
    ("full_sd_frac", "deeper_frac"),
    [
        pytest.param(0.05, 0.0, id="known-well"),
        pytest.param(0.15, 0.05, id="half-of-the-doubt-beyond"),
        pytest.param(5.0, 0.64, id="never-more-than-the-root-zone"),
    ],
)
def test_a_full_point_in_doubt_is_searched_for(full_sd_frac: float, deeper_frac: float) -> None:
    plain = at_night().dose_mm
    searching = at_night(full_sd_frac=full_sd_frac).dose_mm
    assert plain is not None
    assert searching == pytest.approx(plain + deeper_frac * 80.0)
    blind = at_night(full_sd_frac=full_sd_frac, quality="none")
    assert blind.dose_mm == at_night(quality="none").dose_mm


def test_a_blind_bed_gets_four_fifths_and_says_so() -> None:
    decision = at_night(quality="none")
    assert decision.reason is Reason.BLIND_REFILL
    assert decision.dose_mm == pytest.approx(0.8 * 28.8)


@pytest.mark.parametrize(
    ("change", "waters"),
    [
        # want = sunrise - 0.05; 0.20 of TAW is the smallest deep dose
        pytest.param({"sunrise_frac": 0.2499}, False, id="just-below"),
        pytest.param({"sunrise_frac": 0.2501}, True, id="just-above"),
        pytest.param({"sunrise_frac": 0.1499, "stage": Stage.ESTABLISHING}, False, id="young"),
        pytest.param({"sunrise_frac": 0.1501, "stage": Stage.ESTABLISHING}, True, id="young-above"),
        # 0.8 x (0.17 - 0.05) = 0.096; 0.8 x (0.18 - 0.05) = 0.104; 0.10 is the smallest blind one
        pytest.param({"sunrise_frac": 0.17, "quality": "none"}, False, id="blind-below"),
        pytest.param({"sunrise_frac": 0.18, "quality": "none"}, True, id="blind-above"),
    ],
)
def test_what_is_less_than_the_smallest_dose_waits(change: dict[str, Any], waters: bool) -> None:
    decision = at_night(**{"line_frac": 0.1, "depletion_frac": 0.1, **change})
    assert decision.water is waters
    if not waters:
        assert decision.reason is Reason.TOO_SMALL


@pytest.mark.hazard("E3")
def test_a_wet_bed_stays_shut_although_its_numbers_are_past_the_floor() -> None:
    assert at_night(wet=True, depletion_frac=0.9, sunrise_frac=0.9).reason is Reason.WET


def test_no_dose_is_more_than_the_whole_root_zone() -> None:
    decision = at_night(depletion_frac=3.0, sunrise_frac=3.0)
    assert decision.dose_mm == pytest.approx(0.95 * 80.0)


FRACTION = st.floats(0.0, 1.0)


@settings(derandomize=True, max_examples=300)
@given(
    low=FRACTION,
    high=FRACTION,
    use=st.floats(0.0, 0.2),
    quality=st.sampled_from(["ok", "doubtful", "none"]),
    hot=st.booleans(),
    in_hours=st.booleans(),
)
def test_a_wetter_bed_never_gets_more(
    low: float, high: float, use: float, quality: str, hot: bool, in_hours: bool
) -> None:
    low, high = min(low, high), max(low, high)
    doses = [
        decide(
            replace(
                BED, depletion_frac=d, sunrise_frac=d + 0.01, day_use_frac=use, quality=quality
            ),
            Sky(hot=hot),
            Rules(in_hours=in_hours),
        ).dose_mm
        or 0.0
        for d in (low, high)
    ]
    assert doses[0] <= doses[1] + 1e-9


@pytest.mark.parametrize(
    ("days", "ahead_d"),
    [
        pytest.param(0.5, 0.65, id="the-eve-of-a-pick"),
        pytest.param(1.0, 1.3, id="every-night"),
        pytest.param(4.0, 4.6, id="allowed-days-four-nights-apart"),  # 4 + 0.3 x 2
    ],
)
def test_what_is_kept_in_hand_grows_with_the_root_of_the_days(days: float, ahead_d: float) -> None:
    assert looks_ahead_d(days) == pytest.approx(ahead_d)


@pytest.mark.parametrize(
    ("sunrise_frac", "reason"),
    [
        pytest.param(0.26, Reason.DRYING, id="lasts"),  # 0.26 + 4.6 x 0.05 = 0.49
        pytest.param(0.28, Reason.DAYS_AHEAD, id="does-not"),
    ],
)
def test_the_last_allowed_day_looks_as_far_as_the_next(sunrise_frac: float, reason: Reason) -> None:
    said = at_night(sunrise_frac=sunrise_frac, day_use_frac=0.05, next_turn_d=4.0)
    assert said.reason is reason


# -- limp leaves on a morning


@pytest.mark.parametrize("rules", [NIGHT, DAY], ids=["in-hours", "outside"])
def test_limp_leaves_are_watered_whatever_the_hour_from_where_the_bed_is(rules: Rules) -> None:
    said = decide(replace(BED, limp=True, depletion_frac=0.16), Sky(), rules)
    assert said.reason is Reason.LIMP
    assert said.dose_mm == pytest.approx((0.16 - 0.05) * BED.taw_mm)
    blind = decide(replace(BED, limp=True, depletion_frac=0.16, quality="none"), Sky(), rules)
    assert blind.dose_mm == pytest.approx(0.8 * (0.16 - 0.05) * BED.taw_mm)


@pytest.mark.parametrize(
    "change",
    [
        {"depletion_frac": 0.15, "sunrise_frac": 0.16},
        {"wet": True},
        {"watered": True},
        {"waiting": True},
        {"depletion_frac": math.nan},
        {"taw_mm": math.nan},
    ],
    ids=["not-dry", "wet", "watered", "waiting", "nan", "no-taw"],
)
def test_limp_leaves_water_no_bed_that_is_wet_watered_or_not_known(change: dict[str, Any]) -> None:
    assert dry(decide(replace(BED, limp=True, **change), Sky(), DAY))


@pytest.mark.parametrize("rules", [Rules(interlock=Reason.LOCKED), Rules(hold=Reason.FROST)])
def test_limp_leaves_pass_no_interlock_and_no_hold(rules: Rules) -> None:
    assert dry(decide(replace(BED, limp=True), Sky(), rules))
