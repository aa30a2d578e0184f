"""A crop through its season: coefficients, rooting, stages, and how far a bed may dry in each.

Scale: one bed of one crop. The clock is degree-days after transplanting [°C d], base 10 °C with a
horizontal cap at 30 °C (`degree_days`: the limits of Zalom & Wilson 1999 for tomato); other crops
use it too. The grower's own dates of flower, set, colour and last pick outrank it: `stages`.

Quantities: Kcb basal crop coefficient [-], p depletion fraction [-], Zr root depth [m], line and
floor as fractions of the total available water [-].

Sources: the table `crops.toml` is FAO-56's (tables 11, 12, 17, 22, 24). The degree-day limits, the
root curve, lines and floors are our own proposals, tried in a simulator and not published.

Leaves out: day lengths, varieties and pruning.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

from controller.agronomy.degree_days import degree_days_average as degree_days_average
from controller.agronomy.degree_days import degree_days_capped as degree_days_capped
from controller.agronomy.degree_days import degree_days_reduced as degree_days_reduced
from controller.agronomy.degree_days import degree_days_triangle as degree_days_triangle

# Our own proposals, not published.
ESTABLISHED_D = 12.0  # [d] from transplanting until the roots hold
GROWTH_BEGINS_C_D = 60.0  # [°C d] Kcb and roots leave their initial value
FULL_COVER_C_D = 500.0  # [°C d] Kcb and roots reach their mid-season value
DECLINE_BEGINS_C_D = 1200.0  # [°C d] a bush crop's Kcb begins to fall
DECLINE_ENDS_C_D = 1500.0  # [°C d] and has come to its end value
YOUNG_ROOT_M = 0.20  # [m] root zone of a transplant
TOMATO_COLOURS_C_D = 800.0  # [°C d] first colour of a tomato

P_PER_MM_D = 0.04  # [d/mm] FAO-56 table 22, note 2
P_AT_MM_D = 5.0  # [mm/d] the ETc of table 22
P_LOWEST, P_HIGHEST = 0.1, 0.8  # FAO-56 table 22, note 2

TRIED = frozenset({"tomato"})  # crops whose lines were tried, if only in a simulator
UNTRIED_FLOOR_FRAC = 0.10  # an untried crop's floor is this far past its line: our own proposal
LEAN_SPAN_FRAC = 0.16  # lean 0 to 1 moves line and floor by this much together
FLOOR_HIGHEST_FRAC = 0.65

CLIMATE_FROM_KCB = 0.45  # smaller coefficients are not adjusted: FAO-56 eq. 70


class Stage(StrEnum):
    """Stage of growth, as far as watering cares."""

    ESTABLISHING = "establishing"
    VEGETATIVE = "vegetative"
    SETTING = "setting"
    SIZING = "sizing"
    COLOURING = "colouring"


# Line and floor in each stage at lean 0.5, as fractions of TAW: our own proposals.
LINES_FRAC: Mapping[Stage, tuple[float, float]] = MappingProxyType(
    {
        Stage.ESTABLISHING: (0.25, 0.40),  # of a shallow zone
        Stage.VEGETATIVE: (0.50, 0.60),  # the best place to be deep and rare
        Stage.SETTING: (0.40, 0.50),  # the most sensitive weeks
        Stage.SIZING: (0.42, 0.52),
        Stage.COLOURING: (0.45, 0.55),  # sugar
    }
)


class Harvest(StrEnum):
    """What is picked: it decides which stages a crop passes through."""

    RIPE_FRUIT = "ripe_fruit"
    UNRIPE_FRUIT = "unripe_fruit"
    LEAF = "leaf"


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """One crop's row of `crops.toml`; the units are said there."""

    name: str
    kcb_ini: float
    kcb_mid: float
    kcb_end: float
    kcb_mid_staked: float | None = None
    kcb_end_staked: float | None = None
    height_m: float
    root_depth_least_m: float
    root_depth_most_m: float
    p_tab: float
    ky: float | None = None
    harvest: Harvest
    stage_d: tuple[float, float, float, float]
    first_flower_c_d: float | None = None
    first_set_c_d: float | None = None
    main_set_over_c_d: float | None = None
    first_colour_c_d: float | None = None
    last_pick_c_d: float | None = None  # never of the table: only the grower knows


@cache
def load_crops() -> Mapping[str, Crop]:
    """The crops known here, by name, in the order of the table.

    Returns:
        A read-only mapping; read from the package once. Units are said at `Crop` and in the table.

    Source: FAO-56 tables 11, 12, 17, 22, 24 by way of `crops.toml`, which names one at each number.
    """
    text = files("controller.agronomy").joinpath("crops.toml").read_text(encoding="utf-8")
    return MappingProxyType({name: _crop(name, row) for name, row in tomllib.loads(text).items()})


def _crop(name: str, row: dict[str, Any]) -> Crop:
    told = {"name": name, "harvest": Harvest(row["harvest"]), "stage_d": tuple(row["stage_d"])}
    return Crop(**{**row, **told})


def _clip(value: float, lowest: float, highest: float) -> float:
    return min(highest, max(lowest, value))


def stage_of(
    *,
    crop: Crop,
    days_since_transplant: float,
    degree_days: float,
    habit: Literal["determinate", "indeterminate"],
    topped: bool = False,
) -> Stage:
    """The stage of growth.

    An indeterminate plant flowers, sets and sizes at once, so it stays at the most sensitive stage
    until it is topped. A crop picked unripe stays there to its end. A leaf crop, whose head is what
    swells, is held at the sizing line once established.

    Args:
        crop: the crop.
        days_since_transplant: [d].
        degree_days: since transplanting [°C d].
        habit: of growth.
        topped: whether the growing tips have been taken off.

    Returns:
        The stage; a number that is no number never makes it a more watered one.

    Source: our own proposals.
    """
    if days_since_transplant < ESTABLISHED_D:
        return Stage.ESTABLISHING
    if crop.harvest is Harvest.LEAF or crop.first_flower_c_d is None:
        return Stage.SIZING
    if not degree_days >= crop.first_flower_c_d:
        return Stage.VEGETATIVE
    if habit == "indeterminate" and not topped:
        return Stage.SETTING
    return _after_flower(crop, degree_days)


def _after_flower(crop: Crop, degree_days: float) -> Stage:
    if crop.main_set_over_c_d is None or degree_days < crop.main_set_over_c_d:
        return Stage.SETTING
    if crop.first_colour_c_d is None or degree_days < crop.first_colour_c_d:
        return Stage.SIZING
    return Stage.COLOURING


def coloured_fruit(degree_days: float, crop: Crop | None = None) -> bool:
    """Whether ripening fruit, which can crack, is to be expected on the plants.

    Args:
        degree_days: since transplanting [°C d].
        crop: the crop; a tomato where none is given.

    Returns:
        False for a crop that is picked unripe or for its leaves, and after the last pick.

    Source: our own proposal.
    """
    first_c_d = TOMATO_COLOURS_C_D if crop is None else crop.first_colour_c_d
    last_c_d = None if crop is None else crop.last_pick_c_d
    if last_c_d is not None and degree_days >= last_c_d:
        return False
    return first_c_d is not None and degree_days >= first_c_d


def _share(value: float, start: float, end: float) -> float:
    """How far `value` is on the way from start to end, 0..1; 0 for NaN."""
    return max(0.0, min(1.0, (value - start) / (end - start))) if value > start else 0.0


def kcb_of(crop: Crop, degree_days: float, staked: bool) -> float:
    """Basal crop coefficient: flat, rising, flat, and falling for a bush crop only.

    Args:
        crop: the crop.
        degree_days: since transplanting [°C d].
        staked: grown tall; such plants are picked to the frost and keep their mid-season value.

    Returns:
        Kcb [-]; the initial value where `degree_days` is not a number.

    Source: FAO-56 eq. 66 and table 17; the degree-day limits are our own proposals.
    """
    mid = crop.kcb_mid
    if staked and crop.kcb_mid_staked is not None:
        mid = crop.kcb_mid_staked
    risen = _share(degree_days, GROWTH_BEGINS_C_D, FULL_COVER_C_D)
    fallen = 0.0 if staked else _share(degree_days, DECLINE_BEGINS_C_D, DECLINE_ENDS_C_D)
    return crop.kcb_ini + (mid - crop.kcb_ini) * risen - (mid - crop.kcb_end) * fallen


def kcb_climate_adjusted(
    kcb_tab: float, *, wind_m_s: float, rh_min_pct: float, height_m: float
) -> float:
    """A mid-season or end Kcb for the climate of the place; for means of a stage, not single days.

    Args:
        kcb_tab: of the table [-]; below 0.45 it is returned unchanged.
        wind_m_s: mean at 2 m [m/s], clipped to 1..6.
        rh_min_pct: mean lowest relative humidity of the day [%], clipped to 20..80.
        height_m: of the crop [m], clipped to 0.1..10.

    Returns:
        Kcb [-].

    Source: FAO-56 eq. 70 (eq. 62 has the same form); the limits of height are from memory.
    """
    if not kcb_tab >= CLIMATE_FROM_KCB:
        return kcb_tab
    return kcb_tab + climate_term(wind_m_s=wind_m_s, rh_min_pct=rh_min_pct, height_m=height_m)


def climate_term(*, wind_m_s: float, rh_min_pct: float, height_m: float) -> float:
    """What wind, dry air and height add to a crop coefficient.

    Args:
        wind_m_s: at 2 m [m/s], clipped to 1..6.
        rh_min_pct: lowest relative humidity [%], clipped to 20..80.
        height_m: of the crop [m], clipped to 0.1..10.

    Returns:
        The addition [-], 0 in the standard climate.

    Source: FAO-56 eq. 62, 70, 72.
    """
    wind_m_s = _clip(wind_m_s, 1.0, 6.0)
    rh_min_pct = _clip(rh_min_pct, 20.0, 80.0)
    height_m = _clip(height_m, 0.1, 10.0)
    added = 0.04 * (wind_m_s - 2.0) - 0.004 * (rh_min_pct - 45.0)
    return added * math.pow(height_m / 3.0, 0.3)


def p_adjusted(p_tab: float, etc_mm_d: float) -> float:
    """Depletion fraction for the day's crop evapotranspiration.

    Args:
        p_tab: at 5 mm/d [-].
        etc_mm_d: crop evapotranspiration [mm/d].

    Returns:
        p [-], 0.1..0.8.

    Source: FAO-56 table 22, note 2.
    """
    return _clip(p_tab + P_PER_MM_D * (P_AT_MM_D - etc_mm_d), P_LOWEST, P_HIGHEST)


def root_depth_m(
    days_since_transplant: float, degree_days: float, full_root_depth_m: float
) -> float:
    """Depth of the root zone that watering reckons with.

    Args:
        days_since_transplant: [d].
        degree_days: since transplanting [°C d].
        full_root_depth_m: the bed's greatest [m].

    Returns:
        Depth [m], never more than `full_root_depth_m`, never falling in time.

    Source: our own proposal; under drip the wetted bulb usually sets the depth.
    """
    young_m = min(YOUNG_ROOT_M, full_root_depth_m)
    if days_since_transplant < ESTABLISHED_D:
        return young_m
    grown = _share(degree_days, GROWTH_BEGINS_C_D, FULL_COVER_C_D)
    return young_m + (full_root_depth_m - young_m) * grown


def line_and_floor(
    stage: Stage, lean: float, crops: Sequence[str] = ("tomato",)
) -> tuple[float, float]:
    """The thirst line and the floor; of several crops in a bed the most sensitive one's.

    Args:
        stage: of growth.
        lean: the grower's wish, 0 lush .. 1 lean.
        crops: names of `crops.toml`, one at least.

    Returns:
        Line and floor as fractions of TAW; the line is below the floor (wetter).

    Source: for tomato our own proposals; published trials say only that setting is the most
    sensitive stage and that drying before the first flower does little harm. Any other crop is
    untried: its line is p of FAO-56 table 22, for ETc 5 mm/d, in every stage but the first weeks.
    """
    told = [_told_line_and_floor(stage, name) for name in crops]
    line, floor = min(one for one, _ in told), min(one for _, one in told)
    shift = (lean - 0.5) * LEAN_SPAN_FRAC
    floor = min(FLOOR_HIGHEST_FRAC, floor + shift)
    return min(line + shift, floor), floor


def _told_line_and_floor(stage: Stage, name: str) -> tuple[float, float]:
    line, floor = LINES_FRAC[stage]
    if name in TRIED:
        return line, floor
    p_tab = load_crops()[name].p_tab
    if stage is Stage.ESTABLISHING:
        return min(line, p_tab), min(floor, p_tab + UNTRIED_FLOOR_FRAC)
    return p_tab, p_tab + UNTRIED_FLOOR_FRAC


def untried(crops: Sequence[str]) -> tuple[str, ...]:
    """Those of some crops whose lines nobody has tried with this tool.

    Args:
        crops: names of `crops.toml`.

    Returns:
        Names, in the same order; empty where all were tried.

    Source: our own list, `TRIED`.
    """
    return tuple(name for name in crops if name not in TRIED)
