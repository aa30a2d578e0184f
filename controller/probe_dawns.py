"""Once a day at dawn: each bed's probes beside each other, and beside the bed's books.

Only settled dawns count: after water the depths stand apart for a day, after much rain for four.
"""

from __future__ import annotations

import math

from controller.flagging import end_flag, raise_flag
from controller.probe_care import content_m3_m3, probe_weight
from controller.run import Run
from controller.sensing import drift, following, set_back
from controller.sensing.flags import Flag
from controller.state import BedBooks, ProbeCare

DAWN_H = 6  # local; the hours from 04:00 to here are asked
DAWN_HOURS = 2
RAIN_DAYS = 4
APART_DAWNS = 3  # in a row
HOUR_S = 3600.0
DAY_S = 86_400.0


def hour_ended(run: Run, at_utc_s: float) -> None:
    """Keep the hour's rain; at dawn look at every bed with two probes or more.

    Args:
        run: the engine's working set.
        at_utc_s: the hour's end [s, Unix].
    """
    is_dawn = _is_dawn(run, at_utc_s)
    state = run.state
    for bed, memory in state.beds.items():
        if memory.rain_hour_mm > 0.0 or is_dawn:
            books = state.books.setdefault(bed, BedBooks())
            books.rain_since_mm += memory.rain_hour_mm
            if is_dawn:
                _dawn(run, bed, books, at_utc_s)


def _is_dawn(run: Run, at_utc_s: float) -> bool:
    """Whether 06:00 local is this full hour."""
    run.local_day(at_utc_s)
    day = run.day
    return day is not None and int((at_utc_s - day.from_utc_s) // HOUR_S) == DAWN_H


def _dawn(run: Run, bed: str, books: BedBooks, at_utc_s: float) -> None:
    books.rain_mm.append(books.rain_since_mm)
    books.rain_since_mm = 0.0
    del books.rain_mm[:-RAIN_DAYS]
    if not _settled(run, bed, books, at_utc_s):
        return
    told = _told(run, bed)
    _mind_following(run, bed, told, at_utc_s)
    if len(told) < 2:
        for name in run.garden.beds[bed].probes:  # with none to disagree with
            end_flag(run, name, Flag.DISAGREEMENT)
        _fade(run, bed)
        return
    _mind_agreement(run, bed, told)
    _mind_drift(run, bed, books, told, at_utc_s)


def _settled(run: Run, bed: str, books: BedBooks, at_utc_s: float) -> bool:
    """Whether water has come to rest: its depths can be held against each other."""
    wetted_s = run.state.water[bed].wetted_utc_s
    dry = wetted_s is None or at_utc_s - wetted_s >= drift.SETTLED_H * HOUR_S
    rain = books.rain_mm
    return dry and rain[-1] <= drift.RAIN_DAY_MM and sum(rain) <= drift.RAIN_DEEP_MM


def _told(run: Run, bed: str) -> dict[str, float]:
    """What the bed's believed probes among the roots tell, by the mean of the last two hours."""
    found = {}
    for name in run.garden.beds[bed].probes:
        if probe_weight(run, name) == 0.0 or run.garden.probes[name].depth_cm > _roots_cm(run, bed):
            continue
        hours = run.state.probes[name].hours_m3_m3[-DAWN_HOURS:]
        heard = [each for each in hours if each is not None]
        value = content_m3_m3(run, bed, name, sum(heard) / len(heard)) if heard else None
        if value is not None:
            found[name] = value
    return found


def _roots_cm(run: Run, bed: str) -> float:
    return 100.0 * run.days[bed].root_depth_m


def _mind_following(run: Run, bed: str, told: dict[str, float], at_utc_s: float) -> None:
    """A probe that stands while its bed dries and is watered is frozen."""
    lacks, day = _lacks_m3_m3(run, bed), int(at_utc_s // DAY_S)
    for name, value in told.items():
        memory = run.state.care.setdefault(name, ProbeCare())
        peers = [each for other, each in told.items() if other != name]
        mean = sum(peers) / len(peers) if peers else None
        following.dawn(memory, day, value, lacks, mean)
        if following.stands(memory):
            raise_flag(run, name, Flag.FROZEN)


def _mind_drift(
    run: Run, bed: str, books: BedBooks, told: dict[str, float], at_utc_s: float
) -> None:
    probes, off = run.state.probes, {}
    known = [name for name in told if Flag.DRIFT in probes[name].flags]
    depths_cm = {name: run.garden.probes[name].depth_cm for name in told}
    lacks = _lacks_m3_m3(run, bed)
    for name in told:
        memory = run.state.care.setdefault(name, ProbeCare())
        apart = drift.apart_m3_m3(told, name) - drift.by_thirst_m3_m3(depths_cm, name, lacks)
        drift.follow(memory, apart, at_utc_s, drifts=bool(known))
        if name in known and drift.back_in_its_band(memory, at_utc_s):
            end_flag(run, name, Flag.DRIFT)
            drift.begin_anew(memory)
        elif drift.left_its_band(memory):
            off[name] = memory.off_m3_m3
    odds = _odds(run, bed, books, told, at_utc_s)
    for name in set_back.named(off, odds, known):
        raise_flag(run, name, Flag.DRIFT)


def _odds(
    run: Run, bed: str, books: BedBooks, told: dict[str, float], at_utc_s: float
) -> dict[str, float]:
    """How likely each probe is the one that strays; what it strays by leaves its readings."""
    water, care = run.state.water[bed], run.state.care
    full_mm = 1000.0 * run.days[bed].root_depth_m
    balance_mm = water.depletion_mm - water.over_mm + water.pulled_mm
    dry_h = math.inf if water.wetted_utc_s is None else (at_utc_s - water.wetted_utc_s) / HOUR_S
    refilled = set_back.is_refilled(dry_h, water.depletion_mm / run.days[bed].taw_mm)
    day = int(at_utc_s // drift.DAY_S)
    set_back.keep_books(books, told, balance_mm, day, refilled=refilled)
    strays = {name: care[name] for name in told}
    since = set_back.since_day(list(strays.values()), at_utc_s)
    off = {name: memory.off_m3_m3 for name, memory in strays.items()}
    wetter, refills = set_back.wetter(books, full_mm, since), set_back.by_refills(books, since)
    by_refills = dict.fromkeys(told, 0.0)
    if refills is not None:
        by_refills, all_wetter, sd = refills
        off = set_back.farther(off, by_refills)
        wetter = set_back.together(wetter, (all_wetter, sd))
    odds = set_back.odds(off, *wetter)
    for name, memory in strays.items():
        memory.set_back_m3_m3 = set_back.of(memory, odds[name], off[name], by_refills[name])
    water.apart_sd_m3_m3 = set_back.unsure_m3_m3(strays, odds, off, by_refills)
    return odds


def _fade(run: Run, bed: str) -> None:
    """What a probe without a peer is set back by fades, as nothing confirms it any more."""
    run.state.water[bed].apart_sd_m3_m3 *= set_back.FADES
    for name in run.garden.beds[bed].probes:
        if name in run.state.care:
            run.state.care[name].set_back_m3_m3 *= set_back.FADES


def _lacks_m3_m3(run: Run, bed: str) -> float:
    """What a bed lacks of full, as a mean over its roots; above full it is below 0 [m3/m3]."""
    water = run.state.water[bed]
    return (water.depletion_mm - water.over_mm) / (1000.0 * run.days[bed].root_depth_m)


def _mind_agreement(run: Run, bed: str, told: dict[str, float]) -> None:
    soil = run.soils[bed]
    available = soil.field_capacity_m3_m3 - soil.wilting_point_m3_m3
    apart = drift.disagreeing(told, available)
    for name in told:
        memory = run.state.care.setdefault(name, ProbeCare())
        memory.apart_dawns = memory.apart_dawns + 1 if name in apart else 0
        if memory.apart_dawns >= APART_DAWNS:
            raise_flag(run, name, Flag.DISAGREEMENT)
        elif name not in drift.disagreeing(told, available, drift.TOGETHER_FRAC):
            end_flag(run, name, Flag.DISAGREEMENT)
