"""A wall clock that nobody has set (T4): called out, and the hours do not hold by it.

Water then goes by the soil alone: each bed is judged once in 24 hours of trusted time, whenever its
turn falls. Weekdays and frost months hold by the doubtful date all the same: they only take water
away. As soon as the clock is set the nights are the nights again.
"""

from __future__ import annotations

from controller.events import ClockState
from controller.run import Run
from controller.watering.hours import Window

DAY_S = 86_400.0
CHANGED = {
    True: "The board's clock is set. Rows from before may bear a wrong time.",
    False: "The board's clock is no longer known to be set: the times of rows are doubtful.",
}


def clock_state(run: Run, event: ClockState) -> None:
    """The clock was set, or is no longer known to be."""
    if run.state.clock_synced != event.synced:
        run.state.clock_synced = event.synced
        run.window, run.nudge = None, True
        code = "clock_set" if event.synced else "clock_unset"
        run.note("state", None, code, CHANGED[event.synced], numbers(run))


def numbers(run: Run) -> dict[str, float]:
    """What a note tells of the clock, by which the record knows its doubtful rows."""
    return {"clock_synced": float(run.state.clock_synced), "trusted_s": run.trusted_s}


def hour_ended(run: Run) -> None:
    """An hour that is kept under a clock that nobody has set is marked in the record."""
    if not run.state.clock_synced:
        run.note("state", None, "hour_unsynced", "This hour was kept by a clock that is not set.")


def mind(run: Run) -> None:
    """The alert, while the clock is not set."""
    if run.state.clock_synced:
        run.end_alert("clock_unsynced")
        return
    run.raise_alert(
        "clock_unsynced",
        "Nobody has set this board's clock. Beds are watered by their soil at any hour, each "
        "judged once in 24 hours; dates and times may be wrong.",
    )


def soil_window(run: Run) -> Window | None:
    """The 24 hours of trusted time that stand for the hours while the clock is not set.

    Returns:
        The window, in the wall clock's own terms; None where the garden's hours hold.
    """
    state = run.state
    if state.clock_synced or run.garden.supply.days is not None:
        return None
    block = int(run.trusted_s // DAY_S)
    if block != state.unset_block:
        state.unset_block, state.unset_from_utc_s = block, state.at_utc_s
    left_s = (block + 1) * DAY_S - run.trusted_s
    from_utc_s = min(state.unset_from_utc_s, state.at_utc_s)
    return Window(from_utc_s=from_utc_s, to_utc_s=state.at_utc_s + left_s)
