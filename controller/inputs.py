"""What messages change: readings, valve reports, the meter's total, the link.

Each handler takes the run and one event; what it leads to is in `run.out`.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.events import (
    ForeignController,
    LinkDown,
    LinkUp,
    MeterReading,
    ProbeReading,
    ValveReport,
    WeatherReading,
)
from controller.run import LEASE_S, MARGIN_S, Run
from controller.sensing import quality, sky
from controller.sensing.calibration import to_theta
from controller.sensing.estimate import WATER_SD_FRAC, add_water
from controller.state import Pulse, ValveState
from controller.watering.guard import may_flow
from controller.watering.settling import cut, cut_all
from controller.watering.words import bed_name

CONTRACT = 1
BUDGET_LOST_S = 86_400.0
NONCE_LIFE_S = 45.0  # a lease sent this long ago is refused by every node
LEAK_L_MIN = 0.1
LEAK_PULSES = 3.0
STUCK_PULSES = 2.0
STUCK_SHARE = 1.0 / 3.0
STUCK_AFTER_S = 5.0
BURST_FACTOR = 1.6
BURST_READINGS = 3  # in a row, 5 s apart: longer than the 10 s that a burst needs
FILL_S = 60.0  # the lines fill
NEW_UP_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """What a meter counted between two of its words."""

    litres: float
    over_s: float
    since_mono_s: float  # when the word before it came


def probe_reading(run: Run, event: ProbeReading) -> None:
    """A probe spoke: believe it or say why not."""
    state = run.state
    probe = state.probes.get(event.probe)
    bed = run.probe_beds.get(event.probe)
    if probe is None or bed is None or quality.repeated(event, probe):
        return
    state.readings += 1
    theta = to_theta(run.garden.probes[event.probe], event.value, event.soil_temp_c).theta_m3_m3
    why_not = quality.refusal(event, theta, run.soils[bed].saturation_m3_m3)
    if why_not or theta is None:
        probe.rejected += 1
        if probe.flag != why_not:
            probe.flag = why_not
            run.raise_alert(
                "probe_suspect",
                f"Probe {event.probe} in {bed_name(bed)} says what cannot be ({why_not}). "
                "Look at its cable and its unit; the bed goes by what else it has.",
                bed=bed,
                probe=event.probe,
            )
        return
    first = probe.mono_s is None or probe.mono_s < state.link_mono_s
    quality.accept(event, probe, theta)
    if state.alerts:
        run.end_alert("probe_suspect", bed, event.probe)
        run.end_alert("probe_silent", bed, event.probe)
    run.nudge = run.nudge or first


def weather_reading(run: Run, event: WeatherReading) -> None:
    """A mast spoke."""
    state = run.state
    state.sky.rain_due_mm += sky.hear(state.sky, event)
    if event.temp_c is not None and state.alerts:
        run.end_alert("frost")


def valve_report(run: Run, event: ValveReport) -> None:
    """A valve node says what it is: evidence, or a claim that does not fit."""
    state = run.state
    valve = state.valves.get(event.valve)
    if valve is None or _overtaken(valve, event):
        return
    valve.heard_mono_s, valve.boot, valve.contract = state.mono_s, event.boot, event.contract
    valve.heard_epoch, valve.heard_seq = event.epoch, event.seq
    _hear_epoch(run, event)
    if event.contract != CONTRACT:
        _refuse_contract(run, event)
    if event.open:
        _says_open(run, event)
    else:
        _says_closed(run, event)


def _refuse_contract(run: Run, event: ValveReport) -> None:
    bed = run.valve_beds.get(event.valve)
    if bed is not None:
        cut(run, bed, "fault")
    elif run.state.valves[event.valve].opened_mono_s is not None:
        cut_all(run, "fault")
        run.close(event.valve)
    run.raise_alert(
        "node_contract",
        f"The node of valve {event.valve} speaks contract {event.contract}, not {CONTRACT}. "
        "It is never opened. Bring its firmware up to date.",
        bed=bed,
        valve=event.valve,
        person=True,
    )


def _overtaken(valve: ValveState, event: ValveReport) -> bool:
    """Whether the node has told something newer in this boot already."""
    older = (event.epoch, event.seq) < (valve.heard_epoch, valve.heard_seq)
    return older and event.boot == valve.boot


def _hear_epoch(run: Run, event: ValveReport) -> None:
    state = run.state
    if not state.ready:
        state.heard_epoch = max(state.heard_epoch, event.epoch)
        if (event.epoch, event.seq) > (state.stored_epoch, state.stored_seq):
            lost_history(run)
    elif (event.epoch, event.seq) > (state.epoch, state.seq):
        _foreign(run, event.epoch)


def lost_history(run: Run) -> None:
    """Some water may be unknown: the budget counts as spent for a day."""
    state = run.state
    if state.budget_spent_until_trusted_s is None:
        state.budget_spent_until_trusted_s = run.trusted_s + BUDGET_LOST_S
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
    valve.may_flow_until_mono_s = state.mono_s + min(LEASE_S, event.left_s) + MARGIN_S


def _says_closed(run: Run, event: ValveReport) -> None:
    state = run.state
    valve = state.valves[event.valve]
    if valve.state == "opening" or valve.state == "closed":
        return  # told before the lease reached it, or nothing new
    if not _stays_closed(run, valve, event):
        if valve.state == "open":
            run.close(event.valve, valve.dose)
        return
    flowed = valve.state == "open" or valve.opened_mono_s is not None
    valve.state = "closed"
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


def meter_reading(run: Run, event: MeterReading) -> None:
    """The meter's total: credit the beds that drink, or find water where none should be."""
    if event.meter != run.garden.supply.meter:
        return
    gain = _gain(run, event)
    if gain is None:
        return
    pulses = [
        watering.pulse
        for watering in run.state.waterings.values()
        if watering.pulse is not None and watering.pulse.phase in {"running", "closing"}
    ]
    if pulses:
        _credit(run, pulses, gain)
    elif gain.litres > 0.0:
        _unasked(run, gain)
    elif gain.over_s >= FILL_S:
        run.state.meter.idle_gain_l = run.state.meter.idle_up_s = 0.0


def _gain(run: Run, event: MeterReading) -> Gain | None:
    meter = run.state.meter
    before_l, before_s, boot = meter.litres_total, meter.up_s, meter.boot
    since_s = meter.mono_s
    fresh = since_s is not None and since_s >= run.state.link_mono_s
    meter.litres_total, meter.up_s, meter.boot = event.litres_total, event.up_s, event.boot
    meter.mono_s = run.state.mono_s
    if before_l is None or boot != event.boot or not fresh:
        return None  # a new baseline; what flowed meanwhile is charged by the reservations
    gained_l, over_s = event.litres_total - before_l, event.up_s - before_s
    if over_s <= 0.0 and gained_l == 0.0:
        return None  # said twice
    if not (gained_l >= 0.0 and over_s > 0.0):
        run.raise_alert(
            "meter_fault",
            "The meter's total went backwards. Doses go by time until it counts on.",
            person=False,
        )
        return None
    run.end_alert("meter_fault")
    return Gain(litres=gained_l, over_s=over_s, since_mono_s=since_s or 0.0)


def _credit(run: Run, pulses: list[Pulse], gain: Gain) -> None:
    beds = run.garden.beds
    flow_l_min = sum(beds[pulse.bed].flow_l_min for pulse in pulses)
    for pulse in pulses:
        pulse.given_l += gain.litres * beds[pulse.bed].flow_l_min / flow_l_min
        pulse.metered = True
        pulse.shared = pulse.shared or len(pulses) > 1
    _watch_burst(run, flow_l_min, gain)


def _watch_burst(run: Run, flow_l_min: float, gain: Gain) -> None:
    meter, now_s = run.state.meter, run.state.mono_s
    edges = [valve.edge_mono_s for valve in run.state.valves.values()]
    last_edge_s = max((edge for edge in edges if edge is not None), default=0.0)
    settled = now_s - last_edge_s >= FILL_S
    told_l_min = 60.0 * gain.litres / gain.over_s
    if settled and gain.over_s <= FILL_S and told_l_min > BURST_FACTOR * flow_l_min:
        meter.high += 1
    else:
        meter.high = 0
    if meter.high >= BURST_READINGS:
        meter.high = 0
        cut_all(run, "fault")
        run.close_all()
        run.raise_alert(
            "burst",
            f"{told_l_min:.1f} L/min flowed where {flow_l_min:.1f} should: a pipe may have "
            "burst. Everything is closed until a person has looked.",
            person=True,
        )


def _unasked(run: Run, gain: Gain) -> None:
    """Water flows although no bed was asked to drink."""
    meter = run.state.meter
    if any(may_flow(run, bed.valve) for bed in run.garden.beds.values()):
        return  # a valve whose state is unknown: its reservation is charged in full
    last = _last_closed(run)
    if last is not None and run.state.mono_s - gain.since_mono_s > last[1]:
        _late(run, last[0], gain)  # the count reaches back to before that bed closed
        return
    meter.idle_gain_l += gain.litres
    meter.idle_up_s += gain.over_s
    pulse_l = run.garden.meters[run.garden.supply.meter or ""].litres_per_pulse
    master = run.master
    if last is not None and master is not None and may_flow(run, master):
        bed, closed_for_s = last
        rate_l_min = 60.0 * meter.idle_gain_l / max(meter.idle_up_s, 1.0)
        stuck = rate_l_min > STUCK_SHARE * run.garden.beds[bed].flow_l_min
        if closed_for_s >= STUCK_AFTER_S and meter.idle_gain_l >= STUCK_PULSES * pulse_l and stuck:
            _stuck_open(run, bed)
            return
    rate_l_min = 60.0 * meter.idle_gain_l / max(meter.idle_up_s, 1.0)
    enough = meter.idle_gain_l >= LEAK_PULSES * pulse_l and meter.idle_up_s >= FILL_S
    if enough and rate_l_min > LEAK_L_MIN and not run.garden.supply.shared:
        run.close_all()
        run.raise_alert(
            "leak",
            f"{rate_l_min:.1f} L/min flow although every valve is told to be closed. Shut the "
            "hand valve and look.",
            person=True,
        )


def _late(run: Run, bed: str, gain: Gain) -> None:
    """The last litres of a pulse, told after its books were closed: its reservation covers them."""
    depth_mm = gain.litres / run.soils[bed].wetted_area_m2
    add_water(run.state.water[bed], depth_mm, WATER_SD_FRAC, run.state.at_utc_s)
    run.state.litres += gain.litres
    run.state.beds[bed].given_hour_l += gain.litres


def _last_closed(run: Run) -> tuple[str, float] | None:
    ends = [
        (run.state.valves[bed.valve].confirmed_closed_mono_s, name)
        for name, bed in run.garden.beds.items()
    ]
    known = [(end_s, name) for end_s, name in ends if end_s is not None]
    if not known:
        return None
    end_s, name = max(known)
    return name, run.state.mono_s - end_s


def _stuck_open(run: Run, bed: str) -> None:
    valve = run.garden.beds[bed].valve
    cut_all(run, "fault")
    for _ in range(3):
        run.close(valve)
    run.close_all()
    run.raise_alert(
        "valve_stuck_open",
        f"Water flows on although {bed_name(bed)} was closed: its valve may be stuck. The master "
        "is closed. Nothing opens here until a person has looked.",
        bed=bed,
        valve=valve,
        person=True,
    )


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
