"""The daemon's clocks: real, or one scaled clock that a trial shares with its virtual garden.

UTC is read from the wall clock at each use; elapsed time is monotonic. A scaled clock runs `speed`
times faster from an anchor that a second process, or a restart, can be given by
`THIRSTLINE_CLOCK=<RFC 3339>@<real Unix seconds>`.
"""

from __future__ import annotations

import ctypes
import os
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from controller.errors import WrongUseError
from controller.trusted import ClockStamp

CLOCK_VARIABLE = "THIRSTLINE_CLOCK"
SPEED_MOST = 240.0
BOOT_VARIABLE = "THIRSTLINE_BOOT_ID"
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
SYNCED_MARK = Path("/run/systemd/timesync/synchronized")
TIMEX_BYTES = 512  # more than struct timex takes anywhere; all zero it only asks
TIME_ERROR = 5  # adjtimex(2): the clock is not synchronised
PLAUSIBLE_UTC_S = datetime(2025, 1, 1, tzinfo=UTC).timestamp()


def real_utc_s() -> float:
    """The wall clock [s, Unix]."""
    return time.time()


def kernel_says_unset() -> bool:
    """Whether the kernel tells, by adjtimex(2), that no time service has set the clock."""
    try:
        told = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(TIMEX_BYTES))
    except (AttributeError, OSError):
        return False
    return bool(told == TIME_ERROR)


def _boot_id() -> str:
    """What tells this boot from another; empty where nobody says."""
    try:
        return BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:  # within the service's fence, which tells it this way
        return os.environ.get(BOOT_VARIABLE, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchor:
    """Where a scaled clock starts: this simulated instant at that real one."""

    sim_utc_s: float
    real_utc_s: float

    def text(self) -> str:
        """As the environment carries it."""
        sim = datetime.fromtimestamp(self.sim_utc_s, UTC).isoformat().replace("+00:00", "Z")
        return f"{sim}@{self.real_utc_s!r}"


def anchor_from(environ: Mapping[str, str]) -> Anchor | None:
    """Read the anchor from the environment.

    Raises:
        WrongUseError: it stands there and is not of the form.
    """
    told = environ.get(CLOCK_VARIABLE)
    if not told:
        return None
    sim, at, real = told.partition("@")
    try:
        when = datetime.fromisoformat(sim)
        real_s = float(real)
    except ValueError:
        when, at, real_s = datetime.fromtimestamp(0, UTC), "", 0.0
    if not at or when.tzinfo is None or not 0.0 < real_s < 1e11:
        msg = f"{CLOCK_VARIABLE}: {told[:60]!r} is not <RFC 3339 instant>@<real Unix seconds>"
        raise WrongUseError(msg)
    return Anchor(sim_utc_s=when.timestamp(), real_utc_s=real_s)


class ScaledClock:
    """Time that runs `speed` times as fast as the real one.

    Args:
        speed: garden seconds in a real second, 1 to 240.
        anchor: where it starts; None starts it now, at the real time.

    Raises:
        WrongUseError: speed outside 1 to 240.
    """

    def __init__(self, speed: float = 1.0, anchor: Anchor | None = None) -> None:
        if not 1.0 <= speed <= SPEED_MOST:
            msg = f"--speed: {speed:g} is outside 1 to {SPEED_MOST:g}"
            raise WrongUseError(msg)
        self.speed = speed
        self._boot_id = _boot_id()  # asked once: no process outlives its boot
        self._began_s = time.monotonic()
        real_s = time.time()
        self.anchor = anchor or Anchor(sim_utc_s=real_s, real_utc_s=real_s)

    def utc_s(self) -> float:
        """Unix seconds, UTC."""
        return self.anchor.sim_utc_s + self.speed * (time.time() - self.anchor.real_utc_s)

    def mono_s(self) -> float:
        """Seconds since this clock was made."""
        return self.speed * (time.monotonic() - self._began_s)

    def synced(self) -> bool:
        """Whether the system says that its wall clock was set from outside since the boot."""
        return SYNCED_MARK.exists() and time.time() > PLAUSIBLE_UTC_S

    def known_unset(self) -> bool:
        """Whether the system says that nobody has set its wall clock; a trial's is as told.

        Where neither the time service nor the kernel tells, a plausible clock counts as set.
        """
        if self.speed != 1.0 or self.synced():
            return False
        if not time.time() > PLAUSIBLE_UTC_S:
            return True
        return SYNCED_MARK.parent.is_dir() or kernel_says_unset()

    def stamp(self, trusted_s: float) -> ClockStamp:
        """All clocks now, for the record."""
        return ClockStamp(
            boot_id=self._boot_id,
            mono_s=time.monotonic(),
            utc_s=self.utc_s(),
            synced=self.synced(),
            trusted_s=trusted_s,
        )
