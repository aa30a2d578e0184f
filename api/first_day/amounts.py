"""Amounts as growers type them on the first day: metric, or with a US unit behind the number.

What is kept is metric, as in the garden file. A bare number is in the unit that the question names;
`24in`, `2 ft`, `5 gal` or `0.6 m` say theirs. Pure.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from controller.us_units import CM_PER_IN, L_PER_GAL

M_PER_FT = 0.3048  # by definition
RIBBON_CM_PER_IN = 2.5  # as the key of the ribbon test rounds its inches
DECIMALS = 4  # of what is kept: a tenth of a millimetre, a tenth of a millilitre
ENDED = re.compile(r"\s*(?P<number>[-+]?[0-9][0-9.,]*)\s*(?P<unit>[a-zA-Z][a-zA-Z/]*)?\s*")

# by the metric unit of a question: how units may be written, and how many of it each one is
UNITS: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "L": {"L": 1.0, "gal": L_PER_GAL, "gallons": L_PER_GAL},
        "L/h": {"L/h": 1.0, "gal/h": L_PER_GAL, "gph": L_PER_GAL},
        "m": {"m": 1.0, "cm": 0.01, "in": 0.01 * CM_PER_IN, "ft": M_PER_FT},
        "cm": {"cm": 1.0, "in": CM_PER_IN},
        "ribbon cm": {"cm": 1.0, "in": RIBBON_CM_PER_IN},
    }
)


@dataclass(frozen=True, slots=True)
class Typed:
    """A number with the unit that stands behind it, `unit` empty for a bare one."""

    number: str
    unit: str


def typed(text: str, metric: str) -> Typed | None:
    """Take a text apart, None where it is no number of this measure.

    Args:
        text: as typed.
        metric: the question's unit, a key of `UNITS`.
    """
    found = ENDED.fullmatch(text)
    if found is None:
        return None
    word = (found["unit"] or "").lower()
    unit = next((name for name in UNITS[metric] if name.lower() == word), None)
    if word and unit is None:
        return None
    return Typed(found["number"].replace(",", "."), unit or "")


def with_unit(text: str, metric: str, unit: str) -> str:
    """What was typed, with this unit behind it where it is a bare number."""
    told = typed(text, metric)
    return text if told is None or told.unit else f"{text} {unit}"


def factor(metric: str, unit: str) -> float:
    """How many of the metric unit one of this unit is."""
    return UNITS[metric][unit]


def metric_of(value: float, metric: str, unit: str) -> float:
    """A number of a unit in the metric one, without false digits."""
    return value if factor(metric, unit) == 1.0 else round(value * factor(metric, unit), DECIMALS)


def said(value: float, metric: str, unit: str) -> str:
    """A metric amount in a unit, with three digits: `24 in`."""
    return f"{value / factor(metric, unit):.3g} {unit}"


def short(metric: str) -> str:
    """The metric unit as it stands behind a number."""
    return next(iter(UNITS[metric]))
