"""What crashes cost: a bed whose doses end in them waits for a person; in a loop nothing opens.

Three crashes, each within a dose of one bed and without a sound dose of it between, quarantine that
bed. Five starts within ten minutes, none of whose runs ended well, or three stumbles of the engine
within ten minutes, make the controller look on only: page and alarms go on, nothing opens until it
has run for an hour or a person lifts the alert. Numbers: the safety standard's, the hour and the
stumbles ours.
"""

from __future__ import annotations

from controller.events import Started, Stumbled
from controller.run import Run
from controller.watering.words import bed_name

CRASHES_IN_DOSE = 3
STARTS_MOST = 5
WITHIN_S = 600.0  # [s] for starts and for stumbles
STUMBLES_MOST = 3
QUIET_S = 3600.0  # [s] without a crash or a stumble, after which it may water again

LOOKS_ON = (
    "Until it has run for an hour, or a person lifts this, it only looks and opens nothing. Page "
    "and alarms go on; pour by hand if plants need it."
)


def begun(run: Run, event: Started) -> None:
    """A run begins: count what the last one's end has cut, and how many began lately."""
    state = run.state
    state.stumbled_mono_s.clear()
    if not event.crashed:
        return
    for bed in sorted({e.bed for e in event.ledger if _was_cut(e.ended_trusted_s, event)}):
        memory = state.beds.get(bed)
        if memory is None:
            continue
        memory.crashes += 1
        if memory.crashes >= CRASHES_IN_DOSE:
            memory.crashes = 0  # it counts anew once a person has lifted it
            run.raise_alert(
                "crash_loop",
                f"The controller crashed {CRASHES_IN_DOSE} times while {bed_name(bed)} drank, so "
                "this bed gets no water until a person lifts this. Look at its valve and its log.",
                bed=bed,
                person=True,
            )
    if event.starts_lately >= STARTS_MOST:
        _look_on(run, f"The controller started {event.starts_lately} times within ten minutes.")


def _was_cut(ended_trusted_s: float | None, event: Started) -> bool:
    """Whether an opening was still without an end when the last run ended."""
    return ended_trusted_s is not None and ended_trusted_s >= event.trusted_s


def stumbled(run: Run, event: Stumbled) -> None:
    """The engine fell over an event; the daemon has closed every valve."""
    state = run.state
    state.stumbled_mono_s.append(state.mono_s)
    state.stumbled_mono_s[:] = [s for s in state.stumbled_mono_s if state.mono_s - s <= WITHIN_S]
    run.raise_alert(
        "stumbled",
        f"The controller stumbled over a message of kind {event.over} and closed every valve. It "
        "goes on; its log says more.",
    )
    if len(state.stumbled_mono_s) >= STUMBLES_MOST:
        _look_on(run, f"The controller stumbled {STUMBLES_MOST} times within ten minutes.")


def _look_on(run: Run, why: str) -> None:
    run.close_all()
    run.raise_alert("crash_loop", f"{why} {LOOKS_ON}")


def mind(run: Run) -> None:
    """End what an hour of sound running ends."""
    state = run.state
    since_s = max([state.started_mono_s, *state.stumbled_mono_s])
    if state.alerts and state.mono_s - since_s >= QUIET_S:
        run.end_alert("crash_loop")
        run.end_alert("stumbled")
