"""What broken probes and meters tell in place of the truth, for a broker and a replay alike."""

from __future__ import annotations

from sim.faults import Breakage, Kind, which_of

SPIKE_EACH = 3  # messages: the first of each three is off
# [kPa] what an open circuit reads as: drier than any soil that a root can use. Ours
OPEN_CIRCUIT_KPA = 3000.0


class ProbeTeller:
    """Bends what probes tell while they are broken; a sound probe passes unchanged."""

    def __init__(self) -> None:
        self._now = Breakage()
        self._held: dict[str, tuple[float, float]] = {}
        self._count: dict[str, int] = {}
        self.touched: frozenset[str] = frozenset()  # probes that do not tell the truth, or nothing

    def broken(self, now: Breakage) -> None:
        """Take what is broken from now on."""
        self._now = now
        self._held = {name: told for name, told in self._held.items() if name in now.stuck_probes}
        self._count = {name: count for name, count in self._count.items() if name in now.spiked}
        mute = {which.partition(":")[2] for which in now.silent if which.startswith("probe:")}
        self.touched = frozenset(
            mute | now.stuck_probes | now.dry_probes | set(now.spiked) | set(now.offset)
        )

    def told(
        self, probe: str, theta_m3_m3: float, tension_kpa: float, *, tension: bool
    ) -> tuple[float, float] | None:
        """Work out what a probe tells now; call it once a message.

        Args:
            probe: its id.
            theta_m3_m3: what it would tell if it were sound [m3/m3].
            tension_kpa: the same [kPa].
            tension: whether it tells tension or resistance; its faults are then in kPa.

        Returns:
            Water content [m3/m3] and tension [kPa], or None where it sends nothing.
        """
        if probe not in self.touched:
            return theta_m3_m3, tension_kpa
        now = self._now
        if which_of(Kind.PROBE, probe) in now.silent:
            return None
        if probe in now.dry_probes:
            return 0.0, OPEN_CIRCUIT_KPA
        off = now.offset.get(probe, 0.0) + self._spike(probe)
        if tension:
            found = theta_m3_m3, max(0.0, tension_kpa + off)
        else:
            found = max(0.0, theta_m3_m3 + off), tension_kpa
        return self._held.setdefault(probe, found) if probe in now.stuck_probes else found

    def _spike(self, probe: str) -> float:
        if probe not in self._now.spiked:
            return 0.0
        count = self._count.get(probe, 0)
        self._count[probe] = count + 1
        return self._now.spiked[probe] if count % SPIKE_EACH == 0 else 0.0


class MeterTeller:
    """A meter's total where there is no node: it may freeze, begin anew, or count too much."""

    def __init__(self) -> None:
        self._true_l = 0.0
        self._total_l = 0.0
        self._boots = 0
        self.frozen = False

    @property
    def boot(self) -> str:
        """The name of this life of the meter."""
        return f"m{self._boots}"

    def total_l(self, true_l: float) -> float:
        """Work out what it shows.

        Args:
            true_l: all that has flowed past it [L]; call it at each change of its faults too.

        Returns:
            Its total [L].
        """
        gained_l = max(0.0, true_l - self._true_l)
        self._true_l = max(true_l, self._true_l)
        self._total_l += 0.0 if self.frozen else gained_l
        return self._total_l

    def jump(self, litres: float) -> None:
        """Count litres that never flowed [L]."""
        self._total_l += litres

    def reset(self) -> None:
        """Begin at nothing, in a new life."""
        self._total_l = 0.0
        self._boots += 1

    def reboot(self) -> None:
        """Begin a new life with the total kept."""
        self._boots += 1
