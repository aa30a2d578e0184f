"""The balance's own pace: a fixed grid of ten minutes of UTC, hours and days on top of it.

Ticks may come thinner or doubled; the grid is caught up before each event, so the beds' states do
not depend on them. A jump of the wall clock moves the grid along without inventing use: no more
steps are taken than trusted time has passed.
"""

from __future__ import annotations

from datetime import date

from controller.agronomy.eto import Site
from controller.run import Run
from controller.sensing.beds import day_of, soil_of
from controller.sensing.estimate import (
    GRID_S,
    add_rain,
    advance,
    correct,
    deepen,
    measured_mm,
    start,
)
from controller.sensing.full_point import look
from controller.sensing.quality import fresh, hour_value
from controller.sensing.sky import (
    ASSUMED_DEGREE_DAYS_D,
    day_degree_days,
    normal_eto_mm_d,
    site_of,
    step_eto_mm,
)
from controller.state import BedDay
from controller.watering.words import bed_name

STEPS_H = 6
FIRST_GUESS_FRAC = 0.25
USE_DAYS = 3
WHOLE_DAY_STEPS = 120  # grid steps; a day that was lived for less says nothing of a day's use
UNKNOWN_SPREAD_FRAC = 0.15


def begin(run: Run, at_utc_s: float) -> None:
    """Give every bed a state and today's coefficients, where it has none yet."""
    state = run.state
    if state.grid == 0:
        state.grid = int(at_utc_s // GRID_S)
        state.day = run.local_day(at_utc_s).toordinal()
        state.grid_trusted_s = run.trusted_s
    for bed in run.garden.beds:
        if bed not in state.water:
            _begin_bed(run, bed, at_utc_s)
        else:
            run.days[bed] = _today(run, bed, at_utc_s)


def _begin_bed(run: Run, bed: str, at_utc_s: float) -> None:
    """A bed first seen: degree-days since planting are assumed until told otherwise."""
    since_d = (run.local_day(at_utc_s) - run.garden.beds[bed].transplanted).days
    run.state.water[bed] = start(run.soils[bed], 0.2, FIRST_GUESS_FRAC)
    run.state.water[bed].degree_days = ASSUMED_DEGREE_DAYS_D * max(0, since_d)
    day = _today(run, bed, at_utc_s)
    fresh_water = start(run.soils[bed], day.root_depth_m, FIRST_GUESS_FRAC)
    fresh_water.degree_days = run.state.water[bed].degree_days
    run.state.water[bed] = fresh_water
    run.days[bed] = day


def _today(run: Run, bed: str, at_utc_s: float) -> BedDay:
    return day_of(
        run.garden.beds[bed],
        run.soils[bed],
        run.state.water[bed].degree_days,
        run.local_day(at_utc_s),
        normal_eto_mm_d(run.garden, at_utc_s),
        run.days.get(bed),
    )


def catch_up(run: Run, at_utc_s: float) -> None:
    """Take the grid steps that are due, no more than trusted time allows.

    Args:
        run: the engine's working set.
        at_utc_s: now [s, Unix].
    """
    state = run.state
    due = int(at_utc_s // GRID_S) - state.grid
    if due == 0:
        return
    if due > 0:
        elapsed_s = max(-GRID_S, run.trusted_s - state.grid_trusted_s)
        steps = min(due, int(elapsed_s // GRID_S) + 1)
        first = state.grid + due - steps
        site = site_of(run.garden)
        for grid in range(first, first + steps):
            _step(run, site, grid)
        state.grid_trusted_s = run.trusted_s - elapsed_s + steps * GRID_S
    state.grid = int(at_utc_s // GRID_S)


def _step(run: Run, site: Site, grid: int) -> None:
    state, soils, days = run.state, run.soils, run.state.days
    begin_s = grid * GRID_S
    eto_mm = step_eto_mm(run.garden, site, state.sky, begin_s + GRID_S / 2.0, state.mono_s)
    rain_mm, state.sky.rain_due_mm = state.sky.rain_due_mm, 0.0
    for bed, water in state.water.items():
        soil = soils[bed]
        if rain_mm > 0.0:
            net_mm = add_rain(water, soil, rain_mm, begin_s)
            state.beds[bed].rain_hour_mm += net_mm
            water.soak_rain_mm += net_mm
        advance(water, soil, days[bed], eto_mm)
    if (grid + 1) % STEPS_H == 0:
        _hour(run, begin_s + GRID_S)
    today = run.local_day(begin_s + GRID_S).toordinal()
    if today != state.day:
        state.day = today
        _new_day(run, begin_s + GRID_S)


def _hour(run: Run, at_utc_s: float) -> None:
    state = run.state
    for bed in run.garden.beds:
        correct_bed(run, bed, at_utc_s)
    for bed, water in state.water.items():
        memory, day = state.beds[bed], run.days[bed]
        run.note(
            "state",
            bed,
            "hour",
            "",
            {
                "depletion_frac": water.depletion_mm / day.taw_mm,
                "line_frac": day.line_frac,
                "rain_mm": memory.rain_hour_mm,
                "given_l": memory.given_hour_l,
            },
        )
        memory.rain_hour_mm = memory.given_hour_l = 0.0


def correct_unknown(run: Run, bed: str) -> None:
    """Take a bed's first readings at once where next to nothing is known of it."""
    water, day = run.state.water[bed], run.days[bed]
    if water.var_mm2 > (UNKNOWN_SPREAD_FRAC * day.taw_mm) ** 2:
        correct_bed(run, bed, run.state.at_utc_s)


def correct_bed(run: Run, bed: str, at_utc_s: float) -> None:
    """Pull a bed's state towards what its probes told since the last time.

    Args:
        run: the engine's working set.
        bed: whose.
        at_utc_s: when [s, Unix].
    """
    state, garden = run.state, run.garden
    memory, day = state.beds[bed], run.days[bed]
    since_s = max(state.started_mono_s, state.link_mono_s)
    told: list[tuple[float, float]] = []
    for name in garden.beds[bed].probes:
        probe, setting = state.probes[name], garden.probes[name]
        value = hour_value(probe)
        if value is not None and fresh(probe, setting.every_s, since_s, state.mono_s):
            told.append((setting.depth_cm, value))
    memory.told_frac = None
    if told:
        told_mm = measured_mm(run.soils[bed], told, day.root_depth_m)
        memory.told_mm, memory.told_frac = told_mm, max(0.0, told_mm) / day.taw_mm
        correct(state.water[bed], day, told_mm, len(told), at_utc_s)
        _learn_full(run, bed, told_mm, at_utc_s)
        return
    like = garden.beds[bed].like
    if like is not None and state.beds[like].told_frac is not None:
        share = state.water[like].depletion_mm / run.days[like].taw_mm
        correct(state.water[bed], day, share * day.taw_mm, 1, at_utc_s)


def _learn_full(run: Run, bed: str, told_mm: float, at_utc_s: float) -> None:
    water, root_m = run.state.water[bed], run.days[bed].root_depth_m
    change = look(water, run.soils[bed], root_m, told_mm, at_utc_s)
    if change != 0.0:
        run.soils[bed] = soil_of(run.garden, bed, water.full_shift_m3_m3)
        run.days[bed] = _today(run, bed, at_utc_s)
        run.note(
            "learned",
            bed,
            "full_point",
            f"{bed_name(bed)} is full at {run.soils[bed].field_capacity_m3_m3:.3f} m3/m3 by its "
            "own probes; that counts from now on.",
            {
                "change_m3_m3": change,
                "full_m3_m3": run.soils[bed].field_capacity_m3_m3,
            },
        )


def _new_day(run: Run, at_utc_s: float) -> None:
    state = run.state
    gained = day_degree_days(state.sky, state.mono_s)
    today = date.fromordinal(state.day)
    for bed, water in state.water.items():
        if today > run.garden.beds[bed].transplanted:
            water.degree_days += gained
        if water.use_steps >= WHOLE_DAY_STEPS:
            water.use_mm_d.append(water.use_today_mm)
            del water.use_mm_d[:-USE_DAYS]
        water.use_today_mm, water.use_steps = 0.0, 0
        before = run.days[bed]
        run.days[bed] = _today(run, bed, at_utc_s)
        deepen(water, run.soils[bed], before.root_depth_m, run.days[bed].root_depth_m)
