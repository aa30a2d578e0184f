"""A real series: the meadow in Hesse, fitted to 2014, its dry-downs of 2015 foretold.

    python -m sim.winter.fitting.meadow [--picture FILE]

Measured water content at 10, 25 and 40 cm under grass (`sim.hesse_probes`) and the weather beside
it (`sim.season_hesse`). Nobody waters: rain is all. The column is that of the simulated garden
under a sward that stands still: grass transpires `SWARD_KC` of the reference, itself grass. Fitted
are field capacity, wilting point, drainage, thirst, root depth and where stress begins, and an
offset and a gain of each probe. The class-table soil beside it is silt loam with the middle of
every prior, as in `tests/reference/test_sim_hesse_shape.py`. Both are carried from `BEGINS` on
without a look at a probe of the second year; falls of its dry-downs are judged (`dry_downs`).
April to October count: frost and snow are not in the column.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from controller.errors import ThirstlineError
from sim.bed_truth import BedTruth, BedTruthSpec
from sim.hesse_probes import FIRST as PROBES_FIRST
from sim.hesse_probes import read_probes
from sim.pictures import Axis, Panel, picture
from sim.plant import Plant, depletion_p
from sim.season_hesse import FIRST as WEATHER_FIRST
from sim.season_hesse import STATION
from sim.season_types import HOUR_S, Season
from sim.soil_making import drawn_soil, from_field_capacity
from sim.weather import load_season
from sim.winter.fitting.driven import Numbers
from sim.winter.fitting.dry_downs import Score, dry_downs, score
from sim.winter.fitting.observed import ProbeHours
from sim.winter.fitting.priors import Quantity
from sim.winter.fitting.seeing import Blocks, at_readings, blocks_of, column_of_layers
from sim.world import air_of_hours

YEARS = (2014, 2015)
DEPTHS_CM = (10, 25, 40)
BEGINS, ENDS = (4, 1), (10, 31)  # month, day: no frost to speak of
SWARD_KC = 0.95  # FAO-56 Table 12: clipped to grazed grass is 0.85 to 1.05 (from memory)
COVER_FRAC = 0.95
CLASS = (0.305, 0.110, 0.48)  # silt loam, as in tests/reference/test_sim_hesse_shape.py
DRY_STEPS_H, WET_STEPS_H = 2, 6  # steps of the column in an hour
DAY_S = 86_400.0
SD_M3_M3 = 0.01  # [m3/m3] of a block: what such a column misses a probe by, whatever it is; ours
OFFSET_SD_M3_M3, GAIN_SD = 0.05, 0.15  # of probes that nobody calibrated here; ours
LEARNED = (
    Quantity(name="fc_off_frac", spread=0.25, even=True, says="field capacity"),
    Quantity(name="wp_off_frac", spread=0.30, even=True, says="wilting point"),
    Quantity(name="ks_log", spread=math.log(4.0), says="how fast it drains"),
    Quantity(name="kc_off_frac", spread=0.40, even=True, says="thirst of the sward"),
    Quantity(name="root_m", spread=0.25, even=True, centre=0.55, says="root depth"),
    Quantity(name="p_off_frac", spread=0.15, even=True, says="where stress begins"),
)
TRIED = 0.1  # [-] of a standard deviation, for slopes


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Probes:
    """Offset [m3/m3] and gain [-] of each probe, told = offset + (1 + gain) x content there."""

    own: dict[str, tuple[float, float]]

    def told(self, content: dict[str, Numbers]) -> dict[str, Numbers]:
        """What the probes tell of contents [m3/m3]."""
        return {
            name: self.own[name][0] + (1.0 + self.own[name][1]) * theta
            for name, theta in content.items()
        }


def calibrated(year: Year, content: dict[str, Numbers]) -> tuple[Probes, Numbers]:
    """The most likely offset and gain of each probe where the column is known.

    Returns:
        Them, and what is left over, the prior's share with it, over its standard deviation.
    """
    own: dict[str, tuple[float, float]] = {}
    left = []
    for one in year.blocks:
        here = content[one.probe]
        weight = 1.0 / np.hypot(SD_M3_M3, one.front_m3_m3)
        columns = np.column_stack([OFFSET_SD_M3_M3 * np.ones_like(here), GAIN_SD * here])
        rows = np.vstack([columns * weight[:, None], np.eye(2)])
        wanted = np.concatenate([(one.theta_m3_m3 - here) * weight, np.zeros(2)])
        z, *_ = np.linalg.lstsq(rows, wanted, rcond=None)
        own[one.probe] = (OFFSET_SD_M3_M3 * float(z[0]), GAIN_SD * float(z[1]))
        left.append(rows @ z - wanted)
    return Probes(own=own), np.concatenate(left)


@dataclass(frozen=True, slots=True, kw_only=True)
class Meadow:
    """What the meadow came to.

    Args:
        values: the most likely ones, by name.
        probes: of the fit.
        fitted, table: what the probes would have told in each year by the fit and by the class
            table, block by block [m3/m3].
        scores: by year, falls of all probes; the first year is the one that was fitted.
        runs: of the column.
    """

    values: dict[str, float]
    probes: Probes
    fitted: tuple[dict[str, Numbers], ...]
    table: tuple[dict[str, Numbers], ...]
    scores: tuple[Score | None, ...]
    runs: int


def fit_meadow() -> Meadow:
    """Fit the first summer, foretell the second.

    Raises:
        SeasonError: the package with the data is not installed, or is another.
    """
    years = [year_of(year) for year in YEARS]
    runs = 0

    def residuals(z: Numbers) -> Numbers:
        nonlocal runs
        runs += 1
        return np.concatenate([calibrated(years[0], carried(years[0], _values(z)))[1], z])

    begin = np.zeros(len(LEARNED))
    found = least_squares(
        residuals, begin, bounds=(-4.0, 4.0), x_scale=1.0, diff_step=TRIED, xtol=1e-2, ftol=1e-3,
        max_nfev=12,
    )  # fmt: skip
    values = _values(np.asarray(found.x))
    by_fit = [carried(year, values) for year in years]
    by_table = [carried(year, _values(begin)) for year in years]
    probes = calibrated(years[0], by_fit[0])[0]
    as_told = calibrated(years[0], by_table[0])[0]
    fitted = tuple(probes.told(one) for one in by_fit)
    table = tuple(as_told.told(one) for one in by_table)
    scores = tuple(
        score(dry_downs((), year.season, year.span_utc_s), year.blocks, ours, theirs)
        for year, ours, theirs in zip(years, fitted, table, strict=True)
    )
    return Meadow(
        values=values, probes=probes, fitted=fitted, table=table, scores=scores, runs=runs
    )


def _values(z: Numbers) -> dict[str, float]:
    return {one.name: one.value(float(at)) for one, at in zip(LEARNED, z, strict=True)}


def drawn(found: Meadow) -> str:
    """The second summer: measured grey, class table grey and dotted, the fit dark (SVG)."""
    year = year_of(YEARS[1])
    begin = year.span_utc_s[0]
    panels = []
    for one in year.blocks:
        days = tuple(float(day) for day in (one.at_utc_s - begin) / DAY_S)[::4]
        table = tuple(float(x) for x in found.table[1][one.probe])[::4]
        panels.append(
            Panel(
                title=f"{one.probe}: measured, class table (dotted), fitted to {YEARS[0]} (dark)",
                x=days,
                grey=(tuple(float(x) for x in one.theta_m3_m3)[::4],),
                dark=tuple(float(x) for x in found.fitted[1][one.probe])[::4],
                apart=((days[::8], table[::8]),),
            )
        )
    return picture(
        f"Foretold: a meadow in Hesse, {YEARS[1]}, April to October",
        Axis(label="days since 1 April [d]", ticks=(0.0, 50.0, 100.0, 150.0, 200.0)),
        Axis(label="water content [m3/m3]", ticks=(0.0, 0.1, 0.2, 0.3, 0.4, 0.5), form=".1f"),
        panels,
    )


def document(found: Meadow) -> dict[str, Any]:
    """What was found, as plain values."""
    return {
        "years": list(YEARS),
        "values": {name: round(value, 4) for name, value in found.values.items()},
        "probes": {
            name: [round(offset, 4), round(gain, 4)]
            for name, (offset, gain) in found.probes.own.items()
        },
        "runs": found.runs,
        "scores": {
            str(year): None
            if one is None
            else {
                "dry_downs": one.dry_downs,
                "fit_rmse_m3_m3": round(one.fit_rmse_m3_m3, 5),
                "table_rmse_m3_m3": round(one.table_rmse_m3_m3, 5),
                "fall_rms_m3_m3": round(one.fall_rms_m3_m3, 5),
                "skill": round(one.skill, 3),
            }
            for year, one in zip(YEARS, found.scores, strict=True)
        },
    }


def main(argv: Sequence[str] | None = None) -> int:
    """Print what was found.

    Args:
        argv: the words after the command; None for the process's own.

    Returns:
        0, or 1 where the data are not there.
    """
    parser = argparse.ArgumentParser(prog="python -m sim.winter.fitting.meadow")
    parser.add_argument("--picture", type=Path, help="an SVG file to write")
    words = parser.parse_args(argv)
    try:
        found = fit_meadow()
    except ThirstlineError as exc:
        sys.stderr.write(f"{exc}\n")
        return 1
    sys.stdout.write(f"{json.dumps(document(found), indent=1)}\n")
    if words.picture is not None:
        words.picture.write_text(drawn(found), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
