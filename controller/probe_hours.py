"""Each probe once an hour: what its hours say, as flags that begin and end.

Comes before the hour's correction, which takes the readings away.
"""

from __future__ import annotations

from controller.flagging import end_flag, raise_flag
from controller.probe_readings import may_be_rain, rain_known, since_water_s
from controller.probe_series import keep_water, mind_series
from controller.run import Run
from controller.sensing import quality, uncalibrated, watching
from controller.sensing.flags import Flag
from controller.sensing.screening import DRAINS_S, RISE_MOST_M3_M3, SLEW_M3_M3_H, WETS_S
from controller.state import ProbeState

USE_LEAST_MM_D = 2.0  # of a day on which a probe among the roots cannot stand still
DRY_SHARE = 0.1  # of the way from wilting point to full: below, roots take next to nothing
HOUR_S = 3600.0
DAY_HOURS = 24
FALL_DRY_S = 36 * HOUR_S  # after water: a fall of a day is no drainage any more


def hour_ended(run: Run, at_utc_s: float) -> None:
    """Look at every probe's last hour.

    Args:
        run: the engine's working set.
        at_utc_s: the hour's end [s, Unix].
    """
    day_ended = int(at_utc_s // HOUR_S) % DAY_HOURS == 0
    keep_water(run)
    for name, sense in run.senses.items():
        probe = run.state.probes[name]
        value = watching.keep_hour(probe, sense.digit_m3_m3)
        _mind_noise(run, name, probe)
        if sense.bare:
            _mind_line(run, name, sense.bed)
        if value is not None:
            _mind_level(run, name, probe, sense.bed, value)
            mind_series(run, name, probe, sense.bed, value)
            _mind_stillness(run, name, probe, sense.bed, value)
        if day_ended:
            _mind_tremor(run, name, probe)
            if probe.battery_low_v is not None:
                _mind_fading(run, name, probe, probe.battery_low_v)


def _mind_line(run: Run, name: str, bed: str) -> None:
    """Bare counts say nothing of water until dry spells taught their line."""
    if uncalibrated.usable(run.state.learned.get(uncalibrated.key_of(bed, name))):
        end_flag(run, name, Flag.UNCALIBRATED)
    else:
        raise_flag(run, name, Flag.UNCALIBRATED)


def _mind_noise(run: Run, name: str, probe: ProbeState) -> None:
    if probe.restless_h >= watching.RESTLESS_HOURS:
        raise_flag(run, name, Flag.NOISE)
    elif probe.flags and probe.calm_h >= watching.CALM_HOURS:
        end_flag(run, name, Flag.NOISE)
    if (probe.wild_h or probe.path_m3_m3 > watching.PATH_CALM_M3_M3) and watching.erratic(probe):
        raise_flag(run, name, Flag.ERRATIC)
    elif probe.flags and watching.steady_again(probe):
        end_flag(run, name, Flag.ERRATIC)


def _mind_tremor(run: Run, name: str, probe: ProbeState) -> None:
    """A probe that trembles less than ever while it stands still repeats itself."""
    known = Flag.FROZEN in probe.flags or Flag.ERRATIC in probe.flags
    if not known and watching.lost_its_tremor(probe):
        raise_flag(run, name, Flag.FROZEN)


def _mind_level(run: Run, name: str, probe: ProbeState, bed: str, value: float) -> None:
    """A fall or a rise within the hour that soil does not do by itself."""
    standing = probe.flags and [flag for flag in (Flag.DROP, Flag.JUMP) if flag in probe.flags]
    if standing:
        drained = _wet_within(run, bed, DRAINS_S)
        probe.level_h += 1
        for flag in standing:
            if watching.level_over(probe, value, fell=flag is Flag.DROP, watered=drained):
                end_flag(run, name, flag)
        return
    step = watching.step_m3_m3(probe)
    if step is None or -SLEW_M3_M3_H <= step <= RISE_MOST_M3_M3:
        if value < probe.highest_m3_m3 - watching.FALL_MOST_M3_M3_D:
            _mind_fall(run, name, probe, bed, value)
        return
    if may_be_rain(run, probe, fell=step < 0.0):
        return
    if step < 0.0 and not _wet_within(run, bed, DRAINS_S):
        _begin_level(run, name, probe, Flag.DROP, value - step)
    elif step > 0.0 and not _wet_within(run, bed, WETS_S):
        _begin_level(run, name, probe, Flag.JUMP, value - step)


def _mind_fall(run: Run, name: str, probe: ProbeState, bed: str, value: float) -> None:
    """A fall of a whole day, long after water, that roots cannot do."""
    fell = watching.fell_in_a_day_m3_m3(probe)
    far = fell > watching.FALL_MOST_M3_M3_D and rain_known(run)
    if far and not _wet_within(run, bed, FALL_DRY_S):
        _begin_level(run, name, probe, Flag.DROP, value + fell)


def _wet_within(run: Run, bed: str, last_s: float) -> bool:
    """Whether the bed got water that is known of within the last so many seconds."""
    since_s = since_water_s(run, bed)
    return since_s is not None and since_s < last_s


def _begin_level(run: Run, name: str, probe: ProbeState, flag: Flag, before: float) -> None:
    probe.level_m3_m3, probe.level_h = before, 0
    raise_flag(run, name, flag)


def _mind_stillness(run: Run, name: str, probe: ProbeState, bed: str, value: float) -> None:
    """A probe among the roots that told one value for a day, while its peers lived."""
    if Flag.STUCK in probe.flags:
        if probe.still_h <= 1:
            end_flag(run, name, Flag.STUCK)
        return
    if watching.stuck(probe) and _should_have_moved(run, name, bed, value):
        raise_flag(run, name, Flag.STUCK)


def _should_have_moved(run: Run, name: str, bed: str, value: float) -> bool:
    state, soil = run.state, run.soils[bed]
    depth_m = run.garden.probes[name].depth_cm / 100.0
    use_mm_d = state.water[bed].use_mm_d
    wilting, full = soil.wilting_point_m3_m3, soil.field_capacity_m3_m3
    used = bool(use_mm_d) and use_mm_d[-1] >= USE_LEAST_MM_D
    among_roots = depth_m <= run.days[bed].root_depth_m
    drinkable = value > wilting + DRY_SHARE * (full - wilting)
    peers = [other for other in run.senses if other != name]
    return (
        used
        and among_roots
        and drinkable
        and any(watching.moved(state.probes[other]) for other in peers)
    )


def _mind_fading(run: Run, name: str, probe: ProbeState, low_v: float) -> None:
    """The day's lowest voltage, and where the last days lead."""
    days = probe.battery_days_v
    days.append(low_v)
    del days[: -watching.BATTERY_DAYS]
    probe.battery_low_v = None
    quality.learn_battery(probe)
    least_v = quality.battery_least_v(probe, run.garden.probes[name].battery_least_v)
    left_days = watching.battery_days_left(days, least_v)
    if left_days is not None and left_days < watching.FADES_DAYS:
        raise_flag(run, name, Flag.BATTERY_FADING)
    elif left_days is None or left_days >= watching.HOLDS_DAYS:
        end_flag(run, name, Flag.BATTERY_FADING)
