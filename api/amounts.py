"""Amounts behind a command: `40` in the garden's own unit, `40L` or `10gal` in the one it names.

Nothing is guessed: a bare number asks the running garden for its units, and what was taken is said
back with its unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import click

from api import look
from api.page.typed import Measure, Unit, amount_of, with_unit
from api.problems import ProblemError
from controller.datafolder import DataFolder
from controller.us_units import Typed


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A number as typed, in `unit`; None: in the garden's own."""

    value: float
    unit: Unit | None


class Amount(click.ParamType[Told]):
    """An amount of a measure, with or without its unit."""

    name = "amount"

    def __init__(self, measure: Measure) -> None:
        self.measure = measure

    def convert(
        self,
        value: Any,  # noqa: ANN401 - as click has it
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> Told:
        """Turn the text into a number and its unit."""
        if isinstance(value, Told):
            return value
        try:
            number, unit = with_unit(self.measure, str(value))
        except ProblemError as problem:
            self.fail(problem.detail, param, ctx)
        return Told(value=number, unit=unit)


def read_amount(measure: Measure, text: str) -> Told:
    """The same for an argument that may be a word as well.

    Raises:
        UsageError: it is no amount.
    """
    try:
        number, unit = with_unit(measure, text)
    except ProblemError as problem:
        raise click.UsageError(problem.detail) from None
    return Told(value=number, unit=unit)


def in_units_of(folder: DataFolder, measure: Measure, told: Told) -> Typed:
    """An amount in the unit that it names, or in that of the running garden.

    Raises:
        UnreachableError: no daemon answers.
    """
    unit = told.unit or measure.unit(us=look.in_us_units(folder))
    return amount_of(measure, unit, told.value)
