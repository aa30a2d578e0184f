"""The simulated soil: water in layers under a wetted strip, and the ground beside it.

Works out water content, tension, drainage, evaporation and uptake for one bed. Kept apart from the
controller's own soil and balance on purpose: nothing of the controller is used here, so that the
controller is never tested against its own equations.

Physics: one curve for the whole soil (`sim.soil_curve`). Water moves by the matric flux potential
Phi = integral of K over tension, and by gravity, explicitly in time with steps that the scheme's
stability sets. The floor of the column is either free (unit gradient) or a coarse subsoil that
takes water only while the soil above is wetter than its entry tension.

Units: water in millimetres over the strip's own area, thickness in millimetres, rates in mm/h,
water content in m3/m3, tension in kPa as a positive number. Fluxes count downwards.

Leaves out: hysteresis, vapour, frost, heat, spread of the water along and across the strip.
"""

from __future__ import annotations

from itertools import pairwise

from sim.soil_curve import Curve

POND_DEPTH_MM = 6.0  # [mm] what a raked strip holds before it runs off; ours, no source
STEP_SAFETY_FRAC = 0.8  # share of the largest stable explicit step
GRAVITY_CARE = 8.0  # [-] free drainage is followed this much finer than stability asks
CALM_H = 0.5  # [h] flows of a calm soil are worked out this seldom
EDGE_FRAC = 0.15  # [-] the strip's rim is drier than its middle: damps exchange with the side; ours
SIDE_DISTANCE_FRAC = 0.5  # [-] of the strip + side half widths: mean path between their means
SIDE_SKIN_MM = 12.0  # [mm] water that evaporation reaches in the open ground; FAO-56 Table 19 TEW
AIR_DRY_FRAC = 0.5  # [-] of the wilting point: surface dries to this (FAO-56 eq. 73)


class SoilColumn:
    """The water under one bed's wetted strip and in the ground beside it."""

    __slots__ = (
        "_air_dry_mm",
        "_calm_h",
        "_cap_ratio",
        "_courant",
        "_floor_phi",
        "_full_mm",
        "_inv_full",
        "_k",
        "_lateral",
        "_link",
        "_phi",
        "_phi_scale",
        "_root_mm",
        "_root_share",
        "_wilt_mm",
        "below_roots_mm",
        "curve",
        "drained_mm",
        "evaporated_mm",
        "inflow_mm",
        "pond_mm",
        "root_zone_mm",
        "runoff_mm",
        "seeped_mm",
        "side_mm",
        "side_ratio",
        "side_skin_mm",
        "start_mm",
        "thickness_mm",
        "transpired_mm",
        "water_mm",
        "wilting_point_m3_m3",
        "zone_layers",
    )

    def __init__(
        self,
        curve: Curve,
        *,
        thickness_mm: tuple[float, ...],
        zone_layers: int,
        theta_m3_m3: tuple[float, ...],
        wilting_point_m3_m3: float,
        floor_tension_kpa: float | None = None,
        strip_width_m: float = 1.0,
        ground_width_m: float = 1.0,
    ) -> None:
        """Lay the column.

        Args:
            curve: the soil.
            thickness_mm: layers from the top down [mm].
            zone_layers: how many of them the full-grown roots reach; what passes below is counted.
            theta_m3_m3: content of each layer at the start [m3/m3].
            wilting_point_m3_m3: content at which roots take nothing [m3/m3].
            floor_tension_kpa: entry tension of the coarse subsoil [kPa], None = free drainage.
            strip_width_m: wetted width [m].
            ground_width_m: row to row [m]; the difference is the side.
        """
        self.curve = curve
        self.thickness_mm = thickness_mm
        self.zone_layers = zone_layers
        self.wilting_point_m3_m3 = wilting_point_m3_m3
        self.water_mm = [t * z for t, z in zip(theta_m3_m3, thickness_mm, strict=True)]
        self._full_mm = [curve.theta_s_m3_m3 * z for z in thickness_mm]
        self._inv_full = [1.0 / full for full in self._full_mm]
        self._wilt_mm = [wilting_point_m3_m3 * z for z in thickness_mm]
        self._air_dry_mm = AIR_DRY_FRAC * self._wilt_mm[0]
        self._link = [2.0 / (a + b) for a, b in pairwise(thickness_mm)] + [2.0 / thickness_mm[-1]]
        self._phi_scale = curve.flux_potential_mm2_h(curve.theta_s_m3_m3) / (
            curve.capped_ratio() ** (curve.b + 3.0)
        )
        self._cap_ratio = curve.capped_ratio()
        around = [a + b for a, b in zip([0.0, *self._link], self._link, strict=False)]
        self._courant = [(curve.b + 3.0) * g for g in around]
        self._floor_phi: float | None = None
        if floor_tension_kpa is not None:
            self._floor_phi = curve.flux_potential_mm2_h(curve.theta_m3_m3(floor_tension_kpa))
        self._k = [0.0] * len(thickness_mm)
        self._phi = [0.0] * len(thickness_mm)
        self._lay_side(strip_width_m, ground_width_m, theta_m3_m3[0])
        self.pond_mm = 0.0
        self._calm_h = 0.0
        self.inflow_mm = self.evaporated_mm = self.transpired_mm = 0.0
        self.drained_mm = self.runoff_mm = self.seeped_mm = self.below_roots_mm = 0.0
        self.set_roots(sum(thickness_mm[:zone_layers]))
        self.start_mm = self.stored_mm()

    def _lay_side(self, strip_width_m: float, ground_width_m: float, theta_m3_m3: float) -> None:
        """Set up the ground between the strips, one compartment as deep as the column."""
        side_m = max(0.0, ground_width_m - strip_width_m)
        self.side_ratio = side_m / strip_width_m
        self.side_mm = theta_m3_m3 * sum(self.thickness_mm)
        self.side_skin_mm = 0.0
        path_mm = SIDE_DISTANCE_FRAC * 500.0 * (strip_width_m + side_m)
        faces = 2.0 * EDGE_FRAC / (path_mm * strip_width_m * 1000.0) if side_m else 0.0
        self._lateral = [faces * z for z in self.thickness_mm[: self.zone_layers]]

    def set_roots(self, depth_mm: float) -> None:
        """Tell how deep the roots reach now; their density falls linearly to nothing there.

        Args:
            depth_mm: present root depth [mm], above 0.
        """
        self._root_mm = []
        self._root_share = []
        top = 0.0
        for layer in self.thickness_mm:
            inside = max(0.0, min(layer, depth_mm - top))
            self._root_mm.append(inside / layer)
            middle = top + inside / 2.0
            self._root_share.append(inside / layer * (1.0 - 0.7 * middle / depth_mm))
            top += layer
        self.root_zone_mm = depth_mm

    def stored_mm(self) -> float:
        """All water in pond, strip and side, over the strip's area [mm]."""
        side = (self.side_mm + self.side_skin_mm) * self.side_ratio
        return sum(self.water_mm) + self.pond_mm + side

    def mass_error_mm(self) -> float:
        """What came in, less what went out, less what is stored since the start [mm]."""
        out = self.evaporated_mm + self.transpired_mm + self.drained_mm
        out += self.runoff_mm + self.seeped_mm
        return self.inflow_mm - out - (self.stored_mm() - self.start_mm)

    def root_theta_m3_m3(self) -> float:
        """Mean content over the present root depth [m3/m3]."""
        held = 0.0
        for share, water in zip(self._root_mm, self.water_mm, strict=True):
            held += share * water
        return held / self.root_zone_mm

    def theta_at(self, depth_mm: float) -> float:
        """Content at a depth, straight between the layers' middles [m3/m3]."""
        top = 0.0
        before = None
        for water, layer in zip(self.water_mm, self.thickness_mm, strict=True):
            middle = top + layer / 2.0
            here = water / layer
            if depth_mm <= middle:
                if before is None:
                    return here
                share = (depth_mm - before[0]) / (middle - before[0])
                return float(before[1] + share * (here - before[1]))
            before = (middle, here)
            top += layer
        return self.water_mm[-1] / self.thickness_mm[-1]

    def step(
        self,
        hours: float,
        irrigation_mm_h: float = 0.0,
        rain_mm_h: float = 0.0,
        evaporation_mm_h: float = 0.0,
        transpiration_mm_h: float = 0.0,
        side_rain_mm_h: float | None = None,
    ) -> None:
        """Carry the soil through one stretch of steady weather and flow.

        Args:
            hours: length [h], at most about a sixth of an hour in a running bed.
            irrigation_mm_h: drip over the strip [mm/h].
            rain_mm_h: rain that reaches the strip's soil [mm/h].
            evaporation_mm_h: what the air would take from a wet surface [mm/h].
            transpiration_mm_h: what the plants take, over the strip [mm/h].
            side_rain_mm_h: rain on the side, over the side [mm/h]; None = as on the strip.
        """
        if transpiration_mm_h > 0.0:
            self._uptake(transpiration_mm_h * hours)
        if evaporation_mm_h > 0.0:
            self._evaporate(evaporation_mm_h * hours)
        side_rain = rain_mm_h if side_rain_mm_h is None else side_rain_mm_h
        arriving = irrigation_mm_h + rain_mm_h
        if arriving > 0.0 or side_rain > 0.0 or self.pond_mm > 0.0:
            self._flow(self._calm_h)
            self._calm_h = 0.0
            self.inflow_mm += (arriving + side_rain * self.side_ratio) * hours
            self.side_skin_mm += side_rain * hours
            self._flow(hours, arriving)
            self._spill()
            return
        self._calm_h += hours
        if self._calm_h >= CALM_H:
            self._flow(self._calm_h)
            self._calm_h = 0.0

    def _uptake(self, demand_mm: float) -> None:
        """Share the plants' water among the layers by roots and by what each can give."""
        water = self.water_mm
        gives = [
            share * (held - wilt) if held > wilt else 0.0
            for share, held, wilt in zip(self._root_share, water, self._wilt_mm, strict=True)
        ]
        total = sum(gives)
        if total <= demand_mm:
            return
        part = demand_mm / total
        for i, give in enumerate(gives):
            if give > 0.0:
                water[i] -= give * part
        self.transpired_mm += demand_mm

    def _evaporate(self, demand_mm: float) -> None:
        """Dry the pond, then the top layer, and the skin of the side, each as far as it is wet."""
        held = self.water_mm[0]
        spare = held - self._air_dry_mm
        # falls linearly once the top layer is below twice the wilting point; ours, near FAO eq. 74
        share = min(1.0, max(0.0, spare / (3.0 * self._air_dry_mm)))
        pond = min(self.pond_mm, demand_mm)
        lost = min((demand_mm - pond) * share, max(0.0, spare))
        self.pond_mm -= pond
        self.water_mm[0] = held - lost
        side = demand_mm * min(1.0, self.side_skin_mm / SIDE_SKIN_MM)
        self.side_skin_mm -= side
        self.evaporated_mm += pond + lost + side * self.side_ratio

    def _flow(self, hours: float, arriving_mm_h: float = 0.0) -> None:
        """Move water for a stretch, in as many explicit steps as stability asks."""
        if hours <= 0.0:
            return
        left = hours
        while left > 1e-9:
            limit = self._conduct()
            if arriving_mm_h > 0.0 and limit > 0.0834:
                limit = 0.0834
            part = left if left <= limit else (limit if left >= 2.0 * limit else left / 2.0)
            self._move(part, arriving_mm_h)
            left -= part
        if self.side_ratio:
            self._move_sideways(hours)

    def _conduct(self) -> float:
        """Work out K and Phi of each layer; answer the largest safe step [h]."""
        curve = self.curve
        b = curve.b
        ks = curve.ks_mm_h
        gravity_gain = GRAVITY_CARE * (2.0 * b + 3.0)
        cap = self._cap_ratio
        scale = self._phi_scale
        k: list[float] = []
        phi: list[float] = []
        fastest = 1e-6
        for water, inverse, courant in zip(
            self.water_mm, self._inv_full, self._courant, strict=True
        ):
            s = water * inverse
            if s > cap:
                s = cap
            power = s**b
            cube = s * s * s * power
            potential = scale * cube
            conductivity = ks * power * cube
            k.append(conductivity)
            phi.append(potential)
            rate = (courant * potential + gravity_gain * conductivity) / water
            if rate > fastest:
                fastest = rate
        self._k = k
        self._phi = phi
        return STEP_SAFETY_FRAC / fastest

    def _move(self, hours: float, arriving_mm_h: float) -> None:
        """One explicit step: out of the floor, between layers from below, in at the top."""
        water = self.water_mm
        full = self._full_mm
        k = self._k
        phi = self._phi
        link = self._link
        last = len(water) - 1
        rate = k[last]
        if self._floor_phi is not None:
            rate += (phi[last] - self._floor_phi) * link[last]
        zone = self.zone_layers - 1
        if rate > 0.0:
            out = rate * hours
            water[last] -= out
            self.drained_mm += out
            if last == zone:
                self.below_roots_mm += out
        for i in range(last - 1, -1, -1):
            flow = ((phi[i] - phi[i + 1]) * link[i] + k[i]) * hours
            if flow > 0.0:
                room = full[i + 1] - water[i + 1]
                if flow > room:
                    flow = room
            water[i] -= flow
            water[i + 1] += flow
            if i == zone:
                self.below_roots_mm += flow
        if arriving_mm_h > 0.0 or self.pond_mm > 0.0:
            self._infiltrate(hours, arriving_mm_h)

    def _infiltrate(self, hours: float, arriving_mm_h: float) -> None:
        """Take the pond in as fast as the surface, held wet, lets it."""
        ponded = self.pond_mm + arriving_mm_h * hours
        top = self._cap_ratio
        b = self.curve.b
        pull = (self._phi_scale * top ** (b + 3.0) - self._phi[0]) * 2.0 / self.thickness_mm[0]
        able = (pull + self.curve.ks_mm_h * top ** (2.0 * b + 3.0)) * hours
        entering = min(ponded, able, max(0.0, self._full_mm[0] - self.water_mm[0]))
        self.water_mm[0] += entering
        self.pond_mm = ponded - entering

    def _spill(self) -> None:
        """Let what stands too high on the strip run to the side, or away where there is none."""
        over = self.pond_mm - POND_DEPTH_MM
        if over <= 0.0:
            return
        self.pond_mm = POND_DEPTH_MM
        if self.side_ratio:
            self.side_skin_mm += over / self.side_ratio
        else:
            self.runoff_mm += over

    def _move_sideways(self, hours: float) -> None:
        """Exchange between strip and side, and the side's own drainage."""
        curve = self.curve
        depth = sum(self.thickness_mm)
        skin = self.side_skin_mm
        if skin > SIDE_SKIN_MM:
            self.side_mm += skin - SIDE_SKIN_MM
            self.side_skin_mm = SIDE_SKIN_MM
        over = self.side_mm - curve.theta_s_m3_m3 * depth
        if over > 0.0:
            self.side_mm -= over
            self.runoff_mm += over * self.side_ratio
        theta = self.side_mm / depth
        side_phi = curve.flux_potential_mm2_h(theta)
        water = self.water_mm
        moved = 0.0
        for i, face in enumerate(self._lateral):
            flow = (side_phi - self._phi[i]) * face * hours
            room = self._full_mm[i] - water[i]
            if flow > room:
                flow = room
            water[i] += flow
            moved += flow
        self.side_mm -= moved / self.side_ratio
        self._drain_side(hours, theta, side_phi)

    def _drain_side(self, hours: float, theta: float, side_phi: float) -> None:
        """Let the side drain through its own floor."""
        depth = sum(self.thickness_mm)
        rate = self.curve.conductivity_mm_h(theta)
        if self._floor_phi is not None:
            rate += (side_phi - self._floor_phi) * 2.0 / depth
        # one explicit step of a compartment this deep is stable once a drop is bounded
        out = min(max(0.0, rate) * hours, 0.02 * self.side_mm)
        self.side_mm -= out
        self.seeped_mm += out * self.side_ratio
