"""What the guard is told: the engine's state put before the one pure function `limits.permit`.

Everything that opens a valve comes through here, whoever asks.
"""

from __future__ import annotations

from controller.effects import Alert
from controller.proving.arming import armed, at_work
from controller.run import Run
from controller.watering.frost import too_cold
from controller.watering.limits import (
    Caps,
    Opening,
    Refused,
    Situation,
    Verdict,
    permit,
)

LATCHING = frozenset({"burst", "leak", "valve_stuck_open", "node_contract", "crash_loop"}) | {
    "master_failed",
    "pressure_high",
}
STARTED_STATES = frozenset({"opening", "open"})


def may_flow(run: Run, valve_id: str) -> bool:
    """Whether a valve is open or possibly open."""
    valve = run.state.valves[valve_id]
    if valve.state in STARTED_STATES:
        return True
    until_s = valve.may_flow_until_mono_s
    return valve.state != "closed" and until_s is not None and run.state.mono_s < until_s


def latched(run: Run, bed: str) -> bool:
    """Whether an alert that only a person may lift keeps this bed shut."""
    alerts = run.state.alerts
    return bool(alerts) and any(
        alert.code in LATCHING and _keeps_shut(run, alert, bed) for alert in alerts.values()
    )


def _keeps_shut(run: Run, alert: Alert, bed: str) -> bool:
    """Whether a latch is this bed's; one of a bed that has another name now goes by its valve."""
    if alert.bed is None or alert.bed == bed:
        return True
    by_valve = run.valve_beds.get(alert.valve or "")
    return by_valve == bed or (by_valve is None and alert.bed not in run.garden.beds)


def interlock(run: Run, bed: str, proof: str = "") -> Refused | None:
    """The first thing that forbids any opening of this bed; None where nothing does.

    Args:
        run: the engine's working set.
        bed: whose valve.
        proof: what a walk or a weekly proof opens it for; empty for water.
    """
    state = run.state
    if not proof and not armed(run, bed):
        return Refused.NOT_ARMED
    if run.state.meter.fall.suspects or (not proof and at_work(run)):
        return Refused.PROVING
    if state.lock_why is not None:
        return Refused.LOCKED
    if state.foreign:
        return Refused.OTHER_CONTROLLER
    if not state.can_record:
        return Refused.CANNOT_RECORD
    if not state.ready:
        return Refused.QUIET_START
    if not state.link_up:
        return Refused.LINK_LOST
    if latched(run, bed):
        return Refused.VALVE_LATCHED
    return Refused.FROST if too_cold(run, bed) else None


def caps_of(run: Run, bed: str) -> Caps:
    """The limits in force for a bed; worked out once for a garden file."""
    caps = run.caps.get(bed)
    if caps is None:
        limits = run.garden.limits_for(bed)
        caps = run.caps[bed] = Caps(
            bed_l_day=limits.bed_l_day,
            dose_l=limits.dose_l,
            site_l_day=run.garden.site_l_day,
            open_most_s=float(limits.open_max_s),
        )
    return caps


def busy_beds(run: Run) -> list[str]:
    """Beds whose valve is open, possibly open, or about to open."""
    pending = {
        watering.bed
        for watering in run.state.waterings.values()
        if watering.pulse is not None and watering.pulse.phase != "closing"
    }
    return [
        name for name, bed in run.garden.beds.items() if name in pending or may_flow(run, bed.valve)
    ]


def permit_pulse(
    run: Run,
    bed: str,
    want_l: float,
    open_s: float,
    watering_charged_l: float = 0.0,
    proof: str = "",
) -> Verdict:
    """Ask the guard for one opening of a bed's valve.

    Args:
        run: the engine's working set.
        bed: whose valve.
        want_l: litres wanted [L].
        open_s: the longest that it may run [s].
        watering_charged_l: what this watering was charged before [L].
        proof: `walk`, `shut` or `gate` where it proves something; empty for water.

    Returns:
        The guard's verdict.
    """
    state, garden = run.state, run.garden
    busy = [name for name in busy_beds(run) if name != bed]
    valve = state.valves[garden.beds[bed].valve]
    closed_s = None if proof == "gate" else valve.closed_trusted_s  # that valve stays closed
    interlocked = interlock(run, bed, proof)
    shut_out = any(state.beds[one].alone for one in (bed, *busy)) if busy else False
    if interlocked is None and (shut_out or may_flow(run, garden.beds[bed].valve)):
        interlocked = Refused.BUSY
    return permit(
        Opening(
            bed=bed,
            want_l=want_l,
            open_s=open_s,
            flow_l_min=garden.beds[bed].flow_l_min,
            watering_charged_l=watering_charged_l,
            proof=proof,
        ),
        caps_of(run, bed),
        state.ledger,
        Situation(
            interlock=interlocked,
            trusted_s=run.trusted_s,
            budget_spent_until_trusted_s=state.budget_spent_until_trusted_s,
            busy=len(busy),
            beds_at_once=garden.garden.beds_at_once,
            busy_flow_l_min=sum(garden.beds[name].flow_l_min for name in busy),
            supply_flow_l_min=garden.supply.flow_l_min,
            closed_since_s=None if closed_s is None else run.trusted_s - closed_s,
        ),
    )
