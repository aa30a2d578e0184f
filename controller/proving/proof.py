"""The weekly proof of the master valve, at night, when nothing drinks (hazard V12).

The master closed, one bed valve open for 20 s: nothing may flow. Then the master open, every bed
closed, for three minutes: less than a leak may flow. It needs a meter behind the master.
"""

from __future__ import annotations

import math

from controller.bed_views import window_now
from controller.proving.arming import armed, flow_of, unarmed
from controller.proving.listening import METER_SILENT_S, listen, other_water
from controller.proving.measure import REST_S, holds_shut, rests, shut_s
from controller.proving.memory import Active, Measuring, ProofResult
from controller.proving.openings import GATE_S, PROVED, end_opening, open_for, pulse_l
from controller.proving.stale import mind_season
from controller.run import Run
from controller.state import Pulse
from controller.watering import hose
from controller.watering.guard import interlock
from controller.watering.supply import supply_rests
from controller.watering.words import bed_name

DAY_S = 86_400.0
EVERY_S = 7 * DAY_S
OVERDUE_S = 15 * DAY_S
AGAIN_S = DAY_S / 2  # after one that came to nothing: the next night
LASTS_S = 1200.0  # of the hours, at least so much has to be left
WAITS_MOST_S = 900.0
SPARE_S = 30.0  # of its permission beyond that: the close comes from here


def consider(run: Run) -> None:
    """Begin a proof where one is due and may run; call for one that stays away.

    Args:
        run: the engine's working set.
    """
    _mind_armed(run)
    mind_season(run)
    proving = run.state.proving
    last_s = proving.since_trusted_s if proving.sound_trusted_s is None else proving.sound_trusted_s
    if not proving.proofs or last_s is None or not provable(run):
        return
    if run.trusted_s - last_s >= OVERDUE_S:
        run.raise_alert(
            "proof_overdue",
            "For 15 days the master valve could not be proved in the night: it may not close when "
            "it has to. Look at the log for what came between.",
        )
    if run.trusted_s - last_s >= EVERY_S and _may_begin(run):
        _begin(run)


def provable(run: Run) -> bool:
    """Whether there is a master valve and a meter fine enough to prove it."""
    return run.master is not None and bool(_beds(run))


def _beds(run: Run) -> list[str]:
    """Beds that may be opened behind the closed master, whose turn it is first."""
    if run.garden.supply.meter is None:
        return []
    beds = [
        bed
        for bed in run.garden.beds
        if armed(run, bed) and shut_s(flow_of(run, bed), pulse_l(run)) < math.inf
    ]
    turn = run.state.proving.proved % len(beds) if beds else 0
    return beds[turn:] + beds[:turn]


def _may_begin(run: Run) -> bool:
    state, window = run.state, window_now(run)
    tried_s = state.proving.tried_trusted_s
    if state.proving.active is not None or state.waterings or state.pause is not None:
        return False
    if other_water(run) or supply_rests(run) or state.dry_beds or state.meter.dead.found:
        return False  # it would prove nothing
    if hose.announced(run) or state.taps.asked_trusted_s is not None:
        return False  # other water runs: the meter could not tell
    if tried_s is not None and run.trusted_s - tried_s < AGAIN_S:
        return False
    inside = window.holds(state.at_utc_s) and window.to_utc_s - state.at_utc_s >= LASTS_S
    always = run.garden.garden.hours == "always"
    return (inside or always) and interlock(run, _beds(run)[0]) is None


def _begin(run: Run) -> None:
    run.state.proving.active = Active(
        kind="proof",
        who="proof",
        at=_beds(run)[0],
        test="shut",
        phase="waits",
        since_mono_s=run.state.mono_s,
    )
    run.note("proof", None, "begun", "The master valve is proved.")


def step(run: Run, active: Active) -> None:
    """Carry a proof on by what time and meter brought.

    Args:
        run: the engine's working set.
        active: the proof, changed in place.
    """
    if active.phase == "waits":
        _wait(run, active)
    if active.phase == "opening":
        _look(run, active)
    if active.phase == "closing" and active.at not in run.state.waterings:
        if active.test == "shut":
            _conclude_shut(run, active)
        else:
            _conclude_gate(run, active)


def _wait(run: Run, active: Active) -> None:
    proving, total = run.state.proving, run.state.meter
    proving.ended_by = ""
    open_s = GATE_S
    if active.test == "shut":
        open_s = shut_s(flow_of(run, active.at), pulse_l(run)) + SPARE_S
    refused = interlock(run, active.at, "proof") or open_for(run, active, open_s)
    if refused is not None:
        if run.state.mono_s - active.since_mono_s > WAITS_MOST_S:
            put_off(run, refused.value)
        return
    active.meter = Measuring(boot=total.boot, begin_l=total.litres_total or 0.0)
    active.phase, active.since_mono_s = "opening", run.state.mono_s


def _look(run: Run, active: Active) -> None:
    watering = run.state.waterings.get(active.at)
    if watering is None:
        active.phase, active.since_mono_s = "closing", run.state.mono_s
        return
    pulse = watering.pulse
    if pulse is not None and _seen_enough(run, active, pulse):
        end_opening(run, active)


def _seen_enough(run: Run, active: Active, pulse: Pulse) -> bool:
    """Whether the opening lasted as long as it has to, or cannot tell anything."""
    if active.test == "shut":
        confirmed_s = run.state.valves[pulse.valve].confirmed_mono_s
        lasts_s = shut_s(flow_of(run, active.at), pulse_l(run))
        running = pulse.phase == "running" and confirmed_s is not None
        return running and run.state.mono_s - (confirmed_s or 0.0) >= lasts_s
    if pulse.phase != "gate":
        return False
    listen(run, active, pulse.since_mono_s, REST_S)
    return active.meter.phase == "done" or active.fault != ""


def _conclude_shut(run: Run, active: Active) -> None:
    """Nothing may have flowed, by the meter's first word after the close."""
    state, total = run.state, run.state.meter
    ended_by = state.proving.ended_by
    if ended_by not in {PROVED, "time", "litres", "dry"}:
        put_off(run, ended_by)
        return
    heard = total.mono_s is not None and total.mono_s > active.since_mono_s
    if not heard:
        if state.mono_s - active.since_mono_s > run.arrival_s(METER_SILENT_S):
            put_off(run, "meter_silent")
        return
    litres = (total.litres_total or 0.0) - active.meter.begin_l
    unsound = total.boot != active.meter.boot or not litres >= 0.0
    if unsound or "meter_fault" in state.alerts:
        put_off(run, "meter_fault")
        return
    flow_l_min = flow_of(run, active.at)
    open_s = shut_s(flow_l_min, pulse_l(run))
    if not holds_shut(litres, open_s, flow_l_min, pulse_l(run)):
        if other_water(run) or run.garden.supply.shared:  # it may be theirs
            put_off(run, "other_water")
            return
        run.close_all()
        run.raise_alert(
            "master_failed",
            f"The master valve does not close: {litres:.1f} L came in {bed_name(active.at)} while "
            "it was shut. Shut the hand valve. Nothing opens until a person has looked.",
            valve=run.master,
            person=True,
        )
        _fail(run, "master_failed", f"The closed master valve let {litres:.1f} L through.")
        return
    active.test, active.phase, active.since_mono_s = "gate", "waits", state.mono_s


def _conclude_gate(run: Run, active: Active) -> None:
    state, flow_l_min = run.state, active.meter.flow_l_min
    stands = {"leak", "valve_stuck_open", "burst"} & {a.code for a in state.alerts.values()}
    if stands:
        _fail(run, min(stands), "With the master open and every bed closed water flowed.")
    elif active.fault or flow_l_min is None:
        put_off(run, active.fault or state.proving.ended_by)
    elif rests(active.meter, pulse_l(run)):
        _succeed(run, flow_l_min)
    elif run.garden.supply.shared:
        put_off(run, "other_water")
    else:
        run.close_all()
        run.raise_alert(
            "leak",
            f"{flow_l_min:.2f} L/min flow with the master open and every bed closed. Shut the hand "
            "valve and look.",
            person=True,
        )
        _fail(run, "leak", f"With every bed closed {flow_l_min:.2f} L/min flowed.")


def _succeed(run: Run, flow_l_min: float) -> None:
    proving = run.state.proving
    proving.sound_trusted_s, proving.tried_trusted_s = run.trusted_s, None
    run.end_alert("proof_overdue")
    _end(run, "ok", f"The master valve closes, and nothing leaks ({flow_l_min:.2f} L/min).")


def _fail(run: Run, code: str, text: str) -> None:
    run.state.proving.tried_trusted_s = run.trusted_s
    _end(run, code, text)


def put_off(run: Run, why: str) -> None:
    """It came to nothing: tried again in the next night.

    Args:
        run: the engine's working set.
        why: a code, for the record.
    """
    run.state.proving.tried_trusted_s = run.trusted_s
    _end(run, "put_off", f"The proof of the master valve was put off: {why}.")


def _end(run: Run, code: str, text: str) -> None:
    proving = run.state.proving
    proving.active = None
    proving.proved += 1
    proving.last = ProofResult(at_utc_s=run.state.at_utc_s, code=code, text=text)
    run.note("proof", None, code, text, durable=True)
    run.nudge = True


def _mind_armed(run: Run) -> None:
    """The alert of valves that were not walked, with the beds in its words."""
    left = unarmed(run)
    if not left:
        run.end_alert("not_armed")
        return
    names = ", ".join(bed_name(bed) for bed in left)
    text = f"Not armed: {names}. Nothing opens there before the walk: thirstline walk."
    proving = run.state.proving
    if proving.backflow is None and not run.state.armed:
        text += " It asks which backflow device is fitted."
    stands = run.state.alerts.get("not_armed")
    if stands is not None and stands.text != text:
        run.state.alerts.pop("not_armed")
    run.raise_alert("not_armed", text)
