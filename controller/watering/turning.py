"""What would change a decision: the nearest change of each kind, in a sentence with its number.

`decide` is asked again with one thing altered, in whole per cent, whole millimetres or nights, from
the smallest change on; what is told is the first that turns yes into not yet, or the reverse. So
each sentence is true to the digit that it shows. What holds a bed whatever it lacks has no such
number: for that it is said what ends it. Pure; fractions are of TAW, rain is over the ground.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from controller.watering.asking import Asked, before_of, first_of, held, next_yes, rained_on, then
from controller.watering.decision import BedView, Decision, Rain, Reason, Rules, Sky
from controller.watering.ending import ENDS
from controller.watering.hours import Window
from controller.watering.outlook import Night
from controller.watering.policy import POSTPONED_MOST, decide, line_now_frac
from controller.watering.words import bed_name

STEP_FRAC = 0.01
USED_STEPS = 25  # of TAW, in hundredths: a larger change is no near one
LINE_STEPS = 20
RAIN_STEPS_MM = 40
NIGHTS_AHEAD = 8  # further off nobody names a night


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """One change that would turn the decision.

    Attributes:
        code: `ends`, `as_it_is`, `used`, `line`, `rain_falls`, `rain_foretold`, `postponed`,
            `probes`, `heat` or `pick`.
        text: a sentence for people.
        numbers: what is in it; fractions 0..1, mm, nights from the first.
        before: what was asked as things stand; None where nothing was.
        after: the same with the change.
    """

    code: str
    text: str
    numbers: dict[str, float] = field(default_factory=dict)
    before: Asked | None = None
    after: Asked | None = None


Name = Callable[[Window], str]  # how people call a night: `tonight`, `the night to Friday`


def turns(
    bed: BedView,
    sky: Sky,
    rules: Rules,
    ahead: Sequence[Night],
    name: Name,
    *,
    asked: bool = False,
) -> tuple[Turn, ...]:
    """What would change what is decided on a bed, the nearest change of each kind.

    Args:
        bed: its state.
        sky: what is foretold.
        rules: interlocks, holds and hours.
        ahead: the nights to come; the first is the one that runs or the next.
        name: how people call each.
        asked: whether the bed had its answer for the first: then the next one is spoken of.

    Returns:
        Sentences, what stands in the way first; none where no night is known.
    """
    now, first = decide(bed, sky, rules), first_of(bed, asked=asked)
    if held(now):
        return (ends(now.reason, bed),)
    if len(ahead) <= first:
        return ()
    before = before_of(bed, sky, rules, ahead, first)
    told = first > 0 or before.rules != rules
    return tuple(_turns(before, bed, ahead, name, first, told=told))


def ends(reason: Reason, bed: BedView) -> Turn:
    """What ends a hold, an interlock or another reason that no number turns."""
    return Turn(code="ends", text=ENDS[reason].format(bed=bed_name(bed.bed)))


def _turns(
    before: Asked, bed: BedView, ahead: Sequence[Night], name: Name, first: int, *, told: bool
) -> Iterator[Turn]:
    """Every kind of change that turns one answer."""
    answer = before.answer()
    if held(answer):
        yield ends(answer.reason, before.bed)
        return
    night = _on(name(ahead[first].window))
    kinds = (
        _as_it_is(before, answer, night) if told else None,
        _used(before, answer, night),
        _line(before, answer),
        _rain_falls(before, answer, bed, ahead, name, first),
        _rain_foretold(before, answer, night),
        _probes(before, answer, night),
        _heat(before, answer, night),
        _pick(before, answer, night),
        _postponed(before, answer),
    )
    yield from (one for one in kinds if one is not None)


def _on(name: str) -> str:
    """A night's name where something happens in it."""
    return f"in {name}" if name.startswith("the night") else name


def _verb(answer: Decision, night: str) -> str:
    """What a bed does once its answer has turned."""
    return f"it would wait {night}" if answer.water else f"it would drink {night}"


def _as_it_is(before: Asked, answer: Decision, night: str) -> Turn:
    name, does = bed_name(before.bed.bed), "drinks" if answer.water else "waits"
    used_frac, line_frac = before.bed.sunrise_frac, line_now_frac(before.bed, before.sky)
    return Turn(
        code="as_it_is",
        text=f"As things stand {name} {does} {night}: {100.0 * used_frac:.0f} % used by then, "
        f"its line is {100.0 * line_frac:.0f} %.",
        numbers={"sunrise_frac": used_frac, "thirst_line_frac": line_frac},
        before=before,
    )


def _first_turn(
    before: Asked, water: bool, steps: int, alter: Callable[[int], Asked]
) -> tuple[int, Asked] | None:
    """The smallest whole change that turns the answer, and what was asked with it."""
    for step in range(1, steps + 1):
        after = alter(step)
        if after.answer().water != water:
            return step, after
    return None


def _used(before: Asked, answer: Decision, night: str) -> Turn | None:
    """How much more, or less, of its water it would have to use."""
    sign, bed = -1.0 if answer.water else 1.0, before.bed

    def alter(step: int) -> Asked:
        more_frac = sign * step * STEP_FRAC
        now_frac = bed.depletion_frac + (more_frac if answer.water else 0.0)
        return replace(
            before,
            bed=replace(
                bed,
                depletion_frac=max(0.0, now_frac),
                sunrise_frac=max(0.0, bed.sunrise_frac + more_frac),
            ),
        )

    found = _first_turn(before, answer.water, USED_STEPS, alter)
    if found is None:
        return None
    more = "less" if answer.water else "more"
    return Turn(
        code="used",
        text=f"Had it used {found[0]} % {more} by sunrise, {_verb(answer, night)}.",
        numbers={"more_frac": sign * found[0] * STEP_FRAC},
        before=before,
        after=found[1],
    )


def _line(before: Asked, answer: Decision) -> Turn | None:
    """Where its line would have to be."""
    if answer.reason not in {Reason.AT_LINE, Reason.DRYING}:
        return None
    bed, sky = before.bed, before.sky
    shown = round(100.0 * line_now_frac(bed, sky))
    drawn_frac = bed.line_frac - line_now_frac(bed, sky)
    sign = 1 if answer.water else -1

    def alter(step: int) -> Asked:
        line_frac = STEP_FRAC * (shown + sign * step) + drawn_frac
        return replace(before, bed=replace(bed, line_frac=line_frac))

    found = _first_turn(before, answer.water, LINE_STEPS, alter)
    if found is None:
        return None
    told = shown + sign * found[0]
    does = "wait" if answer.water else "drink"
    if not 0 < told <= 100.0 * bed.floor_frac:
        return None
    return Turn(
        code="line",
        text=f"For it to {does}, its thirst line would have to be at {told} %.",
        numbers={"thirst_line_frac": STEP_FRAC * told},
        before=before,
        after=found[1],
    )


def _rain_falls(
    before: Asked,
    answer: Decision,
    bed: BedView,
    ahead: Sequence[Night],
    name: Name,
    first: int,
) -> Turn | None:
    """Which rain before the night puts the next watering off, and to when."""
    drinks = first
    if not answer.water:
        found = next_yes(bed, ahead, first + 1, 0.0)
        if found is None:
            return None
        drinks, before = found, then(bed, ahead, found, 0.0)

    def alter(rain_mm: int) -> Asked:
        return replace(before, bed=rained_on(before.bed, float(rain_mm)))

    turned = _first_turn(before, True, RAIN_STEPS_MM, alter)
    if turned is None:
        return None
    rain_mm = turned[0]
    to = next_yes(bed, ahead, drinks + 1, float(rain_mm))
    later = f"By its usual use it drinks next {_on(name(ahead[drinks].window))}; if"
    next_words = later if drinks > first else "If"
    when = "within a week" if to is None else f"before {name(ahead[to].window)}"
    numbers = {"rain_mm": float(rain_mm), "night": float(drinks)}
    if to is not None:
        numbers["to_night"] = float(to)
    return Turn(
        code="rain_falls",
        text=f"{next_words} {rain_mm} mm of rain fall first, not {when}.",
        numbers=numbers,
        before=before,
        after=turned[1],
    )


def _rain_foretold(before: Asked, answer: Decision, night: str) -> Turn | None:
    """Which sure rain in the outlook would make it wait, or what is left of it not do so."""
    if answer.water:
        steps = (float(mm) for mm in range(1, RAIN_STEPS_MM + 1))
    elif answer.reason is Reason.RAIN_COMING:
        steps = (float(mm) for mm in range(int(before.sky.rain_expected_mm), -1, -1))
    else:
        return None
    for mm in steps:
        rains = (Rain(fall_mm=mm, chance_frac=1.0),)
        sky = replace(before.sky, rain_expected_mm=mm, rains=rains)
        after = replace(before, sky=sky)
        if after.answer().water != answer.water:
            more = "" if answer.water else "no more than "
            return Turn(
                code="rain_foretold",
                text=f"Were {more}{mm:.0f} mm of rain sure to come, {_verb(answer, night)}.",
                numbers={"rain_expected_mm": mm},
                before=before,
                after=after,
            )
    return None


def _plain(code: str, before: Asked, answer: Decision, after: Asked, text: str) -> Turn | None:
    """A change without a number, where it turns the answer."""
    if after == before or after.answer().water == answer.water:
        return None
    return Turn(code=code, text=text, before=before, after=after)


def _probes(before: Asked, answer: Decision, night: str) -> Turn | None:
    if before.bed.quality != "doubtful":
        return None
    after = replace(before, bed=replace(before.bed, quality="ok"))
    text = f"Without the doubt about its probes {_verb(answer, night)}."
    return _plain("probes", before, answer, after, text)


def _heat(before: Asked, answer: Decision, night: str) -> Turn | None:
    after = replace(before, sky=replace(before.sky, hot=False))
    return _plain(
        "heat", before, answer, after, f"Without the heat to come {_verb(answer, night)}."
    )


def _pick(before: Asked, answer: Decision, night: str) -> Turn | None:
    after = replace(before, bed=replace(before.bed, pick_near=False, pick_in=None, pick_d=0.0))
    return _plain("pick", before, answer, after, f"Without the pick {_verb(answer, night)}.")


def _postponed(before: Asked, answer: Decision) -> Turn | None:
    """How often it still waits for rain."""
    if answer.reason is not Reason.RAIN_COMING:
        return None
    left = POSTPONED_MOST - before.bed.postponed
    after = replace(before, bed=replace(before.bed, postponed=POSTPONED_MOST))
    more = "this night only" if left == 1 else f"{left} nights running at most"
    return _plain("postponed", before, answer, after, f"It waits for rain {more}.")
