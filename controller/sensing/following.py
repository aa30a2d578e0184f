"""Whether a probe goes where its bed goes: down as it is drunk, up as it is watered.

From one settled dawn to the next a bed lacks more or less of full, by its balance and all of its
probes. A live probe goes along, each by a share of its own, which is learned slowly. One that
stands while its bed and its peers have gone far up or down is frozen, whatever noise it has. A dose
need not reach it for that: drying tells as well.

Contents and what the bed lacks in m3/m3, a mean over the roots. Settings found by trial in the
simulated garden, seeds 1-12; none is published. Leaves out: a bed whose only probe is frozen, where
what the bed lacks follows that probe in part.
"""

from __future__ import annotations

from controller.state import ProbeCare

DAWNS_KEPT = 16
GAP_MOST_D = 6  # between two dawns that are compared
WAY_LEAST_M3_M3_2 = 6e-4  # squares of the bed's ways that are enough: one of 0.025, or more smaller
PEERS_WENT_M3_M3 = 0.010  # between the dawns of that time
LATELY_D = 20
LEARN_DAWNS = 8
FORGETS_DAWNS = 20.0
FOLLOWS_LEAST_FRAC = 0.3  # a probe that follows less has nothing to lose
LOST_FRAC = 0.15  # of its own share
STANDS_M3_M3 = 0.006  # between the dawns of that time


def dawn(
    memory: ProbeCare, day: int, told_m3_m3: float, lacks_m3_m3: float, peers_m3_m3: float | None
) -> None:
    """Keep a settled dawn; what has left the last of them teaches how the probe follows.

    Args:
        memory: the probe's, changed in place.
        day: days since 1970.
        told_m3_m3: by the probe.
        lacks_m3_m3: of full, by its bed.
        peers_m3_m3: the mean of the bed's other believed probes; None where there are none.
    """
    memory.dawn_days.append(day)
    memory.dawn_m3_m3.append(told_m3_m3)
    memory.dawn_lacks_m3_m3.append(lacks_m3_m3)
    memory.dawn_peers_m3_m3.append(peers_m3_m3)
    del memory.dawn_days[:-DAWNS_KEPT]
    del memory.dawn_m3_m3[:-DAWNS_KEPT]
    del memory.dawn_lacks_m3_m3[:-DAWNS_KEPT]
    del memory.dawn_peers_m3_m3[:-DAWNS_KEPT]


def _ways(memory: ProbeCare) -> list[tuple[int, float, float]]:
    """From one dawn to the next, oldest first: the later one's place, the bed's way, the probe's.

    Ways in m3/m3, above 0 where it got wetter.
    """
    days, told, lacks = memory.dawn_days, memory.dawn_m3_m3, memory.dawn_lacks_m3_m3
    return [
        (n, lacks[n - 1] - lacks[n], told[n] - told[n - 1])
        for n in range(1, len(days))
        if days[n] - days[n - 1] <= GAP_MOST_D
    ]


def stands(memory: ProbeCare) -> bool:
    """Whether a probe has stood while its bed went far; else lets it learn its share.

    Args:
        memory: the probe's, changed in place; asked once at each settled dawn.
    """
    ways = _ways(memory)
    squares = product = 0.0
    first = len(ways)
    while first > 0 and squares < WAY_LEAST_M3_M3_2:
        first -= 1
        _, bed, own = ways[first]
        squares += bed * bed
        product += bed * own
    if squares < WAY_LEAST_M3_M3_2:
        return False
    begin = ways[first][0] - 1
    lately = memory.dawn_days[-1] - memory.dawn_days[begin] <= LATELY_D
    known = memory.followed_dawns >= LEARN_DAWNS and memory.follows_frac >= FOLLOWS_LEAST_FRAC
    told = memory.dawn_m3_m3[begin:]
    still = max(told) - min(told) <= STANDS_M3_M3 and _peers_went(memory, begin)
    if known and lately and still and product < LOST_FRAC * memory.follows_frac * squares:
        return True
    for place, bed, own in ways[:first]:  # what is older than that time
        if memory.dawn_days[place] > memory.taught_day:
            memory.taught_day = memory.dawn_days[place]
            _learn(memory, bed, own)
    return False


def _peers_went(memory: ProbeCare, begin: int) -> bool:
    """Whether its peers went as well: a belief that only runs after the probe itself is no way."""
    told = [each for each in memory.dawn_peers_m3_m3[begin:] if each is not None]
    return not told or max(told) - min(told) >= PEERS_WENT_M3_M3


def _learn(memory: ProbeCare, bed: float, own: float) -> None:
    kept = memory.follows_squares * (1.0 - 1.0 / FORGETS_DAWNS)
    squares = kept + bed * bed
    if squares <= 0.0:
        return
    memory.follows_frac += bed * (own - memory.follows_frac * bed) / squares
    memory.follows_squares = squares
    memory.followed_dawns += 1
