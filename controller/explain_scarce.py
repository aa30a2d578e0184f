"""What scarce water costs: a dry high summer played through, morning by morning.

Full-grown beds use the same every day, and less once past their thirst line; who is due drinks by
the rules of scarcity. Four weeks settle the play, the 31 days after them are counted, once with the
file's limits and once without. Left out: rain, the length of a night, heat, and a tank, which is
asked about by how often it has to be filled.
"""

from __future__ import annotations

import calendar
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from controller.explain_numbers import BedNumbers, Numbers
from controller.garden import REFILL_TO_FRAC, Garden
from controller.scarcity import weekdays_of
from controller.watering.policy import SMALLEST_BLIND_FRAC, SMALLEST_DOSE_FRAC, looks_ahead_d
from controller.watering.scarce import WEEK_D, Want, allot, given_in_week_l, note_given

SETTLING_D = 28
COUNTED_D = 31
NEAR_FRAC = 0.005  # of the available water: a bed this far past its line is at it


@dataclass(frozen=True, slots=True, kw_only=True)
class Summer:
    """What a dry July (January in the south) of 31 days comes to, all beds together.

    A stress day is one bed's dawn past its thirst line; `past_floor_days` are those among them that
    are past the floor. `drinks_frac` is what the plants drink of what they want.
    """

    bed_days: int
    stress_days: int
    past_floor_days: int
    litres: float
    drinks_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Scarcity:
    """The same summer with the file's limits and without."""

    limited: Summer
    free: Summer
    fillings: int | None  # of the tank in those days; None without one
    never: tuple[str, ...]  # beds whose smallest deep dose is more than week or tank ever have


@dataclass(slots=True)
class _Count:
    stress_d: int = 0
    past_floor_d: int = 0
    given_l: float = 0.0
    drunk_l: float = 0.0
    wanted_l: float = 0.0


@dataclass(slots=True)
class _Play:
    """One summer under way; depletions as fractions of each bed's capacity."""

    beds: tuple[BedNumbers, ...]
    week_l: float
    used_frac: dict[str, float]
    given_l: dict[int, float] = field(default_factory=dict)
    count: _Count = field(default_factory=_Count)


def scarce_words(garden: Garden, found: Numbers) -> Iterator[str]:
    """Say what a file's scarce water covers and costs, a caution each.

    Args:
        garden: the garden file.
        found: its numbers.
    """
    supply, played = garden.supply, scarcity(garden, found.beds)
    if played is None:
        return
    week_l, cost = supply.litres_per_week, _cost(played, calendar.month_name[found.month])
    short = week_l is not None and not week_l >= found.week_need_l
    if week_l is not None and short:
        share = week_l / found.week_need_l
        yield (
            f"The week's {week_l:.0f} L cover {100.0 * share:.0f} % of a dry week in high "
            f"summer. {cost}"
        )
    days = weekdays_of(supply)
    if days is not None:
        names = ", ".join(supply.days or ())
        text = (
            f"Water may run on {names} only: a bed drinks on the last of these days before it "
            "would pass its floor, or waits, past its thirst line if need be."
        )
        yield text if short else f"{text} {cost}"
    if supply.tank_l is not None and played.fillings is not None:
        lasts_d = WEEK_D * supply.tank_l / found.week_need_l
        yield (
            f"A full tank of {supply.tank_l:.0f} L lasts about {lasts_d:.0f} days of high "
            f"summer without rain; {COUNTED_D} of them take {played.fillings} fillings. It is "
            "counted, not measured: say when it was filled."
        )
    if played.never:
        yield (
            f"The smallest deep watering of {', '.join(played.never)} takes more than there ever "
            "is: by itself it would never be watered."
        )


def _cost(played: Scarcity, month: str) -> str:
    """The play in a sentence or two."""
    limited, free = played.limited, played.free
    text = (
        f"Played through, a dry {month} has {limited.stress_days} stress days (dawns of a bed past "
        f"its thirst line, of {limited.bed_days}), {limited.past_floor_days} of them past the "
        f"floor; the plants drink {100.0 * limited.drinks_frac:.0f} % of what they want."
    )
    spared = f" Without this limit: {free.stress_days} and {free.past_floor_days}."
    return text + (spared if free.stress_days else "")


def scarcity(garden: Garden, beds: tuple[BedNumbers, ...]) -> Scarcity | None:
    """Play a dry high summer with and without the file's limits.

    Args:
        garden: the garden file.
        beds: its numbers, full-grown in high summer.

    Returns:
        Both summers; None where the file limits nothing.
    """
    supply, days = garden.supply, weekdays_of(garden.supply)
    if supply.litres_per_week is None and supply.tank_l is None and days is None:
        return None
    week_l = math.inf if supply.litres_per_week is None else supply.litres_per_week
    tank_l = math.inf if supply.tank_l is None else supply.tank_l
    limited = _summer(beds, week_l, lambda day: days is None or day % WEEK_D in days)
    smallest_frac = SMALLEST_DOSE_FRAC if days is None else SMALLEST_BLIND_FRAC
    most_l = min(week_l, tank_l)
    return Scarcity(
        limited=limited,
        free=_summer(beds, math.inf, lambda day: True),
        fillings=None if supply.tank_l is None else math.ceil(limited.litres / tank_l),
        never=tuple(bed.bed for bed in beds if not smallest_frac * bed.capacity_l <= most_l),
    )


def _summer(beds: tuple[BedNumbers, ...], week_l: float, allowed: Callable[[int], bool]) -> Summer:
    many = len(beds)
    first_frac = {  # they do not come due on one night
        bed.bed: REFILL_TO_FRAC + (bed.thirst_line_frac - REFILL_TO_FRAC) * (number + 0.5) / many
        for number, bed in enumerate(beds)
    }
    play = _Play(beds=beds, week_l=week_l, used_frac=first_frac)
    for day in range(SETTLING_D + COUNTED_D):
        if day == SETTLING_D:
            play.count = _Count()
        _day(play)
        if allowed(day):
            ahead = 1
            while not allowed(day + ahead):
                ahead += 1
            _night(play, day, ahead)
        _dawn(play)
    count = play.count
    return Summer(
        bed_days=COUNTED_D * many,
        stress_days=count.stress_d,
        past_floor_days=count.past_floor_d,
        litres=count.given_l,
        drinks_frac=count.drunk_l / count.wanted_l if count.wanted_l > 0.0 else 1.0,
    )


def _day(play: _Play) -> None:
    """A day's use; past the line plants drink less. Source: FAO-56 eq. 84, p = the thirst line."""
    for bed in play.beds:
        used_frac = play.used_frac[bed.bed]
        open_frac = min(1.0, max(0.0, (1.0 - used_frac) / (1.0 - bed.thirst_line_frac)))
        drunk_l = min(bed.demand_l_d * open_frac, (1.0 - used_frac) * bed.capacity_l)
        play.used_frac[bed.bed] += drunk_l / bed.capacity_l
        play.count.drunk_l += drunk_l
        play.count.wanted_l += bed.demand_l_d


def _night(play: _Play, day: int, ahead: int) -> None:
    """Who is due drinks; `ahead` is in how many nights water may run again."""
    smallest_frac = SMALLEST_DOSE_FRAC if ahead == 1 else SMALLEST_BLIND_FRAC
    wants = []
    for bed in play.beds:
        used_frac, day_frac = play.used_frac[bed.bed], bed.demand_l_d / bed.capacity_l
        due = used_frac >= bed.thirst_line_frac
        due = due or used_frac + looks_ahead_d(ahead) * day_frac > bed.floor_frac
        want_frac = used_frac - REFILL_TO_FRAC
        if due and want_frac >= smallest_frac:
            slack_frac = bed.floor_frac - bed.thirst_line_frac
            wants.append(
                Want(
                    bed=bed.bed,
                    need_frac=(used_frac - bed.thirst_line_frac) / slack_frac,
                    want_l=want_frac * bed.capacity_l,
                    least_l=smallest_frac * bed.capacity_l,
                )
            )
    shares = allot(wants, play.week_l - given_in_week_l(play.given_l, day))
    for bed in play.beds:
        share_l = shares.get(bed.bed, 0.0)
        if share_l > 0.0:
            play.used_frac[bed.bed] -= share_l / bed.capacity_l
            note_given(play.given_l, day, share_l)
            play.count.given_l += share_l


def _dawn(play: _Play) -> None:
    for bed in play.beds:
        used_frac = play.used_frac[bed.bed]
        play.count.stress_d += used_frac > bed.thirst_line_frac + NEAR_FRAC
        play.count.past_floor_d += used_frac > bed.floor_frac + NEAR_FRAC
