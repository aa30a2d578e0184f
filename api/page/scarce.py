"""Words for scarce water: what the week and the tank have left, and on which days it may run."""

from __future__ import annotations

from typing import Any

from api.page.words import DAYS, Tongue, count, listed, number, utc_s_of

WEEKDAYS = {day.lower(): day for day in DAYS}


LIMITS = {"days": "water may run", "week": "the week has room again"}


def turn_words(state: dict[str, Any], tongue: Tongue) -> str:
    """What scarce water costs a bed; empty where it costs nothing.

    `about 2 stress days, dawns past its line, before water may run, Thu 00:00`
    """
    turn = state.get("scarce") or {}
    if turn.get("by") == "tank":
        return "it waits for the tank to be filled"
    days, from_s = number(turn.get("stress_days")), utc_s_of(turn.get("from"))
    if turn and (days is None or from_s is None):
        return "the week never has enough for it"
    if not turn or not days or from_s is None:
        return ""
    many = count(round(days), "stress day", "stress days")
    return f"about {many} before {LIMITS[turn['by']]}, {tongue.when(from_s)}"


def waits_for_water(state: dict[str, Any]) -> bool:
    """Whether nobody can tell when a bed drinks, since there is too little water for it."""
    turn = state.get("scarce") or {}
    return bool(turn) and turn.get("from") is None


def over_words(view: dict[str, Any], tongue: Tongue, water_l: float | None) -> list[str]:
    """What a person's order passes of the garden's own rules on scarce water, a sentence each."""
    supply, told = view.get("supply") or {}, []
    days = supply.get("days")
    if days and DAYS[tongue.local(tongue.now_utc_s).weekday()].lower() not in days:
        told.append("By the garden file water may not run today. By hand it runs all the same.")
    for key, words in (
        ("week_left_l", "The seven days' water has"),
        ("tank_left_l", "The tank has"),
    ):
        left_l = number(supply.get(key))
        if left_l is not None and (water_l is None or water_l > left_l):
            told.append(f"{words} {tongue.litres(left_l)} left.")
    return told


def supply_words(view: dict[str, Any], tongue: Tongue) -> str:
    """What is left, in a sentence each; empty where nothing limits the supply.

    `420 of 1000 L are left of seven days' water. The tank holds 300 of 1000 L, by its count.`
    """
    supply = view.get("supply") or {}
    told = []
    week_l, week_left_l = number(supply.get("week_l")), number(supply.get("week_left_l"))
    if week_l is not None and week_left_l is not None:
        left = f"{tongue.litres(week_left_l, unit=False)} of {tongue.litres(week_l)}"
        told.append(f"{left} are left of seven days' water.")
    tank_l, tank_left_l = number(supply.get("tank_l")), number(supply.get("tank_left_l"))
    if tank_l is not None and tank_left_l is not None:
        left = f"{tongue.litres(tank_left_l, unit=False)} of {tongue.litres(tank_l)}"
        told.append(f"The tank holds {left}, by its count.")
    days = [WEEKDAYS[day] for day in supply.get("days") or () if day in WEEKDAYS]
    if days:
        told.append(f"Water runs on {listed(days)} only.")
    return " ".join(told)
