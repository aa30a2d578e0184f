"""A fault script in a replay: what is broken at each instant, and what changes when.

A replay goes on in its own steps and asks `turn` for each change up to now, one instant at a time;
in between it asks what is broken. Nothing here knows an engine: `Turn` says what the one that
lives in the replay has to be told, and `KeptRecord` what it is started with after a power cut.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from controller.effects import Effect, Reserve, SaveEpoch, Settle
from controller.events import LedgerEntry, Started
from controller.store import WATER_AFTER_S
from sim.fault_probes import MeterTeller, ProbeTeller
from sim.faults import (
    TENSION_KINDS,
    Breakage,
    Fault,
    FaultPlayer,
    FaultScript,
    Kind,
    What,
    which_of,
)

if TYPE_CHECKING:
    from controller.garden import Garden

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """What changed at one instant; do it in the order of the attributes.

    Attributes:
        at_s: since the run began [s].
        power_cut: the engine is dumped and hears nothing more; its last word stands.
        link_lost: `LinkDown`, where the engine lives.
        rebooted: valves whose node starts anew, closed; it tells so where it can.
        power_back: the engine is loaded and `Started`; then its link, where the network is up.
        link_back: `LinkUp`, then each valve's report.
        record_back: `StoreState(can_record=True)`.
    """

    at_s: float
    power_cut: bool = False
    link_lost: bool = False
    rebooted: tuple[str, ...] = ()
    power_back: bool = False
    link_back: bool = False
    record_back: bool = False


class ReplayFaults:
    """One script in one replay.

    Args:
        script: what breaks when; its seconds count from the replay's beginning.
        garden: whose things break.
    """

    def __init__(self, script: FaultScript, garden: Garden) -> None:
        self.now = Breakage()
        self._garden = garden
        self._player = FaultPlayer(script)
        self._probes = ProbeTeller()
        self._tension = {n: p.kind in TENSION_KINDS for n, p in garden.probes.items()}
        self._meter = MeterTeller()
        self._rebooted: list[str] = []

    # -- time

    def next_change_s(self) -> float:
        """The next instant at which something changes [s]; infinite where nothing does."""
        return self._player.next_change_s()

    def turn(self, now_s: float, metered_l: float = 0.0) -> Turn | None:
        """Take the next change that is due.

        Call it again until nothing is due. A replay that stops at `next_change_s` gets each change
        at its instant; one that strides past it gets it late, but none is lost.

        Args:
            now_s: since the run began [s].
            metered_l: all that has truly flowed past the meter until now [L].

        Returns:
            What changed at the earliest instant that was not taken yet, None where none is due.
        """
        at_s = self.next_change_s()
        if at_s > now_s:
            return None
        self._meter.total_l(metered_l)
        before, self._rebooted = self.now, []
        self._player.play(at_s, self)
        now = self.now
        was_linked, linked = self._linked(before), self._linked(now)
        return Turn(
            at_s=at_s,
            power_cut=now.controller_down and not before.controller_down,
            link_lost=was_linked and now.network_down,
            rebooted=tuple(self._rebooted),
            power_back=before.controller_down and not now.controller_down,
            link_back=linked and not was_linked,
            record_back=before.store_refuses and not (now.store_refuses or now.controller_down),
        )

    @staticmethod
    def _linked(now: Breakage) -> bool:
        return not (now.network_down or now.controller_down)

    def broken(self, now: Breakage) -> None:
        """Take what is broken from now on; see `Breakable`."""
        self.now = now
        self._probes.broken(now)
        self._meter.frozen = self._garden.meter in now.frozen_meters

    def happened(self, fault: Fault) -> None:
        """Take what happens now and is over; see `Breakable`."""
        match fault.what:
            case What.REBOOT:
                self._rebooted.append(fault.name)
            case What.NODES_REBOOT:
                self._rebooted += self._garden.valves
                self._meter.reboot()
            case What.JUMP if fault.name == self._garden.meter:
                self._meter.jump(fault.value)
            case What.RESET if fault.name == self._garden.meter:
                self._meter.reset()
            case _:
                pass

    # -- the controller's side

    @property
    def controller_up(self) -> bool:
        """Whether the engine has power: else it hears nothing and does nothing."""
        return not self.now.controller_down

    @property
    def link_up(self) -> bool:
        """Whether anything goes from engine to nodes or back."""
        return self._linked(self.now)

    @property
    def can_record(self) -> bool:
        """Whether a `Reserve` is answered by `Recorded`, else by `RecordFailed`."""
        return not self.now.store_refuses

    @property
    def clock_ahead_s(self) -> float:
        """What to add to the true time for `at_utc_s` of the engine's events [s]."""
        return self.now.clock_ahead_s

    # -- the nodes' side

    def hears(self, valve: str) -> bool:
        """Whether a lease or a close reaches a valve's node."""
        return self.link_up and valve not in self.now.deaf

    def speaks(self, kind: Kind, name: str) -> bool:
        """Whether what a valve, meter, probe or mast tells reaches the engine."""
        return self.link_up and which_of(kind, name) not in self.now.silent

    def probe_seen(
        self, probe: str, theta_m3_m3: float, tension_kpa: float
    ) -> tuple[float, float] | None:
        """Work out what a probe tells now; call it once a message.

        Args:
            probe: its id.
            theta_m3_m3: what it would tell if it were sound [m3/m3].
            tension_kpa: the same [kPa].

        Returns:
            Water content [m3/m3] and tension [kPa], or None where nothing of it arrives.
        """
        seen = self._probes.told(probe, theta_m3_m3, tension_kpa, tension=self._tension[probe])
        return seen if self.link_up else None

    def meter_total_l(self, metered_l: float) -> float:
        """What the supply's meter shows [L].

        Args:
            metered_l: all that has truly flowed past it until now, leaks included [L].
        """
        return self._meter.total_l(metered_l)

    @property
    def meter_boot(self) -> str:
        """The `boot` that the supply's meter tells."""
        return self._meter.boot

    # -- water

    def leak_l_min(self) -> float:
        """What runs off behind the meter, before all valves [L/min]."""
        return self.now.leaks_l_min(self._garden.supply.flow_l_min)

    def flows_l_min(
        self, node_open: Mapping[str, bool], wanted_l_min: Mapping[str, float]
    ) -> dict[str, float]:
        """Work out what each bed truly gets.

        Args:
            node_open: of each valve, what its node takes itself for.
            wanted_l_min: of each bed, what its emitters pass at full pressure [L/min].

        Returns:
            Flow of each bed that drinks [L/min]; beds that do not are left out.
        """
        truly = {valve: self.now.truly_open(valve, told) for valve, told in node_open.items()}
        valves = self._garden.valves
        if not all(is_open for v, is_open in truly.items() if valves[v].role != "bed"):
            return {}
        drinking = {
            name: wanted_l_min[name]
            for name, bed in self._garden.beds.items()
            if truly.get(bed.valve, False)
        }
        left_l_min = self.now.left_l_min(self._garden.supply.flow_l_min)
        share = min(1.0, left_l_min / max(sum(drinking.values()), 1e-9))
        return {name: l_min * share for name, l_min in drinking.items()} if share > 0.0 else {}


@dataclass(slots=True, kw_only=True)
class _Row:
    """One opening as the record keeps it."""

    bed: str
    charged_l: float
    ended_trusted_s: float | None = None


class KeptRecord:
    """What outlives a power cut in a replay: epoch, highest sequence number, the day's openings.

    As the store does it, an opening without an end is charged in full and aged from when water
    could have flowed last. Left out: a cut while the store refuses, which would lose a little more.
    """

    def __init__(self) -> None:
        self._epoch = 0
        self._seq = 0
        self._rows: dict[str, _Row] = {}

    def take(self, effect: Effect) -> None:
        """Keep what an effect says; of a `Reserve` only one that was `Recorded`."""
        match effect:
            case SaveEpoch():
                self._epoch, self._seq = effect.epoch, 0
            case Reserve():
                self._seq = max(self._seq, effect.seq_high)
                self._rows[effect.dose] = _Row(bed=effect.bed, charged_l=effect.reserved_l)
            case Settle() if effect.dose in self._rows:
                row = self._rows[effect.dose]
                row.charged_l, row.ended_trusted_s = effect.charged_l, effect.ended_trusted_s
            case _:
                pass

    def started(self, *, at_utc_s: float, mono_s: float, trusted_s: float) -> Started:
        """Make the event with which the engine begins after a power cut.

        Args:
            at_utc_s: what its wall clock says [s, Unix].
            mono_s: what its monotonic clock says [s].
            trusted_s: trusted elapsed time, the gap without power included where it counts [s].
        """
        for row in self._rows.values():
            if row.ended_trusted_s is None:
                row.ended_trusted_s = trusted_s + WATER_AFTER_S
        since_s = trusted_s - DAY_S
        self._rows = {
            dose: row for dose, row in self._rows.items() if (row.ended_trusted_s or 0.0) >= since_s
        }
        return Started(
            at_utc_s=at_utc_s,
            mono_s=mono_s,
            trusted_s=trusted_s,
            stored_epoch=self._epoch,
            stored_seq=self._seq,
            ledger=tuple(
                LedgerEntry(
                    dose=dose,
                    bed=row.bed,
                    charged_l=row.charged_l,
                    ended_trusted_s=row.ended_trusted_s,
                )
                for dose, row in self._rows.items()
            ),
        )
