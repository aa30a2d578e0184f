"""All states of a bed and its valve, and the words that the page has for each: one table.

A bed's label is taken from the first of these that knows it: its valve, a person's pause, its
state, what holds it, and at last where it is on its way to the thirst line. A valve is called
closed only where the daemon says so; without contact its words tell what was seen last.
`tests/browser/test_page_states.py` shows each row in a browser.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from api.page import plant
from api.page.holds import (
    OPEN_VALVES,
    back_in_contact,
    in_contact,
    paused_until_s,
    runs,
    usual_s,
)
from api.page.walking import BEING_WALKED, is_walked
from api.page.words import DAY_S, Tongue, left, number


@dataclass(frozen=True, slots=True, kw_only=True)
class Valve:
    """What is known of a valve.

    Attributes:
        words: on the page.
        was: the same once contact is lost, with the browser or with the valves.
        label: of its bed, whatever the bed's own state; empty leaves that to the bed.
    """

    words: str
    was: str
    label: str = ""


VALVES = {
    "closed": Valve(words="closed", was="last seen closed"),
    "opening": Valve(words="opening", was="last told to open"),
    "open": Valve(words="open", was="last seen open"),
    "told_to_close": Valve(
        words="told to close, not verified",
        was="told to close, not verified",
        label="Closing…",
    ),
    "unknown": Valve(
        words="not known, treated as open until proved closed",
        was="not known, treated as open until proved closed",
    ),
    "latched": Valve(
        words="latched shut until a person lifts it",
        was="latched shut until a person lifts it",
        label="Latched shut",
    ),
}
STATES = {
    "learning": "Learning",
    "watering": "Drinking",
    "soaking": "Soaking in",
    "paused": "Paused",
    "locked": "Locked",
    "blind": "No probe to go by",
    "cleared": "Cleared",
}
ASKED = frozenset({"held", "due", "drying"})  # of these the reason says more than the state
REASONS = {
    "not_armed": "Not walked yet",
    "proving": "Valves are being proved",
    "other_controller": "Another controller",
    "cannot_record": "Nothing can be written",
    "link_lost": "No contact",
    "quiet_start": "Just started",
    "valve_latched": "Latched shut",
    "not_planted": "Not planted yet",
    "stopped": "Stopped by a person",
    "frost": "Frost",
    "no_water_day": "Due, waits for its day",
    "probes_swapped": "Probes look exchanged",
    "supply_lost": "No water came",
    "waiting_readings": "Waits for a reading",
    "unknown_state": "Cannot be judged",
    "missed": "Misses this turn",
    "week_spent": "Due, waits for water",
    "tank_low": "Due, waits for water",
    "rain_coming": "Due, waits for rain",
    "raining": "It rains",
    "pick_hold": "Kept dry for its pick",
    "cap_spent": "Due, at its limit",
    "night_over": "Due, goes on next night",
    "night_short": "Due, first next night",
}
PLAIN = {"held": "Held", "due": "Due"}  # where the reason has no words of its own
SOON_S = 2.0 * DAY_S  # a bed so close to its line is not called well above it
BACK = "In contact again"  # a bed that was judged last while there was none
POSTURES = {
    plant.Posture.UPRIGHT: "Well supplied",
    plant.Posture.SOFT: "Near its thirst line",
    plant.Posture.HANGING: "Past its thirst line",
    plant.Posture.UNKNOWN: "Not known",
    plant.Posture.CLEARED: "Cleared",
}


def label_words(view: dict[str, Any], bed: str, shape: plant.Posture) -> str:
    """A bed's state in a few words.

    Args:
        view: of the garden.
        bed: its id.
        shape: how its plant stands.
    """
    state = view["beds"][bed]
    valve = VALVES.get(state["valve"], VALVES["unknown"])
    if is_walked(view, bed) and state["valve"] != "latched":
        return BEING_WALKED
    if valve.label:
        return valve.label
    if not in_contact(view, state) and state["valve"] in OPEN_VALVES:
        return REASONS["link_lost"]
    if paused_until_s(view, bed) is not None and state["state"] in {"drying", "due"}:
        return STATES["paused"]
    if state["state"] in STATES:
        return STATES[state["state"]]
    reason = REASONS.get(state["reason"]["code"], "")
    if back_in_contact(view, bed):
        reason = BACK
    if reason and state["state"] in ASKED:
        return reason
    return PLAIN.get(state["state"]) or _on_its_way(state, shape)


def _on_its_way(state: dict[str, Any], shape: plant.Posture) -> str:
    """Where a drying bed is on its way to the line."""
    depletion, line = number(state["depletion_frac"]), number(state["thirst_line_frac"])
    floor = number(state["floor_frac"])
    if depletion is not None and floor is not None and depletion >= floor:
        return "Past its floor"
    if depletion is not None and line is not None and depletion >= line:
        return POSTURES[shape] if shape is plant.Posture.HANGING else "At its thirst line"
    return POSTURES[shape]


def left_words(state: dict[str, Any], tongue: Tongue) -> str:
    """How long a bed has to its thirst line by its usual use, without rain: to that night's middle.

    Empty where it is there or nothing is known.
    """
    depletion, line = number(state["depletion_frac"]), number(state["thirst_line_frac"])
    night = usual_s(state)
    if depletion is None or line is None or night is None or runs(state):
        return ""
    if not depletion < line:
        return ""
    return left(max(0.0, (night[0] + night[1]) / 2.0 - tongue.now_utc_s))


def drawn_words(state: dict[str, Any]) -> str:
    """`32 %, drawn in by 8 points: a probe is in doubt`; empty where nothing draws it in."""
    line, why = number(state["thirst_line_frac"]), state.get("line_drawn_in")
    return f"{100.0 * line:.0f} %, {why}" if why and line is not None else ""


def well_above(state: dict[str, Any], tongue: Tongue) -> bool:
    """Whether a bed is so far from its line that no water is missed yet: by share and by days."""
    depletion, line = number(state["depletion_frac"]), number(state["thirst_line_frac"])
    if depletion is None or line is None or not depletion < plant.SOFT_FROM * line:
        return False
    night = usual_s(state)
    return night is None or (night[0] + night[1]) / 2.0 - tongue.now_utc_s >= SOON_S


def given_words(state: dict[str, Any], tongue: Tongue) -> str:
    """`36 of 60 L`, empty where no watering is under way."""
    watering = state.get("watering")
    if not watering:
        return ""
    given, want = number(watering["given_l"]) or 0.0, number(watering["want_l"]) or 0.0
    return f"{tongue.litres(given, unit=False)} of {tongue.litres(want)}"


def valve_words(
    view: dict[str, Any], state: dict[str, Any], tongue: Tongue, *, lost: bool = False
) -> str:
    """What is known of the valve, and of the water that passed it.

    Args:
        view: of the garden.
        state: of the bed.
        tongue: the garden's words.
        lost: whether this is for a browser that does not hear from here any more.
    """
    valve = VALVES.get(state["valve"], VALVES["unknown"])
    said = valve.was if lost or not in_contact(view, state) else valve.words
    watering = state.get("watering")
    if watering:
        soaks = "next " if state["state"] == "soaking" else ""
        pulses = f"{soaks}pulse {watering['pulse']} of {watering['pulses']}"
        said = f"{said}, {given_words(state, tongue)}, {pulses}"
    return said
