"""What a walk is worth: which valves it arms, and the flow that it found.

A record counts as long as the entries of the garden file that it was made under stand as they
were: emitters, rates, valve, meter. Trials (`state.armed`) need no walk, but obey one that refused.
"""

from __future__ import annotations

import json

from controller.garden import Garden
from controller.proving.memory import Walked
from controller.run import Run

OK = "ok"
FILLING = frozenset({"waiting", "filling"})


def mark_of(garden: Garden, bed: str) -> str:
    """The entries that a bed valve's walk rests on, as text that can be compared."""
    here = garden.beds[bed]
    valve = garden.valves[here.valve]
    return json.dumps(
        [here.emitters, here.emitter_l_h, here.valve, valve.model_dump(mode="json"), _meter(garden)]
    )


def site_mark(garden: Garden) -> str:
    """The entries that the baseline rests on: the master valve and the meter."""
    master = garden.master
    valve = None if master is None else garden.valves[master].model_dump(mode="json")
    return json.dumps([master, valve, _meter(garden)])


def _meter(garden: Garden) -> list[object]:
    name = garden.supply.meter
    if name is None:
        return []
    return [name, garden.meters[name].litres_per_pulse, garden.topic("meter", name)]


def marks_of(garden: Garden) -> dict[str, str]:
    """The marks of all beds, and of the site by the empty name."""
    return {"": site_mark(garden), **{bed: mark_of(garden, bed) for bed in garden.beds}}


def walk_of(run: Run, bed: str) -> Walked | None:
    """A bed valve's walk, where it still counts."""
    walked = run.state.proving.walks.get(bed)
    return walked if walked is not None and walked.mark == run.marks.get(bed) else None


def baseline_stands(run: Run) -> bool:
    """Whether a sound baseline counts for this master valve and meter."""
    baseline = run.state.proving.baseline
    return baseline is not None and baseline.verdict == OK and baseline.mark == run.marks.get("")


def armed(run: Run, bed: str) -> bool:
    """Whether this bed's valve may be opened at all."""
    walked = walk_of(run, bed)
    if run.state.armed:
        return walked is None or walked.verdict == OK
    if walked is None or walked.verdict != OK:
        return False
    return run.state.proving.backflow is not None and baseline_stands(run)


def unarmed(run: Run) -> list[str]:
    """The beds whose valves may not be opened, in order."""
    return [bed for bed in run.garden.beds if not armed(run, bed)]


def flow_of(run: Run, bed: str) -> float:
    """The bed's flow as the walk found it, else emitters x rating [L/min]."""
    walked = walk_of(run, bed)
    if walked is None or walked.verdict != OK or walked.flow_l_min is None:
        return run.garden.beds[bed].flow_l_min
    return walked.flow_l_min


def fill_of(run: Run, bed: str) -> float | None:
    """The litres that fill a bed's line [L], None where no meter told."""
    walked = walk_of(run, bed)
    return None if walked is None or walked.flow_l_min is None else walked.fill_l


def at_work(run: Run) -> bool:
    """Whether a walk or a proof is under way: nothing else opens meanwhile."""
    return run.state.proving.active is not None


def walks(run: Run) -> bool:
    """Whether a walk measures a bed: what is too much there is the walk's to say."""
    active = run.state.proving.active
    return active is not None and active.test == "walk"


def fills(run: Run) -> bool:
    """Whether the pipe behind the master fills: that is no leak."""
    active = run.state.proving.active
    return active is not None and active.test == "gate" and active.meter.phase in FILLING
