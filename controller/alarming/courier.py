"""One way's own thread: it sends what waits, and tries again with growing pauses.

A way that hangs past its limit is given up on and left to end by itself; until it has, nothing more
is asked of it, so a way never holds more than one thread.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence

from controller.alarming.letters import Message, merged
from controller.alarming.ways import Delivery, Way
from controller.ports import Clock

log = logging.getLogger(__name__)

PAUSES_S = (30.0, 120.0, 600.0, 1800.0)  # [s] garden time, after the first failure, the second …
WHOLE_S = 45.0  # [s] real, for one message by one way
ALARMS_AFTER = 2  # failures in a row before the way itself is an alarm
LOOK_S = 5.0  # [s] real, between looks at what waits
HANGS = Delivery(out=False, cause=f"no end within {WHOLE_S:.0f} s")


class Courier:
    """Sends one way's messages.

    Args:
        way: the way.
        clock: for the pauses between tries.
        waiting: gives what waits, in order.
        done: takes the ids that were tried, what became of them, and whether that is an alarm.
    """

    def __init__(
        self,
        way: Way,
        clock: Clock,
        waiting: Callable[[], Sequence[Message]],
        done: Callable[[set[str], Delivery, bool], None],
    ) -> None:
        self.way = way
        self._clock = clock
        self._waiting = waiting
        self._done = done
        self._failures = 0
        self._next_mono_s = float("-inf")
        self._sender: threading.Thread | None = None
        self._sending = threading.Lock()
        self._wake = threading.Event()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._live, name=f"alarm {way.name}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, wait_s: float) -> None:
        """End; what is under way may take so long [s, real], then it is left to itself."""
        self._ending.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(wait_s)

    def wake(self) -> None:
        """Something waits."""
        self._wake.set()

    def try_waiting(self) -> bool:
        """Send all that waits as one message, if it is time; tells whether it was tried."""
        messages = list(self._waiting())
        if not messages or self._clock.mono_s() < self._next_mono_s:
            return False
        delivery = self.deliver(merged(messages))
        self._count({message.id for message in messages}, delivery)
        return True

    def test(self, message: Message) -> Delivery:
        """Send a test now; a good one lets go out what waits, too."""
        delivery = self.deliver(message)
        self._count(set(), delivery)
        return delivery

    def deliver(self, message: Message) -> Delivery:
        """Send one message within the limit; one at a time."""
        if not self._sending.acquire(timeout=WHOLE_S):
            return HANGS
        try:
            if self._sender is not None and self._sender.is_alive():
                return HANGS
            found: list[Delivery] = []
            self._sender = threading.Thread(
                target=lambda: found.append(self._send(message)),
                name=f"sending by {self.way.name}",
                daemon=True,
            )
            self._sender.start()
            self._sender.join(WHOLE_S)
            return found[0] if found else HANGS
        finally:
            self._sending.release()

    def _send(self, message: Message) -> Delivery:
        try:
            return self.way.send(message)
        except Exception as exc:
            # its text may hold what was sent
            log.error("alarm by %s: %s", self.way.name, type(exc).__name__)  # noqa: TRY400
            return Delivery(out=False, cause="a fault of our own; see the log")

    def _count(self, ids: set[str], delivery: Delivery) -> None:
        if delivery.out:
            self._failures, self._next_mono_s = 0, float("-inf")
        else:
            pause_s = PAUSES_S[min(self._failures, len(PAUSES_S) - 1)]
            self._failures += 1
            self._next_mono_s = self._clock.mono_s() + pause_s
        if delivery.cause:
            log.warning("alarm by %s: %s", self.way.name, delivery.cause)
        alarms = delivery.lasting or self._failures >= ALARMS_AFTER
        self._done(ids, delivery, bool(delivery.cause) and alarms)
        if delivery.out:
            self._wake.set()

    def _live(self) -> None:
        while not self._ending.is_set():
            self._wake.wait(LOOK_S)
            self._wake.clear()
            try:
                while not self._ending.is_set() and self.try_waiting():
                    pass
            except Exception as exc:
                # its text may hold what was to be sent
                log.error("alarm by %s: %s", self.way.name, type(exc).__name__)  # noqa: TRY400
