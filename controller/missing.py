"""A turn that a person wants left out: one night, and then the bed has its turns again."""

from __future__ import annotations

from dataclasses import replace

from controller.run import Run
from controller.watering.hours import Window


def end_miss(run: Run, bed: str, window: Window) -> None:
    """The night that was missed is over: so is the miss."""
    memory = run.state.beds[bed]
    wanted = memory.miss
    if wanted is not None and wanted.night_utc_s not in {None, window.from_utc_s}:
        memory.miss = None


def miss_night(run: Run, bed: str, window: Window) -> None:
    """The bed would have had its turn in these hours: it is missed now, and all night long."""
    memory = run.state.beds[bed]
    if memory.miss is not None:
        memory.miss = replace(memory.miss, night_utc_s=window.from_utc_s)
