"""Tonight and tomorrow night: which beds drink a night early, since tomorrow's night is too short.

The rules are in `controller/watering/night_plan.py`; here the beds' states are put before them. A
bed is expected to be due tomorrow where `decide` would water it with one expected day's use more.
"""

from __future__ import annotations

from dataclasses import replace

from controller.bed_views import rules_of, view_of
from controller.run import Run
from controller.starting import due_of
from controller.state import Watering
from controller.watering.decision import BedView, Decision, Reason, Rules, Sky
from controller.watering.hours import Window
from controller.watering.limits import DAY_S
from controller.watering.night_plan import Due, Night, early_beds
from controller.watering.policy import decide, night_early


def beds_early(run: Run, window: Window, sky: Sky) -> frozenset[str]:
    """The beds that drink tonight although their line is not reached.

    Args:
        run: the engine's working set.
        window: the hours that hold now.
        sky: what is foretold.

    Returns:
        Beds; none outside the hours, or where all have been judged in them.
    """
    state = run.state
    asked = [
        bed
        for bed in run.garden.beds
        if bed not in state.waterings
        and state.beds[bed].judged_from_utc_s != window.from_utc_s
        and state.mono_s >= state.beds[bed].not_before_mono_s
    ]
    if not window.holds(state.at_utc_s) or not asked or len(run.garden.beds) < 2:
        return frozenset()
    tonight = [_under_way(run, one) for one in state.waterings.values() if one.by == "policy"]
    tomorrow: list[Due] = []
    able: dict[str, Due] = {}
    for bed in asked:
        view, rules = view_of(run, bed, window), rules_of(run, bed, window)
        now = decide(view, sky, rules)
        if now.water:
            tonight.append(due_of(run, view, now))
        elif now.reason is Reason.DRYING:
            then = _tomorrow(view, sky, rules)
            if then is None:
                continue
            tomorrow.append(due_of(run, *then))
            early = night_early(view, sky)
            if early.water:
                able[bed] = due_of(run, view, early)
    if len(tomorrow) < 2:
        return frozenset()
    whole = _night(run, window.to_utc_s - window.from_utc_s)
    rest = _night(run, window.to_utc_s - state.at_utc_s)
    return frozenset(early_beds(tomorrow, whole, tonight, rest, able))


def _tomorrow(view: BedView, sky: Sky, rules: Rules) -> tuple[BedView, Decision] | None:
    """The bed with a day's use more, where it would be watered."""
    then = replace(
        view,
        depletion_frac=view.depletion_frac + view.day_use_frac,
        sunrise_frac=view.sunrise_frac + view.day_use_frac,
        raining=False,
    )
    decision = decide(then, sky, rules)
    return (then, decision) if decision.water else None


def _under_way(run: Run, watering: Watering) -> Due:
    """What is left of a watering that has begun or waits for its turn."""
    return Due(
        bed=watering.bed,
        need=watering.need,
        pulses=max(0, watering.pulses - watering.done),
        pulse_l=watering.pulse_l,
        pulse_s=watering.pulse_s,
        least_l=0.0,
        flow_l_min=run.garden.beds[watering.bed].flow_l_min,
    )


def _night(run: Run, length_s: float) -> Night:
    garden = run.garden
    return Night(
        length_s=min(length_s, DAY_S),
        beds_at_once=garden.garden.beds_at_once,
        shared_flow_l_min=garden.shared_flow_l_min,
    )
