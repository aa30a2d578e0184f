"""The sentence for each reason, made from its numbers: for people, in their plain words.

A reason without a sentence is a defect: a test walks them all.
"""

from __future__ import annotations

from typing import Final

from controller.watering.policy import Decision, Reason

SENTENCES: Final[dict[Reason, str]] = {
    Reason.NOT_ARMED: "{bed} stays shut: its valve has not been walked and proved yet.",
    Reason.LOCKED: "Locked: somebody works at the pipes. Nothing opens until a person unlocks.",
    Reason.OTHER_CONTROLLER: (
        "Another controller speaks to these valves. Nothing opens from here until it is gone."
    ),
    Reason.CANNOT_RECORD: (
        "The record cannot be written, so nothing opens. Closing still works. Look at the disk."
    ),
    Reason.LINK_LOST: (
        "No contact with the broker. Nothing opens; a valve that is open closes by itself."
    ),
    Reason.QUIET_START: "Just started: only closing until every older permission has run out.",
    Reason.VALVE_LATCHED: "The valve of {bed} is latched shut until a person lifts the alert.",
    Reason.NOT_PLANTED: "{bed} is not planted yet.",
    Reason.CLEARED: "{bed} is cleared for this season.",
    Reason.PAUSED: "{bed} is paused by a person: no watering of its own until the pause ends.",
    Reason.STOPPED: "{bed} was stopped by a person: no watering of its own for six hours.",
    Reason.FROST: "Too cold: below 2 °C, or in the frost months, nothing opens.",
    Reason.WAITING_READINGS: "{bed} waits for a fresh reading before it is judged.",
    Reason.UNKNOWN_STATE: "{bed} cannot be judged: its numbers are not whole. It stays shut.",
    Reason.WET: "{bed} is full: its probes read at or above field capacity.",
    Reason.FLOOR_PASSED: (
        "{bed} is past its floor: {now} of its water is used, {floor} is the limit. "
        "It gets {dose} now, whatever the hour."
    ),
    Reason.AT_LINE: (
        "{bed} comes to its thirst line: {used} of its water is used by sunrise, "
        "the line is {line}. It gets {dose}, deeply."
    ),
    Reason.FLOOR_NEAR: (
        "{bed} will have used {used} by sunrise, and one more day would take it past its floor "
        "of {floor}. It gets {dose}, deeply."
    ),
    Reason.BLIND_REFILL: (
        "{bed} has no probe to go by. By its balance {used} is used; it gets a reduced {dose}."
    ),
    Reason.ORDERED: "{bed} is watered by hand: {dose}.",
    Reason.WATERED_TONIGHT: "{bed} had its watering; one deep watering a night is enough.",
    Reason.RAIN_COMING: "{bed} is due, but {rain} of rain are likely: it waits a night.",
    Reason.TOO_SMALL: "{bed} would take too little for a deep watering: it waits.",
    Reason.DRYING: "{bed} dries as it should: {used} used by sunrise, its line is {line}.",
    Reason.OUTSIDE_HOURS: (
        "{bed} has used {now} of its water, its line is {line}. Judged when the hours begin."
    ),
    Reason.CAP_SPENT: "{bed} is due, but its limit leaves {allowed}: nothing more for now.",
    Reason.NIGHT_OVER: "{bed} got {given} before the hours ended; the rest waits.",
}


def bed_name(bed: str) -> str:
    """A bed's id as people say it."""
    return bed.replace("-", " ").replace("_", " ").capitalize()


def _pct(numbers: dict[str, float], key: str) -> str:
    value = numbers.get(key)
    return "an unknown share" if value is None else f"{100.0 * value:.0f} %"


def words(bed: str, reason: Reason, numbers: dict[str, float]) -> str:
    """The sentence of a reason with its numbers filled in.

    Args:
        bed: the bed's id.
        reason: why.
        numbers: what made it so; fractions 0..1, litres, mm.

    Returns:
        One or two short sentences.
    """
    return SENTENCES[reason].format(
        bed=bed_name(bed),
        now=_pct(numbers, "depletion_frac"),
        used=_pct(numbers, "sunrise_frac"),
        line=_pct(numbers, "thirst_line_frac"),
        floor=_pct(numbers, "floor_frac"),
        dose=f"{numbers.get('dose_l', 0.0):.0f} L",
        allowed=f"{numbers.get('allowed_l', 0.0):.0f} L",
        given=f"{numbers.get('given_l', 0.0):.0f} L",
        rain=f"{numbers.get('rain_expected_mm', 0.0):.0f} mm",
    )


def sentence(bed: str, decision: Decision) -> str:
    """Say a decision to the grower."""
    return words(bed, decision.reason, decision.numbers)
