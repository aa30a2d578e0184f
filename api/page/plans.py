"""What an order by hand would do, in words, before it is given.

Estimates for the page only: the engine works out the real dose and has the last word.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from api.page.front import ordered, tongue_of
from api.page.holds import likely_s, runs
from api.page.kept_dry import kept_dry_words
from api.page.scarce import over_words
from api.page.states import well_above
from api.page.words import Tongue, bed_name, duration, number, utc_s_of
from controller.effects import Answer
from controller.garden import Garden
from controller.us_units import L_PER_GAL
from controller.watering.dosing import SOAK_S, Split, nominal_s, split
from controller.watering.limits import ON_LEAST_S, OPEN_MOST_S, want_within_l
from controller.watering.ponding import pond_pulses

REFILL_TO_FRAC = 0.05  # a refill stops here
LATER = frozenset({"resting", "starts", "quiet_start", "budget_spent"})  # nothing until then
CAPS = frozenset({"bed_cap", "site_cap", "dose_cap"})
SPENT = "Nothing more for now: its limit for 24 hours is reached."


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """What may be asked for now [L]; None where the daemon does not tell it."""

    least_l: float | None
    most_l: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What a watering by hand would do.

    Args:
        lines: in words, the most important first.
        amount_l: what to order in place of the amount asked for [L]; None: as it was asked.
        possible: whether the engine would take it, as far as the view tells.
    """

    lines: list[str]
    amount_l: float | None = None
    possible: bool = True


def barred(view: dict[str, Any], bed: str) -> str:
    """Why no watering by hand can begin now; empty where nothing is known against it."""
    state = view["beds"][bed]
    if view["holds"]["locked"]:
        return "The garden is locked. Nothing opens until a person unlocks."
    if state["valve"] == "latched":
        return "Its valve is latched shut until a person lifts the alert."
    if not view["link_up"]:
        return "There is no contact with the valves. Nothing opens."
    if not view["ready"]:
        return "Just started: nothing opens in the first minutes."
    if runs(state) or state.get("watering"):
        return f"{bed_name(bed)} has a watering under way. Stop it first."
    return _guarded(view, bed)


def _guarded(view: dict[str, Any], bed: str) -> str:
    """What the guard itself would answer the smallest order now; empty where it would take it."""
    refused = view.get("limits", {}).get("beds", {}).get(bed, {}).get("barred")
    if not refused:
        return ""
    tongue = tongue_of(view)
    next_s = utc_s_of(refused["next_possible"])
    when = "" if next_s is None else f" Possible from {_from(next_s, tongue)}."
    said = SPENT if refused["reason"] in CAPS else tongue.said(str(refused["text"]))
    return f"{said}{when}"


def _from(utc_s: float, tongue: Tongue) -> str:
    """From when on something is possible: the whole minute after it, never the one before."""
    return tongue.when(math.ceil(utc_s / 60.0) * 60.0)


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


def range_of(view: dict[str, Any], bed: str) -> Range:
    """The least and the most that may be asked for now, in round litres on the safe side.

    The most has the reservation taken off, as the guard reserves more than is asked for.
    """
    flow = limit(view, bed, "flow_l_min")
    if flow is None or not flow > 0.0:
        return Range(least_l=None, most_l=None)
    most_l = limit(view, bed, "allowed_l")
    if most_l is None:
        site_l = number(view.get("limits", {}).get("site_left_l"))
        rooms = [limit(view, bed, "left_l"), limit(view, bed, "dose_l"), site_l]
        known = [room for room in rooms if room is not None]
        most_l = want_within_l(min(known), flow) if known else None
    most_l = None if most_l is None else float(math.floor(most_l))
    return Range(least_l=float(math.ceil(flow * ON_LEAST_S / 60.0)), most_l=most_l)


def range_words(view: dict[str, Any], bed: str, tongue: Tongue) -> str:
    """`Between 3 and 497 L now.`; in the unit that the field takes, rounded to the safe side."""
    bar, now = barred(view, bed), range_of(view, bed)
    if bar or now.least_l is None or now.most_l is None:
        return bar
    if now.most_l < now.least_l:
        return SPENT
    low, high = now.least_l, now.most_l
    flow = limit(view, bed, "flow_l_min")
    longest = f", {duration(nominal_s(high, flow))} at most" if flow else ""
    span = f"{low:.0f} and {high:.0f} L"
    if tongue.us:
        span = f"{math.ceil(low / L_PER_GAL)} and {math.floor(high / L_PER_GAL)} gal"
    return f"Between {span} now{longest}."


def water_plan(
    view: dict[str, Any],
    bed: str,
    tongue: Tongue,
    *,
    litres: float | None,
    open_s: float | None,
    garden: Garden | None = None,
) -> Plan:
    """Say what a watering by hand will do, before it does it.

    Args:
        view: of the garden.
        bed: its id.
        tongue: the garden's words.
        litres: asked for [L], or None.
        open_s: asked for [s], or None; both None is a refill.
        garden: the garden file, which tells how long the soil takes water without a rest.
    """
    bar = barred(view, bed)
    if bar:
        return Plan(lines=[bar], possible=False)
    flow = limit(view, bed, "flow_l_min")
    water_l = refill_l(view["beds"][bed]) if litres is None and open_s is None else litres
    if water_l is None and open_s is not None and flow:
        water_l = open_s / 60.0 * flow
    if water_l is None or not flow:
        opens = f"The valve of {bed_name(bed)} opens."
        return Plan(lines=[opens, *over_words(view, tongue, water_l), *_after(view, bed, tongue)])
    return _measured(view, bed, tongue, water_l, flow, garden)


def _measured(
    view: dict[str, Any],
    bed: str,
    tongue: Tongue,
    water_l: float,
    flow_l_min: float,
    garden: Garden | None,
) -> Plan:
    """The plan of so many litres, or of the nearest amount that is possible."""
    now, asked_l = range_of(view, bed), water_l
    first: list[str] = []
    if not water_l > 0.0:
        return Plan(lines=[f"{bed_name(bed)} lacks nothing."], possible=False)
    if now.most_l is not None and now.least_l is not None and now.most_l < now.least_l:
        return Plan(lines=[SPENT], possible=False)
    if now.most_l is not None and water_l > now.most_l:
        water_l = now.most_l
        first = [f"Too much: {tongue.litres(water_l)} at most now."]
    elif now.least_l is not None and nominal_s(water_l, flow_l_min) < ON_LEAST_S:
        water_l = now.least_l
        first = [f"Too little: a minute, {tongue.litres(water_l)}, at least."]
    opens = [*first, _opens(bed, tongue, water_l, flow_l_min, garden)]
    lines = [*opens, *over_words(view, tongue, water_l), *_after(view, bed, tongue)]
    return Plan(lines=lines, amount_l=None if water_l == asked_l else water_l)


def parts_of(bed: str, water_l: float, flow_l_min: float, garden: Garden | None) -> Split:
    """The pulses of so much water by hand, as the engine makes them.

    Args:
        bed: its id.
        water_l: in all [L], above 0.
        flow_l_min: of the bed [L/min], above 0.
        garden: its file; without one neither the pond below the emitters nor a shorter longest
            opening of the bed is known.
    """
    if garden is None or bed not in garden.beds:
        return split(water_l, flow_l_min, OPEN_MOST_S, metered=True)
    return split(
        water_l,
        flow_l_min,
        float(garden.limits_for(bed).open_max_s),
        metered=garden.supply.meter is not None,
        least_pulses=pond_pulses(garden.beds[bed], nominal_s(water_l, flow_l_min)),
    )


def _opens(
    bed: str, tongue: Tongue, water_l: float, flow_l_min: float, garden: Garden | None
) -> str:
    """How long, how much, in how many pulses, until when."""
    open_s = nominal_s(water_l, flow_l_min)
    pulses = parts_of(bed, water_l, flow_l_min, garden).pulses
    done = tongue.when(tongue.now_utc_s + open_s + (pulses - 1) * SOAK_S)
    in_pulses = f", in {pulses} pulses with rests" if pulses > 1 else ""
    return (
        f"The valve of {bed_name(bed)} opens for about {duration(open_s)} and gives about "
        f"{tongue.litres(water_l)}{in_pulses}: finished about {done}."
    )


def _after(view: dict[str, Any], bed: str, tongue: Tongue) -> list[str]:
    state = view["beds"][bed]
    lines = ["It closes by itself. You can stop it at any time."]
    if well_above(state, tongue):
        lines.append("It is still well above its thirst line: watering now keeps roots shallow.")
    return lines


def possible_words(answer: Answer, tongue: Tongue) -> str:
    """What a refused order leaves possible, and from when; empty where it is not known."""
    much = answer.allowed_l if answer.allowed_l is not None and answer.allowed_l > 0.0 else None
    next_s = answer.next_possible_utc_s
    later_s = next_s if next_s is not None and next_s > tongue.now_utc_s else None
    up_to = "" if much is None else f"up to {tongue.litres(_floored(much))}"
    if later_s is None:
        return f"Now {up_to}." if up_to and next_s is not None else ""
    if not up_to:
        return f"Possible from {_from(later_s, tongue)}."
    if answer.reason in LATER:
        return f"From {_from(later_s, tongue)}, {up_to}."
    return f"Now {up_to}, more from {_from(later_s, tongue)}."


def _floored(litres: float) -> float:
    return float(math.floor(litres)) if litres >= 1.0 else litres


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
        night, watering = likely_s(view["beds"][one]), view["beds"][one].get("watering") or {}
        if watering.get("by") == "policy":
            lines.append(f"{bed_name(one)} drinks now: the pause ends that.")
        elif night is not None and night[0] < until_utc_s:
            lines.append(
                f"{bed_name(one)} would have drunk {tongue.about(*night)}: it goes without."
            )
        dry = kept_dry_words(view["beds"][one], bed_name(one), tongue, until_utc_s)
        lines += [dry] if dry and view["beds"][one]["state"] != "cleared" else []
    return lines
