"""What a drier line would have cost: a season's own record carried through once more. Pure.

No weather is asked again and no soil is modelled: from one recorded hour to the next a bed dries or
is wetted by what the record says, but for the policy's own waterings. In their place it is watered
at dawn once it is at its line, or a day's use and three tenths before its floor, as the policy has
it; a refill ends where its own ended at that time of the season, and costs as many litres for each
point of its water as they did. The reckoning for the line as it was can so be held against the
ledger: what it misses there is told beside the answer.

It takes for granted that a bed drinks as fast from drier soil (a little less is likely), that water
by hand and rain come as they came (a rain that filled the bed fills it as far as its millimetres
reach), and that no hours, limits or scarce water stand in the way. The floor stays where it is.

Held against the engine itself in the simulated garden, whole seasons with every line 5 points
drier: see `sim/drier_trials.py`; the figures stand in DEVELOPERS.md.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from controller.agronomy.crop import Stage, line_and_floor
from controller.garden_parts import Bed
from controller.store_book import BedHour, WateringRow
from controller.watering.policy import looks_ahead_d

SHIFT_FRAC = 0.05  # how much drier: half of the usual way from line to floor
AHEAD_D = looks_ahead_d(1.0)
LEAST_DAWNS = 14  # a fortnight, and
LEAST_WATERINGS = 2  # two of its own waterings: below it nothing is reckoned (ours)
NEAREST = 5  # own waterings that say what one is like at a time of the season
APART_H = 3  # pulses with less between them are one watering
SETTLES_H = 3  # after its last pulse the probes may still correct it
FULL_FRAC = 0.02  # a rain that leaves less used has filled the bed
STAYS_FRAC = 0.9  # of a dose, where millimetres are made of its litres: the usual loss
USE_DAYS = 3  # whose mean is a day's use
HOUR_S = 3600
HAND = "hand:"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reckoned:
    """A season by the reckoning.

    Attributes:
        litres: of its own waterings [L].
        waterings: how many.
        past_floor: days whose dawn found the bed past its floor, before its water came.
    """

    litres: float
    waterings: int
    past_floor: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Drier:
    """The same season under two lines, and what the valves gave by themselves.

    Attributes:
        beds: how many were reckoned.
        as_it_was: reckoned for the line as it was.
        drier: reckoned for a line `SHIFT_FRAC` further.
        litres: what the ledger says of waterings by the policy [L].
        waterings: how many.
        miss_l: how far the reckoning for the line as it was is off the ledger, bed by bed: the root
            of the beds' squared misses, or the sum's own miss where that is larger [L].
    """

    beds: int
    as_it_was: Reckoned
    drier: Reckoned
    litres: float
    waterings: int
    miss_l: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Own:
    """One watering of the policy's, from the record."""

    first: int  # of the hours, the first that it changed
    end: int  # the first that it changed no more
    litres: float
    left_frac: float  # used when it was over
    fell_frac: float  # by it


def drier_line(
    bed: Bed, hours: Sequence[BedHour], dawns: Iterable[BedHour], waterings: Sequence[WateringRow]
) -> Drier | None:
    """Reckon one bed's season anew.

    Args:
        bed: from the garden file, for its floors and the strip that it wets.
        hours: its recorded hours, in order.
        dawns: of them, those in which the sun rose.
        waterings: its waterings, in order.

    Returns:
        What came of it; None where the record is too short.
    """
    rises = {hour.hour_utc_s for hour in dawns}
    policy = [one for one in waterings if not one.by_whom.startswith(HAND)]
    own = _own(hours, policy)
    if len(rises) < LEAST_DAWNS or len(own) < LEAST_WATERINGS:
        return None
    runs = [_run(hours, own, rises, bed, shift_frac) for shift_frac in (0.0, SHIFT_FRAC)]
    litres = math.fsum(one.credited_l for one in policy)
    return Drier(
        beds=1,
        as_it_was=runs[0],
        drier=runs[1],
        litres=litres,
        waterings=len(policy),
        miss_l=abs(runs[0].litres - litres),
    )


def together(found: Iterable[Drier]) -> Drier | None:
    """Beds added up; None without any."""
    beds = list(found)
    if not beds:
        return None
    same, litres = _sum(one.as_it_was for one in beds), math.fsum(one.litres for one in beds)
    return Drier(
        beds=len(beds),
        as_it_was=same,
        drier=_sum(one.drier for one in beds),
        litres=litres,
        waterings=sum(one.waterings for one in beds),
        miss_l=max(abs(same.litres - litres), math.hypot(*(one.miss_l for one in beds))),
    )


def _sum(found: Iterable[Reckoned]) -> Reckoned:
    beds = list(found)
    return Reckoned(
        litres=math.fsum(one.litres for one in beds),
        waterings=sum(one.waterings for one in beds),
        past_floor=sum(one.past_floor for one in beds),
    )


def _floor_frac(bed: Bed, line_frac: float) -> float:
    """The floor of the stage whose line stands nearest to the recorded one [-]."""
    both = [line_and_floor(stage, bed.lean, bed.crop) for stage in Stage]
    return min(both, key=lambda one: abs(one[0] - line_frac))[1]


def _own(hours: Sequence[BedHour], waterings: Sequence[WateringRow]) -> list[_Own]:
    """The policy's waterings, each with what it did to the bed."""
    at = {hour.hour_utc_s: index for index, hour in enumerate(hours)}
    found: list[_Own] = []
    for one in waterings:
        first = at.get(int(one.from_utc_s // HOUR_S) * HOUR_S)
        if first is None or first == 0:
            continue
        if found and first < found[-1].end:
            last = found.pop()
            first, litres = last.first, last.litres + one.credited_l
        else:
            litres = one.credited_l
        end = min(len(hours), _over(hours, first) + SETTLES_H)
        before, after = hours[first - 1], hours[end - 1]
        found.append(
            _Own(
                first=first,
                end=end,
                litres=litres,
                left_frac=after.depletion_frac,
                fell_frac=before.depletion_frac - after.depletion_frac,
            )
        )
    return [one for one in found if one.fell_frac > 0.0 and one.litres > 0.0]


def _over(hours: Sequence[BedHour], first: int) -> int:
    """The hour after the last in which this watering ran."""
    end, rest = first + 1, 0
    for index in range(first + 1, len(hours)):
        rest = 0 if hours[index].given_l > 0.0 else rest + 1
        if rest > APART_H:
            break
        end = index + 1 if rest == 0 else end
    return end


def _steps(hours: Sequence[BedHour], own: Sequence[_Own]) -> list[float]:
    """How much more is used at each hour than at the one before, but for own waterings [-]."""
    steps = [0.0, *(b.depletion_frac - a.depletion_frac for a, b in pairwise(hours))]
    for one in own:
        for index in range(one.first, one.end):
            steps[index] = 0.0
    return steps


def _nearest(own: Sequence[_Own], index: int) -> tuple[float, float]:
    """What its own waterings were like then: what they left used [-], litres for a fraction."""
    near = sorted(own, key=lambda one: abs(one.first - index))[:NEAREST]
    left = median(one.left_frac for one in near)
    return left, math.fsum(one.litres for one in near) / math.fsum(one.fell_frac for one in near)


def _run(
    hours: Sequence[BedHour], own: Sequence[_Own], rises: set[int], bed: Bed, shift_frac: float
) -> Reckoned:
    """Carry a bed through its hours under a line so much drier."""
    steps = _steps(hours, own)
    floors = {line: _floor_frac(bed, line) for line in {hour.line_frac for hour in hours}}
    used, litres, waterings, past = hours[0].depletion_frac, 0.0, 0, 0
    days: deque[float] = deque(maxlen=USE_DAYS)
    today = 0.0
    for index, hour in enumerate(hours):
        step = steps[index]
        if hour.rain_mm > 0.0 and step < 0.0 and hour.depletion_frac < FULL_FRAC:
            holds_mm = STAYS_FRAC * _nearest(own, index)[1] / bed.wetted_area_m2
            step = min(step, -hour.rain_mm / holds_mm)
        used = max(0.0, used + step)
        today += max(0.0, step)
        if hour.hour_utc_s not in rises:
            continue
        past += used > floors[hour.line_frac]
        days.append(today)
        today = 0.0
        near = used + AHEAD_D * sum(days) / len(days) > floors[hour.line_frac]
        if used >= hour.line_frac + shift_frac or near:
            left, l_a_frac = _nearest(own, index)
            if used > left:
                litres += l_a_frac * (used - left)
                waterings += 1
                used = left
    return Reckoned(litres=litres, waterings=waterings, past_floor=past)
