"""From the garden file to each bed's soil and, once a day, its coefficients."""

from __future__ import annotations

from datetime import date

from controller.agronomy.crop import (
    Stage,
    coloured_fruit,
    kcb_of,
    line_and_floor,
    load_crops,
    root_depth_m,
    stage_of,
)
from controller.agronomy.crop import p_adjusted as depletion_fraction
from controller.agronomy.dual import COVERS
from controller.agronomy.rootzone import (
    exposed_wetted_frac,
    kc_max,
    shaded_wetted_frac,
    tew_mm,
)
from controller.agronomy.soil import REW_MM
from controller.garden import Bed, Garden
from controller.sensing.estimate import BedSoil
from controller.state import BedDay

REW_MOST_FRAC = 0.9  # of TEW, where a told soil is poorer than its class
DRIP_WETS_FRAC = 0.35  # fw, FAO-56 table 20
SHADE_PER_KCB = 0.75  # canopy cover is about this share of Kcb: our own proposal
STAGE_AHEAD_C_D = 30.0  # two to three warm days: a stage that begins so soon counts already
LINE_STEP_FRAC_D = 0.01  # the line moves to a looser stage by this a day


def soil_of(garden: Garden, bed_id: str, full_shift_m3_m3: float = 0.0) -> BedSoil:
    """What does not change in a season about one bed, but for its learned full point."""
    bed = garden.beds[bed_id]
    whole_mm = tew_mm(bed.fc_m3_m3, bed.wp_m3_m3)
    return BedSoil(
        bed=bed_id,
        field_capacity_m3_m3=bed.fc_m3_m3 + full_shift_m3_m3,
        told_field_capacity_m3_m3=bed.fc_m3_m3,
        wilting_point_m3_m3=bed.wp_m3_m3,
        saturation_m3_m3=bed.saturation_m3_m3,
        wetted_area_m2=bed.wetted_area_m2,
        ground_ratio=bed.ground_area_m2 / bed.wetted_area_m2,
        full_root_depth_m=bed.root_depth_m,
        mulch=bed.mulch,
        evaporation_share=COVERS[bed.mulch].evaporation_share_frac,
        tew_mm=whole_mm,
        rew_mm=min(REW_MM[bed.texture], REW_MOST_FRAC * whole_mm),
    )


def day_of(
    bed: Bed, soil: BedSoil, degree_days: float, today: date, eto_mm_d: float, before: BedDay | None
) -> BedDay:
    """A bed's coefficients for one day.

    Args:
        bed: from the garden file.
        soil: the bed's soil.
        degree_days: since transplanting [°C d].
        today: local date.
        eto_mm_d: expected reference evapotranspiration [mm/d].
        before: yesterday's; a line that loosens does so over days.

    Returns:
        The day's coefficients.
    """
    crops = [load_crops()[name] for name in bed.crop]
    staked = bed.habit == "indeterminate"
    crop = max(crops, key=lambda one: kcb_of(one, degree_days, staked))
    since_d = float((today - bed.transplanted).days)

    def stage_at(ahead_c_d: float) -> Stage:
        return stage_of(
            crop=crop,
            days_since_transplant=since_d,
            degree_days=degree_days + ahead_c_d,
            habit=bed.habit,
        )

    stage = stage_at(0.0)
    kcb = kcb_of(crop, degree_days, staked)
    root_m = min(soil.full_root_depth_m, root_depth_m(since_d, degree_days, bed.root_depth_m))
    # a tighter stage is met with its own line, so that no bed is past a floor on its first morning
    both = [line_and_floor(one, bed.lean) for one in (stage, stage_at(STAGE_AHEAD_C_D))]
    line, floor = min(one for one, _ in both), min(one for _, one in both)
    if before is not None and stage is not Stage.VEGETATIVE and line > before.line_frac:
        line = min(line, before.line_frac + LINE_STEP_FRAC_D)
    cover = min(0.95, SHADE_PER_KCB * kcb)
    wetted = shaded_wetted_frac(DRIP_WETS_FRAC, cover)
    return BedDay(
        stage=stage,
        days_since_transplant=since_d,
        degree_days=degree_days,
        root_depth_m=root_m,
        taw_mm=soil.taw_mm(root_m),
        line_frac=line,
        floor_frac=floor,
        p_frac=depletion_fraction(crop.p_tab, kcb * eto_mm_d),
        kcb=kcb,
        kc_max=kc_max(kcb, height_m=crop.height_m),
        exposed_frac=exposed_wetted_frac(cover, wetted),
        coloured=coloured_fruit(degree_days, crop),
    )
