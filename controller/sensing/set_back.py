"""Which of a bed's probes strays, how likely, and by how much its readings are set back for it.

`drift.py` sees that two probes leave their usual way apart, not which of them goes. The bed's
balance tells: what it lacked from one settled dawn to another with no reading counted. Where the
probes' mean got wetter than that, the one that went up strays; where it got drier, the one that
went down. In the simulated garden contents move by less than the balance, as water comes from
beside and below, and the two part by a random walk.

An alarm needs to be sure; an estimate does not. So long before a probe is asked about, it is set
back by what it strays times how far it is on the way to an alarm times how likely it is the one.
What cannot be told makes the readings of both count for less.

Contents in m3/m3. Settings found by trial in the simulated garden, seeds 101-140; none is
published.
Leaves out: what readings taught of the bed's thirst, by which the balance follows a drift in part.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import fmean

from controller.sensing.drift import DAY_S, STRAYED_M3_M3_D
from controller.state import BedBooks, ProbeCare

BOOK_DAYS = 60
FOLLOWS_FRAC = 0.8  # of the balance's way, that a mean of contents goes
BEFORE_DAWNS = 3  # that tell where mean and balance stood
BEFORE_DAYS = 6  # back from now at least, and before it stood out of its band:
BEGUN_DAYS = 3
WALK_M3_M3 = 0.004  # by which the two part otherwise, per square root of a day
ODDS_MOST = 4.0  # the logarithm of what books may say at most
SURE_FRAC = 0.9  # so likely it is the one, and no other is asked about
BEGINS_M3_M3_D = 0.010  # less of what makes an alarm is no stray at all


def keep_books(books: BedBooks, told: Mapping[str, float], balance_mm: float, day: int) -> None:
    """Note a settled dawn: what all probes told, and what the bed lacked but for readings.

    Args:
        books: the bed's, changed in place; begun anew where other probes speak.
        told: by each probe [m3/m3].
        balance_mm: what the bed lacks plus what readings took from that so far.
        day: days since 1970.
    """
    if books.told_by != sorted(told):
        books.told_by = sorted(told)
        books.dawn_days, books.told_m3_m3, books.balance_mm = [], [], []
    books.dawn_days.append(day)
    books.told_m3_m3.append(fmean(told.values()))
    books.balance_mm.append(balance_mm)
    while books.dawn_days[0] < day - BOOK_DAYS:
        del books.dawn_days[0], books.told_m3_m3[0], books.balance_mm[0]


def since_day(strays: Sequence[ProbeCare], at_utc_s: float) -> int:
    """The day before which a bed's probes went their usual way, as days since 1970."""
    begun_s = [one.strayed_utc_s for one in strays if one.strayed_utc_s is not None]
    begun = int(min(begun_s, default=at_utc_s) // DAY_S) - BEGUN_DAYS
    return min(begun, int(at_utc_s // DAY_S) - BEFORE_DAYS)


def wetter(books: BedBooks, root_mm: float, since: int) -> tuple[float, float]:
    """How much wetter than by the balance the probes' mean got since a day.

    Args:
        books: the bed's.
        root_mm: root depth [mm].
        since: the day, as days since 1970.

    Returns:
        That, and by how much the two part otherwise, one standard deviation [m3/m3]; 0 and infinity
        where too little is known.
    """
    before = [n for n, day in enumerate(books.dawn_days) if day <= since][-BEFORE_DAWNS:]
    if len(before) < BEFORE_DAWNS:
        return 0.0, math.inf
    stood = [_stood_m3_m3(books, n, root_mm) for n in before]
    days = books.dawn_days[-1] - fmean(books.dawn_days[n] for n in before)
    return _stood_m3_m3(books, -1, root_mm) - fmean(stood), WALK_M3_M3 * math.sqrt(days)


def _stood_m3_m3(books: BedBooks, n: int, root_mm: float) -> float:
    return books.told_m3_m3[n] + FOLLOWS_FRAC * books.balance_mm[n] / root_mm


def odds(off: Mapping[str, float], wetter: float, sd: float) -> dict[str, float]:
    """How likely each of a bed's probes is the one that strays, if one does.

    Args:
        off: how far each is off its usual way above its peers, two or more [m3/m3].
        wetter: how much wetter than by the balance their mean got [m3/m3].
        sd: by how much the two part otherwise [m3/m3].

    Returns:
        0..1 for each, together 1. Of three and more it is the one that went farthest.

    Two hypotheses of one variance, half of what it is off apart from zero each way (Bayes).
    """
    if len(off) > 2:
        far = max(off, key=lambda name: abs(off[name]))
        return {name: float(name == far) for name in off}
    one, other = off
    said = (off[one] - off[other]) / 2.0 * wetter / (sd * sd)
    share = 1.0 / (1.0 + math.exp(-max(-ODDS_MOST, min(ODDS_MOST, said))))
    return {one: share, other: 1.0 - share}


def strays_frac(memory: ProbeCare) -> float:
    """How far a probe is on the way to being asked about for a drift, 0..1."""
    strayed = max(memory.above_m3_m3_d, memory.below_m3_m3_d) - BEGINS_M3_M3_D
    return max(0.0, min(1.0, strayed / (STRAYED_M3_M3_D - BEGINS_M3_M3_D)))


def of(memory: ProbeCare, odds: float) -> float:
    """What a probe's readings are lowered by [m3/m3]; below 0 they are raised.

    Args:
        memory: the probe's.
        odds: how likely it is the one that strays.
    """
    return odds * strays_frac(memory) * memory.off_m3_m3


def unsure_m3_m3(strays: Sequence[ProbeCare], odds: Sequence[float]) -> float:
    """How wrong the mean of a bed's probes may be as they left their usual way [m3/m3].

    Args:
        strays: of each probe.
        odds: how likely each is the one that strays.
    """
    far = max(strays, key=lambda one: abs(one.off_m3_m3))
    does = strays_frac(far)
    known = does * (2.0 * max(odds) - 1.0)
    return abs(far.off_m3_m3) / len(strays) * math.sqrt(max(0.0, does - known * known))


def named(off: Mapping[str, float], odds: Mapping[str, float], known: Sequence[str]) -> list[str]:
    """Which of a bed's probes are asked about for a drift.

    Args:
        off: those that left their band, how far each is off its usual way [m3/m3].
        odds: how likely each is the one that strays.
        known: those that are asked about already.

    Returns:
        The one that is surely it; where none is, all that left their band.
    """
    sure = [name for name in off if odds[name] >= SURE_FRAC]
    return sure or ([] if known else list(off))
