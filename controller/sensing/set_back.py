"""Which of a bed's probes strays, how likely, and by how much its readings are set back for it.

`drift.py` sees that two probes leave their usual way apart, not which of them goes. The bed's
balance tells: what it lacked from one settled dawn to another with no reading counted. Where the
probes' mean got wetter than that, the one that went up strays; where it got drier, the one that
went down. In the simulated garden contents move by less than the balance, as water comes from
beside and below, and the two part by a random walk.

An alarm needs to be sure; an estimate does not. So long before a probe is asked about, it is set
back by what it strays times how far it is on the way to an alarm times how likely it is the one.
What cannot be told makes the readings of both count for less. When one of two breaks, the other is
set back no further than it was likely to stray beside a broken one, and that fades.

Contents in m3/m3. Settings found by trial in the simulated garden, seeds 101-140; none is
published.
Leaves out: what readings taught of the bed's thirst, by which the balance follows a drift in part.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import fmean, median

from controller.sensing.drift import DAY_S, NEAR_M3_M3, STRAYED_M3_M3_D
from controller.state import BedBooks, ProbeCare

BOOK_DAYS = 60
FOLLOWS_FRAC = 0.8  # of the balance's way, that a mean of contents goes
BEFORE_DAWNS = 3  # that tell where mean and balance stood
BEFORE_DAYS = 6  # back from now at least, and before it stood out of its band:
BEGUN_DAYS = 3
WALK_M3_M3 = 0.004  # by which the two part otherwise, per square root of a day
REFILLED_H, REFILLED_FRAC = 32.0, 0.3  # so soon after water, and so near to full, is a refill
REFILL_M3_M3 = 0.005  # by which the mean differs from one such dawn to another
REFILLS_KEPT, REFILLS_LEAST = 10, 2  # of them, and of before, that are enough
REFILL_BEFORE_D, REFILL_LATELY_D = 8, 6  # days ago: older are before, newer tell of now
FAR_M3_M3 = 0.010  # beyond the band, that is a stray at once where it is sure which one it is
ODDS_MOST = 4.0  # the logarithm of what books may say at most
SURE_FRAC = 0.9  # so likely it is the one, and no other is asked about
BLAME = 9.0  # so many times likelier strayed the one of two that broke later
FADES = 0.9  # a dawn, of what a probe is set back by that has no peer any more
BEGINS_M3_M3_D = 0.010  # less of what makes an alarm is no stray at all


def keep_books(
    books: BedBooks,
    told: Mapping[str, float],
    balance_mm: float,
    day: int,
    *,
    refilled: bool = False,
) -> None:
    """Note a settled dawn: what all probes told, and what the bed lacked but for readings.

    Args:
        books: the bed's, changed in place; begun anew where other probes speak.
        told: by each probe [m3/m3].
        balance_mm: what the bed lacks plus what readings took from that so far.
        day: days since 1970.
        refilled: whether it is the first settled dawn after the bed was filled.
    """
    if books.told_by != sorted(told):
        books.told_by = sorted(told)
        books.dawn_days, books.told_m3_m3, books.balance_mm = [], [], []
        books.refill_days, books.refill_m3_m3 = [], []
    if refilled:
        books.refill_days.append(day)
        books.refill_m3_m3.append([told[name] for name in books.told_by])
        del books.refill_days[:-REFILLS_KEPT], books.refill_m3_m3[:-REFILLS_KEPT]
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


def is_refilled(dry_h: float, lacks_frac: float) -> bool:
    """Whether a settled dawn is the first after its bed was filled.

    Args:
        dry_h: since its last water [h].
        lacks_frac: of what it holds in all.
    """
    return dry_h <= REFILLED_H and lacks_frac <= REFILLED_FRAC


def by_refills(books: BedBooks, since: int) -> tuple[dict[str, float], float, float] | None:
    """What the dawn after the last refill tells, held against those before a day.

    Args:
        books: the bed's.
        since: the day, as days since 1970.

    Returns:
        How far each probe is off its way above its peers, how much wetter all stand together, and
        one standard deviation of that [m3/m3]; None without a refill lately and some before.

    A bed that was filled and has drained for a day is the same each time, whatever its balance
    says. So it tells which probe strays, and how far, without the swing from wet to dry.
    """
    today = books.dawn_days[-1]
    dated = list(zip(books.refill_days, books.refill_m3_m3, strict=True))
    dated_before = [one for one in dated if one[0] <= today - REFILL_BEFORE_D]
    calm = [one for one in dated_before if one[0] <= since]
    before = [told for _, told in (calm if len(calm) >= REFILLS_LEAST else dated_before)]
    if len(before) < REFILLS_LEAST or books.refill_days[-1] <= today - REFILL_LATELY_D:
        return None
    usual = [median(each) for each in zip(*before, strict=True)]
    moved = [told - was for told, was in zip(books.refill_m3_m3[-1], usual, strict=True)]
    wetter, peers = fmean(moved), len(moved) - 1
    off = [(each - wetter) * (peers + 1) / peers for each in moved]
    sd = REFILL_M3_M3 * math.sqrt(1.0 + 1.0 / len(before))
    return dict(zip(books.told_by, off, strict=True)), wetter, sd


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


def farther(off: Mapping[str, float], by_refills: Mapping[str, float]) -> dict[str, float]:
    """How far each probe is off now, as a refill tells it and the days since carry it on.

    Args:
        off: at the last settled dawn, dry or wet [m3/m3].
        by_refills: at the dawn after the last refill [m3/m3].
    """
    return {
        name: off[name] if off[name] * at_refill > at_refill * at_refill else at_refill
        for name, at_refill in by_refills.items()
    }


def together(*told: tuple[float, float]) -> tuple[float, float]:
    """One value of several, each with its standard deviation: by their variances."""
    known = [(value, 1.0 / (sd * sd)) for value, sd in told if sd < math.inf]
    if not known:
        return 0.0, math.inf
    weight = sum(each for _, each in known)
    return sum(value * each for value, each in known) / weight, math.sqrt(1.0 / weight)


def of(memory: ProbeCare, odds: float, off_m3_m3: float, refill_m3_m3: float = 0.0) -> float:
    """What a probe's readings are lowered by [m3/m3]; below 0 they are raised.

    Args:
        memory: the probe's.
        odds: how likely it is the one that strays.
        off_m3_m3: how far it is off its usual way above its peers.
        refill_m3_m3: the same at the dawn after the last refill; 0 where that tells nothing.
    """
    return odds * _does_frac(memory, odds, refill_m3_m3) * off_m3_m3


def _does_frac(memory: ProbeCare, odds: float, refill_m3_m3: float) -> float:
    """How surely a probe or its peer strays: by how long it did, or how far and surely which."""
    far = max(0.0, min(1.0, (abs(refill_m3_m3) - NEAR_M3_M3) / FAR_M3_M3))
    return max(strays_frac(memory), far * abs(2.0 * odds - 1.0))


def alone_m3_m3(set_back_m3_m3: float, off_m3_m3: float) -> tuple[float, float]:
    """What a probe's readings are still lowered by when the only peer it strayed from broke.

    Args:
        set_back_m3_m3: until then.
        off_m3_m3: how far it is off its usual way above that peer.

    Returns:
        That, and how wrong it may be [m3/m3]. A probe that broke is likelier the one that strayed
        before it did (Bayes); where it was sure which one it was, most of it stays.
    """
    if set_back_m3_m3 * off_m3_m3 <= 0.0:
        return 0.0, 0.0
    odds = min(1.0, set_back_m3_m3 / off_m3_m3)
    odds /= odds + BLAME * (1.0 - odds)
    return odds * off_m3_m3, abs(off_m3_m3) * math.sqrt(odds * (1.0 - odds))


def unsure_m3_m3(
    strays: Mapping[str, ProbeCare],
    odds: Mapping[str, float],
    off: Mapping[str, float],
    by_refills: Mapping[str, float] | None = None,
) -> float:
    """How wrong the mean of a bed's probes may be as they left their usual way [m3/m3].

    Args:
        strays: of each probe.
        odds: how likely each is the one that strays.
        off: how far each is off its usual way above its peers [m3/m3].
        by_refills: the same at the dawn after the last refill [m3/m3]; None: that tells nothing.
    """
    far = max(off, key=lambda name: abs(off[name]))
    surest = max(odds.values())
    does = _does_frac(strays[far], surest, by_refills[far] if by_refills else 0.0)
    known = does * (2.0 * surest - 1.0)
    return abs(off[far]) / len(strays) * math.sqrt(max(0.0, does - known * known))


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
