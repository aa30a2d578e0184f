"""What truly flows: worked out from the leases that nodes accepted, beside the nodes themselves.

Leased water, what a stuck valve lets through, and what a stranger's lease opened are kept apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from controller.effects import Lease
from sim.faults import BURST_L_MIN
from sim.nodes import CEILING_S, REST_S

if TYPE_CHECKING:
    from tests.scripts.life import Life

DAY_S = 86_400.0
TAW_L = 148.0


@dataclass(slots=True)
class Tap:
    """One valve's true state."""

    until_s: float = -math.inf  # open on a lease up to here
    opened_s: float | None = None
    begun_s: float = -math.inf  # of the opening that only a rest breaks
    closed_s: float = -math.inf
    lease_s: float = -math.inf  # last one accepted
    lease_open_s: float = 0.0
    dose: str = ""
    stranger: bool = False


@dataclass(slots=True)
class Piece:
    """Water of one opening on one bed."""

    bed: str
    dose: str
    first_s: float
    last_s: float
    litres: float = 0.0
    open_s: float = 0.0


class Water:
    """Pipes, nodes and true litres of one life."""

    def __init__(self, life: Life) -> None:
        self.life = life
        self.taps = {valve: Tap() for valve in life.garden.valves}
        self.master = life.garden.master
        lots = life.lots
        self.flow_l_min = {
            bed: setting.flow_l_min * lots.uniform(0.9, 1.0)
            for bed, setting in life.garden.beds.items()
        }
        self.pieces: list[Piece] = []  # leased, by opening; those of the last day and a bit
        self.by_dose: dict[str, Piece] = {}
        self.stuck_l = dict.fromkeys(life.garden.beds, 0.0)
        self.stuck_since: dict[str, float] = {}  # bed -> last instant that its stuck valve gave
        self.stranger_l = 0.0
        self.flowing = False
        self._at_s = 0.0

    # -- time

    def flow_to(self, to_s: float) -> None:
        """Let true time pass up to an instant."""
        if self.flowing:
            self._flow(to_s)
        self._at_s = to_s
        life = self.life
        life.now_s = to_s
        if self.flowing:
            for valve, tap in self.taps.items():
                if tap.opened_s is not None and tap.until_s <= to_s:
                    life.nodes[valve].advance(to_s)
                    self._shut(valve, tap.until_s)
                    life.oracle.lapsed(valve)
            self.changed()

    def _flow(self, to_s: float) -> None:
        life, breakage = self.life, self.life.breakage
        gate_s = to_s if self.master is None else self._passes_until_s(self.master, to_s)
        counted = 0.0
        for valve, bed in life.beds.items():
            tap = self.taps[valve]
            until_s = min(to_s, gate_s, self._passes_until_s(valve, to_s))
            flowed_s = until_s - self._at_s
            if flowed_s <= 0.0:
                continue
            litres = flowed_s / 60.0 * self.flow_l_min[bed] * breakage.supply_frac
            leased_s = max(0.0, min(until_s, tap.until_s) - self._at_s)
            self._give(bed, tap, litres, leased_s / flowed_s, leased_s, until_s)
            counted += litres
        seconds = to_s - self._at_s
        if breakage.leak_l_min > 0.0:
            counted += breakage.leaks_l_min(life.garden.supply.flow_l_min) * seconds / 60.0
        if life.meter is not None and counted > 0.0 and not breakage.frozen_meters:
            life.meter.add(counted, to_s)

    def _give(
        self, bed: str, tap: Tap, litres: float, share: float, leased_s: float, until_s: float
    ) -> None:
        life = self.life
        life.depletion[bed] = max(-0.05, life.depletion[bed] - litres / TAW_L)
        if tap.stranger:
            self.stranger_l += litres * share
        elif share > 0.0:
            piece = self.by_dose.get(tap.dose)
            if piece is None:
                piece = Piece(bed, tap.dose, self._at_s, until_s)
                self.by_dose[tap.dose] = piece
                self.pieces.append(piece)
            piece.litres += litres * share
            piece.open_s += leased_s
            piece.last_s = until_s
        if share < 1.0:
            self.stuck_l[bed] += litres * (1.0 - share)
            self.stuck_since[bed] = until_s

    def _passes_until_s(self, valve: str, to_s: float) -> float:
        """Until when water can pass a valve, which may not do what its node says."""
        breakage = self.life.breakage
        if valve in breakage.stuck_closed:
            return -math.inf
        return to_s if valve in breakage.stuck_open else self.taps[valve].until_s

    def changed(self) -> None:
        """Look anew whether anything flows."""
        breakage = self.life.breakage
        self.flowing = bool(breakage.leak_l_min > 0.0 or breakage.stuck_open) or self.opened()

    def opened(self) -> bool:
        """Whether a valve is open on a lease."""
        for tap in self.taps.values():  # noqa: SIM110 (asked at every event)
            if tap.opened_s is not None:
                return True
        return False

    def passes(self, valve: str) -> bool:
        """Whether a valve lets water through now."""
        return self._passes_until_s(valve, self._at_s + 1e-9) > self._at_s

    def bursts(self) -> bool:
        """Whether all that the supply gives runs off."""
        return self.life.breakage.leak_l_min == BURST_L_MIN

    # -- what nodes are told

    def lease(self, lease: Lease, nonce: str, *, stranger: bool = False) -> bool:
        """A lease arrives at a node."""
        life, valve = self.life, lease.valve
        now_s, node, tap = life.now_s, life.nodes[lease.valve], self.taps[lease.valve]
        accepted = node.lease(
            open_s=lease.open_s,
            dose=lease.dose,
            epoch=lease.epoch,
            seq=lease.seq,
            nonce=nonce,
            now_s=now_s,
        )
        if not accepted:
            return False
        if tap.opened_s is None and now_s - tap.closed_s >= REST_S:
            tap.begun_s = now_s
        tap.lease_s, tap.lease_open_s = now_s, float(lease.open_s)
        tap.until_s = min(now_s + lease.open_s, tap.begun_s + CEILING_S)
        tap.dose, tap.stranger = lease.dose, stranger
        first = tap.opened_s is None
        if first:
            tap.opened_s = now_s
        self.changed()
        life.oracle.accepted(lease, nonce, stranger=stranger)
        if first:
            life.oracle.opened(lease, stranger=stranger)
            if valve in life.beds:
                life.trigger("opened")
        return True

    def close(self, valve: str) -> None:
        """A close arrives at a node."""
        life = self.life
        life.nodes[valve].close(life.now_s)
        life.oracle.burnt(valve)
        self._shut(valve, life.now_s)
        self.changed()

    def reboot(self, valve: str) -> None:
        """A node starts anew."""
        life = self.life
        life.nodes[valve].reboot(life.now_s)
        life.oracle.burnt(valve)
        self._shut(valve, life.now_s)
        self.changed()
        life.tell(valve)

    def _shut(self, valve: str, at_s: float) -> None:
        tap = self.taps[valve]
        tap.until_s = min(tap.until_s, at_s)
        if tap.opened_s is not None:
            tap.opened_s, tap.closed_s = None, at_s
            self.life.oracle.shut(valve, at_s)
            if valve in self.life.beds:
                self.life.trigger("closed")

    # -- what was given

    def litres_of_last_day(self, bed: str | None = None) -> float:
        """True leased litres, of all beds where none is named, of openings that ended within 24 h;
        of one that reaches back beyond that, all (so do the charges that it is held against)."""
        since_s = self.life.now_s - DAY_S
        return math.fsum(
            p.litres for p in self.pieces if bed in {None, p.bed} and p.last_s > since_s
        )

    def forget_old(self) -> None:
        """Drop what no window reaches any more."""
        since_s = self.life.now_s - DAY_S - 3600.0
        if self.pieces and self.pieces[0].last_s < since_s:
            self.pieces = [p for p in self.pieces if p.last_s >= since_s]
