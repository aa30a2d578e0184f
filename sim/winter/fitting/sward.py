"""The meadow in Hesse as a column: dry-downs of a sward that stands still, each from its beginning.

Measured water content at 10, 25 and 40 cm (`sim.hesse_probes`), the weather beside it
(`sim.season_hesse`). The column is that of the simulated garden under grass that transpires
`SWARD_KC` of the reference, itself grass. Each dry-down begins with what the three probes told
then: the gauge missed rains that the probes felt (June and July 2014 rise by 0.1 m3/m3 with no
rain on record, and 188 mm stand in one week after), so no column can be carried through a summer
by it. May to September count: frost and snow are not in the column.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache

import numpy as np

from sim.bed_truth import BedTruth, BedTruthSpec
from sim.hesse_probes import read_probes
from sim.plant import Plant, depletion_p
from sim.season_hesse import FIRST, STATION
from sim.season_types import HOUR_S, Season
from sim.soil_making import drawn_soil, from_field_capacity
from sim.weather import load_season
from sim.winter.fitting.driven import Numbers
from sim.winter.fitting.dry_downs import dry_downs
from sim.winter.fitting.observed import ProbeHours
from sim.winter.fitting.seeing import BLOCK_H, Blocks, blocks_of
from sim.world import air_of_hours

DEPTHS_CM = (10, 25, 40)
BEGINS, ENDS = (5, 1), (9, 30)  # month, day: no frost, and a sward that grows
SWARD_KC = 0.95  # FAO-56 Table 12: clipped to grazed grass is 0.85 to 1.05 (from memory)
COVER_FRAC = 0.95
CLASS = (0.305, 0.110, 0.48)  # silt loam, as in tests/reference/test_sim_hesse_shape.py
RISE_M3_M3 = 0.006  # [m3/m3] a probe that rises by more saw a rain that the gauge missed
STEPS_H = 3  # steps of the column in an hour
DAY_S = 86_400.0
BLOCK_S = BLOCK_H * HOUR_S


class Sward(Plant):
    """Grass that stands still: full cover, full roots, one coefficient."""

    def __init__(self, root_m: float, kc: float) -> None:
        self._kc = kc
        super().__init__(root_m)
        self._root_m = root_m

    def new_day(self, tmin_c: float, tmax_c: float, eto_mm_d: float) -> None:
        """Close yesterday's account; nothing grows."""
        self.close_day()
        self.etc_mm_d = self._kc * eto_mm_d
        self.p_frac = depletion_p(self.etc_mm_d)

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
class Dried:
    """One measured dry-down.

    Args:
        from_utc_s: the middle of its first block [Unix s UTC].
        theta_m3_m3: blocks x probes [m3/m3].
    """

    from_utc_s: float
    theta_m3_m3: Numbers

    @property
    def fall_m3_m3(self) -> Numbers:
        """What was lost since the first block, those after it [m3/m3]."""
        return np.asarray(self.theta_m3_m3[0] - self.theta_m3_m3[1:])


@dataclass(frozen=True, slots=True, kw_only=True)
class Year:
    """One summer of the meadow."""

    season: Season
    dried: tuple[Dried, ...]


@cache
def year_of(year: int) -> Year:
    """Read one summer and find its dry-downs.

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
    blocks = [_blocks(depth_cm, season, (begin, end)) for depth_cm in DEPTHS_CM]
    at_utc_s = blocks[0].at_utc_s
    table = np.column_stack([one.theta_m3_m3 for one in blocks])
    found = []
    for down in dry_downs((), season, (begin, end)):
        inside = (at_utc_s >= down.from_utc_s) & (at_utc_s <= down.to_utc_s)
        theta = table[inside]
        if len(theta) > 1 and np.max(theta - np.minimum.accumulate(theta)) <= RISE_M3_M3:
            found.append(Dried(from_utc_s=float(at_utc_s[inside][0]), theta_m3_m3=theta))
    return Year(season=season, dried=tuple(found))


def _blocks(depth_cm: int, season: Season, span_utc_s: tuple[float, float]) -> Blocks:
    """A probe's blocks; both files' rows are the same hours of one clock, without a gap."""
    first, series = FIRST.timestamp(), read_probes()[depth_cm]
    rows = [(int(first + n * HOUR_S), x) for n, x in enumerate(series) if not math.isnan(x)]
    hours = ProbeHours(
        probe=f"{depth_cm} cm",
        hour_utc_s=tuple(at for at, _ in rows),
        theta_m3_m3=tuple(x for _, x in rows),
    )
    blocks = blocks_of(hours, float(depth_cm), "none", season, span_utc_s)
    if blocks is None:
        msg = f"{depth_cm} cm: nothing in that summer"
        raise ValueError(msg)
    return blocks


def foretold(year: Year, values: dict[str, float]) -> list[Numbers]:
    """Falls by the column in each dry-down, blocks after the first x probes [m3/m3].

    Args:
        year: the summer.
        values: by name, as `meadow.LEARNED` has them.
    """
    fc, wp, saturation = CLASS
    table = from_field_capacity(fc, wp, saturation_m3_m3=saturation, full_root_depth_m=0.55)
    soil = drawn_soil(
        fc * (1.0 + values["fc_off_frac"]),
        wp * (1.0 + values["wp_off_frac"]),
        saturation_m3_m3=saturation,
        full_root_depth_m=round(values["root_m"], 3),
        plateau_k_mm_h=table.plateau_k_mm_h * math.exp(values["ks_log"]),
    )
    kc = SWARD_KC * (1.0 + values["kc_off_frac"])
    found = []
    for one in year.dried:
        spec = _spec(one.from_utc_s, values["root_m"])
        bed = BedTruth(spec, soil, Sward(values["root_m"], kc))
        found.append(_fall(year.season, one, bed))
    return found


def _spec(begin_utc_s: float, root_m: float) -> BedTruthSpec:
    """A square metre of meadow."""
    fc, wp, saturation = CLASS
    return BedTruthSpec(
        bed="meadow", plants=1, spacing_m=1.0, width_m=1.0, wetted_width_m=1.0,
        field_capacity_m3_m3=fc, wilting_point_m3_m3=wp, saturation_m3_m3=saturation,
        full_root_depth_m=root_m, mulch="none", emitters=1, emitter_l_h=1.0,
        transplanted_utc_s=begin_utc_s, crop="grass",
    )  # fmt: skip


def _fall(season: Season, one: Dried, bed: BedTruth) -> Numbers:
    """Begin with what the probes told, and dry."""
    soil, depths_mm = bed.soil, [10.0 * depth for depth in DEPTHS_CM]
    thick = np.array(soil.thickness_mm)
    middles = np.cumsum(thick) - thick / 2.0
    begin = np.interp(middles, depths_mm, one.theta_m3_m3[0])
    for i, water in enumerate(begin * thick):
        soil.water_mm[i] = float(water)
    sky, first = air_of_hours(season), season.hours[0].at_utc_s
    told = [[soil.theta_at(depth) for depth in depths_mm]]
    day = None
    for hour in range((len(one.theta_m3_m3) - 1) * BLOCK_H):
        at_utc_s = one.from_utc_s + hour * HOUR_S
        today = max(d for d in range(len(season.daily)) if season.daily[d].start_utc_s <= at_utc_s)
        if today != day:
            day, this = today, season.daily[today]
            bed.new_day(this.tmin_c, this.tmax_c, this.eto_mm, planted=True)
        air = sky[int((at_utc_s - first) // HOUR_S)]
        for k in range(STEPS_H):
            bed.step(at_utc_s + (k + 1) * HOUR_S / STEPS_H, HOUR_S / STEPS_H, air)
        if (hour + 1) % BLOCK_H == 0:
            told.append([soil.theta_at(depth) for depth in depths_mm])
    content = np.array(told)
    return np.asarray(content[0] - content[1:])
