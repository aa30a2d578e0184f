"""Rivals to hold the policy against, each set up as well as it can be.

`daily-clock`: every night the same litres; they are that month's mean crop use of the very season
replayed, divided by 0.9, set anew on the 1st of each month. It knows the season's use in advance
and does not look at rain.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, date, datetime

from controller.garden import Garden
from controller.watering.hours import Place, window_at
from sim.garden_world import GardenWorld, Span
from sim.plant import Plant
from sim.season_types import Season

EFFICIENCY = 0.9


def monthly_use_mm_d(
    replay_bed_root_m: float, planted: date, season: Season, span: Span, kc_factor: float
) -> dict[tuple[int, int], float]:
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


class DailyClock:
    """Opens each bed at the start of the hours, every night, for the month's litres.

    Args:
        garden: its dates in the season's year.
        season: the weather.
        span: the days that count.
        world: where the water goes.
    """

    def __init__(self, garden: Garden, season: Season, span: Span, world: GardenWorld) -> None:
        self._garden = garden
        self._world = world
        info = garden.garden
        self._place = Place(
            latitude_deg=info.latitude, longitude_deg=info.longitude, timezone=info.timezone
        )
        self._litres: dict[str, dict[tuple[int, int], float]] = {}
        for name, bed in garden.beds.items():
            use = monthly_use_mm_d(
                bed.root_depth_m,
                bed.transplanted,
                season,
                span,
                world.truth.beds[name].plant.kc_factor,
            )
            self._litres[name] = {
                month: mm * bed.ground_area_m2 / EFFICIENCY for month, mm in use.items()
            }
        self._night_utc_s = 0.0
        self._queue: list[str] = []
        self._open: dict[str, float] = {}

    def live(self, to_utc_s: float) -> list[str]:
        """Let the clock run up to an instant; waterings end at their litres to the second.

        Args:
            to_utc_s: [s, Unix]; up to here the world is advanced where flows change.

        Returns:
            Beds whose watering began.
        """
        self._begin_night(to_utc_s)
        began: list[str] = []
        while True:
            self._end_due(to_utc_s)
            if not self._queue or len(self._open) >= self._garden.garden.beds_at_once:
                return began
            bed = self._queue.pop(0)
            now_s = max(self._world.truth.now_utc_s, self._night_utc_s)
            self._start(bed, now_s)
            began.append(bed)

    def _begin_night(self, to_utc_s: float) -> None:
        window = window_at(self._garden.garden.hours, self._place, to_utc_s)
        if window.holds(to_utc_s) and window.from_utc_s > self._night_utc_s:
            self._night_utc_s = window.from_utc_s
            self._world.advance(max(window.from_utc_s, self._world.truth.now_utc_s))
            today = datetime.fromtimestamp(to_utc_s, UTC).astimezone(self._garden.garden.zone)
            self._queue = [
                name
                for name, bed in self._garden.beds.items()
                if bed.transplanted <= today.date()
                and (bed.cleared is None or today.date() < bed.cleared)
            ]

    def _start(self, bed: str, now_s: float) -> None:
        today = datetime.fromtimestamp(now_s, UTC).astimezone(self._garden.garden.zone)
        litres = self._litres[bed].get((today.year, today.month), 0.0)
        flow_l_min = self._world.flow_l_min(bed)
        if litres <= 0.0 or flow_l_min <= 0.0:
            return
        nominal_l_min = self._garden.beds[bed].flow_l_min
        self._world.advance(now_s)
        self._world.set_flow(bed, flow_l_min)
        self._open[bed] = now_s + 60.0 * litres / nominal_l_min

    def _end_due(self, to_utc_s: float) -> None:
        for bed, end_s in sorted(self._open.items(), key=lambda item: item[1]):
            if end_s <= to_utc_s:
                self._world.advance(end_s)
                self._world.set_flow(bed, 0.0)
                del self._open[bed]
