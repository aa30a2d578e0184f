"""What a walk or a proof opens: one pulse at a time, through the guard, reserved like any other.

`walk`: a bed valve behind the open master. `shut`: a bed valve behind the closed master. `gate`:
the master alone, every bed closed; its reservation is a bed's and ends as never sent.
"""

from __future__ import annotations

from controller.proving.arming import flow_of
from controller.proving.measure import FILL_MOST_S, REST_S, measure_s
from controller.proving.memory import Active
from controller.run import Run
from controller.state import Watering
from controller.watering.guard import caps_of, may_flow
from controller.watering.leasing import edge_free, fits_master
from controller.watering.limits import Refused
from controller.watering.settling import cut
from controller.watering.valves import begin_pulse

SPARE_S = 120.0  # beyond fill and minute, for words that come late
WANT_FACTOR = 1.6  # more than that is no flow of this bed: its opening ends
GATE_S = FILL_MOST_S + REST_S + 4 * SPARE_S
GATE_L = 1.0
PROVED = "proved"


def pulse_l(run: Run) -> float:
    """Litres of one pulse of the garden's meter; 0 without one."""
    meter = run.garden.supply.meter
    return 0.0 if meter is None else run.garden.meters[meter].litres_per_pulse


def open_for(run: Run, active: Active, open_s: float) -> Refused | None:
    """Reserve the opening that is next; None where the reservation went to the record.

    Args:
        run: the engine's working set.
        active: the walk or proof; `at` and `test` say which opening.
        open_s: the longest that it may last [s].
    """
    state, bed = run.state, active.at
    if state.waterings or not _at_rest(run, active):
        return Refused.BUSY
    if not (edge_free(run) and (active.test == "shut" or fits_master(run, open_s))):
        return Refused.BUSY
    flow_l_min = run.garden.beds[bed].flow_l_min
    want_l = {
        "gate": GATE_L,
        "shut": flow_of(run, bed) * open_s / 60.0,
        "walk": WANT_FACTOR * flow_l_min * open_s / 60.0,
    }[active.test]
    state.doses += 1
    watering = Watering(
        watering=f"{state.epoch}-{state.doses}",
        bed=bed,
        by=f"{active.kind}:{active.who}" if active.kind == "walk" else active.kind,
        want_l=want_l,
        pulses=1,
        pulse_l=want_l,
        pulse_s=open_s,
        need=0.0,
        until_utc_s=None,
        started_utc_s=state.at_utc_s,
        proof=active.test,
    )
    state.waterings[bed] = watering
    refused = begin_pulse(run, watering)
    if refused is not None:
        del state.waterings[bed]
    return refused


def _at_rest(run: Run, active: Active) -> bool:
    """Whether every bed valve is surely closed, and behind a `shut` test the master too."""
    if any(may_flow(run, bed.valve) for bed in run.garden.beds.values()):
        return False
    if active.test != "shut" or run.master is None:
        return True
    return run.state.valves[run.master].state == "closed"


def longest_s(run: Run, bed: str) -> float:
    """How long a bed valve may be open for its walk [s]."""
    flow_l_min = run.garden.beds[bed].flow_l_min
    wanted_s = FILL_MOST_S + measure_s(flow_l_min, pulse_l(run)) + SPARE_S
    return min(wanted_s, caps_of(run, bed).open_most_s)


def end_opening(run: Run, active: Active) -> None:
    """Close what was opened for it; the books follow."""
    cut(run, active.at, PROVED)
