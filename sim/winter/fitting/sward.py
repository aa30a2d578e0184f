"""The meadow in Hesse as a column: a sward that stands still, fed by recorded rain alone.

Measured water content at 10, 25 and 40 cm (`sim.hesse_probes`) and the weather beside it
(`sim.season_hesse`). The column is that of the simulated garden under grass that transpires
`SWARD_KC` of the reference, itself grass. April to October count: frost and snow are not in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache

import numpy as np

from sim.bed_truth import BedTruth, BedTruthSpec
from sim.hesse_probes import FIRST as PROBES_FIRST
from sim.hesse_probes import read_probes
from sim.plant import Plant, depletion_p
from sim.season_hesse import FIRST as WEATHER_FIRST
from sim.season_hesse import STATION
from sim.season_types import HOUR_S, Season
from sim.soil_making import drawn_soil, from_field_capacity
from sim.weather import load_season
from sim.winter.fitting.driven import Numbers
from sim.winter.fitting.observed import ProbeHours
from sim.winter.fitting.seeing import Blocks, at_readings, blocks_of, column_of_layers
from sim.world import air_of_hours

DEPTHS_CM = (10, 25, 40)
BEGINS, ENDS = (4, 1), (10, 31)  # month, day: no frost to speak of
SWARD_KC = 0.95  # FAO-56 Table 12: clipped to grazed grass is 0.85 to 1.05 (from memory)
COVER_FRAC = 0.95
CLASS = (0.305, 0.110, 0.48)  # silt loam, as in tests/reference/test_sim_hesse_shape.py
DRY_STEPS_H, WET_STEPS_H = 2, 6  # steps of the column in an hour
DAY_S = 86_400.0


class Sward(Plant):
    """Grass that stands still: full cover, full roots, one coefficient."""

    def __init__(self, root_m: float, kc: float, p_offset_frac: float) -> None:
        self._kc = kc
        super().__init__(root_m, p_offset_frac=p_offset_frac)
        self._root_m = root_m

    def new_day(self, tmin_c: float, tmax_c: float, eto_mm_d: float) -> None:
        """Close yesterday's account; nothing grows."""
        self.close_day()
        self.etc_mm_d = self._kc * eto_mm_d
        self.p_frac = depletion_p(self.etc_mm_d, self.p_offset_frac)

    @property
    def cover_frac(self) -> float:
        """Ground covered by leaves."""
        return COVER_FRAC

    @property
    def root_depth_m(self) -> float:
        """Root depth [m]."""
        return self._root_m

    def _water_use(self) -> float:
        return self._kc


@dataclass(frozen=True, slots=True, kw_only=True)
class Year:
    """One summer of the meadow: its weather and the probes' blocks."""

    season: Season
    span_utc_s: tuple[float, float]
    blocks: tuple[Blocks, ...]


@cache
def year_of(year: int) -> Year:
    """Read one summer.

    Raises:
        SeasonError: the package with the data is not installed, or is another.
    """
    season = load_season(
        f"hesse-{year}",
        latitude_deg=STATION.latitude_deg,
        longitude_deg=STATION.longitude_deg,
        elevation_m=STATION.elevation_m,
        timezone=STATION.timezone,
    )
    begin, end = (
        datetime(year, month, day, tzinfo=UTC).timestamp() for month, day in (BEGINS, ENDS)
    )
    first = WEATHER_FIRST.timestamp()  # both files' rows are the same hours of one clock
    if abs(first - PROBES_FIRST.timestamp()) > 2 * HOUR_S:
        msg = "meadow: the two files do not begin together"
        raise ValueError(msg)
    found = []
    for depth_cm in DEPTHS_CM:
        series = read_probes()[depth_cm]
        rows = [(int(first + n * HOUR_S), x) for n, x in enumerate(series) if not math.isnan(x)]
        inside = [(at, x) for at, x in rows if begin <= at < end]
        hours = ProbeHours(
            probe=f"{depth_cm} cm",
            hour_utc_s=tuple(at for at, _ in inside),
            theta_m3_m3=tuple(x for _, x in inside),
        )
        blocks = blocks_of(hours, float(depth_cm), "none", season, (begin, end))
        if blocks is not None:
            found.append(blocks)
    return Year(season=season, span_utc_s=(begin, end), blocks=tuple(found))


def carried(year: Year, values: dict[str, float]) -> dict[str, Numbers]:
    """Content at each probe's depth by the column, block by block [m3/m3]."""
    fc, wp, saturation = CLASS
    root_m = values["root_m"]
    table = from_field_capacity(fc, wp, saturation_m3_m3=saturation, full_root_depth_m=0.55)
    soil = drawn_soil(
        fc * (1.0 + values["fc_off_frac"]),
        wp * (1.0 + values["wp_off_frac"]),
        saturation_m3_m3=saturation,
        full_root_depth_m=round(root_m, 3),
        plateau_k_mm_h=table.plateau_k_mm_h * math.exp(values["ks_log"]),
    )
    bed = BedTruth(_spec(year.span_utc_s[0], root_m), soil, _sward(values))
    table_m3_m3 = _layers(year, bed)
    return {
        one.probe: one.mean(
            at_readings(column_of_layers(table_m3_m3, soil.thickness_mm, one.depth_cm), one)
        )
        for one in year.blocks
    }


def _sward(values: dict[str, float]) -> Sward:
    kc = SWARD_KC * (1.0 + values["kc_off_frac"])
    return Sward(values["root_m"], kc, values["p_off_frac"])


def _spec(begin: float, root_m: float) -> BedTruthSpec:
    """A square metre of meadow that is full at the start."""
    fc, wp, saturation = CLASS
    return BedTruthSpec(
        bed="meadow", plants=1, spacing_m=1.0, width_m=1.0, wetted_width_m=1.0,
        field_capacity_m3_m3=fc, wilting_point_m3_m3=wp, saturation_m3_m3=saturation,
        full_root_depth_m=root_m, mulch="none", emitters=1, emitter_l_h=1.0,
        transplanted_utc_s=begin, start_depletion_frac=0.0, crop="grass",
    )  # fmt: skip


def _layers(year: Year, bed: BedTruth) -> Numbers:
    """Content of each layer at the start and at the end of each hour [m3/m3]."""
    begin, end = year.span_utc_s
    layers = [bed.soil.water_mm[:]]
    days = iter(day for day in year.season.daily if day.start_utc_s >= begin - DAY_S)
    tomorrow = next(days)
    first = year.season.hours[0].at_utc_s
    sky = air_of_hours(year.season)
    for n in range(round((end - begin) / HOUR_S)):
        at_utc_s = begin + n * HOUR_S
        while tomorrow.start_utc_s <= at_utc_s:
            bed.new_day(tomorrow.tmin_c, tomorrow.tmax_c, tomorrow.eto_mm, planted=True)
            tomorrow = next(days)
        air = sky[int((at_utc_s - first) // HOUR_S)]
        steps = WET_STEPS_H if air.rain_mm_h > 0.0 else DRY_STEPS_H
        for k in range(steps):
            bed.step(at_utc_s + (k + 1) * HOUR_S / steps, HOUR_S / steps, air)
        layers.append(bed.soil.water_mm[:])
    return np.asarray(np.array(layers) / np.array(bed.soil.thickness_mm))
