"""Readings that insist: hours on end that all tell of another depletion than is believed.

A filter that has grown sure of a wrong state would take days to be talked out of it. So what
`INSISTS_H` hours in a row all tell beyond what an hour may be wrong by counts on top of the usual
correction. The move depends on nothing but what was told and what is believed, and never falls as
either rises: a wetter reading, even one odd hour of it, leaves no bed drier hours later. (Widening
the filter's own variance instead, as was done before, could: the next hours then counted for more.)

What is left of such a disagreement stays in how sure the state is (`BedWater.odd_mm2`).
"""

from __future__ import annotations

from controller.state import BedWater

# Our own settings, found by trial in the simulated garden, seeds 1-5; not published.
STRANGE_SD = 1.5  # an hour that disagrees by more than this of an hour's own error is strange
INSISTS_H = 3  # hours that must agree
INSISTED_SHARE = 0.25  # of what they tell beyond that, each hour
ODD_KEPT = 0.9  # from hour to hour, of what is unsure for it


def insisted_mm(water: BedWater, told_mm: float, sd_mm: float) -> float:
    """By how much the last hours move a bed on top of the usual correction.

    Args:
        water: the bed's state; remembers what was told and how odd it is.
        told_mm: depletion by this hour's probes [mm].
        sd_mm: how far that may be from what is believed [mm].

    Returns:
        More depletion [mm], negative for less; 0 while the hours do not agree. Of hours that tell
        drier the wettest counts, and the other way round.
    """
    lately = water.told_lately_mm = [*water.told_lately_mm, told_mm][-INSISTS_H:]
    if len(lately) < INSISTS_H:
        return 0.0
    before_mm, width_mm = water.depletion_mm - water.over_mm, STRANGE_SD * sd_mm
    drier_mm = max(0.0, min(lately) - before_mm - width_mm)
    wetter_mm = max(0.0, before_mm - max(lately) - width_mm)
    beyond_mm = drier_mm - wetter_mm
    water.odd_mm2 = max(ODD_KEPT * water.odd_mm2, beyond_mm * beyond_mm)
    return INSISTED_SHARE * beyond_mm
