"""Uptime out of a tick counter that wraps.

The counter of a small port comes round to 0 after 2**30 ms, about 12.4 days. `Uptime` adds up the
steps between looks, so the machines behind it count milliseconds that never wrap. A step of half
the period or more is read as a step back: no time passes, and `went_back` tells that the counter
cannot be trusted over that step; whoever holds something open then closes it. The watchdog sees to
it that two looks are never days apart.
"""

PERIOD_TICKS = 1 << 30


class Uptime:
    """Milliseconds since the first look, never less than before.

    Args:
        ticks: what the counter says now [ms].
        period_ticks: where it wraps.
    """

    def __init__(self, ticks: int, period_ticks: int = PERIOD_TICKS) -> None:
        self._last_ticks = ticks
        self._period_ticks = period_ticks
        self.now_ms = 0
        self.went_back = False

    def update(self, ticks: int) -> int:
        """Take a look at the counter; the uptime [ms]."""
        step_ms = (ticks - self._last_ticks) % self._period_ticks
        self._last_ticks = ticks
        self.went_back = step_ms >= self._period_ticks // 2
        if not self.went_back:
            self.now_ms += step_ms
        return self.now_ms
