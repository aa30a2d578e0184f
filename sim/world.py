"""The simulated garden under one clock: beds, weather, and probes that read them.

Advances on a ten-minute grid of UTC, with shorter steps where it is asked to stop in between, so
that valves may open and close at any instant. Equal seeds and equal calls give equal worlds. A sure
world is exactly what it was told; an unsure one is drawn from its seed (`sim.draws`): soil, plants,
emitters, the probes' spot and the probes depart from what the garden file says.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from controller.errors import SeasonError
from sim.bed_truth import Air, BedTruth, BedTruthSpec
from sim.draws import BedDraw, Drawn, ProbeDraw, Sits, bed_draw, probe_draw
from sim.plant import Plant
from sim.probe_truth import ProbeTruth, SoilWarmth
from sim.season_types import HOUR_S, Season, WorldHour
from sim.soil_making import GardenSoil, drawn_soil, from_field_capacity
from sim.true_weather import truly

__all__ = ["Air", "BedTruth", "BedTruthSpec", "TrussDates", "World"]

GRID_S = 600.0
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TrussDates:
    """When one truss flowered, set and coloured; None = not yet."""

    flowered: date
    set: date | None
    coloured: date | None


class World:
    """Beds and weather; see the module."""

    def __init__(
        self,
        beds: Sequence[BedTruthSpec],
        season: Season,
        start_utc_s: float,
        seed: int,
        *,
        sure: bool = True,
        drawn: Drawn | None = None,
    ) -> None:
        """Lay out a garden.

        Args:
            beds: what it is told.
            season: its weather; it must hold the start.
            start_utc_s: [Unix s UTC].
            seed: draws an unsure world.
            sure: whether everything is exactly as told.
            drawn: departures to be used instead of what the seed draws; noise still is the seed's.

        Raises:
            SeasonError: the season does not hold the start, or no soil fits a bed.
        """
        self._told_mm_h = [hour.rain_mm for hour in season.hours]
        if drawn is not None and drawn.weather is not None:
            season = truly(season, drawn.weather)
        self.season = season
        self.seed = seed
        self.sure = sure and drawn is None
        self._drawn = drawn
        self.now_utc_s = start_utc_s
        self.rain_mm_total = 0.0
        self.gauge_mm_total = 0.0
        self._first_hour_utc_s = season.hours[0].at_utc_s
        self._air = air_of_hours(season)
        self._end_utc_s = self._first_hour_utc_s + len(self._air) * HOUR_S
        self._began_utc_s = start_utc_s
        self._warmth = SoilWarmth(season)
        self._probes: dict[tuple[str, str, float, Sits], ProbeTruth] = {}
        if not self._first_hour_utc_s <= start_utc_s < season.hours[-1].at_utc_s + HOUR_S:
            msg = f"{season.source}: does not hold the start at {start_utc_s:.0f} (Unix s UTC)"
            raise SeasonError(msg)
        self._day_starts = [day.start_utc_s for day in season.daily]
        self._day = 0
        self.beds = {spec.bed: self._lay(spec) for spec in beds}
        self._steps = [bed.step for bed in self.beds.values()]
        self._grow_up(start_utc_s)

    def _lay(self, spec: BedTruthSpec) -> BedTruth:
        """Make one bed, sure or drawn."""
        base = from_field_capacity(
            spec.field_capacity_m3_m3,
            spec.wilting_point_m3_m3,
            saturation_m3_m3=spec.saturation_m3_m3,
            full_root_depth_m=spec.full_root_depth_m,
        )
        if self.sure:
            return BedTruth(spec, base, Plant(spec.full_root_depth_m))
        draw = self._bed_draw(spec)
        plant = Plant(
            spec.full_root_depth_m,
            kc_factor=1.0 + draw.kc_off_frac,
            p_offset_frac=draw.p_off_frac,
        )
        return BedTruth(spec, _soil_of(spec, base, draw), plant, draw)

    def _bed_draw(self, spec: BedTruthSpec) -> BedDraw:
        """How a bed departs: as told, else as the seed draws it."""
        if self._drawn is None:
            return bed_draw(self.seed, spec.bed, spec.emitters)
        return self._drawn.beds.get(spec.bed, BedDraw())

    def _grow_up(self, start_utc_s: float) -> None:
        """Let plants set before the start have grown by the warmth of the season until then."""
        self._next_day_utc_s = self._day_ends()
        while self._next_day_utc_s <= start_utc_s:
            self._day += 1
            self._next_day_utc_s = self._day_ends()
        today = self.season.daily[self._day]
        for bed in self.beds.values():
            for day in self.season.daily[: self._day]:
                if day.start_utc_s + DAY_S > bed.spec.transplanted_utc_s:
                    bed.plant.new_day(day.tmin_c, day.tmax_c, day.eto_mm)
            ends = self._next_day_utc_s
            planted = bed.spec.transplanted_utc_s < ends <= bed.spec.cleared_utc_s
            bed.new_day(today.tmin_c, today.tmax_c, today.eto_mm, planted=planted)

    def _day_ends(self) -> float:
        following = self._day + 1
        return self._day_starts[following] if following < len(self._day_starts) else math.inf

    def advance(self, to_utc_s: float) -> None:
        """Let the world live until an instant.

        Args:
            to_utc_s: [Unix s UTC]; an instant already passed changes nothing.

        Raises:
            SeasonError: the season ends before it.
        """
        if to_utc_s > self._end_utc_s:
            end = self._end_utc_s
            msg = f"{self.season.source}: ends at {end:.0f}, asked for {to_utc_s:.0f} (Unix s UTC)"
            raise SeasonError(msg)
        steps = self._steps
        first, hours, told_mm_h = self._first_hour_utc_s, self._air, self._told_mm_h
        now = self.now_utc_s
        while now < to_utc_s:
            if now >= self._next_day_utc_s:
                self._begin_day()
            # weather is held to the grid, the hour or the end
            index = int((now - first) // HOUR_S)
            air = hours[index]
            until = min((now // GRID_S + 1.0) * GRID_S, first + (index + 1) * HOUR_S, to_utc_s)
            seconds = until - now
            for step in steps:
                step(until, seconds, air)
            if air.rain_mm_h:
                self.rain_mm_total += air.rain_mm_h * seconds / 3600.0
                self.gauge_mm_total += told_mm_h[index] * seconds / 3600.0
            now = until
        self.now_utc_s = now

    def _begin_day(self) -> None:
        """A new local day: plants grow."""
        self._day += 1
        day = self.season.daily[self._day]
        ends = self._next_day_utc_s = self._day_ends()
        for bed in self.beds.values():
            planted = bed.spec.transplanted_utc_s < ends <= bed.spec.cleared_utc_s
            bed.new_day(day.tmin_c, day.tmax_c, day.eto_mm, planted=planted)

    def open(self, bed: str, flow_l_min: float | None = None) -> None:
        """Let water run into a bed from now on.

        Args:
            bed: its name.
            flow_l_min: flow at the bed's head [L/min]; None = what its emitters give together.
        """
        truth = self.beds[bed]
        nominal = truth.spec.nominal_l_min if flow_l_min is None else flow_l_min
        truth.flow_l_min = nominal * (truth.flow_factor if flow_l_min is None else 1.0)

    def close(self, bed: str) -> None:
        """Stop the water into a bed from now on."""
        self.beds[bed].flow_l_min = 0.0

    def litres(self, bed: str) -> float:
        """All that a bed was given by its drip line [L]."""
        return self.beds[bed].irrigation_l

    def theta(self, bed: str, depth_cm: float) -> float:
        """True content at a depth of the strip [m3/m3]."""
        return self.beds[bed].soil.theta_at(depth_cm * 10.0)

    def tension_kpa(self, bed: str, depth_cm: float) -> float:
        """True tension at a depth of the strip [kPa]."""
        return self.beds[bed].soil.curve.tension_kpa(self.theta(bed, depth_cm))

    def depletion_frac(self, bed: str) -> float:
        """True depletion, 0 at the world's own field capacity, 1 at wilting."""
        return self.beds[bed].depletion_frac

    def posture(self, bed: str) -> int:
        """How the plants hold their leaves at dawn: 0 upright, 1 slightly rolled, 2 limp."""
        return Plant.posture(self.beds[bed].open_frac)

    def posture_midday(self, bed: str) -> int:
        """The same as it would look in the heat of this very hour, when they also flag."""
        hour = int((self.now_utc_s - self._first_hour_utc_s) // HOUR_S)
        eto_mm_h = self._air[min(hour, len(self._air) - 1)].eto_mm_h
        return Plant.posture_midday(self.beds[bed].open_frac, eto_mm_h)

    def weather(self, at_utc_s: float | None = None) -> WorldHour:
        """The hour of weather that holds an instant, now unless told."""
        return self.season.hour_at(self.now_utc_s if at_utc_s is None else at_utc_s)

    def hour_now(self) -> WorldHour:
        """The same for now, within the season."""
        hours = self.season.hours
        index = int((self.now_utc_s - self._first_hour_utc_s) // HOUR_S)
        return hours[index] if index < len(hours) else hours[-1]

    def relative_yield(self, bed: str) -> float:
        """Yield over that of plants that never lacked water, so far."""
        return self.beds[bed].plant.relative_yield

    def cracking_risk(self, bed: str) -> float:
        """Risk of cracked fruit so far: an index from 0 up, about 1 for each bad day."""
        return self.beds[bed].plant.cracking_risk

    def blossom_end_rot_risk(self, bed: str) -> float:
        """Risk of blossom-end rot so far, 0 to 1."""
        return self.beds[bed].plant.blossom_end_rot_risk

    def truss_dates(self, bed: str) -> list[TrussDates]:
        """Local dates of all trusses that have flowered, oldest first."""
        truth = self.beds[bed]
        planted = next(
            day.date
            for day in self.season.daily
            if day.start_utc_s + DAY_S > truth.spec.transplanted_utc_s
        )

        def on(day: int | None) -> date | None:
            return None if day is None else planted + timedelta(days=day)

        return [
            TrussDates(
                flowered=planted + timedelta(days=truss.flower_day),
                set=on(truss.set_day),
                coloured=on(truss.colour_day),
            )
            for truss in truth.plant.trusses
        ]

    def probe_draw(self, probe_id: str) -> ProbeDraw:
        """How a probe departs from the truth in this world; not at all in a sure one."""
        if self._drawn is not None:
            return self._drawn.probes.get(probe_id, ProbeDraw())
        return ProbeDraw() if self.sure else probe_draw(self.seed, probe_id)

    def probe(
        self, probe_id: str, bed: str, depth_cm: float, sits: Sits = Sits.RIGHT
    ) -> ProbeTruth:
        """One probe in the ground.

        Args:
            probe_id: its name; in an unsure world its faults follow from it.
            bed: where it is.
            depth_cm: how deep it truly is [cm].
            sits: in the strip or beside it.
        """
        key = (probe_id, bed, depth_cm, sits)
        found = self._probes.get(key)
        if found is None:
            truth = self.beds[bed]
            found = self._probes[key] = ProbeTruth(
                self.probe_draw(probe_id),
                truth,
                depth_cm=depth_cm,
                sits=sits,
                mulch=truth.spec.mulch,
                warmth=self._warmth,
                began_utc_s=self._began_utc_s,
            )
        return found

    def probe_reading(self, probe_id: str, bed: str, depth_cm: float) -> float | None:
        """What a probe says now.

        Noise and losses depend on seed, probe and instant alone: other calls do not change them.

        Args:
            probe_id: its name.
            bed: where it is.
            depth_cm: how deep [cm].

        Returns:
            Content [m3/m3], not below 0; None when nothing arrives.
        """
        return self.probe(probe_id, bed, depth_cm).reading_m3_m3(self.now_utc_s)


def air_of_hours(season: Season) -> list[Air]:
    """Rain and reference evapotranspiration of each hour, the day's total by the sun's share."""
    air: list[Air] = []
    hours = season.hours
    index = 0
    starts = [day.start_utc_s for day in season.daily]
    ends = [*starts[1:], hours[-1].at_utc_s + HOUR_S]
    for day, begin, end in zip(season.daily, starts, ends, strict=True):
        last = index + round((end - begin) / HOUR_S)
        inside = hours[index:last]
        whole = sum(hour.solar_w_m2 for hour in inside)
        for hour in inside:
            share = hour.solar_w_m2 / whole if whole > 0.0 else 1.0 / len(inside)
            air.append(Air(rain_mm_h=hour.rain_mm, eto_mm_h=day.eto_mm * share))
        index = last
    return air


def _soil_of(spec: BedTruthSpec, base: GardenSoil, draw: BedDraw) -> GardenSoil:
    """A soil that departs from what the garden file says."""
    return drawn_soil(
        spec.field_capacity_m3_m3 * (1.0 + draw.fc_off_frac),
        spec.wilting_point_m3_m3,
        saturation_m3_m3=spec.saturation_m3_m3,
        full_root_depth_m=spec.full_root_depth_m,
        plateau_k_mm_h=base.plateau_k_mm_h * (1.0 + draw.ks_off_frac),
    )
