"""What a person marks of a bed's season: first flower, set, colour, topped, last pick.

Each order gives its answer as a `Reply`; `orders.py` records and sends it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from controller.agronomy.crop import load_crops
from controller.agronomy.stages import Seen
from controller.correcting import today
from controller.hand_orders import Reply
from controller.pick_orders import picks_json
from controller.run import Run
from controller.sensing import marked
from controller.sensing.marked import EVENT_WORDS, Event
from controller.watering.words import bed_name


def _invalid(reason: str, text: str) -> Reply:
    return Reply(status="invalid", reason=reason, text=text)


def mark(run: Run, bed: str, told: str, on: str) -> Reply:
    """Somebody saw an event of the season: it outranks the degree-days of the table.

    Args:
        run: the engine's working set.
        bed: whose.
        told: an `Event`.
        on: the day that it was seen, `2026-06-12`; empty means today. Marked anew, it moves.
    """
    if told not in set(Event):
        return _invalid("stage", f"A mark is one of {', '.join(Event)}.")
    event, day_now = Event(told), run.local_day(run.state.at_utc_s).toordinal()
    try:
        day = date.fromisoformat(on).toordinal() if on else day_now
    except ValueError:
        return _invalid("on", "A day is written like 2026-06-12.")
    fault = _unfit(run, bed, event, day, day_now)
    if fault:
        return _invalid("on", fault)
    state = run.state
    degree_days = state.water[bed].degree_days
    known_c_d = marked.sum_on_c_d(degree_days, state.warmth_c_d, day_now, day)
    state.beds[bed].marks[event.value] = Seen(day=day, degree_days=known_c_d)
    before = _settle(run, bed)
    words = f"{EVENT_WORDS[event]} on {_day(day)}"
    text = f"{bed_name(bed)}: {words}. {_stage(run, bed, before)}"
    return Reply(status="accepted", reason="marked", text=text, note=f"marked {words}")


def unmark(run: Run, bed: str, told: str) -> Reply:
    """Take a mark back; the stages follow the table and the other marks again.

    Args:
        run: the engine's working set.
        bed: whose.
        told: an `Event`.
    """
    if told not in run.state.beds[bed].marks:
        return _invalid("stage", f"{bed_name(bed)} has no such mark.")
    del run.state.beds[bed].marks[told]
    before = _settle(run, bed)
    words = EVENT_WORDS[Event(told)]
    text = f"{bed_name(bed)}: the mark of {words} is taken back. {_stage(run, bed, before)}"
    return Reply(status="accepted", reason="unmarked", text=text, note=f"unmarked {words}")


def _unfit(run: Run, bed: str, event: Event, day: int, day_now: int) -> str:
    """Why a mark cannot be, empty where it can."""
    setting = run.garden.beds[bed]
    planted = setting.transplanted.toordinal()
    if not planted <= day <= day_now:
        return f"A mark lies between the planting on {_day(planted)} and today."
    if not any(marked.known_to(load_crops()[crop], event) for crop in setting.crop):
        return f"{' and '.join(setting.crop).capitalize()} has no {EVENT_WORDS[event]} here."
    if event is Event.TOPPED and setting.habit != "indeterminate":
        return "Only a staked (indeterminate) bed is topped; a bush stops by itself."
    seen = marked.this_season(run.state.beds[bed].marks, planted)
    other = marked.out_of_order(seen, event, day)
    if other is not None:
        return (
            f"That does not fit to {EVENT_WORDS[other]} on {_day(seen[other].day)}; take that mark "
            "back first if it is wrong."
        )
    return ""


def _settle(run: Run, bed: str) -> str:
    """Let the day begin anew with these marks; tells the stage before.

    A line that loosens does so from tomorrow on; a tighter one counts at once.
    """
    before = run.days[bed]
    after = today(run, bed, run.state.at_utc_s)
    run.days[bed] = replace(after, line_frac=min(after.line_frac, before.line_frac))
    run.state.beds[bed].judged_from_utc_s = None
    run.nudge = True
    return before.stage.value


def _stage(run: Run, bed: str, before: str) -> str:
    now = run.days[bed].stage.value
    return f"Its stage stays {now}." if now == before else f"Its stage is {now} now, not {before}."


def _day(day: int) -> str:
    return date.fromordinal(day).isoformat()


def marks_json(run: Run, bed: str) -> dict[str, Any]:
    """What was marked of a bed this season, and the picks ahead, as it crosses every border.

    Args:
        run: the engine's working set.
        bed: which.
    """
    planted = run.garden.beds[bed].transplanted.toordinal()
    seen = marked.this_season(run.state.beds[bed].marks, planted)
    marks = {event.value: _day(mark.day) for event, mark in seen.items()}
    return {"marks": marks, **picks_json(run, bed)}
