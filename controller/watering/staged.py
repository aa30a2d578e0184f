"""A dry bed with coloured fruit is wetted over nights, so that no fruit cracks.

Past its line by more than `PAST_LINE_FRAC` the refill comes in stages: two shares of what the bed
lacked, each with the coming day's use, then the rest. And with coloured fruit never more of the
available water than `room_frac` leaves is given within a day, staged or not. Pure; all fractions
are of TAW.

Source of shares and limit: the project's own proposals after Peet 1992 (abstract): fruit cracks
most when dry soil is suddenly wetted. Left out: rain, which nobody doses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from controller.watering.decision import BedView

PAST_LINE_FRAC = 0.10  # past the line by more: the refill is staged
STAGE_SHARE = 0.35  # of what the bed lacked, at each stage but the last
STAGES = 3
BEFORE_PICK_TO_FRAC = 0.125  # 85-90 % full, where a pick is marked within three days
STAGE_LEAST_FRAC = 0.05  # a smaller rest is no stage of its own
SUDDEN_FRAC = 0.48  # of available water in a day; half of it may crack fruit
SUDDEN_LEAST_FRAC = 0.40  # however unsure the bed's full point is
APART_S = 12 * 3600.0  # between two stages
FORGOTTEN_S = 3 * 86_400.0  # a stage that did not come by then comes no more
DAY_S = 23 * 3600.0  # nights begin earlier and later: an hour less than a day


@dataclass(slots=True, kw_only=True)
class Staging:
    """A staged refill under way."""

    done: int  # stages given
    lacked_frac: float  # when it began, from where a refill stops
    at_utc_s: float  # the last stage's end


@dataclass(frozen=True, slots=True, kw_only=True)
class DayDose:
    """A watering of the last day."""

    from_utc_s: float
    litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RefillStage:
    """The next stage's share."""

    number: int
    of: int
    want_frac: float
    lacked_frac: float


def room_frac(bed: BedView) -> float:
    """The most that a dose may be now, with what the bed was given within the last day.

    Args:
        bed: its state.

    Returns:
        [of TAW]; without end where no fruit colours. A full point that may be off makes the real
        available water smaller than believed, so that less is given.
    """
    if not bed.coloured:
        return math.inf
    most_frac = SUDDEN_FRAC * (1.0 - max(0.0, bed.full_sd_frac))
    return max(0.0, max(SUDDEN_LEAST_FRAC, most_frac) - bed.given_day_frac)


def next_stage(bed: BedView, from_frac: float, to_frac: float) -> RefillStage | None:
    """The stage that is due where a refill is.

    Args:
        bed: its state.
        from_frac: depletion that is refilled [0..1].
        to_frac: where a refill stops.

    Returns:
        The stage; None where the bed is to be refilled at once, or lacks next to nothing.
    """
    stop_frac = max(to_frac, BEFORE_PICK_TO_FRAC) if bed.pick_near else to_frac
    lacks_frac = min(from_frac, 1.0) - stop_frac
    number = bed.stages_done + 1
    if number == 1 and not (bed.coloured and from_frac - bed.line_frac > PAST_LINE_FRAC):
        return None
    lacked_frac = lacks_frac if number == 1 else bed.staged_frac
    of, want_frac = STAGES, STAGE_SHARE * lacked_frac + bed.day_use_frac
    if number >= STAGES or (number > 1 and lacks_frac - want_frac < STAGE_LEAST_FRAC):
        of, want_frac = number, lacks_frac
    want_frac = min(want_frac, lacks_frac, room_frac(bed))
    if not want_frac >= STAGE_LEAST_FRAC:
        return None
    return RefillStage(number=number, of=of, want_frac=want_frac, lacked_frac=lacked_frac)


def stands(staging: Staging | None, at_utc_s: float) -> bool:
    """Whether a staged refill is under way, not done and not forgotten."""
    return staging is not None and 0.0 <= at_utc_s - staging.at_utc_s < FORGOTTEN_S


def rests(staging: Staging | None, at_utc_s: float) -> bool:
    """Whether the last stage is too recent for another."""
    return staging is not None and 0.0 <= at_utc_s - staging.at_utc_s < APART_S


def given_day_l(doses: list[DayDose], at_utc_s: float) -> float:
    """What a bed's own waterings of the last day gave it [L]."""
    return sum(dose.litres for dose in doses if 0.0 <= at_utc_s - dose.from_utc_s < DAY_S)


def given_between_l(doses: list[DayDose], from_utc_s: float, to_utc_s: float) -> float:
    """What a bed's own waterings that began between two instants gave it [L]."""
    return sum(dose.litres for dose in doses if from_utc_s <= dose.from_utc_s <= to_utc_s)


def keep_dose(doses: list[DayDose], dose: DayDose) -> list[DayDose]:
    """The doses that may still count, with another."""
    return [one for one in doses if dose.from_utc_s - one.from_utc_s < DAY_S] + [dose]
