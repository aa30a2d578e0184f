"""The few packets of MQTT 5 that a node needs, as bytes in and bytes out.

Pure: `feed` takes what arrived, `out` holds what is to be sent, `messages` what was told to us.
QoS 0 and 1; nothing outlives a connection, so nothing is sent twice; a broker that says more than
`MOST` bytes at once, or anything unexpected, ends the connection. Numbers of packets and codes:
OASIS MQTT 5.0, from memory, tried against a broker.
"""

MOST = 4096  # [bytes] of one packet; also told to the broker as the most we take
OUT_MOST = 4096  # [bytes] waiting to be sent; more means that the link is dead
IN_FLIGHT_MOST = 8
KEEPALIVE_S = 10
KEPT_ALIVE_MS = 5_000  # silence after which we ask
LOST_MS = 15_000  # silence after which the connection is given up
RETAINED_NEVER_AS_TOLD = 0x28  # no kept message at subscribing; the flag as it was told


class MqttError(Exception):
    """The connection is of no use any more."""


class Session:
    """One connection, from its first byte.

    Args:
        client_id: of this node, of no other.
        user: name at the broker; empty for none.
        password: its word.
        topics: of (topic, QoS) to hear.
        now_ms: uptime [ms].
    """

    def __init__(self, client_id: str, user: str, password: str, topics: list, now_ms: int) -> None:
        self.out = bytearray()
        self.messages = []  # of (topic, payload, retained)
        self.is_ready = False
        self.in_flight = 0
        self._topics = topics
        self._in = bytearray()
        self._next_id = 1
        self._heard_ms = self._said_ms = now_ms
        self._connect(client_id, user, password)

    @property
    def can_publish(self) -> bool:
        """Whether one more message may be on its way."""
        return self.is_ready and self.in_flight < IN_FLIGHT_MOST

    def publish(self, topic: str, payload: bytes, qos: int) -> None:
        """Send a message: QoS 0 or 1.

        Raises:
            MqttError: too much waits already.
        """
        body = _text(topic)
        if qos:
            body += self._fresh_id()
            self.in_flight += 1
        self._send(0x30 | qos << 1, body + b"\0" + payload)

    def feed(self, data: bytes, now_ms: int) -> None:
        """Take bytes as they arrived.

        Raises:
            MqttError: they make no sense, or the broker refuses us.
        """
        if data:
            self._heard_ms = now_ms
            self._in.extend(data)
        while True:
            length, begin = _length(self._in, 1)
            if length > MOST:
                raise MqttError("a packet is too large")
            if begin == 0 or len(self._in) < begin + length:
                return
            first, body = self._in[0], bytes(self._in[begin : begin + length])
            self._in = self._in[begin + length :]
            try:
                self._packet(first, body)
            except (IndexError, ValueError):
                raise MqttError("a packet that cannot be read") from None

    def keep_alive(self, now_ms: int) -> None:
        """Ask whether the broker is there when it has been silent for a while.

        Raises:
            MqttError: it did not answer.
        """
        if now_ms - self._heard_ms >= LOST_MS:
            raise MqttError("the broker is silent")
        quiet_ms = now_ms - max(self._heard_ms, self._said_ms)
        if self.is_ready and quiet_ms >= KEPT_ALIVE_MS:
            self._send(0xC0, b"")
            self._said_ms = now_ms

    def leave(self) -> None:
        """Say goodbye."""
        self._send(0xE0, b"")

    def _connect(self, client_id: str, user: str, password: str) -> None:
        flags = 0x02 | (0x80 if user else 0) | (0x40 if password else 0)
        body = _text("MQTT") + bytes((5, flags, 0, KEEPALIVE_S))
        body += b"\x08\x27" + MOST.to_bytes(4, "big") + b"\x21\0" + bytes((IN_FLIGHT_MOST,))
        body += _text(client_id)
        body += (_text(user) if user else b"") + (_text(password) if password else b"")
        self._send(0x10, body)

    def _packet(self, first: int, body: bytes) -> None:
        kind = first >> 4
        if kind == 3:
            self._message(first, body)
        elif kind == 2:
            if body[1] != 0:
                raise MqttError(f"the broker refuses us: {body[1]:#x}")
            self._subscribe()
        elif kind == 9:
            count = len(self._topics)
            if max(body[-count:]) >= 0x80:
                raise MqttError("the broker lets us not hear")
            self.is_ready = True
        elif kind == 4:
            self.in_flight = max(0, self.in_flight - 1)
        elif kind != 13:
            raise MqttError(f"packet {kind} is not for us")

    def _subscribe(self) -> None:
        if not self._topics:
            self.is_ready = True
            return
        body = self._fresh_id() + b"\0"
        for topic, qos in self._topics:
            body += _text(topic) + bytes((RETAINED_NEVER_AS_TOLD | qos,))
        self._send(0x82, body)

    def _message(self, first: int, body: bytes) -> None:
        qos = first >> 1 & 3
        end = 2 + (body[0] << 8 | body[1])
        topic = body[2:end].decode()
        if qos > 1 or end > len(body):
            raise MqttError("a message that we did not ask for")
        if qos:
            self._send(0x40, body[end : end + 2])
            end += 2
        length, begin = _length(body, end)
        if begin == 0 or begin + length > len(body):
            raise MqttError("a message cut short")
        self.messages.append((topic, body[begin + length :], bool(first & 1)))

    def _fresh_id(self) -> bytes:
        self._next_id = self._next_id % 0xFFFF + 1
        return self._next_id.to_bytes(2, "big")

    def _send(self, first: int, body: bytes) -> None:
        length = len(body)
        if len(self.out) + length > OUT_MOST:
            raise MqttError("the broker takes nothing")
        self.out.append(first)
        while True:
            self.out.append(length & 0x7F | (0x80 if length > 0x7F else 0))
            length >>= 7
            if not length:
                break
        self.out.extend(body)


def _text(text: str) -> bytes:
    data = text.encode()
    return len(data).to_bytes(2, "big") + data


def _length(data: bytes, at: int) -> tuple:
    """Read a length of one to four bytes: (length, its end); (0, 0) where it is not all there.

    Raises:
        MqttError: it has more than four bytes.
    """
    length = shift = 0
    while at < len(data):
        byte = data[at]
        at += 1
        length |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            return length, at
        if shift > 21:
            raise MqttError("a length without end")
    return 0, 0
