"""Rivals to hold the policy against, each set up as well as it can be.

`daily-clock` gives every bed the same litres every night: that month's mean crop use of the very
season replayed, divided by 0.9, set anew on the 1st of each month. `third-day-clock` gives the same
litres every third night, three nights' at once. `keep-moist` looks once a night and refills a bed
that has lost a fifth of its available water. What each of them knows stands in its own docstring;
none of them looks at rain to come. All of them keep the garden's hours and its `beds_at_once`.

Litres are of the whole bed. A watering that does not fit into its night goes on the next one.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from typing import Protocol

from controller.garden import Bed, Garden
from controller.watering.hours import Place, Window, local_date, window_at
from sim.garden_world import GardenWorld, Span
from sim.plant import Plant
from sim.season_types import Season

EFFICIENCY = 0.9  # [-] of a clock's litres that count as reaching the plants; common practice
EVERY_NIGHTS = 3
MOIST_FRAC = 0.20  # [-] of the available water gone: keep-moist refills
PULSE_S = 1800.0  # [s] the longest that a clock leaves a bed open at a time; see `NightValves`
SOAK_S = 1800.0  # [s] 30-60 min between pulses: common practice, no source
OVER_S = 1e-3  # [s] what is left of a watering when it counts as given

Months = dict[tuple[int, int], float]  # by (year, month)


def monthly_use_mm_d(
    replay_bed_root_m: float, planted: date, season: Season, span: Span, kc_factor: float
) -> Months:
    """Mean crop evapotranspiration of each month for plants that never lack water [mm/d].

    Args:
        replay_bed_root_m: full root depth [m].
        planted: day of transplanting.
        season: the weather.
        span: the days that count.
        kc_factor: the world's own departure in water use.

    Returns:
        By (year, month), over the ground.
    """
    plant = Plant(replay_bed_root_m, kc_factor=kc_factor)
    days: dict[tuple[int, int], list[float]] = defaultdict(list)
    for day in season.daily:
        if planted <= day.date <= span.last:
            plant.new_day(day.tmin_c, day.tmax_c, day.eto_mm)
            days[day.date.year, day.date.month].append(plant.etc_mm_d)
    return {month: sum(values) / len(values) for month, values in days.items()}


def clock_litres(
    garden: Garden, season: Season, span: Span, world: GardenWorld
) -> dict[str, Months]:
    """What a well-set clock gives each bed a night, by month [L]."""
    litres: dict[str, Months] = {}
    for name, bed in garden.beds.items():
        kc_factor = world.truth.beds[name].plant.kc_factor
        use = monthly_use_mm_d(bed.root_depth_m, bed.transplanted, season, span, kc_factor)
        litres[name] = {month: mm * bed.ground_area_m2 / EFFICIENCY for month, mm in use.items()}
    return litres


def grows(bed: Bed, today: date) -> bool:
    """Whether a bed's plants are in the ground on a day."""
    return bed.transplanted <= today and (bed.cleared is None or today < bed.cleared)


class Rival(Protocol):
    """Another way to water: asked once a night for each bed that grows."""

    def open_s(self, bed: str, night: date, left_s: float) -> float:
        """How long to open a bed in the night that begins on this date [s], 0 = not at all.

        Args:
            bed: its name.
            night: the local date on which the hours begin.
            left_s: what an earlier night was too short for [s]; the answer replaces it.
        """


class DailyClock:
    """The month's litres, every night.

    Knows: the mean use of each month of this very season in advance, this garden's own departure
    in water use included, for plants that never lack water. Does not know: the soil, how wet it is,
    rain, and what the emitters truly pass (litres become minutes by their nominal flow).

    Args:
        garden: its dates in the season's year.
        season: the weather.
        span: the days that count.
        world: where the water goes.
    """

    def __init__(self, garden: Garden, season: Season, span: Span, world: GardenWorld) -> None:
        self._garden = garden
        self._last = span.last
        self._litres = clock_litres(garden, season, span, world)

    def litres(self, bed: str, night: date) -> float:
        """A night's litres [L]; 0 where the bed does not grow."""
        if night > self._last or not grows(self._garden.beds[bed], night):
            return 0.0
        return self._litres[bed].get((night.year, night.month), 0.0)

    def open_s(self, bed: str, night: date, left_s: float) -> float:
        """As `Rival`; what is left goes on."""
        return left_s + 60.0 * self.litres(bed, night) / self._garden.beds[bed].flow_l_min


class ThirdDayClock(DailyClock):
    """The daily clock's litres of three nights at once, on the first of them.

    Knows and does not know what the daily clock does. Nights after the bed is cleared or the season
    is over are not given in advance, so that both clocks give the same litres.
    """

    def open_s(self, bed: str, night: date, left_s: float) -> float:
        """As `Rival`; what is left goes on."""
        planted = self._garden.beds[bed].transplanted
        if (night - planted).days % EVERY_NIGHTS:
            return left_s
        nights = [night + timedelta(days=n) for n in range(EVERY_NIGHTS)]
        litres = sum(self.litres(bed, one) for one in nights)
        return left_s + 60.0 * litres / self._garden.beds[bed].flow_l_min


class KeepMoist:
    """Looks at each bed at the start of the hours; from 20 % depletion on it refills to full.

    Knows: the true depletion of the whole bed, its true field capacity, present root depth, and
    what its emitters truly pass. Does not know: weather to come.

    Args:
        world: where the water goes.
    """

    def __init__(self, world: GardenWorld) -> None:
        self._world = world

    def open_s(self, bed: str, night: date, left_s: float) -> float:
        """As `Rival`; what is left is judged anew."""
        truth = self._world.truth.beds[bed]
        depletion, flow_l_min = truth.depletion_frac, self._world.flow_l_min(bed)
        if not (depletion >= MOIST_FRAC and flow_l_min > 0.0):
            return 0.0
        taw_mm = truth.available_m3_m3 * truth.soil.root_zone_mm
        return 60.0 * depletion * taw_mm * truth.spec.strip_m2 / flow_l_min


class NightValves:
    """Opens and closes the beds of a world as a rival says, to the second.

    At the start of the hours each bed is asked for; beds drink in turn, at most `beds_at_once`.
    A long opening is given in pulses with a soak between, as a good grower sets the clock, and what
    the night is too short for goes on in the next one. The strips of the example garden take an
    unbroken opening without a puddle; the pulses are for heavier soils.

    Args:
        garden: its dates in the season's year.
        world: where the water goes.
        rival: who says how long.
    """

    def __init__(self, garden: Garden, world: GardenWorld, rival: Rival) -> None:
        self._garden = garden
        self._world = world
        self._rival = rival
        info = garden.garden
        self._place = Place(
            latitude_deg=info.latitude, longitude_deg=info.longitude, timezone=info.timezone
        )
        self._window = Window(from_utc_s=0.0, to_utc_s=0.0)
        self._left_s = dict.fromkeys(garden.beds, 0.0)
        self._ready_s = dict.fromkeys(garden.beds, 0.0)  # [s, Unix] not before the soak is over
        self._turn: list[str] = []
        self._open: dict[str, tuple[float, float]] = {}  # from and to [s, Unix]
        self._begun: set[str] = set()

    def live(self, to_utc_s: float) -> list[str]:
        """Let the night run up to an instant.

        Args:
            to_utc_s: [s, Unix]; up to here the world is advanced where flows change.

        Returns:
            Beds whose watering began.
        """
        self._begin_night(to_utc_s)
        began: list[str] = []
        while True:
            at_utc_s = self._next_s()
            if at_utc_s > to_utc_s:
                return began
            self._close_due(at_utc_s)
            for bed in self._open_ready(at_utc_s):
                if bed not in self._begun:
                    self._begun.add(bed)
                    began.append(bed)

    def _begin_night(self, to_utc_s: float) -> None:
        window = window_at(self._garden.garden.hours, self._place, to_utc_s)
        if not window.holds(to_utc_s) or window.from_utc_s <= self._window.from_utc_s:
            return
        self._window = window
        now_s = max(window.from_utc_s, self._world.truth.now_utc_s)
        self._world.advance(now_s)
        night = local_date(window.from_utc_s, self._garden.garden.zone)
        self._turn = []
        for bed, setting in self._garden.beds.items():
            self._ready_s[bed] = now_s
            if not grows(setting, night):
                self._left_s[bed] = 0.0
                continue
            if self._left_s[bed] <= OVER_S:
                self._begun.discard(bed)  # else a watering goes on, which is no new one
            self._left_s[bed] = max(0.0, self._rival.open_s(bed, night, self._left_s[bed]))
            if self._left_s[bed] > OVER_S and self._world.flow_l_min(bed) > 0.0:
                self._turn.append(bed)

    def _next_s(self) -> float:
        """When the next valve closes or may open [s, Unix]."""
        ends = [until_s for _, until_s in self._open.values()]
        room = len(self._open) < self._garden.garden.beds_at_once
        now_s = self._world.truth.now_utc_s
        starts = [max(now_s, self._ready_s[bed]) for bed in self._turn] if room else []
        inside = [at_utc_s for at_utc_s in starts if at_utc_s < self._window.to_utc_s]
        return min([*ends, *inside], default=float("inf"))

    def _close_due(self, at_utc_s: float) -> None:
        for bed, (from_s, until_s) in list(self._open.items()):
            if until_s <= at_utc_s:
                self._world.advance(until_s)
                self._world.set_flow(bed, 0.0)
                del self._open[bed]
                self._left_s[bed] -= until_s - from_s
                self._ready_s[bed] = until_s + SOAK_S
                if self._left_s[bed] > OVER_S:
                    self._turn.append(bed)

    def _open_ready(self, at_utc_s: float) -> list[str]:
        """Open the beds whose turn it is; answer them."""
        opened: list[str] = []
        for bed in list(self._turn):
            if len(self._open) >= self._garden.garden.beds_at_once:
                break
            if self._ready_s[bed] > at_utc_s or at_utc_s >= self._window.to_utc_s:
                continue
            self._turn.remove(bed)
            self._world.advance(at_utc_s)
            self._world.set_flow(bed, self._world.flow_l_min(bed))
            most_s = min(PULSE_S, self._left_s[bed], self._window.to_utc_s - at_utc_s)
            self._open[bed] = (at_utc_s, at_utc_s + most_s)
            opened.append(bed)
        return opened
