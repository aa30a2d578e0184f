"""The hourly rules of `controller/sensing/hourly_flags.py`, asked of each probe as its hours come.

What they see late (a drop, a probe stuck low, a spike) is asked only where a step 12 hours ago
gives cause; a rise without water and a plateau at the top are asked at once. What reading and hour
have named already is not named twice.
"""

from __future__ import annotations

from statistics import median

from controller.flagging import end_flag, raise_flag
from controller.probe_readings import rain_known
from controller.run import Run
from controller.sensing import hourly_flags, hourly_live
from controller.sensing.flags import Flag
from controller.sensing.hourly_flags import HALF_H, HourFlag, Where, known
from controller.sensing.screening import DRAIN_HOURS
from controller.sensing.watching import LEVEL_M3_M3
from controller.state import ProbeState

WATER_HOURS = 49  # of the bed's books
WATER_H = 24  # that explain a rise within hours; for one that takes a day, as many before
LEVEL_H = 12  # whose median is the level before a step
ASKED_H = 24  # so long after the last rise somebody is asked about it
FILLED_SHARE = 0.5  # of the pores that drain: from here water stands in the soil


def keep_water(run: Run) -> None:
    """Note each bed's water at the full hour, before its probes are asked."""
    for bed, water in run.state.water.items():
        hours = run.state.beds[bed].water_hours_mm
        hours.append(water.in_mm)
        if len(hours) > WATER_HOURS:
            del hours[0]


def water_mm(run: Run, bed: str, first_ago_h: int, last_ago_h: int = 0) -> float:
    """Rain and irrigation of a bed between two full hours [mm over the strip]."""
    hours = run.state.beds[bed].water_hours_mm
    if not hours:
        return 0.0
    until = hours[max(0, len(hours) - 1 - last_ago_h)]
    return max(0.0, until - hours[max(0, len(hours) - 1 - first_ago_h)])


def mind_series(run: Run, name: str, probe: ProbeState, bed: str, value: float) -> None:
    """Ask the hourly rules about the hour that has just ended.

    Args:
        run: the engine's working set.
        name: the probe.
        probe: its memory; its hours end with this one.
        bed: where it is.
        value: the hour's median [m3/m3].
    """
    hours = probe.hours_m3_m3
    if value > probe.highest_m3_m3:
        probe.highest_m3_m3 = value
    if len(hours) < 3:
        return
    _mind_rise(run, name, probe, bed)
    soil = run.soils[bed]
    full = soil.told_field_capacity_m3_m3  # the learned one follows a probe that stands in water
    least = full + FILLED_SHARE * (soil.saturation_m3_m3 - full)
    if Flag.SATURATED_PLATEAU in probe.flags:
        if hourly_live.left_the_top(hours, probe.highest_m3_m3, least):
            end_flag(run, name, Flag.SATURATED_PLATEAU)
    elif value >= least and hourly_live.stands_in_water(hours, probe.highest_m3_m3, least):
        raise_flag(run, name, Flag.SATURATED_PLATEAU)
    _mind_step_of_old(run, name, probe, bed)


def _mind_rise(run: Run, name: str, probe: ProbeState, bed: str) -> None:
    if Flag.RISE_UNEXPLAINED in probe.flags:
        probe.rise_h += 1
        if probe.rise_h >= ASKED_H:
            end_flag(run, name, Flag.RISE_UNEXPLAINED)
    hours = probe.hours_m3_m3
    last, now = hours[-2:]
    if now is None or (last is not None and now <= last) or Flag.JUMP in probe.flags:
        return
    if bed in run.state.waterings or not rain_known(run):
        return
    depth_m = run.garden.probes[name].depth_cm / 100.0
    water, before = water_mm(run, bed, WATER_H), water_mm(run, bed, 2 * WATER_H, WATER_H)
    if hourly_live.rise_without_water(hours, water, depth_m, day_before_mm=before):
        probe.rise_h = 0
        raise_flag(run, name, Flag.RISE_UNEXPLAINED)


def _mind_step_of_old(run: Run, name: str, probe: ProbeState, bed: str) -> None:
    """A step 12 hours ago can be judged now: spike, drop, stuck low."""
    hours = probe.hours_m3_m3
    if len(hours) < 2 * HALF_H + 1:
        return
    before, then = hours[-HALF_H - 2], hours[-HALF_H - 1]
    if before is None:
        return
    if then is not None and abs(then - before) <= hourly_flags.BREAK_M3_M3:
        return
    depth_m = run.garden.probes[name].depth_cm / 100.0
    window = hourly_live.bridged(hours)
    found = {one.flag for one in hourly_flags.latest(window, None, Where(depth_m=depth_m))}
    if HourFlag.D06 in found:
        raise_flag(run, name, Flag.SPIKE)
    fell = HourFlag.D07 in found or HourFlag.D09 in found
    at = len(hours) - HALF_H - 1
    now, level = hours[-1], median(known(hours, at - LEVEL_H, at))
    if not fell or now is None or Flag.DROP in probe.flags or level - now <= LEVEL_M3_M3:
        return  # or back from a peak: no level was left
    drained = water_mm(run, bed, HALF_H + DRAIN_HOURS, HALF_H) > hourly_flags.RAIN_LEAST_MM
    if HourFlag.D09 in found or not drained:
        probe.level_m3_m3, probe.level_h = level, HALF_H
        raise_flag(run, name, Flag.DROP)
