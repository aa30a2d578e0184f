"""Each number of the hourly rules from both sides, a hundredth or so apart.

The numbers are those of the table after Dorigo et al. 2013, Vadose Zone J. 12(3), in m3/m3; where
the table leaves room they are ours, as `controller/sensing/hourly_flags.py` says. What is
expected is worked out here from the definition, apart from the code.
"""

from __future__ import annotations

import math
from statistics import stdev, variance

import pytest

from controller.sensing.hourly_flags import HourFlag, Where, all_flags

D04, D06, D07, D08 = HourFlag.D04, HourFlag.D06, HourFlag.D07, HourFlag.D08
TOP = Where(depth_m=0.05)
LEVEL, HOURS, AT = 0.25, 72, 40
Values = list[float | None]
EITHER = pytest.mark.parametrize("inside", [True, False], ids=["just-inside", "just-outside"])


def flat(level: float = LEVEL) -> Values:
    return [level] * HOURS


def at(values: Values, hour: int = AT) -> tuple[HourFlag, ...]:
    return all_flags(values, None, TOP).get(hour, ())


def waving(values: Values, hours: list[int], by: float) -> Values:
    """Up and down about the level, from one of the hours to the next."""
    out = list(values)
    for n, hour in enumerate(hours):
        told = out[hour]
        assert told is not None
        out[hour] = told + (by if n % 2 else -by)
    return out


@EITHER
def test_above_sixty_per_cent(inside: bool) -> None:
    values = [0.599 if inside else 0.601]
    assert all_flags(values, None, TOP) == ({} if inside else {0: (HourFlag.C02,)})


@EITHER
def test_two_standard_deviations_of_the_day(inside: bool) -> None:
    """The last of 25 values is moved until its rise is twice their sample standard deviation."""
    day = [0.25 + 0.004 * ((n + 1) % 3) for n in range(24)]
    low, high = 0.25, 0.5
    for _ in range(60):
        middle = (low + high) / 2.0
        enough = middle - day[0] > 2.0 * stdev([*day, middle])
        low, high = (low, middle) if enough else (middle, high)
    last = day[0] + (high - day[0]) * (1.01 if inside else 0.99)
    found = all_flags([*day, last], [0.0] * 25, TOP)
    assert (D04 in found.get(24, ())) is inside


@EITHER
@pytest.mark.parametrize("share", [1.15, 0.85])
def test_a_spike_is_more_than_fifteen_per_cent_off(share: float, inside: bool) -> None:
    values = flat()
    values[AT] = LEVEL * (1.0 + (share - 1.0) * (1.01 if inside else 0.99))
    assert (D06 in at(values)) is inside


@EITHER
@pytest.mark.parametrize(("ratio", "sign"), [(1.2, -1.0), (0.8, 1.0)])
def test_a_spikes_two_sides_are_a_fifth_apart_at_most(
    ratio: float, sign: float, inside: bool
) -> None:
    """The level after it is moved until the second derivatives have the ratio."""
    ratio += sign * (0.005 if inside else -0.005)
    moved = 0.06 * (1.0 - 1.0 / ratio)
    values: Values = [*flat()[:AT], LEVEL + 0.06, *[LEVEL + moved] * (HOURS - AT - 1)]
    assert (D06 in at(values)) is inside


@EITHER
def test_a_spike_among_neighbours_of_some_unrest(inside: bool) -> None:
    """Variance over mean of the 24 neighbours below 1 in per cent: 0.01 in m3/m3."""
    hours = [*range(28, 36), *range(45, 53)]
    unit = waving(flat(), hours, 1.0)
    of_one = variance([unit[h] or 0.0 for h in range(28, 53) if h != AT])
    by = math.sqrt(0.01 * LEVEL * (0.98 if inside else 1.02) / of_one)
    values = waving(flat(), hours, by)
    values[AT] = 0.32
    assert (D06 in at(values)) is inside


@EITHER
@pytest.mark.parametrize("flag", [D06, D08])
def test_eighteen_of_the_neighbours_must_be_known(flag: HourFlag, inside: bool) -> None:
    values = flat()
    values[AT:] = [0.32] if flag is D06 else [0.32] * (HOURS - AT)
    values += [LEVEL] * (HOURS - len(values))
    of = 24 if flag is D06 else 25  # a break looks at its own hour too
    for hour in range(30, 30 + of - 18 + (0 if inside else 1)):
        values[hour] = None
    assert (flag in at(values)) is inside


@EITHER
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_step_of_more_than_a_tenth(sign: float, inside: bool) -> None:
    step = sign * 0.1 * LEVEL * (1.01 if inside else 0.99)
    values: Values = [*flat()[:AT], *[LEVEL + step] * (HOURS - AT)]
    assert ((D08 if sign > 0.0 else D07) in at(values)) is inside


@EITHER
def test_a_step_of_more_than_one_per_cent_by_volume(inside: bool) -> None:
    step = 0.0101 if inside else 0.0099
    values: Values = [*flat(0.05)[:AT], *[0.05 + step] * (HOURS - AT)]
    assert (D08 in at(values)) is inside


@EITHER
def test_a_step_is_ten_times_as_steep_as_its_day(inside: bool) -> None:
    """step/2 + trend against ten times step/24 + trend."""
    step = 0.05
    trend = (0.5 - 10.0 / 24.0) * step / 9.0 * (0.97 if inside else 1.03)
    values: Values = [LEVEL + trend * (h - AT) + (step if h >= AT else 0.0) for h in range(HOURS)]
    assert (D08 in at(values)) is inside


@EITHER
def test_after_a_step_nothing_bends_by_a_tenth(inside: bool) -> None:
    """The next hour goes on by e: |step - e| against ten times e."""
    step = 0.05
    more = step / 11.0 * (0.98 if inside else 1.02)
    values: Values = [*flat()[:AT], LEVEL + step, *[LEVEL + step + more] * (HOURS - AT - 1)]
    assert (D08 in at(values)) is inside


@EITHER
def test_a_fall_to_nothing_from_five_per_cent(inside: bool) -> None:
    before = 0.0505 if inside else 0.0495
    after = [0.0 if n % 7 == 0 else 0.2 for n in range(HOURS - AT)]
    assert (D07 in at([*flat(before)[:AT], *after])) is inside


@EITHER
def test_stuck_low_hardly_varies(inside: bool) -> None:
    """Variance over mean of 13 hours, 0.001 in per cent: 0.00001 in m3/m3."""
    low: Values = [0.17] * 13
    of_one = variance([value or 0.0 for value in waving(low, list(range(13)), 1.0)])
    by = math.sqrt(1e-5 * 0.17 * (0.98 if inside else 1.02) / of_one)
    wave = waving(low, list(range(13)), by)
    values: Values = [*flat()[:AT], *wave, None]
    assert (HourFlag.D09 in at(values)) is inside


@EITHER
def test_stuck_low_does_not_dry_on(inside: bool) -> None:
    """A tenth of a per cent by volume within its hours is drying."""
    dries = 0.00098 if inside else 0.00102
    low = [0.17 - dries * n / 12.0 for n in range(13)]
    assert (HourFlag.D09 in at([*flat()[:AT], *low, None])) is inside


def plateau(top: Values, rise: float = 0.01, fall: float = 0.01) -> Values:
    level = 0.45
    up = [level - rise * n for n in range(40, 0, -1)]
    down = [level - fall * n for n in range(1, 40)]
    return [*up, *top, *down]


@EITHER
def test_a_plateau_hardly_varies(inside: bool) -> None:
    """Variance of 12 hours below 0.05 in per cent squared: 0.000005."""
    top: Values = [0.45] * 12
    of_one = variance([value or 0.0 for value in waving(top, list(range(12)), 1.0)])
    by = math.sqrt(5e-6 * (0.98 if inside else 1.02) / of_one)
    found = all_flags(plateau(waving(top, list(range(12)), by)), None, TOP)
    assert any(HourFlag.D10 in flags for flags in found.values()) is inside


@EITHER
@pytest.mark.parametrize("edge", ["rise", "fall"])
def test_a_plateaus_edges_are_a_quarter_per_cent_an_hour(edge: str, inside: bool) -> None:
    steep = 0.002525 if inside else 0.002475
    values = plateau([0.45] * 14, **{edge: steep})
    found = all_flags(values, None, TOP)
    assert any(HourFlag.D10 in flags for flags in found.values()) is inside
