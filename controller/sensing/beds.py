"""From the garden file to each bed's soil and, once a day, its coefficients."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from types import MappingProxyType

from controller.agronomy.crop import (
    Crop,
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
from controller.agronomy.rootzone import tew_mm
from controller.agronomy.soil import REW_MM
from controller.agronomy.stages import Marks, Seen, crop_as_marked
from controller.garden import Bed, Garden
from controller.sensing import dry_end, marked
from controller.sensing.climate import Climate
from controller.sensing.coefficients import coefficients, fitted, staked
from controller.sensing.estimate import FULL_SD_FRAC, PROBE_SD_M3_M3, RAW_SD_FRAC, BedSoil
from controller.state import BedDay

REW_MOST_FRAC = 0.9  # of TEW, where a told soil is poorer than its class
STAGE_AHEAD_C_D = 30.0  # two to three warm days: a stage that begins so soon counts already
NO_MARKS: Mapping[str, Seen] = MappingProxyType({})
STANDARD = Climate()  # of the tables
LINE_STEP_FRAC_D = 0.01  # the line moves to a looser stage by this a day


def soil_of(
    garden: Garden,
    bed_id: str,
    full_shift_m3_m3: float = 0.0,
    *,
    uncalibrated: bool = False,
    drank_m3_m3: float | None = None,
) -> BedSoil:
    """What does not change in a season about one bed, but for its learned full point.

    Args:
        garden: the garden file.
        bed_id: which bed.
        full_shift_m3_m3: its full point as its probes tell it, less the file's [m3/m3].
        uncalibrated: whether a probe of it tells bare counts, so that they are wrong by more.
        drank_m3_m3: the lowest content at which it was seen to drink, by the same probes [m3/m3].

    A shift is partly the soil's and partly the probes' own offset, by their spreads. The soil's
    part moves the full point alone; the probes' part moves what they read at the wilting point too.
    """
    bed = garden.beds[bed_id]
    probe_sd_m3_m3 = RAW_SD_FRAC * (bed.fc_m3_m3 - bed.wp_m3_m3) if uncalibrated else PROBE_SD_M3_M3
    soil_var = (FULL_SD_FRAC * bed.fc_m3_m3) ** 2
    probes_share = probe_sd_m3_m3**2 / (probe_sd_m3_m3**2 + soil_var)
    whole_mm = tew_mm(bed.fc_m3_m3, bed.wp_m3_m3)
    by_probes_m3_m3 = bed.wp_m3_m3 + probes_share * full_shift_m3_m3
    return BedSoil(
        bed=bed_id,
        field_capacity_m3_m3=bed.fc_m3_m3 + full_shift_m3_m3,
        told_field_capacity_m3_m3=bed.fc_m3_m3,
        wilting_point_m3_m3=dry_end.wilting_m3_m3(
            by_probes_m3_m3, bed.fc_m3_m3 - bed.wp_m3_m3, drank_m3_m3
        ),
        wilting_told_m3_m3=bed.wp_m3_m3,
        saturation_m3_m3=bed.saturation_m3_m3,
        wetted_area_m2=bed.wetted_area_m2,
        ground_ratio=bed.ground_area_m2 / bed.wetted_area_m2,
        full_root_depth_m=bed.root_depth_m,
        mulch=bed.mulch,
        evaporation_share=COVERS[bed.mulch].evaporation_share_frac,
        tew_mm=whole_mm,
        rew_mm=min(REW_MM[bed.texture], REW_MOST_FRAC * whole_mm),
        probe_sd_m3_m3=probe_sd_m3_m3,
        uncalibrated=uncalibrated,
    )


def _thirstiest(bed: Bed, degree_days: float, marks: Marks, climate: Climate) -> Crop:
    """The crop of a bed that drinks most today, fitted to it, its season as marked."""
    table = load_crops()
    crops = [crop_as_marked(fitted(bed, table[name], climate), marks) for name in bed.crop]
    return max(crops, key=lambda one: kcb_of(one, degree_days, staked(bed)))


def _line_and_floor(
    bed: Bed, stage: Stage, next_stage: Stage, before: BedDay | None
) -> tuple[float, float]:
    """Today's: a tighter stage that is near counts already, a looser line is reached over days."""
    # so that no bed is past a floor on the first morning of a stage
    both = [line_and_floor(one, bed.lean, bed.crop) for one in (stage, next_stage)]
    line, floor = min(one for one, _ in both), min(one for _, one in both)
    if before is not None and stage is not Stage.VEGETATIVE and line > before.line_frac:
        line = min(line, before.line_frac + LINE_STEP_FRAC_D)
    return line, floor


def day_of(
    bed: Bed,
    soil: BedSoil,
    degree_days: float,
    today: date,
    eto_mm_d: float,
    before: BedDay | None,
    marks: Mapping[str, Seen] = NO_MARKS,
    climate: Climate = STANDARD,
) -> BedDay:
    """A bed's coefficients for one day.

    Args:
        bed: from the garden file.
        soil: the bed's soil.
        degree_days: since transplanting [°C d].
        today: local date.
        eto_mm_d: expected reference evapotranspiration [mm/d].
        before: yesterday's; a line that loosens does so over days.
        marks: what the grower marked, by event; it outranks the degree-days of the table.
        climate: of the last weeks; the coefficients are fitted to it.

    Returns:
        The day's coefficients.
    """
    seen = marked.this_season(marks, bed.transplanted.toordinal())
    crop = _thirstiest(bed, degree_days, marked.marks_of(seen), climate)
    since_d = float((today - bed.transplanted).days)
    stage, next_stage = (
        stage_of(
            crop=crop,
            days_since_transplant=since_d,
            degree_days=degree_days + ahead_c_d,
            habit=bed.habit,
            topped=marked.Event.TOPPED in seen,
        )
        for ahead_c_d in (0.0, STAGE_AHEAD_C_D)
    )
    kc = coefficients(bed, crop, degree_days, climate)
    root_m = min(soil.full_root_depth_m, root_depth_m(since_d, degree_days, bed.root_depth_m))
    line, floor = _line_and_floor(bed, stage, next_stage, before)
    return BedDay(
        stage=stage,
        days_since_transplant=since_d,
        degree_days=degree_days,
        root_depth_m=root_m,
        taw_mm=soil.taw_mm(root_m),
        line_frac=line,
        floor_frac=floor,
        p_frac=depletion_fraction(crop.p_tab, kc.kcb * eto_mm_d),
        kcb=kc.kcb,
        kc_max=kc.kc_max,
        exposed_frac=kc.exposed_frac,
        coloured=coloured_fruit(degree_days, crop),
    )
