"""From what a person typed to a value: each reader refuses with what was found and what is allowed.

The rules are those of the garden file itself, so that no answer makes a file that is refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, get_args
from zoneinfo import available_timezones

from api.first_day import amounts
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
RIBBON = "ribbon cm"  # a key of `amounts.UNITS`


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


def amount(low: float, high: float, metric: str) -> Reader:
    """An amount, bare in its metric unit or with any unit of its measure behind it.

    Args:
        low: the least that is allowed, metric.
        high: the most.
        metric: a key of `amounts.UNITS`.
    """
    rule = Between(low, high, amounts.short(metric))

    def read(text: str) -> object:
        told = amounts.typed(text, metric)
        unit = amounts.short(metric) if told is None or not told.unit else told.unit
        per = amounts.factor(metric, unit)
        bound = rule if per == 1.0 else Between(_three(low / per), _three(high / per), unit)
        value = _float(text if told is None else told.number)
        if value is None:
            units = ", ".join(amounts.UNITS[metric])
            msg = f"{bound.broken(text)}, with one of {units} behind it or none"
            raise refused(msg)
        if rule.broken(value * per) is not None:
            _pass(bound.broken(value) or rule.broken(value * per))
        return amounts.metric_of(value, metric, unit)

    return read


def _three(value: float) -> float:
    return float(f"{value:.3g}")


def _float(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def number_or_none(low: float, high: float, unit: str) -> Reader:
    """An amount, or `none`."""
    read_number = amount(low, high, unit)

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
    read = amount(0.0, LONGEST_RIBBON_CM, RIBBON)
    allowed = f"feel, 0 to {LONGEST_RIBBON_CM:g} cm, and {OneOf(get_args(Rubbed)).allowed}"
    if told == ["falls"]:
        return Soil(by_ribbon(0.0, "neither", ball=False), "no ball in the hand")
    try:
        ribbon_cm, rubbed = read(told[0]), told[1]
    except (NotAllowedError, IndexError):
        msg = f"{shown(text)} is not {allowed}"
        raise refused(msg) from None
    if not isinstance(ribbon_cm, float) or rubbed not in get_args(Rubbed):
        msg = f"{shown(text)} is not {allowed}"
        raise refused(msg)
    return ribbon(ribbon_cm, rubbed, "in" if told[0].endswith("in") else "cm")  # type: ignore[arg-type]


def ribbon(ribbon_cm: float, rubbed: Rubbed, unit: str) -> Soil:
    """The soil of a ribbon, and in which words of it."""
    by = f"a ribbon of {amounts.said(ribbon_cm, RIBBON, unit)}, {rubbed} when rubbed"
    return Soil(by_ribbon(ribbon_cm, rubbed), by)


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
