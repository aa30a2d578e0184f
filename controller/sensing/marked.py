"""The grower's own marks of the season: what was seen, when, and at which degree-day sum.

The stages follow degree-days from transplanting; what somebody saw outranks them. A mark holds the
bed's degree-day sum [°C d] on the morning of the day that it was seen, and `crop_as_marked` moves
the limits that are still ahead by as much as it was off. `topped` (growing tips taken off) is no
event of the table: from then on a staked plant goes through the stages like a bush.

Leaves out: marks of single varieties; a bed has one of each kind.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from controller.agronomy.crop import Crop, Harvest
from controller.agronomy.stages import Marks, Seen
from controller.sensing.sky import ASSUMED_DEGREE_DAYS_D

WARMTH_DAYS = 150  # days whose degree-days are kept, so that a mark may lie that far back


class Event(StrEnum):
    """What a grower marks, in the order in which it happens."""

    FIRST_FLOWER = "first_flower"
    FIRST_SET = "first_set"
    FIRST_COLOUR = "first_colour"
    TOPPED = "topped"
    LAST_PICK = "last_pick"


EVENT_WORDS = {
    Event.FIRST_FLOWER: "first flower",
    Event.FIRST_SET: "first fruit set",
    Event.FIRST_COLOUR: "first colour",
    Event.TOPPED: "topped",
    Event.LAST_PICK: "last pick",
}
# Topping may fall anywhere among the others.
IN_ORDER = (Event.FIRST_FLOWER, Event.FIRST_SET, Event.FIRST_COLOUR, Event.LAST_PICK)


def keep_warmth(warmth_c_d: dict[int, float], day: int, gained_c_d: float) -> None:
    """Remember what a day added to the degree-days, for marks of days past.

    Args:
        warmth_c_d: changed in place; by the day (ordinal) on whose morning the sum grew [°C d].
        day: that day.
        gained_c_d: by how much.
    """
    warmth_c_d[day] = gained_c_d
    if len(warmth_c_d) > WARMTH_DAYS:
        del warmth_c_d[min(warmth_c_d)]


def sum_on_c_d(
    degree_days: float, warmth_c_d: Mapping[int, float], today: int, on_day: int
) -> float:
    """A bed's degree-day sum on the morning of a day past.

    Args:
        degree_days: its sum now [°C d].
        warmth_c_d: what each of the last days added [°C d].
        today: the day (ordinal) of `degree_days`.
        on_day: the day asked for, not after today.

    Returns:
        The sum [°C d], 0 or more. A day before the first that is remembered counts as assumed.
    """
    first = min(warmth_c_d, default=today + 1)
    for day in range(on_day + 1, today + 1):
        degree_days -= warmth_c_d.get(day, ASSUMED_DEGREE_DAYS_D if day < first else 0.0)
    return max(0.0, degree_days)


def known_to(crop: Crop, event: Event) -> bool:
    """Whether a crop has such an event: a head of lettuce neither flowers nor colours."""
    match event:
        case Event.FIRST_FLOWER:
            return crop.first_flower_c_d is not None
        case Event.FIRST_SET:
            return crop.first_set_c_d is not None
        case Event.FIRST_COLOUR:
            return crop.first_colour_c_d is not None
        case Event.TOPPED:
            return crop.harvest is not Harvest.LEAF
        case _:
            return True


def this_season(seen: Mapping[str, Seen], planted: int) -> dict[Event, Seen]:
    """The marks of the plants that stand there now, in the order of `Event`.

    Args:
        seen: all that are remembered.
        planted: the day (ordinal) of transplanting; marks from before it are of other plants.
    """
    return {event: seen[event] for event in Event if event in seen and seen[event].day >= planted}


def marks_of(seen: Mapping[Event, Seen]) -> Marks:
    """The marks as the stages read them.

    Args:
        seen: those of this season.
    """

    def of(event: Event) -> float | None:
        return seen[event].degree_days if event in seen else None

    return Marks(
        first_flower_c_d=of(Event.FIRST_FLOWER),
        first_set_c_d=of(Event.FIRST_SET),
        first_colour_c_d=of(Event.FIRST_COLOUR),
        last_pick_c_d=of(Event.LAST_PICK),
    )


def out_of_order(seen: Mapping[Event, Seen], event: Event, day: int) -> Event | None:
    """The mark that contradicts an event on a day, None where none does.

    Args:
        seen: the other marks of this season.
        event: what is to be marked.
        day: when (ordinal).
    """
    if event not in IN_ORDER:
        return None
    place = IN_ORDER.index(event)
    for other, mark in seen.items():
        if other == event or other not in IN_ORDER:
            continue
        before = IN_ORDER.index(other) < place
        if (before and mark.day > day) or (not before and mark.day < day):
            return other
    return None
