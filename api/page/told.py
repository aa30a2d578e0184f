"""What the page says after a stop: when it was told, and what has been proved since."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from api.page.holds import OPEN_VALVES
from api.page.states import given_words
from api.page.walking import walk_now
from api.page.words import Tongue, bed_name, listed, number, utc_s_of

SHOWN_S = 300.0  # [s, real] long enough to walk to the bed and back
CLOSING_S = 30.0  # [s, real] a valve that is open after this was opened anew


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One stop.

    Args:
        bed: its id, None for every valve.
        at_utc_s: garden time.
        mono_s: of a real clock that never jumps.
    """

    bed: str | None
    at_utc_s: float
    mono_s: float


def told_words(view: dict[str, Any], told: Told | None, tongue: Tongue, mono_s: float) -> str:
    """Say a stop back; a valve counts as closed only with evidence and contact.

    Args:
        view: of the garden.
        told: the last stop, None where there was none.
        tongue: the garden's words.
        mono_s: now, by the clock of `told`.

    Returns:
        A sentence or two; empty once the stop is no news any more.
    """
    if told is None or not mono_s - told.mono_s < SHOWN_S:
        return ""
    if told.bed is not None and told.bed not in view["beds"]:
        return ""
    valves = _valves(view, told)
    if is_over(view, told, mono_s):
        return ""
    at = tongue.clock(told.at_utc_s)
    if told.bed is not None:
        given = _given(view["beds"][told.bed], told, tongue)
        return f"{bed_name(told.bed)} was stopped at {at}{given}. {_proved(view, valves)}"
    return f"Every valve was told to close at {at}. {_proved(view, valves)}"


def is_over(view: dict[str, Any], told: Told, mono_s: float) -> bool:
    """Whether something was opened on purpose since: then the stop is no news any more.

    Args:
        view: of the garden.
        told: the last stop.
        mono_s: now, by the clock of `told`.
    """
    if not mono_s - told.mono_s > CLOSING_S:
        return False
    walked = told.bed is None and walk_now(view) is not None
    return walked or any(valve in OPEN_VALVES for valve in _valves(view, told).values())


def _valves(view: dict[str, Any], told: Told) -> dict[str, str]:
    """What is known of each valve that was told to close."""
    if told.bed is not None:
        return {told.bed: view["beds"][told.bed]["valve"]} if told.bed in view["beds"] else {}
    valves = {bed: state["valve"] for bed, state in view["beds"].items()}
    if view.get("master") is not None:
        valves["master valve"] = view["master"]
    return valves


def _given(state: dict[str, Any], told: Told, tongue: Tongue) -> str:
    """What the stopped watering gave: so far, then in the end."""
    running = given_words(state, tongue)
    if running:
        return f": {running}"
    last = state.get("last_watering") or {}
    at_utc_s, litres = utc_s_of(last.get("at")), number(last.get("litres"))
    ended = at_utc_s is not None and at_utc_s >= math.floor(told.at_utc_s)
    return f": {tongue.litres(litres)}" if ended and litres is not None else ""


def _proved(view: dict[str, Any], valves: dict[str, str]) -> str:
    """How many of these valves are proved closed, and which not yet."""
    if not view["link_up"]:
        return "No proof: there is no contact."
    # a latch keeps a valve shut or it leaks: either way it has its own alert
    lacking = [bed_name(bed) for bed, valve in valves.items() if valve != "closed"]
    if not lacking:
        one = len(valves) == 1
        return "Its valve is proved closed." if one else f"All {len(valves)} are proved closed."
    if len(valves) == 1:
        return "Its valve is not proved closed yet."
    done = len(valves) - len(lacking)
    return f"{done} of {len(valves)} are proved closed; not yet: {listed(lacking)}."
