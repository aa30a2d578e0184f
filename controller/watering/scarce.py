"""Scarce water: what is left of it, and who gets it. Pure.

Three limits of a supply, each optional: litres in any seven local days (so no calendar week can
pass it, whichever day that begins on), weekdays on which water may run, a tank that somebody fills.
The seven days are counted by the wall clock and by trusted time, and the larger sum binds: a wall
clock that runs ahead brings no water back. The limits bind the policy; they are no safety limits,
those stand in `limits`. A person's own order passes them, and counts.

Who lacks most drinks first, and in full: half a watering for each would wet no bed's roots. What is
left over and too little for a useful dose stays for the next night, in which the bed that was next
is the first.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta

from controller.watering.decision import BedView, Decision, Reason

WEEK_D = 7
WEEK = timedelta(days=WEEK_D)
KEPT_D = 31  # days of the record of what was given
DAY_S, HOUR_S = 86_400.0, 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Want:
    """What one bed asks for tonight.

    Attributes:
        bed: which.
        need_frac: how far it is on its way from line to floor [-]; who lacks more is larger.
        want_l: litres that it would get without scarcity [L].
        least_l: the least useful dose [L]; less is no watering.
    """

    bed: str
    need_frac: float
    want_l: float
    least_l: float


def want_of(view: BedView, decision: Decision, want_l: float, least_l: float) -> Want:
    """What a bed that is due asks for; limp leaves go before any need.

    Args:
        view: the bed.
        decision: a yes.
        want_l: what it would get [L].
        least_l: its least useful dose [L].
    """
    slack_frac = view.floor_frac - view.line_frac
    need_frac = (view.sunrise_frac - view.line_frac) / slack_frac if slack_frac > 0.0 else 0.0
    if decision.reason is Reason.LIMP:
        need_frac = math.inf
    return Want(bed=view.bed, need_frac=need_frac, want_l=want_l, least_l=least_l)


def allot(wants: Iterable[Want], left_l: float) -> dict[str, float]:
    """Share what is left among the beds that are due, the neediest first.

    More left never gives a bed less. A bed for which less than its least useful dose is left gets
    nothing, nor do those that lack less than it.

    Args:
        wants: of the beds that are due.
        left_l: litres left [L]; not a number counts as none.

    Returns:
        Litres for each bed [L]: 0, or between its least dose and what it wants.
    """
    shares: dict[str, float] = {}
    rest_l = left_l if left_l > 0.0 else 0.0
    for want in sorted(wants, key=lambda one: (-one.need_frac, one.bed)):
        share_l = min(want.want_l, rest_l)
        if not (share_l > 0.0 and share_l >= min(want.least_l, want.want_l)):
            share_l = rest_l = 0.0
        shares[want.bed] = share_l
        rest_l -= share_l
    return shares


def given_in_week_l(given_l: Mapping[int, float], today: int) -> float:
    """What was given today and on the six days before [L]; a later date counts as today's."""
    return math.fsum(litres for day, litres in given_l.items() if day > today - WEEK_D)


def note_given(given_l: dict[int, float], today: int, litres: float) -> None:
    """Write what was given into the record of days.

    Args:
        given_l: by local day, changed in place; old days are left out.
        today: the local day, as an ordinal.
        litres: [L], above 0.
    """
    given_l[today] = given_l.get(today, 0.0) + litres
    for day in [day for day in given_l if day <= today - KEPT_D]:
        del given_l[day]


def note_week(weeks_l: dict[int, float], end_trusted_s: float, now_s: float, litres: float) -> None:
    """Write what was given into the record that no wall clock moves, until its week is over.

    Args:
        weeks_l: by the hour of trusted time in which the week of what was given is over, changed in
            place; only weeks that are over are left out.
        end_trusted_s: when the week of this is over: with its seventh local midnight [s, trusted].
        now_s: [s, trusted].
        litres: [L], above 0.
    """
    hour = math.floor(end_trusted_s / HOUR_S) - 1  # so that clocks which are right never differ
    weeks_l[hour] = weeks_l.get(hour, 0.0) + litres
    for over in [one for one in weeks_l if one * HOUR_S <= now_s]:
        del weeks_l[over]


def steady_days_l(weeks_l: Mapping[int, float], today: int, now_s: float) -> dict[int, float]:
    """What still counts by trusted time, by the local day on which it would have been given.

    Args:
        weeks_l: as `note_week` writes it.
        today: the local day, as an ordinal.
        now_s: [s, trusted].
    """
    days_l: dict[int, float] = {}
    for hour, litres in weeks_l.items():
        left_d = math.ceil((hour * HOUR_S - now_s) / DAY_S)
        if left_d > 0:
            day = min(today, today - WEEK_D + left_d)
            days_l[day] = days_l.get(day, 0.0) + litres
    return days_l


def week_allows_d(
    given_l: Mapping[int, float], today: int, week_l: float, wanted_l: float
) -> int | None:
    """In how many days the week has room again, if nothing more is given.

    Args:
        given_l: by local day.
        today: the local day, as an ordinal.
        week_l: litres in any seven days [L].
        wanted_l: what has to fit [L].

    Returns:
        Days, 0 for today; None where the week could never give that much.
    """
    for ahead in range(WEEK_D + 1):
        if week_l - given_in_week_l(_until(given_l, today), today + ahead) >= wanted_l:
            return ahead
    return None


def _until(given_l: Mapping[int, float], today: int) -> dict[int, float]:
    """The record with what is dated ahead put on today."""
    told: dict[int, float] = {}
    for day, litres in given_l.items():
        told[min(day, today)] = told.get(min(day, today), 0.0) + litres
    return told
