"""A series made short without losing what a picture shows: its ends, lowest and highest values."""

from __future__ import annotations

from typing import Any

STATES = ("depletion_frac", "line_frac")  # what stands at an instant
SUMS = ("rain_mm", "given_l")  # what came since the row before


def thinned(rows: list[dict[str, Any]], step_s: float) -> list[dict[str, Any]]:
    """The first, lowest, highest and last row of each step, by column; the others are left out.

    What fell and was given in a row that is left out counts in the next that is kept, so each sum
    stays what it was. Where a column falls silent or speaks again within a step, those rows stay
    too: no gap is bridged.

    Args:
        rows: as `Desk.history` gives them, in order.
        step_s: [s] length of a step, of Unix time; 0 leaves the rows alone.

    Returns:
        Rows of `rows`, in order, none with a value that no row had.
    """
    if not step_s > 0.0:
        return rows
    kept: list[dict[str, Any]] = []
    for group in _groups(rows, step_s):
        chosen = {0, len(group) - 1}
        for column in STATES:
            chosen |= _marks([row[column] for row in group])
        sums = dict.fromkeys(SUMS, 0.0)
        for index, row in enumerate(group):
            sums = {key: sums[key] + row[key] for key in SUMS}
            if index in chosen:
                kept.append({**row, **sums})
                sums = dict.fromkeys(SUMS, 0.0)
    return kept


def _groups(rows: list[dict[str, Any]], step_s: float) -> list[list[dict[str, Any]]]:
    steps: dict[int, list[dict[str, Any]]] = {}
    for row in rows:
        steps.setdefault(int(row["at_utc_s"] // step_s), []).append(row)
    return list(steps.values())


def _marks(values: list[float | None]) -> set[int]:
    """Where a column is lowest and highest, and where it falls silent or speaks again."""
    told = [(value, index) for index, value in enumerate(values) if value is not None]
    found = {min(told)[1], max(told, key=lambda one: one[0])[1]} if told else set()
    for index in range(1, len(values)):
        if (values[index] is None) != (values[index - 1] is None):
            found |= {index - 1, index}
    return found
