"""A hostile script: plain data that can be printed, kept, cut down and played again.

A step is a list `[at_s, wait_for, delay_s, what, ...]`. From `at_s` on it waits for the next
`wait_for` ("" for nothing, else `opened`, `closed`, `started`), then `delay_s` more, and is played.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.scripts.acts import ACTS

if TYPE_CHECKING:
    from tests.scripts.life import Life

Step = list[Any]
CALM_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Script:
    """One script.

    Attributes:
        seed: it was drawn from; also of the network's lots.
        garden: one of `gardens.KINDS`.
        start: one of `gardens.STARTS`.
        span_s: how long it lasts [s].
        tick_s: the engine's pace while water is near [s].
        theme: what it was drawn for.
        steps: in any order.
    """

    seed: int
    garden: str
    start: str
    span_s: float
    tick_s: float
    theme: str
    steps: tuple[Step, ...]

    def play(self, life: Life, step: Step) -> None:
        """Do what a step says."""
        life.seen.one("step", step[0])
        ACTS[step[0]](life, *step[1:])

    def with_steps(self, steps: list[Step]) -> Script:
        """The same with other steps."""
        return replace(self, steps=tuple(steps))

    def to_json(self) -> str:
        """One step a line."""
        head = {
            "seed": self.seed,
            "garden": self.garden,
            "start": self.start,
            "span_s": self.span_s,
            "tick_s": self.tick_s,
            "theme": self.theme,
        }
        lines = ",\n  ".join(json.dumps(step) for step in self.steps)
        return json.dumps(head)[:-1] + f',\n "steps": [\n  {lines}\n ]}}\n'

    @staticmethod
    def from_json(text: str) -> Script:
        """Read what `to_json` wrote; other keys are remarks."""
        told = json.loads(text)
        names = ("seed", "garden", "start", "span_s", "tick_s", "theme")
        return Script(**{name: told[name] for name in names}, steps=tuple(told["steps"]))


def kept(folder: Path) -> dict[str, Script]:
    """All kept scripts of a folder, by name."""
    return {
        path.stem: Script.from_json(path.read_text(encoding="utf-8"))
        for path in sorted(folder.glob("*.json"))
    }
