"""Leads a person through the ribbon test or the jar test, a question at a time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal, get_args

from api.first_day import reading
from api.first_day.questions import Question
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


def lead(test: Literal["feel", "jar"], ask: Ask, say: Say) -> Soil:
    """Lead through one of the tests and name the soil."""
    for line in FEEL if test == "feel" else JAR:
        say(line)
    return _feel(ask, say) if test == "feel" else _jar(ask, say)


def _feel(ask: Ask, say: Say) -> Soil:
    ball = _one(
        ask, say, "ball", "Squeezed, does it stay a ball?", "no: sand", reading.yes_no, "yes"
    )
    if not ball:
        return Soil(by_ribbon(0.0, "neither", ball=False), "no ball in the hand")
    ribbon_cm = _one(
        ask,
        say,
        "ribbon_cm",
        "Push it out between thumb and finger: how many cm until the ribbon breaks?",
        "0: it forms none. Up to 2.5 loams, up to 5 clay loams, longer clays",
        reading.number(0.0, LONGEST_RIBBON_CM, "cm"),
        "2",
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
    return Soil(by_ribbon(ribbon_cm, rubbed), f"a ribbon of {ribbon_cm:g} cm, {rubbed} when rubbed")


def _jar(ask: Ask, say: Say) -> Soil:
    while True:
        layers = [
            _one(
                ask,
                say,
                what,
                f"How thick is the layer of {what}, in cm?",
                how,
                reading.number(0.0, THICKEST_CM, "cm"),
                "2",
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
        return Soil(name, "a jar: {:g} / {:g} / {:g} cm of sand, silt, clay".format(*layers))


def _one(
    ask: Ask, say: Say, key: str, words: str, effect: str, read: reading.Reader, default: str
) -> Any:  # noqa: ANN401 - each question has a type of its own
    question = Question(key=key, words=words, effect=effect, read=read, default=lambda _: default)
    while True:
        try:
            return read(ask(question, "", default))
        except NotAllowedError as exc:
            say(f"{exc}.")
