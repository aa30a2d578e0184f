"""Retention and conductivity of the simulated soil.

Campbell 1974 (from memory): tension = psi_e (theta/theta_s)^-b, K = Ks (theta/theta_s)^(2b + 3),
here never above a cap, so that sands keep a sensible conductivity near saturation. Nothing of the
controller's own soil is used. Tension in kPa as a positive number, conductivity in mm/h.
"""

from __future__ import annotations

from dataclasses import dataclass

MM_PER_KPA = 101.97  # [mm of water/kPa] 1 kPa = 10.197 cm of water


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Retention and conductivity of one soil.

    Args:
        theta_s_m3_m3: content at saturation [m3/m3].
        entry_tension_kpa: tension psi_e at which the soil begins to empty [kPa].
        b: exponent of the retention curve [-].
        ks_mm_h: conductivity coefficient at saturation [mm/h].
        k_cap_mm_h: conductivity is never above this [mm/h].
    """

    theta_s_m3_m3: float
    entry_tension_kpa: float
    b: float
    ks_mm_h: float
    k_cap_mm_h: float = float("inf")

    def tension_kpa(self, theta_m3_m3: float) -> float:
        """Tension at a water content, psi_e (theta/theta_s)^-b [kPa]."""
        return self.entry_tension_kpa * float((theta_m3_m3 / self.theta_s_m3_m3) ** -self.b)

    def theta_m3_m3(self, tension_kpa: float) -> float:
        """Water content at a tension [m3/m3]; saturated below the entry tension."""
        if tension_kpa <= self.entry_tension_kpa:
            return self.theta_s_m3_m3
        return self.theta_s_m3_m3 * float((tension_kpa / self.entry_tension_kpa) ** (-1.0 / self.b))

    def conductivity_mm_h(self, theta_m3_m3: float) -> float:
        """Conductivity at a water content, Ks (theta/theta_s)^(2b + 3), capped [mm/h]."""
        ratio = theta_m3_m3 / self.theta_s_m3_m3
        return min(self.k_cap_mm_h, self.ks_mm_h * float(ratio ** (2.0 * self.b + 3.0)))

    def flux_potential_mm2_h(self, theta_m3_m3: float) -> float:
        """Matric flux potential K tension/(1 + 3/b), held where the conductivity is capped."""
        ratio = theta_m3_m3 / self.theta_s_m3_m3
        top = self.capped_ratio()
        power = self.ks_mm_h * float(min(ratio, top) ** (self.b + 3.0))
        return power * self.entry_tension_kpa * MM_PER_KPA / (1.0 + 3.0 / self.b)

    def capped_ratio(self) -> float:
        """Share of saturation at which the conductivity reaches its cap, at most 1."""
        if self.ks_mm_h <= self.k_cap_mm_h:
            return 1.0
        return float((self.k_cap_mm_h / self.ks_mm_h) ** (1.0 / (2.0 * self.b + 3.0)))
