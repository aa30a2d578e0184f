"""The state of a bed's root zone: a water balance that readings correct, with a variance.

Scale: one bed's wetted strip (row length x wetted width). The state is the depletion below field
capacity `D` [mm] and the logarithm of the bed's `thirst`, its own multiplier on the basal crop
coefficient. It is predicted in steps of ten minutes by FAO-56's dual-coefficient balance and
corrected once an hour by the depth-weighted probes that passed quality control.

Signs: use and drainage raise and lower `D`; water from above lowers it. What soil holds above field
capacity (`over_mm`) drains within days and is drunk first. Everything is in mm over the strip but
`eto_mm`, which is over the ground, as `ground_ratio` turns ground into strip.

How sure the state is (`spread_frac`) has parts that no number of readings takes away: all probes of
a bed stand at one spot, and they know no more of its full point than `full_point` learned.

Leaves out: capillary rise, run-off from the bed, upward flow from below the roots.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from controller.sensing.insisting import insisted_mm
from controller.state import BedDay, BedWater

GRID_S = 600.0  # [s] the balance advances on this grid of UTC
STEPS_D = 86_400.0 / GRID_S  # grid steps in a day

# Our own settings, found by trial in the simulated garden, seeds 1-10; not published.
READING_SD_FRAC = 0.045  # a bed's probes against its true mean, as a fraction of TAW
READINGS_D = 24.0  # corrections a day that share one error: each counts 1/24
AGAINST_HAND_GAIN = 6.0  # probes that a hand spoke against: a day of them is a fifth of a feel
WET_SD_GAIN = 8.0  # just after water the probes are not the mean: variance x (1 + this)
WET_TAU_S = 6 * 3600.0
DRAINS_S = 24 * 3600.0  # after water: what runs through is not taken for thirst
USE_SD_MM_D = 1.5  # unexplained walk of the depletion [mm per square root of a day]
THIRST_SD = 0.15  # of log(thirst) before anything is known, and at most
THIRST_SD_D = 0.02  # walk of log(thirst) [per square root of a day]
WATER_SD_FRAC = 0.08  # of each watering
RAIN_SD_FRAC = 0.30  # of each rain
THIRST_LOWEST, THIRST_HIGHEST = math.log(0.5), math.log(1.8)
GATE_SD = 3.0  # an innovation larger than this counts as this
FIRST_SD_FRAC = 0.10  # above this spread a reading is taken at its word
OVER_TAU_H = 16.0  # [h] within which water above field capacity drains to a third
OVER_MOST_FRAC = 0.60  # of TAW above field capacity: more is not held
PROBE_SD_M3_M3 = 0.012  # [m3/m3] what a bed's probes are wrong by together
RAW_SD_FRAC = 0.15  # of the available water: the same where they tell bare counts
FULL_SD_FRAC = 0.10  # of field capacity as told: soils of a class differ so

STRAW_HOLDS_MM = 1.5  # straw keeps the first 1-2 mm of a rain: common practice, no source
CANOPY_HOLDS_MM = 0.5  # from memory
PLASTIC_SIDE_FRAC = 0.3  # of a rain on the sheet that reaches the bed's edge: our own proposal
DRIZZLE_MM = 0.2

_STEP_D = 1.0 / STEPS_D
_USE_STEP_MM2 = USE_SD_MM_D**2 * _STEP_D
_THIRST_STEP = THIRST_SD_D**2 * _STEP_D
_OVER_KEEPS = math.exp(-GRID_S / 3600.0 / OVER_TAU_H)


@dataclass(frozen=True, slots=True, kw_only=True)
class BedSoil:
    """What does not change in a season."""

    bed: str
    field_capacity_m3_m3: float  # as far as it was learned
    told_field_capacity_m3_m3: float  # by the garden file
    wilting_point_m3_m3: float  # likewise
    wilting_told_m3_m3: float
    saturation_m3_m3: float
    wetted_area_m2: float
    ground_ratio: float  # ground per wetted strip
    full_root_depth_m: float
    mulch: str
    evaporation_share: float  # evaporation left under the mulch
    tew_mm: float
    rew_mm: float
    probe_sd_m3_m3: float = PROBE_SD_M3_M3  # what its probes are wrong by together
    uncalibrated: bool = False  # whether one of them tells bare counts

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
    """Let water in from above: it fills the root zone; the rest stays above full and drains.

    Args:
        water: the bed's state, changed in place.
        depth_mm: water over the strip [mm], positive; anything else does nothing.
        sd_frac: how uncertain the amount is, as a fraction of it.
        at_utc_s: when [s, Unix].

    Source: FAO-56 eq. 85 in the physical order: water in, drainage, then use. What a bed that is
    surely full holds is known again: the variance shrinks by the odds that it is not full yet.
    """
    if not 0.0 < depth_mm < math.inf:
        return
    water.in_mm += depth_mm
    stored_mm = min(depth_mm, water.depletion_mm)
    water.depletion_mm -= stored_mm
    water.over_mm += depth_mm - stored_mm
    water.surface_mm = max(0.0, water.surface_mm - depth_mm)
    water.var_mm2 += (sd_frac * stored_mm) ** 2
    sd_mm = math.sqrt(water.var_mm2)
    lacks_mm = water.depletion_mm - water.over_mm
    not_full = 0.5 * math.erfc(-lacks_mm / (sd_mm * math.sqrt(2.0)))
    water.var_mm2 = max(1e-6, water.var_mm2 * not_full)
    water.cov_mm *= not_full
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


def advance(
    water: BedWater, soil: BedSoil, day: BedDay, eto_mm: float, eto_sd_frac: float = 0.0
) -> None:
    """One grid step of use: transpiration and evaporation, with their uncertainty.

    Args:
        water: the bed's state, changed in place.
        soil: the bed.
        day: the day's coefficients.
        eto_mm: reference evapotranspiration in this step [mm over the ground], 0 or more.
        eto_sd_frac: how far a day's may be off, beyond `USE_SD_MM_D`, 0 or more.

    Source: FAO-56 eq. 71, 74, 77 and 84, as `evaporation_reduction`, `ke`, `surface_dried_mm` and
    `ks` of `controller.agronomy.rootzone` have them; written out here, since a season takes this
    step some 120,000 times. A test holds the two together.
    """
    water.use_steps += 1
    water.var_mm2 += _USE_STEP_MM2
    if water.var_thirst < THIRST_SD * THIRST_SD:
        water.var_thirst += _THIRST_STEP
    if water.over_mm > 0.0:
        kept_mm = water.over_mm * _OVER_KEEPS
        _drain(water, water.over_mm - kept_mm)
        water.over_mm = kept_mm
    if eto_mm <= 0.0:
        return
    if water.interception_mm > 0.0:
        water.interception_mm = max(0.0, water.interception_mm - eto_mm)
    evaporated_mm = soil.ground_ratio * _evaporate(water, soil, day, eto_mm)
    potential_mm = day.kcb * math.exp(water.log_thirst) * eto_mm * soil.ground_ratio
    drunk_mm, readily_mm = potential_mm, day.p_frac * day.taw_mm
    if water.depletion_mm > readily_mm:
        stressed_mm, left_mm = day.taw_mm - readily_mm, day.taw_mm - water.depletion_mm
        open_frac = left_mm / stressed_mm if left_mm > 0.0 and stressed_mm > 0.0 else 0.0
        drunk_mm *= min(1.0, open_frac)
        if stressed_mm > potential_mm:  # a drier bed drinks less: what was wrong fades
            water.var_mm2 *= (1.0 - potential_mm / stressed_mm) ** 2
    used_mm = drunk_mm + evaporated_mm
    if eto_sd_frac > 0.0:  # all steps of a day are off by one share: (a + b)^2 - a^2
        water.var_mm2 += eto_sd_frac**2 * used_mm * (2.0 * water.use_today_mm + used_mm)
    water.use_today_mm += potential_mm + evaporated_mm
    water.soak_use_mm += used_mm
    _take(water, used_mm, day.taw_mm)
    step_mm = drunk_mm * water.var_thirst
    water.var_mm2 += drunk_mm * (2.0 * water.cov_mm + step_mm)
    water.cov_mm += step_mm


def _evaporate(water: BedWater, soil: BedSoil, day: BedDay, eto_mm: float) -> float:
    """Dry the surface by a step and tell what left it [mm over the ground]."""
    surface_mm, tew_mm, exposed_frac = water.surface_mm, soil.tew_mm, day.exposed_frac
    kr = 1.0
    if surface_mm > soil.rew_mm:
        slow_mm, left_mm = tew_mm - soil.rew_mm, tew_mm - surface_mm
        kr = left_mm / slow_mm if left_mm > 0.0 and slow_mm > 0.0 else 0.0
    ke, most = kr * (day.kc_max - day.kcb), exposed_frac * day.kc_max
    if most < ke:
        ke = most
    if not ke > 0.0:
        return 0.0
    lost_mm = ke * soil.evaporation_share * eto_mm
    if exposed_frac > 0.0:
        surface_mm += lost_mm / exposed_frac
        water.surface_mm = surface_mm if surface_mm < tew_mm else tew_mm
    return lost_mm


def _take(water: BedWater, used_mm: float, taw_mm: float) -> None:
    """Take a step's use out, first of what is above full, no further than to the wilting point."""
    before_mm, over_mm = water.depletion_mm, water.over_mm
    if over_mm > 0.0:
        first_mm = min(over_mm, used_mm)
        water.over_mm = over_mm - first_mm
        water.used_mm += first_mm
        used_mm -= first_mm
    after_mm = before_mm + used_mm
    if after_mm > taw_mm:
        after_mm = max(taw_mm, before_mm)
    water.depletion_mm = after_mm
    water.used_mm += after_mm - before_mm


def _drain(water: BedWater, drained_mm: float) -> None:
    """Water leaves the root zone below: the ground there takes what it lacks."""
    taken_mm = min(water.below_mm, drained_mm)
    water.below_mm -= taken_mm
    water.drained_mm += drained_mm - taken_mm


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
    taken_mm = share * water.below_mm
    water.below_mm -= taken_mm
    _lack(water, water.depletion_mm - water.over_mm + taken_mm)
    water.var_mm2 += (0.2 * soil.taw_mm(new_m - old_m)) ** 2


def shift_full(water: BedWater, day: BedDay) -> None:
    """Let a learned change of the full point count: what the bed lacks is counted from there.

    Args:
        water: the bed's state, changed in place.
        day: the day's coefficients, by the new full point.
    """
    before_mm = water.depletion_mm - water.over_mm
    after_mm = min(day.taw_mm, before_mm + 1000.0 * day.root_depth_m * water.full_due_m3_m3)
    water.full_due_m3_m3, water.told_lately_mm = 0.0, []
    _lack(water, after_mm)
    water.pulled_mm += before_mm - after_mm


def _lack(water: BedWater, lacks_mm: float) -> None:
    """Set what the root zone lacks of full; below 0 it holds more than full."""
    water.depletion_mm = lacks_mm if lacks_mm > 0.0 else 0.0
    water.over_mm = -lacks_mm if lacks_mm < 0.0 else 0.0


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


def correct(
    water: BedWater, day: BedDay, told_mm: float, probes: int, at_utc_s: float
) -> float | None:
    """Pull the state towards what the probes tell.

    Args:
        water: the bed's state, changed in place.
        day: the day's coefficients.
        told_mm: depletion by the probes [mm], below 0 where they read wetter than full.
        probes: how many probes spoke (1 is trusted less than 2; 0: only such as a hand in the
            soil spoke against).
        at_utc_s: when [s, Unix].

    Returns:
        The innovation [mm], None where the reading is not finite and nothing was changed.
    """
    if not math.isfinite(told_mm):
        return None
    taw_mm = day.taw_mm
    noise_mm2, drains = _noise_mm2(water, taw_mm, probes, at_utc_s)
    noise_mm2 += (1000.0 * day.root_depth_m * water.apart_sd_m3_m3) ** 2
    told_mm = max(-OVER_MOST_FRAC * taw_mm, min(told_mm, taw_mm))
    innovation_mm = told_mm - (water.depletion_mm - water.over_mm)
    insisted = 0.0
    if water.var_mm2 <= (FIRST_SD_FRAC * taw_mm) ** 2 or not probes:
        if probes:
            insisted = insisted_mm(water, told_mm, math.sqrt(water.var_mm2 + noise_mm2))
        noise_mm2 *= READINGS_D
    pull(water, taw_mm, innovation_mm, noise_mm2, teaches=not drains)
    if insisted:
        _move(water, insisted, taw_mm)
    return innovation_mm


def pull(
    water: BedWater,
    taw_mm: float,
    innovation_mm: float,
    noise_mm2: float,
    *,
    teaches: bool,
    beside_mm2: float = 0.0,
) -> None:
    """One correction of depletion and thirst by their joint variance (a Kalman step).

    Args:
        water: the bed's state, changed in place.
        taw_mm: total available water [mm].
        innovation_mm: what was told, less what was believed; more than `GATE_SD` counts as that.
        noise_mm2: variance of what was told.
        teaches: whether it tells of the bed's thirst as well.
        beside_mm2: what else is not known of the depletion: it weighs as well, but stays.
    """
    spread_mm2 = water.var_mm2 + beside_mm2 + noise_mm2
    limit_mm, pull_mm = GATE_SD * math.sqrt(spread_mm2), innovation_mm
    if not -limit_mm <= pull_mm <= limit_mm:
        pull_mm = -limit_mm if pull_mm < 0.0 else limit_mm
    gain = water.var_mm2 / spread_mm2
    gain_thirst = water.cov_mm / spread_mm2 if teaches else 0.0
    _move(water, (gain + beside_mm2 / spread_mm2) * pull_mm, taw_mm)
    water.log_thirst = max(
        THIRST_LOWEST, min(THIRST_HIGHEST, water.log_thirst + gain_thirst * pull_mm)
    )
    water.var_thirst = max(1e-6, water.var_thirst - gain_thirst * water.cov_mm)
    water.cov_mm -= gain * water.cov_mm
    water.var_mm2 = max(1e-6, (1.0 - gain) * water.var_mm2)


def _move(water: BedWater, by_mm: float, taw_mm: float) -> None:
    """Let the root zone lack so much more, within what it can hold; the books tell of it."""
    before_mm = water.depletion_mm - water.over_mm
    _lack(water, max(-OVER_MOST_FRAC * taw_mm, min(taw_mm, before_mm + by_mm)))
    water.pulled_mm += before_mm - (water.depletion_mm - water.over_mm)


def _noise_mm2(water: BedWater, taw_mm: float, probes: int, at_utc_s: float) -> tuple[float, bool]:
    """How wrong an hour's readings may be [mm2], and whether the bed still drains from water."""
    lone = 1.5 if probes else AGAINST_HAND_GAIN
    sd_mm = READING_SD_FRAC * taw_mm * (1.0 if probes > 1 else lone)
    wetted_s = water.wetted_utc_s
    if wetted_s is None:
        return sd_mm * sd_mm, False
    dry_s = max(0.0, at_utc_s - wetted_s)
    unsettled = 1.0 + WET_SD_GAIN * math.exp(-dry_s / WET_TAU_S)
    return sd_mm * sd_mm * unsettled, dry_s < DRAINS_S


def expected_use_mm_d(water: BedWater, fallback_mm_d: float) -> float:
    """The strip's expected use on the coming day: the mean of the last days [mm/d]."""
    days = water.use_mm_d
    return sum(days) / len(days) if days else fallback_mm_d
