"""A dose as a stimulus: which probes have to feel it, within what time, and whether one did.

A dose fills the ground from above. The uppermost probe among the roots has to feel it where it is
about what the ground down to the probe lacks; a deeper one where such doses got to it before, since
nobody knows a bed's full point well enough to tell how far down one goes. A probe that reads full
has to feel nothing. What counts as felt is a rise of its hours over its last hours before the dose,
above its own noise and in proportion to what it lacked. Contents in m3/m3, water in mm over the
strip; reach is a dose over what the ground down to a depth lacks [-].

Six hours for the answer of a shallow probe are this project's rule; the other settings were found
by trial in the simulated garden, seeds 1-20 in two seasons. Leaves out: how fast a soil lets water
down; a deep probe's longer window stands for it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

SHALLOW_CM = 20.0
WINDOW_H = 6  # after the last water, for a probe no deeper than that
DEEPER_H_PER_CM = 0.3  # and so much longer for one that is
WINDOW_MOST_H = 18
BEFORE_H = 3  # hours before a dose that tell what it began from
LEAST_H = 3  # hours with readings in a window; fewer say nothing
ROOM_FRAC = 0.12  # of the available water: a probe that lacks less reads full
DOSE_LEAST_MM = 5.0
REACH_TOP = 0.7  # that the uppermost probe has to feel, by its own content
ROOTS_SHARE = 0.6  # of the root depth: a dose for the roots surely passes what is above that
ROOTS_MOST_SHARE = 0.8  # and what is below that it need not pass
REACH_UNPROVEN = 2.0  # that any other has to feel which has not answered twice
REACH_MOST = 9.9  # so much of a full ground's nothing
ANSWERS = 5  # the last, whose median is the reach that a probe is known to feel
ANSWERS_LEAST = 2
PROVEN_SHARE = 0.9  # of that median: doses are never quite alike
MOVED_LEAST_M3_M3 = 0.004  # three hours of a still probe differ by less
MOVED_FRAC = 0.10  # of what the probe lacked,
MOVED_MOST_M3_M3 = 0.006  # but so far no still probe goes
CLEAR_LEAST_M3_M3 = 0.008  # a rise that makes up for missed doses
CLEAR_FRAC = 0.20
CLEAR_MOST_M3_M3 = 0.010
TREMBLES_M3_M3 = 0.004  # a probe whose hours of days lie this near only trembles
RAIN_VOIDS_MM = 1.0  # within the window: then nobody knows what the probe felt


def window_h(depth_cm: float) -> int:
    """How long after its last water a dose is given to show at a depth [h].

    Args:
        depth_cm: of the probe [cm], 0 or more.
    """
    longer = math.ceil(DEEPER_H_PER_CM * max(0.0, depth_cm - SHALLOW_CM))
    return min(WINDOW_MOST_H, WINDOW_H + longer)


def reach_frac(
    *,
    content_m3_m3: float,
    full_m3_m3: float,
    available_m3_m3: float,
    given_mm: float,
    depth_cm: float,
) -> float:
    """A dose over what the ground down to a depth lacked.

    Args:
        content_m3_m3: of that ground before the dose; drier than wilting counts as wilting.
        full_m3_m3: the bed's full point.
        available_m3_m3: between full and wilting.
        given_mm: the dose over the strip [mm].
        depth_cm: down to where [cm], above 0.

    Returns:
        0 to `REACH_MOST`.
    """
    lacks_mm = 10.0 * depth_cm * min(available_m3_m3, full_m3_m3 - content_m3_m3)
    return REACH_MOST if lacks_mm <= given_mm / REACH_MOST else given_mm / lacks_mm


def least_reach_frac(
    answered_frac: Sequence[float], *, is_uppermost: bool, depth_cm: float, root_depth_m: float
) -> float:
    """The reach from which on a probe has to feel a dose.

    Args:
        answered_frac: reaches of the doses that it answered.
        is_uppermost: whether no probe of its bed is above it.
        depth_cm: of the probe [cm].
        root_depth_m: at present [m].
    """
    if depth_cm > 100.0 * ROOTS_MOST_SHARE * root_depth_m:
        return math.inf  # a dose is for the roots, and ends about there
    if is_uppermost and depth_cm <= min(SHALLOW_CM, 100.0 * ROOTS_SHARE * root_depth_m):
        return REACH_TOP
    known = answered_frac[-ANSWERS:]
    if len(known) < ANSWERS_LEAST:
        return REACH_UNPROVEN
    return PROVEN_SHARE * float(median(known))


def reads_full(before_m3_m3: float, full_m3_m3: float, available_m3_m3: float) -> bool:
    """Whether a probe lacked too little before a dose to show it."""
    return full_m3_m3 - before_m3_m3 < ROOM_FRAC * available_m3_m3


def moved_least_m3_m3(room_m3_m3: float, *, clear: bool = False) -> float:
    """The rise from which a probe counts as moved.

    Args:
        room_m3_m3: what it lacked of full before the dose.
        clear: whether it is to make up for doses that it missed.
    """
    if clear:
        return min(CLEAR_MOST_M3_M3, max(CLEAR_LEAST_M3_M3, CLEAR_FRAC * room_m3_m3))
    return min(MOVED_MOST_M3_M3, max(MOVED_LEAST_M3_M3, MOVED_FRAC * room_m3_m3))


def before_m3_m3(hours: Sequence[float | None], since_h: int) -> float | None:
    """What a probe told before an instant, by the medians of its hours.

    Args:
        hours: its last hours, newest last; None is an hour without readings.
        since_h: how many of them ended after that instant, 1 or more.
    """
    end = len(hours) - since_h
    told = [each for each in hours[max(0, end - BEFORE_H) : max(0, end)] if each is not None]
    return float(median(told)) if told else None


def highest_m3_m3(hours: Sequence[float | None], since_h: int) -> float | None:
    """The highest level since then that stood for three hours, by their median."""
    told = [each for each in hours[-since_h:] if each is not None]
    if len(told) < LEAST_H:
        return None
    return max(median(told[n : n + LEAST_H]) for n in range(len(told) - LEAST_H + 1))


def trembles(hours: Sequence[float | None]) -> bool:
    """Whether a probe's hours lie so near each other that it only trembles."""
    told = [each for each in hours if each is not None]
    return len(told) >= WINDOW_H and max(told) - min(told) <= TREMBLES_M3_M3
