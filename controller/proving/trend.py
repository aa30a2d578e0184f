"""A bed's flow over its waterings, held against the flow that its walk found (hazard M5)."""

from __future__ import annotations

from controller.proving.arming import OK, walk_of
from controller.run import Run
from controller.watering.words import bed_name

LEAST_S = 600.0  # shorter pulses tell too little: how they begin and end weighs too much
SHARE = 0.5  # of the newest in the trend: our own
DOSES = 3  # before it says anything
LOW_FRAC = 0.85
WELL_FRAC = 0.90


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
            f"{walked.flow_l_min:.1f}. Filter or emitters clog: flush the lines, clean the filter.",
            bed=bed,
        )
    elif share >= WELL_FRAC:
        run.end_alert("flow_low", bed)
