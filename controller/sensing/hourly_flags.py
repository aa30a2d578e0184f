"""What an hourly series of soil moisture says against itself, hour by hour.

The rules are those of Dorigo et al. 2013, Vadose Zone J. 12(3), by this project's table of them:
`C01` to `C03` out of range, `D01` and `D02` frost, `D04` a rise without water, `D06` spike, `D07`
drop, `D08` jump, `D09` stuck low, `D10` saturated plateau. Written from that table, not from
anybody's code. Derivatives are central differences of one hour.

Where the table leaves room, this is ours: "about equal" is 0.8 to 1.2; a plateau's fall is as steep
as its rise has to be; a low stretch that goes on drying is not stuck; the way back from a spike of
two hours is no drop. Water is rain plus irrigation: the table knows rain alone, and calls every
drip event a fault.

Water content is in m3/m3 and the table's per cent by volume are turned into it; None is an hour
without a value, and what would need it is not judged. `all_flags` judges a whole series; `latest`
one hour after the other with the last 49 hours, some flags 12 hours late, because they look at what
came after.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

Series = Sequence[float | None]

WINDOW_H = 49  # what `latest` needs: a stretch of 24 h with 12 h on both sides, and the hour
HALF_H = 12  # of the 25 hours that a centred rule looks at
KNOWN_LEAST = 18  # of the 24 neighbours
LOWEST_M3_M3, HIGHEST_M3_M3 = 0.0, 0.6  # C01, C02
FROST_C = 0.0
RISE_DEEPEST_M = 0.10  # D04 is asked of shallower probes
RISE_SDS = 2.0
RAIN_LEAST_MM = 0.2
RISE_M3_M3 = 0.05  # whose half over the depth is the least water
RISE_WATER_SHARE = 0.5
SPIKE_ABOVE, SPIKE_BELOW = 1.15, 0.85  # times the value before
ALIKE_LEAST, ALIKE_MOST = 0.8, 1.2
SPIKE_UNREST = 1.0 / 100.0  # variance over mean of the neighbours; 1 in per cent
BREAK_FRAC, BREAK_M3_M3 = 0.10, 0.01
BREAK_TIMES = 10.0  # the mean slope, and the next second derivative
TO_ZERO_M3_M3 = 0.05
LOW_H = 13
LOW_UNREST = 0.001 / 100.0  # variance over mean; 0.001 in per cent
LOW_DRIES_M3_M3 = 0.001  # less than this over the stretch is no drying
PLATEAU_H = 12
PLATEAU_VAR = 0.05 / 100.0**2  # 0.05 in per cent squared
PLATEAU_EDGE_M3_M3_H = 0.0025
PLATEAU_FRAC = 0.95  # of the highest value ever told


class HourFlag(StrEnum):
    """The codes of the rules that are kept here."""

    C01 = "C01"
    C02 = "C02"
    C03 = "C03"
    D01 = "D01"
    D02 = "D02"
    D04 = "D04"
    D06 = "D06"
    D07 = "D07"
    D08 = "D08"
    D09 = "D09"
    D10 = "D10"


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """What is known of the probe beside its values.

    Args:
        depth_m: of its top [m], 0 or more.
        saturation_m3_m3: of the soil, None where it is not known.
        highest_m3_m3: the highest it ever told before the series, 0 for nothing.
    """

    depth_m: float
    saturation_m3_m3: float | None = None
    highest_m3_m3: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A flag, and how long ago the hour was that it speaks of [h]."""

    flag: HourFlag
    ago_h: int


def least_water_mm(depth_m: float) -> float:
    """The least water within 24 h that may raise a probe [mm].

    Args:
        depth_m: of the probe [m].

    Source: Dorigo et al. 2013: half of 5 per cent over the depth; a gauge's 0.2 mm at least.
    """
    return max(RAIN_LEAST_MM, depth_m * RISE_M3_M3 * RISE_WATER_SHARE * 1000.0)


def all_flags(
    series: Series,
    water_24h_mm: Sequence[float] | None,
    where: Where,
    *,
    soil_temp_c: Series | None = None,
    air_temp_c: Series | None = None,
) -> dict[int, tuple[HourFlag, ...]]:
    """Judge each hour of a whole series.

    Args:
        series: hourly water content [m3/m3].
        water_24h_mm: rain plus irrigation in the 24 hours up to each hour [mm]; None where nobody
            measures it, and no rise is asked about.
        where: the probe.
        soil_temp_c: at the probe, hour by hour [°C].
        air_temp_c: above it [°C].

    Returns:
        The flags by hour, hours without one left out.
    """
    found: dict[int, list[HourFlag]] = {}
    low, top = _low_hours(series), _plateau_hours(series, where.highest_m3_m3)
    for hour in range(len(series)):
        soil_c = None if soil_temp_c is None else soil_temp_c[hour]
        air_c = None if air_temp_c is None else air_temp_c[hour]
        flags = _range_flags(series[hour], where, soil_c, air_c)
        if water_24h_mm is not None and _without_water(series, hour, water_24h_mm[hour], where):
            flags.append(HourFlag.D04)
        flags += _centred_flags(series, hour)
        flags += [HourFlag.D09] * (hour in low) + [HourFlag.D10] * (hour in top)
        if flags:
            found[hour] = flags
    return {hour: tuple(flags) for hour, flags in found.items()}


def latest(
    window: Series,
    water_24h_mm: float | None,
    where: Where,
    *,
    soil_temp_c: float | None = None,
    air_temp_c: float | None = None,
) -> tuple[Found, ...]:
    """Judge the hour that has just ended, and the one that can now be judged from both sides.

    Args:
        window: the last hours, oldest first, `WINDOW_H` at most [m3/m3].
        water_24h_mm: rain plus irrigation in the last 24 hours [mm]; None where nobody measures it.
        where: the probe.
        soil_temp_c: at the probe [°C].
        air_temp_c: above it [°C].

    Returns:
        What was found: range, frost, rise and a low stretch of this hour; spike, drop and jump of
        12 hours ago; a plateau when its fall has come.
    """
    now = len(window) - 1
    found = [(flag, 0) for flag in _range_flags(window[now], where, soil_temp_c, air_temp_c)]
    if water_24h_mm is not None and _without_water(window, now, water_24h_mm, where):
        found.append((HourFlag.D04, 0))
    found += [(flag, HALF_H) for flag in _centred_flags(window, now - HALF_H)]
    if now in _low_hours(window):
        found.append((HourFlag.D09, 0))
    if falls(window, now):
        ends = [hour for hour in _plateau_hours(window, where.highest_m3_m3) if hour < now]
        if ends and _fell_first_at(window, max(ends)) == now:
            found.append((HourFlag.D10, now - max(ends)))
    return tuple(Found(flag=flag, ago_h=ago_h) for flag, ago_h in found)


def _range_flags(
    value: float | None, where: Where, soil_temp_c: float | None, air_temp_c: float | None
) -> list[HourFlag]:
    """`C01` to `C03`, `D01`, `D02` of one hour."""
    flags = []
    if value is not None:
        if value < LOWEST_M3_M3:
            flags.append(HourFlag.C01)
        if value > HIGHEST_M3_M3:
            flags.append(HourFlag.C02)
        if where.saturation_m3_m3 is not None and value > where.saturation_m3_m3:
            flags.append(HourFlag.C03)
    if soil_temp_c is not None and soil_temp_c < FROST_C:
        flags.append(HourFlag.D01)
    if air_temp_c is not None and air_temp_c < FROST_C:
        flags.append(HourFlag.D02)
    return flags


def rises(series: Series, hour: int) -> bool:
    """Whether an hour ends a rise that stands out of its last day: `D04` but for the water.

    Args:
        series: hourly [m3/m3].
        hour: which one; the 24 before it are needed.
    """
    if hour < 24:
        return False
    now, before, day_ago = series[hour], series[hour - 1], series[hour - 24]
    if now is None or before is None or day_ago is None or now <= before or now <= day_ago:
        return False
    day = known(series, hour - 24, hour + 1)
    return now - day_ago > RISE_SDS * math.sqrt(variance(day))


def _without_water(series: Series, hour: int, water_24h_mm: float, where: Where) -> bool:
    """`D04`."""
    shallow = where.depth_m < RISE_DEEPEST_M
    return shallow and water_24h_mm < least_water_mm(where.depth_m) and rises(series, hour)


def _centred_flags(series: Series, hour: int) -> list[HourFlag]:
    """`D06` to `D08` of an hour that has 12 on both sides."""
    if hour < HALF_H or hour + HALF_H >= len(series):
        return []
    now, before = series[hour], series[hour - 1]
    if now is None or before is None:
        return []
    change = now - before
    if abs(change) <= BREAK_M3_M3 and not _off(now, before):
        second = series[hour - 2]  # of two equal values the later one changes nothing
        return [] if second is None or now != before else _second_of_two(series, hour)
    if now == 0.0 and before > TO_ZERO_M3_M3:
        return [HourFlag.D07]
    flags = [HourFlag.D06] * _is_spike(series, hour)
    after_spike = series[hour - 2] == before and _is_spike(series, hour - 2, least_h=2)
    if not after_spike and _is_break(series, hour, now, before):
        flags.append(HourFlag.D07 if change < 0.0 else HourFlag.D08)
    return flags


def _off(now: float, before: float) -> bool:
    """Whether a value is a seventh apart from the one before, either way."""
    return now > SPIKE_ABOVE * before or now < SPIKE_BELOW * before


def _second_of_two(series: Series, hour: int) -> list[HourFlag]:
    begins = series[hour - 1] != series[hour - 2]
    return [HourFlag.D06] * (begins and _is_spike(series, hour - 1, least_h=2))


def _is_spike(series: Series, hour: int, *, least_h: int = 1) -> bool:
    """`D06`: one value, or two equal ones, out of line and back."""
    length = 2 if series[hour] == series[hour + 1] else 1
    near = series[hour - 2 : hour + length + 2]
    values = [each for each in near if each is not None]
    if length < least_h or len(values) < len(near):
        return False
    before, now, after = values[1], values[2], values[2 + length]
    if not _off(now, before) or not (now > max(before, after) or now < min(before, after)):
        return False
    into = now - 2.0 * before + values[0]
    out = values[3 + length] - 2.0 * after + now
    if not _alike(into, out):
        return False
    around = known(series, hour - HALF_H, hour)
    around += known(series, hour + length, hour + HALF_H + 1)
    if len(around) < KNOWN_LEAST:
        return False
    mean = sum(around) / len(around)
    return mean > 0.0 and variance(around) / mean < SPIKE_UNREST


def _is_break(series: Series, hour: int, now: float, before: float) -> bool:
    """`D07` and `D08`: a step to another level."""
    change = now - before
    if abs(change) <= BREAK_M3_M3 or before <= 0.0 or abs(change) <= BREAK_FRAC * before:
        return False
    near = [each for each in series[hour - 2 : hour + 3] if each is not None]
    around = known(series, hour - HALF_H, hour + HALF_H + 1)
    if len(near) < 5 or len(around) < KNOWN_LEAST:
        return False
    into = now - 2.0 * before + near[0]
    out = near[3] - 2.0 * now + before
    then = near[4] - 2.0 * near[3] + now
    slope, mean_slope = (near[3] - before) / 2.0, _mean_slope(series, hour)
    return (
        abs(slope) > BREAK_TIMES * abs(mean_slope)
        and _alike(into, -out)
        and abs(out) > BREAK_TIMES * abs(then)
    )


def _mean_slope(series: Series, hour: int) -> float:
    """From the first known hour of the 25 to the last [m3/m3 per h]."""
    first, last = hour - HALF_H, hour + HALF_H
    while series[first] is None:
        first += 1
    while series[last] is None:
        last -= 1
    return ((series[last] or 0.0) - (series[first] or 0.0)) / (last - first)


def _alike(one: float, other: float) -> bool:
    return other != 0.0 and ALIKE_LEAST <= one / other <= ALIKE_MOST


def _low_hours(series: Series) -> set[int]:
    """`D09`: hours that stand still from a drop on."""
    hours: set[int] = set()
    for begin in range(HALF_H, len(series) - LOW_H + 1):
        if HourFlag.D07 not in _centred_flags(series, begin):
            continue
        stretch: list[float] = []
        for hour in range(begin, len(series)):
            value = series[hour]
            if value is None or (stretch and abs(value - stretch[-1]) > BREAK_M3_M3):
                break
            stretch.append(value)
            if len(stretch) >= LOW_H and _stands(stretch):
                hours.update(range(begin, hour + 1))
    return hours


def _stands(stretch: list[float]) -> bool:
    mean = sum(stretch) / len(stretch)
    dries = stretch[0] - stretch[-1] > LOW_DRIES_M3_M3
    return not dries and variance(stretch) <= LOW_UNREST * mean


def falls(series: Series, hour: int) -> bool:
    """Whether an hour ends as steep a fall as ends a plateau."""
    now, before = series[hour], series[hour - 1] if hour else None
    return now is not None and before is not None and before - now >= PLATEAU_EDGE_M3_M3_H


def flat(series: Series, begin: int, end: int) -> bool:
    """Whether hours from `begin` to before `end` are all known and hardly differ."""
    values = known(series, begin, end)
    return len(values) == end - begin and variance(values) < PLATEAU_VAR


def rose_into(series: Series, begin: int) -> bool:
    """Whether a steep rise leads into an hour, within the 12 before it."""
    for hour in range(max(1, begin - HALF_H), begin + 1):
        now, before = series[hour], series[hour - 1]
        if now is not None and before is not None and now - before >= PLATEAU_EDGE_M3_M3_H:
            return True
    return False


def _fell_first_at(series: Series, end: int) -> int | None:
    """The first hour of a steep fall within the 12 after a plateau's last hour."""
    last = min(len(series), end + 1 + HALF_H)
    return next((hour for hour in range(end + 1, last) if falls(series, hour)), None)


def _plateau_hours(series: Series, highest_m3_m3: float) -> set[int]:
    """`D10`: hours flat at the highest level, between a steep rise and a steep fall."""
    hours: set[int] = set()
    highest, begin = highest_m3_m3, 0
    while begin + PLATEAU_H <= len(series):
        end = begin + PLATEAU_H
        value = series[begin]
        highest = highest if value is None else max(highest, value)
        if not flat(series, begin, end):
            begin += 1
            continue
        while end < len(series) and flat(series, begin, end + 1):
            end += 1
        values = known(series, begin, end)
        top = max(highest, *values)
        high = sum(values) / len(values) > PLATEAU_FRAC * top
        if high and rose_into(series, begin) and _fell_first_at(series, end - 1) is not None:
            hours.update(range(begin, end))
        highest, begin = top, end
    return hours


def known(series: Series, begin: int, end: int) -> list[float]:
    """The values of the hours from `begin` to before `end` that have one."""
    return [each for each in series[max(0, begin) : end] if each is not None]


def variance(values: Sequence[float]) -> float:
    """Sample variance [unit squared], 0 for fewer than two."""
    n = len(values)
    if n < 2:
        return 0.0
    mean = sum(values) / n
    return sum([(each - mean) ** 2 for each in values]) / (n - 1)
