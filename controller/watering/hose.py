"""Other hands on the water: what a person announced, and flow that nobody announced.

An announced hose is no leak, bursts nothing and latches nothing. It ends by itself, by trusted time
or by the wall clock, whichever is sooner: a doubtful clock never makes it longer. Where others use
the same water (`[supply] shared`), flow that nobody announced is asked about before it is called a
leak, unless a bed valve that has just closed may be its cause. So is water that runs on past an
announcement; unanswered for a quarter of an hour that is a leak, where the water is not shared.
"""

from __future__ import annotations

from controller.proving.arming import flow_of
from controller.run import Run
from controller.told_state import Hose

ASKED = "flow_asked"
HOSE_MOST_S = 12 * 3600.0  # the longest that can be announced: our own choice
MINE_S = 1800.0  # "that was me" is good for so long: our own choice
REST_S = 60.0  # a meter that stood for so long is at rest, and so is whoever used the water
RUN_ON_S = 900.0  # water past an announcement, unanswered
SUSPECT_S = 600.0  # a bed valve is suspect for so long after its close
SUSPECT_SHARE = 1.0 / 3.0  # of the bed's flow
EXCESS_FACTOR = 1.15  # above what the open beds take, where others use the water too


def announced(run: Run) -> bool:
    """Whether other water is expected behind the meter now."""
    hose, state = run.state.taps.hose, run.state
    if hose is None:
        return False
    return run.trusted_s < hose.until_trusted_s and state.at_utc_s < hose.until_utc_s


def announce(run: Run, seconds: float, who: str) -> None:
    """Expect other water for so long [s]; a newer word takes the place of an older one."""
    taps, state = run.state.taps, run.state
    taps.hose = Hose(
        since_utc_s=state.at_utc_s,
        until_utc_s=state.at_utc_s + seconds,
        until_trusted_s=run.trusted_s + seconds,
        who=who,
    )
    _forget_question(run)


def end(run: Run, text: str) -> None:
    """End an announcement; what still flows is asked about."""
    run.state.taps.hose = None
    run.note("hose", None, "over", text, durable=True)


def mind(run: Run) -> None:
    """Let an announcement end whose time is over."""
    if run.state.taps.hose is not None and not announced(run):
        end(run, "The time of the announced hose is over.")


def heard(run: Run, litres: float, over_s: float) -> None:
    """Take note of whether the meter turns or rests.

    Args:
        run: the engine's working set.
        litres: gained since its last word [L].
        over_s: over so long, by its own clock [s].
    """
    meter, taps = run.state.meter, run.state.taps
    if litres > 0.0:
        meter.quiet_s = 0.0
        return
    meter.quiet_s = min(meter.quiet_s + over_s, 2.0 * REST_S)
    if meter.quiet_s >= REST_S:
        meter.rested_trusted_s = run.trusted_s
        taps.ran_on = False
        if taps.asked_trusted_s is not None:
            _forget_question(run)


def others_l_min(run: Run) -> float:
    """What flows beside the beds by a question that stands [L/min]; 0 where none does."""
    taps = run.state.taps
    return taps.others_l_min if taps.asked_trusted_s is not None else 0.0


def others_about(run: Run) -> bool:
    """Whether water that is not the beds' may run behind the meter."""
    shared = run.garden.supply.shared
    return shared or announced(run) or run.state.taps.asked_trusted_s is not None


def beside(run: Run, litres: float, over_s: float, flow_l_min: float) -> bool:
    """Whether what the meter gained is not the beds' alone.

    Args:
        run: the engine's working set.
        litres: gained [L].
        over_s: over so long [s].
        flow_l_min: what the open beds take [L/min].
    """
    if announced(run) or run.state.taps.asked_trusted_s is not None:
        return True
    most_l = EXCESS_FACTOR * flow_l_min * over_s / 60.0
    return run.garden.supply.shared and not litres <= most_l


def suspect(run: Run, rate_l_min: float) -> str | None:
    """The bed whose valve closed a moment ago and may be the cause of a flow [L/min], if any."""
    rested_s = run.state.meter.rested_trusted_s
    for name, bed in run.garden.beds.items():
        closed_s = run.state.valves[bed.valve].closed_trusted_s
        if closed_s is None or run.trusted_s - closed_s > SUSPECT_S:
            continue
        rested = rested_s is not None and rested_s > closed_s
        if not rested and rate_l_min > SUSPECT_SHARE * flow_of(run, name):
            return name
    return None


def asks_first(run: Run, rate_l_min: float) -> bool:
    """Whether flow that nobody announced is asked about before it counts as a leak."""
    taps = run.state.taps
    if "leak" in run.state.alerts or suspect(run, rate_l_min) is not None:
        return False
    if not (run.garden.supply.shared or taps.ran_on):
        return False
    since_s = taps.asked_trusted_s
    if since_s is None or run.garden.supply.shared:
        return True
    return run.trusted_s - since_s < RUN_ON_S


def ask(run: Run, rate_l_min: float) -> None:
    """Ask whose water this is, once as long as it flows."""
    taps = run.state.taps
    taps.others_l_min = rate_l_min
    if taps.asked_trusted_s is None:
        taps.asked_trusted_s = run.trusted_s
    run.raise_alert(
        ASKED,
        f"{rate_l_min:.1f} L/min flow although every bed is closed, and nobody announced it. Was "
        "that you?",
    )


def leak(run: Run, text: str) -> None:
    """It is a leak: everything is closed until a person has looked."""
    _forget_question(run)
    run.close_all()
    run.raise_alert("leak", text, person=True)


def _forget_question(run: Run) -> None:
    taps = run.state.taps
    taps.asked_trusted_s, taps.others_l_min = None, 0.0
    run.end_alert(ASKED)
