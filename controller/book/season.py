"""A season added up: what each bed was given and bore, from the record. Pure.

Litres are the record's own: *credited* is the best estimate of what flowed, *charged* its upper
bound. Depletion is what the controller believed, hour by hour; nothing here knows the truth.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from statistics import median
from typing import TypeVar
from zoneinfo import ZoneInfo

from controller.agronomy.sun import sun_times_utc_s
from controller.book.drier import Drier, drier_line, together
from controller.garden import Garden
from controller.store_book import BedHour, PickRow, SeasonRows, ToldRow, WateringRow
from controller.watering.hours import local_date

HOUR_S = 3600
DAY_HOURS = 24
SWING_DAYS = 14  # a crack is a matter of the days before the pick: our own guess
SWING_LEAST_FRAC = 0.05  # of the available water: less is no rewetting
HAND = "hand:"
TESTS = ("walk:", "proof")  # openings that try a valve: no waterings
Row = TypeVar("Row", BedHour, WateringRow, PickRow, ToldRow)
UNNAMED = ""  # the variety of a pick that named none


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """The largest rewetting within 24 h: how much of the available water came back, and when."""

    back_frac: float
    on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Fruit:
    """Fruit added up; `litres` that its bed was given, where it can be told."""

    picks: int
    kg: float
    cracked: int
    black_ended: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BedSeason:
    """One bed's season.

    Attributes:
        bed: its id.
        plants: how many.
        litres: through its valve, best estimate [L].
        most_l: the same, upper bound [L].
        waterings: how many, by hand or not; openings that only tried a valve are none.
        tested_l: of `litres`, what those openings took [L].
        by_hand_l: of `litres`, what people ordered [L].
        apart_d: median days from one to the next, None below two.
        poured_l: told as poured by can or hose [L].
        rain_mm: fallen in the hours that are recorded.
        dawns: dawns that are recorded.
        dawns_past_line: of them, with the bed past its thirst line.
        driest_frac: the largest share of its water that was gone; None without hours.
        swings: each day's largest rewetting within 24 h, where it is one at all.
        looks: looks at the leaves that were told.
        notes: what people noted, with the day.
        fruit: all its picks.
        picks: each of them, with the largest rewetting of the two weeks before.
    """

    bed: str
    plants: int
    litres: float
    most_l: float
    waterings: int
    tested_l: float
    by_hand_l: float
    apart_d: float | None
    poured_l: float
    rain_mm: float
    dawns: int
    dawns_past_line: int
    driest_frac: float | None
    swings: tuple[Swing, ...]
    looks: int
    notes: tuple[tuple[date, str], ...]
    fruit: Fruit
    picks: tuple[tuple[PickRow, Swing | None], ...]

    @property
    def swing(self) -> Swing | None:
        """The largest of the season's rewettings."""
        return max(self.swings, key=lambda one: one.back_frac, default=None)

    @property
    def l_per_kg(self) -> float | None:
        """Litres given, by valve and by hand, for a kilogram picked; None without fruit."""
        return (self.litres + self.poured_l) / self.fruit.kg if self.fruit.kg > 0.0 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """A garden's season: its beds in the garden file's order, its varieties by weight."""

    first: date
    last: date
    beds: tuple[BedSeason, ...]
    waterings: tuple[WateringRow, ...]
    varieties: tuple[tuple[str, Fruit], ...]
    drier: Drier | None = None  # what a drier line would have cost; None: too little to tell
    record_begins: date | None = None  # within the season; None: nothing is recorded of it
    record_ends: date | None = None  # of the whole record, before or in this season; None: empty


def book_of(garden: Garden, rows: SeasonRows) -> Book:
    """Add a season up.

    Args:
        garden: the validated garden file; beds that it does not name are left out.
        rows: what the record holds of it.
    """
    zone = garden.garden.zone
    hours = _by_bed(rows.hours)
    waterings = _by_bed(rows.waterings)
    picks = _by_bed(rows.picks)
    told = _by_bed(rows.told)
    beds = tuple(
        _bed(garden, bed, hours[bed], waterings[bed], picks[bed], told[bed]) for bed in garden.beds
    )
    named: dict[str, list[PickRow]] = defaultdict(list)
    for one in rows.picks:
        named[_variety(garden, one)].append(one)
    varieties = sorted(
        ((name, fruit(found)) for name, found in named.items()), key=lambda row: -row[1].kg
    )
    return Book(
        first=local_date(rows.from_utc_s, zone),
        last=_last(rows, zone),
        beds=beds,
        waterings=tuple(one for one in rows.waterings if one.bed in garden.beds),
        varieties=tuple(varieties),
        drier=_drier(garden, hours, waterings),
        record_begins=_begins(rows, zone),
        record_ends=None if rows.ends_utc_s is None else local_date(rows.ends_utc_s, zone),
    )


def _drier(
    garden: Garden,
    hours: Mapping[str, Sequence[BedHour]],
    waterings: Mapping[str, Sequence[WateringRow]],
) -> Drier | None:
    found = (
        drier_line(bed, hours[name], _dawns(garden, hours[name]), waterings[name])
        for name, bed in garden.beds.items()
    )
    return together(one for one in found if one is not None)


def _last(rows: SeasonRows, zone: ZoneInfo) -> date:
    """The last day of which the record or a person told anything."""
    at_s = max([rows.from_utc_s, *(hour.hour_utc_s for hour in rows.hours)])
    at_s = max([at_s, *(one.from_utc_s for one in rows.waterings)])
    return max([local_date(at_s, zone), *(date.fromisoformat(one.on_day) for one in rows.picks)])


def _begins(rows: SeasonRows, zone: ZoneInfo) -> date | None:
    """The first day of the season that the record holds hours or water of."""
    hours_s = (hour.hour_utc_s for hour in rows.hours)
    at_s = min([*hours_s, *(one.from_utc_s for one in rows.waterings)], default=None)
    return None if at_s is None else local_date(at_s, zone)


def _by_bed(
    rows: Iterable[Row],
) -> Mapping[str, list[Row]]:
    found: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if row.bed is not None:
            found[row.bed].append(row)
    return found


def _variety(garden: Garden, pick: PickRow) -> str:
    """A pick that names none is of the bed's only one, if it has one only."""
    grown = garden.beds[pick.bed].varieties if pick.bed in garden.beds else ()
    return pick.variety or (grown[0] if len(grown) == 1 else UNNAMED)


def _bed(
    garden: Garden,
    bed: str,
    hours: Sequence[BedHour],
    waterings: Sequence[WateringRow],
    picks: Sequence[PickRow],
    told: Sequence[ToldRow],
) -> BedSeason:
    zone = garden.garden.zone
    drunk = [one for one in waterings if not one.by_whom.startswith(TESTS)]
    began = [one.from_utc_s for one in drunk]
    apart = [(after - before) / 86_400.0 for before, after in pairwise(began)]
    at_dawn = _dawns(garden, hours)
    swings = _swings(garden, hours)
    return BedSeason(
        bed=bed,
        plants=garden.beds[bed].plants,
        litres=math.fsum(one.credited_l for one in waterings),
        most_l=math.fsum(one.charged_l for one in waterings),
        waterings=len(drunk),
        tested_l=math.fsum(one.credited_l for one in waterings if one not in drunk),
        by_hand_l=math.fsum(one.credited_l for one in waterings if one.by_whom.startswith(HAND)),
        apart_d=median(apart) if apart else None,
        poured_l=math.fsum(one.numbers.get("given_l", 0.0) for one in told),
        rain_mm=math.fsum(hour.rain_mm for hour in hours),
        dawns=len(at_dawn),
        dawns_past_line=sum(hour.depletion_frac > hour.line_frac for hour in at_dawn),
        driest_frac=max((hour.depletion_frac for hour in hours), default=None),
        swings=tuple(one for one in swings if one.back_frac >= SWING_LEAST_FRAC),
        looks=sum(one.code == "look" for one in told),
        notes=tuple(
            (local_date(one.at_utc_s, zone), one.text) for one in told if one.code == "note"
        ),
        fruit=fruit(picks),
        picks=tuple((one, _before(swings, date.fromisoformat(one.on_day))) for one in picks),
    )


def fruit(picks: Sequence[PickRow]) -> Fruit:
    """Picks added up."""
    return Fruit(
        picks=len(picks),
        kg=math.fsum(one.kg for one in picks),
        cracked=sum(one.cracked for one in picks),
        black_ended=sum(one.black_ended for one in picks),
    )


def _dawns(garden: Garden, hours: Sequence[BedHour]) -> list[BedHour]:
    """The hours in which the sun rose."""
    place = garden.garden
    by_hour = {hour.hour_utc_s: hour for hour in hours}
    days = sorted({local_date(hour.hour_utc_s, place.zone) for hour in hours})
    found = []
    for day in days:
        times = sun_times_utc_s(place.latitude, place.longitude, day)
        rise = None if times is None else by_hour.get(int(times[0] // HOUR_S) * HOUR_S)
        if rise is not None:
            found.append(rise)
    return found


def _swings(garden: Garden, hours: Sequence[BedHour]) -> list[Swing]:
    """Of each local day the largest fall of depletion within 24 h that ended on it."""
    zone = garden.garden.zone
    by_day: dict[date, float] = {}
    recent: list[BedHour] = []
    for hour in hours:
        recent = [one for one in recent if hour.hour_utc_s - one.hour_utc_s <= DAY_HOURS * HOUR_S]
        back = max((one.depletion_frac for one in recent), default=hour.depletion_frac)
        day = local_date(hour.hour_utc_s, zone)
        by_day[day] = max(by_day.get(day, 0.0), back - hour.depletion_frac)
        recent.append(hour)
    return [Swing(back_frac=frac, on=day) for day, frac in by_day.items()]


def _before(swings: Iterable[Swing], day: date) -> Swing | None:
    since = day - timedelta(days=SWING_DAYS)
    return max(
        (one for one in swings if since <= one.on <= day),
        key=lambda one: one.back_frac,
        default=None,
    )


def chance_of_difference(many: int, kg: float, others: int, others_kg: float) -> float:
    """How often chance alone makes two rates of faulty fruit differ at least so much.

    Two-sided, exact, given the sum: faults that fall on kilograms by lot are binomial. It takes
    faults for independent of each other, which fruit of one truss is not: a small value is a hint.

    Args:
        many: faulty fruit of the one.
        kg: its weight, above 0 [kg].
        others: faulty fruit of the other.
        others_kg: its weight, above 0 [kg].

    Returns:
        0 to 1; 1 where there is no faulty fruit.

    Source: the conditional test for two Poisson counts, Przyborowski and Wilenski (1940), from
        memory.
    """
    total, share = many + others, kg / (kg + others_kg)

    def odds(one: int) -> float:
        ways = math.lgamma(total + 1) - math.lgamma(one + 1) - math.lgamma(total - one + 1)
        return math.exp(ways + one * math.log(share) + (total - one) * math.log1p(-share))

    limit = odds(many) * (1.0 + 1e-9)
    return min(1.0, math.fsum(found for one in range(total + 1) if (found := odds(one)) <= limit))
