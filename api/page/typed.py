"""Amounts that a person types: litres or gallons, kilograms or pounds, centimetres or inches.

A form's field is named for its unit, so that a page which was loaded before the garden's units
changed is still read as it was filled in. What is kept is metric, fine enough that the typed number
comes back whole: three decimals of a gallon or an inch and of a pound are none of them lost.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from api import bodies
from api.problems import ProblemError
from controller.us_units import CM_PER_IN, KG_PER_LB, L_PER_GAL, Typed

ENDED = re.compile(r"\s*(?P<number>[0-9][0-9.,]*)\s*(?P<unit>[a-zA-Z]*)\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """One unit of a measure.

    Attributes:
        field: the form's field.
        label: before it.
        short: behind a number.
        words: how people may write it behind a number.
        si_per_one: of the measure's metric unit.
    """

    field: str
    label: str
    short: str
    words: tuple[str, ...]
    si_per_one: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """What is measured, in its metric and its US unit, and the decimals that are kept of it."""

    metric: Unit
    us: Unit
    decimals: int

    def unit(self, *, us: bool) -> Unit:
        """The unit of a garden."""
        return self.us if us else self.metric


VOLUME = Measure(
    metric=Unit(
        field="litres",
        label="Litres",
        short="L",
        words=("l", "litre", "litres", "liter", "liters"),
        si_per_one=1.0,
    ),
    us=Unit(
        field="gallons",
        label="Gallons",
        short="gal",
        words=("gal", "gallon", "gallons"),
        si_per_one=L_PER_GAL,
    ),
    decimals=3,
)
MASS = Measure(
    metric=Unit(
        field="kg",
        label="Kilograms",
        short="kg",
        words=("kg", "kilogram", "kilograms"),
        si_per_one=1.0,
    ),
    us=Unit(
        field="pounds",
        label="Pounds",
        short="lb",
        words=("lb", "lbs", "pound", "pounds"),
        si_per_one=KG_PER_LB,
    ),
    decimals=4,
)
DEPTH = Measure(
    metric=Unit(
        field="depth", label="Depth in centimetres", short="cm", words=("cm",), si_per_one=1.0
    ),
    us=Unit(
        field="inches",
        label="Depth in inches",
        short="in",
        words=("in", "inch", "inches"),
        si_per_one=CM_PER_IN,
    ),
    decimals=3,
)


def in_form(measure: Measure, form: Mapping[str, str], name: str, most_si: float) -> Typed:
    """The amount in a sent form, whichever of its two fields was there.

    Args:
        measure: what is asked.
        form: its fields.
        name: what the amount is, for a refusal: `depth`; empty: its unit's word.
        most_si: the largest that is taken, metric.

    Raises:
        ProblemError: 422, it is no number, or not above 0, or too large.
    """
    unit = measure.us if measure.us.field in form else measure.metric
    return _of(measure, unit, form.get(unit.field, ""), name, most_si)


def _of(measure: Measure, unit: Unit, text: str, name: str, most_si: float) -> Typed:
    words = f"{name} in {unit.short}" if name else unit.label.lower()
    most = math.floor(most_si / unit.si_per_one + 1e-9)
    value = bodies.amount(text, words, float(most))
    return amount_of(measure, unit, value)


def amount_of(measure: Measure, unit: Unit, value: float) -> Typed:
    """A number of a unit, kept as metric and said back as it was typed."""
    si = value if unit is measure.metric else round(value * unit.si_per_one, measure.decimals)
    return Typed(si=si, unit=measure.metric.short, said=f"{value:.10g} {unit.short}")


def with_unit(measure: Measure, text: str) -> tuple[float, Unit | None]:
    """A number as typed behind a command, with the unit that it names: `40`, `40L`, `10 gal`.

    Args:
        measure: what is told.
        text: as typed.

    Returns:
        The number, and the unit, None where the garden's own is meant.

    Raises:
        ProblemError: 422, it cannot be read.
    """
    found, units = ENDED.fullmatch(text), (measure.metric, measure.us)
    word = found["unit"].lower() if found else ""
    named = next((unit for unit in units if word in unit.words), None)
    if found is None or (word and named is None):
        allowed = f"40, 40{measure.metric.short} or 10{measure.us.short}"
        raise ProblemError(422, f"{text[:20]!r} is no amount such as {allowed}.")
    return bodies.amount(found["number"], (named or measure.metric).label.lower(), 1e6), named
