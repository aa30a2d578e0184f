"""What a garden file comes to in numbers, for high summer and full-grown plants.

Everything follows from the file and the controller's own rules; nothing is measured. High summer
is July, January south of the equator. Depths [mm] and litres are over a bed's wetted strip, demand
[L/d] over the ground that its plants have. Left out: rain, young plants, shade.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime

from controller.agronomy.crop import (
    YOUNG_ROOT_M,
    Stage,
    kcb_of,
    line_and_floor,
    load_crops,
    stage_of,
)
from controller.agronomy.dual import COVERS
from controller.agronomy.rootzone import kc_max
from controller.garden import REFILL_TO_FRAC, Bed, Garden
from controller.sensing.climate import Climate
from controller.sensing.coefficients import fitted, staked
from controller.sensing.sky import normal_eto_mm_d
from controller.watering.dosing import SOAK_S, Split, nominal_s, split, starts_give_l
from controller.watering.hours import Place, window_at
from controller.watering.limits import STARTS_MOST
from controller.watering.ponding import pond_pulses

SUMMER_STAGE = Stage.SETTING  # the tightest stage, which a staked plant has in all of high summer
NORTHERN_MONTHS = (5, 6, 7, 8, 9)
SOUTHERN_MONTHS = (11, 12, 1, 2, 3)
SEASON_DEGREE_DAYS = range(0, 2500, 50)  # [°C d] searched for the highest Kcb
CHECK_PULSES = 3  # a flow check waits for as many
CHECK_MINUTES = 1.0  # and at least as long
LEAST_ETO_MM_D = 0.1  # [mm/d] so that normals of 0 do not make an interval endless
LEAK_L_MIN = 0.1  # [L/min] with all valves closed
TIMER_SLACK_D = 0.25  # [d] by which a plain timer may pass the thirst line
LONGEST_NIGHT_MINUTES = 2 * 1440  # [min] where the play ends


@dataclass(frozen=True, slots=True, kw_only=True)
class StageLine:
    """The thirst line of one stage, alias MAD: of TAW, and in mm over the strip."""

    stage: str
    line_frac: float
    line_mm: float
    floor_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BedNumbers:
    """One bed, full-grown, in high summer.

    `refill_l` lifts it from the thirst line to where a refill stops; `interval_d` is how long that
    lasts without rain; `starts_l_day` is what the starts of its valve can give in 24 h.
    `pulses_per_minute` is None without a meter.
    """

    bed: str
    crop: str
    plants: int
    soil: str
    capacity_mm: float
    capacity_l: float
    thirst_line_frac: float
    thirst_line_mm: float
    thirst_line_l: float
    floor_frac: float
    stages: tuple[StageLine, ...]
    flow_l_min: float
    refill_l: float
    refill_minutes: float
    pulses: int
    demand_l_d: float
    interval_d: float
    bed_l_day: float
    starts_l_day: float
    dose_l: float
    floor_refill_l: float
    pulses_per_minute: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """Whether all beds fit into one night of high summer, should they come due together."""

    hours: str
    window_minutes: float
    needed_minutes: float
    share_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterNumbers:
    """Whether the meter's pulses come fast enough for the checks of flow."""

    meter: str
    litres_per_pulse_l: float
    slowest_pulses_per_minute: float
    check_minutes: float
    leak_minutes: float
    fine_enough: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TimerLine:
    """One bed on a plain tap timer: minutes a turn, and every how many days in each month."""

    bed: str
    minutes: int
    every_days: dict[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbers:
    """The whole garden in numbers."""

    month: int
    eto_mm_d: float
    eto_assumed: bool
    beds: tuple[BedNumbers, ...]
    night: Night
    meter: MeterNumbers | None
    site_l_day: float
    week_need_l: float
    timer: tuple[TimerLine, ...]


def numbers(garden: Garden) -> Numbers:
    """Work out what a garden file comes to.

    Args:
        garden: the garden file, validated.

    Returns:
        Its numbers for high summer.
    """
    month = 7 if garden.garden.latitude >= 0 else 1
    beds = tuple(_bed(garden, name, month) for name in garden.beds)
    return Numbers(
        month=month,
        eto_mm_d=_eto_mm_d(garden, month),
        eto_assumed=garden.normals.eto_mm_d is None,
        beds=beds,
        night=_night(garden, beds, month),
        meter=_meter(garden, beds),
        site_l_day=garden.site_l_day,
        week_need_l=7.0 * sum(bed.demand_l_d for bed in beds),
        timer=tuple(_timer(garden, bed) for bed in beds),
    )


def _middle_utc_s(garden: Garden, month: int) -> float:
    year = min(bed.transplanted.year for bed in garden.beds.values())
    return datetime(year, month, 15, 12, tzinfo=UTC).timestamp()


def _eto_mm_d(garden: Garden, month: int) -> float:
    return max(LEAST_ETO_MM_D, normal_eto_mm_d(garden, _middle_utc_s(garden, month)))


def kc_full_grown(bed: Bed) -> float:
    """Crop coefficient of a full-grown bed with damp ground, the thirstiest crop in it [-].

    Source: FAO-56 eq. 72 and 80 with the evaporation share of the mulch, in the standard climate.
    """
    crops = [fitted(bed, load_crops()[name], Climate()) for name in bed.crop]
    kcb = max(kcb_of(crop, day, staked(bed)) for crop in crops for day in SEASON_DEGREE_DAYS)
    bare = kc_max(kcb) - kcb
    return kcb + COVERS[bed.mulch].evaporation_share_frac * bare


def _split(garden: Garden, bed: str, litres: float) -> Split:
    whole_s = nominal_s(litres, garden.bed_flow_l_min(bed))
    return split(
        litres,
        garden.bed_flow_l_min(bed),
        float(garden.limits.open_max_s),
        metered=garden.meter is not None,
        least_pulses=pond_pulses(garden.beds[bed], whole_s),
    )


def _bed(garden: Garden, name: str, month: int) -> BedNumbers:
    bed = garden.beds[name]
    line, floor = line_and_floor(SUMMER_STAGE, bed.lean, bed.crop)
    capacity_l = bed.taw_mm * bed.wetted_area_m2
    refill_l = (line - REFILL_TO_FRAC) * capacity_l
    demand_l_d = kc_full_grown(bed) * _eto_mm_d(garden, month) * bed.ground_area_m2
    caps = garden.limits_for(name)
    meter = garden.meters[garden.meter] if garden.meter else None
    return BedNumbers(
        bed=name,
        crop=", ".join(bed.crop),
        plants=bed.plants,
        soil=bed.soil or f"as measured, like {bed.texture}",
        capacity_mm=bed.taw_mm,
        capacity_l=capacity_l,
        thirst_line_frac=line,
        thirst_line_mm=line * bed.taw_mm,
        thirst_line_l=line * capacity_l,
        floor_frac=floor,
        stages=_stages(bed),
        flow_l_min=bed.flow_l_min,
        refill_l=refill_l,
        refill_minutes=refill_l / bed.flow_l_min,
        pulses=_split(garden, name, refill_l).pulses,
        demand_l_d=demand_l_d,
        interval_d=refill_l / demand_l_d,
        bed_l_day=caps.bed_l_day,
        starts_l_day=starts_give_l(
            STARTS_MOST,
            bed.flow_l_min,
            float(garden.limits.open_max_s),
            metered=garden.meter is not None,
        ),
        dose_l=caps.dose_l,
        floor_refill_l=caps.refill_l,
        pulses_per_minute=bed.flow_l_min / meter.litres_per_pulse if meter else None,
    )


def _stages(bed: Bed) -> tuple[StageLine, ...]:
    """The stages that a bed's crops pass through, staked plants once they are topped."""
    table = load_crops()
    passed = {Stage.ESTABLISHING} | {
        stage_of(
            crop=table[name], days_since_transplant=90.0, degree_days=sum_c_d, habit="determinate"
        )
        for name in bed.crop
        for sum_c_d in SEASON_DEGREE_DAYS
    }
    young_share = min(1.0, YOUNG_ROOT_M / bed.root_depth_m)
    found = []
    for stage in (one for one in Stage if one in passed):
        line, floor = line_and_floor(stage, bed.lean, bed.crop)
        share = young_share if stage is Stage.ESTABLISHING else 1.0
        line_mm = line * share * bed.taw_mm
        found.append(
            StageLine(stage=stage.value, line_frac=line, line_mm=line_mm, floor_frac=floor)
        )
    return tuple(found)


def _night(garden: Garden, beds: tuple[BedNumbers, ...], month: int) -> Night:
    info = garden.garden
    place = Place(latitude_deg=info.latitude, longitude_deg=info.longitude, timezone=info.timezone)
    window = window_at(info.hours, place, _middle_utc_s(garden, month))
    window_minutes = (window.to_utc_s - window.from_utc_s) / 60.0
    needed = float(minutes_for_all(garden, {bed.bed: bed.refill_l for bed in beds}))
    return Night(
        hours=info.hours,
        window_minutes=window_minutes,
        needed_minutes=needed,
        share_frac=needed / window_minutes,
    )


def minutes_for_all(garden: Garden, litres: dict[str, float]) -> int:
    """Play through one night in which these beds drink, minute by minute.

    Args:
        garden: for flows, `beds_at_once` and the supply.
        litres: wanted by each bed [L], above 0.

    Returns:
        Minutes from the first opening to the last closing, soaks between pulses included; two
        days where they do not fit into two days.
    """
    parts = {bed: _split(garden, bed, wanted) for bed, wanted in litres.items()}
    pulse = {
        bed: math.ceil(part.pulse_l / garden.bed_flow_l_min(bed)) for bed, part in parts.items()
    }
    left = {bed: part.pulses for bed, part in parts.items()}
    ready = dict.fromkeys(parts, 0)
    open_until: dict[str, int] = {}
    for minute in range(LONGEST_NIGHT_MINUTES):
        for bed in [bed for bed, end in open_until.items() if end <= minute]:
            del open_until[bed]
        if not open_until and not any(left.values()):
            return minute
        for bed in sorted(parts, key=lambda name: -left[name] * pulse[name]):
            if left[bed] and ready[bed] <= minute and _fits(garden, bed, open_until):
                left[bed] -= 1
                open_until[bed] = minute + pulse[bed]
                ready[bed] = open_until[bed] + round(SOAK_S / 60.0)
    return LONGEST_NIGHT_MINUTES


def _fits(garden: Garden, bed: str, open_until: dict[str, int]) -> bool:
    flow_l_min = sum(garden.bed_flow_l_min(name) for name in (*open_until, bed))
    more = len(open_until) < garden.garden.beds_at_once
    return more and flow_l_min <= garden.shared_flow_l_min


def _meter(garden: Garden, beds: tuple[BedNumbers, ...]) -> MeterNumbers | None:
    name = garden.meter
    if name is None:
        return None
    per_pulse_l = garden.meters[name].litres_per_pulse
    slowest = min(bed.flow_l_min for bed in beds) / per_pulse_l
    return MeterNumbers(
        meter=name,
        litres_per_pulse_l=per_pulse_l,
        slowest_pulses_per_minute=slowest,
        check_minutes=max(CHECK_MINUTES, CHECK_PULSES / slowest),
        leak_minutes=max(CHECK_MINUTES, CHECK_PULSES * per_pulse_l / LEAK_L_MIN),
        fine_enough=slowest * CHECK_MINUTES >= CHECK_PULSES,
    )


def turn_d(bed: BedNumbers) -> int:
    """Every how many whole days a full-grown bed wants water in high summer without rain [d]."""
    return max(1, math.floor(bed.interval_d + TIMER_SLACK_D))


def turn_l(bed: BedNumbers) -> float:
    """What it uses from one such turn to the next [L]: no more and no less is to be given."""
    return bed.demand_l_d * turn_d(bed)


def _timer(garden: Garden, bed: BedNumbers) -> TimerLine:
    """What a plain timer should be set to: whole days, and so many minutes as they use."""
    northern = garden.garden.latitude >= 0
    months = NORTHERN_MONTHS if northern else SOUTHERN_MONTHS
    summer, every = _eto_mm_d(garden, months[2]), turn_d(bed)
    minutes = math.ceil(turn_l(bed) / bed.flow_l_min)
    days = {month: every * summer / _eto_mm_d(garden, month) for month in months}
    return TimerLine(
        bed=bed.bed,
        minutes=minutes,
        every_days={
            month: max(1, math.floor(span + TIMER_SLACK_D)) for month, span in days.items()
        },
    )
