"""The state of a bed's root zone: a water balance that readings correct, with a variance.

Scale: one bed's wetted strip (row length x wetted width). The state is the depletion below field
capacity `D` [mm] and the logarithm of the bed's `thirst`, its own multiplier on the basal crop
coefficient. It is predicted in steps of ten minutes by FAO-56's dual-coefficient balance and
corrected once an hour by the depth-weighted probes that passed quality control.

Signs: use and drainage raise and lower `D`; water from above lowers it. Everything is in mm over
the strip but `eto_mm`, which is over the ground, as `ground_ratio` turns ground into strip.

Leaves out: capillary rise, run-off from the bed, upward flow from below the roots.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from controller.agronomy.rootzone import evaporation_reduction, surface_dried_mm
from controller.agronomy.rootzone import ke as bare_ke
from controller.agronomy.rootzone import ks as stress_factor
from controller.state import BedDay, BedWater

GRID_S = 600.0  # [s] the balance advances on this grid of UTC
STEPS_D = 86_400.0 / GRID_S  # grid steps in a day

# Our own settings, found by trial in the simulated garden; not published.
READING_SD_FRAC = 0.045  # a bed's probes against its true mean, as a fraction of TAW
READINGS_D = 24.0  # corrections a day that share one error: each counts 1/24
WET_SD_GAIN = 8.0  # just after water the probes are not the mean: variance x (1 + this)
WET_TAU_S = 6 * 3600.0
USE_SD_MM_D = 0.7  # unexplained walk of the depletion [mm per square root of a day]
THIRST_SD_D = 0.02  # walk of log(thirst) [per square root of a day]
WATER_SD_FRAC = 0.08  # of each watering
RAIN_SD_FRAC = 0.30  # of each rain
THIRST_LOWEST, THIRST_HIGHEST = math.log(0.5), math.log(1.8)
GATE_SD = 3.0  # an innovation larger than this counts as this
FIRST_SD_FRAC = 0.10  # above this spread a reading is taken at its word

STRAW_HOLDS_MM = 1.5  # straw keeps the first 1-2 mm of a rain: common practice, no source
CANOPY_HOLDS_MM = 0.5  # from memory
PLASTIC_SIDE_FRAC = 0.3  # of a rain on the sheet that reaches the bed's edge: our own proposal
DRIZZLE_MM = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class BedSoil:
    """What does not change in a season."""

    bed: str
    field_capacity_m3_m3: float  # as far as it was learned
    told_field_capacity_m3_m3: float  # by the garden file
    wilting_point_m3_m3: float
    saturation_m3_m3: float
    wetted_area_m2: float
    ground_ratio: float  # ground per wetted strip
    full_root_depth_m: float
    mulch: str
    evaporation_share: float  # evaporation left under the mulch
    tew_mm: float
    rew_mm: float

    def taw_mm(self, root_depth_m: float) -> float:
        """Total available water down to a depth [mm]. Source: FAO-56 eq. 82."""
        return 1000.0 * (self.field_capacity_m3_m3 - self.wilting_point_m3_m3) * root_depth_m


def start(soil: BedSoil, root_depth_m: float, depletion_frac: float) -> BedWater:
    """A bed about which nothing is known yet but a guess.

    Args:
        soil: the bed.
        root_depth_m: present root depth [m].
        depletion_frac: the guess [0..1].

    Returns:
        A state with a wide variance: 0.2 of TAW.
    """
    taw_mm = soil.taw_mm(root_depth_m)
    below_mm = soil.taw_mm(max(0.0, soil.full_root_depth_m - root_depth_m))
    return BedWater(
        depletion_mm=depletion_frac * taw_mm,
        var_mm2=(0.2 * taw_mm) ** 2,
        below_mm=0.5 * depletion_frac * below_mm,
    )


def add_water(water: BedWater, depth_mm: float, sd_frac: float, at_utc_s: float) -> None:
    """Let water in from above: it fills the root zone, the rest drains to the ground below.

    Args:
        water: the bed's state, changed in place.
        depth_mm: water over the strip [mm], positive; anything else does nothing.
        sd_frac: how uncertain the amount is, as a fraction of it.
        at_utc_s: when [s, Unix].

    Source: FAO-56 eq. 85 in the physical order: water in, drainage, then use.
    """
    if not 0.0 < depth_mm < math.inf:
        return
    stored_mm = min(depth_mm, water.depletion_mm)
    water.depletion_mm -= stored_mm
    water.below_mm = max(0.0, water.below_mm - (depth_mm - stored_mm))
    water.surface_mm = max(0.0, water.surface_mm - depth_mm)
    water.var_mm2 += (sd_frac * stored_mm) ** 2
    if depth_mm > DRIZZLE_MM:
        water.wetted_utc_s = at_utc_s


def held_mm(soil: BedSoil) -> float:
    """What leaves and straw keep of a rain [mm]."""
    return CANOPY_HOLDS_MM + (STRAW_HOLDS_MM if soil.mulch == "straw" else 0.0)


def add_rain(water: BedWater, soil: BedSoil, rain_mm: float, at_utc_s: float) -> float:
    """Let rain fall on the bed; leaves, straw or sheet keep their share.

    Args:
        water: the bed's state, changed in place.
        soil: the bed.
        rain_mm: rain over the ground [mm].
        at_utc_s: when [s, Unix].

    Returns:
        What reached the strip [mm].
    """
    kept_mm = min(rain_mm, max(0.0, held_mm(soil) - water.interception_mm))
    water.interception_mm += kept_mm
    net_mm = rain_mm - kept_mm
    if soil.mulch == "plastic":
        net_mm *= PLASTIC_SIDE_FRAC
    add_water(water, net_mm, RAIN_SD_FRAC, at_utc_s)
    return net_mm


def evaporation_coefficient(water: BedWater, soil: BedSoil, day: BedDay) -> float:
    """Ke of the exposed, wetted soil under its mulch [-]. Source: FAO-56 eq. 71, 74."""
    reduction = evaporation_reduction(water.surface_mm, soil.tew_mm, soil.rew_mm)
    bare = bare_ke(reduction, day.kc_max, day.kcb, day.exposed_frac)
    return max(0.0, bare) * soil.evaporation_share


def advance(water: BedWater, soil: BedSoil, day: BedDay, eto_mm: float) -> None:
    """One grid step of use: transpiration and evaporation, with their uncertainty.

    Args:
        water: the bed's state, changed in place.
        soil: the bed.
        day: the day's coefficients.
        eto_mm: reference evapotranspiration in this step [mm over the ground], 0 or more.
    """
    water.interception_mm = max(0.0, water.interception_mm - eto_mm)
    ke = evaporation_coefficient(water, soil, day)
    potential_mm = day.kcb * math.exp(water.log_thirst) * eto_mm * soil.ground_ratio
    stress = stress_factor(water.depletion_mm, day.taw_mm, day.p_frac)
    drunk_mm = stress * potential_mm
    evaporated_mm = ke * eto_mm * soil.ground_ratio
    water.depletion_mm = min(day.taw_mm, water.depletion_mm + drunk_mm + evaporated_mm)
    water.surface_mm = surface_dried_mm(
        water.surface_mm, ke * eto_mm, day.exposed_frac, soil.tew_mm
    )
    water.use_today_mm += potential_mm + evaporated_mm
    water.use_steps += 1
    water.soak_use_mm += drunk_mm + evaporated_mm
    step_d = 1.0 / STEPS_D
    share = stress * potential_mm
    water.var_mm2 += (
        2.0 * share * water.cov_mm + share * share * water.var_thirst + USE_SD_MM_D**2 * step_d
    )
    water.cov_mm += share * water.var_thirst
    water.var_thirst += THIRST_SD_D**2 * step_d


def deepen(water: BedWater, soil: BedSoil, old_m: float, new_m: float) -> None:
    """Let the roots grow into the ground below and take over its depletion.

    Args:
        water: the bed's state, changed in place.
        soil: the bed.
        old_m: root depth until now [m].
        new_m: root depth from now on [m].

    Source: FAO-56 ch. 8, growing root zone.
    """
    rest_m = soil.full_root_depth_m - old_m
    if not 0.0 < new_m - old_m <= rest_m + 1e-9:
        return
    share = min(1.0, (new_m - old_m) / rest_m)
    water.depletion_mm += share * water.below_mm
    water.var_mm2 += (0.2 * soil.taw_mm(new_m - old_m)) ** 2
    water.below_mm -= share * water.below_mm


def weights_m(depths_cm: list[float], root_depth_m: float) -> list[float]:
    """How much of the root zone each probe speaks for.

    Args:
        depths_cm: depths of the probes, rising [cm].
        root_depth_m: present root depth [m].

    Returns:
        Thickness for each [m]; together the root depth. A probe below the roots has 0, but the
        shallowest always speaks.
    """
    edges_m = [0.0]
    for upper, lower in pairwise(depths_cm):
        edges_m.append(min(root_depth_m, (upper + lower) / 200.0))
    edges_m.append(root_depth_m)
    return [max(0.0, low - up) for up, low in pairwise(edges_m)]


def measured_mm(soil: BedSoil, probes: list[tuple[float, float]], root_depth_m: float) -> float:
    """Depletion of the root zone that the probes tell.

    Args:
        soil: the bed.
        probes: (depth [cm], water content [m3/m3]) of each valid probe, at least one.
        root_depth_m: present root depth [m].

    Returns:
        Depletion [mm], under 0 where they read wetter than full.

    Source: FAO-56 eq. 87, by layers.
    """
    probes = sorted(probes)
    thick_m = weights_m([depth for depth, _ in probes], root_depth_m)
    return sum(
        1000.0 * (soil.field_capacity_m3_m3 - theta) * thick
        for (_, theta), thick in zip(probes, thick_m, strict=True)
    )


def correct(
    water: BedWater, day: BedDay, told_mm: float, probes: int, at_utc_s: float
) -> float | None:
    """Pull the state towards what the probes tell.

    Args:
        water: the bed's state, changed in place.
        day: the day's coefficients.
        told_mm: depletion by the probes [mm]; wetter than full counts as full.
        probes: how many probes spoke (1 is trusted less than 2).
        at_utc_s: when [s, Unix].

    Returns:
        The innovation [mm], None where the reading is not finite and nothing was changed.
    """
    if not math.isfinite(told_mm):
        return None
    told_mm = max(0.0, told_mm)
    sd_mm = READING_SD_FRAC * day.taw_mm * (1.0 if probes > 1 else 1.5)
    noise_mm2 = sd_mm * sd_mm
    if water.var_mm2 <= (FIRST_SD_FRAC * day.taw_mm) ** 2:
        noise_mm2 *= READINGS_D
    if water.wetted_utc_s is not None:
        dry_s = max(0.0, at_utc_s - water.wetted_utc_s)
        noise_mm2 *= 1.0 + WET_SD_GAIN * math.exp(-dry_s / WET_TAU_S)
    innovation_mm = min(told_mm, day.taw_mm) - water.depletion_mm
    spread_mm2 = water.var_mm2 + noise_mm2
    limit_mm = GATE_SD * math.sqrt(spread_mm2)
    pull_mm = max(-limit_mm, min(limit_mm, innovation_mm))
    gain = water.var_mm2 / spread_mm2
    gain_thirst = water.cov_mm / spread_mm2
    water.depletion_mm = max(0.0, min(day.taw_mm, water.depletion_mm + gain * pull_mm))
    water.log_thirst = max(
        THIRST_LOWEST, min(THIRST_HIGHEST, water.log_thirst + gain_thirst * pull_mm)
    )
    water.var_thirst = max(1e-6, water.var_thirst - gain_thirst * water.cov_mm)
    water.cov_mm -= gain * water.cov_mm
    water.var_mm2 = max(1e-6, (1.0 - gain) * water.var_mm2)
    return innovation_mm


def expected_use_mm_d(water: BedWater, fallback_mm_d: float) -> float:
    """The strip's expected use on the coming day: the mean of the last days [mm/d]."""
    days = water.use_mm_d
    return sum(days) / len(days) if days else fallback_mm_d
