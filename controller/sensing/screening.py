"""Whether one reading is in line with the probe's own last ones: spikes, levels, units.

Cheap by design: a reading within `ODD_M3_M3` of the last believed one is ordinary and nothing else
is asked. Only an odd one meets the filter of its last seven, and only where no water explains it.

A new level without water is believed once four of the last seven readings agree on it and it has
stood for half an hour; until then its readings are refused as spikes. So stress that a dose could
rest on has held for four readings and 30 min.

Source: Hampel 1974 (window and 1.4826 x MAD, from memory); slew, floor and hold are this project's
rules for a live controller. Left out: readings to come, which no live filter has.
"""

from __future__ import annotations

from itertools import pairwise
from statistics import median

from controller.sensing.flags import Flag
from controller.state import ProbeState

SPAN_M3_M3 = 0.4  # what a capacitive probe covers
ODD_M3_M3 = 0.02  # from one reading to the next; less is ordinary
WINDOW = 7
WINDOW_LEAST = 4  # of fewer nothing can be said
AGREE_LEAST = 4  # of the window, on the new level
HAMPEL_SDS = 3.0
SD_PER_MAD = 1.4826  # of a normal distribution
SPIKE_FLOOR_M3_M3 = 0.01 * SPAN_M3_M3
NOISE_MOST_M3_M3 = 0.10 * SPAN_M3_M3  # of no probe that is worth asking
SLEW_M3_M3_H = 0.02  # no soil dries faster, twelve hours after water
RISE_MOST_M3_M3 = 0.06  # in an hour, without water
HOLD_S = 1800.0  # a new level stands so long before it is believed
DRAIN_HOURS = 12
DRAINS_S = DRAIN_HOURS * 3600.0  # after water, within which any fall is drainage
WETS_S = 24 * 3600.0  # after water, within which any rise is its front
DOUBT_GAP_S = 24 * 3600.0  # after a silence so long there is no line to be out of
SLIP_LEAST, SLIP_MOST = 60.0, 160.0  # about a hundred: per cent for a fraction, or back
SIGN_FRAC = 0.25  # of the value: how near its mirror counts as a changed sign
OLD_UNIT_LEAST, OLD_UNIT_MOST = 1.0 / 3.0, 3.0  # times the last believed value


def unit_slip(value: float, before: float | None) -> bool:
    """Whether a value looks like the last one in another unit or with the other sign.

    Args:
        value: as told, in the declared unit.
        before: the last believed one, in the same unit.

    Returns:
        True for about x 100, / 100, or the mirror of it.
    """
    if before is None or before == 0.0 or value == 0.0:
        return False
    ratio = value / before
    if abs(ratio + 1.0) <= SIGN_FRAC:
        return True
    size = abs(ratio)
    return SLIP_LEAST <= size <= SLIP_MOST or 1.0 / SLIP_MOST <= size <= 1.0 / SLIP_LEAST


def in_old_unit(value: float, before: float | None) -> bool:
    """Whether a value fits the unit of the last believed one."""
    if before is None or before == 0.0:
        return True
    return OLD_UNIT_LEAST <= value / before <= OLD_UNIT_MOST


def remember(probe: ProbeState, theta_m3_m3: float) -> None:
    """Put a reading into the window of the last seven, believed or not."""
    window = probe.window_m3_m3
    window.append(theta_m3_m3)
    if len(window) > WINDOW:
        del window[0]


def out_of_line(window_m3_m3: list[float], theta_m3_m3: float) -> bool:
    """Whether a reading stands apart from the last ones, itself among them.

    Args:
        window_m3_m3: the last seven at most [m3/m3].
        theta_m3_m3: the reading [m3/m3].

    Source: Hampel's identifier, with a floor of 1 % of the span.
    """
    if len(window_m3_m3) < WINDOW_LEAST:
        return False
    middle = median(window_m3_m3)
    mad = median([abs(each - middle) for each in window_m3_m3])
    limit_m3_m3 = max(HAMPEL_SDS * SD_PER_MAD * mad, SPIKE_FLOOR_M3_M3)
    return abs(theta_m3_m3 - middle) > limit_m3_m3


def came_back(probe: ProbeState, at_utc_s: float) -> bool:
    """Whether the reading before this one stood alone: up or down, and back at once.

    Water explains the way up, and drainage the way down, but never both within two readings.

    Args:
        probe: its memory; the reading is in the window already, the one before is the last
            believed.
        at_utc_s: of the reading [s, Unix].
    """
    window = probe.window_m3_m3
    if len(window) < 3 or not 0.0 <= at_utc_s - probe.at_utc_s <= HOLD_S:
        return False
    before, alone, now = window[-3:]
    least = min(abs(alone - before), abs(alone - now))
    return least > NOISE_MOST_M3_M3 and abs(now - before) <= ODD_M3_M3


def rose(probe: ProbeState) -> bool:
    """Whether the probe itself told of water within the last twelve hours: rain nobody measured."""
    hours = [each for each in probe.hours_m3_m3[-DRAIN_HOURS:] if each is not None]
    return any(late - early > SLEW_M3_M3_H for early, late in pairwise(hours))


def odd(
    probe: ProbeState, theta_m3_m3: float, at_utc_s: float, since_water_s: float | None
) -> Flag | None:
    """Judge a reading that is more than `ODD_M3_M3` away from the last believed one.

    Args:
        probe: its memory; the reading is in the window already.
        theta_m3_m3: the reading [m3/m3].
        at_utc_s: when [s, Unix].
        since_water_s: since the bed's last water [s]; 0 while it drinks, None for never.

    Returns:
        `SPIKE` where it is not to be believed (yet), `DROP` or `JUMP` where it is believed as a new
        level that no water explains, None where it is in order.
    """
    last = probe.theta_m3_m3
    if last is None:
        return None
    change = theta_m3_m3 - last
    gap_s = at_utc_s - probe.at_utc_s
    explains_s = WETS_S if change > 0.0 else DRAINS_S
    watered = since_water_s is not None and since_water_s < explains_s
    if watered or not 0.0 <= gap_s < DOUBT_GAP_S:
        probe.odd_utc_s = None
        return None
    fell_s = gap_s if probe.odd_utc_s is None else max(0.0, probe.odd_utc_s - probe.at_utc_s)
    if -change - SLEW_M3_M3_H * fell_s / 3600.0 <= ODD_M3_M3 and change < 0.0:
        return None
    if probe.odd_utc_s is None:
        near = abs(change) <= NOISE_MOST_M3_M3
        if near and not out_of_line(probe.window_m3_m3, theta_m3_m3):
            return None  # within its usual noise
        probe.odd_utc_s = at_utc_s
    agree = sum([abs(each - theta_m3_m3) <= ODD_M3_M3 for each in probe.window_m3_m3])
    if agree < AGREE_LEAST or at_utc_s - probe.odd_utc_s < HOLD_S:
        return Flag.SPIKE
    probe.odd_utc_s = None
    if change < 0.0:
        return Flag.DROP
    return Flag.JUMP if change > RISE_MOST_M3_M3 else None
