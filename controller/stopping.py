"""A person's stop holds for hours: the policy does not undo it, and a person may let it go on."""

from __future__ import annotations

from controller.run import Run
from controller.state import Said
from controller.watering.decision import Reason
from controller.watering.words import words

STOP_HOLDS_S = 6 * 3600.0  # the policy does not undo a person's stop for so long


def hold(run: Run, bed: str) -> None:
    """The policy does not undo what a person stopped."""
    memory = run.state.beds[bed]
    memory.stopped_mono_s = run.state.mono_s + STOP_HOLDS_S
    memory.not_before_mono_s = max(memory.not_before_mono_s, memory.stopped_mono_s)
    memory.said = Said(
        code=Reason.STOPPED.value,
        text=words(bed, Reason.STOPPED, {}),
        at_utc_s=run.state.at_utc_s,
    )


def held_s(run: Run, bed: str) -> float | None:
    """How much longer a person's stop holds a bed [s]; None where none does."""
    left_s = run.state.beds[bed].stopped_mono_s - run.state.mono_s
    return left_s if left_s > 0.0 else None


def go_on(run: Run, beds: list[str]) -> bool:
    """A person lets stopped beds drink by themselves again.

    Args:
        run: the engine's working set.
        beds: which.

    Returns:
        Whether one of them was stopped.
    """
    stopped = [bed for bed in beds if held_s(run, bed) is not None]
    for bed in stopped:
        memory = run.state.beds[bed]
        memory.not_before_mono_s = memory.stopped_mono_s = 0.0
        memory.judged_from_utc_s = None
    return bool(stopped)
