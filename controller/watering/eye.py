"""The grower's eye: what looks at the leaves tell of where a bed's first mild stress begins.

A look in the morning says upright, slightly rolled or limp. Its odds under each of a few places
where stress may begin in this bed turn, by Bayes' rule, into how far the bed's thirst line is
moved. What is learned belongs to one bed and is in the filter's own depletion (so it makes up for a
use that is modelled too low or too high as well). It never moves the line further than
`SHIFT_MOST_FRAC`. Where no probe tells of the bed, a look tells of the bed itself as well
(`tells`): leaves that hang in a bed that its books call wet say that the books are wrong.

Depletions are fractions of the available water: 0 full, 1 wilting point. Leaves that flag at midday
in heat recover by evening in a well-watered plant, so a look at midday teaches nothing. Limp leaves
over wet soil speak of roots or disease and teach nothing either.

The widths and odds are our own proposals, held by trials in the simulated garden; the rule of thumb
that a first, slight roll in the morning is the sign to water is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

SHIFT_MOST_FRAC = 0.10  # of TAW: the line goes no further than this from the stage's own
STEP_FRAC = 0.02
STEPS = 7  # either way; the outermost candidates lie beyond what the line may follow
PRIOR_SD_FRAC = 0.08
ROLLED_BEYOND_FRAC = 0.03  # slight rolling shows this far past the line: nobody sees its first hour
SOFT_FRAC = 0.03  # a bed's plants do not roll at one and the same depletion
SLIP_FRAC = 0.15  # of looks that say anything: bad light, pruning, wind, a hasty glance
LEAST_FRAC = 1e-12  # of a weight: from nothing at all no later look could bring it back
WET_FRAC = 0.15  # limp leaves over soil wetter than this are no thirst
WORTH_WITHIN_FRAC = 0.12  # of TAW: so near to its line, or past it, a bed is worth a look
MORNING_ENDS_H = 10  # local: by then the heat makes well-watered leaves hang too
NEWS_AFTER_S = 18 * 3600.0  # a second look on the same morning tells nothing new of the bed
EASED_MOST_FRAC = SHIFT_MOST_FRAC  # of TAW: so far may looks make books wetter in a dry spell
GRID_HALF, GRID_SD = 20, 3.0  # points to either side, and how far out, of a bed's own depletion
FADES_D = 60.0  # what was learned in spring counts less in autumn

SHIFTS_FRAC = tuple(STEP_FRAC * i for i in range(-STEPS, STEPS + 1))


class Leaves(IntEnum):
    """What the leaves look like."""

    UPRIGHT = 0
    ROLLED = 1
    LIMP = 2


class When(StrEnum):
    """When somebody looked."""

    MORNING = "morning"
    MIDDAY = "midday"


def when_by_clock(hour: int) -> When:
    """When a look was that nobody said it of: what is told now was seen now.

    After the morning leaves may hang in the heat and be well, into the evening: all that counts as
    midday.

    Args:
        hour: of the local day [0..23].
    """
    return When.MORNING if hour < MORNING_ENDS_H else When.MIDDAY


class Says(StrEnum):
    """What a look came to."""

    LEARNED = "learned"
    MIDDAY_SAYS_NOTHING = "midday_says_nothing"
    ROOTS = "roots"  # limp and wet: look at roots and disease, never water
    UNKNOWN = "unknown"  # the bed's own state is not known well enough


@dataclass(slots=True, kw_only=True)
class Eye:
    """What looks have taught about one bed."""

    weights_frac: list[float] = field(
        default_factory=list
    )  # one for each of SHIFTS_FRAC; sums to 1
    looks: int = 0
    at_utc_s: float = 0.0
    eased_frac: float = 0.0  # of TAW: by how much looks made the books wetter in this dry spell
    eased_from_utc_s: float | None = None  # when its last water came


def _prior() -> list[float]:
    raw = [math.exp(-0.5 * (shift / PRIOR_SD_FRAC) ** 2) for shift in SHIFTS_FRAC]
    total = sum(raw)
    return [one / total for one in raw]


PRIOR = tuple(_prior())


def odds(leaves: Leaves, depletion_frac: float, spread_frac: float, line_frac: float) -> float:
    """How likely a look is where stress begins at `line_frac`.

    Limp counts as rolled: that leaves are no longer upright is what tells of the first mild stress,
    and how far they hang has other reasons as well.

    Args:
        leaves: what was seen.
        depletion_frac: by the filter at the look [0..1].
        spread_frac: its standard deviation, 0 or more.
        line_frac: where first mild stress begins in this bed [0..1].

    Returns:
        A chance [0..1], never 0: some looks are slips.
    """
    soft_frac = math.hypot(SOFT_FRAC, spread_frac)
    short_of = (line_frac + ROLLED_BEYOND_FRAC - depletion_frac) / soft_frac
    hangs = 1.0 / (1.0 + math.exp(max(-50.0, min(50.0, short_of))))
    seen = 1.0 - hangs if leaves is Leaves.UPRIGHT else hangs
    return 0.5 * SLIP_FRAC + (1.0 - SLIP_FRAC) * seen


def look(
    eye: Eye,
    leaves: Leaves,
    when: When,
    *,
    depletion_frac: float,
    spread_frac: float,
    line_frac: float,
    at_utc_s: float,
) -> Says:
    """Take a look into account.

    Args:
        eye: what the bed's looks have taught, changed in place.
        leaves: what was seen.
        when: morning teaches; midday does not.
        depletion_frac: by the filter at the look [0..1].
        spread_frac: its standard deviation [0..1]; of a bed with probes only what changes from look
            to look, since what they are wrong by together is learned with the line.
        line_frac: the stage's own thirst line, nothing learned [0..1].
        at_utc_s: now [s, Unix].

    Returns:
        What it came to; only `LEARNED` changed anything.
    """
    if when is not When.MORNING:
        return Says.MIDDAY_SAYS_NOTHING
    told = (depletion_frac, spread_frac, line_frac, at_utc_s)
    if not all(map(math.isfinite, told)) or not spread_frac >= 0.0:
        return Says.UNKNOWN
    if leaves is Leaves.LIMP and depletion_frac < WET_FRAC:
        return Says.ROOTS
    weights = _faded(eye, at_utc_s)
    weights = [
        weight * odds(leaves, depletion_frac, spread_frac, line_frac + shift)
        for weight, shift in zip(weights, SHIFTS_FRAC, strict=True)
    ]
    total = sum(weights)
    eye.weights_frac = [max(LEAST_FRAC, weight / total) for weight in weights]
    eye.looks += 1
    eye.at_utc_s = at_utc_s
    return Says.LEARNED


def tells(
    eye: Eye,
    leaves: Leaves,
    *,
    depletion_frac: float,
    spread_frac: float,
    line_frac: float,
    at_utc_s: float,
) -> tuple[float, float]:
    """What is to be believed of a bed that only its books tell of, after a look in the morning.

    Args:
        eye: what the bed's looks taught before this one; not changed.
        leaves: what was seen.
        depletion_frac: by the balance at the look [0..1].
        spread_frac: its standard deviation, above 0.
        line_frac: the stage's own thirst line, nothing learned [0..1].
        at_utc_s: now [s, Unix].

    Returns:
        Mean [of TAW] and variance [-] of the depletion, over all places where stress may begin.
        Leaves that hang never make it less than upright ones.
    """
    weights = _faded(eye, at_utc_s)
    total = mean = square = 0.0
    for step in range(-GRID_HALF, GRID_HALF + 1):
        away = GRID_SD * step / GRID_HALF
        at_frac = depletion_frac + away * spread_frac
        likely = math.exp(-0.5 * away * away) * sum(
            weight * odds(leaves, at_frac, 0.0, line_frac + shift)
            for weight, shift in zip(weights, SHIFTS_FRAC, strict=True)
        )
        total, mean, square = total + likely, mean + likely * away, square + likely * away * away
    mean, square = mean / total, square / total
    return depletion_frac + mean * spread_frac, (square - mean * mean) * spread_frac * spread_frac


def _faded(eye: Eye, at_utc_s: float) -> list[float]:
    """The weights as of now: they go back to what was believed before any look."""
    if not eye.weights_frac:
        return list(PRIOR)
    kept = math.exp(-max(0.0, at_utc_s - eye.at_utc_s) / (FADES_D * 86_400.0))
    raw = [
        prior * math.pow(weight / prior, kept)
        for weight, prior in zip(eye.weights_frac, PRIOR, strict=True)
    ]
    total = sum(raw)
    return [one / total for one in raw]


def shift_frac(eye: Eye) -> float:
    """How far the looks move the bed's thirst line, more is drier [of TAW].

    Returns:
        The mean of what is believed, within `SHIFT_MOST_FRAC` either way; 0 before any look.
    """
    if not eye.weights_frac:
        return 0.0
    mean = sum(weight * shift for weight, shift in zip(eye.weights_frac, SHIFTS_FRAC, strict=True))
    return max(-SHIFT_MOST_FRAC, min(SHIFT_MOST_FRAC, mean))


def line_frac(eye: Eye, stage_line_frac: float, floor_frac: float) -> float:
    """A bed's thirst line with what its looks taught, never past its floor [of TAW].

    Args:
        eye: what the bed's looks have taught.
        stage_line_frac: the stage's own line [0..1].
        floor_frac: its floor [0..1].
    """
    if not eye.weights_frac:
        return stage_line_frac
    return min(stage_line_frac + shift_frac(eye), floor_frac)


def is_news(eye: Eye, at_utc_s: float) -> bool:
    """Whether the last look is so long ago that another tells something new of the bed.

    Args:
        eye: what the bed's looks have taught.
        at_utc_s: now [s, Unix].
    """
    return not eye.looks or not 0.0 <= at_utc_s - eye.at_utc_s < NEWS_AFTER_S


def eased(eye: Eye, before_frac: float, mean_frac: float, wetted_utc_s: float | None) -> float:
    """What a look may make of a bed's books: no wetter than `EASED_MOST_FRAC` in one dry spell.

    Somebody may tell of upright leaves every morning while a bed dries out: by its books it then
    still comes to its floor, and drinks.

    Args:
        eye: what the bed's looks have taught; changed in place.
        before_frac: depletion by the books, less what is above full; below 0 is above full.
        mean_frac: what the look makes of it.
        wetted_utc_s: when the bed's last water came [s, Unix]; None where none did.

    Returns:
        The depletion to go to [of TAW]: on the same side of `before_frac`, within full and empty.
    """
    if mean_frac >= before_frac:
        return max(before_frac, min(1.0, mean_frac))
    if eye.eased_from_utc_s != wetted_utc_s:
        eye.eased_frac, eye.eased_from_utc_s = 0.0, wetted_utc_s
    least_frac = max(min(0.0, before_frac), before_frac - (EASED_MOST_FRAC - eye.eased_frac))
    goes_to_frac = max(mean_frac, least_frac)
    eye.eased_frac += before_frac - goes_to_frac
    return goes_to_frac


def is_worth(depletion_frac: float, line_frac: float) -> bool:
    """Whether a look tells something: upright leaves in a wet bed are no news.

    Args:
        depletion_frac: by the filter now [0..1].
        line_frac: the bed's line with what was learned [0..1].
    """
    return depletion_frac >= line_frac - WORTH_WITHIN_FRAC


def forget(eye: Eye) -> None:
    """Undo all that the bed's looks taught."""
    eye.weights_frac, eye.looks, eye.at_utc_s = [], 0, 0.0
