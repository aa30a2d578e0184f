"""Leads a person through the ribbon test or the jar test, a question at a time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal, get_args

from api.first_day import amounts, reading
from api.first_day.asked import Question
from api.first_day.reading import NotAllowedError, Soil
from api.first_day.soil_by_hand import LONGEST_RIBBON_CM, Rubbed, by_jar, by_ribbon

Ask = Callable[[Question, str, str], str]
Say = Callable[[str], None]
THICKEST_CM = 50.0

FEEL = (
    "Take soil from a hand's depth, pick stones and roots out, wet it drop by drop",
    "and knead it until it is like putty.",
)
JAR = (
    "Take soil from a hand's depth, sieved of stones and roots. Fill a straight",
    "glass jar a third with it, add water and a few drops of dish soap, shake it",
    "for minutes, set it down. Mark the top of what has settled after 1 minute",
    "(sand), after 2 hours (silt) and after 2 days (clay).",
)


def lead(test: Literal["feel", "jar"], ask: Ask, say: Say, *, us: bool = False) -> Soil:
    """Lead through one of the tests and name the soil; `us`: lengths are asked in inches."""
    for line in FEEL if test == "feel" else JAR:
        say(line)
    return _feel(ask, say, us=us) if test == "feel" else _jar(ask, say, us=us)


def _feel(ask: Ask, say: Say, *, us: bool) -> Soil:
    ball = _one(
        ask, say, "ball", "Squeezed, does it stay a ball?", "no: sand", reading.yes_no, "yes"
    )
    if not ball:
        return Soil(by_ribbon(0.0, "neither", ball=False), "no ball in the hand")
    unit, long, loam, clay_loam = ("in", "inches", 1, 2) if us else ("cm", "cm", 2.5, 5)
    read = reading.amount(0.0, LONGEST_RIBBON_CM, reading.RIBBON)
    ribbon_cm = _one(
        ask,
        say,
        "ribbon_cm",
        f"Push it out between thumb and finger: how many {long} until the ribbon breaks?",
        f"0: it forms none; up to {loam}: loams; up to {clay_loam}: clay loams; longer: clays",
        lambda text: read(amounts.with_unit(text, reading.RIBBON, unit)),
        "0.8" if us else "2",
    )
    rubbed: Rubbed = "neither"
    if ribbon_cm > 0.0:
        rubbed = _one(
            ask,
            say,
            "rubbed",
            "Wet a pinch in your palm very much and rub it: gritty, smooth or neither?",
            "gritty: sand; smooth: silt",
            reading.one_of(get_args(Rubbed)),
            "neither",
        )
    return reading.ribbon(ribbon_cm, rubbed, unit)


def _jar(ask: Ask, say: Say, *, us: bool) -> Soil:
    unit, long = ("in", "inches") if us else ("cm", "cm")
    read = reading.amount(0.0, THICKEST_CM, "cm")
    while True:
        layers = [
            _one(
                ask,
                say,
                what,
                f"How thick is the layer of {what}, in {long}?",
                how,
                lambda text: read(amounts.with_unit(text, "cm", unit)),
                "1" if us else "2",
            )
            for what, how in (
                ("sand", "from the bottom to the first mark"),
                ("silt", "from the first mark to the second"),
                ("clay", "from the second mark to the third"),
            )
        ]
        try:
            name = by_jar(*layers)
        except ValueError as exc:
            say(f"{exc}.")
            continue
        each = " / ".join(amounts.said(one, "cm", unit).removesuffix(f" {unit}") for one in layers)
        return Soil(name, f"a jar: {each} {unit} of sand, silt, clay")


def _one(
    ask: Ask, say: Say, key: str, words: str, effect: str, read: reading.Reader, default: str
) -> Any:  # noqa: ANN401 - each question has a type of its own
    question = Question(key=key, words=words, effect=effect, read=read, default=lambda _: default)
    while True:
        try:
            return read(ask(question, "", default))
        except NotAllowedError as exc:
            say(f"{exc}.")
