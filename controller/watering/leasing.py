"""Leases on the air, and the master valve: it opens first, closes last, and rests in between.

The master opens 5 s or more before a bed and closes 20 s after the last one.
"""

from __future__ import annotations

import math

from controller.effects import Lease
from controller.run import LEASE_S, MARGIN_S, RENEW_S, Run
from controller.watering.guard import STARTED_STATES, may_flow
from controller.watering.limits import EDGE_GAP_S, OPEN_MOST_S

MASTER_LAG_S = 20.0  # the gap that tests for a bed valve stuck open
MASTER_REST_S = 60.0
NEEDS_MASTER = frozenset({"master", "gate", "running"})
CONFIRM_S = 5.0  # the master waits no longer for a bed valve's word: 30 s after it in all


def edge_free(run: Run) -> bool:
    """Whether no planned valve edge fell in the last 5 s."""
    now_s = run.state.mono_s
    for valve in run.state.valves.values():
        edge_s = valve.edge_mono_s
        if edge_s is not None and not now_s - edge_s >= EDGE_GAP_S:
            return False
    return True


def lease(run: Run, valve_id: str, dose: str, left_s: float) -> bool:
    """Send one lease inside the reserved sequence; never longer than what is left."""
    state = run.state
    open_s = min(LEASE_S, math.ceil(left_s))
    if not (state.ready and state.link_up and open_s >= 1 and state.seq < state.seq_high):
        return False
    valve = state.valves[valve_id]
    state.seq += 1
    run.out.append(
        Lease(valve=valve_id, open_s=open_s, dose=dose, epoch=state.epoch, seq=state.seq)
    )
    valve.lease_mono_s, valve.sent_seq = state.mono_s, state.seq
    valve.may_flow_until_mono_s = state.mono_s + LEASE_S + MARGIN_S
    valve.dose = dose
    if valve.opened_mono_s is None:
        valve.opened_mono_s = state.mono_s
        valve.confirmed_mono_s = None
        valve.edge_mono_s = state.edge_mono_s = state.mono_s
        valve.state = "opening"
    return True


def fits_master(run: Run, pulse_s: float) -> bool:
    """Whether the master's unbroken opening still has room for a pulse."""
    if run.master is None:
        return True
    master = run.state.valves[run.master]
    now_s = run.state.mono_s
    if master.opened_mono_s is not None:
        return now_s - master.opened_mono_s + pulse_s + LEASE_S <= OPEN_MOST_S
    rested_s = master.closed_trusted_s
    return rested_s is None or run.trusted_s - rested_s >= MASTER_REST_S


def _just_closing(run: Run, valve_id: str) -> bool:
    """Whether a bed valve was told to close a moment ago and has not confirmed it."""
    edge_s = run.state.valves[valve_id].edge_mono_s
    recent = edge_s is not None and run.state.mono_s - edge_s <= CONFIRM_S
    return recent and may_flow(run, valve_id)


def _needs_master(run: Run) -> bool:
    """Whether a pulse waits for the master or runs behind it."""
    for watering in run.state.waterings.values():
        pulse = watering.pulse
        if watering.proof != "shut" and pulse is not None and pulse.phase in NEEDS_MASTER:
            return True
    return False


def keep_master(run: Run) -> None:
    """Renew the master while a bed needs it; close it some time after the last one."""
    if run.master is None:
        return
    state, master = run.state, run.state.valves[run.master]
    if master.opened_mono_s is None:
        return
    now_s = state.mono_s
    if master.state not in STARTED_STATES:
        run.close(run.master)  # it closed by itself: what drinks ends
        return
    needed = _needs_master(run)
    if needed or any(_just_closing(run, bed.valve) for bed in run.garden.beds.values()):
        master.needed_mono_s = now_s
    opened_for_s = now_s - master.opened_mono_s
    over = not needed and now_s - (master.needed_mono_s or now_s) >= MASTER_LAG_S
    if (over and edge_free(run)) or opened_for_s >= OPEN_MOST_S:
        run.close(run.master)
    elif master.lease_mono_s is not None and now_s - master.lease_mono_s >= RENEW_S:
        lease(run, run.master, master.dose, OPEN_MOST_S - opened_for_s)
