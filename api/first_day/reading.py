"""From what a person typed to a value: each reader refuses with what was found and what is allowed.

The rules are those of the garden file itself, so that no answer makes a file that is refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, get_args
from zoneinfo import available_timezones

from api.first_day.soil_by_hand import LONGEST_RIBBON_CM, Rubbed, by_jar, by_ribbon
from controller.garden_parts import SoilName
from controller.garden_rules import (
    DEVICE_MEANING,
    DEVICE_PATTERN,
    Between,
    Day,
    OneOf,
    Text,
    shown,
)

Reader = Callable[[str], object]
YES, NO = ("yes", "y", "true"), ("no", "n", "false")
GUIDED = ("feel", "jar")


class NotAllowedError(ValueError):
    """An answer that cannot be taken: what was found, and what is allowed."""


@dataclass(frozen=True, slots=True)
class Soil:
    """A soil class and how it was found."""

    name: SoilName
    by: str


@dataclass(frozen=True, slots=True)
class Guide:
    """The answer `feel` or `jar`: the person wants to be led through that test."""

    test: Literal["feel", "jar"]


def refused(said: str) -> NotAllowedError:
    """Make a refusal that says what was found and what is allowed."""
    return NotAllowedError(said)


def number(low: float, high: float, unit: str = "", *, whole: bool = False) -> Reader:
    """A number; a decimal comma is one too."""
    rule = Between(low, high, unit, whole=whole)

    def read(text: str) -> object:
        plain = text.strip().replace(",", ".")
        try:
            value: object = int(plain) if whole and "." not in plain else float(plain)
        except ValueError:
            value = text
        _pass(rule.broken(value))
        return rule.taken(value)  # type: ignore[arg-type]

    return read


def number_or_none(low: float, high: float, unit: str) -> Reader:
    """A number, or `none`."""
    read_number = number(low, high, unit)

    def read(text: str) -> object:
        try:
            return None if text.strip().lower() == "none" else read_number(text)
        except NotAllowedError as exc:
            msg = f"{exc}, or none"
            raise refused(msg) from None

    return read


def words(rule: Text) -> Reader:
    """A text by the garden file's rule."""

    def read(text: str) -> object:
        _pass(rule.broken(text.strip()))
        return text.strip()

    return read


def one_of(allowed: Sequence[str]) -> Reader:
    """One of a few words, in any case."""
    rule = OneOf(tuple(allowed))

    def read(text: str) -> object:
        plain = text.strip().lower()
        _pass(rule.broken(plain))
        return plain

    return read


def yes_no(text: str) -> object:
    """`yes` or `no`."""
    plain = text.strip().lower()
    if plain in YES or plain in NO:
        return plain in YES
    msg = f"{shown(text)} is not yes or no"
    raise refused(msg)


def day(text: str) -> object:
    """A date."""
    rule = Day()
    _pass(rule.broken(text.strip()))
    return rule.taken(text.strip())


def zone(text: str) -> object:
    """A time zone that is known here."""
    if text.strip() in available_timezones():
        return text.strip()
    msg = f"{shown(text)} is no time zone known here; allowed is one such as Europe/Berlin"
    raise refused(msg)


def names(text: str) -> object:
    """Names of beds or probes with commas between them; `none` is none."""
    plain = [] if text.strip().lower() == "none" else [one.strip() for one in text.split(",")]
    for one in plain:
        if re.fullmatch(DEVICE_PATTERN, one) is None:
            msg = f"the name {shown(one)} is not {DEVICE_MEANING}"
            raise refused(msg)
    twice = next((one for one in plain if plain.count(one) > 1), None)
    if twice is not None:
        msg = f"{shown(twice)} stands there twice; each name once"
        raise refused(msg)
    return tuple(plain)


def soil(text: str) -> object:
    """A class, `feel` or `jar`, or such a test's whole outcome: `feel 3 gritty`, `jar 4 4 2`."""
    plain = text.strip().lower()
    if plain in GUIDED:
        return Guide(plain)  # type: ignore[arg-type]
    test, *told = plain.split()
    if test == "feel":
        return _felt(text, told)
    if test == "jar":
        return _settled(text, told)
    rule = OneOf(get_args(SoilName))
    if rule.broken(plain) is not None:
        msg = f"{rule.broken(plain)}; or feel, or jar"
        raise refused(msg)
    return Soil(plain, "as told")  # type: ignore[arg-type]


def _felt(text: str, told: list[str]) -> Soil:
    allowed = f"feel, 0 to {LONGEST_RIBBON_CM:g} cm, and {OneOf(get_args(Rubbed)).allowed}"
    if told == ["falls"]:
        return Soil(by_ribbon(0.0, "neither", ball=False), "no ball in the hand")
    try:
        ribbon_cm, rubbed = float(told[0]), told[1]
    except (ValueError, IndexError):
        msg = f"{shown(text)} is not {allowed}"
        raise refused(msg) from None
    if not 0.0 <= ribbon_cm <= LONGEST_RIBBON_CM or rubbed not in get_args(Rubbed):
        msg = f"{shown(text)} is not {allowed}"
        raise refused(msg)
    by = f"a ribbon of {ribbon_cm:g} cm, {rubbed} when rubbed"
    return Soil(by_ribbon(ribbon_cm, rubbed), by)  # type: ignore[arg-type]


def _settled(text: str, told: list[str]) -> Soil:
    try:
        sand, silt, clay = (float(one.replace(",", ".")) for one in told)
        return Soil(by_jar(sand, silt, clay), f"a jar: {' / '.join(told)} of sand, silt, clay")
    except ValueError:
        said = f"{shown(text)} is not jar and the layers of sand, silt and clay, such as jar 4 4 2"
        raise refused(said) from None


def _pass(broken: str | None) -> None:
    if broken is not None:
        raise refused(broken)
