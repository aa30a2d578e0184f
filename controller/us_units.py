"""Amounts in sentences of our own, said in US units: for people only; files and wires stay metric.

The engine writes its sentences once, in metric units. Where people read them in a garden with
`units = "us"`, each number that a unit follows is turned here, and both numbers of `12 to 24 °C` or
`3 of 60 L`. Litres L become US gallons, millimetres inches, centimetres inches, kilograms pounds,
°C °F, L/min gal/min, L/h gal/h, m/s mph. What people wrote themselves is not to be passed through.

Units: the metric value stands before the unit in the text. Factors are those of the definitions
(international inch, pound and mile; US liquid gallon of 231 cubic inches).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

L_PER_GAL = 3.785411784  # US liquid gallon, by definition 231 cubic inches
MM_PER_IN = 25.4  # by definition
CM_PER_IN = 2.54
KG_PER_LB = 0.45359237  # by definition
M_S_PER_MPH = 0.44704  # by definition: a mile of 1609.344 m in 3600 s
FEW = 9.95  # below it one decimal more is said

_NUMBER = r"[-−]?\d+(?:\.\d+)?"
_PAIR = rf"(?:(?P<first>{_NUMBER})(?P<between> (?:of|to|and|or) |–))?"
AMOUNT = re.compile(
    rf"(?<![\w.,]){_PAIR}(?P<number>{_NUMBER})(?P<more> more)? "
    r"(?P<unit>L/min|L/h|L|mm|cm|kg|°C|m/s)(?![\w/°])"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """An amount as a person typed it, so that it is said back as typed and not rounded twice.

    Attributes:
        si: in `unit`.
        unit: `L`, `kg` or `cm`.
        said: with its unit, as typed.
    """

    si: float
    unit: str
    said: str


def in_us_units(text: str, *typed: Typed) -> str:
    """A sentence of ours with its amounts in US units.

    Args:
        text: with metric amounts, `It gets 300 L.`
        typed: amounts that were typed just now and may stand rounded in the text.

    Returns:
        The same in US units, `It gets 79 gal.`
    """

    def said(hit: re.Match[str]) -> str:
        unit, number = hit["unit"], hit["number"]
        for one in typed:
            if one.unit == unit and hit["first"] is None and _shows(number, one.si):
                return one.said
        amount, name = converted(number, unit)
        first = "" if hit["first"] is None else converted(hit["first"], unit)[0] + hit["between"]
        return f"{first}{amount}{hit['more'] or ''} {name}"

    return AMOUNT.sub(said, text)


def for_people(text: str, units: str) -> str:
    """A sentence of ours in the units of a garden.

    Args:
        text: metric.
        units: `metric` or `us`, as the garden file says.
    """
    return in_us_units(text) if units == "us" else text


def _shows(number: str, si: float) -> bool:
    """Whether this number is that value, rounded as it stands."""
    decimals = len(number.partition(".")[2])
    return abs(float(number) - si) <= 0.5000001 * 10.0**-decimals


def converted(number: str, unit: str) -> tuple[str, str]:
    """A metric number as it stands in a text, and its unit, in US units.

    Args:
        number: the digits.
        unit: one of those of `AMOUNT`.

    Returns:
        The digits to say and the unit's name.
    """
    value = float(number.replace("−", "-"))
    match unit:
        case "L/min":
            return f"{value / L_PER_GAL:.2f}", "gal/min"
        case "L/h":
            return f"{value / L_PER_GAL:.2f}", "gal/h"
        case "L":
            return few_digits(value / L_PER_GAL), "gal"
        case "mm":
            return f"{value / MM_PER_IN:.2f}", "in"
        case "cm":
            return f"{value / CM_PER_IN:.0f}", "in"
        case "kg":
            return f"{value / KG_PER_LB:.1f}", "lb"
        case "m/s":
            return f"{value / M_S_PER_MPH:.0f}", "mph"
        case _:
            return f"{value * 1.8 + 32.0:.0f}", "°F"


def few_digits(amount: float) -> str:
    """A number without false digits: one decimal below ten, none above; zero is plain."""
    return f"{amount:.1f}" if 0.0 < abs(amount) < FEW else f"{amount:.0f}"
