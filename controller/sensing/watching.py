"""What a probe's hours tell: stillness, trembling, restlessness, battery, steps of no soil.

Once an hour for each probe, from the hour's believed readings. Contents in m3/m3.

Sources: slew of 0.02 m3/m3 an hour and 24 hours of stillness are this project's rules for a live
controller; the rest is our own.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from statistics import median

from controller.garden_parts import Probe
from controller.sensing.flags import Flag
from controller.sensing.quality import middle_of
from controller.sensing.screening import SLEW_M3_M3_H, SPAN_M3_M3
from controller.state import ProbeState

HOURS_KEPT = 49  # two days and the hour before
STILL_HOURS = 24
STILL_HABIT = 1.5  # times the longest spell that it came out of by itself: a coarse probe's habit
STILL_HABIT_MOST_H = 96
DIGIT_M3_M3 = 1e-4  # of a probe that tells water content
RESTLESS_M3_M3 = 0.03 * SPAN_M3_M3  # up and down from reading to reading
RESTLESS_HOURS = 3
CALM_HOURS = 6
WILD_M3_M3 = 0.03  # an hour's readings this far from their middle: it says nothing
WILD_HOURS = 3  # each calm one takes one back
PATH_KEPT = 1.0 - 1.0 / 24.0  # from hour to hour, of how far its hours went up and down
PATH_MOST_M3_M3 = 0.45  # in about a day; a bone-dry soil that is filled and drains goes 0.4
PATH_CALM_M3_M3 = 0.25
TREMOR_DAYS_LEAST = 5  # before a probe's own trembling is known
TREMOR_DAYS = 15  # that it follows
TREMOR_LEAST_M3_M3 = 0.0008  # a probe that trembles less tells nothing by it
TREMOR_LOST_FRAC = 0.42  # of its own: a live probe's days vary, but not so far while it stands
TREMOR_STILL_M3_M3 = 0.0026  # between the hours of that day
TREMOR_HOURS = 24
TREMOR_HOURS_LEAST = 12
FALL_MOST_M3_M3_D = 0.06  # in a day, a day and a half after water: three times what roots take
FALL_HOURS = 24
LEVEL_HOURS = 6  # a jump stood so long: it is the level
LEVEL_M3_M3 = 0.03  # so near counts as the old level again
MOVED_M3_M3 = 0.005  # a peer's medians over a day: it lives
BATTERY_DAYS = 14
BATTERY_DAYS_LEAST = 5
FADES_DAYS, HOLDS_DAYS = 7.0, 10.0


def digit_m3_m3(setting: Probe) -> float:
    """One digit of a probe as water content [m3/m3]: a count, or the fourth place."""
    points = setting.calibration
    if setting.kind != "raw" or points is None:
        return DIGIT_M3_M3
    ordered = sorted(points)
    return max(abs((y1 - y0) / (x1 - x0)) for (x0, y0), (x1, y1) in pairwise(ordered))


def wobble_m3_m3(hour: Sequence[float]) -> float:
    """How far readings go up and down from one to the next, their net way left out [m3/m3]."""
    if len(hour) < 3:
        return 0.0
    path = sum([abs(late - early) for early, late in pairwise(hour)])
    return (path - abs(hour[-1] - hour[0])) / (len(hour) - 1)


def keep_hour(probe: ProbeState, digit: float) -> float | None:
    """Take an hour's readings into the probe's memory of hours.

    Args:
        probe: its memory, changed in place.
        digit: one digit of it [m3/m3].

    Returns:
        The hour's median [m3/m3], None for an hour without a believed reading.
    """
    hour, hours = probe.hour_m3_m3, probe.hours_m3_m3
    value = middle_of(hour) if hour else None
    hours.append(value)
    if len(hours) > HOURS_KEPT:
        del hours[0]
    restless = wild = False
    if hour:
        low, high = min(hour), max(hour)
        _mind_stillness(probe, low, high, digit)
        wide = high - low > 0.5 * RESTLESS_M3_M3  # no wobble goes further than its span
        restless = probe.spikes > 0 or (wide and wobble_m3_m3(hour) > RESTLESS_M3_M3)
        wild = restless and is_wild(hour, probe.spikes)
    elif probe.spikes > 1:
        wild = True
    if wild or probe.wild_h:
        probe.wild_h = min(WILD_HOURS + 1, probe.wild_h + 1) if wild else probe.wild_h - 1
    before = hours[-2] if len(hours) > 1 else None
    probe.path_m3_m3 *= PATH_KEPT
    if before is not None and value is not None:
        probe.path_m3_m3 += before - value if before > value else value - before
    probe.restless_h = probe.restless_h + 1 if restless else 0
    probe.calm_h = 0 if restless else probe.calm_h + (value is not None)
    probe.spikes = 0
    return value


def is_wild(hour: Sequence[float], spikes: int) -> bool:
    """Whether an hour's readings scatter so far that their middle says nothing.

    Args:
        hour: its believed readings, one or more [m3/m3].
        spikes: how many were refused as such; so many as were believed are wild too.
    """
    if spikes > 1 and spikes >= len(hour):
        return True
    middle = middle_of(hour)
    return len(hour) > 2 and median([abs(each - middle) for each in hour]) > WILD_M3_M3


def erratic(probe: ProbeState) -> bool:
    """Whether a probe goes up and down as no soil does, within its hours or from one to another."""
    return probe.wild_h >= WILD_HOURS or probe.path_m3_m3 > PATH_MOST_M3_M3


def steady_again(probe: ProbeState) -> bool:
    """Whether a probe that was erratic is so no more."""
    return probe.calm_h >= CALM_HOURS and not probe.wild_h and probe.path_m3_m3 <= PATH_CALM_M3_M3


def tremor_m3_m3(hours: Sequence[float | None]) -> float | None:
    """How far a day's hours tremble about their own way: the median of their second differences.

    Args:
        hours: the day's medians, oldest first [m3/m3]; None is an hour without readings.

    Returns:
        [m3/m3]; None where too few hours stand side by side.
    """
    found = [
        abs(one - 2.0 * two + three)
        for one, two, three in zip(hours, hours[1:], hours[2:], strict=False)
        if one is not None and two is not None and three is not None
    ]
    return float(median(found)) if len(found) >= TREMOR_HOURS_LEAST else None


def lost_its_tremor(probe: ProbeState) -> bool:
    """Take the last day's trembling in; tell whether a probe stands more still than it can.

    The noise of a live probe does not end. A node that repeats itself, or makes up a dither, has
    another one. Only a day on which the probe stood as well counts.

    Args:
        probe: its memory, changed in place.
    """
    day = probe.hours_m3_m3[-TREMOR_HOURS:]
    tremor = tremor_m3_m3(day)
    if tremor is None:
        return False
    usual = probe.tremor_m3_m3
    if probe.tremor_days >= TREMOR_DAYS_LEAST and usual >= TREMOR_LEAST_M3_M3:
        told = [each for each in day if each is not None]
        if tremor < TREMOR_LOST_FRAC * usual and max(told) - min(told) <= TREMOR_STILL_M3_M3:
            return True
    probe.tremor_days = min(TREMOR_DAYS, probe.tremor_days + 1)
    probe.tremor_m3_m3 += (tremor - usual) / probe.tremor_days
    return False


def fell_in_a_day_m3_m3(probe: ProbeState) -> float:
    """How far a probe's hours fell within the last day; 0 where too little is known [m3/m3]."""
    hours = probe.hours_m3_m3
    if len(hours) <= FALL_HOURS:
        return 0.0
    before, now = hours[-1 - FALL_HOURS], hours[-1]
    return 0.0 if before is None or now is None else max(0.0, before - now)


def _mind_stillness(probe: ProbeState, low: float, high: float, digit: float) -> None:
    lowest, highest = min(low, probe.still_low_m3_m3), max(high, probe.still_high_m3_m3)
    if probe.still_h and highest - lowest <= digit * 1.001:
        probe.still_h += 1
    else:
        if probe.still_h > probe.still_most_h and Flag.STUCK not in probe.flags:
            probe.still_most_h = min(probe.still_h, STILL_HABIT_MOST_H)
        probe.still_h, lowest, highest = 1, low, high
    probe.still_low_m3_m3, probe.still_high_m3_m3 = lowest, highest


def stuck(probe: ProbeState) -> bool:
    """Whether a probe stood still for a day, and longer than it ever did when nothing was wrong."""
    hours = probe.still_h
    return hours >= STILL_HOURS and hours >= STILL_HABIT * probe.still_most_h


def step_m3_m3(probe: ProbeState) -> float | None:
    """The last hour's median less that of the hour before, None where one is missing [m3/m3]."""
    hours = probe.hours_m3_m3
    if len(hours) < 2 or hours[-1] is None or hours[-2] is None:
        return None
    return hours[-1] - hours[-2]


def moved(probe: ProbeState) -> bool:
    """Whether a probe lived through the last day: its medians went somewhere."""
    day = [each for each in probe.hours_m3_m3[-STILL_HOURS:] if each is not None]
    return len(day) >= STILL_HOURS // 2 and max(day) - min(day) >= MOVED_M3_M3


def level_over(probe: ProbeState, value: float, *, fell: bool, watered: bool) -> bool:
    """Whether a jump or a drop is over.

    Args:
        probe: its memory.
        value: the hour's median [m3/m3].
        fell: whether it was a drop.
        watered: whether the bed got water within the last twelve hours.

    Returns:
        True at the old level; for a jump after six hours; for a drop at an answer to water.
    """
    before = probe.level_m3_m3
    if before is None or abs(value - before) <= LEVEL_M3_M3:
        return True
    if not fell:
        return probe.level_h >= LEVEL_HOURS
    step = step_m3_m3(probe)
    return watered and step is not None and step >= SLEW_M3_M3_H


def battery_days_left(days_v: Sequence[float], least_v: float) -> float | None:
    """In how many days a battery gets to its least voltage, by a straight line through its days.

    Args:
        days_v: the lowest voltage of each day, oldest first [V].
        least_v: [V].

    Returns:
        [d], 0 or more; None where it does not fall, or for too few days.
    """
    n = len(days_v)
    if n < BATTERY_DAYS_LEAST:
        return None
    middle, mean = (n - 1) / 2.0, sum(days_v) / n
    spread = sum([(day - middle) ** 2 for day in range(n)])
    slope = sum([(day - middle) * (volts - mean) for day, volts in enumerate(days_v)]) / spread
    if slope >= 0.0:
        return None
    now_v = mean + slope * (n - 1 - middle)
    return max(0.0, (now_v - least_v) / -slope)
