"""The highest (epoch, seq) of each valve, kept over a reboot in two files with a checksum.

It is written once when an epoch begins and once at the end of each opening: a few writes a day. A
cut in the middle of a write leaves the other file whole. What cannot be read counts as nothing
kept; the nonces, which are never kept, still refuse whatever was sent before the boot.
"""

from binascii import crc32

SLOTS = ("order.a", "order.b")


def pack(turn: int, orders: dict) -> bytes:
    """Make one line of it, checksum first."""
    body = " ".join([str(turn)] + [f"{v}={e}.{s}" for v, (e, s) in sorted(orders.items())])
    return f"{crc32(body.encode()) & 0xFFFFFFFF:08x} {body}".encode()


def unpack(data: bytes) -> tuple:
    """Read a line: (turn, orders); (0, {}) where it is not whole."""
    try:
        text = data.decode()
        sum_, body = text[:8], text[9:]
        if text[8:9] != " " or sum_ != f"{crc32(body.encode()) & 0xFFFFFFFF:08x}":
            return 0, {}
        parts = body.split(" ")
        orders = {}
        for part in parts[1:]:
            valve, order = part.split("=")
            epoch, seq = order.split(".")
            orders[valve] = (int(epoch), int(seq))
        return int(parts[0]), orders
    except (ValueError, IndexError):
        return 0, {}


class Kept:
    """The two files.

    Args:
        folder: where they lie.
    """

    def __init__(self, folder: str) -> None:
        self._folder = folder
        self._turn, self.orders = max((self._read(slot) for slot in SLOTS), key=_turn_of)

    def save(self, orders: dict) -> bool:
        """Write what has changed; whether it could be written."""
        if orders == self.orders:
            return True
        turn = self._turn + 1
        try:
            with open(self._path(SLOTS[turn % 2]), "wb") as file:
                file.write(pack(turn, orders))
        except OSError:
            return False
        self._turn, self.orders = turn, dict(orders)
        return True

    def _read(self, slot: str) -> tuple:
        try:
            with open(self._path(slot), "rb") as file:
                return unpack(file.read())
        except OSError:
            return 0, {}

    def _path(self, slot: str) -> str:
        return f"{self._folder}/{slot}"


def _turn_of(read: tuple) -> int:
    return read[0]
