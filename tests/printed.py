"""The README's table of outside checks, held against what the tests themselves work out."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

README = Path(__file__).resolve().parents[1] / "README.md"
BEGINS = "<!-- checks -->\n"
QUANTITY, SOURCE, PUBLISHED, OURS, TOLERANCE, TEST = range(6)
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e-?\d+)?(?![\w.]*\w)")
NOISE = 1e-8  # below this a deviation is the machine's last digits, and differs between machines
NOISE_LEAST = 0.1  # of the printed one: so much smaller, and what is printed says nothing


@cache
def checks() -> tuple[tuple[str, ...], ...]:
    """Cells of each row of the table."""
    _, found, rest = README.read_text(encoding="utf-8").partition(BEGINS)
    assert found
    rows = [line for line in rest.split("\n\n")[0].splitlines() if line.startswith("|")]
    return tuple(tuple(cell.strip() for cell in row.strip("|").split("|")) for row in rows[2:])


def numbers(cell: str) -> list[str]:
    """The numbers of a cell that begins with one, as they are printed; of any other none."""
    return NUMBER.findall(cell) if re.match(r"-?\d", cell) else []


def is_printed(value: float, printed: str) -> bool:
    """Whether a number is the one that is printed, rounded to its digits.

    Args:
        value: what was worked out.
        printed: as 5.716 or 8e-5; one below `NOISE` is a bound and may be met up to ten times over.
    """
    told, exponent, _ = printed.partition("e")
    decimals = len(told.partition(".")[2])
    if not exponent:
        return f"{value:.{decimals}f}" == printed
    rounded = float(f"{value:.{decimals}e}")
    if float(printed) < NOISE:
        return NOISE_LEAST * float(printed) <= rounded <= float(printed)
    return rounded == float(printed)


def assert_ours(quantity: str, *values: float) -> None:
    """Fail unless the README's row prints these values as *Ours*.

    Args:
        quantity: the first cell of the row.
        values: what the code gives, one for each number in the cell.
    """
    (row,) = [row for row in checks() if row[QUANTITY] == quantity]
    printed = numbers(row[OURS])
    assert len(printed) == len(values) > 0
    for value, one in zip(values, printed, strict=True):
        assert is_printed(value, one), f"{quantity}: the README prints {one}, this is {value!r}"
