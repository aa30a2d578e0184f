"""A board without hardware, for CPython and for the interpreter's desktop port.

Its valves pass water into nothing at a set flow, its meter counts it, and each change is written
down as a line of truth. `python -m lease_node.desk HOST PORT ROOT SPEED FOLDER TRUTH`, started
beside the package, runs five valves and a meter on a broker until it is killed.
"""

import os
import sys
import time

RATE_ML_S = 40  # [mL/s] through each open bed valve: 2.4 L/min
PULSE_ML = 100


class DeskBoard:
    """Ticks of the desktop, scaled; outputs that are remembered.

    Args:
        real_ms: gives real time [ms].
        speed: garden milliseconds in a real one.
        names: of the valves; one called "master" passes what the others take.
        truth: called with each line, as text; None for none.
    """

    period_ticks = 1 << 30

    def __init__(self, real_ms: object, speed: int, names: tuple, truth: object = None) -> None:
        self._real_ms, self._speed, self._names, self._truth = real_ms, speed, names, truth
        self.on = [False for _ in names]
        self._ml_ms = [0 for _ in names]  # [mL ms / s] passed so far
        self._begun_ms = real_ms()
        self._at_ms = 0
        self.beats = self.feeds = 0
        for index in range(len(names)):
            self._tell(index)

    def garden_ms(self) -> int:
        """Garden time since it began [ms]."""
        return (self._real_ms() - self._begun_ms) * self._speed

    def ticks(self) -> int:
        """Tell the counter, which wraps a minute after it began."""
        return (self.garden_ms() + self.period_ticks - 60_000) % self.period_ticks

    def random_hex(self, digits: int) -> str:
        """Give so many random hex digits."""
        return "".join([f"{byte:02x}" for byte in os.urandom((digits + 1) // 2)])[:digits]

    def output(self, index: int, on: bool) -> None:
        """Set an output."""
        if self.on[index] != on:
            self.pulses()
            self.on[index] = on
            self._tell(index)

    def pulses(self) -> int:
        """Let the water run up to now, and tell the meter's count."""
        now_ms = self.garden_ms()
        passed_ms, self._at_ms = now_ms - self._at_ms, now_ms
        gate = all(on for on, name in zip(self.on, self._names) if name == "master")  # noqa: B905
        total = 0
        for index, name in enumerate(self._names):
            if name != "master":
                self._ml_ms[index] += RATE_ML_S * passed_ms if gate and self.on[index] else 0
                total += self._ml_ms[index]
        for index, name in enumerate(self._names):
            if name == "master":
                self._ml_ms[index] = total
        return total // (1000 * PULSE_ML)

    def beat(self) -> None:
        """Keep the coils fed."""
        self.beats += 1

    def feed(self) -> None:
        """Satisfy the watchdog."""
        self.feeds += 1

    def _tell(self, index: int) -> None:
        if self._truth is not None:
            litres = self._ml_ms[index] // 1000
            self._truth(
                f'{{"valve": "{self._names[index]}", "node_ms": {self.garden_ms()}, '
                f'"open": {"true" if self.on[index] else "false"}, "ml": {litres}}}'
            )


def run(host: str, port: int, root: str, speed: int, folder: str, truth_path: str) -> None:
    """Run five valves and a meter until killed."""
    from lease_node.kept import Kept
    from lease_node.link import Link
    from lease_node.loop import ValveLoop
    from lease_node.mqtt5 import Session

    names = ("south", "wall", "low", "hedge", "master")
    truth = open(truth_path, "w")  # noqa: SIM115

    def write(line: str) -> None:
        truth.write(line + "\n")
        truth.flush()

    board = DeskBoard(_real_ms, speed, names, write)
    client = "node-" + board.random_hex(8)
    link = Link((host, port), lambda ms: Session(client, "", "", loop.topics(), ms), _random_byte)
    loop = ValveLoop(board, link, _real_ms, Kept(folder), names, root, "main")
    while True:
        loop.step()
        time.sleep(0.004)


def _real_ms() -> int:
    if hasattr(time, "ticks_ms"):
        return time.ticks_ms()
    return time.monotonic_ns() // 1_000_000


def _random_byte() -> int:
    return os.urandom(1)[0]


if __name__ == "__main__":
    _host, _port, _root, _speed, _folder, _truth = sys.argv[1:]
    run(_host, int(_port), _root, int(_speed), _folder, _truth)
