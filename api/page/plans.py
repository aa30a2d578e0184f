"""What an order by hand would do, in words, before it is given.

Estimates for the page only: the engine works out the real dose and has the last word.
"""

from __future__ import annotations

from typing import Any

from api.page.front import due_s, ordered
from api.page.words import Tongue, bed_name, duration, number

REFILL_TO_FRAC = 0.05  # a refill stops here
WELL_ABOVE = 0.75  # of the way to the thirst line: above this no water is missed yet


def _bars(view: dict[str, Any], state: dict[str, Any]) -> list[str]:
    """What will make the engine refuse, as far as the view tells."""
    if view["holds"]["locked"]:
        return ["The garden is locked, so this will be refused."]
    if state["valve"] == "latched":
        return ["Its valve is latched, so this will be refused."]
    return []


def refill_l(state: dict[str, Any]) -> float | None:
    """What a refill would take now [L], None where it cannot be told."""
    depletion, taw_l = number(state["depletion_frac"]), number(state.get("taw_l"))
    if depletion is None or taw_l is None:
        return None
    return max(0.0, depletion - REFILL_TO_FRAC) * taw_l


def limit(view: dict[str, Any], bed: str, key: str) -> float | None:
    """One number of a bed's limits, None where the daemon does not tell it."""
    beds = view.get("limits", {}).get("beds", {})
    return number(beds.get(bed, {}).get(key))


def water_plan(
    view: dict[str, Any], bed: str, tongue: Tongue, *, litres: float | None, open_s: float | None
) -> list[str]:
    """Say what a watering by hand will do, before it does it.

    Args:
        view: of the garden.
        bed: its id.
        tongue: the garden's words.
        litres: asked for [L], or None.
        open_s: asked for [s], or None; both None is a refill.
    """
    state, name = view["beds"][bed], bed_name(bed)
    flow, left_l = limit(view, bed, "flow_l_min"), limit(view, bed, "left_l")
    water_l = refill_l(state) if litres is None and open_s is None else litres
    if water_l is None and open_s is not None and flow:
        water_l = open_s / 60.0 * flow
    if open_s is None and water_l is not None and flow:
        open_s = water_l / flow * 60.0
    how_long = "" if open_s is None else f" for about {duration(open_s)}"
    how_much = "as much as it takes" if water_l is None else f"about {tongue.litres(water_l)}"
    lines = [f"The valve of {name} opens{how_long} and gives {how_much}, in pulses with rests."]
    lines.append("It closes by itself. You can stop it at any time.")
    lines += _bars(view, state)
    if left_l is not None:
        fits = water_l is None or water_l <= left_l
        more = "" if fits else "This is more, so it will be refused whole."
        lines.append(f"{tongue.litres(left_l)} of its daily limit are left. {more}".strip())
    depletion, line = number(state["depletion_frac"]), number(state["thirst_line_frac"])
    if depletion is not None and line is not None and depletion < WELL_ABOVE * line:
        lines.append("It is still well above its thirst line: watering now keeps roots shallow.")
    return lines


def pause_plan(
    view: dict[str, Any], bed: str | None, tongue: Tongue, until_utc_s: float
) -> list[str]:
    """Say what a pause will do, before it does it."""
    who = bed_name(bed) if bed else "No bed"
    none = "no watering" if bed else "any watering"
    gets = f"{who} gets {none} of its own until {tongue.when(until_utc_s)}."
    lines = [gets, "By hand you can still water. The pause ends by itself."]
    beds = [bed] if bed else ordered(view)
    for one in beds:
        window = due_s(view["beds"][one])
        if window is not None and window[0] < until_utc_s:
            lines.append(
                f"{bed_name(one)} would have drunk {tongue.about(*window)}: it goes without."
            )
    return lines
