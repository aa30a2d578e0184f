"""A yes becomes a watering, within what the budget leaves."""

from __future__ import annotations

import math
from dataclasses import replace

from controller import scarcity
from controller.agronomy.crop import Stage
from controller.bed_views import place_of
from controller.dose_lessons import trusted_now
from controller.meter_trial import try_by_time
from controller.run import Run
from controller.state import Watering
from controller.watering.decision import BedView, Decision, Reason
from controller.watering.dosing import Split, nominal_s, split
from controller.watering.efficiency import dose_l
from controller.watering.guard import caps_of
from controller.watering.hours import Window
from controller.watering.limits import STARTS_MOST, Opening, allowed_now_l, starts_left
from controller.watering.night_plan import Due
from controller.watering.policy import LOOK_AHEAD, SMALLEST_BLIND_FRAC, SMALLEST_DOSE_FRAC
from controller.watering.ponding import pond_pulses
from controller.watering.staged import room_frac
from controller.watering.valves import meter_alive

AT_ANY_HOUR = frozenset({Reason.FLOOR_PASSED, Reason.LIMP})


def start_watering(
    run: Run, view: BedView, decision: Decision, window: Window, share_l: float = math.inf
) -> Decision:
    """Turn a yes into a watering within the budget; its pulses begin when it is their turn.

    Args:
        run: the engine's working set.
        view: the bed.
        decision: a yes.
        window: the hours.
        share_l: the bed's share of scarce water, 0 or a useful dose at least [L].
    """
    if not share_l > 0.0:
        return scarcity.refused(run, decision)
    state, garden, bed = run.state, run.garden, view.bed
    flow_l_min = garden.beds[bed].flow_l_min
    caps = caps_of(run, bed)
    wanted_l = min(want_l(run, view, decision), share_l)
    probe = Opening(bed=bed, want_l=wanted_l, open_s=60.0, flow_l_min=flow_l_min)
    allowed_l = allowed_now_l(probe, caps, state.ledger, run.trusted_s)
    litres = min(wanted_l, allowed_l)
    if not litres >= 0.5 * wanted_l:
        numbers = {**decision.numbers, "allowed_l": allowed_l}
        if not starts_left(state.ledger, run.trusted_s, bed):
            numbers["starts"] = float(STARTS_MOST)
        return Decision(reason=Reason.CAP_SPENT, dose_mm=None, numbers=numbers)
    state.doses += 1
    state.waterings[bed] = planned = _planned(run, view, decision, window, litres)
    try_by_time(run, planned)
    return _as_given(decision, litres, view, want_l(run, view, decision))


def _planned(
    run: Run, view: BedView, decision: Decision, window: Window, litres: float
) -> Watering:
    """The watering of a yes, with what has to be known of the bed before its water."""
    state, bed = run.state, view.bed
    no_end = _at_any_hour(decision, view, window, state.at_utc_s)
    no_end = no_end or run.garden.garden.hours == "always"
    parts = parts_of(run, bed, litres)
    return Watering(
        watering=f"{state.epoch}-{state.doses}",
        bed=bed,
        by="policy",
        want_l=litres,
        pulses=parts.pulses,
        pulse_l=parts.pulse_l,
        pulse_s=parts.pulse_s,
        need=need_of(view),
        until_utc_s=scarcity.until_utc_s(run, place_of(run), window, no_end=no_end),
        started_utc_s=state.at_utc_s,
        stage=int(decision.numbers.get("stage", 0.0)),
        stages=int(decision.numbers.get("stages", 0.0)),
        stages_lacked_frac=decision.numbers.get("stages_lacked_frac", 0.0),
        least_l=min(litres, smallest_mm(view) * view.wetted_area_m2),
        night_s=window.to_utc_s - window.from_utc_s,
        endangered=_endangered(run, view),
        before_m3_m3={} if view.felt_frac > 0.0 else trusted_now(run, bed),
        told_before_m3_m3=state.beds[bed].told_m3_m3,
        used_before_mm=state.water[bed].used_mm,
    )


def _endangered(run: Run, view: BedView) -> bool:
    """Whether the coming day may take a bed past its floor, and water may run on it."""
    ahead_frac = view.sunrise_frac + LOOK_AHEAD * view.day_use_frac
    return ahead_frac > view.floor_frac and run.garden.supply.days is None


def need_of(view: BedView) -> float:
    """How far past its line a bed is by sunrise: 0 on the line, 1 on the floor."""
    slack = view.floor_frac - view.line_frac
    return (view.sunrise_frac - view.line_frac) / slack if slack > 0.0 else 0.0


def parts_of(run: Run, bed: str, litres: float) -> Split:
    """A bed's dose in pulses, by opening, meter and soil.

    Args:
        run: the engine's working set.
        bed: whose.
        litres: all of it [L], above 0.
    """
    flow_l_min = run.garden.beds[bed].flow_l_min
    return split(
        litres,
        flow_l_min,
        caps_of(run, bed).open_most_s,
        metered=meter_alive(run),
        least_pulses=pond_pulses(run.garden.beds[bed], nominal_s(litres, flow_l_min)),
    )


def due_of(run: Run, view: BedView, decision: Decision) -> Due:
    """A yes as the night's plan sees it."""
    litres = want_l(run, view, decision)
    parts = parts_of(run, view.bed, litres)
    return Due(
        bed=view.bed,
        need=need_of(view),
        pulses=parts.pulses,
        pulse_l=parts.pulse_l,
        pulse_s=parts.pulse_s,
        least_l=min(litres, smallest_mm(view) * view.wetted_area_m2),
        flow_l_min=run.garden.beds[view.bed].flow_l_min,
    )


def _as_given(decision: Decision, litres: float, view: BedView, asked_l: float) -> Decision:
    """The yes with what it gets where that is less than it asked for."""
    if not litres < asked_l:
        return decision
    numbers = {"dose_l": litres, "dose_mm": litres / view.wetted_area_m2}
    return replace(decision, numbers={**decision.numbers, **numbers})


def want_l(run: Run, view: BedView, decision: Decision) -> float:
    """What a yes comes to in litres, before budget and scarcity [L]."""
    lesson, area_m2 = run.state.beds[view.bed].lesson, view.wetted_area_m2
    litres = dose_l(decision.dose_mm or 0.0, area_m2, lesson, smallest_mm(view))
    return min(litres, room_frac(view) * view.taw_mm * area_m2)


def _at_any_hour(decision: Decision, view: BedView, window: Window, at_utc_s: float) -> bool:
    """Whether a watering may run past the hours: a passed floor, limp leaves, staged or not."""
    if decision.reason is Reason.STAGED:
        return view.depletion_frac > view.floor_frac or not window.holds(at_utc_s)
    return decision.reason in AT_ANY_HOUR


def smallest_mm(view: BedView) -> float:
    """The smallest deep dose of a bed as it stands [mm]."""
    small = view.quality == "none" or view.stage is Stage.ESTABLISHING or view.next_turn_d > 1.0
    return (SMALLEST_BLIND_FRAC if small else SMALLEST_DOSE_FRAC) * view.taw_mm
