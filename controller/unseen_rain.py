"""Rain that nobody measures: what the books of a bed in the dark leave room for.

Where no probe has told of a bed for a day and no mast tells its rain, some of what it uses is met
by rain that nobody sees. The books count `COUNTED_FRAC` of the use then. What they spared is taken
back once a mast tells again, since its total says what really fell; where a probe speaks again, the
probe is believed. By the clock that nobody can set, so that a thrown wall clock changes nothing.

The share is the project's own, by trial (`python -m sim.blind_trials`): with it a garden without
probes and mast takes about what it takes with both.
"""

from __future__ import annotations

from controller.blindness import blind_d
from controller.run import Run

COUNTED_FRAC = 0.75
AFTER_D = 1.0  # of the bed without a probe; until then its last word is young enough


def settle(run: Run, bed: str, used_mm: float, *, heard: bool) -> None:
    """Spare a bed in the dark a part of a step's use, or take back what was spared.

    Args:
        run: the engine's working set.
        bed: which.
        used_mm: what the step took out of it [mm over the strip], 0 or more.
        heard: whether a mast told its rain in the last two hours.
    """
    memory, setting = run.state.beds[bed], run.garden.beds[bed]
    water, has_teller = run.state.water[bed], bool(setting.probes or setting.like)
    if has_teller and memory.blind_trusted_s is None:
        memory.spared_mm = 0.0
    elif heard:
        back_mm = min(memory.spared_mm, max(0.0, run.days[bed].taw_mm - water.depletion_mm))
        water.depletion_mm += back_mm
        water.in_mm -= back_mm
        memory.spared_mm = 0.0
    elif not has_teller or blind_d(run, bed) >= AFTER_D:
        spared_mm = min((1.0 - COUNTED_FRAC) * used_mm, water.depletion_mm)
        water.depletion_mm -= spared_mm
        water.in_mm += spared_mm
        memory.spared_mm += spared_mm
