"""Broken messages, and the topics of the example garden to send them to."""

from __future__ import annotations

import random
from collections.abc import Iterator

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
