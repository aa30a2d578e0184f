"""The sentence for each reason, made from its numbers: for people, in their plain words.

A reason without a sentence is a defect: a test walks them all.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from string import Formatter
from typing import Final

from controller.watering.decision import Decision, Reason

SENTENCES: Final[dict[Reason, str]] = {
    Reason.NOT_ARMED: "{bed} stays shut: its valve has not been walked and proved yet.",
    Reason.PROVING: "Valves are being proved: {bed} waits for the end of it.",
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
    Reason.PROBES_SWAPPED: (
        "{bed} waits: its water shows at another bed's probes. Put probes or valves right, then "
        "clear the alert. By hand it can be watered."
    ),
    Reason.SUPPLY_LOST: (
        "No water came in two beds: {bed} waits for the supply. It is tried again within two hours."
    ),
    Reason.FROST: (
        "Too cold: below 2 °C in the air or in its soil, or in the frost months, nothing opens."
    ),
    Reason.WAITING_READINGS: "{bed} waits for a fresh reading before it is judged.",
    Reason.UNKNOWN_STATE: "{bed} cannot be judged: its numbers are not whole. It stays shut.",
    Reason.WET: "{bed} is full, as its probes have it.",
    Reason.LIMP: (
        "{bed} was seen limp this morning and {limp}. It gets {dose} now, whatever the hour."
    ),
    Reason.FLOOR_PASSED: (
        "{bed} is past its floor: {now} of its water is used, {floor} is the limit. "
        "It gets {dose} now, whatever the hour."
    ),
    Reason.AT_LINE: (
        "{bed} comes to its thirst line: {used} of its water is used by sunrise, "
        "the line is {line}. It gets {dose}, deeply."
    ),
    Reason.FLOOR_NEAR: (
        "{bed} will have used {used} by sunrise and uses {day} a day: a thirsty day more could "
        "take it past its floor of {floor}. It gets {dose}, deeply."
    ),
    Reason.BLIND_REFILL: (
        "{bed} has no probe to go by. By its balance {used} is used; it gets a reduced {dose}."
    ),
    Reason.BLIND_NORMALS: (
        "{bed} has no probe to go by, and the weather is not known either. By the usual use of "
        "the month {used} is used; it gets the smallest dose, {dose}."
    ),
    Reason.BLIND_SMALLEST: (
        "{bed} has had no probe to go by for too long: {blind}. It gets the smallest dose, {dose}. "
        "Put its probes right."
    ),
    Reason.FIRST_SOAK: (
        "{bed} learns what its probes' counts mean, and begins with a soak to full: {dose}. Two "
        "days later what they tell is its full point."
    ),
    Reason.LEARNING_REFILL: (
        "{bed} still learns what its probes' counts mean and goes by its balance: {used} is used. "
        "It gets {dose}, deeply."
    ),
    Reason.BEFORE_PICK: (
        "{bed} would come to its line before its pick, {pick} from now. It gets {dose} tonight, "
        "so that it can be left dry until then."
    ),
    Reason.PICK_AHEAD: (
        "{bed} comes to its thirst line, and a pick is {pick} off. It gets {dose} tonight and "
        "the rest on the last night before its dry days."
    ),
    Reason.FLOOR_BEFORE_PICK: (
        "{bed} would pass its floor before its pick, {pick} from now. It gets {dose}, no more "
        "than carries it there."
    ),
    Reason.NIGHT_EARLY: (
        "{bed} will have used {used} by sunrise and its line is {line}; tomorrow more beds come "
        "due than the night has room for. It gets {dose} tonight already, deeply."
    ),
    Reason.STAGED: (
        "{bed} went far past its line with coloured fruit, so it is refilled over nights, lest "
        "fruit crack: stage {stage} of {stages}, {dose}."
    ),
    Reason.ORDERED: "{bed} is watered by hand: {dose}.",
    Reason.WATERED_TONIGHT: "{bed} had its watering; one deep watering a night is enough.",
    Reason.DAYS_AHEAD: (
        "{bed} will have used {used} by sunrise, and would pass its floor of {floor} before water "
        "may run again. It gets {dose}."
    ),
    Reason.NO_WATER_DAY: (
        "{bed} is due, {now} of its water is used, but water may not run today. It drinks when an "
        "allowed day begins."
    ),
    Reason.WEEK_SPENT: (
        "{bed} is due, but the week's water has {left} left for it: it waits until older water "
        "leaves the week."
    ),
    Reason.TANK_LOW: (
        "{bed} is due, but the tank has {left} left for it. Fill the tank, and say so."
    ),
    Reason.MISSED: (
        "{bed} misses this turn, as a person asked. From the next night on it drinks again."
    ),
    Reason.RAIN_COMING: "{bed} is due, but {rain} of rain are likely: it waits a night.",
    Reason.RAINING: "It rains on {bed}: it is judged again when that is over.",
    Reason.PICK_HOLD: (
        "{bed} is kept dry for its pick, {pick} from now: {used} of its water is used by sunrise, "
        "and its floor of {floor} is far enough off."
    ),
    Reason.BLIND_UNSOUND: (
        "{bed} has no probe to go by, and its valve or the meter is in doubt: nothing opens by "
        "itself. Put one of them right, or water it by hand."
    ),
    Reason.TOO_SMALL: "{bed} would take too little for a deep watering: it waits.",
    Reason.FLOOR_UNSURE: (
        "{bed} may be past its floor: {now} of its water is used, {spread} more or less, and "
        "{floor} is the limit; by its books it is not. Unless that becomes sure it waits for "
        "its next hours, those right after a refill left out."
    ),
    Reason.DRYING: "{bed} has water enough: {used} used by sunrise, its line is {line}.",
    Reason.OUTSIDE_HOURS: (
        "{bed} has used {now} of its water, its line is {line}. Judged when the hours begin."
    ),
    Reason.CAP_SPENT: "{bed} is due, but {spent}: nothing more for now.",
    Reason.NIGHT_SHORT: (
        "{bed} is due, but too little of the night is left for a deep watering; a sip would do it "
        "no good. It comes first in the next hours."
    ),
    Reason.NIGHT_OVER: "{bed} got {given} before the hours ended; the rest waits.",
}


@lru_cache(maxsize=256)
def bed_name(bed: str) -> str:
    """A bed's id as people say it."""
    return bed.replace("-", " ").replace("_", " ").capitalize()


def percent(frac: float) -> str:
    """A share as people read it: `61 %`."""
    return f"{100.0 * frac:.0f} %"


def _pct(numbers: dict[str, float], key: str) -> str:
    value = numbers.get(key)
    return "an unknown share" if value is None else percent(value)


def _amount(key: str, unit: str) -> Callable[[dict[str, float]], str]:
    return lambda numbers: f"{numbers.get(key, 0.0):.0f} {unit}".rstrip()


def _share(key: str) -> Callable[[dict[str, float]], str]:
    return lambda numbers: _pct(numbers, key)


def _days(key: str) -> Callable[[dict[str, float]], str]:
    def said(numbers: dict[str, float]) -> str:
        days = numbers.get(key)
        if days is None:
            return "some days"
        return "a day" if days < 1.5 else f"{days:.0f} days"

    return said


def _spent(numbers: dict[str, float]) -> str:
    """Which of a bed's limits is spent: its valve's starts, or else its litres."""
    if "starts" in numbers:
        return f"the {numbers['starts']:.0f} starts of its valve within 24 hours are used"
    return f"its limit leaves {_amount('allowed_l', 'L')(numbers)}"


def _limp(numbers: dict[str, float]) -> str:
    """Why limp leaves are thirst: by what is believed of the bed, or by a hand."""
    if "felt_frac" in numbers:
        return "felt dry by hand: that counts, whatever its probes tell"
    return f"is not wet: {_pct(numbers, 'depletion_frac')} of its water is used"


SAID: Final[dict[str, Callable[[dict[str, float]], str]]] = {  # what fills a sentence's gap
    "now": _share("depletion_frac"),
    "used": _share("sunrise_frac"),
    "line": _share("thirst_line_frac"),
    "floor": _share("floor_frac"),
    "day": _share("day_use_frac"),
    "spread": _share("spread_frac"),
    "dose": _amount("dose_l", "L"),
    "spent": _spent,
    "limp": _limp,
    "given": _amount("given_l", "L"),
    "rain": _amount("rain_expected_mm", "mm"),
    "left": _amount("left_l", "L"),
    "pick": _days("pick_d"),
    "blind": _days("blind_d"),
    "stage": _amount("stage", ""),
    "stages": _amount("stages", ""),
}
GAPS: Final = {  # only those of the sentence are worked out: beds are judged every hour
    reason: [gap for _, gap, _, _ in Formatter().parse(text) if gap in SAID]
    for reason, text in SENTENCES.items()
}


def words(bed: str, reason: Reason, numbers: dict[str, float]) -> str:
    """The sentence of a reason with its numbers filled in.

    Args:
        bed: the bed's id.
        reason: why.
        numbers: what made it so; fractions 0..1, litres, mm.

    Returns:
        One or two short sentences.
    """
    gaps = {gap: SAID[gap](numbers) for gap in GAPS[reason]}
    return SENTENCES[reason].format(bed=bed_name(bed), **gaps)


def sentence(bed: str, decision: Decision) -> str:
    """Say a decision to the grower."""
    return words(bed, decision.reason, decision.numbers)
