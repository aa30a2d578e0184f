"""What a bed gets without a probe to go by: a ladder whose rungs give less the less is known.

1. `reduced`: by its balance, four fifths of a refill. The balance counts what was given, so a
   smaller dose is followed by an earlier one: over weeks the bed gets what it uses.
2. `normals`: the weather is not known either; by the usual use of the month, the smallest dose.
3. `smallest`: longer than `blind_days`; the smallest dose, with an alarm each day.
4. `unsound`: the same, and its valve or the meter is in doubt too: nothing opens by itself.

A bed whose bare counts are still learned goes by its balance as well, but is not in the dark: its
first watering finds its full point, and those that follow are whole. Pure; fractions are of TAW.
Shares and sizes are the project's own proposals.
"""

from __future__ import annotations

from typing import Final

from controller.watering.decision import BedView, Blind, Learning, Reason

DOSE_SHARE = 0.8  # of a refill, without probes
SMALLEST_FRAC = 0.10
REASONS: Final[dict[Blind, Reason]] = {
    Blind.REDUCED: Reason.BLIND_REFILL,
    Blind.NORMALS: Reason.BLIND_NORMALS,
    Blind.SMALLEST: Reason.BLIND_SMALLEST,
    Blind.UNSOUND: Reason.BLIND_UNSOUND,
}


def learns(bed: BedView) -> bool:
    """Whether the bed goes by its balance only because its probes are still learned."""
    return bed.quality == "none" and bed.learning is not Learning.NO


def in_the_dark(bed: BedView) -> bool:
    """Whether the bed has no probe to go by, and none that is learned."""
    return bed.quality == "none" and bed.learning is Learning.NO


def most_frac(bed: BedView, want_frac: float) -> float:
    """What is given of a dose that a bed with probes would get [of TAW]."""
    if not in_the_dark(bed):
        return want_frac
    if bed.blind is Blind.REDUCED:
        return DOSE_SHARE * want_frac
    return min(want_frac, SMALLEST_FRAC)


def soak_frac(bed: BedView, from_frac: float) -> float:
    """The first watering of a bed that learns: to full, and further by what is not known of it."""
    return min(1.0, min(from_frac, 1.0) + max(0.0, bed.spread_frac))
