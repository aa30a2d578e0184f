"""The simulated soil: water in layers under a wetted strip, and the ground beside it.

Works out water content, tension, drainage, evaporation and uptake for one bed. Kept apart from the
controller's own soil and balance on purpose: nothing of the controller is used here, so that the
controller is never tested against its own equations.

Physics: one curve for the whole soil (`sim.soil_curve`). Water moves by the matric flux potential
Phi = integral of K over tension, and by gravity (`sim.soil_flow`). The floor of the column is free
(unit gradient), or a coarse subsoil that takes water only while the soil above is wetter than its
entry tension, or held at a tension and gives water as well as it takes it.

Units: water in millimetres over the strip's own area, thickness in millimetres, rates in mm/h,
water content in m3/m3, tension in kPa as a positive number. Fluxes count downwards.

Leaves out: hysteresis, vapour, frost, heat, pressure in saturated soil (so no suction nearer to
saturation than the entry tension), spread of the water along and across the strip. How far off
that is against published cases stands in DEVELOPERS.md.
"""

from __future__ import annotations

from sim.soil_curve import Curve
from sim.soil_flow import conduct, lay_layers, solve, through_floor

POND_DEPTH_MM = 6.0  # [mm] what a raked strip holds before it runs off; ours, no source
SHARES_HOLD_FRAC = 0.02  # [-] of what roots can reach: shares are worked out anew after so much
SHORTEST_H = 1e-9  # [h] what is left of a stretch below this is rounding
CALM_H = 2.0  # [h] flows of a calm soil are worked out at least this often
CALM_SHARE = 0.25  # [-] of the longest accurate step that a calm soil waits
LONGEST_H = 3.0  # [h] no inner step is longer, for the sake of the exchange with the side
SIDE_H = 2.0  # [h] exchange with the side is worked out this seldom
EDGE_FRAC = 0.15  # [-] the strip's rim is drier than its middle: damps exchange with the side; ours
SIDE_DISTANCE_FRAC = 0.5  # [-] of the strip + side half widths: mean path between their means
LEVELLING_FRAC = 0.25  # [-] of their difference in content that strip and side level out at once
SIDE_SKIN_MM = 12.0  # [mm] water that evaporation reaches in the open ground; FAO-56 Table 19 TEW
AIR_DRY_FRAC = 0.5  # [-] of the wilting point: surface dries to this (FAO-56 eq. 73)


class SoilColumn:
    """The water under one bed's wetted strip and in the ground beside it."""

    __slots__ = (
        "_air_dry_mm",
        "_behind_h",
        "_lateral",
        "_layers",
        "_limit_h",
        "_phi",
        "_pond_k",
        "_pond_phi",
        "_root_mm",
        "_root_share",
        "_shared_mm",
        "_shares",
        "_side_h",
        "_wilt_mm",
        "below_roots_mm",
        "curve",
        "drained_mm",
        "evaporated_mm",
        "inflow_mm",
        "pond_mm",
        "risen_mm",
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
        floor_gives: bool = False,
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
            floor_gives: the floor is held at that tension and water also rises from it, under the
                strip alone; not with free drainage.
            strip_width_m: wetted width [m].
            ground_width_m: row to row [m]; the difference is the side.
        """
        self.curve = curve
        self.thickness_mm = thickness_mm
        self.zone_layers = zone_layers
        self.wilting_point_m3_m3 = wilting_point_m3_m3
        self.water_mm = [t * z for t, z in zip(theta_m3_m3, thickness_mm, strict=True)]
        self._wilt_mm = [wilting_point_m3_m3 * z for z in thickness_mm]
        self._air_dry_mm = AIR_DRY_FRAC * self._wilt_mm[0]
        self._layers = lay_layers(curve, thickness_mm, floor_tension_kpa, floor_gives=floor_gives)
        self._pond_phi = curve.flux_potential_mm2_h(curve.theta_s_m3_m3)
        self._pond_k = curve.conductivity_mm_h(curve.theta_s_m3_m3)
        self._phi = [curve.flux_potential_mm2_h(theta) for theta in theta_m3_m3]
        self._lay_side(strip_width_m, ground_width_m, theta_m3_m3[0])
        self.pond_mm = 0.0
        self._shares: list[float] = []
        self._behind_h = self._limit_h = self._side_h = 0.0
        self.inflow_mm = self.risen_mm = self.evaporated_mm = self.transpired_mm = 0.0
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
            if top >= depth_mm:
                break
            inside = max(0.0, min(layer, depth_mm - top))
            self._root_mm.append(inside / layer)
            middle = top + inside / 2.0
            self._root_share.append(inside / layer * (1.0 - 0.7 * middle / depth_mm))
            top += layer
        self.root_zone_mm = depth_mm
        self._shared_mm = 0.0

    def stored_mm(self) -> float:
        """All water in pond, strip and side, over the strip's area [mm]."""
        side = (self.side_mm + self.side_skin_mm) * self.side_ratio
        return sum(self.water_mm) + self.pond_mm + side

    def mass_error_mm(self) -> float:
        """What came in, less what went out, less what is stored since the start [mm]."""
        out = self.evaporated_mm + self.transpired_mm + self.drained_mm
        out += self.runoff_mm + self.seeped_mm
        return self.inflow_mm + self.risen_mm - out - (self.stored_mm() - self.start_mm)

    def root_theta_m3_m3(self) -> float:
        """Mean content over the present root depth [m3/m3]."""
        held = 0.0
        for share, water in zip(self._root_mm, self.water_mm, strict=False):
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
    ) -> bool:
        """Carry the soil through one stretch of steady weather and flow.

        Args:
            hours: length [h], at most about a sixth of an hour in a running bed.
            irrigation_mm_h: drip over the strip [mm/h].
            rain_mm_h: rain that reaches the strip's soil [mm/h].
            evaporation_mm_h: what the air would take from a wet surface [mm/h].
            transpiration_mm_h: what the plants take, over the strip [mm/h].
            side_rain_mm_h: rain on the side, over the side [mm/h]; None = as on the strip.

        Returns:
            Whether any water may have moved; in a calm night it mostly has not.
        """
        if transpiration_mm_h > 0.0:
            self._uptake(transpiration_mm_h * hours)
        if evaporation_mm_h > 0.0:
            self._evaporate(evaporation_mm_h * hours)
        side_rain = rain_mm_h if side_rain_mm_h is None else side_rain_mm_h
        arriving = irrigation_mm_h + rain_mm_h
        if arriving > 0.0 or side_rain > 0.0 or self.pond_mm > 0.0:
            if self._behind_h > 0.0:
                self._flow(self._behind_h)
                self._behind_h = 0.0
            self.inflow_mm += (arriving + side_rain * self.side_ratio) * hours
            self.side_skin_mm += side_rain * hours
            self._flow(hours, arriving)
            self._spill()
            return True
        # a calm soil is carried half its wait ahead, then left until it is half its wait behind
        self._behind_h += hours
        half_h = 0.5 * min(CALM_H, self._limit_h)
        if self._behind_h >= half_h:
            self._flow(self._behind_h + half_h)
            self._behind_h = -half_h
            return True
        return transpiration_mm_h > 0.0 or evaporation_mm_h > 0.0

    def _uptake(self, demand_mm: float) -> None:
        """Share the plants' water among the layers by roots and by what each can give."""
        water = self.water_mm
        if demand_mm > self._shared_mm:
            gives = [
                share * (held - wilt) if held > wilt else 0.0
                for share, held, wilt in zip(self._root_share, water, self._wilt_mm, strict=False)
            ]
            total = sum(gives)
            if total <= 0.0:
                return
            demand_mm = min(demand_mm, total)
            self._shares = [give / total for give in gives]
            self._shared_mm = SHARES_HOLD_FRAC * total
        self._shared_mm -= demand_mm
        for i, share in enumerate(self._shares):
            water[i] -= share * demand_mm
        self.transpired_mm += demand_mm

    def _evaporate(self, demand_mm: float) -> None:
        """Dry the pond, then the top layer, and the skin of the side, each as far as it is wet."""
        pond = 0.0
        if self.pond_mm > 0.0:
            pond = min(self.pond_mm, demand_mm)
            self.pond_mm -= pond
        spare = self.water_mm[0] - self._air_dry_mm
        # falls linearly once the top layer is below twice the wilting point; ours, near FAO eq. 74
        share = spare / (3.0 * self._air_dry_mm)
        if share > 0.0:
            lost = demand_mm - pond
            if share < 1.0:
                lost *= share
            if lost > spare:
                lost = spare
            self.water_mm[0] -= lost
            pond += lost
        if self.side_skin_mm > 0.0:
            skin = self.side_skin_mm
            side = demand_mm if skin >= SIDE_SKIN_MM else demand_mm * skin / SIDE_SKIN_MM
            if side > skin:
                side = skin
            self.side_skin_mm = skin - side
            pond += side * self.side_ratio
        self.evaporated_mm += pond

    def _flow(self, hours: float, arriving_mm_h: float = 0.0) -> None:
        """Move water for a stretch, in as many steps as accuracy asks."""
        left = hours
        while left > SHORTEST_H:
            entering, from_pond = self._able(arriving_mm_h)
            flows = conduct(self._layers, self.water_mm, entering)
            limit = flows.limit_h
            part = left if left <= limit else (limit if left >= 2.0 * limit else left / 2.0)
            if part > LONGEST_H:
                part = LONGEST_H
            if from_pond:
                # a pond that runs dry within the step cannot keep the surface wet
                supply = arriving_mm_h + self.pond_mm / part
                if supply < entering:
                    entering, from_pond = supply, False
            passed = solve(self._layers, self.water_mm, flows, part, entering, from_pond=from_pond)
            self._move(part, arriving_mm_h, passed)
            left -= part
            self._limit_h = CALM_SHARE * limit
            self._phi = flows.phi_mm2_h
            if self.side_ratio:
                self._side_h += part
                if self._side_h >= SIDE_H or self.side_skin_mm > SIDE_SKIN_MM:
                    self._move_sideways(self._side_h)
                    self._side_h = 0.0
        self._shared_mm = 0.0

    def _able(self, arriving_mm_h: float) -> tuple[float, bool]:
        """What enters at the top [mm/h], and whether a wet surface's pull decides it."""
        if arriving_mm_h <= 0.0 and self.pond_mm <= 0.0:
            return 0.0, False
        layers = self._layers
        ratio = min(layers.cap_ratio, self.water_mm[0] * layers.inv_full_per_mm[0])
        phi = layers.phi_scale_mm2_h * ratio ** (layers.b + 3.0)
        able = (self._pond_phi - phi) * layers.links_above_per_mm[0] + self._pond_k
        if self.pond_mm <= 0.0 and arriving_mm_h <= able:
            return arriving_mm_h, False
        return able, True

    def _move(self, hours: float, arriving_mm_h: float, passed: list[float]) -> None:
        """Book one step's flows from the floor up, none into a layer that is full."""
        water = self.water_mm
        full = self._layers.full_mm
        last = len(water) - 1
        zone = self.zone_layers - 1
        out = passed[last + 1]
        if out >= 0.0:
            self.drained_mm += out
        else:
            out = max(out, water[last] - full[last]) if self._layers.floor_gives else 0.0
            self.risen_mm -= out
        water[last] -= out
        if last == zone:
            self.below_roots_mm += out
        for i in range(last - 1, -1, -1):
            flow = passed[i + 1]
            room = full[i + 1] - water[i + 1]
            if flow > room:
                flow = room
            water[i] -= flow
            water[i + 1] += flow
            if i == zone:
                self.below_roots_mm += flow
        if arriving_mm_h > 0.0 or self.pond_mm > 0.0:
            ponded = self.pond_mm + arriving_mm_h * hours
            entering = max(0.0, min(ponded, passed[0], full[0] - water[0]))
            water[0] += entering
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
        phi = self._phi
        most = LEVELLING_FRAC * min(1.0, self.side_ratio)
        moved = 0.0
        for i, face in enumerate(self._lateral):
            layer = self.thickness_mm[i]
            # never so much that the drier becomes the wetter
            bound = most * (theta * layer - water[i])
            flow = (side_phi - phi[i]) * face * hours
            if flow > 0.0:
                if flow > bound:
                    flow = bound if bound > 0.0 else 0.0
            elif flow < bound:
                flow = bound if bound < 0.0 else 0.0
            water[i] += flow
            moved += flow
        self.side_mm -= moved / self.side_ratio
        self._drain_side(hours, theta, side_phi)

    def _drain_side(self, hours: float, theta: float, side_phi: float) -> None:
        """Let the side drain through its own floor."""
        k = self.curve.conductivity_mm_h(theta)
        rate = through_floor(self._layers, side_phi, k, 2.0 / sum(self.thickness_mm))
        # one explicit step of a compartment this deep is stable once a drop is bounded
        out = min(max(0.0, rate) * hours, 0.02 * self.side_mm)
        self.side_mm -= out
        self.seeped_mm += out * self.side_ratio
