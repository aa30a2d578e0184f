"""Which readings may be believed: range, order, repetition, age.

Each reading passes here before it reaches the estimate. What is refused is counted and named; it
never becomes dry soil. Spikes do not get through the hour's median in `ProbeState.hour_m3_m3`.
"""

from __future__ import annotations

import math
from statistics import median

from controller.events import ProbeReading
from controller.state import ProbeState

SATURATION_MARGIN_M3_M3 = 0.05  # porosity + 5 points
DEFAULT_EVERY_S = 600.0
SILENT_LEAST_S = 900.0
SILENT_INTERVALS = 3.0
SOIL_LOWEST_C, SOIL_HIGHEST_C = -5.0, 60.0
HOUR_MOST = 120  # readings of an hour that its median is taken from


def silent_after_s(probe: ProbeState, every_s: float | None) -> float:
    """How old a probe's last word may be: three of its intervals, at least 15 min [s]."""
    interval_s = every_s or probe.every_s or DEFAULT_EVERY_S
    return max(SILENT_INTERVALS * interval_s, SILENT_LEAST_S)


def fresh(probe: ProbeState, every_s: float | None, since_mono_s: float, now_mono_s: float) -> bool:
    """Whether the probe spoke in this run, since the link came up, and not too long ago."""
    heard_s = probe.mono_s
    if heard_s is None or probe.theta_m3_m3 is None or not heard_s >= since_mono_s:
        return False
    age_s = now_mono_s - heard_s
    return age_s <= SILENT_LEAST_S or age_s <= silent_after_s(probe, every_s)


def repeated(reading: ProbeReading, probe: ProbeState) -> bool:
    """Whether a node sent this one, or a later one, before."""
    seq, last = reading.seq, probe.seq
    if seq is None or last is None or reading.boot != probe.boot:
        return False
    return seq <= last


def refusal(reading: ProbeReading, theta_m3_m3: float | None, saturation_m3_m3: float) -> str:
    """Why a reading is not believed; empty where it is.

    Args:
        reading: as it came.
        theta_m3_m3: its water content, None where the calibration does not reach.
        saturation_m3_m3: of the bed's soil.

    Returns:
        `uncalibrated`, `out_of_range`, `soil_temperature` or nothing.
    """
    if theta_m3_m3 is None:
        return "uncalibrated"
    if not 0.0 <= theta_m3_m3 <= saturation_m3_m3 + SATURATION_MARGIN_M3_M3:
        return "out_of_range"
    temp_c = reading.soil_temp_c
    if temp_c is not None and not SOIL_LOWEST_C <= temp_c <= SOIL_HIGHEST_C:
        return "soil_temperature"
    return ""


def accept(reading: ProbeReading, probe: ProbeState, theta_m3_m3: float) -> None:
    """Take a believed reading into the probe's memory."""
    if probe.mono_s is not None and reading.mono_s - probe.mono_s != probe.every_s:
        _learn_pace(probe, reading.mono_s - probe.mono_s)
    probe.mono_s = reading.mono_s
    probe.at_utc_s = reading.at_utc_s
    probe.theta_m3_m3 = theta_m3_m3
    probe.seq = reading.seq
    probe.boot = reading.boot
    probe.flag = ""
    if math.isfinite(theta_m3_m3):
        hour = probe.hour_m3_m3
        hour.append(theta_m3_m3)
        if len(hour) > HOUR_MOST:
            del hour[0]


def _learn_pace(probe: ProbeState, gap_s: float) -> None:
    """Learn how often a probe speaks; a pause lengthens that by half at most."""
    if 1.0 <= gap_s <= 4 * 3600.0:
        probe.every_s = gap_s if probe.every_s is None else min(gap_s, probe.every_s * 1.5)


def hour_value(probe: ProbeState) -> float | None:
    """The median of the hour's readings, and begin a new hour [m3/m3]."""
    if not probe.hour_m3_m3:
        return None
    value = float(median(probe.hour_m3_m3))
    probe.hour_m3_m3.clear()
    return value
