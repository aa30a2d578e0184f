"""One reading of one probe: believed, or refused by name.

An ordinary reading costs a few comparisons. Only where something is odd, a flag stands, or the node
tells more than its value does the long way follow.
"""

from __future__ import annotations

import math

from controller.events import ProbeReading
from controller.flagging import end_flag, good_reading, raise_flag
from controller.run import Run, Sense
from controller.sensing import quality, screening
from controller.sensing.flags import Flag
from controller.sensing.screening import ODD_M3_M3, WINDOW
from controller.sensing.sky import MAST_FRESH_S
from controller.state import ProbeState

EDGE_S = 30.0  # after a valve opens or closes nothing is read
LEVEL_FLAGS = (Flag.JUMP, Flag.DROP)


def probe_reading(run: Run, event: ProbeReading) -> None:
    """A probe spoke: believe it or say why not."""
    state = run.state
    sense = run.senses.get(event.probe)
    if sense is None:
        return
    probe = state.probes[event.probe]
    numbered = event.seq is not None or event.boot is not None or event.not_now != ""
    if numbered and _out_of_turn(run, event, probe):
        return
    state.readings += 1
    probe.heard_mono_s, probe.soil_temp_c = event.mono_s, event.soil_temp_c
    if sense.silent in state.alerts:
        run.end_alert("probe_silent", sense.bed, event.probe)
    warm = sense.warm
    theta = sense.theta(event.value) if warm is None else warm(event.value, event.soil_temp_c)
    last, edge_s = probe.theta_m3_m3, state.edge_mono_s
    if (
        theta is None
        or last is None
        or not -ODD_M3_M3 <= theta - last <= ODD_M3_M3
        or theta <= quality.BONE_DRY_M3_M3
        or theta > sense.saturation_m3_m3
        or probe.flags
        or probe.odd_utc_s is not None
        or event.soil_temp_c is not None
        or event.battery_v is not None
        or (edge_s is not None and event.mono_s - edge_s < EDGE_S)
    ):
        theta = _long_way(run, event, sense, theta)
        if theta is None:
            return
    else:  # as `screening.remember`
        window = probe.window_m3_m3
        window.append(theta)
        if len(window) > WINDOW:
            del window[0]
    first = probe.mono_s is None or probe.mono_s < state.link_mono_s
    quality.accept(event, probe, theta)
    if first:
        run.nudge = True


def _out_of_turn(run: Run, event: ProbeReading, probe: ProbeState) -> bool:
    """Refuse what is none of now or was told before; else remember its number."""
    every_s = run.garden.probes[event.probe].every_s
    flag = quality.order_fault(event, probe, every_s)
    if flag is None:
        quality.take_order(event, probe)
        return False
    _refuse(run, event, probe, flag)
    return True


def _long_way(run: Run, event: ProbeReading, sense: Sense, theta: float | None) -> float | None:
    """Judge a reading that is not ordinary.

    Returns:
        Its water content [m3/m3]; None where it is refused.
    """
    probe = run.state.probes[event.probe]
    if event.battery_v is not None:
        _mind_battery(run, event, probe)
    end_flag(run, event.probe, Flag.STALE)
    flag = _fault_of(run, event, sense, theta)
    if flag is None and theta is not None:
        flag = _line_of(run, event, sense, theta)
        if flag in LEVEL_FLAGS:
            probe.level_m3_m3, probe.level_h = probe.theta_m3_m3, 0
            raise_flag(run, event.probe, flag)
            flag = None
    if flag is not None or theta is None:
        _refuse(run, event, probe, flag or Flag.UNCALIBRATED)
        return None
    probe.good += 1
    if probe.flags:
        good_reading(run, event.probe)
    return theta


def _fault_of(run: Run, event: ProbeReading, sense: Sense, theta: float | None) -> Flag | None:
    """What is wrong with the reading by itself, or beside the probe's old unit."""
    probe, setting = run.state.probes[event.probe], run.garden.probes[event.probe]
    why_not = quality.refusal(event, theta, sense.saturation_m3_m3)
    if setting.uncalibrated and not why_not:
        why_not = quality.converter_rail(event.value) or ""
    if Flag.UNIT_SLIP in probe.flags:
        right = not why_not and screening.in_old_unit(event.value, probe.value)
        return None if right else Flag.UNIT_SLIP
    far = theta is None or why_not != "" or _away(probe, theta)
    if far and screening.unit_slip(event.value, probe.value):
        return Flag.UNIT_SLIP
    edge_s = run.state.edge_mono_s
    if not why_not and edge_s is not None and event.mono_s - edge_s < EDGE_S:
        return Flag.VALVE_EDGE
    if theta is None:
        return quality.beyond(setting, event.value, event.soil_temp_c)
    return Flag(why_not) if why_not else None


def _away(probe: ProbeState, theta: float) -> bool:
    last = probe.theta_m3_m3
    return last is None or not abs(theta - last) <= ODD_M3_M3


def _line_of(run: Run, event: ProbeReading, sense: Sense, theta: float) -> Flag | None:
    """Whether the reading is in line with the probe's last ones."""
    probe = run.state.probes[event.probe]
    screening.remember(probe, theta)
    if not _away(probe, theta):
        probe.odd_utc_s = None
        return None
    flag = screening.odd(probe, theta, event.at_utc_s, since_water_s(run, sense.bed))
    if flag is None and screening.came_back(probe, event.at_utc_s):
        _take_back(run, event.probe, probe)
    if flag in LEVEL_FLAGS and may_be_rain(run, probe, fell=flag is Flag.DROP):
        return None
    return flag


def _take_back(run: Run, name: str, probe: ProbeState) -> None:
    """The last believed reading was a spike after all: it leaves its hour."""
    hour = probe.hour_m3_m3
    if hour and hour[-1] == probe.theta_m3_m3:
        hour.pop()
    probe.spikes += 1
    raise_flag(run, name, Flag.SPIKE)


def since_water_s(run: Run, bed: str) -> float | None:
    """How long ago the bed last got water that is known of [s]; 0 while it drinks, None: never."""
    state = run.state
    water = state.water.get(bed)
    if bed in state.waterings or state.sky.rain_due_mm > 0.0 or water is None:
        return 0.0
    wetted_s = water.wetted_utc_s
    return None if wetted_s is None else max(0.0, state.at_utc_s - wetted_s)


def rain_known(run: Run) -> bool:
    """Whether a mast would tell of rain: without one a rise may be rain."""
    sky = run.state.sky
    return sky.rain_mast != "" and run.state.mono_s - sky.rain_mono_s <= MAST_FRESH_S


def may_be_rain(run: Run, probe: ProbeState, *, fell: bool) -> bool:
    """Whether rain that nobody measured may explain a rise, or the drainage after one."""
    return not rain_known(run) and (screening.rose(probe) if fell else True)


def _refuse(run: Run, event: ProbeReading, probe: ProbeState, flag: Flag) -> None:
    probe.rejected += 1
    probe.good = 0
    if flag is Flag.SPIKE:
        probe.spikes += 1
    raise_flag(run, event.probe, flag)


def _mind_battery(run: Run, event: ProbeReading, probe: ProbeState) -> None:
    """A battery below its least voltage: what the probe says is in doubt."""
    volts = event.battery_v
    if volts is None or not math.isfinite(volts) or quality.is_plunge(probe, volts):
        return
    low = probe.battery_low_v
    probe.battery_low_v = volts if low is None else min(low, volts)
    least_v = quality.battery_least_v(probe, run.garden.probes[event.probe].battery_least_v)
    if volts < least_v:
        probe.battery_good = 0
        raise_flag(run, event.probe, Flag.BROWN_OUT)
    elif Flag.BROWN_OUT in probe.flags and volts >= quality.BATTERY_FRESH_FRAC * least_v:
        probe.battery_good += 1
        if probe.battery_good >= quality.BATTERY_FRESH_WORDS:
            end_flag(run, event.probe, Flag.BROWN_OUT)
