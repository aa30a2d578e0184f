"""A bed's outlook: the nights to come, when it will drink, and what would change what is decided.

Degree-days go on as in the last week. Nothing here is asked at a tick: only for people's view.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from itertools import chain, islice, takewhile, tee
from typing import Any, Final

from controller.bed_views import place_of, rules_of, sky_of
from controller.run import Run
from controller.sensing.beds import day_of
from controller.sensing.sky import ASSUMED_DEGREE_DAYS_D, normal_eto_mm_d
from controller.watering.asking import usual_night
from controller.watering.decision import BedView, Reason
from controller.watering.eye import line_frac
from controller.watering.hours import Window, turn_after_d, window_at
from controller.watering.outlook import NextWatering, Night, Rains, next_watering
from controller.watering.policy import REFILL_TO_FRAC
from controller.watering.turning import NIGHTS_AHEAD, Turn, ends, turns

WEEK_D = 7
LEAST_RAIN_MM_D = 0.05  # no weeks were so dry that rain is out of the question: our own guess
LEAST_WET_FRAC = 0.02
MONTH_D = 30.4
EVAPORATES_KC = 0.3  # of a day's use, does not grow with the crop: our own guess, by trial
NEAR_D = 6  # beyond this a weekday alone is ambiguous
DAY_S = 86_400.0
AFTER_THE_YES: Final = frozenset(  # reasons that `decide` never gives: they came after its yes
    {
        Reason.STOPPED,
        Reason.CAP_SPENT,
        Reason.NIGHT_SHORT,
        Reason.NIGHT_OVER,
        Reason.WEEK_SPENT,
        Reason.TANK_LOW,
    }
)


def rains_of(run: Run) -> Rains:
    """Such rain as the last weeks brought, half by the grower's normals where they are told."""
    climate, told = run.state.climate, run.garden.normals.rain_mm
    rain_mm_d = max(LEAST_RAIN_MM_D, climate.rain_mm_d)
    wet_frac = max(LEAST_WET_FRAC, climate.wet_frac)
    wet_mm = rain_mm_d / wet_frac
    if told is not None:
        usual_mm_d = told[run.local_day(run.state.at_utc_s).month - 1] / MONTH_D
        wet_frac *= 0.5 * (1.0 + usual_mm_d / rain_mm_d)
    return Rains(wet_frac=min(1.0, wet_frac), wet_mm=wet_mm)


def nights_of(run: Run, bed: str, window: Window) -> Iterator[Night]:
    """A bed's nights, the one that runs or the next first, without end.

    Args:
        run: the engine's working set.
        bed: whose.
        window: of the first.
    """
    state, setting, soil = run.state, run.garden.beds[bed], run.soils[bed]
    today, memory = state.days[bed], state.beds[bed]
    warmth = [state.warmth_c_d[day] for day in sorted(state.warmth_c_d)[-WEEK_D:]]
    gained = sum(warmth) / len(warmth) if warmth else ASSUMED_DEGREE_DAYS_D
    day, since, ahead = today, run.local_day(state.at_utc_s), 0
    hours, place = run.garden.garden.hours, place_of(run)
    while True:
        while since + timedelta(days=ahead) < run.local_day(window.from_utc_s):
            ahead += 1
            day = day_of(
                setting,
                soil,
                state.water[bed].degree_days + ahead * gained,
                since + timedelta(days=ahead),
                normal_eto_mm_d(run.garden, state.at_utc_s + ahead * DAY_S),
                day,
                memory.marks,
                state.climate,
            )
        yield Night(
            window=window,
            stage=day.stage,
            line_frac=line_frac(memory.eye, day.line_frac, day.floor_frac),
            floor_frac=day.floor_frac,
            taw_mm=day.taw_mm,
            use_frac=(day.kcb + EVAPORATES_KC) / (today.kcb + EVAPORATES_KC),
            next_turn_d=turn_after_d(hours, place, window),
        )
        window = window_at(hours, place, window.to_utc_s)


def had_its_answer(run: Run, bed: str, window: Window) -> bool:
    """Whether a bed drinks or was judged in the hours that run: its next turn is another night."""
    if bed in run.state.waterings:
        return True
    judged = run.state.beds[bed].judged_from_utc_s == window.from_utc_s
    return judged and window.holds(run.state.at_utc_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What is to come for a bed.

    Attributes:
        taken: the bed as it was taken: one that drinks for refilled.
        window: of its next watering; None where none is foreseen.
        usual: the night in which it drinks by its usual use, without rain; None where it is none
            up to the window's end.
        turns: what would change what is decided; none while it drinks.
    """

    taken: BedView
    window: NextWatering | None
    usual: Window | None
    turns: tuple[Turn, ...]


def outlook_of(run: Run, view: BedView, window: Window) -> Outlook:
    """When a bed is likely to drink next, and what would change what is decided on it.

    Args:
        run: the engine's working set.
        view: the bed now.
        window: the hours that run, or the next.
    """
    drinks, taken = view.bed in run.state.waterings, view
    if drinks:
        taken = replace(view, depletion_frac=REFILL_TO_FRAC, sunrise_frac=REFILL_TO_FRAC)
    nights, again = tee(nights_of(run, view.bed, window))
    near = list(islice(nights, NIGHTS_AHEAD))
    asked = had_its_answer(run, view.bed, window)
    to_come = next_watering(
        taken, sky_of(run), rains_of(run), chain(near, nights), run.state.at_utc_s, asked=asked
    )
    found = () if drinks else _turns(run, view, window, near, asked=asked)
    usual = None if to_come is None else _usual(run, taken, window, to_come, again, asked=asked)
    return Outlook(taken=taken, window=to_come, usual=usual, turns=found)


def _usual(
    run: Run,
    taken: BedView,
    window: Window,
    to_come: NextWatering,
    nights: Iterator[Night],
    *,
    asked: bool,
) -> Window | None:
    """The night in which a bed drinks by its usual use, where it is one up to its window's end."""
    within = list(takewhile(lambda night: night.window.to_utc_s <= to_come.to_utc_s, nights))
    rules = rules_of(run, taken.bed, window)
    found = usual_night(taken, sky_of(run), rules, within, asked=asked)
    return None if found is None else within[found].window


def _turns(
    run: Run, view: BedView, window: Window, near: list[Night], *, asked: bool
) -> tuple[Turn, ...]:
    said = run.state.beds[view.bed].said.code
    if said in AFTER_THE_YES:
        return (ends(Reason(said), view),)
    rules, name = rules_of(run, view.bed, window), partial(_name, run, first=window)
    return turns(view, sky_of(run), rules, near, name, asked=asked)


def _name(run: Run, window: Window, *, first: Window) -> str:
    """How people call a night: by the day that it ends on."""
    now = run.local_day(run.state.at_utc_s)
    by_day = run.garden.garden.hours == "always"
    ends_on = run.local_day(window.from_utc_s if by_day else window.to_utc_s)
    if window == first and (ends_on - now).days <= 1:
        return "today" if by_day else "tonight"
    name = f"{ends_on:%A}"
    if (ends_on - now).days > NEAR_D:
        name = f"{name} {ends_on.day} {ends_on:%B}"
    return name if by_day else f"the night to {name}"


def turns_json(found: tuple[Turn, ...]) -> list[dict[str, Any]]:
    """The same as it crosses every border: `code`, `text`, `numbers`."""
    return [
        {
            "code": one.code,
            "text": one.text,
            "numbers": {key: round(value, 4) for key, value in one.numbers.items()},
        }
        for one in found
    ]
