"""Reading the board for `doctor`: files of the kernel below one root, so that tests lay out others.

Nothing here judges; what cannot be read is None.
"""

from __future__ import annotations

import os
import shutil
import socket
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from controller.clock import PLAUSIBLE_UTC_S, real_utc_s
from controller.keeping.findings import Board

REACH_S = 3.0  # [s] real, to reach the broker
SYNCED = "run/systemd/timesync/synchronized"


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """The edges that a test puts others for.

    Attributes:
        root: where `proc`, `sys` and `run` lie.
        now_utc_s: the wall clock.
        reach: opens a connection to host and port, OSError where it cannot.
    """

    root: Path = Path("/")
    now_utc_s: Callable[[], float] = real_utc_s
    reach: Callable[[str, int], None] = lambda host, port: _reach(host, port)

    def board(self, data: Path, pid: int | None, database_bytes: int) -> Board:
        """Read the board that a data folder lies on.

        Args:
            data: the data folder.
            pid: of the running daemon, None where none runs.
            database_bytes: what the record takes.
        """
        now_utc_s = self.now_utc_s()
        free_bytes, read_only = _space(data)
        worn, warning = self._worn()
        return Board(
            clock_synced=(self.root / SYNCED).exists(),
            clock_plausible=now_utc_s > PLAUSIBLE_UTC_S,
            clock_chip=(self.root / "sys/class/rtc/rtc0").exists(),
            free_bytes=free_bytes,
            read_only=read_only,
            database_bytes=database_bytes,
            disk_errors=self._disk_errors(),
            worn_tenth=worn,
            worn_warning=warning,
            memory_free_bytes=self._kilobytes("proc/meminfo", "MemAvailable"),
            daemon_bytes=None if pid is None else self._kilobytes(f"proc/{pid}/status", "VmRSS"),
            board_c=self._board_c(),
        )

    def listens(self, host: str, port: int) -> bool:
        """Whether something listens there."""
        try:
            self.reach(host, port)
        except OSError:
            return False
        return True

    def _kilobytes(self, name: str, key: str) -> int | None:
        for line in (self._text(name) or "").splitlines():
            words = line.replace(":", " ").split()
            if len(words) >= 2 and words[0] == key and words[1].isdecimal():
                return 1024 * int(words[1])
        return None

    def _board_c(self) -> float | None:
        """The hottest that any sensor of the board tells [°C]."""
        zones = sorted(self.root.glob("sys/class/thermal/thermal_zone*/temp"))
        told = [self._number(str(path.relative_to(self.root))) for path in zones]
        found = [number / 1000.0 for number in told if number is not None]
        return max(found, default=None)

    def _disk_errors(self) -> int | None:
        """Errors that any ext4 file system has counted since it was made or checked."""
        told = sorted(self.root.glob("sys/fs/ext4/*/errors_count"))
        counts = [self._number(str(path.relative_to(self.root))) for path in told]
        found = [count for count in counts if count is not None]
        return sum(found) if found else None

    def _worn(self) -> tuple[int | None, int | None]:
        """The greater of the two wear estimates, and the warning, of soldered or plugged cards."""
        worn, warning = [], []
        for card in sorted(self.root.glob("sys/block/mmcblk*/device")):
            place = card.relative_to(self.root)
            words = (self._text(f"{place}/life_time") or "").split()
            worn += [_hex(word) for word in words]
            warning += [_hex(word) for word in (self._text(f"{place}/pre_eol_info") or "").split()]
        known = [number for number in worn if number]
        return max(known, default=None), max((n for n in warning if n), default=None)

    def _number(self, name: str) -> int | None:
        text = (self._text(name) or "").strip()
        return int(text) if text.lstrip("-").isdecimal() else None

    def _text(self, name: str) -> str | None:
        try:
            return (self.root / name).read_text(encoding="ascii", errors="replace")
        except OSError:
            return None


def _hex(word: str) -> int:
    with suppress(ValueError):
        return int(word, 16)
    return 0


def _space(data: Path) -> tuple[int | None, bool | None]:
    try:
        free_bytes = shutil.disk_usage(data).free
        return free_bytes, bool(os.statvfs(data).f_flag & os.ST_RDONLY)
    except OSError:
        return None, None


def _reach(host: str, port: int) -> None:
    with socket.create_connection((host, port), REACH_S):
        pass
