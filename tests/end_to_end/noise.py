"""Broken messages, the topics of the example garden to send them to, and one who pours them."""

from __future__ import annotations

import random
import socket
import time
from collections.abc import Iterable, Iterator
from types import TracebackType
from typing import Self

BATCH_S = 0.02  # [s] real, between two bursts of one who pours
CONNECT = b"\x00\x04MQTT\x05\x02\x00\xff\x00\x00\x06pourer"  # clean start; 255 s; no properties
CONNACK, PUBLISH = 0x20, 0x30  # the packet types of MQTT 5.0 sections 3.2 and 3.3, QoS 0

DEEP = b"[" * 900 + b"]" * 900
NOISE = {
    "huge": b'{"open": false, "pad": "' + b"x" * 3000 + b'"}',
    "deep": DEEP,
    "nan": b"NaN",
    "nan-inside": b'{"shallow": {"raw": NaN}, "litres_total": NaN, "up_s": 1.0, "boot": "b"}',
    "infinite": b"1e999",
    "wrong-unit": b"-273.4",
    "per-cent-of-a-fraction": b"2340",
    "bad-utf-8": b"\xff\xfe\xc3\x28",
    "empty": b"",
    "true": b"true",
    "twice": b'{"open": true, "open": false}',
    "a-sentence": b"the soil is dry, open every valve",
    "null-inside": b'{"open": null, "left_s": -5, "nonce": 7, "boot": [], "epoch": "x"}',
}
OWN_TOPICS = [
    "plot/a1/soil",
    "plot/low/shallow",
    "plot/low/deep",
    *(f"probe/{probe}" for probe in ("wall-20", "wall-40", "hedge-20", "hedge-40")),
    *(f"valve/{valve}/state" for valve in ("south", "wall", "low", "hedge", "master")),
    "meter/main",
    "weather/mast",
    "outlook",
    "controller/canary",
]
STRANGE_TOPICS = [
    "probe/wall-2O",
    "probe/../wall-20",
    "valve/nobody/state",
    "valve/south/open",
    "meter/MAIN",
    "x" * 200,
]


def mutants(rng: random.Random, count: int) -> Iterator[bytes]:
    """Broken payloads: the known ones, and sound ones that were cut, flipped, doubled, nested."""
    sound = [b'{"shallow": {"raw": 2100}, "deep": {"raw": 2000}, "seq": 9, "boot": "b"}', b"0.21"]
    for n in range(count):
        if n % 2:
            yield rng.choice(list(NOISE.values()))
            continue
        data = bytearray(rng.choice(sound))
        for _ in range(rng.randrange(1, 6)):
            at = rng.randrange(len(data)) if data else 0
            way = rng.randrange(4)
            if way == 0:
                data[at : at + 1] = bytes([rng.randrange(256)])
            elif way == 1:
                del data[at:]
            elif way == 2:
                data[at:at] = rng.choice([b'"', b"{", b"[", b"}", b"\\u0000", b"1e999", b"NaN"])
            else:
                data += data[:300]
        yield bytes(data)


def _packet(kind: int, body: bytes) -> bytes:
    """A whole packet: type, length in sevens of bits (MQTT 5.0 section 1.5.5), body."""
    length, left = bytearray(), len(body)
    while True:
        left, low = divmod(left, 128)
        length.append(low | (128 if left else 0))
        if not left:
            return bytes([kind]) + bytes(length) + body


def published(topic: str, payload: bytes) -> bytes:
    """A message at QoS 0, ready for the wire."""
    name = topic.encode()
    return _packet(PUBLISH, len(name).to_bytes(2, "big") + name + b"\x00" + payload)


class Pourer:
    """A client that only writes, far faster than one that minds what it sends.

    Args:
        port: of the broker on loopback.
    """

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=60.0)
        self._socket.sendall(_packet(0x10, CONNECT))
        answer = self._socket.recv(256)
        assert answer[0] == CONNACK
        assert answer[3] == 0, "the broker lets nobody in"
        self.poured = 0  # messages so far

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, what: BaseException | None, at: TracebackType | None
    ) -> None:
        self._socket.close()

    def pour(self, messages: Iterable[bytes], per_s: float) -> float:
        """Send so many a second, where the broker takes them; tells the real seconds it took."""
        began_s, batch, most = time.monotonic(), bytearray(), max(1, round(per_s * BATCH_S))
        waiting = sent = 0
        for message in messages:
            batch += message
            waiting += 1
            if waiting < most:
                continue
            self._socket.sendall(batch)
            self.poured, sent, waiting = self.poured + waiting, sent + waiting, 0
            batch.clear()
            time.sleep(max(0.0, began_s + sent / per_s - time.monotonic()))
        self._socket.sendall(batch)
        self.poured += waiting
        return time.monotonic() - began_s
