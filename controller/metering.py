"""The meter's word: litres for the beds that drink, and water where none should be.

Flow is the litres gained over the node's own uptime gained, never over arrival times.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.events import MeterReading
from controller.proving.arming import fill_of, fills, flow_of, walks
from controller.run import Run
from controller.sensing.estimate import WATER_SD_FRAC, add_water
from controller.state import Pulse
from controller.water_state import MeterState, Stretch
from controller.watering import hose, stuck
from controller.watering.guard import may_flow
from controller.watering.settling import cut_all

LEAK_L_MIN = 0.1
LEAK_PULSES = 3.0
BURST_FACTOR = 1.6  # over 10 s and 3 pulses, whichever is longer
BURST_S = 10.0
BURST_PULSES = 3.0
SPELL_FACTOR = 1.3  # over a minute and 16 pulses
SPELL_S = 60.0
SPELL_PULSES = 16.0
AFTER_FROST = 0.5  # of what is too much, in the first dose after a frost: our own proposal
FILL_S = 60.0  # the lines fill
FILL_FACTOR = 2.0  # of the litres that the walk found: a line may have run emptier since
LAG_S = 3600.0  # a node's clock drifts by less than a second in two such spells
JUMP_FACTOR = 1.6  # of all that the supply can give: more is no water but a fault of the counter
JUMP_PULSES = 3.0
GONE_S = 840.0  # a meter at rest tells its total once a minute; called within a quarter of an hour


@dataclass(slots=True, kw_only=True)
class Gain:
    """What a meter counted between two of its words; made at each of them."""

    litres: float
    over_s: float
    since_mono_s: float  # when the word before it was counted, by our clock


def meter_reading(run: Run, event: MeterReading) -> None:
    """The meter's total: credit the beds that drink, or find water where none should be."""
    if event.meter != run.garden.supply.meter:
        return
    gain = _gain(run, event)
    if gain is None:
        return
    hose.mind(run)
    hose.heard(run, gain.litres, gain.over_s)
    pulses = [
        watering.pulse
        for watering in run.state.waterings.values()
        if watering.pulse is not None and watering.pulse.phase in {"running", "closing"}
    ]
    if pulses:
        stuck.watch_fall(run, gain.litres, gain.over_s, gain.since_mono_s)
        _credit(run, pulses, gain)
    elif stuck.suspected(run):
        stuck.prove(run, gain.litres, gain.over_s, gain.since_mono_s)
    elif gain.litres > 0.0:
        _unasked(run, gain)
    elif gain.over_s >= FILL_S:
        run.state.meter.idle_gain_l = run.state.meter.idle_up_s = 0.0
    elif run.state.meter.idle_gain_l > 0.0:
        run.state.meter.idle_up_s += gain.over_s  # a slow drip is slow


def gone(run: Run) -> bool:
    """Whether the meter has said nothing for so long that it is to be called now."""
    state = run.state
    if run.garden.supply.meter is None or not (state.ready and state.link_up):
        return False
    if "meter_fault" in state.alerts or "meter_fault-silent" in state.alerts:
        return False
    since_s = max(state.started_mono_s, state.link_mono_s, state.meter.mono_s or 0.0)
    return state.mono_s - since_s > run.arrival_s(GONE_S)


def mind(run: Run) -> None:
    """The alert of a meter that says nothing, water or no water."""
    if run.garden.supply.meter is None:
        run.end_alert("meter_fault", "silent")  # another garden file
    elif gone(run):
        run.raise_alert(
            "meter_fault",
            "The meter says nothing. Waterings go by time, and no burst, leak or valve that stays "
            "open is seen. Look at its node.",
            part="silent",
        )


def _gain(run: Run, event: MeterReading) -> Gain | None:
    meter = run.state.meter
    before_l, before_s, boot = meter.litres_total, meter.up_s, meter.boot
    since_s, counted_s = meter.mono_s, meter.counted_s
    fresh = run.state.link_up and since_s is not None and since_s >= run.state.link_mono_s
    meter.litres_total, meter.up_s, meter.boot = event.litres_total, event.up_s, event.boot
    meter.mono_s = run.state.mono_s
    known = before_l is not None and boot == event.boot and fresh
    _keep_counted(meter, run.state.mono_s, event.up_s, known=known)
    if before_l is None or not known:
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
    most_l = JUMP_FACTOR * run.garden.supply.flow_l_min * over_s / 60.0
    pulse_l = run.garden.meters[event.meter].litres_per_pulse
    if not gained_l <= most_l + JUMP_PULSES * pulse_l:
        _jumped(run)
        return None
    run.end_alert("meter_fault")
    run.end_alert("meter_fault", "silent")
    if gained_l > 0.0 and run.state.alerts:
        meter.dead.found = False
        run.end_alert("meter_fault", "dead")
    return Gain(litres=gained_l, over_s=over_s, since_mono_s=counted_s)


def _keep_counted(meter: MeterState, mono_s: float, up_s: float, *, known: bool) -> None:
    """When this word was counted: by the node's clock, set by the promptest words lately.

    Words that a stalled network held back come bunched: their arrival tells nothing.
    """
    lag_s = mono_s - up_s
    if meter.lag_s is None or not known:
        meter.lag_s, meter.lag_before_s, meter.lag_since_s = lag_s, None, mono_s
    elif mono_s - meter.lag_since_s >= LAG_S:
        meter.lag_s, meter.lag_before_s, meter.lag_since_s = lag_s, meter.lag_s, mono_s
    else:
        meter.lag_s = min(meter.lag_s, lag_s)
    before_s = meter.lag_s if meter.lag_before_s is None else meter.lag_before_s
    meter.counted_s = min(mono_s, up_s + min(meter.lag_s, before_s))


def _jumped(run: Run) -> None:
    """The total took a leap that no supply can give: pulses under way go on by time."""
    for watering in run.state.waterings.values():
        if watering.pulse is not None:
            watering.pulse.metered = False
    run.state.meter.mono_s = None  # until it speaks again
    run.raise_alert(
        "meter_fault",
        "The meter's total jumped by more than the supply can give. Doses go by time until it "
        "counts soundly.",
    )


def _credit(run: Run, pulses: list[Pulse], gain: Gain) -> None:
    flow_l_min = sum(flow_of(run, pulse.bed) for pulse in pulses)
    beside = hose.beside(run, gain.litres, gain.over_s, flow_l_min)
    for pulse in pulses:
        if pulse.by_time and not gain.litres > 0.0:
            continue  # it says nothing new
        bed_l_min = flow_of(run, pulse.bed)
        share_l = gain.litres * bed_l_min / flow_l_min
        # other water runs too: no bed gets more of the count than its valve gives
        pulse.given_l += min(share_l, bed_l_min * gain.over_s / 60.0) if beside else share_l
        pulse.metered, pulse.by_time, pulse.trial = True, False, False
        pulse.shared = pulse.shared or len(pulses) > 1
        pulse.beside = pulse.beside or beside
    _watch_burst(run, pulses, flow_l_min, gain)


def _watch_burst(run: Run, pulses: list[Pulse], flow_l_min: float, gain: Gain) -> None:
    """Far more than the open beds take for a moment, or well more for a while, is a burst."""
    meter = run.state.meter
    flow_l_min += hose.others_l_min(run)
    unlike = walks(run) or hose.announced(run) or not _lines_full(run, pulses)
    unlike = unlike or stuck.suspected(run)  # all is closed, and what runs on is looked for
    if gain.over_s > FILL_S or unlike:
        meter.moment, meter.spell = Stretch(), Stretch()
        return
    pulse_l = run.garden.meters[run.garden.supply.meter or ""].litres_per_pulse
    frosted = any(run.state.beds[pulse.bed].frosted for pulse in pulses)
    tight = AFTER_FROST if frosted else 1.0
    told = (
        (BURST_FACTOR, _over(meter.moment, gain, BURST_S, BURST_PULSES * pulse_l)),
        (SPELL_FACTOR, _over(meter.spell, gain, SPELL_S, SPELL_PULSES * pulse_l)),
    )
    for factor, told_l_min in told:
        if told_l_min is not None and told_l_min > (1.0 + tight * (factor - 1.0)) * flow_l_min:
            cut_all(run, "fault")
            run.close_all()
            run.raise_alert(
                "burst",
                f"{told_l_min:.1f} L/min flowed where {flow_l_min:.1f} L/min should: a pipe may "
                "have burst. Everything is closed until a person has looked.",
                person=True,
            )
            return


def _over(stretch: Stretch, gain: Gain, least_s: float, least_l: float) -> float | None:
    """Flow over a stretch that is long enough and holds enough pulses; then the next begins."""
    stretch.litres += gain.litres
    stretch.up_s += gain.over_s
    if not (stretch.up_s >= least_s and stretch.litres >= least_l - 1e-9):
        return None
    l_min = 60.0 * stretch.litres / stretch.up_s
    stretch.litres = stretch.up_s = 0.0
    return l_min


def _lines_full(run: Run, pulses: list[Pulse]) -> bool:
    """Whether no valve has moved for a minute, or the line took what the walk found."""
    edges = [valve.moved_mono_s for valve in run.state.valves.values()]
    last_edge_s = max((edge for edge in edges if edge is not None), default=0.0)
    since_s = run.state.mono_s - last_edge_s
    return since_s >= FILL_S or (since_s >= BURST_S and _took_its_fill(run, pulses))


def _took_its_fill(run: Run, pulses: list[Pulse]) -> bool:
    """Whether a bed that drinks alone got twice the litres that once filled its line."""
    if len(pulses) != 1:
        return False
    fill_l = fill_of(run, pulses[0].bed)
    return fill_l is not None and pulses[0].given_l >= FILL_FACTOR * fill_l


def _unasked(run: Run, gain: Gain) -> None:
    """Water flows although no bed was asked to drink."""
    meter = run.state.meter
    if any(may_flow(run, bed.valve) for bed in run.garden.beds.values()):
        return  # a valve whose state is unknown: its reservation is charged in full
    if hose.announced(run):
        run.state.taps.ran_on = True
        meter.idle_gain_l = meter.idle_up_s = 0.0
        return
    last = stuck.last_closed(run)
    if last is not None and run.state.mono_s - gain.since_mono_s > last[1]:
        _late(run, last[0], gain)  # the count reaches back to before that bed closed
        return
    if fills(run):
        meter.idle_gain_l = meter.idle_up_s = 0.0
        return
    meter.idle_gain_l += gain.litres
    meter.idle_up_s += gain.over_s
    if stuck.runs_on(run, gain.since_mono_s):
        return
    pulse_l = run.garden.meters[run.garden.supply.meter or ""].litres_per_pulse
    rate_l_min = 60.0 * meter.idle_gain_l / max(meter.idle_up_s, 1.0)
    enough = meter.idle_gain_l >= LEAK_PULSES * pulse_l and meter.idle_up_s >= FILL_S
    if enough and rate_l_min > LEAK_L_MIN:
        if hose.asks_first(run, rate_l_min):
            hose.ask(run, rate_l_min)
        else:
            hose.leak(
                run,
                f"{rate_l_min:.1f} L/min flow although every valve is told to be closed. Shut the "
                "hand valve and look.",
            )


def _late(run: Run, bed: str, gain: Gain) -> None:
    """The last litres of a pulse, told after its books were closed: its reservation covers them."""
    depth_mm = gain.litres / run.soils[bed].wetted_area_m2
    add_water(run.state.water[bed], depth_mm, WATER_SD_FRAC, run.state.at_utc_s)
    run.state.litres += gain.litres
    run.state.beds[bed].given_hour_l += gain.litres
