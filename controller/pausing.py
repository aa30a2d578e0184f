"""Pauses: how one that stands may change, when it is over, and that it is called out meanwhile.

One is over when the wall clock and trusted time both say so: a wall clock that runs ahead for some
minutes ends none. Trusted time does not count how long a board without a set clock was off, so a
pause may last longer by that, never shorter; its note of each day tells how long it still is.
"""

from __future__ import annotations

from dataclasses import replace

from controller.run import Run
from controller.state import Pause
from controller.watering.words import bed_name

DAY_S = 86_400.0
PAUSE_MOST_S = 366 * DAY_S
DRIFT_S = 60.0  # two clocks that are both right may be so far apart


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
        asked = replace(asked, why=before.why, until_trusted_s=_later(before, asked))
    return replace(asked, called_trusted_s=before.called_trusted_s)


def _later(before: Pause, asked: Pause) -> float | None:
    ends = [one.until_trusted_s for one in (before, asked) if one.until_trusted_s is not None]
    return max(ends, default=None)


def left_s(run: Run, pause: Pause) -> float:
    """How long a pause still is, by the clock that has longer to go [s]; 0 where it is over."""
    wall_s = pause.until_utc_s - run.state.at_utc_s
    if pause.until_trusted_s is None:
        return max(0.0, wall_s)
    steady_s = pause.until_trusted_s - run.trusted_s
    return max(0.0, wall_s, 0.0 if steady_s <= DRIFT_S else steady_s)


def ends_utc_s(run: Run, pause: Pause) -> float:
    """When a pause is over, as the wall clock stands now [s, Unix]."""
    end_s = run.state.at_utc_s + left_s(run, pause)
    return pause.until_utc_s if abs(end_s - pause.until_utc_s) <= DRIFT_S else end_s


def keeps_dry(run: Run, bed: str) -> bool:
    """Whether a pause of a bed, or of the whole garden, lets it have no water of its own."""
    return any(
        pause is not None and left_s(run, pause) > 0.0
        for pause in (run.state.beds[bed].pause, run.state.pause)
    )


def end_pauses(run: Run) -> None:
    """Pauses whose time is over end."""
    for bed in (None, *run.state.beds):
        pause = standing(run, bed)
        if pause is None:
            continue
        _fit_trusted(run, pause)
        if left_s(run, pause) <= 0.0:
            put(run, bed, None)
            run.end_alert("paused", *(() if bed is None else (bed,)))


def _fit_trusted(run: Run, pause: Pause) -> None:
    """Give a pause of an older record its end in trusted time, where the clock can tell it."""
    wall_s = pause.until_utc_s - run.state.at_utc_s
    if pause.until_trusted_s is None and run.state.clock_synced and 0.0 < wall_s <= PAUSE_MOST_S:
        pause.until_trusted_s = run.trusted_s + wall_s


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
    left_d = left_s(run, pause) / DAY_S
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
