"""Whether all of a bed's probes together let it dry as the weather dries it.

`drift.py` and `following.py` hold a probe against its peers, `stimulus.py` against a dose. Where
all probes of a bed stand still and tell it wet, no peer goes another way and no dose comes: each
hour's correction gives the bed back what it used by its balance, and its learned thirst falls until
it cannot fall further. So what corrections give back is held against what the bed used, day by day
of heard hours. What is beyond `SHARE` of the use adds up; a day on which less is given back takes
away. A day gives back no more than its own use: water that nobody told of, and rain beyond what a
gauge caught, come at once and then dry like any other.

Amounts in mm over the strip. `SHARE` and the bounds were found by trial in the simulated garden
(seeds 1-4 in three seasons, and the same seasons sure); none is published.
Leaves out: probes that dry by a third of what their bed does, or more, which is a thirst that a bed
may have; a bed whose probes truly stand in ground water is asked about until somebody felt it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

DAY_H = 24  # heard hours that make a day
SHARE = 0.65  # of its use: a bed with the lowest thirst that is believed gives back less
LEAST_MM = 10.0  # beyond that share, in all, is asked about,
LEAST_FRAC = 0.15  # or so much of the available water, where that is more
UNSEEN_GAIN = 2.0  # so many times more, where it may have rained without a gauge
BARE_GAIN = 2.0  # and for probes that tell bare counts: their learned line may be too flat
VOUCHED_GAIN = 2.0  # and again, each time that somebody found the probes right,
VOUCHED_MOST = 2  # so many times
FIRST_SD_FRAC = 0.10  # of the available water: above, a bed is only being found out


@dataclass(slots=True, kw_only=True)
class Undried:
    """What a bed's corrections gave back of its use, day by day."""

    used_mm: float | None = None  # by the books, when it was last heard
    day_h: int = 0  # heard hours of the day under way,
    day_used_mm: float = 0.0  # the use in them,
    day_given_mm: float = 0.0  # what corrections gave back of it, less what they took,
    day_seen_mm: float = 0.0  # and of that in hours in which a gauge would tell of rain
    sum_mm: float = 0.0  # beyond the share, over the days
    seen_mm: float = 0.0  # the same of what a gauge watched
    given_mm: float = 0.0  # given back in all since that sum was last nothing,
    log_thirst: float | None = None  # and what had been learned of its thirst then
    asked: list[str] = field(default_factory=list)  # probes that somebody is asked about,
    asked_utc_s: float = 0.0  # since when
    vouched: int = 0  # times that somebody found them right without water


def hour(
    memory: Undried, *, given_mm: float, used_mm: float, log_thirst: float, rain_seen: bool
) -> bool:
    """Take an hour in which a bed was corrected by its probes.

    Args:
        memory: the bed's, changed in place.
        given_mm: what the correction gave the bed, below 0 for what it took [mm].
        used_mm: what the bed used by its books since it began [mm], never falling.
        log_thirst: what is learned of its thirst now.
        rain_seen: whether a gauge would have told of rain in this hour.

    Returns:
        Whether this hour ended a day of heard hours, so that it is to be judged.
    """
    if memory.used_mm is not None:
        memory.day_used_mm += max(0.0, used_mm - memory.used_mm)
    memory.used_mm = used_mm
    memory.day_given_mm += given_mm
    memory.day_seen_mm += given_mm if rain_seen else min(0.0, given_mm)
    memory.day_h += 1
    if memory.log_thirst is None:
        memory.log_thirst = log_thirst
    if memory.day_h < DAY_H:
        return False
    _end_day(memory, log_thirst)
    return True


def _end_day(memory: Undried, log_thirst: float) -> None:
    used_mm = memory.day_used_mm
    given_mm = min(used_mm, memory.day_given_mm)
    memory.sum_mm = max(0.0, memory.sum_mm + given_mm - SHARE * used_mm)
    seen_mm = min(used_mm, memory.day_seen_mm)
    memory.seen_mm = max(0.0, memory.seen_mm + seen_mm - SHARE * used_mm)
    memory.given_mm = max(0.0, memory.given_mm + given_mm)
    if memory.sum_mm <= 0.0:
        memory.given_mm, memory.log_thirst = 0.0, log_thirst
    memory.day_h, memory.day_used_mm, memory.day_given_mm, memory.day_seen_mm = 0, 0.0, 0.0, 0.0


def bound_mm(memory: Undried, taw_mm: float, *, bare: bool = False) -> float:
    """The sum from which on a bed's probes are asked about, where a gauge tells of rain [mm].

    Args:
        memory: the bed's.
        taw_mm: its total available water [mm].
        bare: whether one of its probes tells bare counts, whose line was only learned.
    """
    gain = VOUCHED_GAIN**memory.vouched * (BARE_GAIN if bare else 1.0)
    return max(LEAST_MM, LEAST_FRAC * taw_mm) * gain


def is_sure(memory: Undried, taw_mm: float, *, bare: bool = False) -> bool:
    """Whether no rain can be what kept the probes wet: they are not believed."""
    return memory.seen_mm >= bound_mm(memory, taw_mm, bare=bare)


def is_doubtful(memory: Undried, taw_mm: float, *, bare: bool = False) -> bool:
    """Whether the probes stay wet too long, but rain that no gauge saw may be the cause."""
    return memory.sum_mm >= UNSEEN_GAIN * bound_mm(memory, taw_mm, bare=bare)


def begin_anew(memory: Undried) -> None:
    """Nothing is held against the probes any more; the count of vouchings stays."""
    memory.day_h, memory.day_used_mm, memory.day_given_mm, memory.day_seen_mm = 0, 0.0, 0.0, 0.0
    memory.sum_mm = memory.seen_mm = memory.given_mm = 0.0
    memory.log_thirst = memory.used_mm = None


def cleared(memory: Undried, watered_utc_s: float | None) -> None:
    """What somebody was asked about is over: water moved a probe, or a person found them right.

    Args:
        memory: the bed's, changed in place.
        watered_utc_s: when it last got water [s, Unix]; None: never.
    """
    watered = watered_utc_s is not None and watered_utc_s > memory.asked_utc_s
    memory.vouched = 0 if watered else min(VOUCHED_MOST, memory.vouched + 1)
    memory.asked = []
    begin_anew(memory)
