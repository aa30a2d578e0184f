"""What a soak measures, sample by sample, and what the samples come to.

A sample is one JSON line of `samples.jsonl`. Memory is the daemon's own, resident [KiB]; files are
those of its data folder [bytes]; times are garden time since the beginning [s] and real time [s].
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

DAY_S = 86_400.0


def memory_kib(pid: int) -> int:
    """What a process holds in memory [KiB]."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    found = re.search(r"^VmRSS:\s+(\d+) kB", status, re.MULTILINE)
    return 0 if found is None else int(found[1])


def of_process(pid: int) -> dict[str, int]:
    """Memory, threads and open files of a process."""
    place = Path(f"/proc/{pid}")
    return {
        "rss_kib": memory_kib(pid),
        "threads": len(list((place / "task").iterdir())),
        "fds": len(list((place / "fd").iterdir())),
    }


def of_folder(folder: Path) -> dict[str, int]:
    """Size of each file of a data folder [bytes]."""
    found: dict[str, int] = {}
    for path in folder.iterdir():
        with suppress(OSError):
            found[path.name] = path.stat().st_size
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """A straight line through samples, by least squares.

    Attributes:
        per_day: how it rises [unit/d].
        first: the line where the samples begin.
        last: the line where they end.
        samples: how many there are.
    """

    per_day: float
    first: float
    last: float
    samples: int


def slope(times_s: Sequence[float], values: Sequence[float]) -> Slope:
    """Lay a straight line through values.

    Args:
        times_s: two different ones at least [s].
        values: as many.
    """
    n = len(times_s)
    mean_t, mean_v = sum(times_s) / n, sum(values) / n
    spread = sum((t - mean_t) ** 2 for t in times_s)
    rise = (
        sum((t - mean_t) * (v - mean_v) for t, v in zip(times_s, values, strict=True)) / spread
        if spread > 0.0
        else 0.0
    )
    return Slope(
        per_day=rise * DAY_S,
        first=mean_v + rise * (times_s[0] - mean_t),
        last=mean_v + rise * (times_s[-1] - mean_t),
        samples=n,
    )


def read_lines(path: Path) -> list[dict[str, Any]]:
    """Every whole line of a file of JSON lines; none where there is no file."""
    if not path.exists():
        return []
    whole, _, _ = path.read_bytes().rpartition(b"\n")
    return [json.loads(line) for line in whole.split(b"\n") if line]


def write_line(path: Path, line: dict[str, Any]) -> None:
    """Append one."""
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(line) + "\n")


def warm(lines: Iterable[dict[str, Any]], key: str, after_frac: float) -> list[dict[str, Any]]:
    """The samples after the first part of a run.

    Args:
        lines: samples.
        key: of the time.
        after_frac: how much of the run counts as warming up [-].
    """
    told = list(lines)
    if not told:
        return []
    begin, end = told[0][key], told[-1][key]
    return [line for line in told if line[key] >= begin + after_frac * (end - begin)]
