"""Play a script, say what broke, and cut a script that breaks something down to what it takes."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from controller.events import OrderKind
from controller.watering import guard
from controller.watering.limits import Verdict
from tests.scripts.life import Life
from tests.scripts.oracle import BrokenError
from tests.scripts.script import CALM_S, Script, Step
from tests.scripts.seen import Seen

RUNS_MOST = 400  # of a script that is cut down


@dataclass(frozen=True, slots=True, kw_only=True)
class Broke:
    """What a script broke, when, and where in the code if it was no invariant."""

    what: str
    at_s: float
    trace: str = ""

    @property
    def code(self) -> str:
        """Which invariant, or `crash`."""
        return self.what.split(":", 1)[0]


def play(script: Script, seen: Seen | None = None) -> Broke | None:
    """Play a script to its end and an hour of calm; None where nothing broke."""
    seen = seen or Seen()
    life, real = Life(script, seen), guard.permit

    def counted(*asked: Any) -> Verdict:
        verdict = real(*asked)
        if verdict.refused is not None:
            seen.one("refusal", str(verdict.refused))
        return verdict

    guard.permit = counted
    try:
        life.start()
        for step in script.steps:
            life.at(step[0], _arm, life, step)
        life.live(script.span_s)
        _end(life)
    except BrokenError as exc:
        return Broke(what=str(exc), at_s=life.now_s)
    except AssertionError as exc:
        return Broke(what=str(exc) or "assert", at_s=life.now_s, trace=traceback.format_exc())
    except Exception as exc:  # whatever the engine raises is a find
        what = f"I15: {type(exc).__name__}: {exc}"
        return Broke(what=what, at_s=life.now_s, trace=traceback.format_exc())
    finally:
        guard.permit = real
    return None


def _arm(life: Life, step: Step) -> None:
    _, wait, delay_s, *what = step
    if not wait:
        life.at(life.now_s + delay_s, life.script.play, life, what)
    else:
        life.armed.setdefault(wait, []).append((delay_s, what))


def _end(life: Life) -> None:
    """Everything is mended and closed, and an hour passes."""
    life.agenda = [one for one in life.agenda if getattr(one[2], "__name__", "") == "_late"]
    life.agenda.sort()
    life.armed.clear()
    life.mend_all()
    if not life.power:
        life.wake("kill")
    life.feed(life.order_event(OrderKind.STOP_ALL))
    life.feed(life.order_event(OrderKind.LOCK, why="the end"))
    life.live(life.script.span_s + CALM_S)
    life.record.flush()
    life.oracle.at_the_end()


def cut_down(script: Script, broke: Broke, still: Callable[[Script], Broke | None]) -> Script:
    """Leave out steps as long as the same invariant breaks: delta debugging, then one by one."""
    steps, size, runs = list(script.steps), max(1, len(script.steps) // 2), 0
    while size >= 1 and runs < RUNS_MOST:
        left_out = False
        at = 0
        while at < len(steps) and runs < RUNS_MOST:
            fewer = steps[:at] + steps[at + size :]
            runs += 1
            found = still(script.with_steps(fewer))
            if found is not None and found.code == broke.code:
                steps, left_out = fewer, True
            else:
                at += size
        if size == 1 and not left_out:
            break
        size = max(1, size // 2) if not left_out or size > 1 else 1
    return script.with_steps(steps)
