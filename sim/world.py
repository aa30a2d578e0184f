"""The simulated garden under one clock: beds, weather, and probes that read them.

Advances on a ten-minute grid of UTC, with shorter steps where it is asked to stop in between, so
that valves may open and close at any instant. Equal seeds and equal calls give equal worlds. A sure
world is exactly what it was told; an unsure one is drawn from its seed: field capacity,
conductivity, water use, onset of stress, emitters and probes depart from what the garden file says.
"""

from __future__ import annotations

import math
import random
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from controller.errors import SeasonError
from sim.bed_truth import Air, BedTruth, BedTruthSpec
from sim.plant import Plant
from sim.season_types import HOUR_S, Season, WorldHour
from sim.soil_making import GardenSoil, drawn_soil, from_field_capacity

__all__ = ["Air", "BedTruth", "BedTruthSpec", "ProbeFault", "World"]

GRID_S = 600.0
ANCHOR_SPREAD_FRAC = 0.15  # of the content at 10 kPa; with the drawn Ks, field capacity
# itself comes out within about -16 to +21 % of what was told. Ours, as the three below
KS_LOG_SPREAD = math.log(2.0)
KC_SPREAD_FRAC = 0.15
P_SPREAD_FRAC = 0.05
EMITTER_CV = 0.05
EMITTER_CLOGGED_FRAC = 0.02  # one in fifty gives nothing
LEAST_AVAILABLE_M3_M3 = 0.02  # a drawn soil keeps at least this between its two points
PROBE_OFFSET_M3_M3 = 0.01  # standard deviation between probes
PROBE_GAIN_FRAC = 0.03  # standard deviation between probes
PROBE_NOISE_M3_M3 = 0.004  # standard deviation between readings: 1 % of a span of 0.4
MASK_64 = (1 << 64) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeFault:
    """How one probe departs from the truth: reading = offset + (1 + gain) x truth + noise."""

    offset_m3_m3: float
    gain_frac: float
    noise_m3_m3: float
    seed: int


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
    ) -> None:
        """Lay out a garden.

        Args:
            beds: what it is told.
            season: its weather; it must hold the start.
            start_utc_s: [Unix s UTC].
            seed: draws an unsure world.
            sure: whether everything is exactly as told.

        Raises:
            SeasonError: the season does not hold the start, or no soil fits a bed.
        """
        self.season = season
        self.seed = seed
        self.sure = sure
        self.now_utc_s = start_utc_s
        self.rain_mm_total = 0.0
        self._first_hour_utc_s = season.hours[0].at_utc_s
        self._air = _air_of_hours(season)
        self._probes: dict[str, ProbeFault] = {}
        if not self._first_hour_utc_s <= start_utc_s < season.hours[-1].at_utc_s + HOUR_S:
            msg = f"{season.source}: does not hold the start at {start_utc_s:.0f} (Unix s UTC)"
            raise SeasonError(msg)
        self._day_starts = [day.start_utc_s for day in season.daily]
        self._day = 0
        self.beds = {spec.bed: self._lay(spec) for spec in beds}
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
        # drawn from the seed and the bed's name: another bed in the garden changes nothing here
        draw = random.Random(f"{self.seed}/bed/{spec.bed}")
        soil = _draw_soil(spec, base, draw)
        plant = Plant(
            spec.full_root_depth_m,
            kc_factor=1.0 + draw.uniform(-KC_SPREAD_FRAC, KC_SPREAD_FRAC),
            p_offset_frac=random.Random(f"{self.seed}/p").uniform(-P_SPREAD_FRAC, P_SPREAD_FRAC),
        )
        given = sum(
            0.0 if draw.random() < EMITTER_CLOGGED_FRAC else max(0.0, draw.gauss(1.0, EMITTER_CV))
            for _ in range(spec.emitters)
        )
        return BedTruth(spec, soil, plant, flow_factor=given / spec.emitters)

    def _grow_up(self, start_utc_s: float) -> None:
        """Let plants set before the start have grown by the warmth of the season until then."""
        while self._next_day_utc_s() <= start_utc_s:
            self._day += 1
        today = self.season.daily[self._day]
        for bed in self.beds.values():
            for day in self.season.daily[: self._day]:
                if day.start_utc_s + 86_400.0 > bed.spec.transplanted_utc_s:
                    bed.plant.new_day(day.tmin_c, day.tmax_c, day.eto_mm)
            ends = self._next_day_utc_s()
            planted = bed.spec.transplanted_utc_s < ends <= bed.spec.cleared_utc_s
            bed.new_day(today.tmin_c, today.tmax_c, today.eto_mm, planted=planted)

    def _next_day_utc_s(self) -> float:
        following = self._day + 1
        return self._day_starts[following] if following < len(self._day_starts) else math.inf

    def advance(self, to_utc_s: float) -> None:
        """Let the world live until an instant.

        Args:
            to_utc_s: [Unix s UTC]; an instant already passed changes nothing.

        Raises:
            SeasonError: the season ends before it.
        """
        end = self._first_hour_utc_s + len(self._air) * HOUR_S
        if to_utc_s > end:
            msg = f"{self.season.source}: ends at {end:.0f}, asked for {to_utc_s:.0f} (Unix s UTC)"
            raise SeasonError(msg)
        beds = list(self.beds.values())
        now = self.now_utc_s
        while now < to_utc_s:
            if now >= self._next_day_utc_s():
                self._begin_day()
            air, until = self._stretch(now, to_utc_s)
            seconds = until - now
            for bed in beds:
                bed.step(until, seconds, air)
            self.rain_mm_total += air.rain_mm_h * seconds / 3600.0
            now = until
        self.now_utc_s = now

    def _stretch(self, now: float, to_utc_s: float) -> tuple[Air, float]:
        """The weather now and how long it may be held: to the grid, the hour or the end."""
        since = now - self._first_hour_utc_s
        index = int(since // HOUR_S)
        grid = (now // GRID_S + 1.0) * GRID_S
        hour_end = self._first_hour_utc_s + (index + 1) * HOUR_S
        return self._air[index], min(grid, hour_end, to_utc_s)

    def _begin_day(self) -> None:
        """A new local day: plants grow."""
        self._day += 1
        day = self.season.daily[self._day]
        ends = self._next_day_utc_s()
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
        """How the plants hold their leaves: 0 upright, 1 slightly rolled, 2 limp."""
        return Plant.posture(self.beds[bed].open_frac)

    def weather(self, at_utc_s: float | None = None) -> WorldHour:
        """The hour of weather that holds an instant, now unless told."""
        return self.season.hour_at(self.now_utc_s if at_utc_s is None else at_utc_s)

    def relative_yield(self, bed: str) -> float:
        """Yield over that of plants that never lacked water, so far."""
        return self.beds[bed].plant.relative_yield

    def probe_fault(self, probe_id: str) -> ProbeFault:
        """How a probe departs from the truth in this world; not at all in a sure one."""
        fault = self._probes.get(probe_id)
        if fault is None:
            draw = random.Random(f"{self.seed}/probe/{probe_id}")
            spread = 0.0 if self.sure else 1.0
            fault = ProbeFault(
                offset_m3_m3=spread * draw.gauss(0.0, PROBE_OFFSET_M3_M3),
                gain_frac=spread * draw.gauss(0.0, PROBE_GAIN_FRAC),
                noise_m3_m3=spread * PROBE_NOISE_M3_M3,
                seed=zlib.crc32(f"{self.seed}/{probe_id}".encode()),
            )
            self._probes[probe_id] = fault
        return fault

    def probe_reading(self, probe_id: str, bed: str, depth_cm: float) -> float:
        """What a probe says now.

        The noise depends on seed, probe and instant alone: other calls do not change it.

        Args:
            probe_id: its name.
            bed: where it is.
            depth_cm: how deep [cm].

        Returns:
            Content [m3/m3], not below 0.
        """
        truth = self.theta(bed, depth_cm)
        if self.sure:
            return truth
        fault = self.probe_fault(probe_id)
        noise = fault.noise_m3_m3 * _normal(fault.seed, int(self.now_utc_s * 1000.0))
        return max(0.0, fault.offset_m3_m3 + (1.0 + fault.gain_frac) * truth + noise)


def _air_of_hours(season: Season) -> list[Air]:
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


def _draw_soil(spec: BedTruthSpec, base: GardenSoil, draw: random.Random) -> GardenSoil:
    """A soil that departs from what the garden file says."""
    spread = draw.uniform(-ANCHOR_SPREAD_FRAC, ANCHOR_SPREAD_FRAC)
    scale = math.exp(draw.gauss(0.0, KS_LOG_SPREAD))
    lowest = spec.wilting_point_m3_m3 + LEAST_AVAILABLE_M3_M3
    highest = 0.97 * spec.saturation_m3_m3
    anchor = min(highest, max(lowest, spec.field_capacity_m3_m3 * (1.0 + spread)))
    return drawn_soil(
        anchor,
        spec.wilting_point_m3_m3,
        saturation_m3_m3=spec.saturation_m3_m3,
        full_root_depth_m=spec.full_root_depth_m,
        plateau_k_mm_h=base.plateau_k_mm_h * scale,
    )


def _normal(seed: int, instant: int) -> float:
    """A standard normal number from two whole numbers (a sum of twelve uniform ones).

    The mixing is that of splitmix64 (Steele, Lea & Flood 2014, from memory).
    """
    mixed = (seed * 0x9E3779B97F4A7C15 + instant) & MASK_64
    total = 0.0
    for _ in range(3):
        mixed = (mixed + 0x9E3779B97F4A7C15) & MASK_64
        z = mixed
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & MASK_64
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & MASK_64
        z ^= z >> 31
        for shift in (0, 16, 32, 48):
            total += (z >> shift & 0xFFFF) + 0.5
    return total / 65_536.0 - 6.0
