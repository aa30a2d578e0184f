"""The way between daemon and nodes of a soak in one process: the link's own parts, no broker.

What the nodes say goes through the real inbox; leases carry its nonces; closes are repeated by the
real `Closing`. Words are delivered when the driver says so, never in the middle of a step.
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Sequence

from controller.closing import Closing
from controller.effects import Alert, Close, Lease
from controller.events import Event, ValveReport
from controller.garden import Garden
from controller.inbox import Inbox, LinkCounters
from controller.ports import Clock


class Air:
    """Stands where the MQTT link stands.

    Args:
        garden: whose topics.
        clock: the daemon's.
    """

    def __init__(self, garden: Garden, clock: Clock) -> None:
        self.online = False
        self.words: deque[tuple[str, bytes]] = deque()  # on their way to the nodes
        self.alerts: tuple[Alert, ...] = ()
        self._garden, self._clock = garden, clock
        self._inbox, self._closing = Inbox(garden), Closing()

    @property
    def counters(self) -> LinkCounters:
        """What came in since this process began."""
        return self._inbox.counters

    def is_working(self) -> bool:
        """It is."""
        return True

    def start(self) -> None:
        """Nothing to do."""

    def stop(self) -> None:
        """Nothing to do."""

    def announce(self, epoch: int) -> None:
        """Nobody else is there."""

    def publish_alerts(self, alerts: Sequence[Alert]) -> None:
        """Keep them."""
        self.alerts = tuple(alerts)

    def turn(self, *, online: bool) -> None:
        """The link comes up or is lost."""
        self.online = online
        if online:
            self._closing.again()
        else:
            self._inbox.forget_all()
            self.words.clear()

    def hear(self, topic: str, payload: bytes) -> list[Event]:
        """What a node's word means."""
        found: list[Event] = []
        for one in self._inbox.hear(
            topic,
            payload,
            retained=False,
            at_utc_s=self._clock.utc_s(),
            mono_s=self._clock.mono_s(),
        ):
            if isinstance(one, ValveReport):
                self._closing.confirm(one)
            found.append(one)  # type: ignore[arg-type]
        return found

    def send_lease(self, lease: Lease) -> bool:
        """Once, with the node's latest nonce."""
        mono_s = self._clock.mono_s()
        nonce = self._inbox.nonces.fresh(lease.valve, mono_s=mono_s)
        if not self.online or nonce is None or self._closing.pending(lease.valve, mono_s=mono_s):
            return False
        told = {"open_s": lease.open_s, "dose": lease.dose, "epoch": lease.epoch, "seq": lease.seq}
        payload = json.dumps({**told, "nonce": nonce}).encode()
        self.words.append((self._garden.topic("lease", lease.valve), payload))
        self._closing.leased(lease, mono_s=mono_s)
        self._inbox.forget(lease.valve)
        return True

    def send_close(self, close: Close) -> None:
        """Until it is confirmed."""
        self._closing.want(close, mono_s=self._clock.mono_s())
        self._inbox.nonces.burn(close.valve)
        self._inbox.forget(close.valve)
        self.repeat_closes()

    def close_all(self) -> None:
        """Every valve."""
        for valve in sorted(self._garden.valves):
            self.send_close(Close(valve=valve))

    def repeat_closes(self) -> None:
        """What is due."""
        mono_s = self._clock.mono_s()
        if not self._closing.waits or not self.online:
            return
        for close in self._closing.due(mono_s=mono_s, real_s=mono_s):
            told = json.dumps({"dose": close.dose}).encode() if close.dose else b""
            self.words.append((self._garden.topic("close", close.valve), told))
            self._closing.tried(close.valve, sent=True, mono_s=mono_s, real_s=mono_s)
