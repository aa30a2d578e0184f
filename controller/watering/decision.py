"""What is asked before a bed gets water, and what is answered: plain values.

All fractions are of TAW: 0 full, 1 wilting point.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from controller.agronomy.crop import Stage


class Reason(StrEnum):
    """Every way in which a decision can come out; stable codes."""

    # interlocks: nothing may open
    NOT_ARMED = "not_armed"
    PROVING = "proving"
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
    NO_WATER_DAY = "no_water_day"
    PROBES_SWAPPED = "probes_swapped"
    SUPPLY_LOST = "supply_lost"
    # the state of the bed
    WAITING_READINGS = "waiting_readings"
    UNKNOWN_STATE = "unknown_state"
    WET = "wet"
    # yes
    LIMP = "limp"
    FLOOR_PASSED = "floor_passed"
    AT_LINE = "at_line"
    FLOOR_NEAR = "floor_near"
    DAYS_AHEAD = "days_ahead"
    BLIND_REFILL = "blind_refill"
    BLIND_NORMALS = "blind_normals"
    BLIND_SMALLEST = "blind_smallest"
    FIRST_SOAK = "first_soak"
    LEARNING_REFILL = "learning_refill"
    BEFORE_PICK = "before_pick"
    PICK_AHEAD = "pick_ahead"
    FLOOR_BEFORE_PICK = "floor_before_pick"
    STAGED = "staged"
    NIGHT_EARLY = "night_early"
    ORDERED = "ordered"
    # not yet
    WATERED_TONIGHT = "watered_tonight"
    MISSED = "missed"
    WEEK_SPENT = "week_spent"
    TANK_LOW = "tank_low"
    RAIN_COMING = "rain_coming"
    RAINING = "raining"
    PICK_HOLD = "pick_hold"
    BLIND_UNSOUND = "blind_unsound"
    TOO_SMALL = "too_small"
    FLOOR_UNSURE = "floor_unsure"
    DRYING = "drying"
    OUTSIDE_HOURS = "outside_hours"
    CAP_SPENT = "cap_spent"
    NIGHT_OVER = "night_over"
    NIGHT_SHORT = "night_short"


INTERLOCKS = frozenset(
    {
        Reason.NOT_ARMED,
        Reason.PROVING,
        Reason.LOCKED,
        Reason.OTHER_CONTROLLER,
        Reason.CANNOT_RECORD,
        Reason.LINK_LOST,
        Reason.QUIET_START,
        Reason.VALVE_LATCHED,
    }
)
UNJUDGED = INTERLOCKS | {
    Reason.WAITING_READINGS,
    Reason.UNKNOWN_STATE,
    Reason.OUTSIDE_HOURS,
    Reason.FLOOR_UNSURE,
    Reason.RAINING,
    Reason.NO_WATER_DAY,
    Reason.SUPPLY_LOST,
    Reason.WEEK_SPENT,
    Reason.TANK_LOW,
}
YES = frozenset(
    {
        Reason.LIMP,
        Reason.FLOOR_PASSED,
        Reason.AT_LINE,
        Reason.FLOOR_NEAR,
        Reason.DAYS_AHEAD,
        Reason.BLIND_REFILL,
        Reason.BLIND_NORMALS,
        Reason.BLIND_SMALLEST,
        Reason.FIRST_SOAK,
        Reason.LEARNING_REFILL,
        Reason.BEFORE_PICK,
        Reason.PICK_AHEAD,
        Reason.FLOOR_BEFORE_PICK,
        Reason.STAGED,
        Reason.NIGHT_EARLY,
        Reason.ORDERED,
    }
)


class Blind(StrEnum):
    """How much is known of a bed without a valid probe: each gives less than the one before."""

    REDUCED = "reduced"
    NORMALS = "normals"
    SMALLEST = "smallest"
    UNSOUND = "unsound"


class Learning(StrEnum):
    """Whether a bed's probes tell bare counts that are still learned."""

    NO = "no"
    FIRST_SOAK = "first_soak"
    DRYING = "drying"


@dataclass(slots=True, kw_only=True)
class BedView:
    """One bed as the decision sees it; not declared frozen, as it is made at each judgement."""

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
    books_frac: float = 0.0  # depletion by the balance alone since the last watering
    refilled: bool = False  # in full, since the hours before these; outside hours: in the last day
    full_sd_frac: float = 0.0  # how far off the bed's full point may be, by its probes
    rain_share_frac: float = 1.0  # of a rain that reaches the strip
    rain_holds_mm: float = 0.0  # what leaves and straw keep of it
    limp: bool = False  # somebody saw limp leaves this morning
    felt_frac: float = 0.0  # what a dry hand tells beside limp leaves [of TAW]; 0: no such hand
    missed: bool = False  # a person wants this turn left out
    next_turn_d: float = 1.0  # from this window's end to the end of the next that can be counted on
    coloured: bool = False  # fruit that may crack hangs on it
    given_day_frac: float = 0.0  # by our own doses of the last day
    stages_done: int = 0  # of a staged refill under way
    staged_frac: float = 0.0  # what the bed lacked when that began
    pick_near: bool = False  # a pick is marked within three days
    pick_in: int | None = None  # nights to the last one before those days; 0: this one
    pick_d: float = 0.0  # from the coming sunrise to noon of the marked day
    blind: Blind = Blind.REDUCED  # of meaning without probes
    blind_d: float = 0.0  # for how long it has had none
    learning: Learning = Learning.NO
    raining: bool = False  # it rains on the bed now


@dataclass(frozen=True, slots=True, kw_only=True)
class Rain:
    """One spell of rain that is foretold."""

    fall_mm: float  # over the ground, if it comes
    chance_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sky:
    """What is foretold for the coming day, by odds and amount."""

    rain_expected_mm: float = 0.0  # amount times odds, of all spells
    rains: tuple[Rain, ...] = ()
    hot: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What holds, whoever asks."""

    interlock: Reason | None = None
    hold: Reason | None = None
    in_hours: bool = False
    until_hours_s: float = math.inf  # how far off the next hours are
    left_s: float = math.inf  # of these hours


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
