"""When a bed is likely to drink next: the nights between an early and a late guess.

A number of bed-lives are carried on side by side, night by night: a day's use, more or less; the
rain foretold, and after it such rain as the last weeks brought; line, floor and roots of the days
to come. Each night `decide` itself is asked how dry a bed has to be to drink, and lives that dry
end there. The window goes from the first night by which one life in ten has drunk to the first by
which nine in ten have, or is open where the look-ahead ends before that. Leaves out what people
do, and limits of the water.

What moves the answer is what the controller will believe, not what is true: of the filter's spread
only a part comes to light before the bed drinks. Fractions are of TAW, depths mm over the strip.
The lots are the same at every call, so one state has one answer. Settings are our own, found by
trial in the simulated garden, seeds 1-10; not published.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from statistics import NormalDist
from typing import NamedTuple

from controller.agronomy.crop import Stage
from controller.watering.decision import BedView, Rules, Sky
from controller.watering.hours import Window
from controller.watering.policy import decide

EARLY_ODDS = 0.10
LATE_ODDS = 0.90
LIVES = 100
NIGHTS_MOST = 32  # how far the lives are carried on
BELIEF_SHARE = 0.25  # of the filter's spread that comes to light before the bed drinks
USE_SD_D = 0.35  # of one day's use, each day anew
USE_SD_FRAC = 0.25  # of every day's use alike
SLOWS_FROM_FRAC = 0.20  # a bed drier than this dries more slowly than its last days tell,
SLOWS_OVER_FRAC = 0.25  # by SLOWS_FRAC once it is this much drier still
SLOWS_FRAC = 0.25
OVERFULL_FRAC = 0.15  # more above full drains before it is drunk
DRIEST_FRAC = 1.2
NIGHT_SHARE = 0.1  # of a day's use between the judgement and sunrise
ASKS = 9  # of `decide`, for one night: 1.2 / 2^9 is 0.002 of TAW
DAY_S = 86_400.0
IN_HOURS = Rules(in_hours=True)
CALM = Sky()


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """What will hold for a bed in one of the nights to come."""

    window: Window
    stage: Stage
    line_frac: float
    floor_frac: float
    taw_mm: float
    use_frac: float = 1.0  # of today's use, as the crop grows or fades
    next_turn_d: float = 1.0  # from its end to the end of the next that can be counted on


@dataclass(frozen=True, slots=True, kw_only=True)
class Rains:
    """Such rain as these weeks bring."""

    wet_frac: float = 0.2  # of days with 1 mm or more
    wet_mm: float = 6.0  # on such a day


@dataclass(frozen=True, slots=True, kw_only=True)
class NextWatering:
    """The window of the next watering.

    Attributes:
        from_utc_s: the early end [s, Unix].
        to_utc_s: the late one [s, Unix].
        or_later: whether that is only the end of the look-ahead: too few lives have drunk by it.
    """

    from_utc_s: float
    to_utc_s: float
    or_later: bool = False


class _Roll(NamedTuple):
    """One night's lots of one life: of use (normal), whether it rains (0..1), how much (mean 1)."""

    use: float
    wet: float
    amount: float


class _Lot(NamedTuple):
    """One life's lots: of the belief and of every day's use (normal), and of each night."""

    belief: float
    use: float
    nights: tuple[_Roll, ...]


def _even(count: int) -> list[float]:
    """Numbers that look drawn, 0 < x < 1, always the same (a Weyl sequence, scrambled twice)."""
    found = []
    mask, weyl = 2**64 - 1, 0
    for _ in range(count):
        weyl = (weyl + 0x9E3779B97F4A7C15) & mask
        mixed = ((weyl ^ (weyl >> 30)) * 0xBF58476D1CE4E5B9) & mask
        mixed = ((mixed ^ (mixed >> 27)) * 0x94D049BB133111EB) & mask
        found.append(((mixed >> 11) + 0.5) / 2**53)
    return found


@lru_cache(maxsize=1)
def _lots() -> tuple[_Lot, ...]:
    """The lots of all lives; those of the belief are spread evenly over its odds."""
    normal, each = NormalDist().inv_cdf, 1 + 3 * NIGHTS_MOST
    drawn = _even(LIVES * each)
    found = []
    for life in range(LIVES):
        mine = drawn[life * each : (life + 1) * each]
        rolls = zip(mine[1::3], mine[2::3], mine[3::3], strict=True)
        nights = tuple(_Roll(normal(a), b, -math.log(1.0 - c)) for a, b, c in rolls)
        found.append(_Lot(normal((life + 0.5) / LIVES), normal(mine[0]), nights))
    return tuple(found)


def due_frac(bed: BedView, sky: Sky = CALM) -> float:
    """How much of its water has to be used by sunrise for a bed to drink that night.

    Args:
        bed: its state; depletion and sunrise are put in its place.
        sky: what is foretold for that night.

    Returns:
        The least such fraction of TAW by bisection, to 0.002; infinite where it never would.
    """
    low, high = 0.0, DRIEST_FRAC
    if not _drinks(bed, sky, high):
        return math.inf
    for _ in range(ASKS):
        middle = 0.5 * (low + high)
        if _drinks(bed, sky, middle):
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def _drinks(bed: BedView, sky: Sky, sunrise_frac: float) -> bool:
    now_frac = max(0.0, sunrise_frac - NIGHT_SHARE * bed.day_use_frac)
    dry = replace(bed, depletion_frac=now_frac, sunrise_frac=sunrise_frac)
    return decide(dry, sky, IN_HOURS).water


def as_of(bed: BedView, night: Night, nights: int) -> BedView:
    """A bed as it will be judged some nights on, but for what it will have used.

    Args:
        bed: its state now.
        night: what holds then.
        nights: how many nights after the first; its passing holds are over by then.
    """
    pick_in = None if bed.pick_in is None or bed.pick_in < nights else bed.pick_in - nights
    pick_d = bed.pick_d - nights
    near = bed.pick_near or (bed.pick_in is not None and bed.pick_in < nights)
    return replace(
        bed,
        stage=night.stage,
        line_frac=night.line_frac,
        floor_frac=night.floor_frac,
        taw_mm=night.taw_mm,
        day_use_frac=bed.day_use_frac * bed.taw_mm * night.use_frac / night.taw_mm,
        wet=False,
        watered=False,
        waiting=False,
        limp=False,
        raining=False,
        missed=bed.missed and nights == 0,
        postponed=bed.postponed if nights == 0 else 0,
        next_turn_d=night.next_turn_d,
        given_day_frac=bed.given_day_frac if nights == 0 else 0.0,
        refilled=bed.refilled and nights == 0,
        stages_done=bed.stages_done if nights == 0 else 0,
        pick_near=near and pick_d > 0.0,
        pick_in=pick_in,
        pick_d=max(0.0, pick_d),
    )


def _first_rain(sky: Sky, rains: Rains, ahead_d: float) -> tuple[float, float]:
    """Odds and amount [mm] of rain before the first night ends: as foretold, else as usual."""
    usual_frac = rains.wet_frac * ahead_d
    if not sky.rain_expected_mm > usual_frac * rains.wet_mm:
        return usual_frac, rains.wet_mm
    if sky.rains:
        dry_frac = math.prod(1.0 - min(1.0, max(0.0, one.chance_frac)) for one in sky.rains)
    else:
        dry_frac = 1.0 - min(1.0, sky.rain_expected_mm / rains.wet_mm)
    chance_frac = max(usual_frac, 1.0 - dry_frac)
    return chance_frac, sky.rain_expected_mm / chance_frac


def drunk_by(
    bed: BedView, sky: Sky, rains: Rains, nights: Iterable[Night], at_utc_s: float, *, asked: bool
) -> tuple[list[Night], list[float]]:
    """Which share of the lives has drunk by each night.

    Args:
        bed: its state now, with the depletion predicted for the first night's sunrise.
        sky: what is foretold for the coming day.
        rains: what these weeks bring.
        nights: the coming ones, the first of them the one that runs or the next.
        at_utc_s: now [s, Unix].
        asked: whether the bed had its answer for the first night.

    Returns:
        The nights, as far as they were looked at, and a share 0..1 for each, never falling.
    """
    use_mm, since_s = bed.day_use_frac * bed.taw_mm, at_utc_s
    lives: list[_Life] = []
    seen: list[Night] = []
    shares: list[float] = []
    for index, night in enumerate(nights):
        days = max(0.0, night.window.to_utc_s - since_s) / DAY_S
        since_s = max(since_s, night.window.to_utc_s)
        if index == 0:
            lives = [_Life(_begun_mm(bed, lot, use_mm * days), lot) for lot in _lots()]
        _carry_on(lives, _day(bed, sky, rains, night, index, days))
        if not (index == 0 and asked):
            due_mm = due_frac(as_of(bed, night, index), CALM if index else sky) * night.taw_mm
            lives = [one for one in lives if not one.lacks_mm >= due_mm]
        seen.append(night)
        shares.append(1.0 - len(lives) / LIVES)
        if shares[-1] >= LATE_ODDS or index + 1 >= NIGHTS_MOST:
            break
    return seen, shares


@dataclass(slots=True)
class _Life:
    """One of the lives: what its bed lacks [mm], and its lots."""

    lacks_mm: float
    lot: _Lot


@dataclass(frozen=True, slots=True, kw_only=True)
class _Day:
    """From one night's end to the next one's, for a bed."""

    index: int
    usual_mm: float  # of use; 0 up to the first sunrise, whose depletion holds it already
    each_mm: float  # standard deviation of it, for each life and night anew
    alike_mm: float  # the same, for all nights of a life alike
    wet_frac: float  # odds of rain
    wet_mm: float
    holds_mm: float
    share_frac: float
    taw_mm: float


def _day(bed: BedView, sky: Sky, rains: Rains, night: Night, index: int, days: float) -> _Day:
    use_mm = bed.day_use_frac * bed.taw_mm * night.use_frac
    wet_frac, wet_mm = rains.wet_frac * days, rains.wet_mm
    if index == 0:
        wet_frac, wet_mm = _first_rain(sky, rains, days)
    usual_mm = use_mm * days if index else 0.0
    return _Day(
        index=index,
        usual_mm=usual_mm,
        each_mm=USE_SD_D * math.sqrt(days) * use_mm,
        alike_mm=USE_SD_FRAC * usual_mm,
        wet_frac=wet_frac,
        wet_mm=wet_mm,
        holds_mm=bed.rain_holds_mm,
        share_frac=bed.rain_share_frac,
        taw_mm=night.taw_mm,
    )


def _begun_mm(bed: BedView, lot: _Lot, use_mm: float) -> float:
    """What one life lacks at the first sunrise [mm], `use_mm` of it still to be used."""
    belief_mm = BELIEF_SHARE * bed.spread_frac * bed.taw_mm * lot.belief
    return bed.sunrise_frac * bed.taw_mm + belief_mm + USE_SD_FRAC * lot.use * use_mm


def _carry_on(lives: list[_Life], day: _Day) -> None:
    """Let the lives dry, and some be rained on, until a night's end; changed in place."""
    slows_from_mm, slows_over_mm = SLOWS_FROM_FRAC * day.taw_mm, SLOWS_OVER_FRAC * day.taw_mm
    index, usual_mm, each_mm, alike_mm = day.index, day.usual_mm, day.each_mm, day.alike_mm
    wettest_mm = -OVERFULL_FRAC * day.taw_mm
    for one in lives:
        roll, lacks_mm = one.lot.nights[index], one.lacks_mm
        gain_mm = usual_mm + alike_mm * one.lot.use + each_mm * roll.use
        if usual_mm > 0.0 and lacks_mm > slows_from_mm:
            gain_mm *= 1.0 - SLOWS_FRAC * min(1.0, (lacks_mm - slows_from_mm) / slows_over_mm)
        lacks_mm += gain_mm
        if roll.wet < day.wet_frac:
            lacks_mm -= day.share_frac * max(0.0, day.wet_mm * roll.amount - day.holds_mm)
        one.lacks_mm = max(lacks_mm, wettest_mm)


def next_watering(
    bed: BedView, sky: Sky, rains: Rains, nights: Iterable[Night], at_utc_s: float, *, asked: bool
) -> NextWatering | None:
    """The window of a bed's next watering.

    Args:
        bed: its state now.
        sky: what is foretold for the coming day.
        rains: what these weeks bring.
        nights: the coming ones, the first of them the one that runs or the next.
        at_utc_s: now [s, Unix].
        asked: whether the bed had its answer for the first night.

    Returns:
        The window, 80 % sure, its end open where fewer than nine lives in ten drink in
        `NIGHTS_MOST` nights; None where not one in ten does.
    """
    seen, shares = drunk_by(bed, sky, rains, nights, at_utc_s, asked=asked)
    first = next((n for n, share in zip(seen, shares, strict=True) if share >= EARLY_ODDS), None)
    if first is None:
        return None
    from_utc_s = max(at_utc_s, first.window.from_utc_s)
    if bed.depletion_frac > bed.floor_frac:  # that may break the hours
        from_utc_s = at_utc_s
    return NextWatering(
        from_utc_s=from_utc_s,
        to_utc_s=seen[-1].window.to_utc_s,
        or_later=shares[-1] < LATE_ODDS,
    )
