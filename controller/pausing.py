"""Pauses: how one that stands may change, when it is over, and that it is called out meanwhile."""

from __future__ import annotations

from dataclasses import replace

from controller.run import Run
from controller.state import Pause
from controller.watering.words import bed_name

DAY_S = 86_400.0


def standing(run: Run, bed: str | None) -> Pause | None:
    """The pause of one bed, or with None the whole garden's."""
    if bed is None:
        return run.state.pause
    memory = run.state.beds.get(bed)
    return None if memory is None else memory.pause


def put(run: Run, bed: str | None, pause: Pause | None) -> None:
    """Let a pause of a bed, or with None of the whole garden, stand or be over."""
    if bed is None:
        run.state.pause = pause
    elif bed in run.state.beds:
        run.state.beds[bed].pause = pause


def merged(before: Pause | None, asked: Pause, *, only_longer: bool) -> Pause | None:
    """What a pause becomes that is ordered while another may stand.

    Its day's note is due when it was: nobody keeps it away by ordering a pause anew.

    Args:
        before: the one that stands.
        asked: the one that is ordered.
        only_longer: whether it may end none sooner, nor take another's reason away.

    Returns:
        The pause that stands from now on; None where the one before has to stay as it is.
    """
    if before is None:
        return asked
    if only_longer:
        if asked.until_utc_s < before.until_utc_s:
            return None
        asked = replace(asked, why=before.why)
    return replace(asked, called_trusted_s=before.called_trusted_s)


def end_pauses(run: Run) -> None:
    """Pauses whose time is over end."""
    state = run.state
    if state.pause is not None and state.at_utc_s >= state.pause.until_utc_s:
        state.pause = None
        run.end_alert("paused")
    for bed, memory in state.beds.items():
        if memory.pause is not None and state.at_utc_s >= memory.pause.until_utc_s:
            memory.pause = None
            run.end_alert("paused", bed)


def call_pauses(run: Run) -> None:
    """A pause that lasts is called out once a day while a bed grows that it keeps dry."""
    state = run.state
    if state.pause is not None and any(run.grows(bed) for bed in run.garden.beds):
        _call_pause(run, state.pause, None)
    for bed, memory in state.beds.items():
        if memory.pause is not None and run.grows(bed):
            _call_pause(run, memory.pause, bed)


def _call_pause(run: Run, pause: Pause, bed: str | None) -> None:
    """Raise the pause's alert anew, a day after it was last called; it stands since it began."""
    if pause.called_trusted_s is None:
        pause.called_trusted_s = run.trusted_s
    if run.trusted_s - pause.called_trusted_s < DAY_S:
        return
    pause.called_trusted_s = run.trusted_s
    before = run.state.alerts.pop("paused" if bed is None else f"paused-{bed}", None)
    left_d = (pause.until_utc_s - run.state.at_utc_s) / DAY_S
    left = f"{left_d:.0f} days" if left_d >= 1.5 else f"{24.0 * left_d:.0f} h"
    name = "The garden" if bed is None else bed_name(bed)
    run.raise_alert(
        "paused",
        f"{name} is still paused by a person, for another {left}: no watering of its own. "
        "Plants dry out meanwhile.",
        bed=bed,
    )
    key = "paused" if bed is None else f"paused-{bed}"
    if before is not None:
        run.state.alerts[key] = replace(run.state.alerts[key], since_utc_s=before.since_utc_s)
