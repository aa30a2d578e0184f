"""Which readings may be believed: range, rails, order, repetition, age, battery.

Each reading passes here before it reaches the estimate. What is refused is counted and named; it
never becomes dry soil. `controller/sensing/flags.py` says what each name means.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from controller.events import ProbeReading
from controller.garden_parts import Probe
from controller.sensing.calibration import Calibration, to_theta
from controller.sensing.flags import Flag, Trust
from controller.state import ProbeState

SATURATION_MARGIN_M3_M3 = 0.05  # porosity + 5 points
DEFAULT_EVERY_S = 600.0
SILENT_LEAST_S = 900.0
SILENT_INTERVALS = 3.0
SOIL_LOWEST_C, SOIL_HIGHEST_C = -5.0, 60.0
ICE_C = 0.0  # Dorigo et al. 2013, flag D01
BONE_DRY_M3_M3 = 0.005  # no bed at a probe's depth is drier: an open circuit
ALL_WATER_M3_M3 = 0.995  # no bed is wetter: a short circuit
COUNTS_MOST, RAIL_FRAC = 4095.0, 0.005  # twelve bits, and how near their ends is an end
BOOTS_KEPT = 4  # earlier boots of a node whose late words are known for late
BATTERY_FRAC = 0.78  # of its full voltage, where the file names none: our own rule
BATTERY_LIVES_FRAC = 0.5  # no battery that was full at the one voltage still feeds a node at this
BATTERY_SURE_DAYS = 3  # as long as a probe has to live there
BATTERY_FRESH_FRAC = 1.03  # of that, from where it counts as fresh again,
BATTERY_FRESH_WORDS = 3  # told so often, none below that rule in between
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


def usable(
    probe: ProbeState, every_s: float | None, since_mono_s: float, now_mono_s: float
) -> bool:
    """Whether the probe is fresh and no flag puts it out."""
    heard_s = probe.mono_s
    if heard_s is None or heard_s < since_mono_s or (probe.trust and probe.trust == Trust.OUT):
        return False
    if now_mono_s - heard_s <= SILENT_LEAST_S:  # as nearly always
        return probe.theta_m3_m3 is not None
    return fresh(probe, every_s, since_mono_s, now_mono_s)


def heard(probe: ProbeState, every_s: float | None, since_mono_s: float, now_mono_s: float) -> bool:
    """Whether the probe said anything of late, believed or not."""
    heard_s = probe.heard_mono_s
    if heard_s is None or not heard_s >= since_mono_s:
        return False
    return now_mono_s - heard_s <= silent_after_s(probe, every_s)


def order_fault(reading: ProbeReading, probe: ProbeState, every_s: float | None) -> Flag | None:
    """Whether a node sent this one, or a later one, before; or says that it is none of now.

    Order goes by the node's boot and its number, never by a sender's clock. A lower number in the
    same boot counts as a restart without a boot's name only after a silence, and once the next one
    is higher again: a gateway that repeats one old reading never comes back to life. The same holds
    for a boot that was heard before the present one. A word without a boot is of the present one.

    Args:
        reading: as it came.
        probe: its memory; only the memory of a restart is changed.
        every_s: its interval of the garden file [s].

    Returns:
        `RETAINED`, `FUTURE_DATED`, `DUPLICATE`, `OUT_OF_ORDER` or None.
    """
    if reading.not_now:
        return Flag.RETAINED if reading.not_now == "retained" else Flag.FUTURE_DATED
    another = reading.boot is not None and reading.boot != probe.boot
    earlier = another and reading.boot in probe.boots
    seq, last = reading.seq, probe.seq
    if not earlier and (seq is None or last is None or another or seq > last):
        return None
    silent = probe.mono_s is None or (
        reading.mono_s - probe.mono_s > silent_after_s(probe, every_s)
    )
    if silent and seq is not None and (earlier or seq != last):
        before, probe.restart_seq = probe.restart_seq, seq
        if before is not None and seq > before:
            probe.restart_seq = None
            return None
    return Flag.DUPLICATE if seq == last and not earlier else Flag.OUT_OF_ORDER


def refusal(reading: ProbeReading, theta_m3_m3: float | None, saturation_m3_m3: float) -> str:
    """Why a reading is not believed; empty where it is.

    Args:
        reading: as it came.
        theta_m3_m3: its water content, None where the calibration does not reach.
        saturation_m3_m3: of the bed's soil.

    Returns:
        The flag's code, or nothing.
    """
    if theta_m3_m3 is None:
        return Flag.UNCALIBRATED
    if not BONE_DRY_M3_M3 < theta_m3_m3 <= saturation_m3_m3 + SATURATION_MARGIN_M3_M3:
        return _off_scale(theta_m3_m3)
    temp_c = reading.soil_temp_c
    if temp_c is None:
        return ""
    if not SOIL_LOWEST_C <= temp_c <= SOIL_HIGHEST_C:
        return Flag.SOIL_TEMPERATURE
    return Flag.FROZEN_SOIL if temp_c < ICE_C else ""


def _off_scale(theta_m3_m3: float) -> Flag:
    if 0.0 <= theta_m3_m3 <= BONE_DRY_M3_M3:
        return Flag.RAIL_LOW
    return Flag.RAIL_HIGH if ALL_WATER_M3_M3 <= theta_m3_m3 <= 1.0 else Flag.OUT_OF_RANGE


def beyond(setting: Probe, value: float, soil_temp_c: float | None) -> Flag:
    """Name why a value has no water content.

    Args:
        setting: the probe's table of the garden file.
        value: as told, in the unit of its kind.
        soil_temp_c: told with it [°C].

    Returns:
        `RAIL_LOW` for an open circuit, `RAIL_HIGH` for a short one, `OUT_OF_RANGE` for another
        unit, `UNCALIBRATED` where there is no way to a water content.
    """
    reason = to_theta(setting, value, soil_temp_c).reason
    match reason:
        case Calibration.OPEN_CIRCUIT:
            return Flag.RAIL_LOW
        case Calibration.SHORT_CIRCUIT:
            return Flag.RAIL_HIGH
        case Calibration.OUTSIDE_CALIBRATION if setting.calibration is not None:
            driest = min(setting.calibration, key=lambda point: point[1])[0]
            wettest = max(setting.calibration, key=lambda point: point[1])[0]
            dry_side = (value - driest) * (driest - wettest) > 0.0
            return Flag.RAIL_LOW if dry_side else Flag.RAIL_HIGH
        case Calibration.UNCALIBRATED if setting.uncalibrated:  # beyond what its converter has
            return Flag.OUT_OF_RANGE
        case Calibration.WRONG_UNIT | Calibration.NOT_FINITE | Calibration.TENSION:
            return Flag.OUT_OF_RANGE  # a tension that no field probe tells
        case _:
            return Flag.UNCALIBRATED


def converter_rail(counts: float) -> Flag | None:
    """Name bare counts at either end of a converter of twelve bits; high is dry, as mostly."""
    if 0.0 <= counts <= RAIL_FRAC * COUNTS_MOST:
        return Flag.RAIL_HIGH
    return Flag.RAIL_LOW if (1.0 - RAIL_FRAC) * COUNTS_MOST <= counts <= COUNTS_MOST else None


def battery_least_v(probe: ProbeState, told_v: float | None) -> float:
    """The voltage below which a probe's readings are in doubt [V]."""
    return told_v if told_v is not None else BATTERY_FRAC * probe.battery_most_v


def is_plunge(probe: ProbeState, volts: float) -> bool:
    """Whether a voltage is less than half of the last: no battery's, unless the next says it too.

    Args:
        probe: its memory; remembers this one.
        volts: as told [V].
    """
    before, probe.battery_last_v = probe.battery_last_v, volts
    return before is not None and volts < BATTERY_LIVES_FRAC * before


def learn_battery(probe: ProbeState) -> None:
    """Learn a battery's full voltage from the lowest that each day told, at a day's end.

    It is the highest that two days in a row never went below: a wrong word moves it nowhere. One
    that was learned all the same, by days of wrong words or another divider, is learned anew once
    the probe has lived on less than half of it for three days.
    """
    days_v = probe.battery_days_v
    sure_v = max(days_v[-BATTERY_SURE_DAYS:], default=0.0)
    lived = len(days_v) >= BATTERY_SURE_DAYS
    if lived and sure_v < BATTERY_LIVES_FRAC * probe.battery_most_v:
        probe.battery_most_v = sure_v
    if len(days_v) >= 2:
        probe.battery_most_v = max(probe.battery_most_v, min(days_v[-2:]))


def accept(reading: ProbeReading, probe: ProbeState, theta_m3_m3: float) -> None:
    """Take a believed reading into the probe's memory; its order was taken before."""
    mono_s, before_s = reading.mono_s, probe.mono_s
    if before_s is not None and mono_s - before_s != probe.every_s:
        _learn_pace(probe, mono_s - before_s)
    probe.mono_s = mono_s
    probe.at_utc_s = reading.at_utc_s
    probe.theta_m3_m3 = theta_m3_m3
    probe.value = reading.value
    if math.isfinite(theta_m3_m3):
        hour = probe.hour_m3_m3
        hour.append(theta_m3_m3)
        if len(hour) > HOUR_MOST:
            del hour[0]


def take_order(reading: ProbeReading, probe: ProbeState) -> None:
    """Remember where a node is in its numbers, whether its value is believed or not."""
    if reading.boot is not None and reading.boot != probe.boot:
        if reading.boot in probe.boots:
            probe.boots.remove(reading.boot)
        if probe.boot is not None:
            probe.boots.append(probe.boot)
            del probe.boots[:-BOOTS_KEPT]
        probe.boot, probe.seq = reading.boot, None
    if reading.seq is not None:
        probe.seq = reading.seq


def _learn_pace(probe: ProbeState, gap_s: float) -> None:
    """Learn how often a probe speaks; a pause lengthens that by half at most."""
    if 1.0 <= gap_s <= 4 * 3600.0:
        probe.every_s = gap_s if probe.every_s is None else min(gap_s, probe.every_s * 1.5)


def hour_value(probe: ProbeState) -> float | None:
    """The median of the hour's readings, and begin a new hour [m3/m3]."""
    if not probe.hour_m3_m3:
        return None
    value = middle_of(probe.hour_m3_m3)
    probe.hour_m3_m3.clear()
    return value


def middle_of(values: Sequence[float]) -> float:
    """The median of some finite values, at least one; the mean of the two in the middle."""
    ordered, half = sorted(values), len(values) // 2
    if len(values) % 2:
        return ordered[half]
    return (ordered[half - 1] + ordered[half]) / 2
