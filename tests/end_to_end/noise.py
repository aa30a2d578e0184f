"""Broken messages, and the topics of the example garden to send them to."""

from __future__ import annotations

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
