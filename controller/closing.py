"""Closes that are not confirmed yet.

Each is sent again and again until the node says closed, or until no lease can hold the valve open
any more. Pure but for its own memory; times come with the calls.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.effects import MAX_LEASE_S, Close, Lease
from controller.events import ValveReport

MARGIN_S = 50.0  # [s] life of a nonce (45 s) and 5 s: a lease held up may open that much later
IN_FLIGHT_S = 45.0  # [s] a lease sent this long ago is refused by every node
REPEAT_S = 2.0  # [s] garden time between repeats
REPEAT_REAL_S = 0.2  # [s] real time between repeats, at least


@dataclass(slots=True, kw_only=True)
class _Pending:
    close: Close
    until_mono_s: float
    next_mono_s: float
    next_real_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sent:
    epoch: int
    seq: int
    mono_s: float


class Closing:
    """Which valves still have to be told to close.

    A close that was told and is wanted again goes out with the usual repeats, not sooner, unless
    the valve may have been opened since.
    """

    def __init__(self) -> None:
        self._pending: dict[str, _Pending] = {}
        self._told: dict[str, _Pending] = {}  # the last ones, confirmed or not
        self._sent: dict[str, _Sent] = {}

    @property
    def waits(self) -> bool:
        """Whether any close may still be unconfirmed."""
        return bool(self._pending)

    def leased(self, lease: Lease, *, mono_s: float) -> None:
        """Remember the last lease that went out to a valve."""
        self._sent[lease.valve] = _Sent(epoch=lease.epoch, seq=lease.seq, mono_s=mono_s)
        self._told.pop(lease.valve, None)

    def want(self, close: Close, *, mono_s: float) -> None:
        """Close this valve: due at once, until confirmed or the longest lease has lapsed."""
        told = self._told.get(close.valve)
        again = told is not None and told.close == close
        self._pending[close.valve] = self._told[close.valve] = _Pending(
            close=close,
            until_mono_s=mono_s + MAX_LEASE_S + MARGIN_S,
            next_mono_s=told.next_mono_s if told is not None and again else mono_s,
            next_real_s=told.next_real_s if told is not None and again else 0.0,
        )

    def pending(self, valve: str, *, mono_s: float) -> bool:
        """Tell whether a close of this valve is still unconfirmed."""
        found = self._pending.get(valve)
        if found is not None and mono_s >= found.until_mono_s:
            del self._pending[valve]
            return False
        return found is not None

    def confirm(self, report: ValveReport) -> None:
        """Take a node's word that it is closed, unless a lease may still be on its way to it."""
        sent = self._sent.get(report.valve)
        arrived = sent is None or (report.epoch, report.seq) >= (sent.epoch, sent.seq)
        lapsed = sent is not None and report.mono_s - sent.mono_s >= IN_FLIGHT_S
        if not report.open and (arrived or lapsed):
            self._pending.pop(report.valve, None)
        elif report.open and report.valve not in self._pending:
            self._told.pop(report.valve, None)

    def due(self, *, mono_s: float, real_s: float) -> list[Close]:
        """List the closes to send now."""
        return [
            self._pending[valve].close
            for valve in sorted(self._pending)
            if self.pending(valve, mono_s=mono_s)
            and mono_s >= self._pending[valve].next_mono_s
            and real_s >= self._pending[valve].next_real_s
        ]

    def tried(self, valve: str, *, sent: bool, mono_s: float, real_s: float) -> None:
        """Put off the next repeat; what did not go out is due sooner.

        A close whose answer came before this is over, and nothing is put off.
        """
        one = self._pending.get(valve)
        if one is None:
            return
        one.next_real_s = real_s + REPEAT_REAL_S
        if sent:
            one.next_mono_s = mono_s + REPEAT_S

    def again(self) -> None:
        """Make all pending closes due at once: the link is back."""
        self._told = dict(self._pending)
        for one in self._pending.values():
            one.next_mono_s = float("-inf")
            one.next_real_s = float("-inf")
