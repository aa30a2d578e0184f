"""What scarce water and a turn to be missed make of a bed's next watering, as people see it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from controller.bed_views import place_of
from controller.run import Run
from controller.scarcity import Turn, tank_left_l, turn, week_left_l, weekdays_of
from controller.watering.decision import BedView
from controller.watering.hours import window_at
from controller.watering.outlook import NextWatering


def within_limits(
    run: Run, view: BedView, to_come: NextWatering | None
) -> tuple[NextWatering | None, Turn | None]:
    """Fit a bed's outlook to scarce water and to a turn that it is to miss.

    Args:
        run: the engine's working set.
        view: the bed.
        to_come: its next watering by its own use alone.

    Returns:
        The next watering, None where nobody can tell; and what scarcity makes of it, None where
        nothing is scarce.
    """
    found = turn(run, view, place_of(run))
    if found is not None and to_come is not None:
        if found.window is None:
            return None, found
        first_s = max(run.state.at_utc_s, found.window.from_utc_s)
        last_s = max(found.window.to_utc_s, to_come.to_utc_s)
        to_come = replace(to_come, from_utc_s=first_s, to_utc_s=last_s)
    return _after_miss(run, view.bed, to_come), found


def _after_miss(run: Run, bed: str, to_come: NextWatering | None) -> NextWatering | None:
    """A turn that is missed comes one night later."""
    if to_come is None or run.state.beds[bed].miss is None:
        return to_come
    hours, place = run.garden.garden.hours, place_of(run)
    missed = window_at(hours, place, to_come.from_utc_s)
    after = window_at(hours, place, missed.to_utc_s)
    return replace(
        to_come,
        from_utc_s=after.from_utc_s,
        to_utc_s=max(to_come.to_utc_s, after.to_utc_s),
    )


def window_json(
    to_come: NextWatering | None, instant: Callable[[float], str]
) -> dict[str, Any] | None:
    """A bed's next watering as it crosses every border; None where nobody can tell."""
    if to_come is None:
        return None
    return {
        "from": instant(to_come.from_utc_s),
        "to": instant(to_come.to_utc_s),
        "or_later": to_come.or_later,
    }


def turn_json(found: Turn | None, instant: Callable[[float], str]) -> dict[str, Any] | None:
    """What scarcity makes of a bed's next watering, as it crosses every border."""
    if found is None:
        return None
    return {
        "by": found.by,
        "from": None if found.window is None else instant(found.window.from_utc_s),
        "stress_days": found.stress_d,
    }


def supply_json(run: Run) -> dict[str, Any]:
    """What is left of scarce water, as it crosses every border; None where nothing limits it."""
    supply = run.garden.supply
    week_l, tank_l = week_left_l(run), tank_left_l(run)
    return {
        "week_l": supply.litres_per_week,
        "week_left_l": None if week_l is None else round(week_l, 1),
        "tank_l": supply.tank_l,
        "tank_left_l": None if tank_l is None else round(tank_l, 1),
        "days": None if weekdays_of(supply) is None else list(supply.days or ()),
    }
