"""The simulated plants of one bed: cover, roots, thirst, stress and what stress costs.

Driven by degree-days after transplanting (base 10 °C, extremes held at 30 °C). Numbers near the
FAO-56 tables but our own; the controller's crop model is not used. Stress is decided by the soil's
tension: leaves begin to close at a tension and are shut at 1500 kPa, in between straight in its
logarithm. Yield follows FAO-33's stage factors (from memory), as a product over the stages, which
is a modelling choice. Fruit and its troubles are in `sim.fruit`. Leaves out: varieties, pruning,
disease, heat damage, water stored in plants.
"""

from __future__ import annotations

import math
from enum import StrEnum

from sim.fruit import (
    COLOUR_AFTER_FLOWER_GDD,
    FIRST_FLOWER_GDD,
    SET_AFTER_FLOWER_GDD,
    Fruit,
    Truss,
    reached,
)

BASE_C = 10.0  # Zalom & Wilson 1999 (abstract)
SLOWED_ABOVE_C = 30.0  # same; horizontal cap
WILTING_TENSION_KPA = 1500.0  # FAO-56 ch. 8
SIZING_GDD = 500.0  # [°C d] first trusses are set; a guess
FIRST_COLOUR_GDD = 800.0  # [°C d] a guess
COVER_START_FRAC = 0.05
COVER_FULL_FRAC = 0.80  # staked, pruned rows
COVER_FROM_GDD = 60.0
COVER_TO_GDD = 480.0
KCB_BARE = 0.15  # FAO-56 Table 17
KCB_FULL = 1.12  # between FAO-56 Table 17 for low and for staked tomato
AGEING_FROM_GDD = 1150.0
AGEING_TO_GDD = 1600.0
KCB_AGED_FRAC = 0.78  # of KCB_FULL: picked to frost
YOUNG_ROOT_M = 0.20
ROOTS_FROM_GDD = 70.0
ROOTS_TO_GDD = 520.0
DEPLETION_P_FRAC = 0.40  # FAO-56 Table 22, at 5 mm/d
DEPLETION_P_PER_MM = 0.04  # FAO-56 Table 22, note 2
DEPLETION_P_LIMITS = (0.1, 0.8)  # same
ROLLED_BELOW = 0.92  # [-] of full transpiration: first roll is seen; ours
LIMP_BELOW = 0.55  # [-] of full transpiration; ours
STRESS_SLOWS_COVER_FRAC = 0.6  # [-] of growth lost at full stress; ours
FLAGS_FROM_MM_H = 0.5  # [mm/h] of ETo: from here plants flag at midday however wet the soil; ours
FLAGS_FULLY_MM_H = 0.9  # [mm/h] same; a very hot noon
FLAG_FRAC = 0.2  # [-] a flagging plant looks as if so much of its transpiration were gone; ours


class Growth(StrEnum):
    """Stage of growth, as far as the yield cares."""

    VEGETATIVE = "vegetative"
    FLOWERING = "flowering"
    FORMING = "forming"
    RIPENING = "ripening"


# FAO-33 (Doorenbos & Kassam 1979), from memory
YIELD_FACTOR = {
    Growth.VEGETATIVE: 0.4,
    Growth.FLOWERING: 1.1,
    Growth.FORMING: 0.8,
    Growth.RIPENING: 0.4,
}


def degree_days(tmin_c: float, tmax_c: float) -> float:
    """Degree-days of one day, both extremes clipped to 10 and 30 °C [°C d]."""
    low = min(SLOWED_ABOVE_C, max(BASE_C, tmin_c))
    high = min(SLOWED_ABOVE_C, max(BASE_C, tmax_c))
    return (low + high) / 2.0 - BASE_C


def depletion_p(etc_mm_d: float, offset_frac: float = 0.0) -> float:
    """Share of the available water that is gone when stress begins.

    Args:
        etc_mm_d: crop evapotranspiration of the day over the ground [mm/d].
        offset_frac: this garden's own departure [-].

    Returns:
        p within 0.1 to 0.8.

    Source: FAO-56 Table 22, note 2
    """
    low, high = DEPLETION_P_LIMITS
    p = DEPLETION_P_FRAC + offset_frac + DEPLETION_P_PER_MM * (5.0 - etc_mm_d)
    return min(high, max(low, p))


def openness(tension_kpa: float, closing_kpa: float) -> float:
    """How far the leaves are open: 1 up to the closing tension, 0 at 1500 kPa.

    Args:
        tension_kpa: at the roots [kPa], above 0.
        closing_kpa: where closing begins [kPa], above 0.

    Returns:
        Actual over potential transpiration, 0 to 1.
    """
    if tension_kpa <= closing_kpa:
        return 1.0
    if tension_kpa >= WILTING_TENSION_KPA:
        return 0.0
    span = math.log(WILTING_TENSION_KPA / closing_kpa)
    return math.log(WILTING_TENSION_KPA / tension_kpa) / span


def _ramp(value: float, begin: float, end: float) -> float:
    """0 before, 1 after, straight between."""
    return min(1.0, max(0.0, (value - begin) / (end - begin)))


class Plant:
    """The plants of one bed, all alike."""

    __slots__ = (
        "_actual_mm",
        "_cover_gdd",
        "_full_root_m",
        "_potential_mm",
        "day",
        "day_actual_mm",
        "day_excess_h",
        "day_potential_mm",
        "day_wet_h",
        "etc_mm_d",
        "fruit",
        "gdd",
        "kc_factor",
        "p_frac",
        "p_offset_frac",
        "water_use",
    )

    def __init__(
        self, full_root_depth_m: float, *, kc_factor: float = 1.0, p_offset_frac: float = 0.0
    ) -> None:
        """Plant them.

        Args:
            full_root_depth_m: how deep the roots reach full grown [m].
            kc_factor: this garden's own departure in water use [-].
            p_offset_frac: this garden's own departure in p [-].
        """
        self._full_root_m = full_root_depth_m
        self.kc_factor = kc_factor
        self.p_offset_frac = p_offset_frac
        self.gdd = 0.0
        self.day = -1  # counts from 0 on the day of transplanting
        self.fruit = Fruit()
        self._cover_gdd = 0.0
        self._potential_mm = dict.fromkeys(Growth, 0.0)
        self._actual_mm = dict.fromkeys(Growth, 0.0)
        self.day_potential_mm = self.day_actual_mm = 0.0
        self.day_wet_h = self.day_excess_h = 0.0
        self.etc_mm_d = 0.0
        self.p_frac = depletion_p(0.0, p_offset_frac)
        self.water_use = self._water_use()

    def new_day(self, tmin_c: float, tmax_c: float, eto_mm_d: float) -> None:
        """Close yesterday's account and grow by today's warmth.

        Args:
            tmin_c: today's lowest temperature [°C].
            tmax_c: today's highest temperature [°C].
            eto_mm_d: today's reference evapotranspiration [mm/d].
        """
        kept = self.close_day()
        self.fruit.end_day(self.day, kept, self.day_wet_h / 24.0, self.day_excess_h / 24.0)
        self.day_wet_h = self.day_excess_h = 0.0
        warmth = degree_days(tmin_c, tmax_c)
        self.gdd += warmth
        self.day += 1
        self.fruit.grow(self.day, self.gdd)
        self._cover_gdd += warmth * (1.0 - STRESS_SLOWS_COVER_FRAC * (1.0 - kept))
        self.water_use = self._water_use()
        bare = max(0.0, 0.25 * (1.0 - self.cover_frac))
        self.etc_mm_d = (self.water_use + bare) * eto_mm_d
        self.p_frac = depletion_p(self.etc_mm_d, self.p_offset_frac)

    def close_day(self) -> float:
        """Book the day's transpiration to its stage; answer the share of the potential."""
        potential, actual = self.day_potential_mm, self.day_actual_mm
        self.day_potential_mm = self.day_actual_mm = 0.0
        if potential <= 0.0:
            return 1.0
        self._potential_mm[self.growth] += potential
        self._actual_mm[self.growth] += actual
        return actual / potential

    @property
    def growth(self) -> Growth:
        """Stage of growth now."""
        if self.gdd < FIRST_FLOWER_GDD:
            return Growth.VEGETATIVE
        if self.gdd < SIZING_GDD:
            return Growth.FLOWERING
        return Growth.FORMING if self.gdd < FIRST_COLOUR_GDD else Growth.RIPENING

    @property
    def cover_frac(self) -> float:
        """Ground covered by leaves, seen from above."""
        share = _ramp(self._cover_gdd, COVER_FROM_GDD, COVER_TO_GDD)
        smooth = share * share * (3.0 - 2.0 * share)
        return COVER_START_FRAC + (COVER_FULL_FRAC - COVER_START_FRAC) * smooth

    @property
    def root_depth_m(self) -> float:
        """Present root depth [m]."""
        young = min(YOUNG_ROOT_M, self._full_root_m)
        return young + (self._full_root_m - young) * _ramp(self.gdd, ROOTS_FROM_GDD, ROOTS_TO_GDD)

    def _water_use(self) -> float:
        """Transpiration of unstressed plants over the ground, as a multiple of ETo [-]."""
        grown = (self.cover_frac - COVER_START_FRAC) / (COVER_FULL_FRAC - COVER_START_FRAC)
        aged = 1.0 - (1.0 - KCB_AGED_FRAC) * _ramp(self.gdd, AGEING_FROM_GDD, AGEING_TO_GDD)
        return self.kc_factor * (KCB_BARE + (KCB_FULL - KCB_BARE) * grown) * aged

    @property
    def trusses_set(self) -> int:
        """Trusses with set fruit since transplanting."""
        return reached(self.gdd, SET_AFTER_FLOWER_GDD)

    @property
    def trusses_coloured(self) -> int:
        """Trusses whose first fruit have coloured since transplanting."""
        return reached(self.gdd, COLOUR_AFTER_FLOWER_GDD)

    @property
    def trusses(self) -> list[Truss]:
        """All that have flowered, oldest first."""
        return self.fruit.trusses

    @property
    def has_coloured_fruit(self) -> bool:
        """Whether fruit that can crack is on the plants."""
        return self.trusses_coloured > 0

    @property
    def cracking_risk(self) -> float:
        """Risk of cracking so far: an index from 0 up, about 1 for each bad day."""
        return self.fruit.cracking_risk

    @property
    def blossom_end_rot_risk(self) -> float:
        """Risk of blossom-end rot so far, 0 to 1, mean over the trusses that have set."""
        return self.fruit.blossom_end_rot_risk

    @staticmethod
    def posture(open_frac: float) -> int:
        """What a person sees in the morning: 0 upright, 1 slightly rolled, 2 limp."""
        if open_frac >= ROLLED_BELOW:
            return 0
        return 1 if open_frac >= LIMP_BELOW else 2

    @staticmethod
    def posture_midday(open_frac: float, eto_mm_h: float) -> int:
        """What a person sees at midday, when plants flag in heat although they lack no water.

        Args:
            open_frac: how far the soil lets the leaves open [0..1].
            eto_mm_h: reference evapotranspiration now [mm/h].

        Returns:
            0 upright, 1 slightly rolled, 2 limp; heat alone never makes limp.
        """
        flags = _ramp(eto_mm_h, FLAGS_FROM_MM_H, FLAGS_FULLY_MM_H)
        return Plant.posture(open_frac * (1.0 - FLAG_FRAC * flags))

    @property
    def potential_mm(self) -> float:
        """Transpiration without stress since transplanting, over the ground [mm]."""
        return sum(self._potential_mm.values()) + self.day_potential_mm

    @property
    def actual_mm(self) -> float:
        """Transpiration since transplanting, over the ground [mm]."""
        return sum(self._actual_mm.values()) + self.day_actual_mm

    @property
    def relative_yield(self) -> float:
        """Yield over that of plants that never lacked water, 0 to 1; product over the stages.

        Source: FAO-56 eq. 90 with FAO-33 stage factors (from memory)
        """
        product = 1.0
        for stage, factor in YIELD_FACTOR.items():
            potential, actual = self._potential_mm[stage], self._actual_mm[stage]
            if stage is self.growth:
                potential += self.day_potential_mm
                actual += self.day_actual_mm
            if potential > 0.0:
                product *= max(0.0, 1.0 - factor * (1.0 - actual / potential))
        return product
