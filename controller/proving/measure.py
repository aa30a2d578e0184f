"""Flow from a meter's totals, and what it proves: pure.

Flow is the litres gained over the meter's own uptime gained. A line is full once two words of the
meter on end tell the same flow, after a minute at the latest. All settings are our own, but for the
minute measured, a quarter apart, and the three minutes' rest.
"""

from __future__ import annotations

import math

from controller.proving.memory import Measuring

FILL_MOST_S = 60.0
MEASURE_S = 60.0
MEASURE_MOST_S = 900.0
MEASURE_PULSES = 16.0  # a coarse meter needs longer to tell a quarter
REST_S = 180.0  # with every bed valve closed
APART_MOST_FRAC = 0.25
LEAK_L_MIN = 0.1
STRAY_PULSES = 1.0  # may be under way at an end of a stretch
SHUT_S = 20.0
SHUT_MOST_S = 120.0
SHUT_PULSES = 2.0  # so many tell that water flows
SHUT_SHARE = 1.0 / 3.0  # and so much of the bed's flow
STEADY_FRAC = 0.1
STEADY_PULSES = 1.5


def measure_s(flow_l_min: float, pulse_l: float) -> float:
    """How long a bed's flow is measured [s]: a minute, longer with a coarse meter.

    Args:
        flow_l_min: expected [L/min], above 0.
        pulse_l: litres of one pulse of the meter [L].
    """
    return min(max(MEASURE_S, 60.0 * MEASURE_PULSES * pulse_l / flow_l_min), MEASURE_MOST_S)


def shut_s(flow_l_min: float, pulse_l: float) -> float:
    """How long a bed is opened behind a closed master [s], until pulses would tell.

    Returns:
        Infinity where the meter is too coarse for it.
    """
    needed_s = 60.0 * (SHUT_PULSES + STRAY_PULSES) * pulse_l / flow_l_min
    return max(SHUT_S, needed_s) if needed_s <= SHUT_MOST_S else math.inf


def hear(meter: Measuring, litres: float, up_s: float, boot: str) -> bool:
    """Take the meter's total.

    Args:
        meter: the stretch, changed in place.
        litres: its total [L].
        up_s: its uptime [s].
        boot: of its node.

    Returns:
        False where the total cannot be gone on from: a reboot, or a step backwards.
    """
    if meter.phase == "waiting":
        meter.boot, meter.phase = boot, "filling"
        meter.begin_l = meter.last_l = litres
        meter.begin_up_s = meter.last_up_s = up_s
        return True
    return boot == meter.boot and up_s >= meter.last_up_s and litres >= meter.last_l


def fill(
    meter: Measuring, litres: float, up_s: float, expected_l_min: float, pulse_l: float
) -> None:
    """Whether the line is full by this word of the meter: then the measured stretch begins."""
    over_s = up_s - meter.last_up_s
    if not over_s > 0.0:
        return
    rate_l_min = 60.0 * (litres - meter.last_l) / over_s
    before = meter.last_rate_l_min
    slack_l_min = max(STEADY_FRAC * expected_l_min, 60.0 * STEADY_PULSES * pulse_l / over_s)
    steady = before is not None and rate_l_min > 0.0 and abs(rate_l_min - before) <= slack_l_min
    meter.last_l, meter.last_up_s, meter.last_rate_l_min = litres, up_s, rate_l_min
    if steady or up_s - meter.begin_up_s >= FILL_MOST_S:
        begin(meter)


def begin(meter: Measuring) -> None:
    """From the meter's last word on the flow is measured."""
    meter.phase = "measuring"
    meter.fill_l = meter.last_l - meter.begin_l
    meter.from_l, meter.from_up_s = meter.last_l, meter.last_up_s


def measured(meter: Measuring, litres: float, up_s: float, least_s: float) -> None:
    """Take a word of the meter into the measured stretch; it ends after `least_s`."""
    meter.last_l, meter.last_up_s = litres, up_s
    over_s = up_s - meter.from_up_s
    if over_s >= least_s and over_s > 0.0:
        meter.flow_l_min = 60.0 * (litres - meter.from_l) / over_s
        meter.phase = "done"


def so_far_l_min(meter: Measuring) -> float | None:
    """The flow up to the meter's last word [L/min], fill and all; None where nothing is known."""
    over_s = meter.last_up_s - meter.begin_up_s
    return 60.0 * (meter.last_l - meter.begin_l) / over_s if over_s > 0.0 else None


def fits(flow_l_min: float, expected_l_min: float) -> bool:
    """Whether a measured flow is within a quarter of emitters x rating."""
    return abs(flow_l_min - expected_l_min) <= APART_MOST_FRAC * expected_l_min


def rests(meter: Measuring, pulse_l: float) -> bool:
    """Whether a stretch with all beds closed shows less than a leak."""
    if meter.flow_l_min is None:
        return False
    stray = meter.last_l - meter.from_l <= STRAY_PULSES * pulse_l + 1e-9
    return stray or meter.flow_l_min < LEAK_L_MIN


def holds_shut(litres: float, open_s: float, flow_l_min: float, pulse_l: float) -> bool:
    """Whether a master valve held, by what a bed open behind it gave.

    Args:
        litres: by the meter [L].
        open_s: how long the bed was open [s].
        flow_l_min: what it gives with the master open [L/min].
        pulse_l: of the meter [L].
    """
    few = litres < SHUT_PULSES * pulse_l - 1e-9
    return few or litres <= SHUT_SHARE * flow_l_min * open_s / 60.0
