"""Whether the broker lets a stranger write where only the controller may (B9).

Asked soon after the link is up and once a day: a client without account or password says an empty
word, which no node obeys, on a valve's lease topic. A broker on this board is asked by the board's
own address in the network, as somebody else would. What is found goes to the engine, which calls a
person; watering goes on, since a node opens only on a nonce of its own.
"""

from __future__ import annotations

import logging
import socket
import threading
from collections.abc import Callable
from contextlib import closing
from typing import TYPE_CHECKING

from controller.connection import Address, address_of, stranger_may_write
from controller.errors import LinkError
from controller.events import BrokerRights, Event
from controller.ports import Clock

if TYPE_CHECKING:
    from controller.garden import Garden

FIRST_S = 60.0  # [s] real, after the start
AGAIN_S = 86_400.0
SOON_S = 600.0  # where nobody answered
ELSEWHERE = ("192.0.2.1", 9)  # of a network for documents (RFC 5737): nothing is sent there

_log = logging.getLogger(__name__)


def own_address() -> str | None:
    """This machine's address in its network, None where it has none."""
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as sock:
        try:
            sock.connect(ELSEWHERE)
        except OSError:
            return None
        return str(sock.getsockname()[0])


class StrangerWatch:
    """Tries the broker's door from time to time, in a thread of its own.

    Args:
        garden: its broker and its valves' topics.
        clock: of the events.
        deliver: called with what was found.
        address: of this machine in its network; asked where the broker is on this machine.
    """

    def __init__(
        self,
        garden: Garden,
        clock: Clock,
        deliver: Callable[[Event], None],
        *,
        address: Callable[[], str | None] = own_address,
    ) -> None:
        self._garden, self._clock, self._deliver = garden, clock, deliver
        self._own_address = address
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._live, name="stranger", daemon=True)

    def start(self) -> None:
        """Begin; a builtin broker is for trials and is not asked."""
        if not self._garden.broker.builtin and self._garden.valves:
            self._thread.start()

    def stop(self) -> None:
        """End; nobody waits for a try that is under way."""
        self._stopping.set()

    def _live(self) -> None:
        wait_s = FIRST_S
        while not self._stopping.wait(wait_s):
            wait_s = AGAIN_S if self.ask() is not None else SOON_S

    def ask(self) -> bool | None:
        """Try it once and tell; None where nobody knows."""
        try:
            found = self._asked(address_of(self._garden))
        except (LinkError, OSError) as exc:
            _log.info("whether strangers may write could not be asked: %s", exc)
            return None
        at_utc_s, mono_s = self._clock.utc_s(), self._clock.mono_s()
        self._deliver(BrokerRights(at_utc_s=at_utc_s, mono_s=mono_s, open=found))
        return found

    def _asked(self, broker: Address) -> bool:
        host: str | None = broker.host
        if self._garden.broker.on_loopback:
            host = self._own_address()
        if host is None:
            return False  # no network, no stranger
        topic = self._garden.topic("lease", min(self._garden.valves))
        return stranger_may_write(host, broker.port, topic)
