"""Words for what is known of a bed beside its probes: a hand, looks, the bed that it follows."""

from __future__ import annotations

from typing import Any

from api.page.scarce import turn_words
from api.page.words import Tongue, bed_name, utc_s_of

FELT_WORDS = {"dry": "dry", "just_moist": "just moist", "wet": "wet"}
MARK_WORDS = {
    "first_flower": "first open flower",
    "first_set": "first fruit set",
    "first_colour": "first colour",
    "topped": "topped (growing tips taken off)",
    "last_pick": "last pick",
}


def felt_words(state: dict[str, Any], tongue: Tongue) -> str:
    """`just moist at 20 cm, today 07:30`; empty where nobody felt the bed's soil."""
    felt = state.get("felt")
    at_s = utc_s_of(felt["at"]) if felt else None
    if not felt or at_s is None:
        return ""
    return f"{FELT_WORDS[felt['feel']]} at {tongue.deep(felt['depth_cm'])}, {tongue.when(at_s)}"


def looks_words(state: dict[str, Any]) -> str:
    """What looks at a bed came to; empty where there was none."""
    return str((state.get("looks") or {}).get("text", ""))


def worth_words(state: dict[str, Any]) -> str:
    """That the leaves are worth a look; empty while upright ones would be no news."""
    if not (state.get("looks") or {}).get("worth"):
        return ""
    return "It is near its line or past it: a look at its leaves in the morning tells most now."


def follows_words(state: dict[str, Any]) -> str:
    """Which bed it follows; empty where it goes by its own probes or its balance."""
    like = state.get("follows")
    return f"It has no probe of its own and follows {bed_name(like)}." if like else ""


def poured_words(state: dict[str, Any], tongue: Tongue) -> str:
    """`40 L, today 07:30`; empty where nobody told of water poured by hand."""
    poured = state.get("poured")
    at_s = utc_s_of(poured["at"]) if poured else None
    if not poured or at_s is None:
        return ""
    return f"{tongue.litres(poured['litres'])}, {tongue.when(at_s)}"


def miss_words(state: dict[str, Any]) -> str:
    """That a turn is missed, tonight or when it comes; empty where none is."""
    wanted = state.get("miss")
    if not wanted:
        return ""
    return "It misses its turn tonight." if wanted["tonight"] else "It is to miss its next turn."


def marks_words(state: dict[str, Any]) -> str:
    """What was marked of the season; empty where nothing was."""
    marks = state.get("marks") or {}
    return ", ".join(f"{MARK_WORDS[name].split(' (')[0]} {day}" for name, day in marks.items())


def rows(state: dict[str, Any], tongue: Tongue) -> list[tuple[str, str]]:
    """The same as rows of the card's table."""
    told = [
        ("follows", bed_name(state["follows"]) if state.get("follows") else ""),
        ("felt by hand", felt_words(state, tongue)),
        ("looks", looks_words(state)),
        ("poured by hand", poured_words(state, tongue)),
        ("marked", marks_words(state)),
    ]
    return [(name, words) for name, words in told if words]


def sentences(state: dict[str, Any], tongue: Tongue) -> list[str]:
    """The same as sentences, for the shell."""
    felt = felt_words(state, tongue)
    marks, poured = marks_words(state), poured_words(state, tongue)
    scarce = turn_words(state, tongue)
    told = [
        follows_words(state),
        f"Felt by hand: {felt}." if felt else "",
        looks_words(state),
        worth_words(state),
        f"Poured by hand: {poured}." if poured else "",
        miss_words(state),
        f"Scarce water: {scarce}." if scarce else "",
        f"Marked: {marks}." if marks else "",
    ]
    return [words for words in told if words]
