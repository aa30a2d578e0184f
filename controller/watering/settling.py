"""The books of a pulse: how it ends in exactly one outcome, and how a watering ends.

The ledger gets upper bounds (open seconds, litres charged), the balance the best estimate (litres
credited). What is unknown is charged in full.
"""

from __future__ import annotations

from controller.dose_lessons import watch_dose
from controller.effects import Answer, Outcome, Settle
from controller.events import LedgerEntry
from controller.proving.trend import was_alone, watch_flow
from controller.run import LEASE_S, MARGIN_S, Run
from controller.scarcity import give
from controller.sensing.care import dosed
from controller.sensing.estimate import WATER_SD_FRAC, add_water
from controller.sensing.full_point import fed
from controller.sensing.spread import begin_books
from controller.state import Pulse, Said, ValveState, Watering
from controller.watering.decision import Reason
from controller.watering.dosing import SOAK_S
from controller.watering.staged import DayDose, Staging, keep_dose
from controller.watering.supply import came_dry, water_came
from controller.watering.words import bed_name, words

SHARED_CHARGE = 1.15  # of a share of the meter, when several beds drank
UNMETERED_CHARGE = 1.1  # emitters may give a tenth more than they should: our own margin
METER_ENDS = 2.0  # pulses of the meter that may be under way at the begin and the end
METER_SD_FRAC = 0.03  # of the litres counted: garden meters, our own margin
BESIDE_SD_FRAC = 0.1  # where other water ran too: as the emitters' own margin
OPEN_LEAST_S = 1.0  # what opened at all counts as a second of flow, and rests its valve: our own
DRY_RETRY_S = 1800.0
DRY_TRIES = 3
RETRY_S = 1800.0  # after a valve or the record failed
BOOKS_LEAST_FRAC = 0.05  # of TAW: a sip begins no new books
ENDS_WATERING = frozenset(
    {"stopped", "link", "silent", "paused", "locked", "hours", "other", "fault", "master", "gone"}
    | {"down"}  # the deep probe says that the water is
    | {"missed", "supply", "pressure"}
)
SOUND_ENDS = frozenset({"litres", "time", "hours", "down"})
JUDGED_AGAIN = frozenset(
    {"link", "silent", "fault", "restart", "unrecorded", "master", "supply", "pressure"}
)


def drop(run: Run, dose: str) -> None:
    """A reservation whose pulse is gone: it was never sent."""
    run.state.ledger = [entry for entry in run.state.ledger if entry.dose != dose]
    run.out.append(
        Settle(
            dose=dose,
            outcome=Outcome.NEVER_SENT,
            open_s=0.0,
            charged_l=0.0,
            credited_l=0.0,
            ended_trusted_s=run.trusted_s,
        )
    )


def end_unsent(run: Run, watering: Watering, pulse: Pulse, by: str) -> None:
    """No lease of this pulse went out: nothing can have flowed."""
    drop(run, pulse.dose)
    watering.pulse = None
    finish(run, watering, by)


def settle(run: Run, watering: Watering, pulse: Pulse, outcome: Outcome) -> None:
    """Close the books on a pulse: ledger, balance, and what comes next."""
    state, valve = run.state, run.state.valves[pulse.valve]
    first_s = pulse.first_lease_mono_s if pulse.first_lease_mono_s is not None else state.mono_s
    open_s = max(0.0, state.mono_s - first_s)
    ended_trusted_s = run.trusted_s
    if pulse.trial:
        pulse.given_l = 0.0  # nobody knows; its probes will tell
    if outcome is Outcome.CONFIRMED:
        closed_s = valve.confirmed_closed_mono_s
        open_s = max(OPEN_LEAST_S, (closed_s if closed_s is not None else state.mono_s) - first_s)
        charged_l = _confirmed_charge_l(run, pulse, open_s)
        state.beds[pulse.bed].crashes = 0
    else:
        until_s = valve.may_flow_until_mono_s  # its water ends no later than this
        ended_trusted_s += 0.0 if until_s is None else max(0.0, until_s - state.mono_s)
        valve.closed_trusted_s = ended_trusted_s
        open_s = pulse.open_s + LEASE_S + MARGIN_S
        charged_l = max(pulse.reserved_l, pulse.given_l)
    state.ledger = [
        LedgerEntry(dose=e.dose, bed=e.bed, charged_l=charged_l, ended_trusted_s=ended_trusted_s)
        if e.dose == pulse.dose
        else e
        for e in state.ledger
    ]
    run.out.append(
        Settle(
            dose=pulse.dose,
            outcome=outcome,
            open_s=open_s,
            charged_l=charged_l,
            credited_l=pulse.given_l,
            ended_trusted_s=ended_trusted_s,
        )
    )
    if outcome is Outcome.CONFIRMED:
        _watch_flow(run, pulse, valve)
    valve.opened_mono_s = valve.confirmed_mono_s = None
    give(run, pulse.given_l if outcome is Outcome.CONFIRMED else charged_l)
    _credit(run, watering, pulse, charged_l)
    _after_pulse(run, watering, pulse)


def _watch_flow(run: Run, pulse: Pulse, valve: ValveState) -> None:
    """A pulse that drank alone, by the meter, tells how well its emitters still give."""
    opened_s, closed_s = valve.confirmed_mono_s, valve.confirmed_closed_mono_s
    alone = not (pulse.shared or pulse.beside)
    if pulse.metered and alone and opened_s is not None and closed_s is not None:
        watch_flow(run, pulse.bed, pulse.given_l, closed_s - opened_s)
        was_alone(run, pulse.bed, closed_s - opened_s)


def _confirmed_charge_l(run: Run, pulse: Pulse, open_s: float) -> float:
    """The most that a pulse with a proven end can have given [L]."""
    if pulse.by_time:
        return max(pulse.reserved_l, pulse.given_l)
    nominal_l = run.garden.beds[pulse.bed].flow_l_min * open_s / 60.0
    meter = run.garden.supply.meter
    if not pulse.metered or meter is None or pulse.beside:  # the count is not the bed's alone
        return max(min(UNMETERED_CHARGE * nominal_l, pulse.reserved_l), pulse.given_l)
    factor = SHARED_CHARGE if pulse.shared else 1.0
    uncounted_l = METER_ENDS * run.garden.meters[meter].litres_per_pulse
    return max(min(nominal_l, pulse.reserved_l), factor * pulse.given_l + uncounted_l)


def _credit(run: Run, watering: Watering, pulse: Pulse, charged_l: float) -> None:
    area_m2 = run.soils[pulse.bed].wetted_area_m2
    water = run.state.water[pulse.bed]
    at_utc_s = run.state.at_utc_s
    lesson = run.state.beds[pulse.bed].lesson
    depth_mm = lesson.efficiency_frac * pulse.given_l / area_m2
    sd_mm = depth_mm * (BESIDE_SD_FRAC if pulse.beside else METER_SD_FRAC)
    fed(water, depth_mm, sd_mm, run.state.beds[pulse.bed].told_m3_m3, at_utc_s)
    add_water(water, depth_mm, WATER_SD_FRAC, at_utc_s)
    if pulse.beside:  # nobody knows what came: no probe is judged by it
        run.state.trials.pop(pulse.bed, None)
    else:
        dosed(run.state.trials, pulse.bed, depth_mm, watering.started_utc_s, at_utc_s)
    run.state.litres += pulse.given_l
    run.state.beds[pulse.bed].given_hour_l += pulse.given_l
    watering.given_l += pulse.given_l
    watering.charged_l += charged_l
    watering.pulse = None


def _after_pulse(run: Run, watering: Watering, pulse: Pulse) -> None:
    if pulse.ended_by == "dry":
        _after_dry(run, watering, pulse)
        return
    if pulse.metered and pulse.given_l > 0.0 and pulse.ended_by != "pressure":
        water_came(run)
        if pulse.ended_by in SOUND_ENDS:
            run.state.beds[pulse.bed].frosted = False
    if pulse.given_l > 0.0 and not pulse.beside:
        run.end_alert("valve_stuck_closed", pulse.bed, pulse.valve)
    if pulse.ended_by != "silent" and run.state.valves[pulse.valve].state == "closed":
        run.end_alert("valve_silent", pulse.bed, pulse.valve)
    watering.done += 1
    watering.next_mono_s = run.state.mono_s + SOAK_S
    if pulse.ended_by in ENDS_WATERING or watering.proof:
        finish(run, watering, pulse.ended_by)
    elif watering.done >= watering.pulses:
        finish(run, watering, "done")


def _after_dry(run: Run, watering: Watering, pulse: Pulse) -> None:
    """A pulse without a litre: its valve is tried again, or the supply is gone."""
    if watering.proof:  # its own books say it
        finish(run, watering, "dry")
        return
    watering.dry_tries += 1
    if came_dry(run, pulse.bed):
        for bed in [one.bed for one in run.state.waterings.values() if not one.trial]:
            cut(run, bed, "supply")
        return
    run.raise_alert(
        "valve_stuck_closed",
        f"No water came when the valve of {bed_name(pulse.bed)} opened. Look at tap, filter "
        "and valve.",
        bed=pulse.bed,
        valve=pulse.valve,
    )
    watering.next_mono_s = run.state.mono_s + DRY_RETRY_S
    if watering.dry_tries >= DRY_TRIES:
        finish(run, watering, "dry")


def finish(run: Run, watering: Watering, by: str) -> None:
    """A watering ends: remember it, say it, and let a bed that got too little be judged again."""
    state = run.state
    state.waterings.pop(watering.bed, None)
    if watering.order and by not in {"unrecorded", "restart"}:
        _never_began(run, watering, by)
    run.nudge = True  # its reason is told anew
    if watering.proof:
        state.proving.ended_by = by
        return
    memory = state.beds[watering.bed]
    if watering.given_l > 0.0:
        memory.last_watering_utc_s = state.at_utc_s
        memory.last_watering_l = watering.given_l
        dose = DayDose(from_utc_s=watering.started_utc_s, litres=watering.given_l)
        memory.day_doses = keep_dose(memory.day_doses, dose)
        taw_l = state.days[watering.bed].taw_mm * run.soils[watering.bed].wetted_area_m2
        if watering.given_l >= BOOKS_LEAST_FRAC * taw_l:
            begin_books(state.water[watering.bed])
        watch_dose(run, watering)
    if by == "down" or watering.given_l >= 0.5 * watering.want_l:
        memory.past_floor_mono_s = None  # it drank: a wait from here on is another
        memory.staging = _staging_after(watering, by, state.at_utc_s)
    if watering.given_l < 0.5 * watering.want_l and (by in JUDGED_AGAIN or watering.trial):
        memory.judged_from_utc_s = None
        if by in {"silent", "fault", "master"}:
            memory.not_before_mono_s = max(memory.not_before_mono_s, state.mono_s + RETRY_S)
        run.nudge = True
    numbers = {"given_l": watering.given_l, "want_l": watering.want_l, "pulses": watering.done}
    name = bed_name(watering.bed)
    text = f"{name} got {watering.given_l:.0f} of {watering.want_l:.0f} L."
    if by == "hours":
        text = words(watering.bed, Reason.NIGHT_OVER, numbers)
    elif by == "down":
        text += " Its deep probe has risen to full: the rest is not needed."
    run.note("watering", watering.bed, by, text, {k: float(v) for k, v in numbers.items()})


def _never_began(run: Run, watering: Watering, by: str) -> None:
    """A person's watering that ended before its record was on disk: say so."""
    order, watering.order = watering.order, ""
    text = f"{bed_name(watering.bed)} got nothing: it ended before it could be recorded."
    run.out.append(Answer(order=order, status="refused", reason=by, text=text))


def put_off(run: Run, watering: Watering) -> None:
    """A watering that would only be a sip does not begin; its bed comes first in the next hours."""
    state, bed = run.state, watering.bed
    state.waterings.pop(bed, None)
    run.nudge = True
    numbers = {"want_l": watering.want_l, "least_l": watering.least_l}
    code, text = Reason.NIGHT_SHORT.value, words(bed, Reason.NIGHT_SHORT, numbers)
    state.beds[bed].said = Said(code=code, text=text, numbers=numbers, at_utc_s=state.at_utc_s)
    run.note("decision", bed, code, text, numbers)


def _staging_after(watering: Watering, by: str, at_utc_s: float) -> Staging | None:
    """What is left of a staged refill: a stage more is done; any other watering ends it."""
    if watering.stage >= watering.stages or by == "down":
        return None
    return Staging(done=watering.stage, lacked_frac=watering.stages_lacked_frac, at_utc_s=at_utc_s)


def cut(run: Run, bed: str, by: str) -> None:
    """End a bed's watering now: close, and keep the books of the pulse that ran.

    Args:
        run: the engine's working set.
        bed: whose.
        by: what ended it: `stopped`, `paused`, `locked`, `link`, `other`, `fault`, `gone`,
            `supply`, `pressure`.
    """
    watering = run.state.waterings.get(bed)
    if watering is None:
        return
    pulse = watering.pulse
    if pulse is None:
        finish(run, watering, by)
    elif pulse.phase == "reserving":
        watering.pulse = None
        finish(run, watering, by)
    elif pulse.phase in {"master", "gate"}:
        end_unsent(run, watering, pulse, by)
    else:
        if pulse.phase == "running":
            run.close(pulse.valve, pulse.dose)
            pulse.phase = "closing"
            pulse.since_mono_s = run.state.mono_s
        pulse.ended_by = by
        if by in {"link", "gone"}:
            valve = run.state.valves[pulse.valve]
            if valve.state != "closed":  # what its node said before still holds
                valve.state = "unknown"
            settle(run, watering, pulse, Outcome.ASSUMED_FULL)


def end_interrupted(run: Run, watering: Watering, given_l: float) -> None:
    """A watering that an ended process left behind: the balance gets what was counted.

    Args:
        run: the engine's working set.
        watering: what ran.
        given_l: litres counted in the pulse under way [L].
    """
    area_m2 = run.soils[watering.bed].wetted_area_m2
    give(run, given_l if watering.pulse is None else max(given_l, watering.pulse.reserved_l))
    add_water(run.state.water[watering.bed], given_l / area_m2, WATER_SD_FRAC, run.state.at_utc_s)
    watering.given_l += given_l
    watering.pulse = None
    finish(run, watering, "restart")


def cut_all(run: Run, by: str) -> None:
    """End every watering now."""
    for bed in list(run.state.waterings):
        cut(run, bed, by)
