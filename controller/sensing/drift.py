"""How far a probe stands from its peers, dawn by dawn: a slow drift, and which probe it is.

At settled dawns (04:00 to 06:00 local, the last water a day gone) the probes of a bed stand a
nearly constant way apart, but for what a drier bed is drier above; in the simulated garden it
wanders by about 0.005 m3/m3 over weeks. What is usual is the median of the dawns four to fourteen
days ago, so that a drift does not teach it at once. How far a probe stands out of a narrow band
about it adds up day by day, and a day inside takes back: five days at 0.018 m3/m3 off are a drift,
more days where it is less.

Two probes that drift apart look alike from both sides; `set_back.py` tells them apart.

Settings found by trial in the simulated garden, seeds 101-140 in two seasons, drift of 0.003 m3/m3
a day; five days are this project's rule. Source of the sum: Page 1954, cumulative sums (from
memory).
Leaves out: a bed's only probe, which has no peers; a drift of all probes of a bed alike, which
`undried.py` sees where they keep it wet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from controller.state import ProbeCare

NEAR_M3_M3 = 0.008  # off by less is nothing; what is beyond adds up
BEYOND_MOST_M3_M3 = 0.0098  # so far at most, so that one wild dawn is no drift
STRAYED_M3_M3_D = 0.040  # and more than this in all is one
GAP_MOST_D = 2.0  # that one settled dawn speaks for
BAND_M3_M3 = 0.014  # one that drifted is whole again inside it
INSIDE_DAYS = 2.0
APART_BY_THIRST = -0.15  # of what the bed lacks: so much drier is a probe 20 cm above another
PER_CM = 1.0 / 20.0
LEARN_DAWNS = 4  # before the band counts
USUAL_FROM_D, USUAL_TO_D = 14, 4  # days ago whose dawns tell what is usual
USUAL_DAWNS = 3  # that are enough; else the first ones are
CREEPS_M3_M3 = 0.0002  # a dawn, of a known drift towards usual: one that stops is whole again
SETTLED_H = 20.0  # since the last water
RAIN_DAY_MM = 2.0  # of the last day: more is not settled
RAIN_DEEP_MM = 40.0  # of four days: it wets the deep soil from a dry state, which is no drift
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
    day = int(at_utc_s // DAY_S)
    if not drifts or memory.usual_apart_m3_m3 is None:
        memory.usual_apart_m3_m3 = _usual(memory, day)
    memory.apart_days.append(day)
    memory.apart_m3_m3.append(apart)
    while memory.apart_days[0] < day - USUAL_FROM_D:
        del memory.apart_days[0], memory.apart_m3_m3[0]
    memory.dawns += 1
    if memory.dawns <= LEARN_DAWNS or memory.usual_apart_m3_m3 is None:
        return
    off = memory.off_m3_m3 = apart - memory.usual_apart_m3_m3
    _add_up(memory, off, at_utc_s)
    if not drifts and left_its_band(memory):
        _mind_before(memory, apart)
    if drifts:
        memory.usual_apart_m3_m3 += max(-CREEPS_M3_M3, min(CREEPS_M3_M3, off))
    if abs(off) > BAND_M3_M3:
        memory.inside_utc_s = None
    elif memory.inside_utc_s is None:
        memory.inside_utc_s = at_utc_s


def _usual(memory: ProbeCare, day: int) -> float | None:
    """The way apart of four to fourteen days ago [m3/m3]; None where too little is known."""
    dated = zip(memory.apart_days, memory.apart_m3_m3, strict=True)
    old = [apart for one, apart in dated if USUAL_TO_D <= day - one <= USUAL_FROM_D]
    if len(old) < USUAL_DAWNS:
        old = memory.apart_m3_m3[:LEARN_DAWNS]
    return median(old) if len(old) >= USUAL_DAWNS else None


def _mind_before(memory: ProbeCare, apart: float) -> None:
    """A drift is found: what is usual for it is what was so before it began to stray."""
    if memory.strayed_utc_s is None:
        return
    begun = memory.strayed_utc_s // DAY_S
    dated = zip(memory.apart_days, memory.apart_m3_m3, strict=True)
    old = [each for day, each in dated if day < begun]
    if len(old) >= USUAL_DAWNS:
        memory.usual_apart_m3_m3 = median(old)
        memory.off_m3_m3 = apart - memory.usual_apart_m3_m3


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
    """A probe that drifted is whole again: nothing is held against it, and it is usual so."""
    memory.above_m3_m3_d = memory.below_m3_m3_d = 0.0
    memory.strayed_utc_s = None
    usual = memory.usual_apart_m3_m3
    if usual is not None:
        memory.apart_m3_m3 = [
            apart if abs(apart - usual) <= BAND_M3_M3 else usual for apart in memory.apart_m3_m3
        ]


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
