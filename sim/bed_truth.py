"""The truth about one simulated bed: soil, plants, mulch, and the books kept on its water.

Litres are of the whole bed; millimetres are over the wetted strip unless said otherwise. True
depletion is taken over the present root depth and the strip, with the world's own field capacity.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from sim.draws import BedDraw
from sim.plant import Plant, openness
from sim.probe_truth import Spot
from sim.soil_making import GardenSoil

DAY_S = 86_400.0
ATTRIBUTION_S = 2.0 * DAY_S  # drained water is shared by what arrived within this time
ARRIVAL_BIN_S = 3_600.0
SUDDEN_FRAC = 0.5  # of the available water within a day, with coloured fruit
# share of the air's demand that reaches the soil: FAO-56 ch. 10 says plastic saves 50-80 %, straw
# about 5 % for each 10 % of ground covered
MULCH_EVAPORATION = {"none": 1.0, "straw": 0.5, "plastic": 0.2}
BARE_EVAPORATION_KC = 1.05  # of ETo from wet bare soil; near FAO-56 eq. 72
PLASTIC_RAIN_FRAC = 0.3  # of the rain on a sheet that reaches the strip by holes and edges; ours
STRAW_HOLDS_MM = 1.5  # [mm] straw keeps this much of a shower; common practice, no source
LEAST_AIR_M3_M3 = 0.10  # [m3/m3] roots lack air below this, in excess water; from memory
EXCESS_FROM_FRAC = 0.05  # [-] of the available water above field capacity: excess begins; ours
EXCESS_FULL_FRAC = 0.25  # [-] same: excess counts fully; ours
RELIEF_ENDS_FRAC = 0.02  # [-] of the available water used again: the soil is drying once more; ours
RELIEF_LEAST_FRAC = 0.05  # [-] of the available water: a lesser gain is no relief; ours


@dataclass(frozen=True, slots=True, kw_only=True)
class BedTruthSpec:
    """What the world is told about a bed; the garden file's values.

    Args:
        bed: name.
        plants, spacing_m: plants along the row and their spacing [m].
        width_m: ground per row [m].
        wetted_width_m: strip that the drip line wets [m], at most `width_m`.
        field_capacity_m3_m3, wilting_point_m3_m3, saturation_m3_m3: soil [m3/m3], falling order
            saturation, field capacity, wilting point.
        full_root_depth_m: [m].
        mulch: none, straw or plastic.
        emitters, emitter_l_h: number and nominal flow [L/h].
        transplanted_utc_s, cleared_utc_s: when the plants come and go [Unix s UTC].
        start_depletion_frac: true depletion at the start [0..1].
        crop: for people only.
    """

    bed: str
    plants: int
    spacing_m: float
    width_m: float
    wetted_width_m: float
    field_capacity_m3_m3: float
    wilting_point_m3_m3: float
    saturation_m3_m3: float
    full_root_depth_m: float
    mulch: str
    emitters: int
    emitter_l_h: float
    transplanted_utc_s: float
    cleared_utc_s: float = math.inf
    start_depletion_frac: float = 0.15
    crop: str = "tomato"

    @property
    def strip_m2(self) -> float:
        """Wetted area [m2]."""
        return self.plants * self.spacing_m * self.wetted_width_m

    @property
    def nominal_l_min(self) -> float:
        """Flow of all emitters as bought [L/min]."""
        return self.emitters * self.emitter_l_h / 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """The weather of one step: rates over the ground [mm/h]."""

    rain_mm_h: float
    eto_mm_h: float


class BedTruth:
    """One bed: advances by steps of steady flow and weather, and answers what is true."""

    __slots__ = (
        "_arrivals",
        "_dry_before_frac",
        "_evaporation_kc",
        "_full_m3_m3",
        "_gains",
        "_irrigation_48h_mm",
        "_rain_48h_mm",
        "_rain_frac",
        "_relief_since_utc_s",
        "_straw_mm",
        "_sudden_armed",
        "_unclipped",
        "_wet_after_frac",
        "_wet_from_frac",
        "available_m3_m3",
        "drained_l",
        "flow_factor",
        "flow_l_min",
        "gain_24h_frac",
        "irrigation_l",
        "max_depletion_frac",
        "plant",
        "planted",
        "rain_drained_l",
        "soil",
        "soil_kind",
        "spec",
        "spot",
        "strip_m2",
        "sudden_rewettings",
        "uneven",
    )

    def __init__(
        self, spec: BedTruthSpec, soil_kind: GardenSoil, plant: Plant, draw: BedDraw | None = None
    ) -> None:
        """Lay out the bed at its start depletion.

        Args:
            spec: the bed.
            soil_kind: its soil, as sure or as drawn.
            plant: its plants, likewise.
            draw: how emitters and the probes' spot depart; None = not at all.
        """
        drawn = draw or BedDraw()
        self.spec = spec
        self.soil_kind = soil_kind
        self.plant = plant
        self.flow_factor = 1.0 + drawn.flow_off_frac
        self.spot = Spot(drawn.spot_water_frac, drawn.spot_use_frac)
        self.uneven = drawn.spot_water_frac != 0.0 or drawn.spot_use_frac != 0.0
        self.strip_m2 = spec.strip_m2
        full, dry = soil_kind.field_capacity_m3_m3, soil_kind.wilting_point_m3_m3
        self._full_m3_m3 = full
        self.available_m3_m3 = full - dry
        theta = full - spec.start_depletion_frac * (full - dry)
        self.soil = soil_kind.column(
            (theta,) * len(soil_kind.thickness_mm),
            strip_width_m=spec.wetted_width_m,
            ground_width_m=spec.width_m,
        )
        self.soil.set_roots(plant.root_depth_m * 1000.0)
        self.planted = False
        self.flow_l_min = 0.0
        self.irrigation_l = self.drained_l = self.rain_drained_l = 0.0
        self.gain_24h_frac = 0.0
        self.sudden_rewettings = 0
        self._sudden_armed = True
        self._arrivals: deque[tuple[float, float, float]] = deque()
        self._gains: deque[tuple[float, float]] = deque()
        self._irrigation_48h_mm = self._rain_48h_mm = 0.0
        self._straw_mm = 0.0
        self._rain_frac = PLASTIC_RAIN_FRAC if spec.mulch == "plastic" else 1.0
        self._unclipped = self._depletion()
        wet_m3_m3 = spec.saturation_m3_m3 - LEAST_AIR_M3_M3
        self._wet_from_frac = (full - wet_m3_m3) / self.available_m3_m3
        self._relief_since_utc_s = self._wet_after_frac = math.inf  # no relief is under way
        self._dry_before_frac = 0.0
        self.max_depletion_frac = 0.0
        self._evaporation_kc = self._evaporation()

    def new_day(self, tmin_c: float, tmax_c: float, eto_mm_d: float, *, planted: bool) -> None:
        """Grow, deepen the roots, and set the day's evaporation.

        Args:
            tmin_c: today's lowest temperature [°C].
            tmax_c: today's highest temperature [°C].
            eto_mm_d: today's reference evapotranspiration [mm/d].
            planted: whether the plants are in the ground today.
        """
        self.planted = planted
        if planted:
            self.plant.new_day(tmin_c, tmax_c, eto_mm_d)
            self.soil.set_roots(self.plant.root_depth_m * 1000.0)
        self._evaporation_kc = self._evaporation()
        self._unclipped = self._depletion()

    def _evaporation(self) -> float:
        """Demand on the bare share of the soil as a multiple of ETo [-]."""
        bare = 1.0 - (self.plant.cover_frac if self.planted else 0.0)
        return BARE_EVAPORATION_KC * bare * MULCH_EVAPORATION[self.spec.mulch]

    def _depletion(self) -> float:
        """Depletion, below 0 in a soil wetter than field capacity."""
        return (self._full_m3_m3 - self.soil.root_theta_m3_m3()) / self.available_m3_m3

    @property
    def depletion_frac(self) -> float:
        """True depletion over present root depth and strip, clipped to 0..1."""
        return min(1.0, max(0.0, self._unclipped))

    @property
    def open_frac(self) -> float:
        """How far the leaves are open, 0..1."""
        if not self.planted:
            return 1.0
        return openness(self.tension_kpa(), self.closing_kpa())

    def tension_kpa(self) -> float:
        """Tension at the roots: the soil's own at their mean content [kPa]."""
        return self.soil.curve.tension_kpa(self.soil.root_theta_m3_m3())

    def closing_kpa(self) -> float:
        """Tension at which the leaves begin to close today [kPa]."""
        return self._tension_at(self.plant.p_frac)

    def step(self, at_utc_s: float, seconds: float, air: Air) -> None:
        """Carry the bed through one stretch of steady flow and weather.

        Args:
            at_utc_s: when it ends [Unix s UTC].
            seconds: its length [s].
            air: weather over it.
        """
        hours = seconds / 3600.0
        soil = self.soil
        eto_mm_h = air.eto_mm_h
        irrigation_mm_h = rain_mm_h = side_mm_h = demand_mm_h = 0.0
        if self.flow_l_min > 0.0:
            litres = self.flow_l_min * seconds / 60.0
            self.irrigation_l += litres
            irrigation_mm_h = litres / self.strip_m2 / hours
        if air.rain_mm_h > 0.0 or self._straw_mm > 0.0:
            rain_mm_h, side_mm_h = self._through_mulch(air, hours)
        if eto_mm_h > 0.0 and self.planted:
            demand_mm_h = self._transpire(eto_mm_h, hours)
        drained_mm = soil.drained_mm
        evaporation_mm_h = self._evaporation_kc * eto_mm_h
        has_moved = soil.step(
            hours, irrigation_mm_h, rain_mm_h, evaporation_mm_h, demand_mm_h, side_mm_h
        )
        if self.uneven:
            self.spot.step(hours, irrigation_mm_h * hours, demand_mm_h * hours)
        before = self._unclipped
        here = self._depletion() if has_moved else before
        self._unclipped = here
        if self.planted:
            self._watch(at_utc_s, hours, before, here)
        # the books are opened only where something would be written into them
        drained_mm = soil.drained_mm - drained_mm
        arrivals = self._arrivals
        if irrigation_mm_h > 0.0 or rain_mm_h > 0.0:
            arrived = (irrigation_mm_h * hours, rain_mm_h * hours)
            self._book(at_utc_s, arrived, drained_mm)
        elif arrivals and (drained_mm > 0.0 or arrivals[0][0] <= at_utc_s - ATTRIBUTION_S):
            self._book(at_utc_s, (0.0, 0.0), drained_mm)
        gains = self._gains
        if irrigation_mm_h > 0.0 or (
            gains
            and (gains[0][0] <= at_utc_s - DAY_S or (self._sudden_armed and self._is_sudden()))
        ):
            self._book_gain(at_utc_s, before, here, irrigation_mm_h * hours)

    def _watch(self, at_utc_s: float, hours: float, before: float, here: float) -> None:
        """Keep the driest, and what makes fruit crack or rot: reliefs, excess, saturation."""
        if here > self.max_depletion_frac:
            self.max_depletion_frac = min(1.0, here)
        if here < before:
            if self._relief_since_utc_s == math.inf:
                self._relief_since_utc_s = at_utc_s
                self._dry_before_frac = before
            if here < self._wet_after_frac:
                self._wet_after_frac = here
        elif here > self._wet_after_frac + RELIEF_ENDS_FRAC:
            self._end_relief()
        if at_utc_s - self._relief_since_utc_s >= DAY_S:
            self._end_relief()
        if here < -EXCESS_FROM_FRAC:
            above = (-here - EXCESS_FROM_FRAC) / (EXCESS_FULL_FRAC - EXCESS_FROM_FRAC)
            self.plant.day_excess_h += hours * min(1.0, above)
            if here < self._wet_from_frac:
                self.plant.day_wet_h += hours

    def _end_relief(self) -> None:
        """Book a fall of the tension that is over."""
        before, after = self._dry_before_frac, self._wet_after_frac
        self._relief_since_utc_s = self._wet_after_frac = math.inf
        if before - after > RELIEF_LEAST_FRAC:
            self.plant.fruit.relieved(self._tension_at(before), self._tension_at(after))

    def _tension_at(self, depletion_frac: float) -> float:
        """Tension at a depletion, which may be below 0 [kPa]."""
        theta = self._full_m3_m3 - depletion_frac * self.available_m3_m3
        return self.soil.curve.tension_kpa(theta)

    def _through_mulch(self, air: Air, hours: float) -> tuple[float, float]:
        """Rain that reaches the strip and the side [mm/h over each]."""
        if self._straw_mm > 0.0:
            self._straw_mm = max(0.0, self._straw_mm - air.eto_mm_h * hours)
        rain = air.rain_mm_h
        if rain <= 0.0:
            return 0.0, 0.0
        if self.spec.mulch == "straw":
            kept = min(rain * hours, STRAW_HOLDS_MM - self._straw_mm)
            self._straw_mm += kept
            through = rain - kept / hours
            return through, through
        strip = rain * self._rain_frac
        ratio = self.soil.side_ratio
        return strip, rain + (rain - strip) / ratio if ratio else 0.0

    def _transpire(self, eto_mm_h: float, hours: float) -> float:
        """Book potential and actual use; answer what the plants take over the strip [mm/h]."""
        plant = self.plant
        potential = plant.water_use * eto_mm_h
        # the tension need not be worked out while the soil is wetter than at closing
        opened = self.open_frac if self._unclipped > plant.p_frac else 1.0
        plant.day_potential_mm += potential * hours
        plant.day_actual_mm += potential * opened * hours
        return potential * opened * self.spec.width_m / self.spec.wetted_width_m

    def _book(self, at_utc_s: float, arrived: tuple[float, float], drained_mm: float) -> None:
        """Share what left the column between irrigation and rain of the last 48 h."""
        arrivals = self._arrivals
        irrigation_mm, rain_mm = arrived
        if irrigation_mm or rain_mm:
            end = at_utc_s - at_utc_s % ARRIVAL_BIN_S + ARRIVAL_BIN_S
            if arrivals and arrivals[-1][0] == end:
                _, was_irrigation, was_rain = arrivals.pop()
                arrivals.append((end, was_irrigation + irrigation_mm, was_rain + rain_mm))
            else:
                arrivals.append((end, irrigation_mm, rain_mm))
            self._irrigation_48h_mm += irrigation_mm
            self._rain_48h_mm += rain_mm
        while arrivals and arrivals[0][0] <= at_utc_s - ATTRIBUTION_S:
            _, old_irrigation, old_rain = arrivals.popleft()
            self._irrigation_48h_mm -= old_irrigation
            self._rain_48h_mm -= old_rain
        both = self._irrigation_48h_mm + self._rain_48h_mm
        if drained_mm > 0.0 and arrivals and both > 0.0:
            litres = drained_mm * self.strip_m2
            share = min(1.0, max(0.0, self._irrigation_48h_mm / both))
            self.drained_l += litres * share
            self.rain_drained_l += litres * (1.0 - share)

    def _book_gain(self, at_utc_s: float, before: float, here: float, given_mm: float) -> None:
        """Keep the available water that irrigation added within the last day."""
        gains = self._gains
        if given_mm > 0.0:
            whole_mm = self.available_m3_m3 * self.soil.root_zone_mm
            gained = min(given_mm / whole_mm, max(0.0, before) - max(0.0, here))
            if gained > 0.0:
                gains.append((at_utc_s, gained))
                self.gain_24h_frac += gained
        while gains and gains[0][0] <= at_utc_s - DAY_S:
            self.gain_24h_frac -= gains.popleft()[1]
        if not gains:
            self.gain_24h_frac = 0.0
        if not self._is_sudden():
            self._sudden_armed = True
        elif self._sudden_armed and self.plant.has_coloured_fruit:
            self._sudden_armed = False
            self.sudden_rewettings += 1

    def _is_sudden(self) -> bool:
        return self.gain_24h_frac > SUDDEN_FRAC
