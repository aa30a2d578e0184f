"""A garden file laid out in the simulated world: beds, probes and flows by their own names.

The garden's days move to the season's growing year. What the virtual nodes ask (`plumbing.World`)
is answered here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path

from controller.errors import UsageError
from controller.garden import Garden
from sim.draws import Drawn, Placing, Sits, meter_factor, misplaced_probe, placing
from sim.growing_year import growing_year, in_growing_year, in_year
from sim.probe_truth import ProbeTruth
from sim.season_types import Season, WorldHour
from sim.weather import load_season, season_span
from sim.world import BedTruthSpec, World

DAY_S = 86_400.0
START_FRAC = 0.15  # depletion of a bed at the start where nothing is told; ours


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A replay's days: from the start of the first to the end of the last, local."""

    first: date
    last: date
    from_utc_s: float
    to_utc_s: float


def season_for(garden: Garden, name_or_path: str | Path) -> Season:
    """Load a season's weather for where the garden is.

    Raises:
        SeasonError: it cannot be read or used.
    """
    info = garden.garden
    return load_season(
        str(name_or_path),
        latitude_deg=info.latitude,
        longitude_deg=info.longitude,
        elevation_m=info.elevation_m,
        timezone=info.timezone,
    )


def first_planted(garden: Garden, year: int) -> date:
    """The earliest transplanting once a garden is moved to a growing year."""
    days = [bed.transplanted for bed in garden.beds.values()]
    return min(in_growing_year(day, year, garden.garden.latitude) for day in days)


def year_in(garden: Garden, season: Season) -> int:
    """The growing year to which a garden moves: the first whose transplanting a season holds.

    Args:
        garden: with its own dates.
        season: the weather.

    Returns:
        That year; the season's first where it holds no transplanting.
    """
    begins, ends = season.daily[0].date, season.daily[-1].date
    years = [growing_year(day, garden.garden.latitude) for day in (begins, ends)]
    for year in range(years[0], years[1] + 1):
        if begins <= first_planted(garden, year) <= ends:
            return year
    return years[0]


def moved_to(garden: Garden, year: int) -> Garden:
    """The garden with every bed planted in this growing year, and cleared as long after as ever.

    Args:
        garden: with its own dates; a bed planted in another growing year than the others moves to
            theirs.
        year: the growing year, see `growing_year`.
    """
    beds = {}
    for name, bed in garden.beds.items():
        planted = in_growing_year(bed.transplanted, year, garden.garden.latitude)
        cleared = bed.cleared
        if cleared is not None:
            cleared = in_year(cleared, cleared.year + planted.year - bed.transplanted.year)
        beds[name] = bed.model_copy(update={"transplanted": planted, "cleared": cleared})
    return garden.model_copy(update={"beds": beds})


def midnight_utc_s(garden: Garden, day: date) -> float:
    """The start of a local day [s, Unix]."""
    return datetime.combine(day, time(0), tzinfo=garden.garden.zone).timestamp()


def span_of(garden: Garden, season: Season, first: date | None, last: date | None) -> Span:
    """The days that a replay covers.

    Args:
        garden: with its own dates.
        season: the weather.
        first: first day, None for the earliest transplanting.
        last: last day, None for the season's own end.

    Raises:
        UsageError: the first day is not before the last.
    """
    planted = min(bed.transplanted for bed in garden.beds.values())
    cleared = [bed.cleared for bed in garden.beds.values()]
    ends = [day for day in cleared if day is not None]
    whole = max(ends) if len(ends) == len(cleared) else None
    begin, end = season_span(season, planted, whole, garden.garden.timezone)
    begin, end = first or begin, last or end
    if not begin < end:
        msg = f"--from {begin} is not before --to {end}"
        raise UsageError(msg)
    return Span(
        first=begin,
        last=end,
        from_utc_s=midnight_utc_s(garden, begin),
        to_utc_s=midnight_utc_s(garden, end + timedelta(days=1)),
    )


def spec_of(garden: Garden, name: str, start_depletion_frac: float) -> BedTruthSpec:
    """What the world is told about a bed.

    Args:
        garden: its dates in the season's year.
        name: the bed.
        start_depletion_frac: true depletion at the start [0..1].
    """
    bed = garden.beds[name]
    cleared = bed.cleared
    return BedTruthSpec(
        bed=name,
        plants=bed.plants,
        spacing_m=bed.spacing_m,
        width_m=bed.width_m,
        wetted_width_m=bed.wetted_width_m,
        field_capacity_m3_m3=bed.fc_m3_m3,
        wilting_point_m3_m3=bed.wp_m3_m3,
        saturation_m3_m3=bed.saturation_m3_m3,
        full_root_depth_m=bed.root_depth_m,
        mulch=bed.mulch,
        emitters=bed.emitters,
        emitter_l_h=bed.emitter_l_h,
        transplanted_utc_s=midnight_utc_s(garden, bed.transplanted),
        cleared_utc_s=math.inf if cleared is None else midnight_utc_s(garden, cleared),
        start_depletion_frac=start_depletion_frac,
    )


class GardenWorld:
    """The world of one garden, asked by the garden's own names.

    Args:
        garden: its dates already in the season's year.
        season: the weather.
        start_utc_s: where it begins [s, Unix].
        seed: draws an unsure world.
        sure: whether everything is exactly as the garden file says.
        depletion_frac: true depletion at the start, by bed; the others `START_FRAC`.
        drawn: departures to be used instead of what the seed draws.

    Attributes:
        garden: as given.
        truth: the world itself.
        meter_factor: what the meter tells over what flows [-]; for whoever turns the meter.
        misplaced: the probe that sits where it should not, if one does.
    """

    def __init__(
        self,
        garden: Garden,
        season: Season,
        start_utc_s: float,
        *,
        seed: int = 1,
        sure: bool = True,
        depletion_frac: Mapping[str, float] | None = None,
        drawn: Drawn | None = None,
    ) -> None:
        told = {**({} if drawn is None else drawn.depletion_frac), **(depletion_frac or {})}
        specs = [spec_of(garden, name, told.get(name, START_FRAC)) for name in garden.beds]
        self.garden = garden
        self.truth = World(specs, season, start_utc_s, seed, sure=sure, drawn=drawn)
        self._reported = season.reported
        self._told_hour: WorldHour | None = None
        self._told_rain_mm = 0.0
        self._told: Mapping[str, float] = {}
        self.meter_factor = 1.0 if sure else meter_factor(seed)
        self.misplaced = None if sure else misplaced_probe(seed, garden.probes)
        places: Mapping[str, Placing]
        places = {} if self.misplaced is None else {self.misplaced: placing(seed, self.misplaced)}
        if drawn is not None:
            self.meter_factor = 1.0 + drawn.meter_off_frac
            self.misplaced, places = None, drawn.places
        self._probes = {
            probe: self._put(probe, name, places.get(probe, Placing()))
            for name, bed in garden.beds.items()
            for probe in bed.probes
        }

    def _put(self, probe: str, bed: str, place: Placing) -> ProbeTruth:
        """Put a probe where it truly is."""
        depth_cm = self.garden.probes[probe].depth_cm
        has_side = self.garden.beds[bed].width_m > self.garden.beds[bed].wetted_width_m
        if place.sits is Sits.BESIDE and has_side:
            return self.truth.probe(probe, bed, depth_cm, Sits.BESIDE)
        return self.truth.probe(probe, bed, depth_cm + place.deeper_cm, Sits.RIGHT)

    def advance(self, to_utc_s: float) -> None:
        """Let time pass up to then."""
        self.truth.advance(to_utc_s)

    def set_flow(self, bed: str, l_min: float) -> None:
        """Let this much water onto a bed from now on [L/min]; 0 = none."""
        if l_min > 0.0:
            self.truth.open(bed, l_min)
        else:
            self.truth.close(bed)

    def flow_l_min(self, bed: str) -> float:
        """What the bed's emitters truly pass [L/min]."""
        one = self.truth.beds[bed]
        return one.spec.nominal_l_min * one.flow_factor

    def probe(self, probe: str) -> ProbeTruth:
        """The probe itself, where it truly is."""
        return self._probes[probe]

    def probe_value(self, probe: str) -> float | None:
        """The water content that a probe tells [m3/m3]; None when its reading never arrives."""
        return self._probes[probe].reading_m3_m3(self.truth.now_utc_s)

    def tension_kpa(self, probe: str) -> float:
        """The tension that a probe tells, lost or not [kPa]."""
        return self._probes[probe].tension_kpa(self.truth.now_utc_s)

    def litres_by(self, bed: str, at_utc_s: float) -> float:
        """All that a bed will have been given by an instant if its flow stays as it is [L]."""
        one = self.truth.beds[bed]
        ahead_s = max(0.0, at_utc_s - self.truth.now_utc_s)
        return one.irrigation_l + one.flow_l_min * ahead_s / 60.0

    def weather(self) -> Mapping[str, float]:
        """What the mast's instruments say now, those that the season has."""
        hour, rain_mm = self.truth.hour_now(), self.truth.gauge_mm_total
        if hour is not self._told_hour or rain_mm != self._told_rain_mm:
            self._told_hour, self._told_rain_mm = hour, rain_mm
            self._told = self._instruments(hour, rain_mm)
        return self._told

    def _instruments(self, hour: WorldHour, rain_mm: float) -> dict[str, float]:
        told = {
            "temp_c": hour.temp_c,
            "rh_pct": hour.rh_pct,
            "solar_w_m2": hour.solar_w_m2,
            "wind_m_s": hour.wind_m_s,
            "rain_mm_total": rain_mm,
        }
        return {
            name: round(value, 4)
            for name, value in told.items()
            if name.removesuffix("_total") in self._reported
        }
