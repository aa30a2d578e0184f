"""What is asked of a bed in a night to come: how dry it will be then, and whether it drinks.

By the expected use, without rain or after so much of it. Pure; fractions are of TAW, rain is over
the ground.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from controller.watering.decision import BedView, Decision, Reason, Rules, Sky
from controller.watering.ending import ENDS
from controller.watering.outlook import DAY_S, IN_HOURS, NIGHT_SHARE, Night, as_of
from controller.watering.policy import decide

HOURS_ONLY: Final = frozenset({Reason.OUTSIDE_HOURS})


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What `decide` was asked."""

    bed: BedView
    sky: Sky
    rules: Rules

    def answer(self) -> Decision:
        """Its answer."""
        return decide(self.bed, self.sky, self.rules)


def usual_night(
    bed: BedView, sky: Sky, rules: Rules, ahead: Sequence[Night], *, asked: bool = False
) -> int | None:
    """In which night a bed drinks by its usual use, without rain: the one that `turns` name.

    Args:
        bed: its state.
        sky: what is foretold.
        rules: interlocks, holds and hours; what holds it now is taken for over.
        ahead: the nights to come; the first is the one that runs or the next.
        asked: whether the bed had its answer for the first.

    Returns:
        The night's place in `ahead`; None where it is none of them.
    """
    first = first_of(bed, asked=asked)
    if len(ahead) <= first:
        return None
    answer = decide(bed, sky, rules)
    if not held(answer):
        answer = before_of(bed, sky, rules, ahead, first).answer()
        if answer.water:
            return first
        first += 0 if held(answer) else 1
    return next_yes(bed, ahead, first, 0.0)


def held(answer: Decision) -> bool:
    """Whether something other than its water and the hours decided."""
    return answer.reason in ENDS and answer.reason not in HOURS_ONLY


def first_of(bed: BedView, *, asked: bool) -> int:
    """The night that is spoken of: the next one where a bed had its answer for the first."""
    return 1 if asked and not bed.depletion_frac > bed.floor_frac else 0


def before_of(bed: BedView, sky: Sky, rules: Rules, ahead: Sequence[Night], first: int) -> Asked:
    """What is asked in that night as things stand."""
    if first:
        return then(bed, ahead, first, 0.0)
    before = Asked(bed=bed, sky=sky, rules=rules)
    if not before.answer().water and not rules.in_hours:
        return replace(before, rules=replace(rules, in_hours=True, until_hours_s=0.0))
    return before


def then(bed: BedView, ahead: Sequence[Night], index: int, rain_mm: float) -> Asked:
    """What will be asked some nights on, by the expected use, after some rain."""
    use_mm = bed.day_use_frac * bed.taw_mm
    night = ahead[index]
    used_mm = sum(use_mm * one.use_frac * days for one, days in _days(ahead, index))
    lacks_mm = bed.sunrise_frac * bed.taw_mm + used_mm
    judged = as_of(bed, night, index)
    found = rained_on(
        replace(
            judged,
            sunrise_frac=lacks_mm / night.taw_mm,
            depletion_frac=max(0.0, lacks_mm / night.taw_mm - NIGHT_SHARE * judged.day_use_frac),
        ),
        rain_mm,
    )
    return Asked(bed=found, sky=Sky(), rules=IN_HOURS)


def _days(ahead: Sequence[Night], index: int) -> Iterator[tuple[Night, float]]:
    """Each night after the first up to `index`, and its days since the one before."""
    for before, one in pairwise(ahead[: index + 1]):
        yield one, (one.window.to_utc_s - before.window.to_utc_s) / DAY_S


def rained_on(bed: BedView, rain_mm: float) -> BedView:
    """The bed after some rain on it."""
    reaches_mm = bed.rain_share_frac * max(0.0, rain_mm - bed.rain_holds_mm)
    gains_frac = reaches_mm / bed.taw_mm
    return replace(
        bed,
        depletion_frac=max(0.0, bed.depletion_frac - gains_frac),
        sunrise_frac=max(0.0, bed.sunrise_frac - gains_frac),
    )


def next_yes(bed: BedView, ahead: Sequence[Night], first: int, rain_mm: float) -> int | None:
    """The first night from `first` on in which it drinks, by its usual use and after some rain."""
    nights = range(first, len(ahead))
    return next((k for k in nights if then(bed, ahead, k, rain_mm).answer().water), None)
