"""Whose turn it is: each bed is put before `decide`, and a yes becomes a watering.

A bed is judged once in each window of hours; where it could not be judged then, it is asked again
inside the window. Outside the hours only a passed floor waters.
"""

from __future__ import annotations

import math

from controller.grid import correct_unknown
from controller.run import Run
from controller.sensing.estimate import PLASTIC_SIDE_FRAC, expected_use_mm_d, held_mm
from controller.sensing.quality import fresh, silent_after_s
from controller.sensing.sky import heat_expected, normal_eto_mm_d, rain_expected_mm
from controller.state import BedMemory, Said, Watering
from controller.watering.dosing import split
from controller.watering.guard import caps_of, frost, interlock
from controller.watering.hours import Place, Window, window_at
from controller.watering.limits import Opening, Refused, allowed_now_l
from controller.watering.policy import BedView, Decision, Reason, Rules, Sky, decide
from controller.watering.valves import meter_alive
from controller.watering.words import bed_name, words

NIGHT_USE_SHARE = 0.1  # of a day's use falls in a whole day's length of dark hours
FULL_FRAC = 0.02
WATERING_LEAST_FRAC = 0.10  # of TAW: a splash by hand costs a bed no night
SHARED_ERROR_FRAC = 0.05  # of TAW: what all probes of a bed, and its full point, are wrong by
WAITING_CALLS_S = 6 * 3600.0
DAY_S = 86_400.0
HELD_BY_PERSON = frozenset({Reason.PAUSED, Reason.CLEARED, Reason.NOT_PLANTED})
NOT_GROWING = frozenset({Reason.NOT_PLANTED.value, Reason.CLEARED.value})
FREE_OR_FROST = frozenset({None, Refused.FROST})


def place_of(run: Run) -> Place:
    """Where the garden is, for its hours."""
    info = run.garden.garden
    return Place(latitude_deg=info.latitude, longitude_deg=info.longitude, timezone=info.timezone)


def window_now(run: Run) -> Window:
    """The window that holds now, else the next one."""
    at_utc_s, last = run.state.at_utc_s, run.window
    if last is None or not run.window_since_s <= at_utc_s < last.to_utc_s:
        run.window = last = window_at(run.garden.garden.hours, place_of(run), at_utc_s)
        run.window_since_s = min(at_utc_s, last.from_utc_s)
    return last


def quality_of(run: Run, bed: str) -> tuple[str, bool]:
    """How well a bed's probes speak, and whether it still waits for them.

    Returns:
        (`ok` | `doubtful` | `none`, waiting).
    """
    state, garden = run.state, run.garden
    setting, now_s = garden.beds[bed], state.mono_s
    names = setting.probes
    if not names:
        return ("none", False) if setting.like is None else quality_of(run, setting.like)
    since_s = max(state.started_mono_s, state.link_mono_s)
    speaking = 0
    for name in names:
        speaking += fresh(state.probes[name], garden.probes[name].every_s, since_s, now_s)
    if speaking == len(names):
        return "ok", False
    patience_s = max(
        silent_after_s(state.probes[name], garden.probes[name].every_s) for name in names
    )
    waiting = now_s - since_s <= patience_s  # after a start each gets the time to speak
    return "doubtful" if speaking else "none", waiting


def view_of(run: Run, bed: str, window: Window) -> BedView:
    """A bed as the decision sees it now."""
    state = run.state
    water, day, memory = state.water[bed], run.days[bed], state.beds[bed]
    quality, waiting = quality_of(run, bed)
    usual_mm_d = day.kcb * normal_eto_mm_d(run.garden, state.at_utc_s) * run.soils[bed].ground_ratio
    use_mm_d = expected_use_mm_d(water, usual_mm_d)
    to_come_mm = use_mm_d * _use_before_sunrise_d(state.at_utc_s, window)
    taw_mm = day.taw_mm
    soil = run.soils[bed]
    return BedView(
        bed=bed,
        stage=day.stage,
        taw_mm=taw_mm,
        wetted_area_m2=run.soils[bed].wetted_area_m2,
        depletion_frac=water.depletion_mm / taw_mm,
        sunrise_frac=(water.depletion_mm + to_come_mm) / taw_mm,
        day_use_frac=use_mm_d / taw_mm,
        spread_frac=math.hypot(water.var_mm2**0.5 / taw_mm, SHARED_ERROR_FRAC),
        line_frac=day.line_frac,
        floor_frac=day.floor_frac,
        quality=quality,
        waiting=waiting,
        wet=quality != "none"
        and memory.told_frac is not None
        and memory.told_frac <= FULL_FRAC
        and water.depletion_mm / taw_mm < day.line_frac,
        watered=_watered(memory, window, state.at_utc_s, taw_mm * soil.wetted_area_m2),
        postponed=memory.postponed,
        rain_share_frac=PLASTIC_SIDE_FRAC if soil.mulch == "plastic" else 1.0,
        rain_holds_mm=held_mm(soil),
    )


def _use_before_sunrise_d(at_utc_s: float, window: Window) -> float:
    """How much of a day's use falls between now and the end of the hours [d]."""
    inside_s = window.to_utc_s - window.from_utc_s
    outside_s = max(1.0, DAY_S - inside_s)
    before_s = min(outside_s, max(0.0, window.from_utc_s - at_utc_s))
    dark_s = max(0.0, window.to_utc_s - max(at_utc_s, window.from_utc_s))
    dark_d = NIGHT_USE_SHARE * dark_s / DAY_S
    whole_dark_d = NIGHT_USE_SHARE * inside_s / DAY_S
    return (1.0 - whole_dark_d) * before_s / outside_s + dark_d


def _watered(memory: BedMemory, window: Window, at_utc_s: float, taw_l: float) -> bool:
    """Whether the bed had a real watering in these hours, or just before them."""
    last_s = memory.last_watering_utc_s
    if last_s is None or memory.last_watering_l < WATERING_LEAST_FRAC * taw_l:
        return False
    return last_s >= window.from_utc_s or at_utc_s - last_s < DAY_S / 4.0


def rules_of(run: Run, bed: str, window: Window) -> Rules:
    """Interlocks, holds and hours for a bed now."""
    state = run.state
    locked = interlock(run, bed)
    frost_hold = locked is not None and locked.value == Reason.FROST.value
    hold: Reason | None = Reason.FROST if frost_hold else None
    setting, today = run.garden.beds[bed], state.day
    if setting.cleared is not None and today >= setting.cleared.toordinal():
        hold = Reason.CLEARED
    if today < setting.transplanted.toordinal():
        hold = Reason.NOT_PLANTED
    paused = state.beds[bed].pause or state.pause
    if paused is not None and state.at_utc_s < paused.until_utc_s:
        hold = Reason.PAUSED
    return Rules(
        interlock=None if locked is None or frost_hold else Reason(locked.value),
        hold=hold,
        in_hours=window.holds(state.at_utc_s),
        until_hours_s=max(0.0, window.from_utc_s - state.at_utc_s),
    )


def sky_of(run: Run) -> Sky:
    """What is foretold, for the decision."""
    state = run.state
    return Sky(
        rain_expected_mm=rain_expected_mm(state.sky, state.at_utc_s),
        hot=heat_expected(state.sky, state.at_utc_s),
    )


def judge_all(run: Run) -> None:
    """Judge every bed that has not been judged in this window, and end pauses that are over."""
    _end_pauses(run)
    _mind_frost(run)
    window = window_now(run)
    sky = sky_of(run)
    for bed in run.garden.beds:
        if run.state.link_up:
            _mind_probes(run, bed)
        correct_unknown(run, bed)
        if bed not in run.state.waterings:
            _judge(run, bed, window, sky)
        _mind_thirst(run, bed)
    run.nudge = False


def _end_pauses(run: Run) -> None:
    state = run.state
    if state.pause is not None and state.at_utc_s >= state.pause.until_utc_s:
        state.pause = None
        run.end_alert("paused")
    for bed, memory in state.beds.items():
        if memory.pause is not None and state.at_utc_s >= memory.pause.until_utc_s:
            memory.pause = None
            run.end_alert("paused", bed)


def _mind_probes(run: Run, bed: str) -> None:
    """Alerts for probes that fell silent and for a bed without any."""
    state, garden = run.state, run.garden
    quality, waiting = quality_of(run, bed)
    if quality == "ok":
        if state.alerts:
            run.end_alert("bed_blind", bed)
        return
    name = bed_name(bed)
    if not waiting:
        since_s = max(state.started_mono_s, state.link_mono_s)
        for probe in garden.beds[bed].probes:
            spoke = fresh(state.probes[probe], garden.probes[probe].every_s, since_s, state.mono_s)
            silent_s = silent_after_s(state.probes[probe], garden.probes[probe].every_s)
            if not spoke and state.mono_s - since_s > silent_s:
                run.raise_alert(
                    "probe_silent",
                    f"Probe {probe} in {name} is silent. Look at its battery and cable.",
                    bed=bed,
                    probe=probe,
                )
    if quality == "none" and not waiting and garden.beds[bed].probes:
        run.raise_alert(
            "bed_blind",
            f"{name} has no probe to go by: it is watered by its balance, reduced.",
            bed=bed,
        )
    elif quality != "none":
        run.end_alert("bed_blind", bed)


def _mind_frost(run: Run) -> None:
    if frost(run):
        run.raise_alert(
            "frost", "Too cold: nothing opens. Drain what can freeze; backflow devices go first."
        )
    else:
        run.end_alert("frost")


def _mind_thirst(run: Run, bed: str) -> None:
    """A bed past its floor is never dry in silence: after six hours without water it calls."""
    state, memory, day = run.state, run.state.beds[bed], run.days[bed]
    past = state.water[bed].depletion_mm > day.floor_frac * day.taw_mm
    if not past or bed in state.waterings or memory.said.code in NOT_GROWING:
        memory.past_floor_mono_s = None
        if state.alerts:
            run.end_alert("bed_waiting", bed)
        return
    if memory.past_floor_mono_s is None:
        memory.past_floor_mono_s = state.mono_s
    elif state.mono_s - memory.past_floor_mono_s >= WAITING_CALLS_S:
        run.raise_alert(
            "bed_waiting",
            f"{bed_name(bed)} is past its floor and gets no water: {memory.said.text}",
            bed=bed,
        )


def _judge(run: Run, bed: str, window: Window, sky: Sky) -> None:
    memory = run.state.beds[bed]
    if run.state.mono_s < memory.not_before_mono_s or _answer_stands(run, bed, window):
        return
    view = view_of(run, bed, window)
    rules = rules_of(run, bed, window)
    decision = decide(view, sky, rules)
    if rules.in_hours and decision.judged:
        if memory.judged_from_utc_s != window.from_utc_s:
            postponed = decision.reason is Reason.RAIN_COMING
            memory.postponed = memory.postponed + 1 if postponed else 0
        memory.judged_from_utc_s = window.from_utc_s
    if decision.water:
        decision = start_watering(run, view, decision, window)
    say(run, bed, decision)


def _answer_stands(run: Run, bed: str, window: Window) -> bool:
    """Whether the bed has its answer for these hours, and nothing asks for another."""
    state = run.state
    memory, day = state.beds[bed], run.days[bed]
    at_utc_s = state.at_utc_s
    if memory.judged_from_utc_s != window.from_utc_s or not window.holds(at_utc_s):
        return False
    if memory.said.code in HELD_BY_PERSON or interlock(run, bed) not in FREE_OR_FROST:
        return False
    if state.water[bed].depletion_mm <= day.floor_frac * day.taw_mm:
        return True
    return _watered(memory, window, at_utc_s, day.taw_mm * run.soils[bed].wetted_area_m2)


def say(run: Run, bed: str, decision: Decision) -> None:
    """Remember a decision; record it where its reason is a new one or it stands for the night."""
    memory = run.state.beds[bed]
    text = words(bed, decision.reason, decision.numbers)
    changed = memory.said.code != decision.reason.value
    memory.said = Said(
        code=decision.reason.value,
        text=text,
        numbers=decision.numbers,
        at_utc_s=run.state.at_utc_s,
    )
    if changed or decision.judged:
        run.note("decision", bed, decision.reason.value, text, decision.numbers)


def start_watering(run: Run, view: BedView, decision: Decision, window: Window) -> Decision:
    """Turn a yes into a watering within the budget; its pulses begin when it is their turn."""
    state, garden, bed = run.state, run.garden, view.bed
    flow_l_min = garden.beds[bed].flow_l_min
    caps = caps_of(run, bed)
    wanted_l = (decision.dose_mm or 0.0) * view.wetted_area_m2
    probe = Opening(bed=bed, want_l=wanted_l, open_s=60.0, flow_l_min=flow_l_min)
    allowed_l = allowed_now_l(probe, caps, state.ledger, run.trusted_s)
    litres = min(wanted_l, allowed_l)
    if not litres >= 0.5 * wanted_l:
        numbers = {**decision.numbers, "allowed_l": allowed_l}
        return Decision(reason=Reason.CAP_SPENT, dose_mm=None, numbers=numbers)
    no_end = decision.reason is Reason.FLOOR_PASSED or garden.garden.hours == "always"
    parts = split(litres, flow_l_min, caps.open_most_s, metered=meter_alive(run))
    slack = view.floor_frac - view.line_frac
    state.doses += 1
    state.waterings[bed] = Watering(
        watering=f"{state.epoch}-{state.doses}",
        bed=bed,
        by="policy",
        want_l=litres,
        pulses=parts.pulses,
        pulse_l=parts.pulse_l,
        pulse_s=parts.pulse_s,
        need=(view.sunrise_frac - view.line_frac) / slack if slack > 0.0 else 0.0,
        until_utc_s=None if no_end else window.to_utc_s,
        started_utc_s=state.at_utc_s,
    )
    return decision
