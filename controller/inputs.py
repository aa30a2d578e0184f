"""What messages change: readings, valve reports, the meter's total, the link.

Each handler takes the run and one event; what it leads to is in `run.out`.
"""

from __future__ import annotations

from controller.events import (
    ForeignController,
    LinkDown,
    LinkUp,
    ValveReport,
    WeatherReading,
)
from controller.run import LEASE_S, MARGIN_S, Run
from controller.sensing import sky
from controller.state import ValveState
from controller.watering.guard import may_flow
from controller.watering.settling import cut, cut_all

CONTRACT = 1
BUDGET_LOST_S = 86_400.0
NONCE_LIFE_S = 45.0  # a lease sent this long ago is refused by every node
SILENT_S = 120.0  # an idle valve is news once a minute: one that speaks after this was away
NEW_UP_S = 3600.0
EPOCH_AHEAD_MOST = 2**20  # runs that no record tells of: more there cannot have been


def weather_reading(run: Run, event: WeatherReading) -> None:
    """A mast spoke."""
    state = run.state
    state.sky.rain_due_mm += sky.hear(state.sky, event)
    run.end_alert("mast_silent", event.mast)


def valve_report(run: Run, event: ValveReport) -> None:
    """A valve node says what it is: evidence, or a claim that does not fit."""
    state = run.state
    valve = state.valves.get(event.valve)
    if valve is None or _overtaken(valve, event):
        return
    bed = run.valve_beds.get(event.valve)
    if valve.heard_mono_s is not None and state.mono_s - valve.heard_mono_s > SILENT_S:
        run.end_alert("valve_silent", *(part for part in (bed, event.valve) if part))
    unseen = _tells_unknown_opening(run, valve, event)
    valve.heard_mono_s, valve.boot, valve.contract = state.mono_s, event.boot, event.contract
    valve.heard_epoch, valve.heard_seq = event.epoch, event.seq
    _hear_epoch(run, event)
    if event.contract != CONTRACT:
        _refuse_contract(run, event)
    if event.open:
        _says_open(run, event)
    else:
        _says_closed(run, event)
        if unseen:
            valve.closed_trusted_s = run.trusted_s


def _tells_unknown_opening(run: Run, valve: ValveState, event: ValveReport) -> bool:
    """Whether a node took a permission that is not of this run, and that it had not told before.

    A stranger's, with the daemon away or deaf: nobody saw when that opening ended. For an engine
    that begins anew every permission is one, except none at all.
    """
    told = (event.epoch, event.seq)
    ours = valve.lease_mono_s is not None and told <= (run.state.epoch, valve.sent_seq)
    return told > (valve.heard_epoch, valve.heard_seq) and not ours


def _refuse_contract(run: Run, event: ValveReport) -> None:
    text = (
        f"The node of valve {event.valve} speaks contract {event.contract}, not {CONTRACT}. "
        "It is never opened. Bring its firmware up to date."
    )
    _refuse_node(run, event, text)


def _refuse_node(run: Run, event: ValveReport, text: str) -> None:
    """A node at fault: its valve is never opened until a person has looked; the others go on."""
    bed = run.valve_beds.get(event.valve)
    if bed is not None:
        cut(run, bed, "fault")
    elif run.state.valves[event.valve].opened_mono_s is not None:
        cut_all(run, "fault")
        run.close(event.valve)
    run.raise_alert("node_contract", text, bed=bed, valve=event.valve, person=True)


def _overtaken(valve: ValveState, event: ValveReport) -> bool:
    """Whether the node has told something newer in this boot already."""
    older = (event.epoch, event.seq) < (valve.heard_epoch, valve.heard_seq)
    return older and event.boot == valve.boot


def _believable(run: Run, epoch: int) -> bool:
    """Whether so many runs can have been: a node's kept number that went bad is no run's."""
    state = run.state
    return epoch <= (state.epoch if state.ready else state.stored_epoch) + EPOCH_AHEAD_MOST


def _hear_epoch(run: Run, event: ValveReport) -> None:
    state = run.state
    if not _believable(run, event.epoch):
        text = (
            f"The node of valve {event.valve} tells of run {event.epoch}, which there cannot have "
            "been: what it keeps is damaged. It is never opened. Reset what it keeps (README of "
            "the node), then lift this."
        )
        _refuse_node(run, event, text)
        return
    if not state.ready:
        state.heard_epoch = max(state.heard_epoch, event.epoch)
        if (event.epoch, event.seq) > (state.stored_epoch, state.stored_seq):
            lost_history(run)
    elif (event.epoch, event.seq) > (state.epoch, state.seq):
        _foreign(run, event.epoch)


def lost_history(run: Run) -> None:
    """Some water may be unknown: the budget counts as spent for a day."""
    state = run.state
    state.budget_spent_until_trusted_s = run.trusted_s + BUDGET_LOST_S  # an old copy may hold one
    run.raise_alert(
        "history_lost",
        "The record does not reach back: some water may be unknown. Nothing is watered for a day "
        "unless a person vouches that the budget is not spent.",
        person=True,
    )


def foreign_controller(run: Run, event: ForeignController) -> None:
    """Another run spoke on the wire: an earlier one of ours, or a controller beside us."""
    state = run.state
    if not state.ready:
        if _believable(run, event.epoch):
            state.heard_epoch = max(state.heard_epoch, event.epoch)
        if event.epoch > state.stored_epoch:
            lost_history(run)
    elif event.epoch >= state.epoch:
        _foreign(run, event.epoch)


def _foreign(run: Run, epoch: int) -> None:
    state = run.state
    if state.foreign:
        return
    state.foreign = run.nudge = True
    cut_all(run, "other")
    run.close_all()
    run.raise_alert(
        "other_controller",
        f"Another controller (epoch {epoch}) speaks to these valves. This one opens nothing more; "
        "stop one of the two and restart the other.",
        person=True,
    )


def _says_open(run: Run, event: ValveReport) -> None:
    state = run.state
    valve = state.valves[event.valve]
    if valve.opened_mono_s is not None and valve.state in {"opening", "open"}:
        if event.dose == valve.dose or valve.state == "open":
            valve.state = "open"
            if valve.confirmed_mono_s is None:
                valve.confirmed_mono_s = state.mono_s
        return
    run.close(event.valve, event.dose)
    valve.state = "told_to_close"
    if valve.against_mono_s is None:
        valve.against_mono_s = state.mono_s
    held_s = state.mono_s - valve.against_mono_s
    if held_s <= LEASE_S + MARGIN_S:
        valve.may_flow_until_mono_s = state.mono_s + min(LEASE_S, event.left_s) + MARGIN_S
        return
    bed = run.valve_beds.get(event.valve)  # no lease can hold it any more: it stands open by itself
    valve.may_flow_until_mono_s = None
    cut_all(run, "fault")
    run.close_all()
    run.raise_alert(
        "valve_stuck_open",
        f"Valve {event.valve} says that it is open although it was told to close and every "
        "permission has run out. Shut the hand valve and look.",
        bed=bed,
        valve=event.valve,
        person=True,
    )


def _says_closed(run: Run, event: ValveReport) -> None:
    state = run.state
    valve = state.valves[event.valve]
    if valve.state == "opening" or valve.state == "closed":
        return  # told before the lease reached it, or nothing new
    if not _stays_closed(run, valve, event):
        if valve.state == "open":
            run.close(event.valve, valve.dose)
        return
    unasked = valve.against_mono_s is not None
    flowed = valve.state == "open" or valve.opened_mono_s is not None or unasked
    valve.state = "closed"
    valve.against_mono_s = None
    valve.may_flow_until_mono_s = None
    valve.confirmed_closed_mono_s = state.mono_s
    if flowed:
        valve.closed_trusted_s = run.trusted_s
    run.note("valve", run.valve_beds.get(event.valve), "closed", f"{event.valve} says closed.")


def _stays_closed(run: Run, valve: ValveState, event: ValveReport) -> bool:
    """Whether no lease can still be on its way to a valve that says closed."""
    if valve.lease_mono_s is None:
        return True
    arrived = (event.epoch, event.seq) >= (run.state.epoch, valve.sent_seq)
    return arrived or run.state.mono_s - valve.lease_mono_s >= NONCE_LIFE_S


def link_up(run: Run, event: LinkUp) -> None:
    """Contact: decisions rest on what is heard from now on."""
    del event
    state = run.state
    state.link_up = True
    state.link_mono_s = state.mono_s
    run.end_alert("link_lost")
    run.nudge = True
    if state.ready:
        for valve in state.valves:
            if not may_flow(run, valve) and state.valves[valve].state != "closed":
                run.close(valve)


def link_down(run: Run, event: LinkDown) -> None:
    """No contact: every dose ends here and is charged in full; nothing resumes by itself."""
    del event
    state = run.state
    if not state.link_up:
        return
    state.link_up = False
    cut_all(run, "link")
    if run.master is not None:
        run.close(run.master)  # told again until it confirms, once there is a link
    for valve in state.valves.values():
        if valve.state in {"open", "opening", "told_to_close"}:
            valve.state = "unknown"
        valve.opened_mono_s = valve.confirmed_mono_s = None
    run.nudge = True
    run.raise_alert(
        "link_lost", "No contact with the broker. Open valves close by themselves within minutes."
    )
