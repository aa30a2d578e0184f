"""Once an hour: what a bed's probes told corrects its balance, and teaches its full point."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

from controller import undried_beds
from controller.probe_care import probe_weight
from controller.run import Run
from controller.sensing import by_hand, dry_end, taken_back, uncalibrated
from controller.sensing.beds import day_of, soil_of
from controller.sensing.by_hand import Feel
from controller.sensing.estimate import RAIN_SD_FRAC, BedSoil, correct, pull, shift_full, weights_m
from controller.sensing.flags import Flag, Trust
from controller.sensing.full_point import begin, fed, hour, look
from controller.sensing.quality import hour_value, usable
from controller.sensing.sky import normal_eto_mm_d
from controller.sensing.spread import parts, spread_frac
from controller.state import BedDay
from controller.watering.words import bed_name

UNKNOWN_SPREAD_FRAC = 0.15
RAINED_MM = 0.5  # soaked in within an hour: more than a bed uses
ABOVE_SHARE = 0.4  # soil dries from the top: what probes miss below the middle of the roots
LIKE_SD_FRAC = 0.08  # of TAW: a bed against the sister that it follows; our own guess
LOOK_GAIN_LEAST = 0.05  # a look's share in what is not known: no less, nor more than 1 - it
SAID_FRAC = 0.05  # of the available water: a smaller change of the full point is not told

Told = list[tuple[float, float]]  # (depth [cm], water content [m3/m3]) of each valid probe


def today(run: Run, bed: str, at_utc_s: float) -> BedDay:
    """A bed's coefficients for the day of an instant [s, Unix]."""
    return day_of(
        run.garden.beds[bed],
        run.soils[bed],
        run.state.water[bed].degree_days,
        run.local_day(at_utc_s),
        normal_eto_mm_d(run.garden, at_utc_s),
        run.days.get(bed),
        run.state.beds[bed].marks,
        run.state.climate,
    )


def correct_unknown(run: Run, bed: str) -> None:
    """Take a bed's first readings at once where next to nothing is known of it."""
    water, day = run.state.water[bed], run.state.days[bed]
    if water.var_mm2 > (UNKNOWN_SPREAD_FRAC * day.taw_mm) ** 2:
        correct_bed(run, bed, run.state.at_utc_s)


def hear_rain(run: Run, bed: str, at_utc_s: float) -> None:
    """Let the hour's rain count among the soakings; comes before the hour's correction."""
    memory = run.state.beds[bed]
    rain_mm = memory.rain_hour_mm
    if rain_mm >= RAINED_MM:
        memory.rained_utc_s = at_utc_s
    if rain_mm > 0.0:
        fed(run.state.water[bed], rain_mm, RAIN_SD_FRAC * rain_mm, memory.told_m3_m3, at_utc_s)


def correct_bed(run: Run, bed: str, at_utc_s: float) -> None:
    """Pull a bed's state towards what its probes told since the last time.

    Args:
        run: the engine's working set.
        bed: whose.
        at_utc_s: when [s, Unix].
    """
    state = run.state
    memory, day, water, soil = state.beds[bed], run.days[bed], state.water[bed], run.soils[bed]
    if water.full_due_m3_m3:
        shift_full(water, day)
    _take_back(run, bed, at_utc_s)
    undried_beds.mind_end(run, bed)
    told, voices, names = _told(run, bed, at_utc_s)
    memory.told_frac = None
    if told:
        root_m, full_m = day.root_depth_m, soil.full_root_depth_m
        theta = content_m3_m3(told, root_m)
        told_mm = 1000.0 * (soil.field_capacity_m3_m3 - theta) * root_m
        if told_mm > 0.0 and root_m < full_m:
            told_mm *= _drier_above(tuple([depth for depth, _ in told]), root_m)
        memory.told_frac = max(0.0, told_mm) / day.taw_mm
        memory.told_m3_m3 = theta if root_m == full_m else content_m3_m3(told, full_m)
        was = taken_back.before(water)
        wetter = told_mm < water.depletion_mm - water.over_mm
        if not (wetter and _dry_hand_outranks(run, names)):
            correct(water, day, told_mm, voices, at_utc_s)
        taken_back.keep(water, was, names, at_utc_s)
        undried_beds.hour(run, bed, was, names)
        if voices:
            _learn_full(run, bed, memory.told_m3_m3, at_utc_s)
        _watch_dry_end(run, bed, memory.told_m3_m3, voices, at_utc_s)
        return
    like = _heard_sister(run, bed)
    if like is not None:
        _follow(run, bed, like, at_utc_s)


def _dry_hand_outranks(run: Run, names: list[str]) -> bool:
    """Whether a hand felt drier than each of these probes tells, twice: none makes a bed wetter."""
    probes, care = run.state.probes, run.state.care
    return all(
        Flag.AGAINST_HAND in probes[name].flags and name in care and care[name].told_wetter
        for name in names
    )


def _take_back(run: Run, bed: str, at_utc_s: float) -> None:
    """Let what a probe told before it was found out leave the bed again."""
    water, probes = run.state.water[bed], run.state.probes
    hours = 0
    for name in run.garden.beds[bed].probes:
        if probes[name].trust == Trust.OUT:
            probe = probes[name]
            doubtful_h = taken_back.doubtful_h(probe.flags)
            if doubtful_h:
                doubtful_h = taken_back.since_leap_h(probe.hours_m3_m3, doubtful_h, probe.flags)
            if doubtful_h > hours and taken_back.spoke(water, name, doubtful_h, at_utc_s):
                hours = doubtful_h
    if hours and taken_back.take_back(water, run.days[bed].taw_mm, hours, at_utc_s):
        run.nudge = True


def feel_bed(run: Run, bed: str, felt: Feel, depth_cm: float) -> None:
    """Pull a bed towards what a hand felt: its full point by that one's share, then the rest.

    Args:
        run: the engine's working set.
        bed: whose.
        felt: what was felt.
        depth_cm: at which depth [cm], above 0.

    The full point is taught only where the bed goes by probes that nothing is held against.
    """
    state = run.state
    water, memory, now_s = state.water[bed], state.beds[bed], state.at_utc_s
    if water.full_due_m3_m3:
        shift_full(water, run.days[bed])
    since_s = math.inf if memory.felt is None else now_s - memory.felt.at_utc_s
    names = run.garden.beds[bed].probes
    sound = memory.told_frac is not None and not any(state.probes[name].trust for name in names)
    taught = None
    if sound:
        soil, day = run.soils[bed], run.days[bed]
        taught = by_hand.teach_full(water, soil, day, felt, depth_cm, now_s, since_s)
    if taught:
        _renew(run, bed)
        shift_full(water, run.days[bed])
    by_hand.feel(
        water,
        run.soils[bed],
        run.days[bed],
        felt,
        depth_cm,
        now_s,
        since_s=since_s,
        full_taught=taught is not None,
    )
    water.pulls.clear()  # what was told before stands corrected by the hand


def is_heard(run: Run, bed: str) -> bool:
    """Whether a bed goes by probes, its own or a sister's, and not by its balance alone."""
    return run.state.beds[bed].told_frac is not None or _heard_sister(run, bed) is not None


def _heard_sister(run: Run, bed: str) -> str | None:
    """The bed that this one follows, while its probes tell."""
    like = run.garden.beds[bed].like
    return like if like is not None and run.state.beds[like].told_frac is not None else None


def believe_bed(run: Run, bed: str, mean_frac: float, var: float) -> None:
    """Pull a bed's balance to what a look makes of it, by one Kalman step.

    Args:
        run: the engine's working set.
        bed: whose.
        mean_frac: its depletion after the look, less what is above full [of TAW].
        var: of that [-]; where it is hardly less than before, or more, the step is bounded by the
            gate of three standard deviations and falls short of the mean.
    """
    water, day = run.state.water[bed], run.days[bed]
    unsure = parts(water, run.soils[bed], day)
    known = sum(unsure)
    gain = max(LOOK_GAIN_LEAST, min(1.0 - LOOK_GAIN_LEAST, 1.0 - var / known))
    off_frac = (mean_frac - (water.depletion_mm - water.over_mm) / day.taw_mm) / gain
    if off_frac == 0.0:
        return
    taw_mm2 = day.taw_mm * day.taw_mm
    pull(
        water,
        day.taw_mm,
        off_frac * day.taw_mm,
        known * (1.0 - gain) / gain * taw_mm2,
        teaches=not by_hand.drains(water, run.state.at_utc_s),
        beside_mm2=(unsure.full + unsure.shared) * taw_mm2,
    )
    water.pulls.clear()  # what probes told before stands corrected by the eye


def _renew(run: Run, bed: str) -> None:
    """Let a bed's soil and today's coefficients go by what was learned of it."""
    soil = run.soils[bed] = learned_soil(run, bed)
    day = run.days[bed]
    run.days[bed] = replace(day, taw_mm=soil.taw_mm(day.root_depth_m))


def _follow(run: Run, bed: str, like: str, at_utc_s: float) -> None:
    """Pull a bed without probes towards its sister's share; it is never as surely known as she."""
    water, sister = run.state.water[bed], run.state.water[like]
    day, her_mm = run.days[bed], run.days[like].taw_mm
    share = (sister.depletion_mm - sister.over_mm) / her_mm
    was = taken_back.before(water)
    correct(water, day, share * day.taw_mm, 1, at_utc_s)
    undried_beds.hour(run, bed, was)
    her_sd_frac = spread_frac(sister, run.soils[like], run.days[like])
    least_mm = math.hypot(her_sd_frac, LIKE_SD_FRAC) * day.taw_mm
    water.var_mm2 = max(water.var_mm2, least_mm * least_mm)


def _told(run: Run, bed: str, at_utc_s: float) -> tuple[Told, int, list[str]]:
    """What the bed's probes told since the last time, how many no hand spoke against, and who."""
    state, probes = run.state, run.garden.probes
    since_s = max(state.started_mono_s, state.link_mono_s)
    told: Told = []
    doubted: list[float] = []
    doubts, voices, names = False, 0, []
    for name in run.garden.beds[bed].probes:
        probe, setting = state.probes[name], probes[name]
        value = hour_value(probe)
        if value is None or not usable(probe, setting.every_s, since_s, state.mono_s):
            continue
        if run.senses[name].bare:
            line = uncalibrated.line_of(state.learned, bed, name)
            water, root_m = state.water[bed], run.days[bed].root_depth_m
            uncalibrated.hour(
                line, water, run.soils[bed], root_m, setting.depth_cm, value, at_utc_s
            )
            value = uncalibrated.theta_m3_m3(line, value)
            if value is None:
                continue
        care = state.care.get(name)
        told.append((setting.depth_cm, value - care.set_back_m3_m3 if care else value))
        names.append(name)
        doubt = 1.0 - probe_weight(run, name) if probe.trust else 0.0
        doubted.append(doubt)
        doubts, voices = doubts or doubt > 0.0, voices + (doubt < 1.0)
    return (_leaned(told, doubted) if doubts else told), voices, names


def _leaned(told: Told, doubted: list[float]) -> Told:
    """Let doubted probes lean on the sound ones beside them; where there are none, on nothing."""
    sound = [value for (_, value), doubt in zip(told, doubted, strict=True) if not doubt]
    if not sound:
        return told
    mean = sum(sound) / len(sound)
    return [
        (depth_cm, value + doubt * (mean - value))
        for (depth_cm, value), doubt in zip(told, doubted, strict=True)
    ]


def content_m3_m3(told: Told, depth_m: float) -> float:
    """Mean water content down to a depth, each probe by the layer that it speaks for [m3/m3].

    Args:
        told: depth and water content of each valid probe, at least one.
        depth_m: [m], above 0.

    Source: FAO-56 eq. 87, by layers.
    """
    told.sort()
    content = 0.0
    shares = _shares(tuple([depth for depth, _ in told]), depth_m)
    for share, (_, theta) in zip(shares, told, strict=True):
        content += share * theta
    return content


@lru_cache(maxsize=256)  # roots grow by the day, and the hours of a day ask the same
def _shares(depths_cm: tuple[float, ...], depth_m: float) -> tuple[float, ...]:
    return tuple(thick_m / depth_m for thick_m in weights_m(list(depths_cm), depth_m))


@lru_cache(maxsize=256)
def _drier_above(depths_cm: tuple[float, ...], depth_m: float) -> float:
    """By how much young roots lack more than probes tell that stand below their middle [-]."""
    shares = _shares(depths_cm, depth_m)
    middle_m = sum(share * depth / 100.0 for share, depth in zip(shares, depths_cm, strict=True))
    return 1.0 + ABOVE_SHARE * max(0.0, 2.0 * middle_m / depth_m - 1.0)


def _learn_full(run: Run, bed: str, told_m3_m3: float, at_utc_s: float) -> None:
    """Let the full point be learned; what an hour taught of it counts a day later."""
    water, soil = run.state.water[bed], run.soils[bed]
    if not water.full_odds_frac:
        begin(water, soil)
        water.full_probes = sorted(run.garden.beds[bed].probes)
    hour(water, soil, told_m3_m3, at_utc_s)
    if look(water, soil, at_utc_s) == 0.0:
        return
    _renew(run, bed)
    if abs(water.full_shift_m3_m3 - water.full_said_m3_m3) < SAID_FRAC * available_m3_m3(soil):
        return
    change, water.full_said_m3_m3 = (
        water.full_shift_m3_m3 - water.full_said_m3_m3,
        water.full_shift_m3_m3,
    )
    full = run.soils[bed].field_capacity_m3_m3
    run.note(
        "learned",
        bed,
        "full_point",
        f"{bed_name(bed)} is full at {full:.3f} m3/m3 by its own probes; that counts from now on.",
        {"change_m3_m3": change, "full_m3_m3": full},
    )


def _watch_dry_end(run: Run, bed: str, told_m3_m3: float, voices: int, at_utc_s: float) -> None:
    """Let a bed's wilting point be bounded by where all its probes see it drink."""
    water, soil, names = run.state.water[bed], run.soils[bed], run.garden.beds[bed].probes
    heard = voices == len(names) and not any(run.state.probes[name].trust for name in names)
    if not dry_end.hour(water, told_m3_m3, len(names) * heard, soil.full_root_depth_m, at_utc_s):
        return
    _renew(run, bed)
    wilting_m3_m3 = run.soils[bed].wilting_point_m3_m3
    change = wilting_m3_m3 - soil.wilting_point_m3_m3
    if change == 0.0:
        return
    run.note(
        "learned",
        bed,
        "wilting_point",
        f"{bed_name(bed)} still drank where its file has it wilt; it wilts at {wilting_m3_m3:.3f} "
        "m3/m3 at most. That counts from now on.",
        {"change_m3_m3": change, "wilting_m3_m3": wilting_m3_m3},
    )


def is_learning(run: Run, bed: str, probe: str) -> bool:
    """Whether a probe tells bare counts that nothing is known of yet."""
    line = run.state.learned.get(uncalibrated.key_of(bed, probe))
    return run.garden.probes[probe].uncalibrated and not uncalibrated.usable(line)


def bed_learns(run: Run, bed: str) -> bool:
    """Whether a bed goes by its balance because all its probes are still learned."""
    probes = run.garden.beds[bed].probes
    return bool(probes) and all(is_learning(run, bed, name) for name in probes)


def available_m3_m3(soil: BedSoil) -> float:
    """What the garden file says that this soil can give [m3/m3]."""
    return soil.told_field_capacity_m3_m3 - soil.wilting_told_m3_m3


def learned_soil(run: Run, bed: str) -> BedSoil:
    """A bed's soil with what was learned of it."""
    water = run.state.water.get(bed)
    shift = 0.0 if water is None else water.full_shift_m3_m3
    probes = run.garden.probes
    raw = any(probes[name].uncalibrated for name in run.garden.beds[bed].probes)
    drank = None if water is None else dry_end.drank_at_m3_m3(water)
    return soil_of(run.garden, bed, shift, uncalibrated=raw, drank_m3_m3=drank)
