"""A real series: the meadow in Hesse, fitted to the dry-downs of 2014, those of 2015 foretold.

    python -m sim.winter.fitting.meadow [--picture FILE]

The column and its dry-downs are those of `sward`. Fitted are field capacity, wilting point,
drainage, thirst and root depth of the place, to the falls at 10, 25 and 40 cm since each
dry-down's beginning. The class-table soil beside it is silt loam with the middle of every prior, as
in `tests/reference/test_sim_hesse_shape.py`. Both begin each dry-down of the second year with what
the probes told then, and see nothing of what follows.
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
from sim.winter.fitting.dry_downs import Score
from sim.winter.fitting.priors import Quantity
from sim.winter.fitting.seeing import BLOCK_H
from sim.winter.fitting.sward import DEPTHS_CM, Year, foretold, year_of

YEARS = (2014, 2015)
SD_M3_M3 = 0.01  # [m3/m3] of a fall at one probe: what such a column misses, whatever it is; ours
LEARNED = (
    Quantity(name="fc_off_frac", spread=0.35, even=True, says="field capacity"),
    Quantity(name="wp_off_frac", spread=0.30, even=True, says="wilting point"),
    Quantity(name="ks_log", spread=math.log(4.0), says="how fast it drains"),
    Quantity(name="kc_off_frac", spread=0.60, even=True, says="thirst of the sward"),
    Quantity(name="root_m", spread=0.25, even=True, centre=0.55, says="root depth"),
)
ROUNDS = 3
HEIGHTS_M3_M3 = (-0.02, 0.0, 0.02, 0.04, 0.06, 0.08)  # of the picture
TRIED_Z, FARTHEST_Z = 0.5, 1.5  # [-] standard deviations: how far the column is tried, believed


@dataclass(frozen=True, slots=True, kw_only=True)
class Meadow:
    """What the meadow came to.

    Args:
        values: the most likely ones, by name.
        fitted, table: falls of each year's dry-downs by the fit and by the class table [m3/m3].
        scores: by year, all probes; the first year is the one that was fitted.
        runs: of the column through the first year's dry-downs.
    """

    values: dict[str, float]
    fitted: tuple[list[Numbers], ...]
    table: tuple[list[Numbers], ...]
    scores: tuple[Score, ...]
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
    fitted = tuple(foretold(year, values) for year in years)
    table = tuple(foretold(year, _values(begin)) for year in years)
    scores = tuple(
        _score(year, ours, theirs) for year, ours, theirs in zip(years, fitted, table, strict=True)
    )
    return Meadow(values=values, fitted=fitted, table=table, scores=scores, runs=runs)


def _flat(falls: Sequence[Numbers]) -> Numbers:
    return np.concatenate([one.ravel() for one in falls])


def _score(year: Year, ours: Sequence[Numbers], theirs: Sequence[Numbers]) -> Score:
    fell = _flat([one.fall_m3_m3 for one in year.dried])

    def rms(miss: Numbers) -> float:
        return float(math.sqrt(np.mean(miss**2)))

    return Score(
        dry_downs=len(year.dried),
        fit_rmse_m3_m3=rms(_flat(ours) - fell),
        table_rmse_m3_m3=rms(_flat(theirs) - fell),
        fall_rms_m3_m3=rms(fell),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Near:
    """All falls near a point: value, slope and half second derivative."""

    centre: Numbers
    base: Numbers
    slope: Numbers
    bend: Numbers

    def at(self, z: Numbers) -> Numbers:
        off = z - self.centre
        return np.asarray(self.base + off @ self.slope + off**2 @ self.bend)


def _near(year: Year, z: Numbers) -> _Near:
    """Run the column at a point and to both sides of it, as `bed_fit.surrogate` does."""
    base = _flat(foretold(year, _values(z)))
    steps = TRIED_Z * np.eye(len(z))
    more = np.array([_flat(foretold(year, _values(z + step))) for step in steps])
    less = np.array([_flat(foretold(year, _values(z - step))) for step in steps])
    return _Near(
        centre=z,
        base=base,
        slope=(more - less) / (2.0 * TRIED_Z),
        bend=(more + less - 2.0 * base) / (2.0 * TRIED_Z**2),
    )


def _best(year: Year, near: _Near, z: Numbers) -> Numbers:
    """The most likely point near where the column was run.

    Blocks of one dry-down are alike: each weighs as if it told once a probe.
    """
    fell = _flat([one.fall_m3_m3 for one in year.dried])
    many = _flat([np.full_like(one.fall_m3_m3, len(one.fall_m3_m3)) for one in year.dried])
    weight = 1.0 / (SD_M3_M3 * np.sqrt(many))
    end = np.array([one.most_z for one in LEARNED])
    low, high = (
        np.maximum(-end, near.centre - FARTHEST_Z),
        np.minimum(end, near.centre + FARTHEST_Z),
    )
    found = least_squares(
        lambda at: np.concatenate([(near.at(at) - fell) * weight, at]),
        np.clip(z, low + 1e-6, high - 1e-6),
        bounds=(low, high),
        x_scale=1.0,
    )
    return np.asarray(found.x)


def _values(z: Numbers) -> dict[str, float]:
    return {one.name: one.value(float(at)) for one, at in zip(LEARNED, z, strict=True)}


def drawn(found: Meadow) -> str:
    """The second summer's longest dry-down: measured grey, table dotted, fit dark (SVG)."""
    year = year_of(YEARS[1])
    longest = sorted(range(len(year.dried)), key=lambda i: -len(year.dried[i].theta_m3_m3))[:1]
    panels = []
    for i in longest:
        one = year.dried[i]
        days = tuple(n * BLOCK_H / 24.0 for n in range(1, len(one.theta_m3_m3)))
        for k, depth_cm in enumerate(DEPTHS_CM):
            panels.append(
                Panel(
                    title=f"{depth_cm} cm: measured, class table (dotted), fitted (dark)",
                    x=days,
                    grey=(tuple(float(x) for x in one.fall_m3_m3[:, k]),),
                    dark=tuple(float(x) for x in found.fitted[1][i][:, k]),
                    apart=((days[::2], tuple(float(x) for x in found.table[1][i][::2, k])),),
                )
            )
    most = max(len(year.dried[i].theta_m3_m3) for i in longest) * BLOCK_H / 24.0
    ticks = tuple(float(day) for day in range(0, math.ceil(most) + 2, 2))
    return picture(
        f"Foretold: the longest dry-down of {YEARS[1]} in Hesse, by a fit to {YEARS[0]}",
        Axis(label="days since it began [d]", ticks=ticks),
        Axis(label="fall of water content [m3/m3]", ticks=HEIGHTS_M3_M3, form=".2f"),
        panels,
    )


def document(found: Meadow) -> dict[str, Any]:
    """What was found, as plain values."""
    return {
        "years": list(YEARS),
        "values": {name: round(value, 4) for name, value in found.values.items()},
        "runs": found.runs,
        "scores": {
            str(year): {
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
