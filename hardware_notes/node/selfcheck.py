"""Takes the firmware's valve through the whole list of contract cases, where no test tool runs.

On a desktop `python selfcheck.py`, or with the small interpreter's desktop port; on a board copy
it beside the package with `contract_cases.py`, then `import selfcheck; selfcheck.run()`. No pin is
touched. Each case runs with the tick counter at several places, so that it wraps in the midst of
some.
"""

import gc

from contract_cases import CASES, BrokenError, play
from lease_node.ticks import PERIOD_TICKS, Uptime
from lease_node.valve import Valve

STARTS = (0, PERIOD_TICKS - 61_500, PERIOD_TICKS - 130_000, PERIOD_TICKS // 2 - 70_000)
BOOTED_MS = 61_000
STEP_MOST_MS = 3_600_000


class FirmwareBench:
    """The firmware's valve behind its own clock, which wraps."""

    def __init__(self, start_ticks: int) -> None:
        self._ticks = start_ticks
        self._names = 0
        self._order = (0, 0)
        self._boot()
        self.wait(BOOTED_MS)

    def wait(self, ms: int) -> None:
        """Let time pass; the node looks at least once an hour."""
        while ms > 0:
            step_ms = min(ms, STEP_MOST_MS)
            self._ticks = (self._ticks + step_ms) % PERIOD_TICKS
            ms -= step_ms
            self._look()

    def back(self, ms: int) -> None:
        """Let the counter go back."""
        self._ticks = (self._ticks - ms) % PERIOD_TICKS
        self._look()

    def state(self) -> bytes:
        """Take a state message."""
        return self.valve.state(self._look())

    def hear(self, kind: str, payload: bytes, retained: bool) -> bool:
        """Give it a message."""
        return self.valve.hear(kind, payload, retained, self._look())

    def reboot(self) -> None:
        """Start anew: only the order was kept."""
        self._order = self.valve.order
        self._boot()

    def is_open(self) -> bool:
        """Whether water can pass."""
        return self.valve.is_open

    def has_news(self) -> bool:
        """Whether a state is due."""
        return self.valve.has_news(self._look())

    def _look(self) -> int:
        now_ms = self._uptime.update(self._ticks)
        if self._uptime.went_back:
            self.valve.close(now_ms)
        self.valve.advance(now_ms)
        return now_ms

    def _boot(self) -> None:
        self._uptime = Uptime(self._ticks)
        self.valve = Valve("south", self._name(8), self._name, 0, self._order)

    def _name(self, digits: int) -> str:
        self._names += 1
        return f"{self._names:0{digits}x}"


def run() -> int:
    """Play all; how many failed."""
    failed = 0
    for name, steps in CASES:
        for start in STARTS:
            try:
                play(steps, FirmwareBench(start))
            except BrokenError as exc:
                failed += 1
                print("FAILED", name, "from", start, ":", exc)  # noqa: T201
    print(len(CASES), "cases from", len(STARTS), "starts:", failed, "failed")  # noqa: T201
    if hasattr(gc, "mem_alloc"):
        gc.collect()
        print("heap in use:", gc.mem_alloc(), "bytes")  # noqa: T201
    return failed


if __name__ == "__main__" and run():
    raise SystemExit(1)
