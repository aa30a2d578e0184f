"""A bed's doses and its probes brought together: what is watched, and what it teaches.

The rules are in `controller/watering/efficiency.py`. A probe counts only where nothing speaks
against it, and a bed teaches only with two of them at different depths: one that feels the water
first, and one near the bottom of the roots.
"""

from __future__ import annotations

import math

from controller.run import Run
from controller.sensing.quality import usable
from controller.state import Watering
from controller.watering.efficiency import (
    RAIN_MM,
    SEEN_FROM_S,
    TAUGHT_AFTER_S,
    DeepWord,
    DoseWatch,
    enough,
    ran_through,
    taught,
)
from controller.watering.words import bed_name, percent

DEEP_LEAST_SHARE = 0.6  # of the full root depth: nearer the top it says nothing of the bottom
ASK_EVERY_S = 3600.0
LOOK_EVERY_S = 300.0  # while water runs: probes seldom speak oftener
MM_PER_M = 1000.0


def trusted_now(run: Run, bed: str) -> dict[str, float]:
    """What each of a bed's probes tells that is fresh and that nothing speaks against [m3/m3].

    In order of depth.
    """
    state, probes = run.state, run.garden.probes
    since_s = max(state.started_mono_s, state.link_mono_s)
    told: dict[str, float] = {}
    for name in sorted(run.garden.beds[bed].probes, key=lambda one: probes[one].depth_cm):
        probe = state.probes[name]
        theta = probe.theta_m3_m3
        if probe.trust or run.senses[name].bare or theta is None:
            continue
        if usable(probe, probes[name].every_s, since_s, state.mono_s):
            told[name] = theta
    return told


def deep_word(run: Run, bed: str, before_m3_m3: dict[str, float]) -> DeepWord | None:
    """What the uppermost and the deepest probe say of the water since then.

    Args:
        run: the engine's working set.
        bed: whose.
        before_m3_m3: what its trusted probes told before the water.

    Returns:
        None where two trusted probes did not speak then and now, or none is deep enough.
    """
    if len(before_m3_m3) < 2:
        return None
    now = trusted_now(run, bed)
    names = [name for name in now if name in before_m3_m3]
    if len(names) < 2:
        return None
    top, deep = names[0], names[-1]
    probes, soil, water = run.garden.probes, run.soils[bed], run.state.water[bed]
    depths_m = probes[top].depth_cm / 100.0, probes[deep].depth_cm / 100.0
    reaches = DEEP_LEAST_SHARE * soil.full_root_depth_m <= depths_m[1] <= soil.full_root_depth_m
    if not (depths_m[0] < depths_m[1] and reaches):
        return None
    care = run.state.care.get(deep)
    apart = 0.0 if care is None else (care.usual_apart_m3_m3 or 0.0)
    return DeepWord(
        shallow_before_m3_m3=before_m3_m3[top],
        shallow_m3_m3=now[top],
        deep_before_m3_m3=before_m3_m3[deep],
        deep_m3_m3=now[deep],
        full_m3_m3=soil.field_capacity_m3_m3 + max(0.0, apart),
        full_sd_m3_m3=water.full_sd_m3_m3 if water.full_odds_frac else math.inf,
    )


def is_down(run: Run, watering: Watering) -> bool:
    """Whether the deep probe says that a watering under way has given enough.

    Never of a person's watering, and never below the smallest deep dose.
    """
    pulse = watering.pulse
    given_l = watering.given_l + (0.0 if pulse is None else pulse.given_l)
    if not (watering.by == "policy" and given_l >= watering.least_l > 0.0):
        return False
    if run.state.mono_s - watering.looked_mono_s < LOOK_EVERY_S:
        return False
    watering.looked_mono_s = run.state.mono_s
    word = deep_word(run, watering.bed, watering.before_m3_m3)
    return word is not None and enough(word)


def watch_dose(run: Run, watering: Watering) -> None:
    """A watering has ended: its probes are looked at for a day."""
    lesson = run.state.beds[watering.bed].lesson
    look_on(run, watering.bed, last=True)
    water, soil = run.state.water[watering.bed], run.soils[watering.bed]
    if not watering.before_m3_m3 or not watering.given_l > 0.0:
        return
    lesson.watch = DoseWatch(
        ended_utc_s=run.state.at_utc_s,
        given_mm=watering.given_l / soil.wetted_area_m2,
        in_mm=water.in_mm,
        used_mm=watering.used_before_mm,
        told_m3_m3=watering.told_before_m3_m3,
        before_m3_m3=watering.before_m3_m3,
    )


def look_on(run: Run, bed: str, *, last: bool = False) -> None:
    """Go on with the watch of a bed's last dose; asked now and then, and before the next dose.

    Args:
        run: the engine's working set.
        bed: whose.
        last: another dose has come: what was not seen by now is not seen any more.
    """
    memory, water = run.state.beds[bed], run.state.water[bed]
    lesson = memory.lesson
    watch = lesson.watch
    if watch is None:
        return
    since_s = run.state.at_utc_s - watch.ended_utc_s
    if last or since_s < 0.0 or water.in_mm - watch.in_mm > RAIN_MM:
        lesson.watch = None  # or a clock set back, or rain: it teaches nothing
        return
    at_utc_s = run.state.at_utc_s
    if since_s < SEEN_FROM_S or 0.0 <= at_utc_s - watch.asked_utc_s < ASK_EVERY_S:
        return
    watch.asked_utc_s = at_utc_s
    if not watch.drained:
        word = deep_word(run, bed, watch.before_m3_m3)
        watch.drained = word is not None and ran_through(word)
    if since_s < TAUGHT_AFTER_S:
        return
    stayed = _stayed_frac(run, bed, watch)
    lacks = math.nan if memory.told_frac is None else memory.told_frac
    before = lesson.cut_frac, round(lesson.efficiency_frac, 2)
    taught(lesson, stayed, lacks)
    if (lesson.cut_frac, round(lesson.efficiency_frac, 2)) != before:
        _say(run, bed)


def _stayed_frac(run: Run, bed: str, watch: DoseWatch) -> float:
    """What the probes found again of a dose, with what was used since; NaN where they cannot."""
    memory, water, soil = run.state.beds[bed], run.state.water[bed], run.soils[bed]
    if watch.told_m3_m3 is None or memory.told_frac is None or memory.told_m3_m3 is None:
        return math.nan
    more_mm = MM_PER_M * (memory.told_m3_m3 - watch.told_m3_m3) * soil.full_root_depth_m
    return (more_mm + water.used_mm - watch.used_mm) / watch.given_mm


def _say(run: Run, bed: str) -> None:
    lesson = run.state.beds[bed].lesson
    run.note(
        "learned",
        bed,
        "dose",
        f"{bed_name(bed)} by its deep probe: {percent(lesson.efficiency_frac)} of a dose stays "
        f"among the roots, and the next dose is cut by {percent(lesson.cut_frac)}.",
        {"efficiency_frac": lesson.efficiency_frac, "cut_frac": lesson.cut_frac},
    )
