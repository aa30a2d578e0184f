"""How much of the rain foretold a bed can use, by odds and amount.

A pour on a bed that lacks little runs through: more than the bed lacks is worth no more, however
much is foretold, and what leaves and straw keep never reaches the strip. Each spell of the outlook
counts by its own odds. Pure; amounts in mm, over the ground where they fall, over the strip where
they are used. The rule is the project's own proposal.
"""

from __future__ import annotations

from controller.watering.decision import BedView, Rain, Sky

ENOUGH_SHARE = 0.5  # of what the bed lacks: for less it does not wait


def usable_mm(bed: BedView, sky: Sky, lacks_mm: float) -> float:
    """The rain to come that this bed can use, amount times odds [mm over the strip].

    Args:
        bed: its share of a rain, and what leaves and straw keep.
        sky: what is foretold for the coming day; without single spells, its sum as one that is
            sure to come.
        lacks_mm: what the bed lacks by sunrise [mm over the strip].

    Returns:
        0 to `lacks_mm`.
    """
    spells = sky.rains or (Rain(fall_mm=sky.rain_expected_mm, chance_frac=1.0),)
    usable = 0.0
    for rain in spells:
        reaches_mm = bed.rain_share_frac * (rain.fall_mm - bed.rain_holds_mm)
        usable += rain.chance_frac * max(0.0, min(reaches_mm, lacks_mm))
    return min(usable, lacks_mm)


def rain_will_do(bed: BedView, sky: Sky) -> bool:
    """Whether the rain to come is, by its odds, enough of what the bed lacks to wait for."""
    lacks_mm = bed.sunrise_frac * bed.taw_mm
    return lacks_mm > 0.0 and usable_mm(bed, sky, lacks_mm) >= ENOUGH_SHARE * lacks_mm
