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
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from controller.errors import ThirstlineError
from sim.pictures import Axis, Panel, picture
from sim.winter.fitting.driven import Numbers
from sim.winter.fitting.dry_downs import Score, dry_downs, score
from sim.winter.fitting.priors import Quantity
from sim.winter.fitting.sward import DAY_S, Year, carried, year_of

YEARS = (2014, 2015)
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
ROUNDS = 3
TRIED_Z, FARTHEST_Z = 0.5, 1.5  # [-] standard deviations: how far the column is tried, believed


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
    begin = np.zeros(len(LEARNED))
    z, runs = begin, 0
    for _ in range(ROUNDS):
        near = _near(years[0], z)
        runs += 1 + 2 * len(LEARNED)
        z = _best(years[0], near, z)
    values = _values(z)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Near:
    """The content at each probe near a point: value, slope and half second derivative."""

    centre: Numbers
    parts: dict[str, tuple[Numbers, Numbers, Numbers]]

    def at(self, z: Numbers) -> dict[str, Numbers]:
        off = z - self.centre
        return {
            name: base + off @ slope + off**2 @ bend
            for name, (base, slope, bend) in self.parts.items()
        }


def _near(year: Year, z: Numbers) -> _Near:
    """Run the column at a point and to both sides of it, as `bed_fit.surrogate` does."""
    base = carried(year, _values(z))
    steps = TRIED_Z * np.eye(len(z))
    up = [carried(year, _values(z + step)) for step in steps]
    down = [carried(year, _values(z - step)) for step in steps]
    parts = {}
    for name, here in base.items():
        more = np.array([one[name] for one in up])
        less = np.array([one[name] for one in down])
        slope = (more - less) / (2.0 * TRIED_Z)
        parts[name] = (here, slope, (more + less - 2.0 * here) / (2.0 * TRIED_Z**2))
    return _Near(centre=z, parts=parts)


def _best(year: Year, near: _Near, z: Numbers) -> Numbers:
    """The most likely point near where the column was run."""
    end = np.array([one.most_z for one in LEARNED])
    low, high = (
        np.maximum(-end, near.centre - FARTHEST_Z),
        np.minimum(end, near.centre + FARTHEST_Z),
    )
    found = least_squares(
        lambda at: np.concatenate([calibrated(year, near.at(at))[1], at]),
        np.clip(z, low + 1e-6, high - 1e-6),
        bounds=(low, high),
        x_scale=1.0,
    )
    return np.asarray(found.x)


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
