"""A bed, its rules and the sky as the decision sees them: taken out of the engine's state."""

from __future__ import annotations

from controller.blindness import blind_d, blind_of, learning_of
from controller.correcting import RAINED_MM, is_learning
from controller.pausing import keeps_dry
from controller.pick_orders import pick_ahead
from controller.probe_care import swap_holds
from controller.run import Run
from controller.scarcity import weekdays_of
from controller.sensing import by_hand
from controller.sensing.by_hand import Feel
from controller.sensing.estimate import PLASTIC_SIDE_FRAC, expected_use_mm_d, held_mm
from controller.sensing.flags import Flag
from controller.sensing.quality import silent_after_s, usable
from controller.sensing.sky import (
    heat_expected,
    normal_eto_mm_d,
    rain_expected_mm,
    rains_expected,
)
from controller.sensing.spread import books_mm, full_sd_frac, spread_frac
from controller.state import BedMemory
from controller.unset_clock import soil_window
from controller.watering.decision import BedView, Rain, Reason, Rules, Sky
from controller.watering.eye import line_frac
from controller.watering.guard import interlock
from controller.watering.hours import Place, Window, on_weekday, turn_after_d, window_at
from controller.watering.policy import REFILL_TO_FRAC
from controller.watering.staged import given_between_l, given_day_l, rests, stands
from controller.watering.supply import supply_rests

NIGHT_USE_SHARE = 0.1  # of a day's use falls in a whole day's length of dark hours
FULL_FRAC = 0.02
WATERING_LEAST_FRAC = 0.08  # of TAW: a splash by hand costs a bed no night, the smallest dose does
RAINED_S = 5400.0  # after such an hour it rains for so long
LIMP_HOLDS_S = 6 * 3600.0  # a morning's look is no reason at noon
DAY_S = 86_400.0


def place_of(run: Run) -> Place:
    """Where the garden is and on which days water may run, for its hours."""
    place = run.place
    if place is None:
        place = run.place = _place_of(run)
    return place


def _place_of(run: Run) -> Place:
    info = run.garden.garden
    return Place(
        latitude_deg=info.latitude,
        longitude_deg=info.longitude,
        timezone=info.timezone,
        weekdays=weekdays_of(run.garden.supply),
    )


def window_now(run: Run) -> Window:
    """The window that holds now, else the next one."""
    by_soil = soil_window(run)
    if by_soil is not None:
        return by_soil
    at_utc_s, last = run.state.at_utc_s, run.window
    if last is None or not run.window_since_s <= at_utc_s < last.to_utc_s:
        run.window = last = window_at(run.garden.garden.hours, place_of(run), at_utc_s)
        run.window_since_s = min(at_utc_s, last.from_utc_s)
    return last


def quality_of(run: Run, bed: str) -> tuple[str, bool]:
    """How well a bed's probes speak, and whether it still waits for them.

    Returns:
        (`ok` | `doubtful` | `none`, waiting).
    """
    state, garden = run.state, run.garden
    setting, now_s = garden.beds[bed], state.mono_s
    names = setting.probes
    if not names:
        return ("none", False) if setting.like is None else quality_of(run, setting.like)
    since_s = max(state.started_mono_s, state.link_mono_s)
    speaking = doubted = learning = 0
    probes, senses = garden.probes, run.senses
    for name in names:
        probe = state.probes[name]
        if usable(probe, probes[name].every_s, since_s, now_s):
            if senses[name].bare and is_learning(run, bed, name):
                learning += 1
                continue
            speaking += 1
            doubted += probe.trust != ""
    if speaking + learning == len(names):
        sound = "doubtful" if doubted or learning else "ok"
        return sound if speaking else "none", False
    patience_s = max(
        silent_after_s(state.probes[name], garden.probes[name].every_s) for name in names
    )
    waiting = now_s - since_s <= patience_s  # after a start each gets the time to speak
    return "doubtful" if speaking else "none", waiting


def view_of(run: Run, bed: str, window: Window) -> BedView:
    """A bed as the decision sees it now."""
    state = run.state
    water, day, memory = state.water[bed], state.days[bed], state.beds[bed]
    soil, taw_mm = run.soils[bed], day.taw_mm
    quality, waiting = quality_of(run, bed)
    use_mm_d = _use_mm_d(run, bed)
    to_come_mm = use_mm_d * _use_before_sunrise_d(state.at_utc_s, window)
    taw_l = taw_mm * soil.wetted_area_m2
    view = BedView(
        bed=bed,
        stage=day.stage,
        taw_mm=taw_mm,
        wetted_area_m2=soil.wetted_area_m2,
        depletion_frac=water.depletion_mm / taw_mm,
        sunrise_frac=(water.depletion_mm + to_come_mm) / taw_mm,
        day_use_frac=use_mm_d / taw_mm,
        spread_frac=spread_frac(water, soil, day),
        full_sd_frac=full_sd_frac(water, soil),
        line_frac=line_frac(memory.eye, day.line_frac, day.floor_frac),
        limp=_limp(memory, state.at_utc_s),
        missed=memory.miss is not None,
        next_turn_d=turn_after_d(run.garden.garden.hours, place_of(run), window),
        floor_frac=day.floor_frac,
        quality=quality,
        waiting=waiting,
        wet=quality != "none" and _tell_wet(run, bed),
        watered=watered(memory, window, state.at_utc_s, taw_l),
        postponed=memory.postponed,
        coloured=day.coloured,
    )
    _see_hand(run, view)
    _see_doses(run, view, window)
    _see_rain(run, view)
    _see_pick(run, view, window)
    if quality == "none":
        view.blind, view.blind_d = blind_of(run, bed), blind_d(run, bed)
        view.learning = learning_of(run, bed)
    return view


def _tell_wet(run: Run, bed: str) -> bool:
    """Whether probes that no hand spoke against tell that the bed is full."""
    state, day = run.state, run.days[bed]
    told_frac = state.beds[bed].told_frac
    if told_frac is None or told_frac > FULL_FRAC:
        return False
    since_s = max(state.started_mono_s, state.link_mono_s)
    return state.water[bed].depletion_mm / day.taw_mm < day.line_frac and any(
        Flag.AGAINST_HAND not in state.probes[name].flags
        and usable(state.probes[name], run.garden.probes[name].every_s, since_s, state.mono_s)
        for name in run.garden.beds[bed].probes
    )


def _see_hand(run: Run, view: BedView) -> None:
    """Limp leaves over soil that a hand felt dry: no probe is asked whether that is thirst."""
    memory, water = run.state.beds[view.bed], run.state.water[view.bed]
    if view.limp and by_hand.stands(memory.felt, water, run.state.at_utc_s) is Feel.DRY:
        view.felt_frac = by_hand.told_frac(Feel.DRY, run.days[view.bed].line_frac)
        view.wet = False


def _see_doses(run: Run, view: BedView, window: Window) -> None:
    """What the bed was given of late, its books since, and a refill over nights under way."""
    memory, at_utc_s = run.state.beds[view.bed], run.state.at_utc_s
    given_mm = given_day_l(memory.day_doses, at_utc_s) / view.wetted_area_m2
    view.given_day_frac = given_mm / view.taw_mm
    view.books_frac = books_mm(run.state.water[view.bed]) / view.taw_mm
    view.refilled = _refilled(memory, view, window, at_utc_s)
    staging = memory.staging
    if staging is not None and stands(staging, at_utc_s):
        view.stages_done, view.staged_frac = staging.done, staging.lacked_frac
        view.watered = view.watered or (window.holds(at_utc_s) and rests(staging, at_utc_s))


def _refilled(memory: BedMemory, view: BedView, window: Window, at_utc_s: float) -> bool:
    """Whether a bed had a refill from its floor by day before these hours, or in the last day."""
    inside = window.holds(at_utc_s)
    if inside and view.next_turn_d > 1.0:  # the last hours for days: its line is what counts
        return False
    from_utc_s = (window.to_utc_s if inside else at_utc_s) - DAY_S
    given_mm = given_between_l(memory.day_doses, from_utc_s, at_utc_s) / view.wetted_area_m2
    return given_mm >= (view.floor_frac - REFILL_TO_FRAC) * view.taw_mm


def _see_rain(run: Run, view: BedView) -> None:
    """What a rain is to the bed, and whether one falls."""
    soil = run.soils[view.bed]
    view.rain_share_frac = PLASTIC_SIDE_FRAC if soil.mulch == "plastic" else 1.0
    view.rain_holds_mm = held_mm(soil)
    view.raining = _rains(run.state.beds[view.bed], run.state.at_utc_s)


def _see_pick(run: Run, view: BedView, window: Window) -> None:
    """How near a planned pick is."""
    pick = pick_ahead(run, view.bed, window)
    if pick is not None:
        view.pick_near, view.pick_in, view.pick_d = pick.near, pick.nights, pick.days_d


def _use_mm_d(run: Run, bed: str) -> float:
    """One expected day's use over the strip [mm]."""
    water, usual_mm_d = run.state.water[bed], 0.0
    if not water.use_mm_d:  # no day of its own yet
        eto_mm_d = normal_eto_mm_d(run.garden, run.state.at_utc_s)
        usual_mm_d = run.days[bed].kcb * eto_mm_d * run.soils[bed].ground_ratio
    return expected_use_mm_d(water, usual_mm_d)


def _use_before_sunrise_d(at_utc_s: float, window: Window) -> float:
    """How much of a day's use falls between now and the end of the hours [d]."""
    inside_s = window.to_utc_s - window.from_utc_s
    outside_s = max(1.0, DAY_S - inside_s)
    before_s = min(outside_s, max(0.0, window.from_utc_s - at_utc_s))
    dark_s = max(0.0, window.to_utc_s - max(at_utc_s, window.from_utc_s))
    dark_d = NIGHT_USE_SHARE * dark_s / DAY_S
    whole_dark_d = NIGHT_USE_SHARE * inside_s / DAY_S
    return (1.0 - whole_dark_d) * before_s / outside_s + dark_d


def watered(memory: BedMemory, window: Window, at_utc_s: float, taw_l: float) -> bool:
    """Whether the bed had a real watering in these hours, or just before them."""
    last_s = memory.last_watering_utc_s
    if last_s is None or memory.last_watering_l < WATERING_LEAST_FRAC * taw_l:
        return False
    return last_s >= window.from_utc_s or at_utc_s - last_s < DAY_S / 4.0


def _limp(memory: BedMemory, at_utc_s: float) -> bool:
    """Whether limp leaves of this morning still wait for their water."""
    return memory.limp_utc_s is not None and 0.0 <= at_utc_s - memory.limp_utc_s < LIMP_HOLDS_S


def _rains(memory: BedMemory, at_utc_s: float) -> bool:
    """Whether it rains on the bed now, or did a moment ago, and not just a drizzle."""
    rained_s = memory.rained_utc_s
    lately = rained_s is not None and 0.0 <= at_utc_s - rained_s <= RAINED_S
    return lately or memory.rain_hour_mm >= RAINED_MM


def rules_of(run: Run, bed: str, window: Window) -> Rules:
    """Interlocks, holds and hours for a bed now."""
    state = run.state
    locked = interlock(run, bed)
    frost_hold = locked is not None and locked.value == Reason.FROST.value
    hold: Reason | None = Reason.FROST if frost_hold else _no_water_day(run, bed)
    if supply_rests(run) and hold is None:
        hold = Reason.SUPPLY_LOST
    if swap_holds(run, bed):
        hold = Reason.PROBES_SWAPPED
    setting, today = run.garden.beds[bed], state.day
    if setting.cleared is not None and today >= setting.cleared.toordinal():
        hold = Reason.CLEARED
    if today < setting.transplanted.toordinal():
        hold = Reason.NOT_PLANTED
    if keeps_dry(run, bed):
        hold = Reason.PAUSED
    return Rules(
        interlock=None if locked is None or frost_hold else Reason(locked.value),
        hold=hold,
        in_hours=window.holds(state.at_utc_s),
        until_hours_s=max(0.0, window.from_utc_s - state.at_utc_s),
        left_s=max(0.0, window.to_utc_s - state.at_utc_s),
    )


def _no_water_day(run: Run, bed: str) -> Reason | None:
    """Why a bed that is due waits on a day on which water may not run."""
    state = run.state
    if on_weekday(place_of(run), state.at_utc_s):
        return None
    water, day, memory = state.water[bed], state.days[bed], state.beds[bed]
    line_mm = line_frac(memory.eye, day.line_frac, day.floor_frac) * day.taw_mm
    dries = water.depletion_mm < line_mm and not _limp(memory, state.at_utc_s)
    return None if dries else Reason.NO_WATER_DAY


def sky_of(run: Run) -> Sky:
    """What is foretold, for the decision."""
    state = run.state
    return Sky(
        rain_expected_mm=rain_expected_mm(state.sky, state.at_utc_s),
        rains=tuple(
            Rain(fall_mm=mm, chance_frac=chance)
            for mm, chance in rains_expected(state.sky, state.at_utc_s)
        ),
        hot=heat_expected(state.sky, state.at_utc_s),
    )
