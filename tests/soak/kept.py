"""The daemon as `thirstline run` keeps it, and one thread more that tells what it holds.

`python -m tests.soak.kept FILE DATA SPEED armed|unarmed OUT EVERY_S`: every so many real seconds
one JSON line goes to OUT: blocks that the interpreter has allocated, what the C library's heap has
in use and free, threads by name, tasks and connections of the web server, what waits in queues. The
clock of a build machine need not be set by a time service: this one says that it is.
"""

from __future__ import annotations

import ctypes
import json
import os
import sys
import threading
import time
from pathlib import Path
from typing import Any

from api.keeper import Keeper
from api.signals import Signals
from controller.clock import ScaledClock, anchor_from
from controller.datafolder import DataFolder
from controller.garden import load_garden


class SetClock(ScaledClock):
    """A clock that somebody has set."""

    def synced(self) -> bool:
        """It is."""
        return True


HEAP_FIELDS = (
    *("arena", "ordblks", "smblks", "hblks", "hblkhd"),
    *("usmblks", "fsmblks", "uordblks", "fordblks", "keepcost"),
)


class _Heap(ctypes.Structure):
    """glibc's `struct mallinfo2`, of the one heap that the process has."""

    _fields_ = tuple((name, ctypes.c_size_t) for name in HEAP_FIELDS)


def heap_kib() -> dict[str, int]:
    """What the C library's heap holds [KiB]: in use, free, and in mappings of their own."""
    ask = getattr(ctypes.CDLL(None), "mallinfo2", None)
    if ask is None:  # another C library
        return {}
    ask.restype = _Heap
    told = ask()
    sizes = {"used": told.uordblks, "free": told.fordblks, "mapped": told.hblkhd}
    return {name: size // 1024 for name, size in sizes.items()}


def insides(keeper: Keeper) -> dict[str, Any]:
    """What the process holds now."""
    daemon, server = keeper.daemon, keeper._web._server
    return {
        "blocks": sys.getallocatedblocks(),
        "heap_kib": heap_kib(),
        "threads": sorted(thread.name for thread in threading.enumerate()),
        "tasks": len(server.server_state.tasks),
        "connections": len(server.server_state.connections),
        "events": daemon._events.qsize(),
        "jobs": daemon._recorder._jobs.qsize(),
        "answers": len(daemon._answers),
        "readings": daemon._link.counters.readings,
    }


def tell(keeper: Keeper, out: Path, every_s: float, ended: threading.Event) -> None:
    """Append one line after the other until the end."""
    while not ended.wait(every_s):
        line = {"at": time.time(), "pid": os.getpid(), **insides(keeper)}
        with out.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line) + "\n")


def main(file: str, data: str, speed: str, armed: str, out: str, every_s: str) -> None:
    """Keep the garden on a free port until a signal."""
    signals = Signals()
    clock = SetClock(float(speed), anchor_from(os.environ))
    path = Path(file)
    keeper = Keeper(
        load_garden(path),
        DataFolder(Path(data)),
        clock,
        garden_path=path,
        armed=armed == "armed",
        port=0,
    )
    keeper.start()
    teller = threading.Thread(
        target=tell, args=(keeper, Path(out), float(every_s), signals.ended), name="teller"
    )
    teller.start()
    try:
        while not signals.wait(0.2):
            keeper.tell_address()
    finally:
        keeper.stop()
        teller.join()


if __name__ == "__main__":
    main(*sys.argv[1:])
