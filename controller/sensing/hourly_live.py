"""The hourly rules that cannot wait: a rise without water, water that stands at the probe.

`controller/sensing/hourly_flags.py` holds the rules as they are published. Two of them are of no
use to a live bed as they stand: `D04` is asked of the uppermost 10 cm alone, and `D10` is known
only when the plateau has ended. What stands here takes their place, for probes at any depth; the
numbers are ours. An hour without a value is bridged: a reading that is refused until it has stood
for a while leaves such a gap just where a level changes.
"""

from __future__ import annotations

from controller.sensing.hourly_flags import (
    HALF_H,
    PLATEAU_EDGE_M3_M3_H,
    PLATEAU_FRAC,
    PLATEAU_H,
    RAIN_LEAST_MM,
    Series,
    flat,
    known,
    rises,
)

RISE_STEP_M3_M3, STEP_H = 0.015, 2
RISE_LATELY_M3_M3, LATELY_H = 0.02, 6
RISE_DAY_M3_M3 = 0.03
FINGERS_SHARE = 0.1  # of the water that the soil above would need
GAP_H = 4  # no longer a gap is bridged


def bridged(window: Series) -> list[float | None]:
    """Fill gaps of up to `GAP_H` hours with the value after them.

    Args:
        window: hourly values, oldest first [m3/m3].
    """
    filled, hour = list(window), 0
    while hour < len(filled):
        end = hour
        while end < len(filled) and filled[end] is None:
            end += 1
        if hour < end < len(filled) and end - hour <= GAP_H:
            filled[hour:end] = [filled[end]] * (end - hour)
        hour = end + 1
    return filled


def rise_without_water(
    window: Series, water_mm: float, depth_m: float, *, day_before_mm: float = 0.0
) -> bool:
    """Whether the last hour ends a rise that lacks its water.

    Args:
        window: the last 25 hours or more, oldest first [m3/m3].
        water_mm: rain plus irrigation of the last 24 hours [mm].
        depth_m: of the probe [m].
        day_before_mm: of the 24 hours before [mm]: what rises all day long may have begun there.

    Source: ours, after `D04` of Dorigo et al. 2013. A rise of 0.015 in two hours; or one that
    `rises` sees, of 0.02 in six hours or 0.03 in a day: five times and more what a probe that errs
    by 0.004 a reading makes of itself. Water is enough from a tenth of what the soil above the
    probe would need to rise as much: it comes down in fingers, and from drippers on a part of the
    ground.
    """
    now = window[-1]
    lately = known(window, len(window) - LATELY_H - 1, len(window) - 1)
    if now is None or not lately or now <= lately[-1]:
        return False
    day_ago = window[-25] if len(window) >= 25 else None
    rise, gained = now - min(lately), 0.0 if day_ago is None else now - day_ago
    slowly = rise >= RISE_LATELY_M3_M3 or gained >= RISE_DAY_M3_M3
    if rise < RISE_STEP_M3_M3 and not slowly:
        return False
    early = window[-1 - STEP_H] if len(window) > STEP_H else None
    step = now - min(lately[-1], lately[-1] if early is None else early)
    if step < RISE_STEP_M3_M3:
        filled = bridged(window[-25:])
        if not slowly or not rises(filled, len(filled) - 1):
            return False
        rise, water_mm = max(rise, gained), water_mm + day_before_mm
    return water_mm < max(RAIN_LEAST_MM, FINGERS_SHARE * rise * depth_m * 1000.0)


def stands_in_water(window: Series, highest_m3_m3: float, least_m3_m3: float) -> bool:
    """`D10` before any fall: whether the last twelve hours are a plateau at the top.

    Args:
        window: the last hours, oldest first [m3/m3].
        highest_m3_m3: the highest value the probe ever told.
        least_m3_m3: the least level that can be water standing in the soil.
    """
    begin = len(window) - PLATEAU_H
    if begin < 1 or not flat(window, begin, len(window)):
        return False
    values = known(window, begin, len(window))
    mean = sum(values) / len(values)
    if mean <= PLATEAU_FRAC * highest_m3_m3 or mean < least_m3_m3:
        return False
    while begin > 1 and flat(window, begin - 1, len(window)):
        begin -= 1
    return _rose_into(window, begin)


def _rose_into(window: Series, begin: int) -> bool:
    """Whether a steep rise leads into an hour within the 12 before it, gaps bridged."""
    last: float | None = None
    last_hour = 0
    for hour in range(max(0, begin - HALF_H - 1), begin + 1):
        value = window[hour]
        if value is None:
            continue
        if last is not None and value - last >= PLATEAU_EDGE_M3_M3_H * (hour - last_hour):
            return True
        last, last_hour = value, hour
    return False


def left_the_top(window: Series, highest_m3_m3: float, least_m3_m3: float) -> bool:
    """Whether a plateau at the top is over: a steep fall, or a value below that level."""
    now = window[-1]
    if now is None:
        return False
    if now <= PLATEAU_FRAC * highest_m3_m3 or now < least_m3_m3:
        return True
    before = known(window, len(window) - GAP_H - 1, len(window) - 1)
    return bool(before) and before[-1] - now >= PLATEAU_EDGE_M3_M3_H
