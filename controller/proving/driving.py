"""Water on the move, walks and proofs, carried on with every event; and what a start makes of them.

The engine's one door to this package.
"""

from __future__ import annotations

from controller import judge, meter_trial
from controller.events import Started
from controller.proving import proof, walk
from controller.proving.arming import marks_of as marks_of
from controller.run import Run
from controller.watering import hose, stuck, valves


def drive(run: Run) -> None:
    """Carry every watering on, and the walk or proof that is under way, if any is."""
    state = run.state
    if state.waterings or run.master is not None:
        valves.drive(run)
    stuck.drive(run)
    active = state.proving.active
    if active is None:
        return
    if active.kind == "walk":
        walk.step(run, active)
    else:
        proof.step(run, active)


def under_way(run: Run) -> bool:
    """Whether water runs, is about to, or is looked for: then every tick counts."""
    proving = run.state.proving.active is not None or stuck.suspected(run)
    return bool(run.state.waterings) or proving


def judge_all(run: Run) -> None:
    """Judge the beds; then, where nothing drinks, whether the master valve is to be proved."""
    hose.mind(run)
    judge.judge_all(run)
    proof.consider(run)


def begin_run(run: Run, event: Started) -> None:
    """A process begins: what was under way is over; finished valves stay walked."""
    stuck.begin_run(run)
    meter_trial.begin_run(run)
    proving = run.state.proving
    if proving.active is not None:
        if proving.active.kind == "walk":
            walk.end_walk(run, f"The walk was cut by a restart. {walk.GO_ON}")
        proving.active = None
    proving.proofs = event.proofs
    if event.proofs and event.armed and proving.since_trusted_s is None:
        proving.since_trusted_s = event.trusted_s
