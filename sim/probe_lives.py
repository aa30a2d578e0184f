"""One hazard of probes in one drawn world, lived through the real engine; one season without any.

A world lives through some weeks of one summer. On a drawn day one probe of a drawn bed, or all of
it, or two beds' probes, breaks as `sim/probe_series.py` says. Then every hour, and every ten
minutes of the first day, it is looked at whether a flag or an alert that fits the hazard was
raised, and whether a dose that began rested on a broken probe: by what it had told until then the
bed was believed off by a fifth of that dose or more (`sim/probe_rests.py`). Beside it stands how
many began while the believed error of the last hour's readings alone, by the layer that the probe
speaks for, came to a fifth of the dose: what was counted before. It misses what readings left
behind, and counts readings that hardly moved anything.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final

from controller.garden import Garden
from controller.probe_care import probe_weight
from controller.sensing.estimate import weights_m
from controller.sensing.flags import FLAGS, Flag
from controller.sensing.quality import usable
from sim.garden_world import midnight_utc_s
from sim.probe_hidden import Track
from sim.probe_rests import Belief, is_hour
from sim.probe_series import (
    DRIFT_M3_M3_D,
    WILD,
    Bender,
    BentInstruments,
    Broken,
    Hazard,
    broken_in,
)
from sim.replay import GRID_S, EngineReplay
from sim.season_run import Replay, prepare

WEATHER: Final = ("seattle-2015", "ewr-2013")  # odd and even seeds
FIRST_DAY, LAST_DAY = (6, 25), 50  # a hazard begins on one of these days of summer
BEFORE_DAYS, AFTER_DAYS = 14, 10
FORETOLD_DAYS = 12  # a battery's end is looked for so long before
DAY_S, HOUR_S = 86_400.0, 3600.0
DOSE_SHARE = 0.20  # of a dose: so wrong a probe is what it rests on
SAMPLE_H = GRID_S / HOUR_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What is asked of one hazard.

    Attributes:
        flags: codes of flags or alerts, each of which finds it.
        within_h: so soon [h]; infinite where doses are what is counted.
        doses: that may rest on it at most.
        before_days: lived before it begins [d].
        after_days: lived after [d].
        beside: whether doses are counted beside the same world without it.
    """

    flags: frozenset[str]
    within_h: float
    doses: int = 0
    before_days: int = BEFORE_DAYS
    after_days: int = AFTER_DAYS
    beside: bool = False


def _by(*flags: str) -> frozenset[str]:
    return frozenset(str(flag) for flag in flags)


OFF = (Flag.OUT_OF_RANGE, Flag.RAIL_LOW, Flag.RAIL_HIGH, Flag.UNIT_SLIP)
UNANSWERED = (Flag.FROZEN, Flag.QUARANTINED, Flag.STUCK, Flag.DROP, Flag.DRIFT, Flag.DISAGREEMENT)
SILENT_H = 1.5  # unknown after 30 min; said at the next look at the bed, once an hour
NEVER_H = 1e9
WILD_WITHIN_H = 12.0  # ours

STATED: Final[Mapping[Hazard, Stated]] = {
    Hazard.OPEN: Stated(flags=_by(*OFF), within_h=SAMPLE_H),
    Hazard.SHORT: Stated(flags=_by(*OFF), within_h=SAMPLE_H),
    Hazard.RANGE: Stated(flags=_by(*OFF), within_h=SAMPLE_H),
    Hazard.STUCK: Stated(flags=_by(*UNANSWERED), within_h=36.0, doses=2),
    Hazard.FROZEN: Stated(flags=_by(*UNANSWERED), within_h=NEVER_H, doses=2, after_days=14),
    Hazard.FROZEN_HERE: Stated(flags=_by(*UNANSWERED), within_h=NEVER_H, doses=2, after_days=16),
    Hazard.FROZEN_NOISY: Stated(flags=_by(*UNANSWERED), within_h=NEVER_H, doses=2, after_days=16),
    Hazard.DRIFT: Stated(flags=_by(Flag.DRIFT), within_h=14 * 24.0, before_days=28, after_days=24),
    Hazard.STALE: Stated(flags=_by(Flag.STALE), within_h=SILENT_H),
    Hazard.RETAINED: Stated(flags=_by(Flag.STALE, Flag.RETAINED), within_h=SILENT_H),
    Hazard.SWAPPED_BEDS: Stated(
        flags=_by("probes_swapped"), within_h=NEVER_H, doses=3, after_days=16
    ),
    Hazard.SWAPPED: Stated(flags=_by("probes_swapped"), within_h=NEVER_H, doses=3, after_days=16),
    Hazard.SWAPPED_EARLY: Stated(
        flags=_by("probes_swapped"), within_h=NEVER_H, doses=3, before_days=0, after_days=16
    ),
    Hazard.NOISE: Stated(flags=_by(Flag.NOISE, Flag.SPIKE), within_h=4.0, beside=True),
    **dict.fromkeys(
        WILD,
        Stated(
            flags=_by(Flag.ERRATIC, Flag.DROP, "bed_blind"),
            within_h=WILD_WITHIN_H,
            after_days=12,
            beside=True,
        ),
    ),
    Hazard.UNIT: Stated(flags=_by(*OFF), within_h=SAMPLE_H),
    Hazard.ORDER: Stated(flags=_by(Flag.DUPLICATE, Flag.OUT_OF_ORDER), within_h=2.0, beside=True),
    Hazard.FUTURE: Stated(flags=_by(Flag.FUTURE_DATED), within_h=SAMPLE_H),
    Hazard.LOST: Stated(flags=_by(Flag.STALE, "bed_blind"), within_h=SILENT_H),
    Hazard.BATTERY: Stated(
        flags=_by(Flag.BROWN_OUT, Flag.BATTERY_FADING), within_h=SAMPLE_H, after_days=6
    ),
}


@dataclass(slots=True, kw_only=True)
class Found:
    """What one hazard came to in one world.

    Attributes:
        seed: of the world.
        delay_h: until it was found [h]; below 0 where it was foretold; None: never.
        by: the flag or alert that found it.
        doses: that rested on it, by what the bed was believed to lack.
        doses_read: that began beside an hour's readings that were so far off.
        extra_doses: of the beds concerned, more than without the hazard; None: not asked.
        doses_unseen: of these, begun before anybody could see a drift.
        hidden: whether nobody could have known of it, by `sim/probe_hidden.py`.
        extra_l: water of the beds concerned, more than without it [L]; None: not asked.
    """

    seed: int
    delay_h: float | None = None
    by: str = ""
    doses: int = 0
    doses_read: int = 0
    extra_doses: int | None = None
    extra_l: float | None = None
    hidden: bool = False
    doses_unseen: int = 0


class Watch:
    """Looks at one world with one hazard.

    Args:
        live: the world.
        broken: the hazard.
        bender: what it does to readings.
    """

    def __init__(self, live: EngineReplay, broken: Broken, bender: Bender) -> None:
        self.found = Found(seed=broken.seed)
        self._live, self._broken, self._bender = live, broken, bender
        self._stated = STATED[broken.hazard]
        garden = live.garden
        self.beds = [
            name
            for name, bed in garden.beds.items()
            if any(probe in broken.probes for probe in bed.probes)
        ]
        self._seen = self._counts()
        self._drunk = self._drinks()
        self.rested_h: list[float] = []  # after which a dose began that rested on it
        self._error_mm = dict.fromkeys(self.beds, 0.0)
        self._off_mm = dict.fromkeys(self.beds, 0.0)
        water = live.engine.state.water
        self._beliefs = {bed: Belief(bed, water[bed]) for bed in self.beds}

    def look(self, at_utc_s: float) -> None:
        """See what was raised and what began since the last look."""
        counts = self._counts()
        if self.found.delay_h is None:
            new = [code for code, count in counts.items() if count > self._seen.get(code, 0)]
            if new:
                self.found.delay_h = (at_utc_s - self._broken.begin_utc_s) / HOUR_S
                self.found.by = sorted(new)[0]
        self._seen = counts
        drunk = self._drinks()
        if at_utc_s > self._broken.begin_utc_s:
            for bed in self.beds:
                began = drunk[bed] - self._drunk[bed]
                rest = self._rests(bed, began, abs(self._off_mm[bed]))
                self.found.doses += rest
                self.found.doses_read += self._rests(bed, began, self._error_mm[bed])
                self.rested_h += [(at_utc_s - self._broken.begin_utc_s) / HOUR_S] * rest
                self._error_mm[bed] = self._read_mm(bed)
        if is_hour(at_utc_s):
            for bed in self.beds:
                self._beliefs[bed].hour(self._live.engine.run, self._bender.sound_hour_m3_m3)
                self._off_mm[bed] = self._beliefs[bed].off_mm
            self._bender.sound_hour_m3_m3.clear()
        self._drunk = drunk

    def _counts(self) -> dict[str, int]:
        """How often each fitting flag was raised so far on the broken probes, or alert stood."""
        state = self._live.engine.state
        found: Counter[str] = Counter()
        for name in self._broken.probes:
            for code, count in state.probes[name].counts.items():
                if code in self._stated.flags:
                    found[str(code)] += count
        for alert in self._live.hands.alerts.values():
            if alert.code in self._stated.flags and alert.bed in self.beds:
                found[alert.code] += 1
        return dict(found)

    def _drinks(self) -> dict[str, int]:
        accounts = self._live.account.beds
        return {bed: len(accounts[bed].waterings_utc_s) for bed in self.beds}

    def _rests(self, bed: str, began: int, off_mm: float) -> int:
        """Of the doses that began, those of which that is a fifth or more [mm over the strip]."""
        if not began:
            return 0
        state, area_m2 = self._live.engine.state, self._live.engine.run.soils[bed].wetted_area_m2
        watering = state.waterings.get(bed)
        dose_l = watering.want_l if watering else state.beds[bed].last_watering_l
        return began if off_mm >= DOSE_SHARE * dose_l / area_m2 > 0.0 else 0

    def _read_mm(self, bed: str) -> float:
        """How wrong the bed's broken probes are believed, over its root zone [mm]."""
        run = self._live.engine.run
        state, garden = run.state, self._live.garden
        names = sorted(garden.beds[bed].probes, key=lambda name: garden.probes[name].depth_cm)
        since_s = max(state.started_mono_s, state.link_mono_s)
        heard = [
            name
            for name in names
            if usable(state.probes[name], garden.probes[name].every_s, since_s, state.mono_s)
        ]
        depths_cm = [garden.probes[name].depth_cm for name in heard]
        thick_m = weights_m(depths_cm, run.days[bed].root_depth_m) if heard else []
        weights = [probe_weight(run, name) for name in heard]
        if 1.0 not in weights:  # none is sound: they lean on nothing
            weights = [1.0] * len(heard)
        off_mm = 0.0
        for name, thick, weight in zip(heard, thick_m, weights, strict=True):
            told, sound = state.probes[name].theta_m3_m3, self._bender.sound_m3_m3.get(name)
            if told is not None and sound is not None:
                off_mm += 1000.0 * thick * weight * (told - sound)
        return abs(off_mm)


def begins(seed: int, year: int) -> date:
    """The day on which the hazard of a world begins."""
    return date(year, *FIRST_DAY) + timedelta(days=random.Random(f"{seed}/day").randrange(LAST_DAY))


def _prepared(garden: Garden, hazard: Hazard, seed: int) -> tuple[Replay, float]:
    """The weeks around a hazard, and when it begins [s, Unix]."""
    stated, weather = STATED[hazard], WEATHER[(seed + 1) % 2]
    day = begins(seed, int(weather[-4:]))
    replay = prepare(
        garden,
        weather,
        first=day - timedelta(days=stated.before_days),
        last=day + timedelta(days=stated.after_days),
        seed=seed,
    )
    hours = random.Random(f"{seed}/hour").randrange(24) if stated.before_days else 0
    return replay, midnight_utc_s(replay.garden, day) + hours * HOUR_S


class _BentReplay(EngineReplay):
    """A replay whose probes a hazard bends."""

    def __init__(self, replay: Replay, bender: Bender) -> None:
        world = replay.world()
        super().__init__(replay.garden, world, replay.span)
        self._instruments = BentInstruments(replay.garden, world, bender)


def lived(garden: Garden, job: tuple[Hazard, int]) -> Found:
    """Live through one hazard in one world.

    Args:
        garden: the garden file.
        job: hazard and seed.

    Raises:
        SeasonError: the season cannot be used.
        UsageError: the garden has no such probes.
    """
    hazard, seed = job
    replay, begin_utc_s = _prepared(garden, hazard, seed)
    broken = broken_in(replay.garden, hazard, begin_utc_s, seed)
    bender = Bender(replay.garden, broken)
    live = _BentReplay(replay, bender)
    track = Track(live, broken, bender)
    from_utc_s = begin_utc_s - (FORETOLD_DAYS * DAY_S if hazard is Hazard.BATTERY else 0.0)
    now_s, end_s = live.world.truth.now_utc_s, replay.span.to_utc_s
    while now_s < from_utc_s:
        now_s = min(from_utc_s, now_s + HOUR_S)
        live.go(now_s)
        track.hour(now_s)
    watch, began_s = Watch(live, broken, bender), now_s
    while now_s < end_s:
        near = 0.0 <= now_s - begin_utc_s < DAY_S
        now_s = min(end_s, now_s + (GRID_S if near else HOUR_S))
        live.go(now_s)
        watch.look(now_s)
        if (now_s - began_s) % HOUR_S == 0.0:
            track.hour(now_s)
    seen_h = track.seen_h(DRIFT_M3_M3_D * bender.sign / 24.0)
    watch.found.hidden = seen_h > STATED[hazard].within_h
    if hazard is Hazard.DRIFT:
        watch.found.doses_unseen = sum(hour < seen_h for hour in watch.rested_h)
    if STATED[hazard].beside:
        drunk = sum(len(live.account.beds[bed].waterings_utc_s) for bed in watch.beds)
        twin = EngineReplay(replay.garden, replay.world(), replay.span)
        twin.go(end_s)
        without = sum(len(twin.account.beds[bed].waterings_utc_s) for bed in watch.beds)
        watch.found.extra_doses = drunk - without
        watch.found.extra_l = _litres(live, watch.beds) - _litres(twin, watch.beds)
    return watch.found


def _litres(live: EngineReplay, beds: Sequence[str]) -> float:
    return sum(live.world.truth.litres(bed) for bed in beds)


@dataclass(slots=True, kw_only=True)
class Sound:
    """One whole season without a fault: the alarms about its probes by bed."""

    beds: int
    alarms: dict[str, int] = field(default_factory=dict)
    flags: dict[str, int] = field(default_factory=dict)


def lived_sound(garden: Garden, seed: int) -> Sound:
    """Live through one season in which no probe breaks, and count what is called.

    Raises:
        SeasonError: the season cannot be used.
    """
    replay = prepare(garden, WEATHER[(seed + 1) % 2], seed=seed)
    live = EngineReplay(replay.garden, replay.world(), replay.span)
    live.go(replay.span.to_utc_s)
    misplaced = live.world.misplaced
    found = Sound(beds=len(garden.beds))
    for timed in live.hands.notes:
        note = timed.note
        about = note.what == "alert" and note.code in {"probe_suspect", "probes_swapped"}
        if about and not (misplaced and f"Probe {misplaced} " in note.text):
            bed = note.bed or ""
            found.alarms[bed] = found.alarms.get(bed, 0) + 1
    for name, probe in live.engine.state.probes.items():
        for code, count in probe.counts.items():
            if FLAGS[Flag(code)].alarm and name != misplaced:
                found.flags[code] = found.flags.get(code, 0) + count
    return found
