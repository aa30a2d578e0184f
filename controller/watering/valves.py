"""Water on the move: from a watering's next pulse to leases, closes and the ledger.

One pulse goes through `reserving` (the record is being synced), `master` (the master valve opens
first), `running` (leased, renewed) and `closing` (told to close, waiting for evidence), and ends in
exactly one outcome. A valve is open only while leases keep coming; closing needs nothing.
The leases themselves and the master valve: `leasing`.
"""

from __future__ import annotations

import math

from controller.dose_lessons import is_down
from controller.effects import Outcome, Reserve
from controller.events import LedgerEntry
from controller.run import ACK_S, LEASE_S, MARGIN_S, RENEW_S, Run
from controller.state import Pulse, Watering
from controller.watering.dosing import in_turn
from controller.watering.guard import interlock, permit_pulse
from controller.watering.leasing import edge_free, fits_master, keep_master, lease
from controller.watering.limits import EDGE_GAP_S, Refused, counts
from controller.watering.night_plan import begins_in_vain, least_s
from controller.watering.pulse_ends import DRY_AFTER_S, ended_by_now, fell_silent, master_gone
from controller.watering.settling import drop, end_unsent, finish, put_off, settle
from controller.watering.words import bed_name

MASTER_LEAD_S = 5.0
SETTLE_WAIT_S = 12.0  # for the meter's last word after a confirmed close
RECORD_WAIT_S = 60.0
FIRST_LEASE_WITHIN_S = 5.0
PASSING = frozenset({Refused.BUSY, Refused.SUPPLY, Refused.RESTING})  # worth waiting for


def begin_pulse(run: Run, watering: Watering) -> Refused | None:
    """Reserve the next pulse of a watering, if the guard permits.

    Args:
        run: the engine's working set.
        watering: whose turn it is.

    Returns:
        None where a reservation went to the record, else why not.
    """
    want_l, open_s = watering.pulse_l, watering.pulse_s
    verdict = permit_pulse(run, watering.bed, want_l, open_s, watering.charged_l, watering.proof)
    if not verdict.permitted:
        return verdict.refused or Refused.NOT_FINITE
    _reserve(run, watering, verdict.reserved_l)
    return None


def _reserve(run: Run, watering: Watering, reserved_l: float) -> None:
    """Charge the most that this pulse could deliver, and ask for it to be written down."""
    state, bed = run.state, run.garden.beds[watering.bed]
    watering.tries += 1  # a dose's name never comes twice
    dose = watering.watering if watering.tries == 1 else f"{watering.watering}.{watering.tries}"
    leases = 2 * (math.ceil(watering.pulse_s / RENEW_S) + 8)
    state.seq_high = max(state.seq_high, state.seq) + leases
    watering.pulse = Pulse(
        dose=dose,
        bed=watering.bed,
        valve=bed.valve,
        want_l=watering.pulse_l,
        open_s=watering.pulse_s,
        reserved_l=reserved_l,
        since_mono_s=state.mono_s,
        metered=meter_alive(run) and not watering.trial,
        by_time=watering.trial or run.state.meter.dead.found,
        trial=watering.trial,
    )
    state.ledger = [entry for entry in state.ledger if counts(entry, run.trusted_s)]
    state.ledger.append(
        LedgerEntry(dose=dose, bed=watering.bed, charged_l=reserved_l, ended_trusted_s=None)
    )
    run.out.append(
        Reserve(
            dose=dose,
            watering=watering.watering,
            bed=watering.bed,
            valve=bed.valve,
            by=watering.by,
            from_utc_s=state.at_utc_s,
            open_s=watering.pulse_s + LEASE_S + MARGIN_S,
            reserved_l=reserved_l,
            want_l=watering.pulse_l,
            epoch=state.epoch,
            seq_high=state.seq_high,
            trusted_s=run.trusted_s,
        )
    )


def meter_alive(run: Run) -> bool:
    """Whether the garden has a meter that counts and spoke in the last three minutes."""
    heard_s = run.state.meter.mono_s
    if run.garden.supply.meter is None or heard_s is None or run.state.meter.dead.found:
        return False
    return heard_s >= run.state.link_mono_s and run.state.mono_s - heard_s <= 180.0


def recorded(run: Run, dose: str) -> Watering | None:
    """The record has this reservation: let its pulse go on to the valves."""
    watering = _watering_of(run, dose)
    if watering is None or watering.pulse is None:
        if any(e.dose == dose and e.ended_trusted_s is None for e in run.state.ledger):
            drop(run, dose)
        return None
    pulse = watering.pulse
    if pulse.phase != "reserving":
        return None  # said twice
    pulse.phase = "master"
    pulse.since_mono_s = run.state.mono_s
    return watering


def unrecorded(run: Run, dose: str) -> Watering | None:
    """The record could not take this reservation: nothing opens."""
    watering = _watering_of(run, dose)
    run.state.ledger = [entry for entry in run.state.ledger if entry.dose != dose]
    if watering is not None:
        watering.pulse = None
        finish(run, watering, "unrecorded")
    return watering


def _watering_of(run: Run, dose: str) -> Watering | None:
    for watering in run.state.waterings.values():
        if watering.pulse is not None and watering.pulse.dose == dose:
            return watering
    return None


def drive(run: Run) -> None:
    """Carry every watering on by what time and reports have brought."""
    if run.state.waterings:
        _drive_waterings(run)
    keep_master(run)


def _drive_waterings(run: Run) -> None:
    waterings = run.state.waterings
    for watering in list(waterings.values()):
        if watering.pulse is not None:
            _step_pulse(run, watering, watering.pulse)
    for watering in waterings.values():
        if watering.pulse is None:
            _next_pulses(run)
            return


def _next_pulses(run: Run) -> None:
    state = run.state
    for watering in in_turn(state.waterings, state.mono_s):
        if _pulse_pending(run):
            return  # one valve after the other
        if watering.done and is_down(run, watering):
            finish(run, watering, "down")
            continue
        if not _within_hours(run, watering):
            continue
        if not (fits_master(run, watering.pulse_s) and edge_free(run)):
            continue
        refused = begin_pulse(run, watering)
        if refused in {Refused.BED_CAP, Refused.SITE_CAP, Refused.DOSE_CAP, Refused.STARTS}:
            finish(run, watering, "cap")
        elif refused is not None and refused not in PASSING:
            finish(run, watering, "fault")  # what forbids it now may last: decide anew after it


def _within_hours(run: Run, watering: Watering) -> bool:
    """Whether the hours have room for its next pulse, cut to what is left of them."""
    until_s = watering.until_utc_s
    if until_s is None:
        return True
    left_s = until_s - run.state.at_utc_s
    if _is_sip(watering, left_s):
        put_off(run, watering)
        return False
    if watering.until_utc_s is None:  # a floor in danger
        return True
    if not left_s > DRY_AFTER_S:
        finish(run, watering, "hours")
        return False
    if watering.pulse_s > left_s:
        watering.pulse_l *= left_s / watering.pulse_s
        watering.pulse_s = left_s
    return True


def _is_sip(watering: Watering, left_s: float) -> bool:
    """Whether too little of the hours is left to begin; a floor in danger breaks them instead."""
    if watering.done or watering.given_l > 0.0 or not watering.least_l > 0.0:
        return False
    needs_s = least_s(watering.least_l, watering.pulse_l, watering.pulse_s)
    if not begins_in_vain(needs_s, left_s, watering.night_s):
        return False
    if not watering.endangered:
        return True
    pulses = math.ceil(watering.least_l / watering.pulse_l - 1e-9)
    share = watering.least_l / pulses / watering.pulse_l
    watering.pulses, watering.want_l, watering.until_utc_s = pulses, watering.least_l, None
    watering.pulse_l, watering.pulse_s = share * watering.pulse_l, share * watering.pulse_s
    return False


def _pulse_pending(run: Run) -> bool:
    """Whether a pulse is on its way to its first lease."""
    return any(
        watering.pulse is not None and watering.pulse.phase in {"reserving", "master"}
        for watering in run.state.waterings.values()
    )


def _step_pulse(run: Run, watering: Watering, pulse: Pulse) -> None:
    if pulse.phase == "running":  # as nearly always
        _run_pulse(run, watering, pulse)
    elif pulse.phase == "reserving":
        if run.state.mono_s - pulse.since_mono_s > run.arrival_s(RECORD_WAIT_S):
            watering.pulse = None  # `recorded` will find nobody and settle it as never sent
            run.state.can_record = False
            run.raise_alert("cannot_record", "The record does not answer, so nothing opens.")
            finish(run, watering, "fault")
    elif pulse.phase == "master":
        _wait_for_master(run, watering, pulse)
    elif pulse.phase == "gate":
        _hold_gate(run, watering, pulse)
    else:
        _await_close(run, watering, pulse)


def _wait_for_master(run: Run, watering: Watering, pulse: Pulse) -> None:
    state, now_s = run.state, run.state.mono_s
    late = now_s - pulse.since_mono_s > run.arrival_s(RECORD_WAIT_S)
    if late or interlock(run, pulse.bed, watering.proof) is not None:
        end_unsent(run, watering, pulse, "fault")
        return
    if run.master is None or watering.proof == "shut":
        if edge_free(run):
            _first_lease(run, watering, pulse)
        return
    master = state.valves[run.master]
    if master.opened_mono_s is None:
        if now_s - pulse.since_mono_s > run.arrival_s(FIRST_LEASE_WITHIN_S):
            drop(run, pulse.dose)
            watering.pulse = None  # its turn comes again, with a reservation of its own
        elif edge_free(run):
            lease(run, run.master, pulse.dose, LEASE_S)
    elif master.confirmed_mono_s is None:
        if now_s - master.opened_mono_s > run.arrival_s(ACK_S):
            _call_for_master(run)
            end_unsent(run, watering, pulse, "silent")
    elif now_s - master.opened_mono_s >= MASTER_LEAD_S and edge_free(run):
        run.end_alert("valve_silent", run.master)
        _behind_master(run, watering, pulse)


def _behind_master(run: Run, watering: Watering, pulse: Pulse) -> None:
    """The master is open: now the bed, unless the master alone is looked at."""
    if watering.proof == "gate":
        pulse.phase, pulse.since_mono_s = "gate", run.state.mono_s
    else:
        _first_lease(run, watering, pulse)


def _hold_gate(run: Run, watering: Watering, pulse: Pulse) -> None:
    """The master alone is open: until it is proved, or something ends it."""
    ended_by = ""
    if run.master is None or master_gone(run):
        ended_by = "master"
    elif interlock(run, pulse.bed, watering.proof) is not None:
        ended_by = "fault"
    elif run.state.mono_s - pulse.since_mono_s >= pulse.open_s:
        ended_by = "time"
    if ended_by:
        end_unsent(run, watering, pulse, ended_by)


def _first_lease(run: Run, watering: Watering, pulse: Pulse) -> None:
    valve = run.state.valves[pulse.valve]
    valve.opened_mono_s = None
    if not lease(run, pulse.valve, pulse.dose, pulse.open_s):
        end_unsent(run, watering, pulse, "link")
        return
    pulse.phase = "running"
    pulse.since_mono_s = run.state.mono_s
    pulse.first_lease_mono_s = run.state.mono_s
    run.state.meter.idle_gain_l = run.state.meter.idle_up_s = 0.0
    if watering.done == 0 and watering.dry_tries == 0 and not watering.proof:
        run.state.waterings_started += 1


def _run_pulse(run: Run, watering: Watering, pulse: Pulse) -> None:
    state, valve = run.state, run.state.valves[pulse.valve]
    now_s = state.mono_s
    ended_by = ended_by_now(run, watering, pulse, valve)
    if ended_by in {"litres", "time", "hours", "down"} and not edge_free(run):
        if pulse.due_mono_s is None:
            pulse.due_mono_s = now_s
        if now_s - pulse.due_mono_s < EDGE_GAP_S:
            ended_by = ""  # a planned edge waits its 5 s, no more
    if ended_by:
        pulse.ended_by = ended_by
        pulse.phase = "closing"
        pulse.since_mono_s = now_s
        if valve.state != "closed":
            run.close(pulse.valve, pulse.dose)
        if ended_by == "silent" and fell_silent(run, pulse) == [run.master]:
            _call_for_master(run)
        elif ended_by == "silent":
            _call_for_silent(run, pulse)
        return
    if valve.lease_mono_s is not None and now_s - valve.lease_mono_s >= RENEW_S:
        elapsed_s = now_s - (pulse.first_lease_mono_s or now_s)
        lease(run, pulse.valve, pulse.dose, pulse.open_s - elapsed_s)


def _await_close(run: Run, watering: Watering, pulse: Pulse) -> None:
    state, valve = run.state, run.state.valves[pulse.valve]
    waited_s = state.mono_s - pulse.since_mono_s
    if valve.state == "closed":
        meter_s = state.meter.mono_s
        told = meter_s is not None and meter_s > pulse.since_mono_s + 1.0
        if told or not pulse.metered or waited_s >= run.arrival_s(SETTLE_WAIT_S):
            settle(run, watering, pulse, Outcome.CONFIRMED)
    elif waited_s >= LEASE_S + MARGIN_S:
        _call_for_silent(run, pulse)
        settle(run, watering, pulse, Outcome.ASSUMED_FULL)


def _call_for_master(run: Run) -> None:
    text = "The master valve does not answer. Nothing is watered. Look at its node."
    run.raise_alert("valve_silent", text, valve=run.master)


def _call_for_silent(run: Run, pulse: Pulse) -> None:
    run.raise_alert(
        "valve_silent",
        f"The valve of {bed_name(pulse.bed)} does not answer. It was told to close and closes by "
        "itself within minutes; look at its node, and whether it is shut.",
        bed=pulse.bed,
        valve=pulse.valve,
    )
