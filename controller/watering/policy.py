"""Whether to water a bed: pure, positive, and always with a reason.

`decide` reads top-down; the order of its tests is the priority: interlocks, holds, unknown state,
wet or watered, a blind bed's doubtful valve, limp leaves, floor, hours, a refill by day, and then,
at night, line and floor a day ahead, dry days before a pick, rain that falls or is to come. A bed
is watered only where a comparison is positively true; every other path, not-a-number included, is
the dry one. All fractions are of TAW: 0 full, 1 wilting point.
"""

from __future__ import annotations

import math

from controller.agronomy.crop import Stage
from controller.watering import before_pick, blind
from controller.watering.decision import BedView, Blind, Decision, Learning, Reason, Rules, Sky
from controller.watering.eye import WET_FRAC
from controller.watering.rain import rain_will_do
from controller.watering.staged import next_stage, room_frac

REFILL_TO_FRAC = 0.05  # a refill stops here: full, with room for the last of it to settle
SEARCH_SD = 0.5  # a refill goes deeper by this share of what the full point may be off: it is
SEARCH_FROM_FRAC = 0.05  # found by going there; a point known this well is not searched for
SMALLEST_DOSE_FRAC = 0.20  # a deep dose is at least this; not while establishing
SMALLEST_BLIND_FRAC = blind.SMALLEST_FRAC
LOOK_AHEAD = 1.3  # one more day's expected use, times this, must not pass the floor
DRAWN_IN_FRAC = 0.08  # heat or doubtful probes draw the line in by this
HOT_C = 35.0
FLOOR_WAITS_S = 6 * 3600.0  # a passed floor waits for hours that begin this soon
UNSURE_WAITS_S = 86_400.0  # a floor that may not be passed waits for hours that begin this soon
RAIN_ENDS_S = 3 * 3600.0  # of the hours: rain that still falls then keeps no floor waiting
POSTPONED_MOST = 2  # nights running that an outlook may postpone


def line_now_frac(bed: BedView, sky: Sky) -> float:
    """The thirst line that counts tonight: drawn in by heat or doubtful probes [0..1]."""
    drawn_in = sky.hot or bed.quality != "ok"
    return bed.line_frac - (DRAWN_IN_FRAC if drawn_in else 0.0)


def _numbers(bed: BedView, sky: Sky) -> dict[str, float]:
    return {
        "depletion_frac": bed.depletion_frac,
        "sunrise_frac": bed.sunrise_frac,
        "thirst_line_frac": line_now_frac(bed, sky),
        "floor_frac": bed.floor_frac,
        "day_use_frac": bed.day_use_frac,
        "spread_frac": bed.spread_frac,
        "rain_expected_mm": sky.rain_expected_mm,
    } | _days(bed)


def _days(bed: BedView) -> dict[str, float]:
    """How far off a marked pick is, and how long a bed is blind, where that matters."""
    days = {"pick_d": bed.pick_d} if bed.pick_near or bed.pick_in is not None else {}
    return days | {"blind_d": bed.blind_d} if blind.in_the_dark(bed) else days


def _finite(bed: BedView, sky: Sky) -> bool:
    numbers = (
        sky.rain_expected_mm,
        bed.taw_mm,
        bed.wetted_area_m2,
        bed.depletion_frac,
        bed.sunrise_frac,
        bed.day_use_frac,
        bed.spread_frac,
        bed.books_frac,
        bed.full_sd_frac,
        bed.line_frac,
        bed.floor_frac,
        bed.rain_share_frac,
        bed.rain_holds_mm,
        bed.given_day_frac,
        bed.staged_frac,
        bed.pick_d,
        bed.blind_d,
        bed.felt_frac,
        bed.next_turn_d,
        *(number for rain in sky.rains for number in (rain.fall_mm, rain.chance_frac)),
    )
    return all(map(math.isfinite, numbers))


def _yes(reason: Reason, bed: BedView, sky: Sky, want_frac: float) -> Decision:
    numbers = _numbers(bed, sky)
    dose_mm = want_frac * bed.taw_mm
    if not 0.0 < dose_mm < math.inf:
        return Decision(reason=Reason.UNKNOWN_STATE, dose_mm=None, numbers={})
    numbers["dose_mm"] = dose_mm
    numbers["dose_l"] = dose_mm * bed.wetted_area_m2
    return Decision(reason=reason, dose_mm=dose_mm, numbers=numbers)


def _wait(reason: Reason, bed: BedView, sky: Sky) -> Decision:
    if _finite(bed, sky):
        return _not_yet(reason, bed, sky)
    return Decision(reason=reason, dose_mm=None, numbers={})


def _not_yet(reason: Reason, bed: BedView, sky: Sky) -> Decision:
    return Decision(reason=reason, dose_mm=None, numbers=_numbers(bed, sky))  # finite, as was seen


def decide(bed: BedView, sky: Sky, rules: Rules) -> Decision:
    """Decide whether this bed gets water now.

    Args:
        bed: the bed's state, fractions of TAW.
        sky: what is foretold.
        rules: interlocks, holds and hours.

    Returns:
        The decision. With `dose_mm` only where a comparison is positively true.
    """
    held = _held(bed, sky, rules)
    if held is not None:
        return _wait(held, bed, sky)
    if bed.limp and _by_eye_frac(bed) > WET_FRAC:
        return _for_limp(bed, sky)
    if bed.depletion_frac > bed.floor_frac:
        if not (_is_its_turn(bed, rules) or surely_past(bed)):
            return _not_yet(Reason.FLOOR_UNSURE, bed, sky)
        if rules.in_hours or rules.until_hours_s > FLOOR_WAITS_S:
            return _refill(Reason.FLOOR_PASSED, bed, sky, bed.depletion_frac)
    if not rules.in_hours:
        return _not_yet(Reason.OUTSIDE_HOURS, bed, sky)
    if bed.refilled:
        return _not_yet(Reason.WATERED_TONIGHT, bed, sky)
    return _at_night(bed, sky, rules)


def _is_its_turn(bed: BedView, rules: Rules) -> bool:
    """Whether a passed floor is taken at its word: no refill of late, and no hours to wait for."""
    return not bed.refilled and (rules.in_hours or rules.until_hours_s > UNSURE_WAITS_S)


def surely_past(bed: BedView) -> bool:
    """Whether a bed is past its floor even if its readings are a spread too dry, or by its books.

    Args:
        bed: one that is believed past its floor. What probes tell of light soil under young roots
            may be wrong by more than a day's use; an error of theirs does not go away by water.
    """
    by_readings = bed.depletion_frac - bed.spread_frac > bed.floor_frac
    return by_readings or bed.books_frac > bed.floor_frac


def _held(bed: BedView, sky: Sky, rules: Rules) -> Reason | None:
    """What keeps a bed from water whatever it lacks, the gravest first."""
    if rules.interlock is not None:
        return rules.interlock
    if rules.hold is not None:
        return rules.hold
    if bed.waiting:
        return Reason.WAITING_READINGS
    if not _finite(bed, sky):
        return Reason.UNKNOWN_STATE
    if bed.wet:
        return Reason.WET
    if bed.watered:
        return Reason.WATERED_TONIGHT
    if blind.in_the_dark(bed) and bed.blind is Blind.UNSOUND:
        return Reason.BLIND_UNSOUND
    return None


def _for_limp(bed: BedView, sky: Sky) -> Decision:
    """Back to nearly full from where the bed is now, whatever the hour and however little."""
    from_frac = _by_eye_frac(bed)
    want_frac = min(from_frac, 1.0) - REFILL_TO_FRAC
    want_frac = min(blind.most_frac(bed, want_frac), room_frac(bed))
    if want_frac <= 0.0:
        return _not_yet(Reason.WATERED_TONIGHT, bed, sky)
    decision = _staged(bed, sky, from_frac) or _yes(Reason.LIMP, bed, sky, want_frac)
    if bed.felt_frac > 0.0:
        decision.numbers["felt_frac"] = bed.felt_frac
    return decision


def _by_eye_frac(bed: BedView) -> float:
    """What a bed lacks where its leaves hang: a hand that felt it dry outranks its probes."""
    return max(bed.depletion_frac, bed.felt_frac)


def _staged(bed: BedView, sky: Sky, from_frac: float) -> Decision | None:
    """The next share of a refill over nights; None where none is due."""
    stage = next_stage(bed, from_frac, REFILL_TO_FRAC)
    if stage is None:
        return None
    decision = _yes(Reason.STAGED, bed, sky, blind.most_frac(bed, stage.want_frac))
    decision.numbers.update(
        stage=float(stage.number), stages=float(stage.of), stages_lacked_frac=stage.lacked_frac
    )
    return decision


def _at_night(bed: BedView, sky: Sky, rules: Rules) -> Decision:
    """The line, the floor a day ahead, dry days before a pick, rain that falls or is to come."""
    ahead_d = looks_ahead_d(before_pick.ahead_d(bed) + bed.next_turn_d - 1.0)
    floor_near = bed.sunrise_frac + ahead_d * bed.day_use_frac > bed.floor_frac
    reason = _due(bed, sky, floor_near=floor_near)
    goes_on = _staged(bed, sky, bed.sunrise_frac) if bed.stages_done else None
    if reason is None and goes_on is None:
        return _not_yet(Reason.DRYING, bed, sky)
    if not floor_near and bed.pick_near and goes_on is None:
        return _not_yet(Reason.PICK_HOLD, bed, sky)
    if bed.raining and not (floor_near and rules.left_s < RAIN_ENDS_S):
        return _not_yet(Reason.RAINING, bed, sky)
    if not floor_near and bed.postponed < POSTPONED_MOST and rain_will_do(bed, sky):
        return _not_yet(Reason.RAIN_COMING, bed, sky)
    decided = goes_on or _refill(reason or Reason.AT_LINE, bed, sky, bed.sunrise_frac)
    next_frac = bed.sunrise_frac + (bed.next_turn_d - 1.0) * bed.day_use_frac
    if bed.missed and decided.water and next_frac <= bed.floor_frac:
        return _not_yet(Reason.MISSED, bed, sky)
    return decided


def looks_ahead_d(days: float) -> float:
    """How many days' use is to fit above the floor where the next turn is some days off [d].

    One day's use and three tenths of it in hand. Days err each by themselves, so that what is kept
    in hand for several of them grows with the root of their number.

    Args:
        days: to the next turn, above 0.
    """
    return days + (LOOK_AHEAD - 1.0) * min(days, math.sqrt(max(0.0, days)))


def night_early(bed: BedView, sky: Sky) -> Decision:
    """The refill of a bed that is not due yet, since tomorrow's night has no room for it.

    Args:
        bed: a bed that `decide` found drying.
        sky: what is foretold.

    Returns:
        A yes where it takes a deep dose already.
    """
    if not _finite(bed, sky):
        return _wait(Reason.UNKNOWN_STATE, bed, sky)
    return _refill(Reason.NIGHT_EARLY, bed, sky, bed.sunrise_frac)


def _due(bed: BedView, sky: Sky, *, floor_near: bool) -> Reason | None:
    """Why a bed is to drink tonight, None where it is not due."""
    line_frac = line_now_frac(bed, sky)
    if bed.sunrise_frac >= line_frac:
        return Reason.AT_LINE
    if floor_near:
        return Reason.DAYS_AHEAD if bed.next_turn_d > 1.0 else Reason.FLOOR_NEAR
    if before_pick.drinks_before(bed, line_frac, SMALLEST_DOSE_FRAC):
        return Reason.BEFORE_PICK
    return None


def _refill(reason: Reason, bed: BedView, sky: Sky, from_frac: float) -> Decision:
    staged = _staged(bed, sky, from_frac)
    if staged is not None:
        return staged
    want_frac, reason = _wanted(reason, bed, sky, min(from_frac, 1.0))
    want_frac = min(blind.most_frac(bed, want_frac), room_frac(bed))
    if not want_frac >= _smallest_frac(bed):
        return _not_yet(Reason.TOO_SMALL, bed, sky)
    return _yes(reason, bed, sky, want_frac)


def _wanted(reason: Reason, bed: BedView, sky: Sky, from_frac: float) -> tuple[float, Reason]:
    """What a refill is to give before room and caps, and why that much [of TAW]."""
    plain_frac = from_frac - REFILL_TO_FRAC
    if blind.in_the_dark(bed):
        return plain_frac, blind.REASONS[bed.blind]
    if blind.learns(bed):
        if bed.learning is Learning.FIRST_SOAK:
            return blind.soak_frac(bed, from_frac), Reason.FIRST_SOAK
        return plain_frac, Reason.LEARNING_REFILL
    if bed.pick_near:
        carries_frac = before_pick.carries_frac(bed, from_frac, REFILL_TO_FRAC, SMALLEST_DOSE_FRAC)
        return carries_frac, Reason.FLOOR_BEFORE_PICK
    if reason is Reason.BEFORE_PICK:
        plain_frac = max(plain_frac, SMALLEST_DOSE_FRAC)  # it fits, as was seen
    stops_frac = before_pick.leaves_frac(
        bed, from_frac, line_now_frac(bed, sky), REFILL_TO_FRAC, SMALLEST_DOSE_FRAC
    )
    if stops_frac > REFILL_TO_FRAC and reason is not Reason.FLOOR_PASSED:
        return from_frac - stops_frac, Reason.PICK_AHEAD
    search_frac = SEARCH_SD * max(0.0, bed.full_sd_frac - SEARCH_FROM_FRAC)
    return min(1.0, plain_frac + search_frac), reason


def _smallest_frac(bed: BedView) -> float:
    """The smallest dose that is worth its opening [of TAW]."""
    small = blind.in_the_dark(bed) or bed.stage is Stage.ESTABLISHING or bed.next_turn_d > 1.0
    return SMALLEST_BLIND_FRAC if small else SMALLEST_DOSE_FRAC
