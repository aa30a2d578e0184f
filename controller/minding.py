"""Looked after at each judgement: silent probes, frost, a bed that waits dry."""

from __future__ import annotations

from dataclasses import replace
from itertools import takewhile

from controller.bed_views import quality_of
from controller.blindness import learns_now, mind_blind
from controller.flagging import raise_flag
from controller.run import Run
from controller.sensing.flags import Flag
from controller.sensing.quality import heard, silent_after_s
from controller.sensing.sky import MAST_FRESH_S
from controller.state import DueHours, Watering
from controller.watering.decision import Decision, Reason
from controller.watering.dosing import in_turn
from controller.watering.frost import cold_soil, frost
from controller.watering.hours import Window
from controller.watering.words import bed_name, words

WAITING_CALLS_S = 6 * 3600.0
UNSURE_CALLS_S = 86_400.0  # while it is not sure that the bed is past its floor
GRANTED_MORE_S = 3600.0  # so much longer where water was granted just now
MAST_SILENT = "mast_silent-"  # before the mast's name, in the id of its alert
NOT_GROWING = frozenset({Reason.NOT_PLANTED.value, Reason.CLEARED.value})
# What the grower asked for or was told beforehand: a bed that waits for these is not called.
ANNOUNCED = frozenset({Reason.WEEK_SPENT, Reason.TANK_LOW, Reason.RAINING, Reason.NO_WATER_DAY})
BEHIND = "Other beds came first, or its water did not come."
ALONE = "Its water did not come."
QUEUED = "Other beds drink before it."
GRANTED = "Its water is granted, but none has come yet."


def mind_probes(run: Run, bed: str) -> None:
    """Alerts for probes that fell silent and for a bed without any."""
    state, garden = run.state, run.garden
    quality, waiting = quality_of(run, bed)
    mind_blind(run, bed, quality, waiting=waiting)
    if quality == "ok":
        if state.alerts:
            run.end_alert("bed_blind", bed)
        return
    name = bed_name(bed)
    if not waiting:
        since_s = max(state.started_mono_s, state.link_mono_s)
        for probe in garden.beds[bed].probes:
            spoke = heard(state.probes[probe], garden.probes[probe].every_s, since_s, state.mono_s)
            silent_s = silent_after_s(state.probes[probe], garden.probes[probe].every_s)
            if not spoke and state.mono_s - since_s > silent_s:
                run.raise_alert(
                    "probe_silent",
                    f"Probe {probe} in {name} is silent. Look at its battery and cable.",
                    bed=bed,
                    probe=probe,
                )
                if Flag.STALE not in state.probes[probe].flags:
                    raise_flag(run, probe, Flag.STALE)
    if quality == "none" and not waiting and garden.beds[bed].probes and not learns_now(run, bed):
        run.raise_alert(
            "bed_blind",
            f"{name} has no probe to go by: it is watered by its balance, reduced.",
            bed=bed,
        )
    elif quality != "none":
        run.end_alert("bed_blind", bed)


def mind_masts(run: Run) -> None:
    """The alert of each mast that says nothing any more, as long as its last word counts for."""
    state, masts = run.state, run.garden.weather
    gone = [key for key in state.alerts if key.startswith(MAST_SILENT)]
    for name in (key.removeprefix(MAST_SILENT) for key in gone):
        if name not in masts:
            run.end_alert("mast_silent", name)  # another garden file
    if not state.link_up:
        return
    since_s = max(state.started_mono_s, state.link_mono_s)
    for name in masts:
        spoke_s = max(since_s, state.sky.masts_mono_s.get(name, since_s))
        if state.mono_s - spoke_s > MAST_FRESH_S:
            run.raise_alert(
                "mast_silent",
                f"The mast {name} has said nothing for two hours: its rain and its frost are not "
                "seen, and what the beds use is reckoned from what else is known. Look at its "
                "power and its radio.",
                part=name,
            )


def mind_link(run: Run) -> None:
    """A broker that was never reached since the start is no silence either."""
    if run.state.ready and not run.state.link_up:
        run.raise_alert(
            "link_lost", "No contact with the broker since the start: nothing is watered."
        )


def mind_frost(run: Run) -> None:
    """The alert of a frost, while it holds."""
    if frost(run):
        for memory in run.state.beds.values():
            memory.frosted = True
        run.raise_alert(
            "frost", "Too cold: nothing opens. Drain what can freeze; backflow devices go first."
        )
    else:
        run.end_alert("frost")
    for bed in run.garden.beds:
        _mind_cold_soil(run, bed)


def _mind_cold_soil(run: Run, bed: str) -> None:
    """The alert of frost in one bed's soil, while it holds."""
    probe = cold_soil(run, bed)
    if not probe:
        run.end_alert("frost", bed)
        return
    run.state.beds[bed].frosted = True
    run.raise_alert(
        "frost",
        f"Probe {probe} tells of less than 2 °C in the soil of {bed_name(bed)}: nothing opens "
        "there. Drain what can freeze.",
        bed=bed,
    )


def _drinks(watering: Watering | None) -> bool:
    """Whether any of a watering's water came: one that is cut before is no water."""
    if watering is None:
        return False
    return watering.given_l > 0.0 or (watering.pulse is not None and watering.pulse.given_l > 0.0)


def mind_due(run: Run, bed: str, due: Decision, given: Decision, window: Window) -> None:
    """Remember a bed that is to drink in these hours, until it has or is no longer to.

    Args:
        run: the engine's working set.
        bed: whose.
        due: what `decide` said.
        given: what came of it: a yes, or what keeps the bed from drinking.
        window: the hours.
    """
    memory = run.state.beds[bed]
    if given.reason in ANNOUNCED or (due.judged and not due.water):
        memory.due = None
    elif due.water and due.reason is not Reason.NIGHT_EARLY:
        behind = BEHIND if len(run.garden.beds) > 1 else ALONE
        why = behind if given.water else words(bed, given.reason, given.numbers)
        first = memory.due or DueHours(
            from_utc_s=window.from_utc_s, since_utc_s=run.state.at_utc_s, why=why
        )
        memory.due = replace(first, why=why)


def _is_over(
    due: DueHours, window: Window, at_utc_s: float, calls_s: float = WAITING_CALLS_S
) -> bool:
    """Whether a bed has had its chance: the hours are over, and they were not just ending."""
    return due.from_utc_s < window.from_utc_s and at_utc_s >= due.since_utc_s + calls_s


def _why_dry(run: Run, watering: Watering) -> str:
    """What keeps a granted watering from its water: other beds are named only where there are."""
    waterings, mono_s = run.state.waterings, run.state.mono_s
    before = takewhile(lambda other: other is not watering, in_turn(waterings, mono_s))
    drinks = any(other.pulse is not None for other in waterings.values() if other is not watering)
    return QUEUED if drinks or any(before) else GRANTED


def mind_thirst(run: Run, bed: str, window: Window) -> None:
    """A bed is never dry in silence.

    It calls where it was to drink in hours that are over, and did not; and after six hours past
    its floor, or a day while it is not sure that it is.
    """
    state = run.state
    memory, day = state.beds[bed], state.days[bed]
    past = state.water[bed].depletion_mm > day.floor_frac * day.taw_mm
    watering = state.waterings.get(bed)
    if _drinks(watering):  # only half a dose ends the wait (`settling.finish`): it may be a sip
        memory.due = None
        run.end_alert("bed_waiting", bed)
        return
    if memory.said.code in NOT_GROWING:
        past, memory.due = False, None
    elif memory.due is not None and (memory.last_watering_utc_s or 0.0) >= memory.due.since_utc_s:
        memory.due = None
    overdue = memory.due is not None and _is_over(memory.due, window, state.at_utc_s)
    if not past:
        memory.past_floor_mono_s = None
    elif memory.past_floor_mono_s is None:
        memory.past_floor_mono_s = state.mono_s
    if not past and not overdue:
        if state.alerts:
            run.end_alert("bed_waiting", bed)
        return
    if watering is None or watering.pulse is None:  # else it is tried: only water ends the wait
        _call_thirst(run, bed, window, watering)


def _call_thirst(run: Run, bed: str, window: Window, watering: Watering | None) -> None:
    """Raise the alert of a bed that has waited long enough, with what keeps it from its water."""
    state, memory = run.state, run.state.beds[bed]
    since_s, calls_s = memory.past_floor_mono_s, WAITING_CALLS_S
    if watering is not None and watering.started_utc_s == state.at_utc_s:
        calls_s += GRANTED_MORE_S  # bounded: a grant may fail time and again
    unsure = memory.said.code == Reason.FLOOR_UNSURE.value
    past_s = UNSURE_CALLS_S if unsure else calls_s
    if since_s is not None and state.mono_s - since_s >= past_s:
        why = memory.said.text if watering is None else _why_dry(run, watering)
        told = f"{bed_name(bed)} is past its floor and gets no water: {why}"
        run.raise_alert("bed_waiting", told, bed=bed)
    elif memory.due is not None and _is_over(memory.due, window, state.at_utc_s, calls_s):
        told = f"{bed_name(bed)} was to drink in hours that are over and got no water. "
        run.raise_alert("bed_waiting", told + memory.due.why, bed=bed)
