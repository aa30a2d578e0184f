"""The protocol at the daemon's edge that tests and trials stand in for: time."""

from __future__ import annotations

from typing import Protocol


class Clock(Protocol):
    """Time for link, daemon and virtual garden: scaled in trials, real otherwise."""

    def utc_s(self) -> float:
        """Unix seconds, UTC."""

    def mono_s(self) -> float:
        """Seconds of a clock that never jumps; restarts with the process."""
