"""The virtual garden on a real broker: a stand-in for hardware.

One thread runs the nodes of `plumbing.py` in the scaled time of the clock it is given, over a
connection of its own. When the broker is lost the nodes live on: leases run out, water stops, and
the connection is tried anew. A fault script breaks them; its network fault keeps the connection
away. A clean stop closes all valves and says so.
"""

from __future__ import annotations

import json
import logging
import random
import threading
import time
from pathlib import Path
from types import TracebackType
from typing import IO, TYPE_CHECKING, Self

from controller.connection import Connection, address_of
from controller.errors import LinkError, StoreError
from controller.ports import Clock
from sim.faults import FaultScript
from sim.plumbing import Truth, VirtualGarden, World

if TYPE_CHECKING:
    from controller.garden import Garden

WAIT_S = 0.1  # [s] real, the longest that the thread waits for the network
SHORTEST_WAIT_S = 0.002  # [s] real, so that a fast clock does not spin
READY_S = 5.0  # [s] real, for the broker to let us hear
RETRY_FIRST_S, RETRY_MOST_S = 0.2, 5.0  # [s] real, pause before another attempt
STOP_S = 3.0  # [s] real
GOODBYE_S = 0.5  # [s] real, for the broker to take the last words
ROOM_S = 0.05  # [s] real, for the broker to take what all nodes say at the same instant

_log = logging.getLogger(__name__)


class Bench:
    """All nodes of a garden over one connection.

    Args:
        garden: whose nodes.
        world: the soil, plants and sky.
        clock: the daemon's clock or one anchored alike.
        url: of the broker.
        speed: garden seconds in a real second, 1 or more.
        truth_path: file for the truth, JSON lines; None for none.
        seed: of nonces, boot names and phases.
        faults: what breaks when; of clock, store and controller nothing can be broken from here.

    Raises:
        LinkError: the URL is no good.
        StoreError: the truth file cannot be written.
    """

    def __init__(
        self,
        garden: Garden,
        world: World,
        clock: Clock,
        url: str | None = None,
        *,
        speed: float = 1.0,
        truth_path: Path | None = None,
        seed: int = 1,
        faults: FaultScript | None = None,
    ) -> None:
        self._clock = clock
        self._speed = speed
        self._rng = random.Random(seed)
        address = address_of(garden, url)
        self._address = address.renamed(f"bench-{garden.garden.id}-{self._rng.getrandbits(32):x}")
        self._truth_file = _open_truth(truth_path)
        self.nodes = VirtualGarden(
            garden,
            world,
            seed=seed,
            node_s=clock.mono_s(),
            utc_s=clock.utc_s(),
            truth=self._write_truth,
            faults=faults,
        )
        self._connection: Connection | None = None
        self._retry_real_s = 0.0
        self._pause_s = RETRY_FIRST_S
        self._connected = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._live, name="bench", daemon=True)

    def start(self, wait_s: float = 5.0) -> Self:
        """Begin, and wait at most so long for the first connection [s real]."""
        self._thread.start()
        self._connected.wait(wait_s)
        return self

    def stop(self) -> None:
        """Close all valves, say so, disconnect, and wait at most 3 s."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(STOP_S)

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    @property
    def connected(self) -> bool:
        """Whether the nodes have a broker now."""
        return self._connection is not None

    def _live(self) -> None:
        try:
            while not self._stopping.is_set():
                connection = self._connected_now()
                if connection is None:
                    self._stopping.wait(self._wait_s())
                else:
                    connection.pump(self._wait_s())
                    for topic, payload, retained in connection.take():
                        self.nodes.hear(
                            topic,
                            payload,
                            retained=retained,
                            node_s=self._clock.mono_s(),
                            send=self._send,
                        )
                self.nodes.run_to(self._clock.mono_s(), self._send)
            self._say_goodbye()
        except Exception:  # a stand-in that dies must not die unseen
            _log.exception("the bench fell over")
        finally:
            if self._connection is not None:
                self._connection.close()
            if self._truth_file is not None:
                self._truth_file.close()

    def _wait_s(self) -> float:
        """Work out how long nothing is due [s real]."""
        due_s = (self.nodes.next_due_s() - self._clock.mono_s()) / self._speed
        return min(WAIT_S, max(SHORTEST_WAIT_S, due_s))

    def _connected_now(self) -> Connection | None:
        """Give the connection if it lives; else try for another where that is due."""
        connection, cut = self._connection, self.nodes.breakage.network_down
        if connection is not None and connection.lost is None and not cut:
            return connection
        if connection is not None:
            why = connection.lost or "the fault script cuts the network"
            _log.warning("bench: %s; leases run out", why)
            connection.close()
            self._connection = None
        if cut:
            return None
        if time.monotonic() >= self._retry_real_s:
            self._connect()
            self._retry_real_s = time.monotonic() + self._pause_s
        return self._connection

    def _connect(self) -> None:
        connection = Connection(self._address, [(topic, True) for topic in self.nodes.topics()])
        try:
            connection.open()
            self._wait_ready(connection)
        except LinkError as exc:
            _log.info("bench: %s", exc)
            connection.close()
            self._pause_s = min(2.0 * self._pause_s, RETRY_MOST_S) * self._rng.uniform(0.8, 1.0)
            return
        self._connection = connection
        self._pause_s = RETRY_FIRST_S
        self._connected.set()
        self.nodes.greet(self._send)

    def _wait_ready(self, connection: Connection) -> None:
        until_s = time.monotonic() + READY_S
        while not connection.is_ready():
            connection.pump(WAIT_S)
            self.nodes.run_to(self._clock.mono_s(), self._send)
            if connection.lost is not None or time.monotonic() >= until_s:
                msg = connection.lost or "the broker did not answer in time"
                raise LinkError(msg)

    def _send(self, topic: str, payload: bytes, qos: int) -> None:
        """Send now or never: a node does not keep old words.

        A true node has a connection to itself. All of them share this one, which takes few words
        before the broker has taken in the last: where it is full, it is waited for a moment.
        """
        connection = self._connection
        if connection is None or self.nodes.breakage.network_down:
            return
        until_s = time.monotonic() + ROOM_S
        while not connection.publish(topic, payload, qos=qos):
            if connection.lost is not None or time.monotonic() >= until_s:
                return
            connection.pump(SHORTEST_WAIT_S)

    def _say_goodbye(self) -> None:
        self.nodes.run_to(self._clock.mono_s(), self._send)
        self.nodes.close_all(self._send)
        connection, until_s = self._connection, time.monotonic() + GOODBYE_S
        while connection is not None and not connection.idle() and time.monotonic() < until_s:
            connection.pump(WAIT_S)

    def _write_truth(self, line: Truth) -> None:
        if self._truth_file is not None:
            self._truth_file.write(json.dumps(line) + "\n")
            self._truth_file.flush()


def _open_truth(path: Path | None) -> IO[str] | None:
    if path is None:
        return None
    try:
        return path.open("w", encoding="utf-8")
    except OSError as exc:
        msg = f"the truth file {path} cannot be written: {exc}"
        raise StoreError(msg) from exc
