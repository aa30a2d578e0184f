"""Whether it is too cold for water (E2): by the mast, by the frost months, or in a bed's own soil.

Air and months keep every bed shut, a probe's soil temperature its own bed. A probe that tells of
frost while the air has not come near it for a day is not believed: frozen soil needs cold air.
"""

from __future__ import annotations

from controller.run import Run
from controller.sensing.quality import SOIL_LOWEST_C

FROST_C = 2.0
TOLD_FRESH_S = 7200.0
WARM_AIR_C = 8.0  # in its coldest hour of a whole day: no soil at a probe freezes then; our own
WHOLE_DAY_H = 20


def frost(run: Run) -> bool:
    """Whether it is too cold: the mast says so, or the garden file's frost months."""
    sky, state = run.state.sky, run.state
    heard_s = sky.mono_s
    if heard_s is not None and state.mono_s - heard_s <= TOLD_FRESH_S:
        temp_c = sky.temp_c
        if temp_c is not None and not temp_c >= FROST_C:
            return True
    span = run.garden.garden.frost_lock
    if span is None:
        return False
    day, first, last = run.local_day(state.at_utc_s).strftime("%m-%d"), span[0], span[1]
    return first <= day <= last if first <= last else day >= first or day <= last


def cold_soil(run: Run, bed: str) -> str:
    """The probe of a bed that tells of frost in its soil; empty where none does.

    Args:
        run: the engine's working set.
        bed: whose probes.
    """
    now_s, probes = run.state.mono_s, run.state.probes
    for name in run.garden.beds[bed].probes:
        temp_c, heard_s = probes[name].soil_temp_c, probes[name].heard_mono_s
        if temp_c is None or heard_s is None or now_s - heard_s > TOLD_FRESH_S:
            continue
        if SOIL_LOWEST_C <= temp_c < FROST_C and not _warm_for_a_day(run):
            return name
    return ""


def too_cold(run: Run, bed: str) -> bool:
    """Whether frost keeps this bed shut."""
    return frost(run) or bool(cold_soil(run, bed))


def _warm_for_a_day(run: Run) -> bool:
    """Whether the mast, which speaks, told of no cold hour for a day."""
    sky = run.state.sky
    speaks = sky.mono_s is not None and run.state.mono_s - sky.mono_s <= TOLD_FRESH_S
    since = run.state.at_utc_s // 3600.0 - 24.0
    lows_c = [hour.tmin_c for hour in sky.temps if hour.hour >= since]
    return speaks and len(lows_c) >= WHOLE_DAY_H and min(lows_c) > WARM_AIR_C
