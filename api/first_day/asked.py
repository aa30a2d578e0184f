"""What a question of the first day is, and what is known when it comes up.

Where the grower chose US units, a question that has `us` is asked in those words; what is kept is
metric all the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from api.first_day import amounts, reading
from api.first_day.hearing import Heard

US, METRIC = "us", "metric"


@dataclass(frozen=True, slots=True, kw_only=True)
class Here:
    """What the machine knows by itself.

    Attributes:
        today: the local day.
        zone: its time zone, `UTC` where it has none.
        towns_deg: latitude and longitude of the town that a time zone is named for, by zone.
        host: its name in the house's network.
        us_zones: the time zones of the United States.
    """

    today: date
    zone: str = "UTC"
    towns_deg: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    host: str = "thirstline"
    us_zones: frozenset[str] = frozenset()


@dataclass(slots=True)
class Sofar:
    """What is known when a question comes up: `garden` and `bed` hold answers by key."""

    here: Here
    heard: Heard
    garden: dict[str, Any] = field(default_factory=dict)
    bed: dict[str, Any] = field(default_factory=dict)
    before: dict[str, Any] = field(default_factory=dict)

    @property
    def us(self) -> bool:
        """Whether the grower thinks in gallons, inches and feet."""
        return bool(self.garden.get("units") == US)


@dataclass(frozen=True, slots=True, kw_only=True)
class InUS:
    """A question in US units.

    Attributes:
        words: the question.
        unit: what a bare number is in.
        metric: the metric unit of the answer, a key of `amounts.UNITS`.
        effect: what the answer changes, one line; empty: as in metric units.
    """

    words: str
    unit: str
    metric: str
    effect: str = ""

    def shown(self, metric_text: str) -> str:
        """A metric default in this unit; a word stays one."""
        told = amounts.typed(metric_text, self.metric)
        if told is None or told.unit:
            return metric_text
        return amounts.said(float(told.number), self.metric, self.unit)

    def taken(self, text: str) -> str:
        """What was typed, a bare number with its unit behind it."""
        return amounts.with_unit(text, self.metric, self.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question.

    Attributes:
        key: by which it is answered in a script.
        words: the question.
        effect: what the answer changes, one line.
        read: from text to value.
        default: the answer that an empty line stands for, as text.
        asked: whether people are asked; else only a script's answer is heard.
        fits: whether a value fits the answers so far; a sentence where not.
        us: how it is asked in US units; None: alike.
    """

    key: str
    words: str
    effect: str
    read: reading.Reader
    default: Callable[[Sofar], str]
    asked: bool = True
    fits: Callable[[Sofar, Any], str | None] = lambda sofar, value: None
    us: InUS | None = None

    def spoken(self, sofar: Sofar) -> Question:
        """The question in the words of this grower's units."""
        if self.us is None or not sofar.us:
            return self
        return replace(self, words=self.us.words, effect=self.us.effect or self.effect)
