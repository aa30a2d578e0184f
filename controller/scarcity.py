"""A garden's scarce water: what its week and tank have left, and which days it may run.

What valves gave counts: by the meter or by time where its end was proved, else in full. Water that
somebody poured counts for neither, nobody knows where it came from. After a lost record the week
begins anew and the tank counts as full.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import time
from typing import get_args

from controller.garden import REFILL_TO_FRAC
from controller.garden_parts import Supply, Weekday
from controller.run import Run
from controller.watering import scarce
from controller.watering.decision import BedView, Decision, Reason
from controller.watering.hours import (
    Place,
    Window,
    days_end_utc_s,
    local_to_utc_s,
    turn_after_d,
    window_at,
)
from controller.watering.policy import SMALLEST_DOSE_FRAC, looks_ahead_d
from controller.watering.words import bed_name

DAY_S = 86_400.0
GIVEN = frozenset({"dose_l", "dose_mm"})  # what a bed that waits does not get
FORECAST_WINDOWS = 40  # a month and more of nights
WEEKDAYS: tuple[str, ...] = get_args(Weekday)


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """When a bed is likely to drink within scarce water.

    Attributes:
        by: what limits it: `days`, `week` or `tank`.
        window: the hours; None where nobody can tell: the tank has to be filled.
        stress_d: dawns past its thirst line until then that it would not have had without limits.
    """

    by: str
    window: Window | None
    stress_d: int | None


def weekdays_of(supply: Supply) -> frozenset[int] | None:
    """The weekdays on which water may run, Monday 0; None where it may on all."""
    if supply.days is None or len(set(supply.days)) == len(WEEKDAYS):
        return None
    return frozenset(WEEKDAYS.index(day) for day in supply.days)


def give(run: Run, litres: float) -> None:
    """Let litres that a valve gave count for week and tank [L]."""
    supply, kept = run.garden.supply, run.state.scarce
    if not 0.0 < litres < math.inf:
        return
    if supply.litres_per_week is not None:
        today = run.local_day(run.state.at_utc_s)
        scarce.note_given(kept.given_l, today.toordinal(), litres)
        over = local_to_utc_s(today + scarce.WEEK, time(0), run.garden.garden.zone)
        end_s = run.trusted_s + over - run.state.at_utc_s
        scarce.note_week(kept.weeks_l, end_s, run.trusted_s, litres)
    if supply.tank_l is not None:
        kept.tank_used_l = min(supply.tank_l, kept.tank_used_l + litres)


def week_left_l(run: Run) -> float | None:
    """What the week has left, waterings under way taken off [L]; None without a limit."""
    week_l = run.garden.supply.litres_per_week
    if week_l is None:
        return None
    today = run.local_day(run.state.at_utc_s).toordinal()
    given_l = max(scarce.given_in_week_l(days_l, today) for days_l in _days_l(run, today))
    return max(0.0, week_l - given_l - _under_way_l(run))


def _days_l(run: Run, today: int) -> tuple[Mapping[int, float], Mapping[int, float]]:
    """What was given by local day [L]: as the wall clock dates it, and by trusted time."""
    kept = run.state.scarce
    return kept.given_l, scarce.steady_days_l(kept.weeks_l, today, run.trusted_s)


def tank_left_l(run: Run) -> float | None:
    """What the tank holds by its count, waterings under way taken off [L]; None without one."""
    tank_l = run.garden.supply.tank_l
    if tank_l is None:
        return None
    return max(0.0, tank_l - run.state.scarce.tank_used_l - _under_way_l(run))


def _under_way_l(run: Run) -> float:
    """What the waterings that run are still to give [L]; a pulse not yet settled counts whole."""
    return math.fsum(max(0.0, one.want_l - one.given_l) for one in run.state.waterings.values())


def left_l(run: Run) -> float:
    """The lesser of week and tank [L]; without end where neither limits."""
    known = [left for left in (week_left_l(run), tank_left_l(run)) if left is not None]
    return min(known, default=math.inf)


def limits(run: Run) -> bool:
    """Whether the week or a tank limits what may be given."""
    supply = run.garden.supply
    return supply.litres_per_week is not None or supply.tank_l is not None


def refused(run: Run, decision: Decision) -> Decision:
    """The answer to a bed that is due while week or tank have too little for it."""
    tank_l, week_l = tank_left_l(run), week_left_l(run)
    tank = tank_l is not None and (week_l is None or tank_l <= week_l)
    numbers = {key: value for key, value in decision.numbers.items() if key not in GIVEN}
    return Decision(
        reason=Reason.TANK_LOW if tank else Reason.WEEK_SPENT,
        dose_mm=None,
        numbers={**numbers, "left_l": left_l(run)},
    )


def mind_tank(run: Run) -> None:
    """Call for water before a bed waits for it: the tank holds less than the next watering."""
    tank_l = tank_left_l(run)
    if tank_l is None:
        run.end_alert("tank_low")
        return
    bed, next_l = _next_l(run)
    if bed and not run.state.waterings and not tank_l >= next_l:
        run.raise_alert(
            "tank_low",
            f"The tank holds {tank_l:.0f} L by its count, and the next watering, of "
            f"{bed_name(bed)}, takes about {next_l:.0f} L. Fill it, and say so.",
        )


def _next_l(run: Run) -> tuple[str, float]:
    """The growing bed that is nearest to its line, and what a refill there takes [L]."""
    nearest, found = -math.inf, ("", 0.0)
    for bed, setting in run.garden.beds.items():
        cleared = setting.cleared is not None and run.state.day >= setting.cleared.toordinal()
        if cleared or run.state.day < setting.transplanted.toordinal():
            continue
        day = run.days[bed]
        used_frac = run.state.water[bed].depletion_mm / day.taw_mm
        if used_frac / day.line_frac > nearest:
            nearest = used_frac / day.line_frac
            refill_mm = (max(used_frac, day.line_frac) - REFILL_TO_FRAC) * day.taw_mm
            found = (bed, refill_mm * run.soils[bed].wetted_area_m2)
    return found


def until_utc_s(run: Run, place: Place, window: Window, *, no_end: bool) -> float | None:
    """Until when a watering may run [s, Unix]: its hours, and never past the last allowed day."""
    if not no_end:
        return window.to_utc_s
    return days_end_utc_s(place, run.state.at_utc_s)


def fill(run: Run, litres: float | None) -> str | None:
    """Somebody filled the tank, or read how much is in it.

    Args:
        run: the engine's working set.
        litres: what it holds now [L]; None: it is full.

    Returns:
        What is wrong with that; None where it counts.
    """
    tank_l = run.garden.supply.tank_l
    if tank_l is None:
        return "The garden file names no tank."
    holds_l = tank_l if litres is None else litres
    if not 0.0 <= holds_l <= tank_l:
        return f"The tank holds between 0 and {tank_l:.0f} L."
    run.state.scarce.tank_used_l = tank_l - holds_l
    run.end_alert("tank_low")
    run.nudge = True
    return None


def turn(run: Run, view: BedView, place: Place) -> Turn | None:
    """When a bed is likely to drink within what is scarce, and what waiting costs.

    A forecast by the expected use alone, without rain and without what other beds take.

    Args:
        run: the engine's working set.
        view: the bed now.
        place: for hours and days.

    Returns:
        None where nothing is scarce, or no use is expected.
    """
    supply, use_frac = run.garden.supply, view.day_use_frac
    if not (limits(run) or place.weekdays) or not use_frac > 0.0:
        return None
    hours, at_s = run.garden.garden.hours, run.state.at_utc_s
    line_s = at_s + max(0.0, view.line_frac - view.depletion_frac) / use_frac * DAY_S
    free = window_at(hours, replace(place, weekdays=None), line_s)
    least_l = SMALLEST_DOSE_FRAC * view.taw_mm * view.wetted_area_m2
    tank_l = tank_left_l(run)
    if tank_l is not None and not tank_l >= least_l:
        return Turn(by="tank", window=None, stress_d=None)
    after = at_s
    week_s = _week_has_room_s(run, least_l)
    for _ in range(FORECAST_WINDOWS):
        window = window_at(hours, place, after)
        used_frac = view.depletion_frac + use_frac * (window.to_utc_s - at_s) / DAY_S
        ahead_frac = looks_ahead_d(turn_after_d(hours, place, window)) * use_frac
        due = used_frac >= view.line_frac or used_frac + ahead_frac > view.floor_frac
        if due and window.to_utc_s > week_s:
            days = max(0, round((window.to_utc_s - free.to_utc_s) / DAY_S))
            by = "week" if supply.litres_per_week is not None and week_s > at_s else "days"
            return Turn(by=by, window=window, stress_d=days)
        after = window.to_utc_s
    return Turn(by="week", window=None, stress_d=None)


def _week_has_room_s(run: Run, wanted_l: float) -> float:
    """From when on the week has room for so much [s, Unix]; without end where it never has."""
    week_l, at_s = run.garden.supply.litres_per_week, run.state.at_utc_s
    if week_l is None:
        return at_s
    today = run.local_day(at_s).toordinal()
    spare_l = week_l - _under_way_l(run)
    ahead = 0
    for days_l in _days_l(run, today):
        found = scarce.week_allows_d(days_l, today, spare_l, wanted_l)
        if found is None:
            return math.inf
        ahead = max(ahead, found)
    return at_s if ahead == 0 else at_s + (ahead - 0.5) * DAY_S
