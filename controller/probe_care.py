"""Once an hour: whether the probes answered the last doses, and whether one answered for another.

Comes after the hours of all probes were kept and before the hour's correction, so that what is
found out counts at once. Costs nothing while no dose waits for its answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from controller import undried_beds
from controller.flagging import SWAP_ALERT, cleared_by_person, end_flag, raise_flag
from controller.probe_readings import rain_known, since_water_s
from controller.probe_series import water_mm
from controller.run import Run
from controller.sensing import care, stimulus, uncalibrated
from controller.sensing.flags import FLAGS, Flag, Trust
from controller.state import DoseTrial, ProbeCare
from controller.watering.words import bed_name

DOUBTFUL_WEIGHT = 0.25
FLAT_WEIGHT = 0.0  # on a flat battery: it sags, and nobody knows by how much
DROWNED_DAYS = 2
DROWNED_DRY_H = 24
DROWNED_LEAST_MM = 20.0
HOUR_S = 3600.0


def probe_weight(run: Run, probe: str) -> float:
    """How much of its say a probe has.

    Args:
        run: the engine's working set.
        probe: its name.

    Returns:
        0 where a flag puts it out, a hand spoke against it, or its battery is flat; 1 where none is
        against it but a drift, for which it is set back; between them in doubt.
    """
    trust, flags = run.state.probes[probe].trust, run.state.probes[probe].flags
    if trust == Trust.OUT or Flag.AGAINST_HAND in flags:
        return 0.0
    if trust != Trust.DOUBTFUL or _only_strays(run, probe):
        return 1.0
    return FLAT_WEIGHT if Flag.BROWN_OUT in flags else DOUBTFUL_WEIGHT


def _only_strays(run: Run, probe: str) -> bool:
    """Whether a probe is only asked about for a drift: its readings are set back for that."""
    return all(
        code == Flag.DRIFT or FLAGS[Flag(code)].trust is not Trust.DOUBTFUL
        for code in run.state.probes[probe].flags
    )


def hour_ended(run: Run) -> None:
    """Go on with every trial by one hour, and judge the probes whose time is over."""
    trials = run.state.trials
    for bed in list(trials):
        trial = trials[bed]
        trial.hours += 1
        trial.after_h += 1
        trial.rain_mm += run.state.beds[bed].rain_hour_mm
        waiting = False
        for name in _by_depth(run, bed):
            if name in trial.judged:
                continue
            if trial.after_h > stimulus.window_h(run.garden.probes[name].depth_cm):
                trial.judged.append(name)
                _judge(run, bed, name, trial)
            else:
                waiting = True
        if not waiting or trial.hours > care.TRIAL_MOST_H:
            del trials[bed]
    for bed in run.garden.beds:
        _mind_drowned(run, bed)
    _mind_exchanges(run)


def _mind_exchanges(run: Run) -> None:
    """Ask every probe that fell whether it was changed for another."""
    for name, sense in run.senses.items():
        hours = run.state.probes[name].hours_m3_m3
        if len(hours) < 3 or hours[-1] is None:
            continue
        before = hours[-3]  # as nearly always it went nowhere
        if before is not None and before - hours[-1] < care.EXCHANGED_M3_M3:
            continue
        if care.fell_m3_m3(hours) >= care.EXCHANGED_M3_M3:
            _mind_exchange(run, name, sense.bed)


def _by_depth(run: Run, bed: str) -> list[str]:
    probes = run.garden.probes
    return sorted(run.garden.beds[bed].probes, key=lambda name: probes[name].depth_cm)


def content_m3_m3(run: Run, bed: str, name: str, told: float | None) -> float | None:
    """A probe's hour as water content; None while bare counts are not understood [m3/m3]."""
    if told is None or not run.garden.probes[name].uncalibrated:
        return told
    line = uncalibrated.line_of(run.state.learned, bed, name)
    return uncalibrated.theta_m3_m3(line, told)


def _before(run: Run, bed: str, name: str, since_h: int) -> float | None:
    told = stimulus.before_m3_m3(run.state.probes[name].hours_m3_m3, since_h)
    return content_m3_m3(run, bed, name, told)


def rise_m3_m3(run: Run, bed: str, name: str, since_h: int) -> float | None:
    """How far a probe rose since then at most [m3/m3]; None where too little was heard of it."""
    before = _before(run, bed, name, since_h)
    highest = stimulus.highest_m3_m3(run.state.probes[name].hours_m3_m3, since_h)
    after = content_m3_m3(run, bed, name, highest)
    return None if before is None or after is None else after - before


def _above(run: Run, bed: str, name: str, since_h: int) -> float | None:
    """What the probes above a probe told before the dose, those that are believed [m3/m3]."""
    depth_cm = run.garden.probes[name].depth_cm
    told = [
        _before(run, bed, other, since_h)
        for other in run.garden.beds[bed].probes
        if run.garden.probes[other].depth_cm < depth_cm and probe_weight(run, other) > 0.0
    ]
    known = [each for each in told if each is not None]
    return sum(known) / len(known) if known else None


def _judge(run: Run, bed: str, name: str, trial: DoseTrial) -> None:
    """A probe's time is over: it felt the dose, it missed it, or nobody can tell."""
    before, rise = _before(run, bed, name, trial.hours), rise_m3_m3(run, bed, name, trial.hours)
    if before is None or rise is None or trial.rain_mm >= stimulus.RAIN_VOIDS_MM:
        return
    room = run.soils[bed].field_capacity_m3_m3 - before
    memory = run.state.care.setdefault(name, ProbeCare())
    reach = _reach_frac(run, bed, name, before, trial)
    doubted = memory.misses > 0 or Flag.SWAPPED in run.state.probes[name].flags
    if rise >= stimulus.moved_least_m3_m3(room, clear=doubted):
        trial.felt = True
        _answered(run, name, memory, reach, trial.hours)
        return
    if rise >= stimulus.moved_least_m3_m3(room):
        return  # too little to make up for what it missed, too much for another miss
    if trial.given_mm >= stimulus.DOSE_LEAST_MM and _crossed(run, bed, name, trial):
        return  # also where it reads full: that may be the other bed's fullness
    if not _may_feel(run, bed, before, trial.given_mm, reach):
        return
    if _drowned_still(run, bed, name):
        raise_flag(run, name, Flag.FROZEN)
    if not _has_to_feel(run, bed, name, reach):
        return
    if trial.felt or _is_uppermost(run, bed, name):
        _missed(run, name, memory)  # a deep probe's silence counts where others felt the water


def _reach_frac(run: Run, bed: str, name: str, before: float, trial: DoseTrial) -> float:
    """The dose over what the ground above a probe lacked, as its upper neighbours told it."""
    soil, above = run.soils[bed], _above(run, bed, name, trial.hours)
    full = soil.field_capacity_m3_m3
    return stimulus.reach_frac(
        content_m3_m3=before if above is None else above,
        full_m3_m3=full,
        available_m3_m3=full - soil.wilting_point_m3_m3,
        given_mm=trial.given_mm,
        depth_cm=run.garden.probes[name].depth_cm,
    )


def _may_feel(run: Run, bed: str, before: float, given_mm: float, reach: float) -> bool:
    """Whether such a dose is worth a question: enough where another bed's probe felt it."""
    soil = run.soils[bed]
    full = soil.field_capacity_m3_m3
    if given_mm < stimulus.DOSE_LEAST_MM or reach < stimulus.REACH_TOP:
        return False
    return not stimulus.reads_full(before, full, full - soil.wilting_point_m3_m3)


def _has_to_feel(run: Run, bed: str, name: str, reach: float) -> bool:
    return reach >= stimulus.least_reach_frac(
        run.state.care[name].answered_frac,
        is_uppermost=_is_uppermost(run, bed, name),
        depth_cm=run.garden.probes[name].depth_cm,
        root_depth_m=run.days[bed].root_depth_m,
    )


def _mind_drowned(run: Run, bed: str) -> None:
    """Doses that follow each other too fast for a trial, and each too small to be felt, add up."""
    if water_mm(run, bed, 24 * DROWNED_DAYS) < DROWNED_LEAST_MM:
        return
    for name in run.garden.beds[bed].probes:
        if run.state.probes[name].trust != Trust.OUT and _drowned_dry(run, bed, name):
            _unheard(run, name)


def _drowned(run: Run, bed: str, name: str) -> bool:
    """Whether more water came lately, use allowed for, than all ground down to a probe can hold."""
    soil = run.soils[bed]
    available = soil.field_capacity_m3_m3 - soil.wilting_point_m3_m3
    holds_mm = 10.0 * run.garden.probes[name].depth_cm * available
    used_mm = sum(run.state.water[bed].use_mm_d[-DROWNED_DAYS:])
    return water_mm(run, bed, 24 * DROWNED_DAYS) - used_mm >= holds_mm


def _drowned_still(run: Run, bed: str, name: str) -> bool:
    """Whether a probe only trembled meanwhile."""
    hours = run.state.probes[name].hours_m3_m3
    return (
        len(hours) >= 24 * DROWNED_DAYS
        and stimulus.trembles(hours[-24 * DROWNED_DAYS :])
        and _drowned(run, bed, name)
    )


def _drowned_dry(run: Run, bed: str, name: str) -> bool:
    """Whether a probe told the dry half meanwhile: so it stands where that water does not come."""
    soil, hours = run.soils[bed], run.state.probes[name].hours_m3_m3
    told = [content_m3_m3(run, bed, name, each) for each in hours[-DROWNED_DRY_H:]]
    known = [each for each in told if each is not None]
    half = 0.5 * (soil.field_capacity_m3_m3 + soil.wilting_point_m3_m3)
    enough = len(known) >= DROWNED_DRY_H // 2
    return enough and max(known) < half and _drowned(run, bed, name)


def _is_uppermost(run: Run, bed: str, name: str) -> bool:
    return name == _by_depth(run, bed)[0]


def _answered(run: Run, name: str, memory: ProbeCare, reach: float, since_h: int) -> None:
    memory.misses = 0
    memory.answered_frac.append(reach)
    del memory.answered_frac[: -stimulus.ANSWERS]
    crossed = run.state.crossed
    for pair in [pair for pair in crossed if name in pair.split("|")]:
        if not any(_drank(run, other, since_h) for other in pair.split("|") if other != name):
            del crossed[pair]  # else it may have been the other bed's water
    probe = run.state.probes[name]
    if Flag.FROZEN in probe.flags:
        probe.tremor_m3_m3, probe.tremor_days = 0.0, 0  # it lives, and trembles otherwise now
    for flag in (Flag.NO_ANSWER_ONCE, Flag.FROZEN, Flag.SWAPPED, *undried_beds.ASKS):
        end_flag(run, name, flag)
    sense = run.senses.get(name)
    if sense is None or not _drowned_dry(run, sense.bed, name):
        end_flag(run, name, Flag.QUARANTINED)  # else it would be put out again within the hour


def _drank(run: Run, name: str, since_h: int) -> bool:
    """Whether a probe's bed has had water since then."""
    sense = run.senses.get(name)
    wetted_s = None if sense is None else run.state.water[sense.bed].wetted_utc_s
    return wetted_s is not None and run.state.at_utc_s - wetted_s <= since_h * HOUR_S


def _missed(run: Run, name: str, memory: ProbeCare) -> None:
    memory.misses += 1
    if memory.misses == 1:
        raise_flag(run, name, Flag.NO_ANSWER_ONCE)
        return
    _unheard(run, name)


def _unheard(run: Run, name: str) -> None:
    """Ask a probe no more until it answers."""
    if stimulus.trembles(run.state.probes[name].hours_m3_m3):
        raise_flag(run, name, Flag.FROZEN)
    raise_flag(run, name, Flag.QUARANTINED)
    end_flag(run, name, Flag.NO_ANSWER_ONCE)


# -- swapped probes


def _crossed(run: Run, bed: str, name: str, trial: DoseTrial) -> bool:
    """Whether a probe of another bed answered in this one's place; enough of that holds both."""
    risen = {
        other: _risen(run, other, trial.hours)
        for other in run.garden.beds
        if other != bed and other not in run.state.waterings and other not in run.state.trials
    }
    found = care.partner(risen, run.garden.probes[name].depth_cm)
    if found is None:
        return False
    other, theirs = found
    crossed = run.state.crossed
    pair = care.pair_of(name, theirs)
    all_rose = len(risen[other]) > 1 and len(risen[other]) == len(run.garden.beds[other].probes)
    times = care.CROSSED_ENOUGH if all_rose and rain_known(run) else 1
    crossed[pair] = crossed.get(pair, 0) + times
    beds = run.garden.beds
    between = care.crossed_between(crossed, beds[bed].probes, beds[other].probes)
    if sum(count for _, _, count in between) >= care.CROSSED_ENOUGH:
        doubted = [one for two in between for one in two[:2]]
        if times > 1:
            doubted += [*beds[bed].probes, *beds[other].probes]
        _hold_swapped(run, bed, other, doubted)
    else:
        raise_flag(run, name, Flag.NO_ANSWER_ONCE)
    return True


def _risen(run: Run, bed: str, since_h: int) -> list[tuple[str, float]]:
    """A bed's probes that rose since then, too late after its own water to rise by that."""
    wetted_s, found = run.state.water[bed].wetted_utc_s, []
    dry_h = math.inf if wetted_s is None else (run.state.at_utc_s - wetted_s) / HOUR_S
    for name in run.garden.beds[bed].probes:
        depth_cm = run.garden.probes[name].depth_cm
        if dry_h <= since_h + stimulus.window_h(depth_cm):
            continue
        rise = rise_m3_m3(run, bed, name, since_h)
        if rise is not None and rise >= care.CROSSED_RISE_M3_M3:
            found.append((name, depth_cm))
    return found


def _mind_exchange(run: Run, name: str, bed: str) -> None:
    """Whether a probe that fell tells what another bed's told two hours ago, and that one its."""
    hours = run.state.probes[name].hours_m3_m3
    for other, sense in run.senses.items():
        if sense.bed == bed or not care.exchanged(hours, run.state.probes[other].hours_m3_m3):
            continue
        dry = _dry_enough(run, bed, name, hours) and _dry_enough(run, sense.bed, other, hours)
        if Flag.SWAPPED in run.state.probes[name].flags or not dry:
            continue  # beds that drink in turn fall and rise so
        pair = care.pair_of(name, other)
        run.state.crossed[pair] = run.state.crossed.get(pair, 0) + care.CROSSED_ENOUGH
        _hold_swapped(run, bed, sense.bed, [name, other])


def _dry_enough(run: Run, bed: str, name: str, fell: Sequence[float | None]) -> bool:
    """Whether no water of a bed moves a probe of it while another probe fell by its hours."""
    since_s = since_water_s(run, bed)
    window_h = stimulus.window_h(run.garden.probes[name].depth_cm)
    dry_h = math.inf if since_s is None else since_s / HOUR_S
    return dry_h >= care.dry_enough_h(care.fell_m3_m3(fell), window_h)


def _hold_swapped(run: Run, one: str, other: str, probes: list[str]) -> None:
    for bed, away in ((one, other), (other, one)):
        run.raise_alert(
            "probes_swapped",
            f"{bed_name(bed)}'s probes tell of {bed_name(away)}, and the other way round. Neither "
            "waters by itself until somebody has put probes or valves right and clears this.",
            bed=bed,
            person=True,
        )
    for name in sorted(set(probes)):
        raise_flag(run, name, Flag.SWAPPED)
        end_flag(run, name, Flag.NO_ANSWER_ONCE)
    run.nudge = True


def swap_holds(run: Run, bed: str) -> bool:
    """Whether a bed waits for a person because its probes may be another bed's."""
    return bool(run.state.alerts) and f"{SWAP_ALERT}-{bed}" in run.state.alerts


def swap_cleared(run: Run, bed: str) -> None:
    """Somebody has put probes or valves right: this bed's part of it is over.

    The other bed's alert ends too where none of its probes is doubted for it any more.
    """
    state = run.state
    for name in run.garden.beds[bed].probes:
        partners = [pair for pair in state.crossed if name in pair.split("|")]
        for one in sorted({name, *(part for pair in partners for part in pair.split("|"))}):
            if Flag.SWAPPED in state.probes[one].flags:
                cleared_by_person(run, one)
                state.probes[one].hours_m3_m3.clear()  # put right, they exchange once more
        for pair in partners:
            del state.crossed[pair]
    for held in list(run.garden.beds):
        probes = run.garden.beds[held].probes
        doubted = any(Flag.SWAPPED in state.probes[name].flags for name in probes)
        if held == bed or not doubted:
            run.end_alert("probes_swapped", held)
    run.nudge = True
