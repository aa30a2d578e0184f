"""How far a probe stands from its peers, dawn by dawn: a slow drift, and which probe it is.

At settled dawns (04:00 to 06:00 local, the last water a day gone) the probes of a bed stand a
nearly constant way apart, but for what a drier bed is drier above; in the simulated garden it
wanders by about 0.005 m3/m3 over weeks. That way is learned slowly. How far a probe stands out of
a narrow band about it adds up day by day, and a day inside takes back: five days at 0.018 m3/m3
off are a drift, more days where it is less.

Two probes that drift apart look alike from both sides. The books of the bed tell them apart: a
probe that gets too wet makes the readings add water to the balance day after day and the bed look
less thirsty; one that gets too dry does the opposite.

Settings found by trial in the simulated garden, seeds 1-12 in two seasons, drift of 0.003 m3/m3 a
day; five days are this project's rule. Source of the sum: Page 1954, cumulative sums (from memory).
Leaves out: a bed's only probe, which has no peers; a drift of all probes of a bed alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from controller.state import BedBooks, ProbeCare

NEAR_M3_M3 = 0.008  # off by less is nothing; what is beyond adds up
BEYOND_MOST_M3_M3 = 0.010  # so far at most, so that one wild dawn is no drift
STRAYED_M3_M3_D = 0.048  # and more than this in all is one
GAP_MOST_D = 2.0  # that one settled dawn speaks for
BAND_M3_M3 = 0.014  # one that drifted is whole again inside it
INSIDE_DAYS = 2.0
APART_BY_THIRST = -0.15  # of what the bed lacks: so much drier is a probe 20 cm above another
PER_CM = 1.0 / 20.0
LEARN_DAWNS = 4  # before the band counts
LEARN_MOST_M3_M3 = 0.020  # off by more teaches nothing
SLOW_DAWNS = 12  # that the learned way follows,
SLOWEST_DAWNS = 60  # and of a probe that drifts, so that one that no longer does is whole again
SETTLED_H = 20.0  # since the last water
RAIN_DAY_MM = 2.0  # of the last day: more is not settled
RAIN_DEEP_MM = 40.0  # of four days: it wets the deep soil from a dry state, which is no drift
BOOK_DAWNS = 28  # of the bed's books
BEFORE_DAWNS = 10  # what readings added in these is the bed's own way
LATELY_LEAST_DAWNS = 3
USE_MM = 40.0  # what a thirst off by one costs over a drift, about half of it on the mean
UNSURE_MM = 2.0  # books that say less than this speak for no probe
SURE_MM = 12.0  # and from this on no other is asked about
APART_FRAC = 0.8  # of the available water: no bed's probes stand that far apart for long
TOGETHER_FRAC = 0.7
DAY_S = 86_400.0


def apart_m3_m3(told: Mapping[str, float], name: str) -> float:
    """How far a probe stands above the mean of its peers.

    Args:
        told: what the bed's probes tell, two or more [m3/m3].
        name: which of them.
    """
    peers = [value for other, value in told.items() if other != name]
    return told[name] - sum(peers) / len(peers)


def by_thirst_m3_m3(depths_cm: Mapping[str, float], name: str, lacks_m3_m3: float) -> float:
    """How far a probe stands above its peers only because its bed is dry: the top dries first.

    Args:
        depths_cm: of the bed's probes that are asked, two or more.
        name: which of them.
        lacks_m3_m3: what the bed lacks of full, over its roots.
    """
    peers = [depth for other, depth in depths_cm.items() if other != name]
    higher_cm = sum(peers) / len(peers) - depths_cm[name]
    return APART_BY_THIRST * lacks_m3_m3 * PER_CM * higher_cm


def follow(memory: ProbeCare, apart: float, at_utc_s: float, *, drifts: bool) -> None:
    """Take a settled dawn into a probe's memory: what is usual, and since when it is not.

    Args:
        memory: the probe's, changed in place.
        apart: how far it stands above its peers [m3/m3].
        at_utc_s: now [s, Unix].
        drifts: whether it is known for drifting.
    """
    usual = memory.usual_apart_m3_m3
    if usual is None or memory.dawns < LEARN_DAWNS:
        memory.dawns += 1
        start = apart if usual is None else usual
        memory.usual_apart_m3_m3 = start + (apart - start) / memory.dawns
        return
    off = memory.off_m3_m3 = apart - usual
    _add_up(memory, off, at_utc_s)
    if abs(off) <= LEARN_MOST_M3_M3:
        memory.dawns += 1
        memory.usual_apart_m3_m3 = usual + off / min(memory.dawns, SLOW_DAWNS)
    elif drifts:
        memory.usual_apart_m3_m3 = usual + off / SLOWEST_DAWNS
    if abs(off) > BAND_M3_M3:
        memory.inside_utc_s = None
    elif memory.inside_utc_s is None:
        memory.inside_utc_s = at_utc_s


def _add_up(memory: ProbeCare, off: float, at_utc_s: float) -> None:
    """Add a dawn to how far and how long a probe stood out, upwards and downwards."""
    before_s = memory.dawn_utc_s
    memory.dawn_utc_s = at_utc_s
    days = 1.0 if before_s is None else min(GAP_MOST_D, max(0.0, at_utc_s - before_s) / DAY_S)
    above = min(BEYOND_MOST_M3_M3, off - NEAR_M3_M3)
    below = min(BEYOND_MOST_M3_M3, -off - NEAR_M3_M3)
    memory.above_m3_m3_d = max(0.0, memory.above_m3_m3_d + days * above)
    memory.below_m3_m3_d = max(0.0, memory.below_m3_m3_d + days * below)
    if not memory.above_m3_m3_d and not memory.below_m3_m3_d:
        memory.strayed_utc_s = None
    elif memory.strayed_utc_s is None:
        memory.strayed_utc_s = at_utc_s


def left_its_band(memory: ProbeCare) -> bool:
    """Whether a probe has strayed so far and so long that it drifts."""
    return max(memory.above_m3_m3_d, memory.below_m3_m3_d) > STRAYED_M3_M3_D + 1e-9


def back_in_its_band(memory: ProbeCare, at_utc_s: float) -> bool:
    """Whether a probe has been inside its band for two days."""
    since_s = memory.inside_utc_s
    return since_s is not None and at_utc_s - since_s >= INSIDE_DAYS * DAY_S


def begin_anew(memory: ProbeCare) -> None:
    """A probe that drifted is whole again: nothing is held against it."""
    memory.above_m3_m3_d = memory.below_m3_m3_d = 0.0
    memory.strayed_utc_s = None


def keep_books(books: BedBooks, pulled_mm: float, log_thirst: float) -> None:
    """Note a dawn's books: what readings made of the balance so far, and the thirst."""
    books.pulled_mm.append(pulled_mm)
    books.log_thirst.append(log_thirst)
    del books.pulled_mm[:-BOOK_DAWNS]
    del books.log_thirst[:-BOOK_DAWNS]


def wetter_mm(books: BedBooks, dawns: int) -> float:
    """How much wetter than before the probes tell the bed lately, by its books [mm].

    Args:
        books: the bed's.
        dawns: over which they are compared with the time before: since a probe began to stray.

    Returns:
        Above 0 where the readings add water or the bed looks less thirsty; 0 where too little is
        known.
    """
    pulled, thirst = books.pulled_mm, books.log_thirst
    begin = len(pulled) - 1 - max(LATELY_LEAST_DAWNS, dawns)
    first = max(0, begin - BEFORE_DAWNS)
    if begin <= first:
        return 0.0
    before = (pulled[begin] - pulled[first]) * (len(pulled) - 1 - begin) / (begin - first)
    return pulled[-1] - pulled[begin] - before - USE_MM * (thirst[-1] - thirst[begin])


def strayed_dawns(memory: ProbeCare, at_utc_s: float) -> int:
    """For how many dawns a probe has been straying."""
    since_s = memory.strayed_utc_s
    return 0 if since_s is None else max(0, round((at_utc_s - since_s) / DAY_S))


def drifting(off_m3_m3: Mapping[str, float], probes: int, wetter: float) -> dict[str, bool]:
    """Which of a bed's probes is asked about for a drift.

    The books are right in about four of five beds, so that of two both are asked about unless the
    books are sure; but the one that they speak for goes on counting in full.

    Args:
        off_m3_m3: of each that left its band, how far it is off its usual way apart [m3/m3].
        probes: how many the bed has that speak.
        wetter: as `wetter_mm` tells it [mm].

    Returns:
        Names, and whether the books speak for each; one name where it can be told.
    """
    names = sorted(off_m3_m3)
    if probes > 2:
        return {max(names, key=lambda name: abs(off_m3_m3[name])): False}
    told = [name for name in names if (off_m3_m3[name] > 0.0) == (wetter > 0.0)]
    if abs(wetter) < UNSURE_MM or not told:
        return dict.fromkeys(names, False)
    if abs(wetter) >= SURE_MM:
        return dict.fromkeys(told, False)
    return {name: name not in told for name in names}


def disagreeing(
    told_m3_m3: Mapping[str, float], available_m3_m3: float, share: float = APART_FRAC
) -> list[str]:
    """Which of a bed's probes stand farther apart than its soil can be.

    Args:
        told_m3_m3: what they tell at a settled dawn.
        available_m3_m3: between full and wilting.
        share: of that, from which on it is too far.

    Returns:
        Of two both; of more the one that stands farthest from its peers; none where they agree.
    """
    if len(told_m3_m3) < 2:
        return []
    values: Sequence[float] = sorted(told_m3_m3.values())
    if values[-1] - values[0] <= share * available_m3_m3:
        return []
    if len(told_m3_m3) == 2:
        return sorted(told_m3_m3)
    return [max(told_m3_m3, key=lambda name: abs(apart_m3_m3(told_m3_m3, name)))]
