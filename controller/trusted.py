"""Trusted elapsed time: how much time has surely passed, whatever the wall clock says.

Caps age by it, so the doubtful case counts as no time at all: the budget stays spent for longer.
Within one boot the machine's monotonic clock tells; between two boots the UTC gap counts only where
both ends were synchronised. Trials under a scaled clock count a forward UTC gap whole.
"""

from __future__ import annotations

from dataclasses import dataclass

LONGEST_GAP_S = 366 * 86_400.0  # [s] a longer gap between boots is taken for a wrong clock


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockStamp:
    """What all clocks said at one instant.

    `mono_s` counts from the boot of the machine, not of the process, so that a restarted daemon
    can measure against it. `trusted_s` is the trusted elapsed time of this data folder.
    """

    boot_id: str
    mono_s: float
    utc_s: float
    synced: bool
    trusted_s: float


def trusted_gap_s(last: ClockStamp, now: ClockStamp, scaled: bool) -> float:
    """Work out the trusted time from one stamp to a later one.

    Args:
        last: The last stamp that was kept.
        now: The stamp of this start; its `trusted_s` is not looked at.
        scaled: A trial under a scaled clock: a forward UTC gap counts whole.

    Returns:
        Trusted elapsed time [s], 0 or more; 0 wherever there is doubt.
    """
    utc_gap_s = now.utc_s - last.utc_s
    if scaled:
        return _forward_s(utc_gap_s, float("inf"))
    if now.boot_id == last.boot_id:
        return _forward_s(now.mono_s - last.mono_s, float("inf"))
    if now.synced and last.synced:
        return _forward_s(utc_gap_s, LONGEST_GAP_S)
    return 0.0


def _forward_s(gap_s: float, longest_s: float) -> float:
    """Let a gap count only if it surely runs forward; NaN and infinity count nothing."""
    if 0.0 < gap_s <= longest_s and gap_s != float("inf"):
        return gap_s
    return 0.0
