"""A probe node that sleeps: middle of the samples, one message, and when to wake.

Pure. A probe tells bare counts: what they mean in water stands in the garden file, so that a cable
cut or shorted shows as a count at the rail and is judged by the controller, not here.
"""

SAMPLES = 11  # of each probe at each waking; their median is told
BATTERY_TELLS_MV = 500  # less than this is no battery but an open divider: nothing is told of it
SLEEP_LEAST_MS = 1_000


def median(samples: list) -> int:
    """Give the middle one of an odd number of samples, the lower middle of an even number.

    Raises:
        ValueError: there is none.
    """
    if not samples:
        raise ValueError("no sample")
    return sorted(samples)[(len(samples) - 1) // 2]


class Stamp:
    """`seq` and `boot`, kept through deep sleep in a few bytes.

    Args:
        kept: what was kept; anything else than that begins a new boot.
        fresh_boot: name for a new boot.
    """

    def __init__(self, kept: bytes, fresh_boot: str) -> None:
        self.boot, self.seq = fresh_boot, 0
        parts = bytes(kept).split(b" ")
        if len(parts) == 4 and parts[0] == b"probe" and parts[3] == b"." and parts[2].isdigit():
            self.boot, self.seq = parts[1].decode(), int(parts[2])

    def next(self) -> int:
        """Give the number of the next message."""
        self.seq += 1
        return self.seq

    def keep(self) -> bytes:
        """Give what to keep."""
        return f"probe {self.boot} {self.seq} .".encode()


def message(readings: list, battery_mv: int, stamp: Stamp) -> bytes:
    """Make one message for all probes of the node.

    Args:
        readings: of (name, counts), such as ("shallow", 1893).
        battery_mv: [mV].
        stamp: gives number and boot.
    """
    told = "".join([f'"{name}": {{"raw": {counts}}}, ' for name, counts in readings])
    if battery_mv >= BATTERY_TELLS_MV:
        told += f'"battery_v": {battery_mv // 1000}.{battery_mv % 1000:03d}, '
    return f'{{{told}"seq": {stamp.next()}, "boot": "{stamp.boot}"}}'.encode()


def sleep_ms(every_ms: int, awake_ms: int, battery_mv: int, stop_mv: int) -> int:
    """Work out how long to sleep so that messages come `every_ms` apart [ms].

    On a battery below `stop_mv` six times as long: the controller calls the probe silent, which is
    true, and the cell is not ruined.
    """
    wanted_ms = every_ms if not BATTERY_TELLS_MV <= battery_mv < stop_mv else 6 * every_ms
    return max(SLEEP_LEAST_MS, wanted_ms - awake_ms)
