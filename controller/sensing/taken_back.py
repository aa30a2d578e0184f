"""What readings did to a bed in its last hours, so that it can be taken back where they were wrong.

A probe is found out some hours after it broke. Until then its hours moved the bed, most of all
where they insisted (`insisting.py`), and a bed left to its balance would go on from there for days.
So each hour's move is kept for two days. When a probe that spoke in them is put out, the moves of
the hours that are doubtful leave the bed again: depletion, thirst, and how sure both are.

A correction adds to the state and what lies between hours adds to it as well, so that the moves can
be taken out of the sum. Two things do not add up. Water that only the readings saw above full has
drained by the books, and is not missed again. A bed that drank until it was surely full is known;
its variance comes back too large, which lets the next sound hours count for more.

Hours of a sound probe beside the broken one go with them: a day of hours counts as one reading.
The windows are our own, by how long each fault goes unseen in the simulated garden. A probe that
leaps is doubted only since it first leapt within them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from controller.sensing.estimate import (
    OVER_MOST_FRAC,
    THIRST_HIGHEST,
    THIRST_LOWEST,
    THIRST_SD,
)
from controller.sensing.flags import Flag
from controller.state import BedWater, Pull

HOURS_KEPT = 48
DOUBTFUL_H: Final[Mapping[str, int]] = {  # before a flag was raised
    Flag.ERRATIC: 24,
    Flag.DROP: 24,
    Flag.STUCK: 36,
    Flag.FROZEN: 48,
    Flag.QUARANTINED: 48,
    Flag.SWAPPED: 48,
}
LEAPS: Final = frozenset({Flag.ERRATIC, Flag.DROP})  # begin with one: before it all is well
LEAP_M3_M3 = 0.008  # from hour to hour; a sound probe of a drying bed creeps by 0.002
VAR_MOST_FRAC = 0.2  # of TAW, as a standard deviation: a bed first seen
LEFT_SD_FRAC = 0.1  # the same, of one that days of wet words leave
HOUR_S = 3600.0


def before(water: BedWater) -> Pull:
    """The state ahead of an hour's correction, to be handed to `keep` after it."""
    return Pull(
        lacks_mm=water.depletion_mm - water.over_mm,
        var_mm2=water.var_mm2,
        log_thirst=water.log_thirst,
        var_thirst=water.var_thirst,
        cov_mm=water.cov_mm,
    )


def keep(water: BedWater, was: Pull, probes: list[str], at_utc_s: float) -> None:
    """Remember what an hour's correction did.

    Args:
        water: the bed's state after it; its `pulls` are changed in place.
        was: the state ahead of it.
        probes: who spoke.
        at_utc_s: the hour's end [s, Unix].
    """
    hour = int(at_utc_s // HOUR_S)
    pulls = water.pulls
    pulls.append(
        Pull(
            hour=hour,
            probes=probes,
            lacks_mm=water.depletion_mm - water.over_mm - was.lacks_mm,
            var_mm2=water.var_mm2 - was.var_mm2,
            log_thirst=water.log_thirst - was.log_thirst,
            var_thirst=water.var_thirst - was.var_thirst,
            cov_mm=water.cov_mm - was.cov_mm,
            drained_mm=_drained_mm(water),
        )
    )
    while not hour - HOURS_KEPT < pulls[0].hour <= hour:  # also after the clock was put back
        del pulls[0]


def doubtful_h(flags: Iterable[str]) -> int:
    """How many hours before now are doubtful for the flags that stand on a probe; 0: none."""
    return max((DOUBTFUL_H.get(code, 0) for code in flags), default=0)


def since_leap_h(hours_m3_m3: Sequence[float | None], hours: int, flags: Iterable[str]) -> int:
    """How many of the doubtful hours of a probe came since it first leapt.

    Args:
        hours_m3_m3: what it told by the hour, the last one now.
        hours: that are doubtful, 1 or more.
        flags: that stand on it.

    Returns:
        All of them for a probe that stood still, or where no leap is seen: then nobody knows when
        it broke. A dose is a leap of a sound probe, too; rather too many are doubted than too few.
    """
    if not all(code in LEAPS for code in flags if code in DOUBTFUL_H):
        return hours
    before = next((each for each in reversed(hours_m3_m3[:-hours]) if each is not None), None)
    for ago in range(min(hours, len(hours_m3_m3)), 0, -1):
        now = hours_m3_m3[-ago]
        if now is None:
            continue
        if before is not None and abs(now - before) > LEAP_M3_M3:
            return ago
        before = now
    return hours


def spoke(water: BedWater, probe: str, hours: int, at_utc_s: float) -> bool:
    """Whether a probe had its say in any move of the last so many hours that is still kept."""
    first = int(at_utc_s // HOUR_S) - hours
    return any(pull.hour > first and probe in pull.probes for pull in water.pulls)


def take_back(water: BedWater, taw_mm: float, hours: int, at_utc_s: float) -> float:
    """Take the moves of the last hours out of a bed.

    Args:
        water: the bed's state, changed in place; these moves are kept no more.
        taw_mm: its total available water now [mm].
        hours: how many, 1 or more.
        at_utc_s: now [s, Unix].

    Returns:
        How much more the bed lacks for it [mm], below 0 for less.
    """
    first = int(at_utc_s // HOUR_S) - hours
    taken = [pull for pull in water.pulls if pull.hour > first]
    if not taken:
        return 0.0
    del water.pulls[len(water.pulls) - len(taken) :]
    before_mm = water.depletion_mm - water.over_mm
    after_mm = before_mm + _back_mm(taken, _drained_mm(water))
    after_mm = max(-OVER_MOST_FRAC * taw_mm, min(max(taw_mm, before_mm), after_mm))
    water.depletion_mm, water.over_mm = max(0.0, after_mm), max(0.0, -after_mm)
    water.pulled_mm += before_mm - after_mm
    least = water.var_mm2
    most = max(least, (VAR_MOST_FRAC * taw_mm) ** 2)
    water.var_mm2 = min(most, max(least, least - sum([pull.var_mm2 for pull in taken])))
    thirst = water.log_thirst - sum([pull.log_thirst for pull in taken])
    water.log_thirst = max(THIRST_LOWEST, min(THIRST_HIGHEST, thirst))
    least = water.var_thirst
    most = max(least, THIRST_SD**2)
    water.var_thirst = min(most, max(least, least - sum([pull.var_thirst for pull in taken])))
    most = math.sqrt(water.var_mm2 * water.var_thirst)  # no covariance is larger
    cov_mm = water.cov_mm - sum([pull.cov_mm for pull in taken])
    water.cov_mm = max(-0.95 * most, min(0.95 * most, cov_mm))
    water.told_lately_mm, water.odd_mm2 = [], 0.0
    return after_mm - before_mm


def leave(water: BedWater, taw_mm: float, given_mm: float, log_thirst: float) -> None:
    """Let what all of a bed's probes gave it over days leave it again.

    Args:
        water: the bed's state, changed in place; no hour's move is kept any more.
        taw_mm: its total available water now [mm].
        given_mm: what they gave it [mm].
        log_thirst: what was learned of its thirst before.
    """
    before_mm = water.depletion_mm - water.over_mm
    after_mm = max(before_mm, min(taw_mm, before_mm + given_mm))
    water.depletion_mm, water.over_mm = max(0.0, after_mm), max(0.0, -after_mm)
    water.pulled_mm += before_mm - after_mm
    water.log_thirst = max(THIRST_LOWEST, min(THIRST_HIGHEST, log_thirst))
    water.cov_mm = 0.0
    water.var_mm2 = max(water.var_mm2, (LEFT_SD_FRAC * taw_mm) ** 2)
    water.told_lately_mm, water.odd_mm2 = [], 0.0
    water.pulls.clear()


def _back_mm(taken: list[Pull], drained_mm: float) -> float:
    """How much more a bed lacks without some moves; what drained meanwhile is not missed again."""
    back_mm, drained_before_mm = 0.0, taken[0].drained_mm
    ends = [*[pull.drained_mm for pull in taken[1:]], drained_mm]
    for pull, drained_after_mm in zip(taken, ends, strict=True):
        back_mm -= pull.lacks_mm
        if back_mm > 0.0:
            back_mm = max(0.0, back_mm - max(0.0, drained_after_mm - drained_before_mm))
        drained_before_mm = drained_after_mm
    return back_mm


def _drained_mm(water: BedWater) -> float:
    """What left the root zone below so far [mm], but for what growing roots took over."""
    return water.drained_mm - water.below_mm
