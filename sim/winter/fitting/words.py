"""What a fit and a what-if came to, in plain words and small tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from sim.draws import Sits
from sim.winter.fitting.fit_file import Z_90
from sim.winter.fitting.observed import Observed
from sim.winter.fitting.priors import BED, Quantity
from sim.winter.fitting.season_fit import BedResult
from sim.winter.fitting.what_if import Band

UNITS = {
    "litres": ("water", "L", 0),
    "waterings": ("waterings", "", 0),
    "days_past_floor": ("bed-days past the floor", "", 0),
    "relative_yield": ("yield of an unstressed crop", "%", 1),
}
PER_CENT = 100.0


def as_text(observed: Observed, results: Sequence[BedResult]) -> str:
    """What a fit came to, bed by bed."""
    parts = [f"Fitted to {observed.source}."]
    parts += [_bed(observed, one) for one in results]
    return "\n\n".join(parts)


def _bed(observed: Observed, result: BedResult) -> str:
    if result.fit is None:
        return f"{result.bed}: not fitted. {result.refused[:1].upper()}{result.refused[1:]}."
    lines = [f"{result.bed}: most likely, and the middle 90 %"]
    fit, sd = result.fit, np.sqrt(np.diag(result.fit.covariance))
    for one, z, width in zip(BED, fit.z, sd, strict=False):
        reach = Z_90 * float(width)
        ends = [one.value(one.inside(float(z) + side * reach)) for side in (0.0, -1.0, 1.0)]
        middle, low, high = (_shown(observed, result.bed, one, value) for value in ends)
        tail = "  not learned" if one.name in result.unlearned else ""
        lines.append(f"  {one.says:<40}{middle:>9}{low:>9} to {high}{tail}")
    for probe in fit.probes:
        names = [name for name in result.unlearned if name.startswith(f"{probe}.")]
        lacking = ", ".join(name.split(".")[1].split("_")[0] for name in names)
        tail = f"; not learned: {lacking}" if names else ""
        lines.append(f"  {probe}: misses {fit.left_m3_m3[probe]:.4f} m3/m3{tail}")
    for probe, place in result.places.items():
        where = (
            "beside the strip" if place.sits is Sits.BESIDE else f"{place.deeper_cm:g} cm deeper"
        )
        lines.append(f"  {probe} reads as if it sat {where} than told; look at it.")
    lines.append(f"  {_judged(result)}")
    return "\n".join(lines)


def _shown(observed: Observed, bed: str, one: Quantity, value: float) -> str:
    if one.name == "fc_off_frac":
        return f"{observed.garden.beds[bed].fc_m3_m3 * (1.0 + value):.3f}"
    if one.name == "ks_log":
        return f"x {float(np.exp(value)):.2f}"
    return f"{PER_CENT * value:+.1f} %"


def _judged(result: BedResult) -> str:
    score = result.held_back
    if score is None:
        return "The last quarter held no dry-down: nothing was foretold."
    better = "better than" if score.skill > 0.0 else "NO better than"
    return (
        f"Foretold {score.dry_downs} dry-downs of the last quarter {better} the class table:"
        f" missed by {score.fit_rmse_m3_m3:.4f}, the table by {score.table_rmse_m3_m3:.4f},"
        f" of falls of {score.fall_rms_m3_m3:.4f} m3/m3 (skill {score.skill:.2f})."
    )


def bands_as_text(question: str, found: Mapping[str, Band]) -> str:
    """A what-if as a table of differences with their 80 % bands."""
    draws = next(iter(found.values())).draws
    lines = [
        f"{question}: {draws} worlds of the fit, each lived both ways",
        f"{'':<30}{'as it was':>10}{'changed':>10}{'difference':>12}   middle 80 %",
    ]
    for name, band in found.items():
        says, unit, digits = UNITS[name]
        factor = PER_CENT if unit == "%" else 1.0
        was, then = (f"{factor * one:.{digits}f}" for one in (band.was, band.then))
        ends = (factor * one for one in (band.differs, band.low, band.high))
        differs, low, high = (f"{one:+.{digits}f}" for one in ends)
        label = f"{says} [{unit}]" if unit else says
        lines.append(f"{label:<30}{was:>10}{then:>10}{differs:>12}   {low} to {high}")
    return "\n".join(lines)
