"""Whose turn it is: each bed is put before `decide`, and a yes becomes a watering.

A bed is judged once in each window of hours; where it could not be judged then, it is asked again
inside the window. Outside the hours only a floor that is surely passed waters.
"""

from __future__ import annotations

import math

from controller import metering, scarcity, unset_clock
from controller.bed_views import place_of, rules_of, sky_of, view_of, watered, window_now
from controller.correcting import correct_unknown
from controller.dose_lessons import look_on
from controller.living import crashes
from controller.minding import (
    mind_due,
    mind_frost,
    mind_link,
    mind_masts,
    mind_probes,
    mind_thirst,
)
from controller.missing import end_miss, miss_night
from controller.night_ahead import beds_early
from controller.pausing import call_pauses, end_pauses
from controller.run import Run
from controller.starting import smallest_mm, start_watering, want_l
from controller.state import Said
from controller.watering.decision import BedView, Decision, Reason, Sky
from controller.watering.guard import interlock
from controller.watering.hours import Window, on_weekday
from controller.watering.limits import Refused
from controller.watering.policy import decide, night_early
from controller.watering.scarce import allot, want_of
from controller.watering.settling import cut
from controller.watering.words import words

HELD_BY_PERSON = frozenset({Reason.PAUSED, Reason.CLEARED, Reason.NOT_PLANTED})
FREE_OR_FROST = frozenset({None, Refused.FROST, Refused.PROVING})


def judge_all(run: Run) -> None:
    """Judge every bed that has not been judged in this window, and end pauses that are over."""
    end_pauses(run)
    call_pauses(run)
    mind_link(run)
    mind_masts(run)
    metering.mind(run)
    mind_frost(run)
    unset_clock.mind(run)
    crashes.mind(run)
    scarcity.mind_tank(run)
    _end_off_days(run)
    window = window_now(run)
    sky = sky_of(run)
    for bed in run.garden.beds:
        if run.state.link_up:
            mind_probes(run, bed)
        correct_unknown(run, bed)
        look_on(run, bed)
    early = beds_early(run, window, sky)
    for bed in run.garden.beds:
        if bed not in run.state.waterings:
            _judge(run, bed, window, sky, early=bed in early)
        mind_thirst(run, bed, window)
    run.nudge = False


def _end_off_days(run: Run) -> None:
    """A clock that was put back to a day on which water may not run ends what had begun."""
    if on_weekday(place_of(run), run.state.at_utc_s):
        return
    for bed, watering in list(run.state.waterings.items()):
        if watering.by == "policy":
            cut(run, bed, "hours")


def _judge(run: Run, bed: str, window: Window, sky: Sky, *, early: bool) -> None:
    state = run.state
    memory = state.beds[bed]
    if not _is_asked(run, bed, window):
        return
    end_miss(run, bed, window)
    view = view_of(run, bed, window)
    rules = rules_of(run, bed, window)
    decision = decide(view, sky, rules)
    if early and decision.reason is Reason.DRYING and not view.missed:
        sooner = night_early(view, sky)
        decision = sooner if sooner.water else decision
    if rules.in_hours and decision.judged:
        if memory.judged_from_utc_s != window.from_utc_s:
            postponed = decision.reason is Reason.RAIN_COMING
            memory.postponed = memory.postponed + 1 if postponed else 0
        memory.judged_from_utc_s = window.from_utc_s
    due = decision
    if decision.water:
        scarce = scarcity.limits(run)
        share_l = _share_l(run, view, decision, window, sky) if scarce else math.inf
        decision = start_watering(run, view, decision, window, share_l)
        if decision.water:
            memory.limp_utc_s = memory.hung_utc_s = memory.miss = None
        elif not decision.judged:  # it waits for water: asked again, also in these hours
            memory.judged_from_utc_s = None
    mind_due(run, bed, due, decision, window)
    if decision.reason is Reason.MISSED:
        miss_night(run, bed, window)
    say(run, bed, decision)


def _share_l(run: Run, view: BedView, decision: Decision, window: Window, sky: Sky) -> float:
    """A due bed's share of scarce water, beside all others that would drink now [L]."""
    due = [(view, decision)]
    for bed in run.garden.beds:
        if bed != view.bed and _is_asked(run, bed, window):
            other = view_of(run, bed, window)
            due.append((other, decide(other, sky, rules_of(run, bed, window))))
    wants = [
        want_of(one, yes, want_l(run, one, yes), smallest_mm(one) * one.wetted_area_m2)
        for one, yes in due
        if yes.water
    ]
    return allot(wants, scarcity.left_l(run))[view.bed]


def _is_asked(run: Run, bed: str, window: Window) -> bool:
    """Whether a bed is to be judged now."""
    if bed in run.state.waterings:
        return False
    waits = run.state.mono_s < run.state.beds[bed].not_before_mono_s
    return not waits and not _answer_stands(run, bed, window)


def _answer_stands(run: Run, bed: str, window: Window) -> bool:
    """Whether the bed has its answer for these hours, and nothing asks for another."""
    state = run.state
    memory, day = state.beds[bed], state.days[bed]
    at_utc_s = state.at_utc_s
    if memory.judged_from_utc_s != window.from_utc_s or not window.holds(at_utc_s):
        return False
    if memory.said.code in HELD_BY_PERSON or interlock(run, bed) not in FREE_OR_FROST:
        return False
    if state.water[bed].depletion_mm <= day.floor_frac * day.taw_mm:
        return True
    return watered(memory, window, at_utc_s, day.taw_mm * run.soils[bed].wetted_area_m2)


def say(run: Run, bed: str, decision: Decision) -> None:
    """Remember a decision; record it where its reason is a new one or it stands for the night."""
    memory = run.state.beds[bed]
    code, numbers = decision.reason.value, decision.numbers
    text = words(bed, decision.reason, numbers)
    changed = memory.said.code != code
    memory.said = Said(code=code, text=text, numbers=numbers, at_utc_s=run.state.at_utc_s)
    if changed or decision.judged:
        run.note("decision", bed, code, text, numbers)
