"""The commissioning walk: valve by valve, the master first.

With every bed closed less than a leak may flow for three minutes, the master open where there is
one. Then each bed valve in turn: its line fills, a minute is measured and held against emitters x
rating, and a person, or with `yes` the meter, says that the right bed got wet. What is finished
stays walked, whatever ends the walk before its end.
"""

from __future__ import annotations

from controller.proving.arming import OK, armed, unarmed, walk_of
from controller.proving.listening import listen, stretch_s
from controller.proving.measure import (
    FILL_MOST_S,
    MEASURE_S,
    REST_S,
    fits,
    rests,
    so_far_l_min,
)
from controller.proving.memory import Active, Baseline, Measuring, Walked
from controller.proving.openings import GATE_S, end_opening, longest_s, open_for, pulse_l
from controller.run import Run
from controller.watering.guard import interlock
from controller.watering.limits import Refused
from controller.watering.refusals import REFUSALS
from controller.watering.words import bed_name

PASSING = frozenset({Refused.BUSY, Refused.SUPPLY, Refused.RESTING})
WAITS_MOST_S = 1200.0  # for a valve that rests, the master's rest among it
ASKS_S = 900.0  # for a person's answer
GO_ON = "Go on under Valves… on the page, or with: thirstline walk."
EXERCISE_S = 20.0  # a master without a meter behind it
ENDS_WALK = frozenset(
    {"stopped", "locked", "paused", "link", "other", "gone", "fault", "unrecorded", "restart"}
)
FAULTS = {
    "no_flow": "gave no water by the meter: look at tap, filter, valve, cable and meter",
    "silent": "did not answer: look at its node",
    "master": "lost its master valve half-way",
    "apart": "gives another flow than its emitters should: look at the garden file, at "
    "`litres_per_pulse`, and for open ends",
    "wrong_bed": "wetted another bed, or none: look at the wires",
    "meter_silent": "could not be measured: the meter does not speak",
    "meter_fault": "could not be measured: the meter's total cannot be trusted",
    "other_water": "could not be measured: other water ran behind the meter",
    "unmeasured": "could not be measured in the time that one opening may last",
    "nobody": "has no meter to agree with `--yes`: a person has to say what got wet",
}


def step(run: Run, active: Active) -> None:
    """Carry a walk on by what time, meter and people brought.

    Args:
        run: the engine's working set.
        active: the walk, changed in place.
    """
    if active.phase == "next":
        _next(run, active)
    if active.phase == "waits":
        _wait(run, active)
    if active.phase == "opening":
        _measure(run, active)
    if active.phase == "closing" and active.at not in run.state.waterings:
        _conclude(run, active)
    if active.phase == "asking" and run.state.mono_s - active.since_mono_s > ASKS_S:
        end_walk(run, f"Nobody answered for a quarter of an hour. {GO_ON}")


def _enter(run: Run, active: Active, phase: str) -> None:
    active.phase, active.since_mono_s = phase, run.state.mono_s


def _next(run: Run, active: Active) -> None:
    if not active.todo:
        _finish(run)
        return
    active.meter, active.fault, active.waits_for = Measuring(), "", ""
    if active.todo[0]:
        active.at, active.test = active.todo[0], "walk"
    else:
        named = [bed for bed in active.todo if bed]
        active.at = named[0] if named else next(iter(run.garden.beds))
        active.test = "still" if run.master is None else "gate"
    run.state.proving.ended_by = ""
    _enter(run, active, "waits")


def _wait(run: Run, active: Active) -> None:
    """Try to begin; what may pass is waited for."""
    refused = interlock(run, active.at, "walk")
    if refused is None and active.test != "still":
        open_s = GATE_S if active.test == "gate" else longest_s(run, active.at)
        refused = open_for(run, active, open_s)
    if refused is None:
        _enter(run, active, "opening")
    elif refused not in PASSING or run.state.mono_s - active.since_mono_s > WAITS_MOST_S:
        end_walk(run, f"The walk stopped at {_here(active)}. {REFUSALS[refused]}", refused.value)
    else:
        active.waits_for = refused.value


def _measure(run: Run, active: Active) -> None:
    """Look at the meter, or at the clock where there is none, until enough is known."""
    state = run.state
    watering = state.waterings.get(active.at)
    since_s: float | None = active.since_mono_s
    if active.test == "still":
        refused = interlock(run, active.at, "walk")
        if refused is not None:
            end_walk(run, f"The walk stopped. {REFUSALS[refused]}", refused.value)
            return
    elif watering is None:
        _enter(run, active, "closing")  # it ended by itself
        return
    elif watering.pulse is None or watering.pulse.phase not in {"running", "gate"}:
        return
    elif active.test == "gate":
        since_s = watering.pulse.since_mono_s
    else:
        since_s = state.valves[watering.pulse.valve].confirmed_mono_s
    if since_s is not None and _enough(run, active, since_s):
        if active.test != "still":
            end_opening(run, active)
        _enter(run, active, "closing")


def _enough(run: Run, active: Active, since_s: float) -> bool:
    elapsed_s = run.state.mono_s - since_s
    if run.garden.supply.meter is None:
        lasts_s = FILL_MOST_S + MEASURE_S if active.test == "walk" else EXERCISE_S
        return elapsed_s >= lasts_s
    least_s = stretch_s(run, active.at) if active.test == "walk" else REST_S
    listen(run, active, since_s, least_s)
    return active.meter.phase == "done" or active.fault != ""


def _conclude(run: Run, active: Active) -> None:
    ended_by = run.state.proving.ended_by
    if active.test != "still" and ended_by in ENDS_WALK:
        end_walk(run, f"The walk was cut at {_here(active)}: {ended_by}.", ended_by)
    elif active.test == "walk":
        _conclude_bed(run, active, ended_by)
    else:
        _conclude_rest(run, active, ended_by)


def _conclude_rest(run: Run, active: Active, ended_by: str) -> None:
    """The baseline: written where it was measured, sound or not; a leak ends the walk."""
    state, flow_l_min = run.state, active.meter.flow_l_min
    verdict = active.fault or OK
    if ended_by in {"silent", "master", "time"} and verdict == OK and flow_l_min is None:
        verdict = ended_by
    if run.garden.supply.meter is not None and verdict == OK:
        verdict = OK if rests(active.meter, pulse_l(run)) else "leak"
    state.proving.baseline = Baseline(
        mark=run.marks[""],
        who=active.who,
        at_utc_s=state.at_utc_s,
        verdict=verdict,
        flow_l_min=flow_l_min,
    )
    told = "no meter looked" if flow_l_min is None else f"{flow_l_min:.2f} L/min"
    text = f"All beds closed: {told}, {verdict} ({active.who})."
    run.note("walk", None, verdict, text, _numbers(flow_l_min=flow_l_min), durable=True)
    if verdict != OK:
        end_walk(run, f"With every bed closed the test came to {verdict}: {told}.", verdict)
        return
    active.todo.remove("")
    _enter(run, active, "next")


def _conclude_bed(run: Run, active: Active, ended_by: str) -> None:
    expected_l_min = run.garden.beds[active.at].flow_l_min
    flow_l_min = active.meter.flow_l_min
    metered = run.garden.supply.meter is not None
    verdict = OK
    if ended_by in {"silent", "master", "node"}:
        verdict = "master" if ended_by == "master" else "silent"
    elif ended_by == "dry":
        verdict = "no_flow"
    elif metered and ended_by == "litres":
        flow_l_min, verdict = so_far_l_min(active.meter), "apart"
    elif metered and flow_l_min is None:
        verdict = active.fault or "unmeasured"
    elif flow_l_min is not None and not fits(flow_l_min, expected_l_min):
        verdict = "apart"
    active.meter.flow_l_min = flow_l_min
    if verdict != OK:
        write(run, active, verdict, "")
    elif not active.yes:
        _enter(run, active, "asking")
    else:
        write(run, active, OK if metered else "nobody", "meter" if metered else "")


def write(run: Run, active: Active, verdict: str, confirmed: str) -> None:
    """Write down what came of the bed valve that the walk is at, and go on.

    Args:
        run: the engine's working set.
        active: the walk.
        verdict: `ok`, or why the valve is not armed.
        confirmed: who said that the right bed got wet.
    """
    state, bed = run.state, active.at
    expected_l_min, flow_l_min = run.garden.beds[bed].flow_l_min, active.meter.flow_l_min
    state.proving.walks[bed] = Walked(
        mark=run.marks[bed],
        who=active.who,
        at_utc_s=state.at_utc_s,
        verdict=verdict,
        expected_l_min=expected_l_min,
        flow_l_min=flow_l_min,
        fill_l=active.meter.fill_l,
        confirmed=confirmed,
    )
    numbers = _numbers(
        flow_l_min=flow_l_min, expected_l_min=expected_l_min, fill_l=active.meter.fill_l
    )
    run.note("walk", bed, verdict, bed_words(run, bed), numbers, durable=True)
    active.done += 1
    active.todo.remove(bed)
    run.nudge = True
    _enter(run, active, "next")


def bed_words(run: Run, bed: str) -> str:
    """What came of a bed valve's walk, in a sentence."""
    walked = walk_of(run, bed)
    name = bed_name(bed)
    if walked is None:
        return f"{name} has not been walked."
    flow = "no meter measured it"
    if walked.flow_l_min is not None:
        flow = (
            f"{walked.flow_l_min:.2f} L/min, its emitters should give "
            f"{walked.expected_l_min:.2f} L/min"
        )
    if walked.verdict != OK:
        return f"{name} {FAULTS[walked.verdict]}. Not armed ({flow})."
    said = "a person says so" if walked.confirmed == "person" else "the meter agrees"
    return f"{name} is walked: {flow}; the right bed, {said}."


def _numbers(**told: float | None) -> dict[str, float]:
    return {key: value for key, value in told.items() if value is not None}


def _here(active: Active) -> str:
    return bed_name(active.at) if active.test == "walk" else "the test with every bed closed"


def _finish(run: Run) -> None:
    """The end of a walk that looked at all that it was to look at."""
    proving, left = run.state.proving, unarmed(run)
    if any(armed(run, bed) for bed in run.garden.beds):
        proving.since_trusted_s, proving.sound_trusted_s = run.trusted_s, None
    if not left:
        text = "Walked: every valve is armed."
    elif proving.backflow is None and not run.state.armed:
        text = "Walked, and not armed: say which backflow device is fitted and when it was tested."
    else:
        text = f"Walked. Not armed: {', '.join(bed_name(bed) for bed in left)}."
    end_walk(run, text, "walked")


def end_walk(run: Run, text: str, code: str = "ended") -> None:
    """A walk ends, done or not; what was finished stays.

    Args:
        run: the engine's working set.
        text: for people.
        code: for programs.
    """
    proving = run.state.proving
    proving.active, proving.said = None, text
    run.note("walk", None, code, text, durable=True)
    run.nudge = True
