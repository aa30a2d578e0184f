"""What keeps a bed from drinking by itself, and when it drinks next: words for page and shell."""

from __future__ import annotations

from typing import Any

from api.page.walking import is_walked, walk_words
from api.page.words import Tongue, bed_name, listed, number, utc_s_of
from controller.watering.decision import YES
from controller.who_words import person

OPEN_VALVES = frozenset({"open", "opening"})
RESTING_STATES = frozenset({"paused", "locked", "cleared", "held"})  # drink nothing by themselves
FEW_NAMES = 3  # of beds in one sentence
HAND = "hand:"  # before who ordered a watering
RUNNING_STATES = frozenset({"watering", "soaking"})


def due_s(bed: dict[str, Any]) -> tuple[float, float] | None:
    """The next watering's window, None where there is none."""
    window = bed.get("next_watering") or {}
    first, last = utc_s_of(window.get("from")), utc_s_of(window.get("to"))
    return None if first is None or last is None else (first, last)


def later_words(bed: dict[str, Any]) -> str:
    """What stands behind the window's end where it is only as far as was looked ahead."""
    return ", or later" if (bed.get("next_watering") or {}).get("or_later") else ""


def usual_s(bed: dict[str, Any]) -> tuple[float, float] | None:
    """The night in which a bed drinks by its usual use, without rain; None where none is known."""
    night = bed.get("usual_night") or {}
    first, last = utc_s_of(night.get("from")), utc_s_of(night.get("to"))
    return None if first is None or last is None else (first, last)


def likely_s(bed: dict[str, Any]) -> tuple[float, float] | None:
    """That night, or the whole window where it is not known; None where neither is."""
    window = due_s(bed)
    return None if window is None else usual_s(bed) or window


def expected_words(
    window: tuple[float, float],
    usual: tuple[float, float] | None,
    tongue: Tongue,
    *,
    later: str = "",
    short: bool = False,
) -> str:
    """When a bed is likely to drink: the night of its usual use first, then the window.

    Args:
        window: 8 in 10 sure, with rain as these weeks had it.
        usual: the night without rain, None where it is not known.
        tongue: the garden's words.
        later: what stands behind the window's end where that is open, and no odds are known.
        short: that night without the window around it.
    """
    whole = tongue.window(*window) + later
    if usual is None or tongue.about(*usual) == tongue.about(*window):
        return whole
    if short:
        return tongue.about(*usual)
    sure = "" if later else "8 in 10 sure: "
    rain = ", or later if it rains as usual" if window[1] > usual[1] else ""
    return f"{tongue.about(*usual)} by its usual use{rain} ({sure}{whole})"


def runs(state: dict[str, Any]) -> bool:
    """Whether a watering is under way."""
    return state["valve"] in OPEN_VALVES or state["state"] in RUNNING_STATES


def is_over(state: dict[str, Any]) -> bool:
    """Whether a bed was told that it gets water, and that watering has ended since."""
    return state["reason"]["code"] in YES and not state.get("watering") and not runs(state)


def over_words(bed: str, state: dict[str, Any], tongue: Tongue) -> str:
    """What became of a watering that is over."""
    last = state.get("last_watering") or {}
    at_s, litres = utc_s_of(last.get("at")), number(last.get("litres"))
    if at_s is None or litres is None:
        return f"{bed_name(bed)} was to be watered, and is judged anew before it drinks."
    got = f"{bed_name(bed)} got {tongue.litres(litres)} until {tongue.when(at_s)}"
    return f"{got}. It is judged anew before it drinks again."


def reason_numbers(state: dict[str, Any]) -> dict[str, Any]:
    """The numbers behind a reason, what is used now as it is now.

    They were taken when the bed was judged. Once water flows, what was reckoned for sunrise then
    holds no more and is left out.
    """
    numbers = dict(state["reason"]["numbers"])
    if "depletion_frac" in numbers:
        numbers["depletion_frac"] = state["depletion_frac"]
    if runs(state) or is_over(state):
        numbers.pop("sunrise_frac", None)
    if is_over(state):
        for key in ("dose_l", "dose_mm"):
            numbers.pop(key, None)
    return numbers


def paused_until_s(view: dict[str, Any], bed: str) -> float | None:
    """When the last pause over this bed ends, its own or the garden's."""
    own = view["holds"]["beds_paused"].get(bed)
    ends = [utc_s_of(own["until"]) if own else None, utc_s_of(view["holds"]["paused_until"])]
    return max((end for end in ends if end is not None), default=None)


def stopped_until_s(view: dict[str, Any], bed: str) -> float | None:
    """Until when a person's stop keeps this bed from drinking by itself."""
    return utc_s_of(view["holds"].get("beds_stopped", {}).get(bed))


def kept_until_s(view: dict[str, Any], bed: str) -> float | None:
    """Until when a pause or a stop keeps this bed from drinking by itself."""
    ends = (paused_until_s(view, bed), stopped_until_s(view, bed))
    return max((end for end in ends if end is not None), default=None)


def garden_stop(view: dict[str, Any], tongue: Tongue) -> str:
    """What a stop of every valve costs, empty where some bed goes on by itself."""
    ends = [stopped_until_s(view, bed) for bed in view["beds"]]
    known = [end for end in ends if end is not None]
    if not known or len(known) < len(ends):
        return ""
    until = tongue.when(min(known))
    return f"Stopped by a person: nothing waters by itself until {until}. By hand you can water."


def drinks_by_itself(view: dict[str, Any], bed: str) -> bool:
    """Whether nothing that a person did, and no fault, keeps this bed dry."""
    state = view["beds"][bed]["state"]
    return state not in RESTING_STATES and kept_until_s(view, bed) is None


def promised_s(view: dict[str, Any], bed: str) -> tuple[float, float] | None:
    """The next watering's window where no lock, latch or pause stands before it."""
    window, until_s = due_s(view["beds"][bed]), kept_until_s(view, bed)
    if window is None or view["holds"]["locked"] or view["beds"][bed]["valve"] == "latched":
        return None
    return window if until_s is None or window[0] >= until_s else None


def next_words(view: dict[str, Any], bed: str, tongue: Tongue, *, short: bool = False) -> str:
    """When a bed drinks next; nothing is promised through a lock or a pause.

    Args:
        view: of the garden.
        bed: its id.
        tongue: the garden's words.
        short: the night of its usual use without the window around it.
    """
    state = view["beds"][bed]
    window = promised_s(view, bed)
    if view["holds"]["locked"]:
        return "none while locked"
    if state["state"] == "cleared" or runs(state):
        return ""
    if state["valve"] == "latched":
        return "none while latched"
    until_s = kept_until_s(view, bed)
    if until_s is not None and window is None:
        return f"not before {tongue.when(until_s)}"
    if window is None:
        return ""
    later = later_words(state)
    return expected_words(window, usual_s(state), tongue, later=later, short=short)


def _paused(who: str, until: object, why: str, tongue: Tongue) -> str:
    until_s = utc_s_of(until)
    if until_s is None:
        return ""
    return f"{who} is paused until {tongue.when(until_s)}{f' ({why})' if why else ''}."


def bed_pause(view: dict[str, Any], bed: str, tongue: Tongue) -> str:
    """`Wall is paused until Wed 21:01 (fruit picking).`, empty where the bed has no own pause."""
    pause = view["holds"]["beds_paused"].get(bed)
    return _paused(bed_name(bed), pause["until"], pause["why"], tongue) if pause else ""


def garden_pause(view: dict[str, Any], tongue: Tongue) -> str:
    """The pause of every bed in words, empty where there is none."""
    holds = view["holds"]
    return _paused("Every bed", holds["paused_until"], holds["pause_why"], tongue)


def ordered_words(state: dict[str, Any]) -> str:
    """`This water was ordered by Ann.`, empty where no watering by hand is under way."""
    by = str((state.get("watering") or {}).get("by", ""))
    return f"This water was ordered by {person(by.removeprefix(HAND))}." if HAND in by else ""


def hose_until(view: dict[str, Any], tongue: Tongue) -> str:
    """When the announced hose ends, empty where none is."""
    until_s = utc_s_of((view["holds"].get("hose") or {}).get("until"))
    return "" if until_s is None else tongue.when(until_s)


def alerts_to_show(view: dict[str, Any]) -> list[dict[str, Any]]:
    """All alerts but those that only repeat a pause, which is said in its own place."""
    return [alert for alert in view["alerts"] if alert["code"] != "paused"]


def alert_text(alert: dict[str, Any], tongue: Tongue) -> str:
    """An alert's sentence without the name of its bed before it."""
    text = tongue.said(str(alert["text"]))
    return text.removeprefix(f"{bed_name(alert['bed'])}: ") if alert["bed"] else text


def in_contact(view: dict[str, Any], state: dict[str, Any]) -> bool:
    """Whether what is said of a bed's valve is of now: broker and node both speak."""
    return bool(view["link_up"]) and bool(state["valve_heard"])


def unheard(view: dict[str, Any]) -> str:
    """The valves whose nodes say nothing though the broker is there; empty where there are none."""
    beds = [bed_name(bed) for bed, state in view["beds"].items() if not state["valve_heard"]]
    master = ["the master valve"] if view.get("master_heard") is False else []
    if len(beds) > FEW_NAMES:
        return f"{len(beds) + len(master)} valves"
    valves = "the valve of" if len(beds) == 1 else "the valves of"
    return listed(([f"{valves} {listed(beds)}"] if beds else []) + master)


def back_in_contact(view: dict[str, Any], bed: str) -> bool:
    """Whether a bed's last judgement is of a time without contact, which is over."""
    return bool(view["link_up"]) and view["beds"][bed]["reason"]["code"] == "link_lost"


def bed_reason(view: dict[str, Any], bed: str, tongue: Tongue) -> str:
    """Why a bed drinks or not; empty where one sentence for the whole garden says it."""
    if is_walked(view, bed):
        return walk_words(view, tongue)
    own, ordered = bed_pause(view, bed, tongue), ordered_words(view["beds"][bed])
    if own or (ordered and view["holds"]["paused_until"] is not None):
        return " ".join(one for one in (ordered, own) if one)
    reason = view["beds"][bed]["reason"]
    if view["holds"]["locked"] and reason["code"] == "locked":
        return ""
    if view["holds"]["paused_until"] is not None and reason["code"] == "paused":
        return ""
    if back_in_contact(view, bed):
        return "There was no contact for a while. It is back, and the bed is judged again soon."
    if is_over(view["beds"][bed]):
        return over_words(bed, view["beds"][bed], tongue)
    return tongue.said(str(reason["text"]))
