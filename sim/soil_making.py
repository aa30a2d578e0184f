"""Makes the simulated soil whose own field capacity and wilting point are the garden file's.

Field capacity here is what it is in a bed: the mean content of the full root depth 48 h after the
soil was soaked through, covered and without roots. The retention curve goes through the wilting
point at 1500 kPa and the field capacity at 10 kPa; the conductivity is then scaled until the soak
ends at the field capacity. A soil drawn at random has its own field capacity and its own scale of
conductivity: there the content at 10 kPa is moved until the same soak ends at the field capacity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from controller.errors import SeasonError
from sim.soil_column import SoilColumn
from sim.soil_curve import Curve

WILTING_TENSION_KPA = 1500.0  # FAO-56 ch. 8
PLATEAU_TENSION_KPA = 10.0  # [kPa] of field capacity in the field; common practice
ENDED_TENSION_KPA = 12.1  # [kPa] whose content the root zone keeps when drainage has ended; ours
K_CAP_MM_H = 200.0  # [mm/h] no garden soil is taken to conduct faster; ours
SOAK_H = 48.0
SUBSOIL_MM = (150.0, 450.0)  # [mm] least and most soil between full roots and coarse subsoil; ours
COLUMN_MM = 1000.0  # [mm] where that leaves a choice the coarse subsoil begins here; ours
SKIN_LAYERS_MM = (50.0, 50.0)
ZONE_LAYERS_BELOW_SKIN = 5
SUBSOIL_LAYERS = 3
SHALLOWEST_ROOT_M = 0.15
PLATEAU_ERROR_M3_M3 = 1e-4  # [m3/m3] a made soil's plateau is this close to what was asked
DRAWN_ERROR_M3_M3 = 5e-4  # [m3/m3] a drawn soil's plateau likewise; within 0.3 % of most soils
LEAST_AVAILABLE_M3_M3 = 0.02  # [m3/m3] a drawn soil keeps at least this between its two points
WETTEST_ANCHOR_FRAC = 0.97  # of saturation: content at 10 kPa is never nearer to it; ours
KPA_PER_M = 9.81
SCALE_LOWEST_MM_H = 1e-4
SCALE_HIGHEST_MM_H = 20.0
BISECTIONS = 22
SECANTS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class GardenSoil:
    """A soil and how its column is laid.

    Args:
        curve: retention and conductivity.
        field_capacity_m3_m3: its own content 48 h after a soak, over the full root depth [m3/m3].
        wilting_point_m3_m3: its content at 1500 kPa [m3/m3].
        thickness_mm: layers from the top [mm].
        zone_layers: layers down to the full root depth.
        floor_tension_kpa: entry tension of the coarse subsoil [kPa].
        plateau_k_mm_h: conductivity at the anchor of the retention curve [mm/h].
    """

    curve: Curve
    field_capacity_m3_m3: float
    wilting_point_m3_m3: float
    thickness_mm: tuple[float, ...]
    zone_layers: int
    floor_tension_kpa: float
    plateau_k_mm_h: float

    def column(
        self,
        theta_m3_m3: tuple[float, ...],
        *,
        strip_width_m: float = 1.0,
        ground_width_m: float = 1.0,
    ) -> SoilColumn:
        """Lay a column of this soil with a given content of each layer."""
        return SoilColumn(
            self.curve,
            thickness_mm=self.thickness_mm,
            zone_layers=self.zone_layers,
            theta_m3_m3=theta_m3_m3,
            wilting_point_m3_m3=self.wilting_point_m3_m3,
            floor_tension_kpa=self.floor_tension_kpa,
            strip_width_m=strip_width_m,
            ground_width_m=ground_width_m,
        )

    def soaked_theta(self, hours: float = SOAK_H) -> float:
        """Mean content of the full root depth some hours after a covered, rootless soak."""
        column = self.column((self.curve.theta_s_m3_m3,) * len(self.thickness_mm))
        column.step(hours)
        return column.root_theta_m3_m3()


@lru_cache(maxsize=256)
def from_field_capacity(
    field_capacity_m3_m3: float,
    wilting_point_m3_m3: float,
    *,
    saturation_m3_m3: float,
    full_root_depth_m: float,
) -> GardenSoil:
    """The soil whose own plateau is the field capacity asked for.

    Args:
        field_capacity_m3_m3: wanted content 48 h after a soak [m3/m3], above the wilting point.
        wilting_point_m3_m3: wanted content at 1500 kPa [m3/m3], above 0.
        saturation_m3_m3: [m3/m3], above field capacity.
        full_root_depth_m: [m], 0.15 or more.

    Returns:
        The soil; its field capacity is within `PLATEAU_ERROR_M3_M3` of the wanted one.

    Raises:
        SeasonError: no such soil can be made.
    """
    low, high = math.log(SCALE_LOWEST_MM_H), math.log(SCALE_HIGHEST_MM_H)
    soil = None
    for _ in range(BISECTIONS):
        middle = (low + high) / 2.0
        soil = _lay(
            (field_capacity_m3_m3, wilting_point_m3_m3, saturation_m3_m3),
            full_root_depth_m,
            math.exp(middle),
        )
        error = soil.field_capacity_m3_m3 - field_capacity_m3_m3
        if abs(error) < PLATEAU_ERROR_M3_M3 / 10.0:
            break
        low, high = (middle, high) if error > 0.0 else (low, middle)
    if soil is None or abs(soil.field_capacity_m3_m3 - field_capacity_m3_m3) > PLATEAU_ERROR_M3_M3:
        msg = (
            f"soil: no conductivity makes field capacity {field_capacity_m3_m3:g} with saturation"
            f" {saturation_m3_m3:g} and roots of {full_root_depth_m:g} m"
        )
        raise SeasonError(msg)
    return soil


@lru_cache(maxsize=256)
def drawn_soil(
    field_capacity_m3_m3: float,
    wilting_point_m3_m3: float,
    *,
    saturation_m3_m3: float,
    full_root_depth_m: float,
    plateau_k_mm_h: float,
) -> GardenSoil:
    """A soil with a given field capacity and a given conductivity at 10 kPa.

    Args:
        field_capacity_m3_m3: wanted content 48 h after a soak [m3/m3].
        wilting_point_m3_m3: content at 1500 kPa [m3/m3].
        saturation_m3_m3: [m3/m3].
        full_root_depth_m: [m].
        plateau_k_mm_h: conductivity at 10 kPa [mm/h].

    Returns:
        The soil; its own field capacity is within `DRAWN_ERROR_M3_M3` of the wanted one, or as near
        as a content at 10 kPa between wilting point and saturation brings it.
    """
    lowest = wilting_point_m3_m3 + LEAST_AVAILABLE_M3_M3
    highest = WETTEST_ANCHOR_FRAC * saturation_m3_m3

    def soil_of(anchor: float) -> GardenSoil:
        contents = (anchor, wilting_point_m3_m3, saturation_m3_m3)
        return _lay(contents, full_root_depth_m, plateau_k_mm_h)

    def error_of(soil: GardenSoil) -> float:
        return soil.field_capacity_m3_m3 - field_capacity_m3_m3

    anchor = min(highest, max(lowest, field_capacity_m3_m3))
    best = soil = soil_of(anchor)
    slope = 1.0
    for _ in range(SECANTS):
        error = error_of(soil)
        # a plateau moves by a fifth to twice as much as its anchor
        following = min(highest, max(lowest, anchor - error / min(2.0, max(0.2, slope))))
        if abs(error) <= DRAWN_ERROR_M3_M3 or following == anchor:
            break
        soil = soil_of(following)
        slope = (error_of(soil) - error) / (following - anchor)
        anchor = following
        best = min(best, soil, key=lambda one: abs(error_of(one)))
    return best


def _lay(
    contents: tuple[float, float, float], full_root_depth_m: float, plateau_k_mm_h: float
) -> GardenSoil:
    """Lay a soil through its two anchors and soak it."""
    anchor, wilting, saturation = contents
    if not 0.0 < wilting < anchor < saturation < 1.0 or not (
        SHALLOWEST_ROOT_M <= full_root_depth_m <= 3.0
    ):
        msg = (
            f"soil: wilting point {wilting:g}, field capacity {anchor:g}, saturation"
            f" {saturation:g}, roots {full_root_depth_m:g} m; rising contents between 0 and 1 and"
            f" roots of {SHALLOWEST_ROOT_M:g} to 3 m are allowed"
        )
        raise SeasonError(msg)
    b = math.log(WILTING_TENSION_KPA / PLATEAU_TENSION_KPA) / math.log(anchor / wilting)
    ratio = saturation / anchor
    curve = Curve(
        theta_s_m3_m3=saturation,
        entry_tension_kpa=PLATEAU_TENSION_KPA * ratio**-b,
        b=b,
        ks_mm_h=plateau_k_mm_h * ratio ** (2.0 * b + 3.0),
        k_cap_mm_h=K_CAP_MM_H,
    )
    thickness = _layers(full_root_depth_m * 1000.0)
    zone_layers = len(thickness) - SUBSOIL_LAYERS
    soil = GardenSoil(
        curve=curve,
        field_capacity_m3_m3=anchor,
        wilting_point_m3_m3=wilting,
        thickness_mm=thickness,
        zone_layers=zone_layers,
        floor_tension_kpa=_floor_tension_kpa(curve, thickness, zone_layers),
        plateau_k_mm_h=plateau_k_mm_h,
    )
    return _with_plateau(soil)


def _layers(root_depth_mm: float) -> tuple[float, ...]:
    """Thickness of the layers: a skin, the rest of the root zone, the soil below it [mm]."""
    each = (root_depth_mm - sum(SKIN_LAYERS_MM)) / ZONE_LAYERS_BELOW_SKIN
    least, most = SUBSOIL_MM
    subsoil = max(least, min(most, COLUMN_MM - root_depth_mm))
    below = (subsoil / SUBSOIL_LAYERS,) * SUBSOIL_LAYERS
    return SKIN_LAYERS_MM + (each,) * ZONE_LAYERS_BELOW_SKIN + below


def _floor_tension_kpa(curve: Curve, thickness: tuple[float, ...], zone_layers: int) -> float:
    """Entry tension of the subsoil that leaves the root zone just past its plateau [kPa].

    At rest the tension grows upwards by 9.81 kPa a metre from the floor.
    """
    whole_mm = sum(thickness)
    zone_mm = sum(thickness[:zone_layers])
    wanted_mm = curve.theta_m3_m3(ENDED_TENSION_KPA) * zone_mm
    low, high = 0.05, ENDED_TENSION_KPA
    for _ in range(30):
        floor_kpa = (low + high) / 2.0
        depth_mm = held_mm = 0.0
        for layer in thickness[:zone_layers]:
            above_m = (whole_mm - depth_mm - layer / 2.0) / 1000.0
            held_mm += layer * curve.theta_m3_m3(floor_kpa + KPA_PER_M * above_m)
            depth_mm += layer
        low, high = (floor_kpa, high) if held_mm > wanted_mm else (low, floor_kpa)
    return (low + high) / 2.0


def _with_plateau(soil: GardenSoil) -> GardenSoil:
    """The same soil knowing its own field capacity."""
    return GardenSoil(
        curve=soil.curve,
        field_capacity_m3_m3=soil.soaked_theta(),
        wilting_point_m3_m3=soil.wilting_point_m3_m3,
        thickness_mm=soil.thickness_mm,
        zone_layers=soil.zone_layers,
        floor_tension_kpa=soil.floor_tension_kpa,
        plateau_k_mm_h=soil.plateau_k_mm_h,
    )
