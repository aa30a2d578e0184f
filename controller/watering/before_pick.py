"""Before a marked pick a bed is kept from water, lest its fruit swell, split and taste flat.

Three days before the day of a pick the dry days begin. A bed that would come to its line in them
drinks on the last night before, if a deep dose fits; one that drinks a few nights earlier leaves
room for that dose. In the dry days it holds back unless its floor is near, and then gets what
carries it to the pick. On the last of their nights the floor is looked ahead to noon of the pick's
day only: then it is picked, and a passed floor may drink at any hour. Pure; all fractions are of
TAW.

Source: the project's own proposals after Peet 1992 (abstract: fruit cracks when dry soil is
suddenly wetted) and Marouelli (abstract: soluble solids fall with late water).
"""

from __future__ import annotations

from controller.watering.decision import BedView
from controller.watering.staged import BEFORE_PICK_TO_FRAC

ROOM_FRAC = 0.04  # a night, left beside the smallest dose: a day may use less than is expected
BRIM_FRAC = 0.02  # the last dose before may go so near to full: nothing follows it for days
PICKED_BY_D = 0.5  # of a day's use falls before the noon at which it is picked
PREPARED_NIGHTS = 3  # so long before, a full bed has dried by itself enough for the last dose


def ahead_d(bed: BedView) -> float:
    """For how many days' use after sunrise tonight's answer has to do [d]."""
    return PICKED_BY_D if bed.pick_near and bed.pick_d < 1.0 else 1.0


def reaches(bed: BedView, from_frac: float, line_frac: float) -> bool:
    """Whether a bed that is at `from_frac` by sunrise comes to its line before the pick."""
    return from_frac + bed.pick_d * bed.day_use_frac >= line_frac


def drinks_before(bed: BedView, line_frac: float, least_frac: float) -> bool:
    """Whether this is the last night before the dry days, and the bed is to drink for them.

    Args:
        bed: its state.
        line_frac: the thirst line that counts tonight.
        least_frac: the smallest deep dose.
    """
    fits = bed.sunrise_frac - BRIM_FRAC >= least_frac
    return bed.pick_in == 0 and fits and reaches(bed, bed.sunrise_frac, line_frac)


def leaves_frac(
    bed: BedView, from_frac: float, line_frac: float, to_frac: float, least_frac: float
) -> float:
    """Where a refill stops tonight, so that the smallest deep dose fits on the last night before.

    Args:
        bed: its state.
        from_frac: depletion that is refilled [0..1].
        line_frac: the thirst line that counts tonight.
        to_frac: where a refill stops at any other time.
        least_frac: the smallest deep dose; tonight's is no less.

    Returns:
        `to_frac` where no pick is near or a full bed lasts until it.
    """
    nights = bed.pick_in
    if nights is None or not 0 < nights <= PREPARED_NIGHTS or not reaches(bed, to_frac, line_frac):
        return to_frac
    leaves = to_frac + least_frac - nights * (bed.day_use_frac - ROOM_FRAC)
    return max(to_frac, min(leaves, from_frac - least_frac))


def carries_frac(bed: BedView, from_frac: float, to_frac: float, least_frac: float) -> float:
    """What a bed whose floor is near in the dry days gets: enough to come to the pick, no more.

    Args:
        bed: its state.
        from_frac: depletion that would be refilled [0..1].
        to_frac: where a refill stops at any other time; the smallest dose may go as far here too,
            as no floor is passed for a pick.
        least_frac: the smallest deep dose.
    """
    needs_frac = max(least_frac, bed.pick_d * bed.day_use_frac)
    short_of_full = min(from_frac - BEFORE_PICK_TO_FRAC, needs_frac)
    return max(short_of_full, min(from_frac - to_frac, least_frac))
