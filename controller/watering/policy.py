"""Whether to water a bed: pure, positive, and always with a reason.

`decide` reads top-down; the order of its tests is the priority: interlocks, unknown state, holds,
floor, hours, line, wait. A bed is watered only where a comparison is positively true; every other
path, not-a-number included, is the dry one. All fractions are of TAW: 0 full, 1 wilting point.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from controller.agronomy.crop import Stage

REFILL_TO_FRAC = 0.05  # a refill stops here: full, with room for the last of it to settle
SMALLEST_DOSE_FRAC = 0.20  # a deep dose is at least this; not while establishing
SMALLEST_BLIND_FRAC = 0.10
LOOK_AHEAD = 1.3  # one more day's expected use, times this, must not pass the floor
DRAWN_IN_FRAC = 0.08  # heat or doubtful probes draw the line in by this
HOT_C = 35.0
FLOOR_WAITS_S = 6 * 3600.0  # a passed floor waits for hours that begin this soon
POSTPONED_MOST = 2  # nights running that an outlook may postpone
BLIND_DOSE_SHARE = 0.8  # of a refill, without probes


class Reason(StrEnum):
    """Every way in which a decision can come out; stable codes."""

    # interlocks: nothing may open
    NOT_ARMED = "not_armed"
    LOCKED = "locked"
    OTHER_CONTROLLER = "other_controller"
    CANNOT_RECORD = "cannot_record"
    LINK_LOST = "link_lost"
    QUIET_START = "quiet_start"
    VALVE_LATCHED = "valve_latched"
    # holds
    NOT_PLANTED = "not_planted"
    CLEARED = "cleared"
    PAUSED = "paused"
    STOPPED = "stopped"
    FROST = "frost"
    # the state of the bed
    WAITING_READINGS = "waiting_readings"
    UNKNOWN_STATE = "unknown_state"
    WET = "wet"
    # yes
    FLOOR_PASSED = "floor_passed"
    AT_LINE = "at_line"
    FLOOR_NEAR = "floor_near"
    BLIND_REFILL = "blind_refill"
    ORDERED = "ordered"
    # not yet
    WATERED_TONIGHT = "watered_tonight"
    RAIN_COMING = "rain_coming"
    TOO_SMALL = "too_small"
    DRYING = "drying"
    OUTSIDE_HOURS = "outside_hours"
    CAP_SPENT = "cap_spent"
    NIGHT_OVER = "night_over"


INTERLOCKS = frozenset(
    {
        Reason.NOT_ARMED,
        Reason.LOCKED,
        Reason.OTHER_CONTROLLER,
        Reason.CANNOT_RECORD,
        Reason.LINK_LOST,
        Reason.QUIET_START,
        Reason.VALVE_LATCHED,
    }
)
UNJUDGED = INTERLOCKS | {Reason.WAITING_READINGS, Reason.UNKNOWN_STATE, Reason.OUTSIDE_HOURS}
YES = frozenset(
    {
        Reason.FLOOR_PASSED,
        Reason.AT_LINE,
        Reason.FLOOR_NEAR,
        Reason.BLIND_REFILL,
        Reason.ORDERED,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BedView:
    """One bed as the decision sees it."""

    bed: str
    stage: Stage
    taw_mm: float
    wetted_area_m2: float
    depletion_frac: float
    sunrise_frac: float  # predicted for the next sunrise
    day_use_frac: float  # one expected day's use
    spread_frac: float  # standard deviation of the depletion
    line_frac: float
    floor_frac: float
    quality: str  # ok | doubtful | none
    waiting: bool  # no reading yet that may be used, and none given up
    wet: bool  # the probes say at or above field capacity
    watered: bool  # in this window
    postponed: int
    rain_share_frac: float = 1.0  # of a rain that reaches the strip
    rain_holds_mm: float = 0.0  # what leaves and straw keep of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Sky:
    """What is foretold for the coming day, by odds and amount."""

    rain_expected_mm: float = 0.0
    hot: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What holds, whoever asks."""

    interlock: Reason | None = None
    hold: Reason | None = None
    in_hours: bool = False
    until_hours_s: float = math.inf  # how far off the next hours are


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """Water or wait, with the reason and the numbers that made it so.

    `dose_mm` is over the wetted strip, None where the answer is to wait. `judged` tells whether
    the answer stands for this window.
    """

    reason: Reason
    dose_mm: float | None
    numbers: dict[str, float]

    @property
    def water(self) -> bool:
        """Whether the answer is yes."""
        return self.dose_mm is not None

    @property
    def judged(self) -> bool:
        """Whether the answer stands for this window; the others are asked again."""
        return self.reason not in UNJUDGED


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
    }


def _finite(bed: BedView, sky: Sky) -> bool:
    return all(
        math.isfinite(value)
        for value in (
            sky.rain_expected_mm,
            bed.taw_mm,
            bed.wetted_area_m2,
            bed.depletion_frac,
            bed.sunrise_frac,
            bed.day_use_frac,
            bed.spread_frac,
            bed.line_frac,
            bed.floor_frac,
            bed.rain_share_frac,
            bed.rain_holds_mm,
        )
    )


def _yes(reason: Reason, bed: BedView, sky: Sky, want_frac: float) -> Decision:
    numbers = _numbers(bed, sky)
    dose_mm = want_frac * bed.taw_mm
    if not 0.0 < dose_mm < math.inf:
        return Decision(reason=Reason.UNKNOWN_STATE, dose_mm=None, numbers={})
    numbers["dose_mm"] = dose_mm
    numbers["dose_l"] = dose_mm * bed.wetted_area_m2
    return Decision(reason=reason, dose_mm=dose_mm, numbers=numbers)


def _wait(reason: Reason, bed: BedView, sky: Sky) -> Decision:
    numbers = _numbers(bed, sky) if _finite(bed, sky) else {}
    return Decision(reason=reason, dose_mm=None, numbers=numbers)


def decide(bed: BedView, sky: Sky, rules: Rules) -> Decision:
    """Decide whether this bed gets water now.

    Args:
        bed: the bed's state, fractions of TAW.
        sky: what is foretold.
        rules: interlocks, holds and hours.

    Returns:
        The decision. With `dose_mm` only where a comparison is positively true.
    """
    if rules.interlock is not None:
        return _wait(rules.interlock, bed, sky)
    if rules.hold is not None:
        return _wait(rules.hold, bed, sky)
    if bed.waiting:
        return _wait(Reason.WAITING_READINGS, bed, sky)
    if not _finite(bed, sky):
        return _wait(Reason.UNKNOWN_STATE, bed, sky)
    if bed.wet:
        return _wait(Reason.WET, bed, sky)
    if bed.watered:
        return _wait(Reason.WATERED_TONIGHT, bed, sky)
    far = rules.until_hours_s > FLOOR_WAITS_S
    if bed.depletion_frac > bed.floor_frac and (rules.in_hours or far):
        return _refill(Reason.FLOOR_PASSED, bed, sky, bed.depletion_frac)
    if not rules.in_hours:
        return _wait(Reason.OUTSIDE_HOURS, bed, sky)
    return _at_night(bed, sky)


def _at_night(bed: BedView, sky: Sky) -> Decision:
    """The line, the floor a day ahead, the rain to come, the smallest deep dose."""
    ahead_frac = bed.sunrise_frac + LOOK_AHEAD * bed.day_use_frac
    floor_near = ahead_frac > bed.floor_frac
    at_line = bed.sunrise_frac >= line_now_frac(bed, sky)
    if not (at_line or floor_near):
        return _wait(Reason.DRYING, bed, sky)
    if not floor_near and _rain_will_do(bed, sky):
        return _wait(Reason.RAIN_COMING, bed, sky)
    return _refill(Reason.AT_LINE if at_line else Reason.FLOOR_NEAR, bed, sky, bed.sunrise_frac)


def _rain_will_do(bed: BedView, sky: Sky) -> bool:
    """Whether the rain foretold, by its odds, is at least half of what the bed lacks."""
    lacks_mm = bed.sunrise_frac * bed.taw_mm
    comes_mm = (sky.rain_expected_mm - bed.rain_holds_mm) * bed.rain_share_frac
    return bed.postponed < POSTPONED_MOST and comes_mm >= 0.5 * lacks_mm


def _refill(reason: Reason, bed: BedView, sky: Sky, from_frac: float) -> Decision:
    want_frac = min(from_frac, 1.0) - REFILL_TO_FRAC
    if bed.quality == "none":
        want_frac *= BLIND_DOSE_SHARE
        reason = Reason.BLIND_REFILL
        smallest_frac = SMALLEST_BLIND_FRAC
    else:
        smallest_frac = SMALLEST_DOSE_FRAC
    if bed.stage is Stage.ESTABLISHING:
        smallest_frac = min(smallest_frac, SMALLEST_BLIND_FRAC)
    if not want_frac >= smallest_frac:
        return _wait(Reason.TOO_SMALL, bed, sky)
    return _yes(reason, bed, sky, want_frac)
