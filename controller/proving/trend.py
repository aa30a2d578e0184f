"""A bed's flow over its waterings, held against the flow that its walk found (hazard M5).

Beds that drink together share one count. Where that is off by a fifth nobody knows by which of
them: each drinks alone the next time, and is measured.
"""

from __future__ import annotations

from controller.proving.arming import OK, flow_of, walk_of
from controller.run import Run
from controller.watering.words import bed_name

LEAST_S = 600.0  # shorter pulses tell too little: how they begin and end weighs too much
SHARE = 0.5  # of the newest in the trend: our own
DOSES = 3  # before it says anything
LOW_FRAC = 0.85
WELL_FRAC = 0.90
OFF_FRAC = 0.2
ALONE_LEAST_S = 60.0  # so long a bed has to drink alone, for its flow to be told


def watch_flow(run: Run, bed: str, litres: float, open_s: float) -> None:
    """Take what one opening gave into the bed's trend; too little is called out.

    Args:
        run: the engine's working set.
        bed: whose; it drank alone, and the meter counted.
        litres: what it gave [L].
        open_s: from the node's word that it is open to its word that it is closed [s].
    """
    walked = walk_of(run, bed)
    if walked is None or walked.verdict != OK or walked.flow_l_min is None or open_s < LEAST_S:
        return
    l_min, trend = 60.0 * litres / open_s, walked.trend_l_min
    walked.trend_l_min = l_min if trend is None else trend + SHARE * (l_min - trend)
    walked.trend_doses += 1
    share = walked.trend_l_min / walked.flow_l_min
    if walked.trend_doses >= DOSES and share < LOW_FRAC:
        run.raise_alert(
            "flow_low",
            f"{bed_name(bed)} takes {walked.trend_l_min:.1f} L/min; when it was walked it took "
            f"{walked.flow_l_min:.1f} L/min. Filter or emitters clog: flush the lines, clean the "
            "filter.",
            bed=bed,
        )
    elif share >= WELL_FRAC:
        run.end_alert("flow_low", bed)


def watch_together(run: Run, beds: list[str], l_min: float) -> None:
    """Hold the steady flow of beds that drink together against what their walks found.

    Args:
        run: the engine's working set.
        beds: those that drink.
        l_min: what they take by the meter [L/min].
    """
    walked = all(_is_walked(run, bed) for bed in beds)
    due_l_min = sum(flow_of(run, bed) for bed in beds)
    if len(beds) < 2 or not walked or abs(l_min - due_l_min) <= OFF_FRAC * due_l_min:
        return
    if all(run.state.beds[bed].alone for bed in beds):
        return
    for bed in beds:
        run.state.beds[bed].alone = True
    names = ", ".join(bed_name(bed) for bed in beds)
    text = (
        f"{names} take {l_min:.1f} L/min where {due_l_min:.1f} L/min should: each drinks alone "
        "next."
    )
    run.note("watering", beds[0], "alone_next", text, {"l_min": l_min, "due_l_min": due_l_min})


def _is_walked(run: Run, bed: str) -> bool:
    walked = walk_of(run, bed)
    return walked is not None and walked.verdict == OK and walked.flow_l_min is not None


def was_alone(run: Run, bed: str, open_s: float) -> None:
    """A bed drank alone by the meter for so long [s]: it may share again."""
    if open_s >= ALONE_LEAST_S:
        run.state.beds[bed].alone = False
