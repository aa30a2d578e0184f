"""The meter's word taken into the stretch that a walk or a proof measures."""

from __future__ import annotations

from controller.proving.measure import begin, fill, hear, measure_s, measured
from controller.proving.memory import Active
from controller.proving.openings import pulse_l
from controller.run import Run
from controller.watering import hose

METER_SILENT_S = 180.0  # as long as a meter is taken for alive


def listen(run: Run, active: Active, since_mono_s: float, least_s: float) -> None:
    """Carry the measuring on by what the meter said last.

    Args:
        run: the engine's working set.
        active: the walk or proof; its `meter` and `fault` are changed.
        since_mono_s: words from before this do not count [s].
        least_s: how long the measured stretch lasts at least [s].
    """
    state, meter = run.state, active.meter
    if other_water(run):
        active.fault = "other_water"
        return
    total = state.meter
    heard_s = total.mono_s
    fresh = heard_s is not None and heard_s >= since_mono_s
    quiet_s = state.mono_s - max(heard_s if heard_s is not None else since_mono_s, since_mono_s)
    if quiet_s > run.arrival_s(METER_SILENT_S):
        active.fault = "meter_fault" if "meter_fault" in state.alerts else "meter_silent"
        return
    if not fresh or total.litres_total is None:
        return
    litres, up_s = total.litres_total, total.up_s
    if not hear(meter, litres, up_s, total.boot):
        active.fault = "meter_fault"
    elif meter.phase == "filling":
        if active.test == "still":
            begin(meter)
        elif active.test == "gate":
            fill(meter, litres, up_s, 0.0, pulse_l(run))
        else:
            fill(meter, litres, up_s, run.garden.beds[active.at].flow_l_min, pulse_l(run))
    elif meter.phase == "measuring":
        measured(meter, litres, up_s, least_s)


def other_water(run: Run) -> bool:
    """Whether water that is no bed's runs behind the meter, announced or asked about."""
    return hose.announced(run) or run.state.taps.asked_trusted_s is not None


def stretch_s(run: Run, bed: str) -> float:
    """How long a bed's flow is measured [s]."""
    return measure_s(run.garden.beds[bed].flow_l_min, pulse_l(run))
