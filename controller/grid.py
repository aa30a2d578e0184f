"""The balance's own pace: a fixed grid of ten minutes of UTC, hours and days on top of it.

Ticks may come thinner or doubled; the grid is caught up before each event, so the beds' states do
not depend on them. A jump of the wall clock moves the grid along without inventing use: no more
steps are taken than trusted time has passed.
"""

from __future__ import annotations

from datetime import date

from controller import meter_trial, probe_care, probe_dawns, unseen_rain, unset_clock
from controller.agronomy.eto import Site
from controller.correcting import correct_bed, hear_rain, today
from controller.probe_hours import hour_ended
from controller.probe_readings import rain_known
from controller.run import Run
from controller.sensing.climate import end_day, keep_hour
from controller.sensing.estimate import GRID_S, add_rain, advance, deepen, start
from controller.sensing.marked import keep_warmth
from controller.sensing.sky import (
    ASSUMED_DEGREE_DAYS_D,
    day_degree_days,
    mast_speaks,
    site_of,
    step_eto_mm,
    whole_day_c,
)
from controller.turned_back import turn_back
from controller.watering.eye import line_frac

STEPS_H = 6
FIRST_GUESS_FRAC = 0.25
USE_DAYS = 3
WHOLE_DAY_STEPS = 120  # grid steps; a day that was lived for less says nothing of a day's use


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
            run.days[bed] = today(run, bed, at_utc_s)


def _begin_bed(run: Run, bed: str, at_utc_s: float) -> None:
    """A bed first seen: degree-days since planting are assumed until told otherwise."""
    since_d = (run.local_day(at_utc_s) - run.garden.beds[bed].transplanted).days
    run.state.water[bed] = start(run.soils[bed], 0.2, FIRST_GUESS_FRAC)
    run.state.water[bed].degree_days = ASSUMED_DEGREE_DAYS_D * max(0, since_d)
    day = today(run, bed, at_utc_s)
    fresh_water = start(run.soils[bed], day.root_depth_m, FIRST_GUESS_FRAC)
    fresh_water.degree_days = run.state.water[bed].degree_days
    run.state.water[bed] = fresh_water
    run.days[bed] = day


def catch_up(run: Run, at_utc_s: float) -> None:
    """Take the grid steps that are due, no more than trusted time allows.

    Args:
        run: the engine's working set.
        at_utc_s: now [s, Unix].
    """
    state = run.state
    now = int(at_utc_s // GRID_S)
    due = now - state.grid
    if due == 0:
        return
    if due > 0:
        trusted_s = run.trusted_s
        elapsed_s = max(-GRID_S, trusted_s - state.grid_trusted_s)
        steps = min(due, int(elapsed_s // GRID_S) + 1)
        site = site_of(run.garden)
        for grid in range(now - steps, now):
            _step(run, site, grid)
        state.grid_trusted_s = trusted_s - elapsed_s + steps * GRID_S
    else:
        turn_back(run, at_utc_s)
    state.grid = now


def _step(run: Run, site: Site, grid: int) -> None:
    state, soils, days = run.state, run.soils, run.state.days
    begin_s = grid * GRID_S
    eto_mm = step_eto_mm(run.garden, site, state.sky, begin_s + GRID_S / 2.0, state.mono_s)
    eto_sd_frac = state.sky.reckoned.eto_sd_frac
    rain_mm, state.sky.rain_due_mm = state.sky.rain_due_mm, 0.0
    state.climate.rain_today_mm += rain_mm
    heard = rain_known(run)
    for bed, water in state.water.items():
        soil, before_mm = soils[bed], water.used_mm
        if rain_mm > 0.0:
            net_mm = add_rain(water, soil, rain_mm, begin_s)
            state.beds[bed].rain_hour_mm += net_mm
        advance(water, soil, days[bed], eto_mm, eto_sd_frac)
        if not heard or state.beds[bed].spared_mm > 0.0:
            unseen_rain.settle(run, bed, water.used_mm - before_mm, heard=heard)
    if (grid + 1) % STEPS_H == 0:
        _hour(run, begin_s + GRID_S)
    day = run.local_day(begin_s + GRID_S).toordinal()
    if day != state.day:
        state.day = day
        _new_day(run, begin_s + GRID_S)


def _hour(run: Run, at_utc_s: float) -> None:
    state = run.state
    if mast_speaks(state.sky, state.mono_s):
        keep_hour(state.climate, state.sky.wind_m_s, state.sky.rh_pct)
    hour_ended(run, at_utc_s)
    unset_clock.hour_ended(run)
    probe_care.hour_ended(run)
    meter_trial.hour_ended(run)
    probe_dawns.hour_ended(run, at_utc_s)
    for bed in run.garden.beds:
        hear_rain(run, bed, at_utc_s)
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
                "line_frac": line_frac(memory.eye, day.line_frac, day.floor_frac),
                "rain_mm": memory.rain_hour_mm,
                "given_l": memory.given_hour_l,
            },
        )
        memory.rain_hour_mm = memory.given_hour_l = 0.0


def _new_day(run: Run, at_utc_s: float) -> None:
    state = run.state
    gained = day_degree_days(state.sky, state.mono_s)
    keep_warmth(state.warmth_c_d, state.day, gained)
    end_day(state.climate, whole_day_c(state.sky, state.mono_s))
    date_now = date.fromordinal(state.day)
    for bed, water in state.water.items():
        if date_now > run.garden.beds[bed].transplanted:
            water.degree_days += gained
        if water.use_steps >= WHOLE_DAY_STEPS:
            water.use_mm_d.append(water.use_today_mm)
            del water.use_mm_d[:-USE_DAYS]
        water.use_today_mm, water.use_steps = 0.0, 0
        before = run.days[bed]
        run.days[bed] = today(run, bed, at_utc_s)
        deepen(water, run.soils[bed], before.root_depth_m, run.days[bed].root_depth_m)
