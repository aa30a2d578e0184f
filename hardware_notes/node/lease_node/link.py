"""A session over a socket that never makes the node wait.

Connecting, sending and hearing all return at once, so that a lease ends in time whatever the
network does. After a loss it tries again with growing pauses, unevenly, so that nodes do not all
come at once. The broker's address is numeric: looking up a name would wait.
"""

import select
import socket

from lease_node.mqtt5 import MqttError

FIRST_PAUSE_MS, MOST_PAUSE_MS = 500, 30_000
CONNECT_MS = 10_000
CHUNK = 1024  # [bytes] taken in one step, so that a flood cannot hold the node up
IN_PROGRESS = (11, 36, 115, 119)  # try again, or under way, by the codes of different ports


class Link:
    """One node's way to the broker.

    Args:
        address: (numeric host, port).
        make_session: makes a `Session` from the uptime.
        random_byte: gives 0 to 255, for uneven pauses.
    """

    def __init__(self, address: tuple, make_session: object, random_byte: object) -> None:
        self.session = None
        self.why_lost = ""
        self._address = socket.getaddrinfo(address[0], address[1], 0, socket.SOCK_STREAM)[0][-1]
        self._make_session = make_session
        self._random_byte = random_byte
        self._socket = None
        self._connected = False
        self._begun_ms = 0
        self._again_ms = 0
        self._pause_ms = FIRST_PAUSE_MS

    @property
    def is_ready(self) -> bool:
        """Whether the broker lets us speak and hear."""
        return self.session is not None and self.session.is_ready

    def step(self, now_ms: int) -> list:
        """Do what can be done at once; what was heard, as (topic, payload, retained)."""
        try:
            if self._socket is None:
                if now_ms >= self._again_ms:
                    self._begin(now_ms)
                return []
            if not self._connected and not self._is_writable(now_ms):
                return []
            self._flush()
            self.session.feed(self._received(), now_ms)
            self.session.keep_alive(now_ms)
            self._flush()
        except (OSError, MqttError) as exc:
            self._lose(now_ms, str(exc))
            return []
        heard, self.session.messages = self.session.messages, []
        return heard

    def publish(self, topic: str, payload: bytes, qos: int) -> bool:
        """Send now or never: whether it is on its way."""
        if self.session is None or not self.session.can_publish:
            return False
        try:
            self.session.publish(topic, payload, qos)
            self._flush()
        except (OSError, MqttError):
            return False  # the next step finds the same and starts anew
        return True

    def close(self) -> None:
        """Leave the broker."""
        if self.session is not None and self.session.is_ready:
            try:
                self.session.leave()
                self._flush()
            except (OSError, MqttError):
                pass
        self._drop()

    def _begin(self, now_ms: int) -> None:
        self._begun_ms, self._connected = now_ms, False
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        self._socket.setblocking(False)
        try:
            self._socket.connect(self._address)
        except OSError as exc:
            if exc.args[0] not in IN_PROGRESS:
                raise

    def _is_writable(self, now_ms: int) -> bool:
        poll = select.poll()
        poll.register(self._socket, select.POLLOUT)
        found = poll.poll(0)
        if not found:
            if now_ms - self._begun_ms >= CONNECT_MS:
                raise MqttError("no broker answers")
            return False
        if found[0][1] & (select.POLLERR | select.POLLHUP):
            raise MqttError("no broker there")
        self._connected = True
        self.session = self._make_session(now_ms)
        return True

    def _flush(self) -> None:
        session = self.session
        while session.out:
            try:
                sent = self._socket.send(bytes(session.out[:CHUNK]))
            except OSError as exc:
                if exc.args[0] in IN_PROGRESS:
                    return
                raise
            if not sent:
                return
            session.out = session.out[sent:]

    def _received(self) -> bytes:
        try:
            data = self._socket.recv(CHUNK)
        except OSError as exc:
            if exc.args[0] in IN_PROGRESS:
                return b""
            raise
        if data == b"":
            raise MqttError("the broker hung up")
        if self.session.is_ready:
            self._pause_ms = FIRST_PAUSE_MS
        return data or b""

    def _lose(self, now_ms: int, why: str) -> None:
        self.why_lost = why
        self._drop()
        self._again_ms = now_ms + self._pause_ms * (192 + self._random_byte() // 2) // 256
        self._pause_ms = min(2 * self._pause_ms, MOST_PAUSE_MS)

    def _drop(self) -> None:
        if self._socket is not None:
            self._socket.close()
        self._socket = self.session = None
