"""What trials are asked for, and whether it held: a table of verdicts."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

Found = TypeVar("Found")


@dataclass(frozen=True, slots=True, kw_only=True)
class Target(Generic[Found]):
    """One line of a table: what is measured, and what it should be.

    Attributes:
        words: what is measured.
        of: works it out from what was found.
        least_value, most_value: what it should be; a line with neither only tells.
        sure: in which kind of world it is asked; None in both.
        standard_only: whether it is asked on loam at 0.8 m alone.
    """

    words: str
    of: Callable[[Sequence[Found]], float]
    least_value: float = float("-inf")
    most_value: float = float("inf")
    sure: bool | None = None
    standard_only: bool = False

    def holds(self, value: float) -> bool:
        """Whether a value is as it should be; not-a-number is not."""
        return not self.judges or self.least_value <= value <= self.most_value

    @property
    def judges(self) -> bool:
        """Whether anything is asked."""
        return self.least_value > float("-inf") or self.most_value < float("inf")

    @property
    def asked(self) -> str:
        """The target in words."""
        if not self.judges:
            return ""
        if self.least_value == float("-inf"):
            return f"at most {self.most_value:g}"
        if self.most_value == float("inf"):
            return f"at least {self.least_value:g}"
        return f"{self.least_value:g} to {self.most_value:g}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One line of a table for one case, or for all of them."""

    case: str
    words: str
    asked: str
    value: float
    holds: bool


def as_values(found: Iterable[Verdict], case_key: str) -> list[dict[str, Any]]:
    """Verdicts as plain values, as `--json` prints them.

    Args:
        found: verdicts.
        case_key: what a case is called there.
    """
    return [
        {case_key: one.case, "what": one.words, "asked": one.asked, "value": one.value}
        | {"holds": one.holds}
        for one in found
    ]


def as_markdown(found: Sequence[Verdict]) -> str:
    """The table: a line a target, a column a case; what does not hold stands in bold."""
    cases = list(dict.fromkeys(one.case for one in found))
    lines = [f"| | asked | {' | '.join(cases)} |", f"|---|---|{'---:|' * len(cases)}"]
    for words, asked in dict.fromkeys((one.words, one.asked) for one in found):
        cells = {
            one.case: f"{one.value:.3g}" if one.holds else f"**{one.value:.3g}**"
            for one in found
            if (one.words, one.asked) == (words, asked)
        }
        lines.append(f"| {words} | {asked} | {' | '.join(cells.get(c, '') for c in cases)} |")
    return "\n".join(lines)
