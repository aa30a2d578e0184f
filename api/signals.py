"""What the service manager and Ctrl-C ask of a process that keeps a garden."""

from __future__ import annotations

import signal
import threading
from types import FrameType


class Signals:
    """SIGTERM and Ctrl-C end, SIGHUP reloads; set in the main thread."""

    def __init__(self) -> None:
        self.ended = threading.Event()
        self.reload = threading.Event()
        signal.signal(signal.SIGTERM, self._end)
        signal.signal(signal.SIGINT, self._end)
        signal.signal(signal.SIGHUP, self._reload)

    def _end(self, number: int, frame: FrameType | None) -> None:
        del number, frame
        self.ended.set()

    def _reload(self, number: int, frame: FrameType | None) -> None:
        del number, frame
        self.reload.set()

    def wait(self, seconds: float) -> bool:
        """Wait at most so long; True once it is time to end."""
        return self.ended.wait(seconds)
