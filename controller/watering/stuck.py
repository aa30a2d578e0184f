"""A bed valve that stays open (V1): water after the last close, or a flow that does not fall.

Where several beds drink and one of them closes, the meter's flow has to fall by what that bed took.
Where half of it does not, its valve is suspected: it is told to close again, everything else that
drinks closes too, and in the gap before the master closes the meter says whether water still runs.
Then it is stuck; where the meter stands still it was something else; where nobody can tell it is
taken for stuck. Nothing opens meanwhile. Flows are compared over stretches without a valve's edge,
by the meter's own clock; where others use the same water nothing is concluded.
"""

from __future__ import annotations

from controller.proving.arming import fill_of, flow_of, walks
from controller.proving.trend import watch_together
from controller.run import LEASE_S, MARGIN_S, Run
from controller.water_state import Fall, Stretch
from controller.watering import hose
from controller.watering.guard import may_flow
from controller.watering.settling import cut_all
from controller.watering.words import bed_name

STUCK_PULSES = 2.0
STUCK_SHARE = 1.0 / 3.0
STUCK_AFTER_S = 5.0
MISSING_SHARE = 0.5  # of the closed bed's flow, as for the rise of one that opens
ABOVE_SHARE = 0.25  # of it, above what the others take: a weak supply falls by less, but not so
STRETCH_S = 20.0  # at least, and so many pulses of the closed bed's flow:
STRETCH_PULSES = 8.0  # two may be under way at the ends, a quarter of it
CALM_S = 10.0  # after a close; after an opening the lines fill
FILL_S = 60.0
BEFORE_MOST_S = 600.0  # flow that is told anew all the time; our own choice
TELLING_PULSES = 3.0  # a meter that would have told so many and did not
PROVE_MOST_S = LEASE_S + MARGIN_S + 10.0


def last_closed(run: Run) -> tuple[str, float] | None:
    """The bed whose valve said closed last, and how long ago [s]."""
    ends = [
        (run.state.valves[bed.valve].confirmed_closed_mono_s, name)
        for name, bed in run.garden.beds.items()
    ]
    known = [(end_s, name) for end_s, name in ends if end_s is not None]
    if not known:
        return None
    end_s, name = max(known)
    return name, run.state.mono_s - end_s


def runs_on(run: Run, since_mono_s: float) -> bool:
    """Whether the water counted while every bed is closed tells of a valve that stays open.

    Args:
        run: the engine's working set, this word of the meter taken into its idle gain.
        since_mono_s: when the word before it was counted; the master was open then or is now.
    """
    meter, last, master = run.state.meter, last_closed(run), run.master
    if last is None or master is None:
        return False
    if not may_flow(run, master) and since_mono_s >= (run.state.valves[master].moved_mono_s or 0.0):
        return False
    bed, closed_for_s = last
    if closed_for_s < STUCK_AFTER_S or not _flows(run, [bed], meter.idle_gain_l, meter.idle_up_s):
        return False
    stuck_open(run, [bed])
    return True


def _flows(run: Run, beds: list[str], litres: float, over_s: float) -> bool:
    """Whether so much water in so long [s] is the flow of one of these beds."""
    rate_l_min = 60.0 * litres / max(over_s, 1.0)
    enough = litres >= STUCK_PULSES * _pulse_l(run)
    return enough and rate_l_min > STUCK_SHARE * min(flow_of(run, bed) for bed in beds)


def stuck_open(run: Run, beds: list[str]) -> None:
    """These valves stay open: each told to close thrice more, the master shut, a person called."""
    cut_all(run, "fault")
    for bed in beds:
        for _ in range(3):
            run.close(run.garden.beds[bed].valve)
    run.close_all()
    behind = "Shut the tap by hand" if run.master is None else "The master is closed"
    for bed in beds:
        run.raise_alert(
            "valve_stuck_open",
            f"Water flows on although {bed_name(bed)} was closed: its valve may be stuck. "
            f"{behind}. Nothing opens here until a person has looked.",
            bed=bed,
            valve=run.garden.beds[bed].valve,
            person=True,
        )


# -- the fall that is missing


def watch_fall(run: Run, litres: float, over_s: float, since_mono_s: float) -> None:
    """Take one word of the meter while beds drink, and hold the flow against the one before.

    Args:
        run: the engine's working set.
        litres: gained since its last word [L].
        over_s: over so long, by its own clock [s].
        since_mono_s: when that last word came.
    """
    fall = run.state.meter.fall
    if fall.suspects:
        return
    if walks(run) or hose.others_about(run):
        run.state.meter.fall = Fall()
        return
    now = _drinking(run)
    calm = bool(now) and since_mono_s >= _calm_from_s(run, now, fall.before)
    if not calm or fall.drinking != now:
        fall.drinking, fall.stretch = now, Stretch()
    if not calm:
        return
    fall.stretch.litres += litres
    fall.stretch.up_s += over_s
    if not since_mono_s - fall.before_mono_s <= BEFORE_MOST_S:
        fall.before = []  # what drank before that is another story
    if fall.stretch.up_s < _needed_s(run, {*now, *fall.before}):
        return
    l_min = 60.0 * fall.stretch.litres / fall.stretch.up_s
    suspects = _not_fallen(run, fall, now, l_min)
    if not suspects:
        watch_together(run, now, l_min)
    fall.before, fall.before_l_min, fall.stretch = now, l_min, Stretch()
    fall.before_mono_s = run.state.mono_s
    if suspects:
        _suspect(run, suspects)


def _drinking(run: Run) -> list[str]:
    """The beds that drink, in order; none while a valve is on its way."""
    pulses = [one.pulse for one in run.state.waterings.values() if one.pulse is not None]
    told = [pulse for pulse in pulses if pulse.phase in {"running", "closing"}]
    valves = run.state.valves
    steady = all(p.phase == "running" and valves[p.valve].state == "open" for p in told)
    return sorted(pulse.bed for pulse in told) if steady else []


def _calm_from_s(run: Run, now: list[str], before: list[str]) -> float:
    """From when on the flow is a steady one: some time after the last edge of a valve."""
    edges = [valve.moved_mono_s for valve in run.state.valves.values()]
    last_s = max((edge for edge in edges if edge is not None), default=0.0)
    opened = not before or any(bed not in before for bed in now)
    return last_s + (FILL_S if opened else CALM_S)


def _needed_s(run: Run, beds: set[str]) -> float:
    least_l_min = min(flow_of(run, bed) for bed in beds if bed in run.garden.beds)
    return max(STRETCH_S, 60.0 * STRETCH_PULSES * _pulse_l(run) / least_l_min)


def _not_fallen(run: Run, fall: Fall, now: list[str], l_min: float) -> list[str]:
    """The beds that closed since the stretch before, where the flow did not fall for one."""
    closed = [bed for bed in fall.before if bed not in now and bed in run.garden.beds]
    opened = [bed for bed in now if bed not in fall.before]
    shut = all(run.state.valves[run.garden.beds[bed].valve].state == "closed" for bed in closed)
    if not closed or not shut or any(fill_of(run, bed) is None for bed in opened):
        return []
    least_l_min = min(flow_of(run, bed) for bed in closed)
    due_l_min = fall.before_l_min - sum(flow_of(run, bed) for bed in closed)
    due_l_min += sum(flow_of(run, bed) for bed in opened)
    above_l_min = l_min - sum(flow_of(run, bed) for bed in now)
    missing = l_min - due_l_min >= MISSING_SHARE * least_l_min
    return closed if missing and above_l_min >= ABOVE_SHARE * least_l_min else []


def _suspect(run: Run, beds: list[str]) -> None:
    """Close everything but the master, which shows in its gap whether these run on."""
    fall = run.state.meter.fall
    fall.suspects, fall.since_mono_s, fall.gap = beds, run.state.mono_s, Stretch()
    names = " and ".join(bed_name(bed) for bed in beds)
    run.note("valve", beds[0], "suspected", f"The flow did not fall when {names} closed.")
    for bed in beds:
        for _ in range(3):
            run.close(run.garden.beds[bed].valve)
    cut_all(run, "fault")


# -- the proof


def suspected(run: Run) -> bool:
    """Whether a valve is suspected and not proved yet: nothing opens."""
    return bool(run.state.meter.fall.suspects)


def prove(run: Run, litres: float, over_s: float, since_mono_s: float) -> None:
    """Take one word of the meter, no bed drinking, that proves a suspicion or ends it.

    Args:
        run: the engine's working set.
        litres: gained since its last word [L].
        over_s: over so long, by its own clock [s].
        since_mono_s: when that last word came.
    """
    last, fall = last_closed(run), run.state.meter.fall
    if last is None or any(may_flow(run, bed.valve) for bed in run.garden.beds.values()):
        return
    closed_for_s = last[1]
    since_close_s = since_mono_s - (run.state.mono_s - closed_for_s)
    if since_close_s < 0.0 and litres > 0.0:
        return  # some of it is of the beds that have just closed
    fall.gap.litres += litres
    fall.gap.up_s += over_s
    if closed_for_s >= STUCK_AFTER_S and _flows(run, fall.suspects, fall.gap.litres, fall.gap.up_s):
        _end_doubt(run, stuck=True)
    elif _would_have_told(run, min(fall.gap.up_s, closed_for_s)):
        _end_doubt(run, stuck=False)


def _would_have_told(run: Run, gap_s: float) -> bool:
    """Whether the meter, as long as the master was open, had to turn for a valve that runs on."""
    master, last = run.master, last_closed(run)
    if master is not None and last is not None and not may_flow(run, master):
        shut_s = run.state.valves[master].moved_mono_s or run.state.mono_s
        gap_s = min(gap_s, last[1] - (run.state.mono_s - shut_s))
    fall = run.state.meter.fall
    flow_l_min = min(flow_of(run, bed) for bed in fall.suspects)
    few = fall.gap.litres <= STUCK_SHARE * flow_l_min * gap_s / 60.0
    return few and flow_l_min * gap_s / 60.0 >= TELLING_PULSES * _pulse_l(run)


def drive(run: Run) -> None:
    """A suspicion that nobody could prove or end in time counts as proved."""
    fall = run.state.meter.fall
    if fall.suspects and run.state.mono_s - fall.since_mono_s > run.arrival_s(PROVE_MOST_S):
        _end_doubt(run, stuck=True)


def begin_run(run: Run) -> None:
    """A process begins: what was suspected when the last one ended is taken for stuck."""
    if suspected(run):
        _end_doubt(run, stuck=True)
    run.state.meter.fall = Fall()


def _end_doubt(run: Run, *, stuck: bool) -> None:
    beds = [bed for bed in run.state.meter.fall.suspects if bed in run.garden.beds]
    run.state.meter.fall = Fall()
    run.state.meter.idle_gain_l = run.state.meter.idle_up_s = 0.0
    run.nudge = True
    if stuck and beds:
        stuck_open(run, beds)
    elif beds:
        names = " and ".join(bed_name(bed) for bed in beds)
        run.note("valve", beds[0], "holds", f"Nothing flowed once all was closed: {names} holds.")


def _pulse_l(run: Run) -> float:
    return run.garden.meters[run.garden.supply.meter or ""].litres_per_pulse
